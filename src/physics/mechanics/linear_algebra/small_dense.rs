//! Small dense systems, of one unknown or a few for every rod.

/// Most unknowns of a small system, but for what is learnt of many steps.
pub(crate) const MOST_UNKNOWNS: usize = 6;

/// Cholesky solve of the leading `n` rows in place; false where a pivot is below `least`.
pub(crate) fn small_solve<const M: usize>(
    a: &mut [[f64; M]; M],
    x: &mut [f64; M],
    n: usize,
    least: f64,
) -> bool {
    for k in 0..n {
        let pivot = a[k][k];
        if pivot <= least || pivot.is_nan() {
            return false;
        }
        let root = pivot.sqrt();
        for row in &mut a[k..n] {
            row[k] /= root;
        }
        for j in k + 1..n {
            for i in j..n {
                a[i][j] -= a[i][k] * a[j][k];
            }
        }
    }
    for i in 0..n {
        for j in 0..i {
            x[i] -= a[i][j] * x[j];
        }
        x[i] /= a[i][i];
    }
    for i in (0..n).rev() {
        for j in i + 1..n {
            x[i] -= a[j][i] * x[j];
        }
        x[i] /= a[i][i];
    }
    true
}
