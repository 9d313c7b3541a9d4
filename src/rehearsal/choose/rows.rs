//! What a cabinet offers, as plain data.

use super::super::compare::{clot_class, neck_class};
use super::super::how_sure::{Chance, Form, Inputs};
use super::super::outcome::Verdict;
use super::super::run::CAUTION;
use super::rank::{Group, ORDER, whole};
use super::reach::stack_of;
use super::rejected::Rejected;
use super::rods::{ByRods, by_rods};
use super::roles::{Role, with_choices};
use super::search::{Found, Slot};
use super::shortest::{Shortest, shortest};
use super::weigh::near;
use super::{Asked, Wish};
use crate::procedure::{Likelihood, Plan};
use crate::threads::in_order;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// Version of the schema of a choice.
pub const CHOICE_VERSION: u32 = 1;

/// How stacks were tried.
const METHOD: &str = "Every stack by the steps of `run --ruler`; shares as in its headline: patients like this one, lengths alone. The ruler overrates what has to be fed. \
With rods forces are told from the least to the most that is known of friction and stiffness, and the rows are ordered by the shares and lengths that rods leave.";

/// One device in one role.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StackOf {
    /// The role: the script's name for it.
    pub role: String,
    /// The device: the name of its file.
    pub device: String,
}

/// A role and what may take it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct RoleRow {
    /// The script's name for it.
    pub role: String,
    /// What the scene has, then the others by name.
    pub devices: Vec<String>,
}

/// A length with its unit, mm, and how likely it suffices.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measure {
    /// What is to spare, mm.
    pub spare_mm: f64,
    /// Share of patients in whom it suffices.
    pub suffices: Chance,
}

/// A stack that does the script by ruler.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Chosen {
    /// No other stack is as good in all that is ranked, and better in one.
    pub front: bool,
    /// Stacks that are equal to it in all of that, itself among them.
    pub stacks: u64,
    /// Its devices; of stacks that are equal those with the fewest changes to the scene.
    pub stack: Vec<StackOf>,
    /// Those of them that the scene has otherwise.
    pub changes: Vec<StackOf>,
    /// Roles in which stacks that are equal to it differ, with all that takes them there: not every mixture of these is
    /// one of them.
    pub alike: Vec<RoleRow>,
    /// Share of patients in whom nothing is short.
    pub goes_through: Chance,
    /// The least of all lengths left outside.
    pub spare: Option<LeastSpare>,
    /// The same at the place that was asked for.
    pub wish: Option<Measure>,
    /// Times the open retriever is drawn bare across a stent's edge.
    pub bare_edges: usize,
    /// NASCET percent of the tightest lesion that is left, an estimate.
    pub neck_left_percent: Option<f64>,
    /// How likely clot is stripped on its way out.
    pub clot_stripped: Likelihood,
    /// Times that access is let go of with work left.
    pub let_go: usize,
    /// From puncture to reperfusion where everything takes its mean time, s.
    pub reperfusion_s: Option<f64>,
    /// With every device as a rod; none where that was not done.
    pub by_rods: Option<ByRods>,
}

/// The least length left outside.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeastSpare {
    /// Of which device, by its role.
    pub device: String,
    /// How much, mm.
    pub margin_mm: f64,
}

/// A cabinet's stacks for a script.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Choice {
    /// `nestline.choice`.
    pub schema: String,
    /// [`CHOICE_VERSION`].
    pub version: u32,
    /// Name of the scene.
    pub scene: String,
    /// Name of its vessel.
    pub vessel: String,
    /// Roles that the script names, and what may take them.
    pub roles: Vec<RoleRow>,
    /// What was asked for beside the script.
    pub wish: Option<Wish>,
    /// Stacks in all.
    pub stacks: u64,
    /// Those that do the script by ruler.
    pub doing: u64,
    /// The best first; those are first that were rehearsed with rods, if rods do not refuse them.
    pub ranked: Vec<Chosen>,
    /// How they were ordered.
    pub order: String,
    /// Those that do not, by their first reason, the most frequent first.
    pub rejected: Vec<Rejected>,
    /// Which guide is long enough; none where no stack has one.
    pub shortest: Option<Shortest>,
    /// How it was had.
    pub method: String,
    /// The caution that goes with every output.
    pub caution: String,
}

impl Choice {
    /// Whether the first is known to hold: with rods where they were asked for.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let mut told = self.ranked.iter();
        let solved: Vec<Verdict> = told
            .clone()
            .filter_map(|row| row.by_rods.as_ref().map(|rods| rods.verdict))
            .collect();
        match solved.as_slice() {
            [] if told.next().is_some() => Verdict::Passes,
            [] => Verdict::Fails,
            all if all.contains(&Verdict::Passes) => Verdict::Passes,
            all if all.contains(&Verdict::Undecided) => Verdict::Undecided,
            // others that the ruler lets through were not rehearsed
            _ if self.ranked.len() > solved.len() => Verdict::Undecided,
            _ => Verdict::Fails,
        }
    }
}

