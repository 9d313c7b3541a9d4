//! How sure a rehearsal is: the spread of every margin that rests on lengths, its first cause, the chance that any is
//! short, and which measurement would settle it.
//!
//! A margin is a sum of lengths: it grows by 1, 0 or -1 with each of them, by which of them lie in the chain from the
//! hub to the place in question (`book.rs`). Lengths that were not measured are those of the people they were published
//! of, with what mean and spread of so many people are known to; measured ones have the error of a reading, devices the
//! tolerance of their makers (`inputs.rs`). What nobody knows of all devices alike (stiffness, friction) moves lengths
//! by millimetres and is not in these figures.

mod book;
mod chance;
mod inputs;
mod tell;

pub use book::MarginKind;
pub(super) use book::{Entry, Fed};
pub use chance::Chance;
pub use inputs::RestsOn;
pub(super) use inputs::{Form, Inputs, STANDOFF_MM, device_spread_mm};

use crate::procedure::{Passed, Plan};
use book::entries;
use chance::Law;
use serde::{Deserialize, Serialize};

/// A measurement is proposed as one to so many millimetres (from memory: what a centre line of the aorta on a
/// calibrated image is good for).
const MEASURED_TO_MM: f64 = 5.0;
/// Causes told of all margins together.
const CAUSES: usize = 4;

/// How sure the margins of a plan are.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct HowSure {
    /// Chance that any margin is below zero of those by which a plan breaks; none where no margin rests on lengths.
    pub short: Option<Chance>,
    /// What moves it, the cause first whose measurement would help most.
    pub causes: Vec<Cause>,
    /// The least margin of each kind and device, those first that are likeliest to be short.
    pub margins: Vec<SureMargin>,
}

/// A margin with its spread.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct SureMargin {
    /// What runs short.
    pub kind: MarginKind,
    /// Name of the device in the stack; of an exchange, the rail.
    pub device: String,
    /// The step that leaves least.
    pub step: usize,
    /// The margin, mm.
    pub margin_mm: f64,
    /// One standard deviation of it, mm.
    pub spread_mm: f64,
    /// Chance that it is below zero.
    pub short: Chance,
    /// What moves it, the greatest share first.
    pub causes: Vec<Cause>,
}

/// Lengths of one origin that a margin hangs on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Cause {
    /// In words: `the groin-to-arch length`.
    pub what: String,
    /// What it consists of.
    pub fields: Vec<CauseField>,
    /// What is reckoned with, mm, summed over the fields.
    pub value_mm: f64,
    /// One standard deviation of that, mm.
    pub spread_mm: f64,
    /// What the spread rests on.
    pub rests_on: RestsOn,
    /// What it would be measured to, mm.
    pub measured_to_mm: f64,
    /// Chance to be short that is left if that measurement comes out as reckoned with.
    pub short_if_measured: f64,
}

/// One length of a [`Cause`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct CauseField {
    /// Field of the form, of a device of the stack, or of the scene: what `--set` changes.
    pub field: String,
    /// By how much the margin grows with it: 1, 0 or -1; where it counts differently in several, in the strongest.
    pub by: f64,
    /// What is reckoned with, mm.
    pub value_mm: f64,
    /// One standard deviation, mm.
    pub spread_mm: f64,
}

impl HowSure {
    /// Of a plan and its script walked through.
    pub(super) fn of(plan: &Plan, passed: &[Passed]) -> Self {
        let inputs = Inputs::of(plan);
        let entries = entries(plan, &inputs, passed);
        let breaking = entries.iter().filter(|e| e.kind.breaks());
        let joint: Vec<(f64, &Form)> = breaking.map(|e| (e.margin_mm, &e.form)).collect();
        let law = Law::new(&inputs.all, &joint);
        let short = law.chance();
        let mut causes = causes(&inputs, &law);
        causes.sort_by(|a, b| {
            let moves = |c: &Cause| (c.short_if_measured - short.usual).abs();
            let helps = moves(b).total_cmp(&moves(a));
            helps.then(b.spread_mm.total_cmp(&a.spread_mm))
        });
        causes.truncate(CAUSES);
        let mut margins: Vec<SureMargin> = least(&inputs, &entries)
            .into_iter()
            .map(|entry| sure_margin(plan, &inputs, entry))
            .collect();
        margins.sort_by(|a, b| {
            let chance = b.short.usual.total_cmp(&a.short.usual);
            chance.then(a.margin_mm.total_cmp(&b.margin_mm))
        });
        Self {
            short: (!joint.is_empty()).then_some(short),
            causes,
            margins,
        }
    }

    /// The least margin of a device's reach.
    #[must_use]
    pub fn reach(&self, device: &str) -> Option<&SureMargin> {
        let mut reach = self.margins.iter().filter(|m| m.kind == MarginKind::Reach);
        reach.find(|m| m.device == device)
    }
}

/// By kind and device the entry that leaves least; of the two sides of a lesion or a clot the one that is less sure.
fn least<'a>(inputs: &Inputs, entries: &'a [Entry]) -> Vec<&'a Entry> {
    let mut kept: Vec<&Entry> = Vec::new();
    for entry in entries {
        let same = |known: &&mut &Entry| known.kind == entry.kind && known.device == entry.device;
        let sure = |e: &Entry| match e.kind {
            MarginKind::Landing | MarginKind::Overlap => {
                e.margin_mm / inputs.spread_mm(&e.form).max(f64::MIN_POSITIVE)
            }
            _ => e.margin_mm,
        };
        match kept.iter_mut().find(same) {
            Some(known) if sure(known) <= sure(entry) => {}
            Some(known) => *known = entry,
            None => kept.push(entry),
        }
    }
    kept
}

fn sure_margin(plan: &Plan, inputs: &Inputs, entry: &Entry) -> SureMargin {
    let law = Law::new(&inputs.all, &[(entry.margin_mm, &entry.form)]);
    let mut causes = causes(inputs, &law);
    causes.sort_by(|a, b| b.spread_mm.total_cmp(&a.spread_mm));
    SureMargin {
        kind: entry.kind,
        device: plan.devices[entry.device].name.clone(),
        step: entry.step,
        margin_mm: entry.margin_mm,
        spread_mm: inputs.spread_mm(&entry.form),
        short: law.chance(),
        causes,
    }
}

/// The causes of a law, each once.
fn causes(inputs: &Inputs, law: &Law) -> Vec<Cause> {
    let mut found: Vec<Cause> = Vec::new();
    for column in &law.columns {
        let at = column.inputs.iter().map(|i| &inputs.all[*i]);
        let strongest = column
            .by
            .iter()
            .copied()
            .max_by(|a, b| a.abs().total_cmp(&b.abs()));
        let fields = at.clone().map(|input| CauseField {
            field: input.field.clone(),
            by: strongest.unwrap_or(0.0),
            value_mm: input.value_mm,
            spread_mm: input.spread_mm,
        });
        let value_mm: f64 = at.clone().map(|input| input.value_mm).sum();
        match found.iter_mut().find(|cause| cause.what == column.group) {
            Some(cause) => {
                cause.fields.extend(fields);
                cause.value_mm += value_mm;
                cause.spread_mm = crate::math::hypot(cause.spread_mm, column.spread_mm);
            }
            None => found.push(Cause {
                what: column.group.clone(),
                fields: fields.collect(),
                value_mm,
                spread_mm: column.spread_mm,
                rests_on: column.rests_on.clone(),
                measured_to_mm: MEASURED_TO_MM,
                short_if_measured: law.chance_if_measured(&column.group, MEASURED_TO_MM),
            }),
        }
    }
    found
}
