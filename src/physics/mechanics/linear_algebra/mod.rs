//! Linear algebra: the block-banded factorisation with right-hand sides side by side, small dense solves, fixed-point acceleration, and how many numbers a vector instruction takes.

pub(super) mod anderson;
pub(super) mod banded;
pub(super) mod norms;
pub(super) mod number;
pub(super) mod rhs_block;
pub(super) mod small_dense;
pub(super) mod width;
