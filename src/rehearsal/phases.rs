//! The phases of a procedure, and the tightest numbers of each.

use super::edge_rows::EdgeRow;
use super::outcome::{DeviceRow, ExchangeRow, StepRow};
use crate::device::DeviceClass;
use crate::mechanics::Direction;
use crate::procedure::{Action, Likelihood, Plan, Severity, Step};
use serde::{Deserialize, Serialize};

/// What is under way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// From the skin to a guide in the neck.
    Access,
    /// Wire and microcatheter through lesion and clot.
    Crossing,
    /// The retriever is brought up and opened, and the microcatheter goes.
    Retriever,
    /// The lesion in the neck is opened.
    Neck,
    /// Catheters go up to the clot, suction goes on.
    Aspiration,
    /// What holds the clot comes out, and what is left in goes.
    Out,
}

impl Phase {
    /// In words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Access => "access",
            Self::Crossing => "crossing",
            Self::Retriever => "retriever",
            Self::Neck => "neck",
            Self::Aspiration => "aspiration",
            Self::Out => "out",
        }
    }
}

/// A number with the device and the step it belongs to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AtStep {
    /// The number, in the unit that the field says.
    pub value: f64,
    /// The device.
    pub device: String,
    /// The step.
    pub step: usize,
}

/// Steps in a row that belong to one phase.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct PhaseRow {
    /// The phase.
    pub phase: Phase,
    /// Its first step.
    pub from_step: usize,
    /// Its last step.
    pub to_step: usize,
    /// The gravest finding in it.
    pub worst: Option<Severity>,
    /// The least that a device which is moved in it has to spare, mm.
    pub least_to_spare_mm: Option<AtStep>,
    /// The hardest push in it, N at the hub.
    pub hardest_push_n: Option<AtStep>,
    /// The least and most that this push may be, N, where they are known.
    #[serde(default)]
    pub hardest_push_range_n: [Option<f64>; 2],
    /// The longest way in it on which nobody holds a rail, mm; the device is the rail.
    pub nobody_holds_mm: Option<AtStep>,
    /// The likeliest catch at a stent's edge in it.
    pub likeliest_catch: Option<CatchAtStep>,
}

/// How likely a device catches at a stent's edge in a step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CatchAtStep {
    /// What the share of samples is called.
    pub likelihood: Likelihood,
    /// Share of samples, 0 to 1.
    pub probability: f64,
    /// The device.
    pub device: String,
    /// The step.
    pub step: usize,
}

/// The phases of a script, in its order; a phase may come back.
pub(super) fn phase_rows(
    plan: &Plan,
    steps: &[StepRow],
    exchanges: &[ExchangeRow],
    edges: &[EdgeRow],
) -> Vec<PhaseRow> {
    let mut rows: Vec<(Phase, usize, usize)> = Vec::new();
    let mut course = Course::default();
    for (i, step) in plan.script.iter().enumerate() {
        let phase = course.phase(plan, step);
        match rows.last_mut() {
            Some((last, _, to)) if *last == phase => *to = i + 1,
            _ => rows.push((phase, i + 1, i + 1)),
        }
    }
    let row = |(phase, from, to): (Phase, usize, usize)| {
        let within = |step: usize| (from..=to).contains(&step);
        let of_it = || steps.iter().filter(move |s| within(s.number));
        let moved = || of_it().flat_map(|s| moved(s).map(move |d| (s.number, d)));
        let pushes = moved().filter_map(|(step, d)| {
            let load = d.load.as_ref()?;
            let is_push = load.direction == Direction::Push && load.is_told();
            let ends = [load.hub_force_least_n, load.hub_force_most_n];
            is_push.then(|| (at(load.hub_force_n, &d.name, step), ends))
        });
        let hardest = pushes.min_by(|a, b| b.0.value.total_cmp(&a.0.value));
        let blind = exchanges
            .iter()
            .filter(|e| within(e.step) && e.blind_mm > 0.0);
        let crossings = edges
            .iter()
            .filter(|e| within(e.step) && e.probability > 0.0);
        // what goes in up to its hub has nothing to spare, and is not short
        let of_its_length = |d: &DeviceRow| !plan.goes_to_hub(&d.name);
        let to_spare = moved().filter(|(_, d)| of_its_length(d));
        PhaseRow {
            phase,
            from_step: from,
            to_step: to,
            worst: of_it().filter_map(StepRow::worst).max(),
            least_to_spare_mm: least(to_spare.map(|(step, d)| at(d.margin_mm, &d.name, step))),
            hardest_push_range_n: hardest.as_ref().map_or([None; 2], |(_, ends)| *ends),
            hardest_push_n: hardest.map(|(push, _)| push),
            nobody_holds_mm: most(blind.map(|e| at(e.blind_mm, &e.rail, e.step))),
            likeliest_catch: likeliest(crossings),
        }
    };
    rows.into_iter().map(row).collect()
}

