//! Words: the one place that turns typed reasons, actions and names into sentences.
//!
//! No room that decides knows this one; what they find travels as [`Reason`], and is said here.

mod actions;
mod acts;
mod edges;
mod forces;
mod lumens;
mod names;
mod needs;
mod remedies;
mod said;
mod way;

pub use edges::samples;
pub use way::longer_mm;

use crate::procedure::reason::{Finding, Reason, Severity};
use said::Said;

impl Finding {
    /// What was found as a sentence, without its capital and full stop.
    #[must_use]
    pub fn in_words(&self) -> String {
        said(&self.reason).0
    }

    /// What would help, in words; a note comes without.
    #[must_use]
    pub fn help(&self) -> Option<String> {
        said(&self.reason)
            .1
            .filter(|_| self.severity > Severity::Note)
    }
}

/// The sentence of a reason, and what would help where something would.
fn said(reason: &Reason) -> Said {
    match reason {
        Reason::Reach(reason) => way::reach(reason),
        Reason::Fit(reason) => way::fit(reason),
        Reason::Vessel(reason) => way::vessel(reason),
        Reason::Lesion(reason) => way::lesion(reason),
        Reason::Exchange(reason) => way::exchange(reason),
        Reason::Precondition(reason) => needs::precondition(reason),
        Reason::LumenNeed(reason) => needs::lumen_need(reason),
        Reason::RailNeed(reason) => needs::rail_need(reason),
        Reason::PartNeed(reason) => needs::part_need(reason),
        Reason::PayloadNeed(reason) => needs::payload_need(reason),
        Reason::RetrieverNeed(reason) => needs::retriever_need(reason),
        Reason::Access(reason) => way::access(reason),
        Reason::Stenting(reason) => acts::stenting(reason),
        Reason::Ballooning(reason) => acts::ballooning(reason),
        Reason::Retrieving(reason) => acts::retrieving(reason),
        Reason::StentEdge(reason) => edges::stent_edge(reason),
        Reason::Force(reason) => forces::force(reason),
        Reason::Unknown(reason) => forces::unknown(reason),
        Reason::Lumen(reason) => lumens::lumen(reason),
        Reason::Image(reason) => lumens::image(reason),
    }
}
