//! Scalar products, laid out so that they can be vectorised without a change of their bits.

use wide::f64x4;

/// Lists that are multiplied with one other together, so that its entries are read once for all of them.
pub(crate) const TOGETHER: usize = 4;

/// Returns the scalar product, in eight running sums so that it can be vectorised.
pub(crate) fn dot(left: &[f64], right: &[f64]) -> f64 {
    let length = left.len().min(right.len());
    let (left, right) = (&left[..length], &right[..length]);
    let mut sums = [0.0; 8];
    let mut chunks_left = left.chunks_exact(8);
    let mut chunks_right = right.chunks_exact(8);
    for (a, b) in (&mut chunks_left).zip(&mut chunks_right) {
        for lane in 0..8 {
            sums[lane] += a[lane] * b[lane];
        }
    }
    let tail: f64 = chunks_left
        .remainder()
        .iter()
        .zip(chunks_right.remainder())
        .map(|(a, b)| a * b)
        .sum();
    sums.iter().sum::<f64>() + tail
}

/// Returns the scalar products of one list with others of its length.
pub(super) fn dots(left: &[f64], others: [&[f64]; TOGETHER]) -> [f64; TOGETHER] {
    let [a, b, c, d] = others.map(|other| other[..left.len()].as_chunks().0);
    let (chunks, rest) = left.as_chunks();
    let mut sums = [f64x4::ZERO; TOGETHER];
    for ((((left, a), b), c), d) in chunks.iter().zip(a).zip(b).zip(c).zip(d) {
        let left = f64x4::new(*left);
        sums[0] += left * f64x4::new(*a);
        sums[1] += left * f64x4::new(*b);
        sums[2] += left * f64x4::new(*c);
        sums[3] += left * f64x4::new(*d);
    }
    let whole = left.len() - rest.len();
    std::array::from_fn(|next| {
        let rest = rest.iter().zip(&others[next][whole..left.len()]);
        sums[next].reduce_add() + rest.map(|(a, b)| a * b).sum::<f64>()
    })
}
