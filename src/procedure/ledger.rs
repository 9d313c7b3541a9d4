//! Who holds the way across lesion and clot, and what happens at which step.

use crate::device::{DeviceClass, Payload};
use crate::geometry::LesionKind;
use crate::procedure::script::{Action, Plan, Region};
use crate::procedure::state::State;
use crate::procedure::steps::{Passed, acts_on_neck, stops_flow};
use serde::{Deserialize, Serialize};

/// Share of the normal lumen from which the neck counts as open: NASCET 50 percent, the border of a
/// stenosis that is treated (common practice, no source).
const OPEN_SHARE: f64 = 0.5;
/// Lumen below which the neck counts as letting no blood through, mm (assumed: near-occlusion).
const FLOW_LEAST_MM: f64 = 0.5;
/// How close to the clot a catheter's tip has to lie to draw it, mm (assumed: a lumen's width).
const DRAWS_WITHIN_MM: f64 = 3.0;

/// Steps of the script (indices) at which something that counts happens.
///
/// The first pass is taken to succeed: whatever holds the clot and is drawn back brings it along. Of
/// first passes with a retriever some 30 % succeed (Chen et al., Front Neurol 2022, 664140).
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Events {
    /// The retriever opens.
    pub retriever_opened: Option<usize>,
    /// The open retriever is first moved.
    pub retriever_pulled: Option<usize>,
    /// First balloon in the neck.
    pub neck_dilated: Option<usize>,
    /// Every neck lesion leaves at least half the normal lumen.
    pub neck_open: Option<usize>,
    /// The last balloon or stent system that acted on the neck comes off.
    pub neck_done: Option<usize>,
    /// A guide's tip first lies in the neck.
    pub guide_in_neck: Option<usize>,
    /// The clot has left the artery: into a catheter or out of the body.
    pub clot_out: Option<usize>,
    /// The neck lets blood through, where it did not at first.
    pub flow: Option<usize>,
    /// It did from the beginning.
    pub flows_at_first: bool,
    /// First step at which something lies across the clot.
    pub clot_crossed: Option<usize>,
}

impl Events {
    /// The events of a script that has been walked through.
    #[must_use]
    pub fn of(plan: &Plan, passed: &[Passed]) -> Self {
        let first = |happens: &dyn Fn(usize, &Passed) -> bool| {
            passed.iter().enumerate().position(|(i, p)| happens(i, p))
        };
        let opened =
            |p: &Passed| (0..plan.devices.len()).find(|k| !p.before.open[*k] && p.after.open[*k]);
        let retriever_opened = first(&|_, p| opened(p).is_some());
        let retriever = retriever_opened.and_then(|i| opened(&passed[i]));
        let retriever_pulled = retriever_opened.zip(retriever).and_then(|(opened, k)| {
            first(&|i, p| i > opened && p.effect.moves.iter().any(|m| m.device == k))
        });
        let lesions = &plan.track.lesions;
        let all = |state: &State, enough: &dyn Fn(usize, f64) -> bool| {
            (0..lesions.len()).all(|i| enough(i, state.residual_mm[i]))
        };
        let open = |i: usize, mm: f64| mm >= OPEN_SHARE * lesions[i].reference_mm;
        let flows = |_: usize, mm: f64| mm >= FLOW_LEAST_MM;
        let flows_at_first = passed.first().is_none_or(|p| all(&p.before, &flows));
        Self {
            retriever_opened,
            retriever_pulled,
            neck_dilated: first(&|i, p| {
                matches!(plan.script[i].act, Action::Inflate { .. })
                    && p.before.residual_mm != p.after.residual_mm
            }),
            neck_open: first(&|_, p| !all(&p.before, &open) && all(&p.after, &open)),
            neck_done: neck_done(plan, passed),
            guide_in_neck: first(&|_, p| {
                (0..plan.devices.len()).any(|k| {
                    matches!(
                        plan.devices[k].device.class,
                        DeviceClass::Guide | DeviceClass::BalloonGuide | DeviceClass::LongSheath
                    ) && p
                        .after
                        .tip_mm(k)
                        .is_some_and(|s| plan.region_of(s) >= Region::Neck)
                })
            }),
            clot_out: clot_out(plan, passed),
            flow: first(&|_, p| !all(&p.before, &flows) && all(&p.after, &flows)),
            flows_at_first,
            clot_crossed: first(&|_, p| {
                let clots = 0..plan.track.clots.len();
                clots
                    .into_iter()
                    .any(|c| !across_clot(plan, &p.after, c).is_empty())
            }),
        }
    }
}

