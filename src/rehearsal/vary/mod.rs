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

mod case;
mod draws;
mod indices;
mod inputs;
mod shares;
mod summary;
mod tell;

pub use case::{Breaks, Case, Ends};
pub use indices::{Importance, Index, RESOLVED, Row, importances};
pub use inputs::Group;
pub use shares::Share;
pub use summary::{BreaksRow, Distribution, InputRow, LevelRow, Matters, VARY_VERSION, Vary};

use crate::geometry::anatomy::Measurements;
use crate::mechanics::Level;
use crate::procedure::{Durations, Plan};
use inputs::{Input, Pattern, inputs};

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

/// What a case is drawn from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Draw {
    A,
    B,
    /// A, but the group of this index from B.
    Mixed(usize),
    /// A, with other materials.
    At(Level),
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
        let differs = |group: &Group| self.inputs.iter().any(|input| input.group == *group);
        Group::ALL.into_iter().filter(differs).collect()
    }

    /// Cases of one row.
    fn per_row(&self) -> u64 {
        let groups = u64::try_from(self.groups().len()).unwrap_or(0);
        // ruled lengths know no materials
        2 + groups + if self.ruler { 0 } else { 2 }
    }

    /// The row of a case, and what it is drawn from.
    pub(crate) fn draw(&self, number: u64) -> (u64, Draw) {
        let (row, place) = (number / self.per_row(), number % self.per_row());
        let groups = self.groups().len();
        let place = usize::try_from(place).unwrap_or(0);
        let draw = match place {
            0 => Draw::A,
            1 => Draw::B,
            place if place < groups + 2 => Draw::Mixed(place - 2),
            place if place == groups + 2 => Draw::At(Level::Least),
            _ => Draw::At(Level::Most),
        };
        (row, draw)
    }

    /// Numbers of the cases that are a patient each, with usual materials: every other one varies a group of them or the
    /// materials.
    pub fn plain(&self) -> impl Iterator<Item = u64> + use<> {
        let per_row = self.per_row();
        (0..).flat_map(move |row| [row * per_row, row * per_row + 1])
    }

    /// What came of the case of a number.
    #[must_use]
    pub fn case(&self, number: u64) -> Case {
        let (row, draw) = self.draw(number);
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
