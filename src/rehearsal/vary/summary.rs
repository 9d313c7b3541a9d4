//! What many cases come to: shares, distributions, and which input matters most.

use super::case::{Breaks, Case, Ends, level_in_words};
use super::indices::{Importance, Row, importances};
use super::inputs::{Group, differing};
use super::rows::{Draw, Rows};
use super::shares::Share;
use crate::mechanics::Level;
use crate::rehearsal::CAUTION;
use serde::{Deserialize, Serialize};

/// Version of the schema of a population.
pub const VARY_VERSION: u32 = 1;
/// Bars of a distribution.
const BARS: usize = 24;

/// A plan on many patients.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Vary {
    /// `nestline.vary`.
    pub schema: String,
    /// [`VARY_VERSION`].
    pub version: u32,
    /// Name of the scene.
    pub scene: String,
    /// Name of its vessel.
    pub vessel: String,
    /// Seed of the draws.
    pub seed: u64,
    /// Cases in all: every evaluation counts.
    pub cases: usize,
    /// Lengths were ruled along the centre line.
    pub by_ruler: bool,
    /// Whatever differs between patients, with materials all at their least, as usual, all at their most.
    pub levels: Vec<LevelRow>,
    /// Which group matters most, by result.
    pub matters: Vec<Matters>,
    /// What was drawn.
    pub inputs: Vec<InputRow>,
    /// How it was had.
    pub method: String,
    /// The caution that goes with every output.
    pub caution: String,
}

/// Cases with the same materials.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct LevelRow {
    /// `usual`, `least` or `most`.
    pub level: String,
    /// Draws of which nobody could be built: they count nowhere.
    pub nobody: usize,
    /// Plans that pass.
    pub passes: Share,
    /// Plans that fail.
    pub fails: Share,
    /// Plans that are undecided.
    pub undecided: Share,
    /// By what they fail.
    pub breaks: Vec<BreaksRow>,
    /// What the shortest device has to spare, mm.
    pub spare_mm: Option<Distribution>,
    /// Largest force at a hub, N.
    pub hub_force_n: Option<Distribution>,
    /// Largest share of samples in which a device catches at a stent's edge.
    pub catch_share: Option<Distribution>,
    /// Puncture to reperfusion, s.
    pub reperfusion_s: Option<Distribution>,
}

/// How often one thing breaks a plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BreaksRow {
    /// What.
    pub what: Breaks,
    /// How often.
    pub share: Share,
}

/// How a number is distributed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Distribution {
    /// Cases that have one.
    pub of: usize,
    /// 5 of 100 lie below.
    pub p5: f64,
    /// 25 of 100 lie below.
    pub p25: f64,
    /// Half lie below.
    pub p50: f64,
    /// 75 of 100 lie below.
    pub p75: f64,
    /// 95 of 100 lie below.
    pub p95: f64,
    /// Least and largest.
    pub range: [f64; 2],
    /// Cases in stretches of equal width between them.
    pub bars: Vec<usize>,
}

/// Which group matters most for a result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Matters {
    /// The result: `spare_mm` or `fails`.
    pub result: String,
    /// Rows that it rests on.
    pub rows: usize,
    /// By group, the largest total share first; empty where the result never varies.
    pub groups: Vec<Importance>,
}

/// One number that was drawn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct InputRow {
    /// Its field.
    pub field: String,
    /// The group it counts in.
    pub group: Group,
    /// What is reckoned with.
    pub usual: f64,
    /// One standard deviation.
    pub spread: f64,
}

/// What the cases of a population are told of: what was rehearsed, and what differed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Design {
    /// Name of the scene.
    pub scene: String,
    /// Name of its vessel.
    pub vessel: String,
    /// Seed of the draws.
    pub seed: u64,
    /// Lengths were ruled along the centre line.
    pub by_ruler: bool,
    /// What was drawn.
    pub inputs: Vec<InputRow>,
}

/// A number of a case, where it has one.
type OfCase<'a> = &'a dyn Fn(&Case) -> Option<f64>;

/// How shares and indices are had.
const METHOD: &str = "Numbers are drawn independently from normal laws cut off at 2.5 standard deviations; classes stay as the scene \
has them. Friction and stiffness are nobody's scatter: all devices have them at their least, as usual or at their most. Intervals hold \
95 of 100 (Wilson). Indices are Jansen's, of groups; an index whose interval is wider than 0.1 is not resolved.";

impl Design {
    fn groups(&self) -> Vec<Group> {
        differing(self.inputs.iter().map(|input| input.group))
    }

    fn rows(&self) -> Rows {
        Rows {
            groups: self.groups().len(),
            by_ruler: self.by_ruler,
        }
    }

