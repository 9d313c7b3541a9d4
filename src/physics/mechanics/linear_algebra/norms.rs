//! Sizes and products of long vectors; a number that is none is never passed over.

/// Largest entry by size, and its place among the first; NaN where there is one.
pub(crate) fn largest(gradient: &[f64], rolls: &[f64]) -> (f64, usize) {
    let mut found = (0.0_f64, 0);
    for (i, g) in gradient.iter().enumerate() {
        // NaN must not pass as small
        if g.abs() > found.0 || g.is_nan() {
            found = (g.abs(), i);
        }
    }
    for g in rolls {
        // N mm against N: by a lever of 1 mm
        if g.abs() > found.0 || g.is_nan() {
            found.0 = g.abs();
        }
    }
    found
}

/// The larger of two sizes; NaN where one is, which [`f64::max`] would drop.
pub(crate) fn larger(a: f64, b: f64) -> f64 {
    if a >= b || a.is_nan() { a } else { b }
}

/// Size of the largest entry; NaN where there is one.
pub(crate) fn largest_size(gradient: &[f64], rolls: &[f64]) -> f64 {
    let mut sizes = [0.0_f64; 8];
    let mut poison = [0.0_f64; 8];
    let (whole, rest) = gradient.as_chunks::<8>();
    for part in whole {
        for ((size, poison), g) in sizes.iter_mut().zip(&mut poison).zip(part) {
            let g = g.abs();
            *poison += g * 0.0;
            *size = if g > *size { g } else { *size };
        }
    }
    let mut size = sizes.iter().fold(0.0_f64, |m, s| m.max(*s));
    for g in rest.iter().chain(rolls) {
        poison[0] += g * 0.0;
        size = size.max(g.abs());
    }
    size + poison.iter().sum::<f64>()
}

/// Sum of products, in parts that do not wait for each other.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    for (a, b) in a.iter().zip(b) {
        for ((s, a), b) in sums.iter_mut().zip(a).zip(b) {
            *s += a * b;
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    sums.iter().sum::<f64>() + rest
}