/// The last step that takes out what dilated or stented.
fn neck_done(plan: &Plan, passed: &[Passed]) -> Option<usize> {
    let treats = |k: usize| {
        matches!(
            plan.devices[k].device.payload,
            Some(Payload::Balloon(_) | Payload::Stent(_))
        )
    };
    passed.iter().rposition(|p| {
        (0..plan.devices.len())
            .any(|k| treats(k) && p.before.in_place[k].is_some() && p.after.in_place[k].is_none())
    })
}

/// Devices whose tips lie beyond a clot.
fn across_clot(plan: &Plan, state: &State, clot: usize) -> Vec<usize> {
    let end_mm = plan.track.clots[clot].end_mm;
    (0..plan.devices.len())
        .filter(|k| {
            state
                .distal_end_mm(plan, *k)
                .is_some_and(|tip| tip >= end_mm)
        })
        .collect()
}

/// The step that brings every clot into a catheter or out.
fn clot_out(plan: &Plan, passed: &[Passed]) -> Option<usize> {
    let steps = (0..plan.track.clots.len()).map(|c| one_clot_out(plan, passed, c));
    steps.collect::<Option<Vec<_>>>()?.into_iter().max()
}

fn one_clot_out(plan: &Plan, passed: &[Passed], clot: usize) -> Option<usize> {
    let mut taken_by: Vec<usize> = Vec::new();
    for (i, p) in passed.iter().enumerate() {
        if taken_by.is_empty() {
            taken_by = (0..plan.devices.len())
                .filter(|k| brings_clot(plan, &p.before, *k, clot))
                .filter(|k| {
                    p.effect
                        .moves
                        .iter()
                        .any(|m| m.device == *k && m.to_mm < m.from_mm)
                })
                .collect();
        }
        let moves_back = |k: &usize| {
            p.effect
                .moves
                .iter()
                .any(|m| m.device == *k && m.to_mm < m.from_mm)
        };
        let safe = |k: &usize| match p.after.distal_end_mm(plan, *k) {
            None => true,
            // covered by a catheter that did not bring it there: at rest around it
            Some(end_mm) => p
                .after
                .hubs_passed(*k)
                .into_iter()
                .filter(|j| !taken_by.contains(j))
                .any(|j| p.after.tip_mm(j).is_some_and(|tip| tip >= end_mm)),
        };
        if !taken_by.is_empty() && taken_by.iter().any(moves_back) && taken_by.iter().all(safe) {
            return Some(i);
        }
    }
    None
}

/// Whether a device would bring the clot along if it were drawn back: an open retriever in it, or a
/// catheter on suction at it.
#[must_use]
pub fn brings_clot(plan: &Plan, state: &State, k: usize, clot: usize) -> bool {
    let clot = &plan.track.clots[clot];
    let Some(end_mm) = state.distal_end_mm(plan, k) else {
        return false;
    };
    if state.open[k] {
        let near_mm = state.retriever_proximal_mm(plan, k).unwrap_or(end_mm);
        return near_mm < clot.end_mm && end_mm > clot.start_mm;
    }
    state.suction[k] && end_mm >= clot.start_mm - DRAWS_WITHIN_MM && end_mm <= clot.end_mm
}

/// Who holds the way across one obstacle.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hold {
    /// Name of the lesion or the clot.
    pub across: String,
    /// Devices whose ends lie beyond it.
    pub held_by: Vec<String>,
    /// Whether it is known that they lie in the true lumen: shown by contrast beyond a dissection,
    /// taken for granted elsewhere.
    pub true_lumen: bool,
    /// Crossed before and held by nothing now.
    pub let_go: bool,
}

/// The ledger after one step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LedgerRow {
    /// Number of the step, from 1.
    pub step: usize,
    /// By obstacle: lesions, then clots.
    pub holds: Vec<Hold>,
}

/// Crossings of one obstacle over the whole script.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Crossing {
    /// Name of the lesion or the clot.
    pub across: String,
    /// Tips that passed it from below.
    pub tips: usize,
    /// Times it had to be passed with nothing across it: the first time and after every loss.
    pub unled: usize,
    /// Steps (from 1) at which access was let go of while there was still work to do: the clot in
    /// place, or the neck not yet open.
    pub let_go_at: Vec<usize>,
}

/// What protects the brain while the neck is worked on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Protection {
    /// Number of the step, from 1.
    pub step: usize,
    /// Catheters on suction.
    pub suction: Vec<String>,
    /// Occlusion balloons that are up.
    pub flow_stopped_by: Vec<String>,
    /// Retrievers that stand open above.
    pub open_above: Vec<String>,
}

/// Access over a whole script.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ledger {
    /// After every step.
    pub rows: Vec<LedgerRow>,
    /// By obstacle.
    pub crossings: Vec<Crossing>,
    /// Steps that act on the neck: stents, balloons, wide devices through the lesion.
    pub neck_work: Vec<Protection>,
}

