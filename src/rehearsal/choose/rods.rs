//! The best few stacks with every device as a rod, and how far their forces reach.

use super::super::Chance;
use super::super::compare::{LeastReach, least_reach};
use super::super::outcome::{Outcome, Verdict};
use super::super::ranges::follow_ranges;
use super::super::run::outcome_of;
use super::super::timing::loads_of;
use super::super::verdict::{first_that_stands, undecided};
use super::super::walk::walk_on;
use crate::procedure::reason::{Unknown, Why};
use crate::procedure::{Finding, Plan, Rods};
use serde::{Deserialize, Serialize};

/// What rods say of a stack.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct ByRods {
    /// Whether the plan holds.
    pub verdict: Verdict,
    /// The first failure that stands, or else what is not known first: number of the step and what.
    pub breaks_at: Option<(usize, String)>,
    /// Share of patients in whom nothing is short, with what rods leave outside.
    pub goes_through: Option<Chance>,
    /// What the shortest catheter has to spare.
    pub spare: Option<LeastReach>,
    /// Largest force at any hub, N: at the least, as usual and at the most that is known of friction and stiffness; none
    /// where it was not found.
    pub hub_force_n: [Option<f64>; 3],
}

/// Rehearses a plan with rods and ranges.
pub(super) fn by_rods(plan: &Plan) -> ByRods {
    let mut passed = match walk_on(plan, &mut Rods::default(), 1) {
        Ok(passed) => passed,
        Err((step, _)) => return refused(step + 1),
    };
    follow_ranges(plan, &mut passed);
    let outcome = outcome_of(plan, &passed);
    let unknown = || undecided(&outcome.steps).next();
    let breaks = first_that_stands(&outcome.steps).or_else(unknown);
    ByRods {
        verdict: outcome.verdict,
        breaks_at: breaks.map(|(step, finding)| (step, finding.text.clone())),
        goes_through: outcome.sure.short.map(|short| short.turned()),
        spare: least_reach(&outcome),
        hub_force_n: hub_forces_n(&outcome),
    }
}

/// A step that rods refuse: nothing is known from there on.
fn refused(step: usize) -> ByRods {
    let finding = Finding::undecided(Unknown::Step { why: Why::Refused });
    ByRods {
        verdict: Verdict::Undecided,
        breaks_at: Some((step, finding.in_words())),
        goes_through: None,
        spare: None,
        hub_force_n: [None; 3],
    }
}

fn hub_forces_n(outcome: &Outcome) -> [Option<f64>; 3] {
    let usual = loads_of(outcome);
    let usual = usual.iter().filter_map(|load| load.hub_force_n);
    let rows = outcome.steps.iter().flat_map(|step| &step.devices);
    let loads: Vec<_> = rows.filter_map(|row| row.load.as_ref()).collect();
    let largest = |of: &dyn Fn(&super::super::LoadRow) -> Option<f64>| {
        loads
            .iter()
            .filter_map(|load| of(load))
            .max_by(f64::total_cmp)
    };
    [
        largest(&|load| load.hub_force_least_n),
        usual.max_by(f64::total_cmp),
        largest(&|load| load.hub_force_most_n),
    ]
}
