//! Crossings of stents' edges, each judged once for all stacks in which it is the same.
//!
//! A judgement draws thousands of samples. It hangs on what crosses, what that rides on, the stents as they lie, and how
//! the crossing is covered: on no other device of the stack, and on no length behind the tip's profile.

use super::step::{Print, print_of};
use crate::device::Device;
use crate::mechanics::MechanicsError;
use crate::procedure::{EdgePassage, EdgeReport, Passed, Plan, edge_passages, judge_edge};
use std::collections::BTreeMap;

/// What is known of crossings so far.
#[derive(Debug, Default)]
pub(super) struct Judged {
    known: BTreeMap<Print, Result<EdgeReport, MechanicsError>>,
}

/// A crossing, and what tells it from others.
#[derive(Debug, Clone)]
pub(super) struct Met {
    passage: EdgePassage,
    pub(super) print: Print,
}

/// Crossings of a step.
pub(super) fn met(plan: &Plan, done: &Passed) -> Vec<Met> {
    let passages = edge_passages(plan, &done.before, &done.after, &done.effect.moves);
    let of_passage = |passage: EdgePassage| {
        let device = |k: usize| {
            let Device {
                profile,
                lumen,
                tip,
                outer_surface,
                payload,
                ..
            } = &plan.devices[k].device;
            (profile, lumen, tip, outer_surface, payload)
        };
        let stents = &done.before.stents;
        let carried: Vec<_> = stents.iter().map(|stent| device(stent.device)).collect();
        let riding_on = passage.riding_on.map(device);
        let print = print_of(&(&passage, device(passage.device), riding_on, stents, carried));
        Met { passage, print }
    };
    passages.into_iter().map(of_passage).collect()
}

impl Met {
    /// How likely it catches.
    pub(super) fn judge(&self, plan: &Plan, done: &Passed) -> Result<EdgeReport, MechanicsError> {
        judge_edge(plan, &done.before, &self.passage, &done.effect.placements)
    }
}

impl Judged {
    pub(super) fn knows(&self, met: &Met) -> bool {
        self.known.contains_key(&met.print)
    }

    pub(super) fn keep(&mut self, met: &Met, report: Result<EdgeReport, MechanicsError>) {
        self.known.insert(met.print, report);
    }

    /// The reports of a step's crossings, in order.
    pub(super) fn reports(&self, met: &[Met]) -> Vec<Result<EdgeReport, MechanicsError>> {
        let known = met.iter().filter_map(|met| self.known.get(&met.print));
        known.cloned().collect()
    }
}