impl Ledger {
    /// Times that access across anything was let go of with work left to do.
    #[must_use]
    pub fn let_go(&self) -> usize {
        self.crossings.iter().map(|c| c.let_go_at.len()).sum()
    }

    /// Times anything had to be passed with nothing across it.
    #[must_use]
    pub fn unled(&self) -> usize {
        self.crossings.iter().map(|c| c.unled).sum()
    }
}

/// Keeps the ledger of a script that has been walked through.
#[must_use]
pub fn ledger(plan: &Plan, passed: &[Passed]) -> Ledger {
    let events = Events::of(plan, passed);
    let lesions = plan.track.lesions.len();
    let obstacles = lesions + plan.track.clots.len();
    let across = |state: &State, o: usize| -> Vec<usize> {
        if o < lesions {
            state.across(plan, o).collect()
        } else {
            across_clot(plan, state, o - lesions)
        }
    };
    let end_mm = |o: usize| {
        if o < lesions {
            plan.track.lesions[o].end_mm
        } else {
            plan.track.clots[o - lesions].end_mm
        }
    };
    let name = |o: usize| {
        if o < lesions {
            plan.track.lesions[o].name.clone()
        } else {
            plan.track.clots[o - lesions].name.clone()
        }
    };
    let mut crossings: Vec<Crossing> = (0..obstacles)
        .map(|o| Crossing {
            across: name(o),
            tips: 0,
            unled: 0,
            let_go_at: Vec::new(),
        })
        .collect();
    // the step by which the work is done: the clot out and, where the neck is opened at all, open
    let done_at = [events.clot_out, events.neck_open]
        .into_iter()
        .flatten()
        .max();
    let mut rows = Vec::new();
    for (i, p) in passed.iter().enumerate() {
        let mut holds = Vec::new();
        for (o, crossing) in crossings.iter_mut().enumerate() {
            let (was, is) = (across(&p.before, o), across(&p.after, o));
            let tips = p
                .effect
                .moves
                .iter()
                .filter(|m| m.from_mm < end_mm(o) && m.to_mm >= end_mm(o))
                .count();
            crossing.tips += tips;
            if tips > 0 && was.is_empty() {
                crossing.unled += 1;
            }
            let work_left = events.clot_out.is_none() || done_at.is_some_and(|done| i < done);
            // a clot that has been taken out need not be held any more
            let gone = o >= lesions && taken(plan, passed, o - lesions, i);
            if !was.is_empty() && is.is_empty() && work_left && !gone {
                crossing.let_go_at.push(i + 1);
            }
            let dissected = o < lesions && plan.track.lesions[o].kind != LesionKind::Plaque;
            holds.push(Hold {
                across: name(o),
                let_go: is.is_empty() && crossing.tips > 0,
                true_lumen: !dissected || p.after.true_lumen_shown[o],
                held_by: is.iter().map(|k| plan.devices[*k].name.clone()).collect(),
            });
        }
        rows.push(LedgerRow { step: i + 1, holds });
    }
    Ledger {
        rows,
        crossings,
        neck_work: neck_work(plan, passed),
    }
}

/// Whether the clot is on its way out with what holds it by the end of a step.
fn taken(plan: &Plan, passed: &[Passed], clot: usize, by_step: usize) -> bool {
    passed[..=by_step].iter().any(|p| {
        (0..plan.devices.len()).any(|k| {
            brings_clot(plan, &p.before, k, clot)
                && p.effect
                    .moves
                    .iter()
                    .any(|m| m.device == k && m.to_mm < m.from_mm)
        })
    })
}

/// Steps that act on a lesion, and what protects the brain meanwhile.
fn neck_work(plan: &Plan, passed: &[Passed]) -> Vec<Protection> {
    let names = |pick: &dyn Fn(usize) -> bool| -> Vec<String> {
        (0..plan.devices.len())
            .filter(|k| pick(*k))
            .map(|k| plan.devices[k].name.clone())
            .collect()
    };
    passed
        .iter()
        .enumerate()
        .filter(|(_, p)| acts_on_neck(plan, &p.before, &p.after, &p.effect.moves))
        .map(|(i, p)| Protection {
            step: i + 1,
            suction: names(&|k| p.before.suction[k]),
            flow_stopped_by: names(&|k| stops_flow(plan, &p.before, k)),
            open_above: names(&|k| {
                p.before.open[k]
                    && p.before
                        .tip_mm(k)
                        .is_some_and(|tip| plan.region_of(tip) == Region::Head)
            }),
        })
        .collect()
}