/// Groups of stacks as rows, the first few with rods.
pub(super) fn choice(
    plan: &Plan,
    roles: &[Role],
    found: Found,
    groups: &[Group],
    asked: &Asked,
    wish: Option<Wish>,
) -> Choice {
    let described = in_order(groups, asked.threads, |group| {
        described(plan, roles, &found, group)
    });
    let ranked = match asked.ruler {
        true => described,
        false => with_rods(plan, roles, &found, groups, described, asked),
    };
    let role_row = |role: &Role| RoleRow {
        role: role.name.clone(),
        devices: role.choices.iter().map(|c| c.name.clone()).collect(),
    };
    Choice {
        schema: "nestline.choice".into(),
        version: CHOICE_VERSION,
        scene: plan.name.clone(),
        vessel: plan.vessel.name.clone(),
        roles: roles.iter().map(role_row).collect(),
        wish,
        stacks: found.stacks,
        doing: groups.iter().map(|group| group.stacks).sum(),
        ranked,
        order: ORDER.into(),
        shortest: shortest(plan, roles, &found, asked.threads),
        rejected: found.rejected,
        method: METHOD.into(),
        caution: CAUTION.into(),
    }
}

/// Share in which nothing is short, of the margins of some slots.
pub(super) fn suffices(
    inputs: &Inputs,
    slots: &[Slot],
    margins: &[f64],
    counts: &dyn Fn(&Slot) -> bool,
) -> Chance {
    let near = near(inputs, slots, margins, counts);
    let margins: Vec<(f64, &Form)> = near.iter().map(|(_, mm, form)| (*mm, *form)).collect();
    inputs.law(&margins).chance().turned()
}

fn described(plan: &Plan, roles: &[Role], found: &Found, group: &Group) -> Chosen {
    let passing = &found.passing[group.first];
    let inputs = Inputs::of(&with_choices(plan, roles, &passing.chosen));
    let (slots, margins) = (&found.slots, &found.margins[passing.margins]);
    let stack = stack_of(roles, &passing.chosen);
    let changed = |choice: &Option<u16>| choice.is_some_and(|choice| choice > 0);
    let changes = stack.iter().zip(&passing.chosen);
    let wished = slots.iter().zip(margins);
    let mut wished = wished.filter(|(slot, mm)| slot.wished && mm.is_finite());
    Chosen {
        front: group.front,
        stacks: group.stacks,
        changes: changes
            .filter(|(_, choice)| changed(choice))
            .map(|(row, _)| row.clone())
            .collect(),
        alike: alike(roles, group),
        goes_through: suffices(&inputs, slots, margins, &|_| true),
        spare: group.worth.spare.map(|(margin_mm, slot)| LeastSpare {
            device: roles[slots[slot].device].name.clone(),
            margin_mm,
        }),
        wish: wished.next().map(|(_, spare_mm)| Measure {
            spare_mm: *spare_mm,
            suffices: suffices(&inputs, slots, margins, &|slot| slot.wished),
        }),
        bare_edges: passing.bare_edges,
        neck_left_percent: group.worth.neck_left_percent,
        clot_stripped: passing.stripped,
        let_go: group.worth.let_go,
        reperfusion_s: group.worth.reperfusion_s,
        by_rods: None,
        stack,
    }
}

fn alike(roles: &[Role], group: &Group) -> Vec<RoleRow> {
    let differing = roles.iter().zip(&group.choices);
    let differing = differing.filter(|(_, choices)| choices.len() > 1);
    let row = |(role, choices): (&Role, &BTreeSet<Option<u16>>)| RoleRow {
        role: role.name.clone(),
        devices: choices
            .iter()
            .map(|choice| role.choices[choice.map_or(0, usize::from)].name.clone())
            .collect(),
    };
    differing.map(row).collect()
}

/// The first rows rehearsed with rods, until so many hold as were asked for, or twice as many were tried; these are
/// ordered anew by what rods say, those that do not hold last.
fn with_rods(
    plan: &Plan,
    roles: &[Role],
    found: &Found,
    groups: &[Group],
    mut rows: Vec<Chosen>,
    asked: &Asked,
) -> Vec<Chosen> {
    let mut tried = 0;
    for _ in 0..2 {
        let solved = &rows[..tried];
        let holds = |row: &&Chosen| {
            let rods = row.by_rods.as_ref();
            rods.is_some_and(|rods| rods.verdict == Verdict::Passes)
        };
        let missing = asked
            .best
            .saturating_sub(solved.iter().filter(holds).count());
        let next: Vec<&Group> = groups[tried..].iter().take(missing).collect();
        let told = in_order(&next, asked.threads, |group| {
            let chosen = &found.passing[group.first].chosen;
            by_rods(&with_choices(plan, roles, chosen))
        });
        for (row, told) in rows[tried..].iter_mut().zip(told) {
            row.by_rods = Some(told);
        }
        tried += next.len();
    }
    rows[..tried].sort_by_key(after_rods);
    rows
}

/// How rows that were rehearsed with rods stand to each other: those that hold first, then as before, but by the shares and
/// lengths that rods leave.
fn after_rods(row: &Chosen) -> (u8, [usize; 3], [i64; 2]) {
    let rods = row.by_rods.as_ref();
    let verdict = match rods.map(|rods| rods.verdict) {
        Some(Verdict::Passes) => 0,
        Some(Verdict::Undecided) => 1,
        _ => 2,
    };
    let share = rods.and_then(|rods| rods.goes_through);
    let spare = rods.and_then(|rods| rods.spare.as_ref());
    (
        verdict,
        [
            row.let_go,
            neck_class(row.neck_left_percent),
            clot_class(Some(row.clot_stripped)),
        ],
        [
            share.map_or(0, |share| -whole(100.0 * share.usual)),
            spare.map_or(0, |spare| -whole(spare.margin_mm)),
        ],
    )
}
