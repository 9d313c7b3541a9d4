//! What a step did, and a step done.

use crate::procedure::placing::StackPlacement;
use crate::procedure::reason::Finding;
use crate::procedure::state::{Exchange, Move, State};

/// What a step did.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StepEffect {
    /// False where a precondition stopped it: the state is as before.
    pub performed: bool,
    /// What it is told.
    pub findings: Vec<Finding>,
    /// Tips that moved.
    pub moves: Vec<Move>,
    /// Loading onto a rail or off it.
    pub exchanges: Vec<Exchange>,
    /// How the stack lay at each stage of the step, the last one as it rests.
    pub placements: Vec<StackPlacement>,
}

/// A step done: states before and after it.
#[derive(Debug, Clone, PartialEq)]
pub struct Passed {
    /// The state it found.
    pub before: State,
    /// The state it left.
    pub after: State,
    /// What it did.
    pub effect: StepEffect,
}
