//! A plan rehearsed on many patients: how often it fails and by what, and which input matters most.
//!
//! # What differs
//!
//! Between patients: every number of the vessel that was not measured, by the spread of the people it is the mean of; what
//! was measured, by the error of a reading; lengths of devices, by their makers' tolerance; the hub's stand-off; how long
//! steps take. Classes (type of the arch, shape of the neck) stay as the scene has them. Numbers are drawn independently:
//! no source of ours gives correlations of these lengths, and inputs that surely hang together count as one group.
//!
//! Not between patients, but because nobody knows them: friction, and how stiff devices, walls and plaque are. They are the
//! same for all, and so stand outside: all at their least, as usual, all at their most. Shares are told as usual, and
//! from least to most; they are never averaged.
//!
//! # A case and its number
//!
//! A case depends on the seed and its number alone. Numbers run through rows: of every row the usual materials with the
//! draws of A, those of B, and those of A with one group after the other from B; then A once more with least and with
//! most. A run that stops early therefore has whole rows but for the last one.
//!
//! What cases come to follows from them and from a [`Design`], so that those who put shards together need neither the plan
//! nor its vessel.

mod case;
mod draws;
mod indices;
mod inputs;
mod rows;
mod shard;
mod shares;
mod summary;
mod tell;

pub use case::{Breaks, Case, Ends};
pub use indices::{Importance, Index, RESOLVED, Row, importances};
pub use inputs::Group;
pub use shard::{CASES_TOGETHER, MOST_SHARDS, Shard};
pub use shares::Share;
pub use summary::{
    BreaksRow, Design, Distribution, InputRow, LevelRow, Matters, VARY_VERSION, Vary,
};

use crate::geometry::anatomy::Measurements;
use crate::mechanics::Level;
use crate::procedure::{Durations, Plan};
use inputs::{Input, Pattern, inputs};
use rows::{Draw, Rows};

/// A plan, and what of it differs from case to case.
#[derive(Debug, Clone)]
pub struct Population {
    plan: Plan,
    durations: Durations,
    form: Option<Measurements>,
    target: String,
    inputs: Vec<Input>,
    seed: u64,
    ruler: bool,
}

impl Population {
    /// Of a plan: `form` is what its vessel was built from, if it was measured, and `target` where its route leads.
    #[must_use]
    pub fn new(
        plan: Plan,
        durations: Durations,
        form: Option<Measurements>,
        target: impl Into<String>,
        seed: u64,
    ) -> Self {
        Self {
            inputs: inputs(&plan, form.as_ref()),
            plan,
            durations,
            form,
            target: target.into(),
            seed,
            ruler: false,
        }
    }

    /// With lengths ruled along the centre line: many cases at once, wrong by centimetres, without forces.
    #[must_use]
    pub const fn by_ruler(mut self, ruler: bool) -> Self {
        self.ruler = ruler;
        self
    }

    /// With some groups kept as they are reckoned with: as if they had been measured exactly.
    #[must_use]
    pub fn keeping(mut self, kept: &[Group]) -> Self {
        self.inputs.retain(|input| !kept.contains(&input.group));
        self
    }

    /// The groups that differ, in order.
    #[must_use]
    pub fn groups(&self) -> Vec<Group> {
        inputs::differing(self.inputs.iter().map(|input| input.group))
    }

    fn rows(&self) -> Rows {
        Rows {
            groups: self.groups().len(),
            by_ruler: self.ruler,
        }
    }

    /// What its cases are told of.
    #[must_use]
    pub fn design(&self) -> Design {
        let told = |input: &Input| InputRow {
            field: input.law.field.clone(),
            group: input.group,
            usual: input.law.usual,
            spread: input.law.spread,
        };
        Design {
            scene: self.plan.name.clone(),
            vessel: self.plan.vessel.name.clone(),
            seed: self.seed,
            by_ruler: self.ruler,
            inputs: self.inputs.iter().map(told).collect(),
        }
    }

    /// What cases come to: see [`Design::summary`].
    #[must_use]
    pub fn summary(&self, cases: &[Case]) -> Vary {
        self.design().summary(cases)
    }

    /// Numbers of the cases that are a patient each, with usual materials: every other one varies a group of them or the
    /// materials.
    pub fn plain(&self) -> impl Iterator<Item = u64> + use<> {
        let per_row = self.rows().cases();
        (0..).flat_map(move |row| [row * per_row, row * per_row + 1])
    }

    /// What came of the case of a number.
    #[must_use]
    pub fn case(&self, number: u64) -> Case {
        let (row, draw) = self.rows().draw(number);
        let groups = self.groups();
        let from_b = |input: &Input| match draw {
            Draw::A | Draw::At(_) => false,
            Draw::B => true,
            Draw::Mixed(group) => groups.get(group) == Some(&input.group),
        };
        let shares: Vec<f64> = self
            .inputs
            .iter()
            .zip(0_u64..)
            .map(|(input, i)| draws::share(self.seed, row, u64::from(from_b(input)), i))
            .collect();
        let level = match draw {
            Draw::At(level) => level,
            _ => Level::Usual,
        };
        let pattern = Pattern {
            plan: &self.plan,
            form: self.form.as_ref(),
            target: &self.target,
            inputs: &self.inputs,
        };
        // times are drawn once for a row of A, and once for one of B
        let course = 2 * row + u64::from(draw == Draw::B);
        match pattern.plan(&shares, level) {
            Some(plan) => {
                let seed = self.seed.wrapping_add(course);
                Case::of(number, &plan, &self.durations, self.ruler, seed)
            }
            None => Case::nobody(number),
        }
    }
}
