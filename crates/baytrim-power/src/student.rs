//! Student's t distribution, for the few pulls that a shop has.

/// Returns the probability that Student's t with `freedom` degrees of freedom lies below `t`.
///
/// By the regularised incomplete beta function (Abramowitz and Stegun 26.7.1, 26.5.8).
pub fn cumulative(t: f64, freedom: f64) -> f64 {
    let x = freedom / (freedom + t * t);
    let tail = 0.5 * incomplete_beta(0.5 * freedom, 0.5, x);
    if t > 0.0 { 1.0 - tail } else { tail }
}

/// Returns the t below which `probability`, between 0.5 and 1, lies.
///
/// # Panics
/// Where `probability` is another, or `freedom` is not above 0.
pub fn quantile(probability: f64, freedom: f64) -> f64 {
    assert!(
        (0.5..1.0).contains(&probability) && freedom > 0.0,
        "an upper quantile"
    );
    let (mut low, mut high) = (0.0, 1.0);
    while cumulative(high, freedom) < probability {
        high *= 2.0;
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if cumulative(middle, freedom) < probability {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Continued fraction of Abramowitz and Stegun 26.5.8 by Lentz's method.
fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 || x >= 1.0 {
        return x.clamp(0.0, 1.0);
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - incomplete_beta(b, a, 1.0 - x);
    }
    let front =
        (log_gamma(a + b) - log_gamma(a) - log_gamma(b) + a * x.ln() + b * (1.0 - x).ln()).exp();
    let tiny = 1e-300;
    let (mut c, mut d) = (1.0, 1.0 - (a + b) * x / (a + 1.0));
    d = 1.0 / if d.abs() < tiny { tiny } else { d };
    let mut fraction = d;
    for m in 1..500 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for term in [even, odd] {
            let next = 1.0 + term * d;
            d = 1.0 / if next.abs() < tiny { tiny } else { next };
            let next = 1.0 + term / c;
            c = if next.abs() < tiny { tiny } else { next };
            change = d * c;
            fraction *= change;
        }
        if (change - 1.0).abs() < 1e-15 {
            break;
        }
    }
    front * fraction / a
}

/// Lanczos' approximation with g = 7 and nine terms (as tabulated by Godfrey, 2001).
fn log_gamma(x: f64) -> f64 {
    const TERMS: [f64; 9] = [
        0.999_999_999_999_809_9,
        676.520_368_121_885_1,
        -1_259.139_216_722_402_8,
        771.323_428_777_653_1,
        -176.615_029_162_140_6,
        12.507_343_278_686_905,
        -0.138_571_095_265_720_12,
        9.984_369_578_019_572e-6,
        1.505_632_735_149_311_6e-7,
    ];
    if x < 0.5 {
        let pi = std::f64::consts::PI;
        return (pi / (pi * x).sin()).ln() - log_gamma(1.0 - x);
    }
    let x = x - 1.0;
    let shifted = x + 7.5;
    let terms = TERMS.iter().skip(1).zip(1_u8..);
    let sum = terms.fold(TERMS[0], |sum, (term, place)| {
        sum + term / (x + f64::from(place))
    });
    0.5 * std::f64::consts::TAU.ln() + (x + 0.5) * shifted.ln() - shifted + sum.ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, every interval of a few pulls has the wrong width.
    ///
    /// The upper 2.5 % points of the t table in the NIST/SEMATECH e-Handbook of Statistical Methods,
    /// section 1.3.6.7.2.
    #[test]
    fn quantiles_are_those_of_the_printed_table() {
        for (freedom, expected) in [
            (1.0, 12.706),
            (2.0, 4.303),
            (3.0, 3.182),
            (4.0, 2.776),
            (5.0, 2.571),
            (10.0, 2.228),
            (30.0, 2.042),
            (100.0, 1.984),
        ] {
            let found = quantile(0.975, freedom);
            assert!((found - expected).abs() < 6e-4, "{freedom}: {found}");
        }
    }
}