fn moved(step: &StepRow) -> impl Iterator<Item = &DeviceRow> {
    step.devices.iter().filter(|d| d.moved)
}

fn at(value: f64, device: &str, step: usize) -> AtStep {
    AtStep {
        value,
        device: device.to_owned(),
        step,
    }
}

/// The likeliest; of equal ones the first.
fn likeliest<'a>(edges: impl Iterator<Item = &'a EdgeRow>) -> Option<CatchAtStep> {
    let by_share = |a: &&EdgeRow, b: &&EdgeRow| b.probability.total_cmp(&a.probability);
    edges.min_by(by_share).map(|e| CatchAtStep {
        likelihood: e.likelihood,
        probability: e.probability,
        device: e.device.clone(),
        step: e.step,
    })
}

/// The least; of equal ones the first.
fn least(found: impl Iterator<Item = AtStep>) -> Option<AtStep> {
    found.min_by(|a, b| a.value.total_cmp(&b.value))
}

/// The most; of equal ones the first.
fn most(found: impl Iterator<Item = AtStep>) -> Option<AtStep> {
    found.min_by(|a, b| b.value.total_cmp(&a.value))
}

/// What the script has done so far, as far as phases ask.
#[derive(Debug)]
struct Course {
    now: Phase,
    micro_in: bool,
    retriever_in: bool,
}

impl Default for Course {
    fn default() -> Self {
        Self {
            now: Phase::Access,
            micro_in: false,
            retriever_in: false,
        }
    }
}

impl Course {
    /// The phase a step belongs to. What says nothing of its own (a look, a wait) belongs to what is under way.
    fn phase(&mut self, plan: &Plan, step: &Step) -> Phase {
        let named = step.act.devices();
        let class = |name: &str| {
            let device = plan.device_index(name);
            device.map(|k| plan.devices[k].device.class)
        };
        let classes: Vec<DeviceClass> = named.iter().filter_map(|name| class(name)).collect();
        let micro = classes.contains(&DeviceClass::Microcatheter);
        if let Some(phase) = self.of(&step.act, &classes) {
            self.now = phase;
        }
        self.micro_in |= micro;
        self.retriever_in |= classes.contains(&DeviceClass::Retriever);
        self.now
    }

    fn of(&self, act: &Action, classes: &[DeviceClass]) -> Option<Phase> {
        use DeviceClass as C;
        let first = *classes.first()?;
        let back = matches!(
            act,
            Action::Withdraw { .. } | Action::WithdrawTogether { .. } | Action::Remove { .. }
        );
        if back && classes.contains(&C::Retriever) {
            return Some(Phase::Out);
        }
        // looks, maps and what flows belong to what is under way, but for suction where the clot is
        let flows = matches!(
            act,
            Action::Contrast { .. } | Action::SuctionOff { .. } | Action::Flush { .. }
        );
        let guards = matches!(act, Action::SuctionOn { .. }) && first != C::Aspiration;
        if flows || guards || matches!(act, Action::CheckMarkers { .. }) {
            return None;
        }
        match first {
            C::CarotidStent | C::Balloon | C::Filter => Some(Phase::Neck),
            C::Retriever => Some(Phase::Retriever),
            C::Microcatheter if self.retriever_in => Some(Phase::Retriever),
            C::Microcatheter => Some(Phase::Crossing),
            C::Wire if self.micro_in || classes.contains(&C::Microcatheter) => {
                match self.retriever_in {
                    true => None,
                    false => Some(Phase::Crossing),
                }
            }
            C::Aspiration if back => Some(Phase::Out),
            C::Aspiration => Some(Phase::Aspiration),
            C::Guide | C::BalloonGuide if self.micro_in => match (back, self.now) {
                (true, _) => Some(Phase::Out),
                (false, Phase::Out) => None,
                (false, _) => Some(Phase::Aspiration),
            },
            C::Guide
            | C::BalloonGuide
            | C::Wire
            | C::Selector
            | C::AccessSheath
            | C::Dilator
            | C::LongSheath => (!self.micro_in).then_some(Phase::Access),
        }
    }
}
