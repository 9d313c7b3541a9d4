//! Closed forms: what friction, bends, thrust and flow come to without a solve.

pub(super) mod bench_ratio;
pub(super) mod buckling;
pub(super) mod capstan;
pub(super) mod flow;
pub(super) mod retriever;
pub(super) mod valve;
