//! What closed forms are worked out in: one number, or as many side by side as a vector holds.

use super::width::{WIDEST, fused};
use pulp::Simd;
use std::ops::{Add, Div, Mul, Neg, Sub};

/// A number, or several side by side.
pub(crate) trait Number:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
{
    /// Times a plain number.
    fn times(self, k: f64) -> Self;
    /// Plus a plain number.
    fn plus(self, k: f64) -> Self;
    /// Times `by` plus `more`, rounded once.
    fn fused(self, by: Self, more: Self) -> Self;
    /// One over it.
    fn inverse(self) -> Self;
    /// Its square root.
    fn root(self) -> Self;
    /// It, or nought where it is below.
    fn positive(self) -> Self;
}

impl Number for f64 {
    #[inline(always)]
    fn times(self, k: f64) -> Self {
        self * k
    }

    #[inline(always)]
    fn plus(self, k: f64) -> Self {
        self + k
    }

    #[inline(always)]
    fn fused(self, by: Self, more: Self) -> Self {
        fused(self, by, more)
    }

    #[inline(always)]
    fn inverse(self) -> Self {
        1.0 / self
    }

    #[inline(always)]
    fn root(self) -> Self {
        self.sqrt()
    }

    #[inline(always)]
    fn positive(self) -> Self {
        self.max(0.0)
    }
}

/// As many numbers as a vector register holds.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Several<S: Simd> {
    simd: S,
    values: S::f64s,
}

impl<S: Simd> Several<S> {
    /// Those of a list from `at` on; it must hold that many.
    #[inline(always)]
    pub(crate) fn load(simd: S, list: &[f64], at: usize) -> Self {
        const {
            assert!(
                S::F64_LANES <= WIDEST,
                "lists are made for narrower vectors"
            )
        };
        let (whole, _) = S::as_simd_f64s(&list[at..at + S::F64_LANES]);
        Self {
            simd,
            values: whole[0],
        }
    }

    /// Writes them to a list from `at` on.
    #[inline(always)]
    pub(crate) fn store(self, list: &mut [f64], at: usize) {
        let (whole, _) = S::as_mut_simd_f64s(&mut list[at..at + S::F64_LANES]);
        whole[0] = self.values;
    }
}

impl<S: Simd> Add for Several<S> {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        let values = self.simd.add_f64s(self.values, other.values);
        Self { values, ..self }
    }
}

impl<S: Simd> Sub for Several<S> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        let values = self.simd.sub_f64s(self.values, other.values);
        Self { values, ..self }
    }
}

impl<S: Simd> Mul for Several<S> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        let values = self.simd.mul_f64s(self.values, other.values);
        Self { values, ..self }
    }
}

impl<S: Simd> Div for Several<S> {
    type Output = Self;
    #[inline(always)]
    fn div(self, other: Self) -> Self {
        let values = self.simd.div_f64s(self.values, other.values);
        Self { values, ..self }
    }
}

impl<S: Simd> Neg for Several<S> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        let values = self.simd.neg_f64s(self.values);
        Self { values, ..self }
    }
}

impl<S: Simd> Number for Several<S> {
    #[inline(always)]
    fn times(self, k: f64) -> Self {
        let values = self.simd.mul_f64s(self.values, self.simd.splat_f64s(k));
        Self { values, ..self }
    }

    #[inline(always)]
    fn plus(self, k: f64) -> Self {
        let values = self.simd.add_f64s(self.values, self.simd.splat_f64s(k));
        Self { values, ..self }
    }

    #[inline(always)]
    fn fused(self, by: Self, more: Self) -> Self {
        let values = (self.simd).mul_add_f64s(self.values, by.values, more.values);
        Self { values, ..self }
    }

    #[inline(always)]
    fn inverse(self) -> Self {
        let values = (self.simd).div_f64s(self.simd.splat_f64s(1.0), self.values);
        Self { values, ..self }
    }

    #[inline(always)]
    fn root(self) -> Self {
        let values = self.simd.sqrt_f64s(self.values);
        Self { values, ..self }
    }

    #[inline(always)]
    fn positive(self) -> Self {
        let values = (self.simd).max_f64s(self.values, self.simd.splat_f64s(0.0));
        Self { values, ..self }
    }
}