    /// What a case is there for, by its number: `patient` (with usual materials; shares are of these), `least` or `most`
    /// (a patient once more with the ends of the materials), or the name of the group of which it tells how much that
    /// matters.
    pub fn stands_for(&self) -> impl Fn(u64) -> &'static str + use<> {
        let (groups, rows) = (self.groups(), self.rows());
        move |number| match rows.draw(number).1 {
            Draw::A | Draw::B => "patient",
            Draw::Mixed(group) => groups.get(group).map_or("", |group| group.name()),
            Draw::At(level) => level_in_words(level),
        }
    }

    /// What cases come to, in whatever order they were worked out; each counts once.
    #[must_use]
    pub fn summary(&self, cases: &[Case]) -> Vary {
        let mut cases: Vec<&Case> = cases.iter().collect();
        cases.sort_by_key(|case| case.number);
        cases.dedup_by_key(|case| case.number);
        let rows = self.rows();
        let plain = |level: Level| -> Vec<&Case> {
            let of_level = |case: &&&Case| match rows.draw(case.number).1 {
                Draw::A | Draw::B => level == Level::Usual,
                Draw::At(at) => at == level,
                Draw::Mixed(_) => false,
            };
            cases.iter().filter(of_level).copied().collect()
        };
        let levels = [Level::Usual, Level::Least, Level::Most];
        Vary {
            schema: "nestline.vary".into(),
            version: VARY_VERSION,
            scene: self.scene.clone(),
            vessel: self.vessel.clone(),
            seed: self.seed,
            cases: cases.len(),
            by_ruler: self.by_ruler,
            levels: levels
                .into_iter()
                .map(|level| (level, plain(level)))
                .filter(|(_, plain)| !plain.is_empty())
                .map(|(level, plain)| level_row(level, &plain))
                .collect(),
            matters: self.matters(&cases),
            inputs: self.inputs.clone(),
            method: METHOD.into(),
            caution: CAUTION.into(),
        }
    }

    /// Which group matters for what is left, and for whether the plan fails.
    fn matters(&self, cases: &[&Case]) -> Vec<Matters> {
        let groups = self.groups();
        let names: Vec<String> = groups.iter().map(|g| g.name().to_owned()).collect();
        let fails = |case: &Case| match case.ends {
            Ends::NoSuchPatient => None,
            Ends::Fails => Some(1.0),
            Ends::Passes | Ends::Undecided => Some(0.0),
        };
        let results: [(&str, OfCase<'_>); 2] =
            [("spare_mm", &|case| case.spare_mm), ("fails", &fails)];
        let told = results.into_iter().map(|(result, of)| {
            let rows = self.whole_rows(cases, of);
            let mut found = importances(&names, &rows, self.seed).unwrap_or_default();
            found.sort_by(|a, b| b.total.value.total_cmp(&a.total.value));
            Matters {
                result: result.to_owned(),
                rows: rows.len(),
                groups: found,
            }
        });
        told.collect()
    }

    /// Whole rows of which everybody could be built.
    fn whole_rows(&self, cases: &[&Case], of: &dyn Fn(&Case) -> Option<f64>) -> Vec<Row> {
        let rows = self.rows();
        let by_row = cases.chunk_by(|a, b| rows.draw(a.number).0 == rows.draw(b.number).0);
        let whole = by_row.filter_map(|row| {
            let of_draw = |draw: Draw| {
                let case = row.iter().find(|case| rows.draw(case.number).1 == draw)?;
                of(case)
            };
            Some(Row {
                a: of_draw(Draw::A)?,
                b: of_draw(Draw::B)?,
                mixed: (0..rows.groups)
                    .map(|group| of_draw(Draw::Mixed(group)))
                    .collect::<Option<_>>()?,
            })
        });
        whole.collect()
    }
}

fn level_row(level: Level, cases: &[&Case]) -> LevelRow {
    let patients: Vec<&&Case> = cases
        .iter()
        .filter(|case| case.ends != Ends::NoSuchPatient)
        .collect();
    let share = |holds: &dyn Fn(&Case) -> bool| {
        let count = patients.iter().filter(|case| holds(case)).count();
        Share::of(count, patients.len())
    };
    let spread = |of: &dyn Fn(&Case) -> Option<f64>| {
        distribution(patients.iter().filter_map(|case| of(case)).collect())
    };
    LevelRow {
        level: level_in_words(level).to_owned(),
        nobody: cases.len() - patients.len(),
        passes: share(&|case| case.ends == Ends::Passes),
        fails: share(&|case| case.ends == Ends::Fails),
        undecided: share(&|case| case.ends == Ends::Undecided),
        breaks: Breaks::ALL
            .into_iter()
            .map(|what| BreaksRow {
                what,
                share: share(&|case| case.breaks.contains(&what)),
            })
            .collect(),
        spare_mm: spread(&|case| case.spare_mm),
        hub_force_n: spread(&|case| case.hub_force_n),
        catch_share: spread(&|case| case.catch_share),
        reperfusion_s: spread(&|case| case.reperfusion_s),
    }
}

/// None of no values.
fn distribution(mut values: Vec<f64>) -> Option<Distribution> {
    values.sort_by(f64::total_cmp);
    let (first, last) = (*values.first()?, *values.last()?);
    let at = |percent: usize| values[(values.len() - 1) * percent / 100];
    let width = (last - first) / f64::from(u32::try_from(BARS).unwrap_or(1));
    let mut bars = vec![0; BARS];
    for value in &values {
        // the bar whose upper end lies above it; the last holds the largest
        let below = |bar: usize| {
            let upper = f64::from(u32::try_from(bar + 1).unwrap_or(0));
            *value < first + upper * width
        };
        let bar = (0..BARS).find(|bar| below(*bar)).unwrap_or(BARS - 1);
        bars[bar] += 1;
    }
    Some(Distribution {
        of: values.len(),
        p5: at(5),
        p25: at(25),
        p50: at(50),
        p75: at(75),
        p95: at(95),
        range: [first, last],
        bars,
    })
}
