//! How many numbers vector code takes at once, and what it runs on.
//!
//! Every width and every processor gives the same bytes: numbers side by side never meet in a sum, and a
//! product and a sum that are fused are fused everywhere, by the processor or, where it cannot, by the C
//! library, which rounds them exactly as well.

use pulp::{Arch, Scalar128b, Scalar256b, Scalar512b, Simd, WithSimd};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Most numbers a vector holds.
pub(crate) const WIDEST: usize = 8;

/// Numbers taken at once where that is not left to the processor; 0 where it is.
static CHOSEN: AtomicUsize = AtomicUsize::new(0);

/// Numbers that vector code takes at once. Results do not depend on it, to the last bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lanes {
    /// As many as the processor's vectors hold.
    Native,
    /// Two.
    Two,
    /// Four.
    Four,
    /// Eight.
    Eight,
}

impl Lanes {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Native, Self::Two, Self::Four, Self::Eight];

    /// Takes so many from now on, in the whole program, with the processor's own instructions underneath.
    pub fn choose(self) {
        let count = match self {
            Self::Native => 0,
            Self::Two => 2,
            Self::Four => 4,
            Self::Eight => 8,
        };
        CHOSEN.store(count, Ordering::Relaxed);
    }
}

/// `a b + c`, rounded once.
#[inline(always)]
pub(crate) fn fused(a: f64, b: f64, c: f64) -> f64 {
    a.mul_add(b, c)
}

/// Runs code that the compiler turns into the processor's vector instructions by itself.
#[inline(always)]
pub(crate) fn in_vectors<Op: WithSimd>(op: Op) -> Op::Output {
    Arch::new().dispatch(op)
}

/// Runs code written for any number of lanes with as many as chosen.
#[inline(always)]
pub(crate) fn in_lanes<Op: WithSimd>(op: Op) -> Op::Output {
    match CHOSEN.load(Ordering::Relaxed) {
        2 => in_vectors(With(Scalar128b, op)),
        4 => in_vectors(With(Scalar256b, op)),
        8 => in_vectors(With(Scalar512b, op)),
        _ => in_vectors(op),
    }
}

/// Lanes chosen for an operation, whatever the processor has.
struct With<S, Op>(S, Op);

impl<S: Simd, Op: WithSimd> WithSimd for With<S, Op> {
    type Output = Op::Output;

    #[inline(always)]
    fn with_simd<Native: Simd>(self, _: Native) -> Self::Output {
        self.1.with_simd(self.0)
    }
}
