//! Which stacks of a cabinet do a script: all of them walked through, ranked by how often all goes through.
//!
//! # What stands in for what
//!
//! Every device of the stack that the script names is a *role*. A device of the cabinet may take it that does the same
//! work ([`stands_in`](crate::procedure::stands_in)); valves stay with the role, parts stay as they are. What the scene has itself is one of the
//! choices.
//!
//! # How thousands of stacks are walked through
//!
//! By ruler, step by step, all stacks at once: what a step comes to hangs on the devices that it names, on those in the body
//! and on the stents that lie there, so stacks that share these and stand alike share the step (`step.rs`). It is the step
//! that [`rehearse_with`](super::rehearse_with) does and judges, not another one. A stack that breaks leaves with its first
//! reason, and with it all that have not differed from it yet (`search.rs`). Those that come to the end are weighed
//! (`weigh.rs`) and ranked (`rank.rs`); of the first few every device is laid as a rod, with ranges (`rods.rs`).
//!
//! # What it cannot do
//!
//! Shares are those of [`HowSure`](super::HowSure): patients like this one, as far as lengths go. Sizes of stent, balloon
//! and retriever are tried as they are in the cabinet; which of them suits a patient is not asked but for what is left in the neck.

mod edges;
mod error;
mod rank;
mod reach;
mod rejected;
mod rods;
mod roles;
mod rows;
mod search;
mod shortest;
mod step;
mod weigh;

pub use error::ChooseError;
pub use reach::Wish;
pub use rejected::{Rejected, Why};
pub use rods::ByRods;
pub use roles::Shelved;
pub use rows::{CHOICE_VERSION, Choice, Chosen, LeastSpare, Measure, RoleRow, StackOf};
pub use shortest::{ReachOf, Shortest, WISHED_SHARE};

use super::Chance;
use crate::procedure::{Durations, Plan};

/// What is asked of a cabinet.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Asked {
    /// A place that a catheter has to reach beyond what the script asks for.
    pub wish: Option<Wish>,
    /// Roles that keep what the scene has, by name.
    pub keep: Vec<String>,
    /// So many stacks are rehearsed with rods.
    pub best: usize,
    /// Lengths are ruled and nothing else: no stack is rehearsed with rods.
    pub ruler: bool,
    /// Threads; their number changes no bit of the result.
    pub threads: usize,
}

impl Asked {
    /// Nothing beyond the script, the first four with rods.
    #[must_use]
    pub const fn new(threads: usize) -> Self {
        Self {
            wish: None,
            keep: Vec::new(),
            best: 4,
            ruler: false,
            threads,
        }
    }
}

/// All stacks that a cabinet offers for a plan's script, those that do it ranked.
///
/// # Errors
/// [`ChooseError`] where what is asked for names nothing, and where more stacks are left at a step than can be kept apart.
pub fn choose(
    plan: &Plan,
    durations: &Durations,
    cabinet: &[Shelved],
    asked: &Asked,
) -> Result<Choice, ChooseError> {
    let wish = asked.wish.as_ref();
    let wish = wish.map(|wish| wish.found_in(plan)).transpose()?;
    let roles = roles::roles(plan, cabinet, &asked.keep)?;
    let found = search::search(plan, &roles, wish.as_ref(), asked.threads)?;
    let weighed = weigh::weigh(plan, durations, &roles, &found, asked.threads)?;
    let groups = rank::groups(&found, weighed);
    let wish = wish.map(|wish| wish.wish);
    Ok(rows::choice(plan, &roles, found, &groups, asked, wish))
}
