//! How closely two columns go together.

/// Returns the correlation of two columns over the rows that have both; 0 where there is none.
pub(crate) fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let pairs = || {
        let both = a.iter().zip(b);
        both.filter(|(a, b)| !a.is_nan() && !b.is_nan())
            .map(|(&a, &b)| (a, b))
    };
    let count = pairs().count() as f64;
    if count < 10.0 {
        return 0.0;
    }
    let (sum_a, sum_b) = pairs().fold((0.0, 0.0), |sums, (a, b)| (sums.0 + a, sums.1 + b));
    let (mean_a, mean_b) = (sum_a / count, sum_b / count);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (a, b) in pairs() {
        ab += (a - mean_a) * (b - mean_b);
        aa += (a - mean_a).powi(2);
        bb += (b - mean_b).powi(2);
    }
    let product = (aa * bb).sqrt();
    if product > 0.0 && product.is_finite() {
        ab / product
    } else {
        0.0
    }
}
