//! Settled shapes between which the film moves.

use super::axis_by_station::AxisByStation;
use super::settled::{Settled, settled};
use super::vessel::lumen_radius_mm;
use crate::geometry::Vector;
use crate::procedure::{InPlace, Passed, Plan, Shape, State, brings_clot};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Where the shapes of the devices come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ShapesFrom {
    /// The rehearsal's own rods.
    Rehearsal,
    /// Rods settled for the picture, without friction, at tips that were ruled along the centre line.
    Settled {
        /// Shapes that were asked for.
        wanted: usize,
        /// Those that came to no rest: the shape before is kept there, or the centre line.
        missing: usize,
    },
    /// The centre line.
    CentreLine,
}

impl ShapesFrom {
    /// In words, for everybody who looks at the picture.
    #[must_use]
    pub fn in_words(self) -> String {
        match self {
            Self::Rehearsal => "Shapes: elastic rods with friction, as rehearsed.".into(),
            Self::Settled { missing: 0, .. } => {
                "Shapes: elastic rods without friction; tips ruled along the centre line.".into()
            }
            Self::Settled { wanted, missing } => format!(
                "Shapes: elastic rods without friction, tips ruled along the centre line; {missing} of {wanted} came to no rest and are carried over."
            ),
            Self::CentreLine => "Shapes: all devices on the centre line; no rods.".into(),
        }
    }
}

/// A contact of a settled shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct KeyContact {
    pub(super) device: usize,
    pub(super) on: Option<usize>,
    pub(super) station_mm: f64,
    pub(super) force_n: Vector,
}

/// A settled shape at a share of a step's motion.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Key {
    pub(super) share: f64,
    /// By device; none where it is not in the body.
    pub(super) axes: Vec<Option<Arc<AxisByStation>>>,
    pub(super) contacts: Vec<KeyContact>,
}

/// Where a clot is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ClotPlace {
    pub(super) start_mm: f64,
    pub(super) end_mm: f64,
    pub(super) carried_by: Option<usize>,
    pub(super) gone: bool,
}

/// One step of the film.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Scenes {
    pub(super) before: State,
    pub(super) after: State,
    /// From share 0 to share 1.
    pub(super) keys: Vec<Key>,
    /// By clot: before and after.
    pub(super) clots: Vec<[ClotPlace; 2]>,
}

/// The state on its way from one to another: lengths in between, what opens open already, what leaves
/// still there.
pub(super) fn state_between(plan: &Plan, before: &State, after: &State, share: f64) -> State {
    let leaves = (0..before.in_place.len())
        .any(|k| before.in_place[k].is_some() && after.in_place[k].is_none());
    let mut state = if leaves { before } else { after }.clone();
    let outside = |p: InPlace| InPlace {
        tip_mm: plan.hub_station_mm(),
        fed_mm: 0.0,
        ..p
    };
    for k in 0..state.in_place.len() {
        let (was, is) = match (before.in_place[k], after.in_place[k]) {
            (Some(was), Some(is)) => (was, is),
            (Some(was), None) => (was, outside(was)),
            (None, Some(is)) => (outside(is), is),
            (None, None) => continue,
        };
        state.in_place[k] = Some(InPlace {
            tip_mm: was.tip_mm + (is.tip_mm - was.tip_mm) * share,
            fed_mm: was.fed_mm + (is.fed_mm - was.fed_mm) * share,
            through: state.in_place[k].and_then(|p| p.through),
        });
        state.open[k] = before.open[k] || after.open[k];
        state.inflated[k] = before.inflated[k] || after.inflated[k];
        state.suction[k] = if share < 1.0 {
            before.suction[k]
        } else {
            after.suction[k]
        };
    }
    if share >= 1.0 {
        for k in 0..state.in_place.len() {
            if after.in_place[k].is_none() {
                state.in_place[k] = None;
            }
        }
    }
    for (now, (was, is)) in state
        .residual_mm
        .iter_mut()
        .zip(before.residual_mm.iter().zip(&after.residual_mm))
    {
        *now = was + (is - was) * share;
    }
    state
}

/// A state of one's own in the place of the end of a step, as it lies in a shape; without one, as things
/// lay at that end.
pub(super) fn posed(plan: &Plan, of: &Scenes, state: &State, shape: Option<&Arc<Shape>>) -> Scenes {
    let centred = Key {
        share: 1.0,
        axes: vec![None; plan.devices.len()],
        contacts: Vec::new(),
    };
    let last = of.keys.last().unwrap_or(&centred);
    let key = KeyMaker::new(plan).key(1.0, state, shape, last);
    Scenes {
        before: state.clone(),
        after: state.clone(),
        keys: vec![
            Key {
                share: 0.0,
                ..key.clone()
            },
            key,
        ],
        clots: of.clots.iter().map(|c| [c[1]; 2]).collect(),
    }
}

/// Makes keys out of shapes.
pub(super) struct KeyMaker<'a> {
    plan: &'a Plan,
}

/// Gap between contacts of one zone, mm, and least force that is drawn, N: thin wires press with a few
/// hundredths.
const ZONE: (f64, f64) = (3.0, 0.005);

impl<'a> KeyMaker<'a> {
    pub(super) const fn new(plan: &'a Plan) -> Self {
        Self { plan }
    }

    /// All steps. Shapes of the rehearsal are used where it has any; else, where `settle` is wished, rods
    /// are settled here.
    pub(super) fn scenes(&self, passed: &[Passed], settle: bool) -> (Vec<Scenes>, ShapesFrom) {
        let rehearsed = passed.iter().any(|p| {
            p.effect
                .placements
                .iter()
                .any(|placed| placed.shape.is_some())
        });
        let settled = if settle && !rehearsed {
            settled(self.plan, passed)
        } else {
            Settled::default()
        };
        let mut last = Key {
            share: 1.0,
            axes: vec![None; self.plan.devices.len()],
            contacts: Vec::new(),
        };
        let mut clots: Vec<ClotPlace> = self.clots_at_first();
        let mut scenes = Vec::with_capacity(passed.len());
        for (step, done) in passed.iter().enumerate() {
            let mut keys = vec![Key {
                share: 0.0,
                ..last.clone()
            }];
            let moved = moves(done);
            if moved {
                let mut placed = done.effect.placements.iter().rev();
                let rehearsed = placed.next().and_then(|l| l.shape.as_ref());
                let shape = rehearsed.or_else(|| settled.shapes.get(step)?.as_ref());
                keys.push(self.key(1.0, &done.after, shape, &last));
            } else {
                keys.push(Key {
                    share: 1.0,
                    ..last.clone()
                });
            }
            if let Some(key) = keys.last() {
                last = key.clone();
            }
            let after = self.clots_after(done, &clots);
            scenes.push(Scenes {
                before: done.before.clone(),
                after: done.after.clone(),
                keys,
                clots: clots.iter().zip(&after).map(|(a, b)| [*a, *b]).collect(),
            });
            clots = after;
        }
        let from = if rehearsed {
            ShapesFrom::Rehearsal
        } else if settled.wanted > settled.missing {
            ShapesFrom::Settled {
                wanted: settled.wanted,
                missing: settled.missing,
            }
        } else {
            ShapesFrom::CentreLine
        };
        (scenes, from)
    }

    fn key(&self, share: f64, state: &State, shape: Option<&Arc<Shape>>, last: &Key) -> Key {
        let mut axes = vec![None; self.plan.devices.len()];
        for (k, axis) in axes.iter_mut().enumerate() {
            if state.in_place[k].is_none() {
                continue;
            }
            *axis = match shape {
                Some(shape) => self.axis_of(shape, state, k),
                None => last.axes[k].clone(),
            }
            .or_else(|| Some(Arc::new(AxisByStation::centred())));
        }
        Key {
            share,
            axes,
            contacts: shape.map_or_else(
                || {
                    let still = |c: &&KeyContact| state.in_place[c.device].is_some();
                    last.contacts.iter().filter(still).copied().collect()
                },
                |shape| contacts(shape),
            ),
        }
    }

    fn axis_of(&self, shape: &Shape, state: &State, k: usize) -> Option<Arc<AxisByStation>> {
        let place = shape.devices.iter().position(|d| *d == k)?;
        let rod = shape.stack.devices.get(place)?.rod?;
        let rod = shape.stack.solution.as_ref()?.rods.get(rod)?;
        let device = &self.plan.devices[k].device;
        let room_mm = |s_mm: f64, from_tip_mm: f64| {
            lumen_radius_mm(&self.plan.track, &state.residual_mm, s_mm)
                - 0.5 * device.section_at(from_tip_mm).outer_mm
        };
        Some(Arc::new(AxisByStation::of_rod(rod, room_mm)))
    }

    fn clots_at_first(&self) -> Vec<ClotPlace> {
        let clots = self.plan.track.clots.iter();
        clots
            .map(|c| ClotPlace {
                start_mm: c.start_mm,
                end_mm: c.end_mm,
                carried_by: None,
                gone: false,
            })
            .collect()
    }

    /// What brings a clot along takes it to where it goes itself.
    fn clots_after(&self, done: &Passed, clots: &[ClotPlace]) -> Vec<ClotPlace> {
        let back = |k: usize| {
            let moves = done.effect.moves.iter();
            moves
                .filter(|m| m.device == k)
                .map(|m| m.to_mm - m.from_mm)
                .sum::<f64>()
        };
        let after = clots.iter().enumerate().map(|(i, clot)| {
            if clot.gone {
                return *clot;
            }
            // an open retriever holds it better than a catheter at its end
            let carrier = clot
                .carried_by
                .filter(|k| done.before.in_place[*k].is_some());
            let carrier = carrier.or_else(|| {
                let mut holders: Vec<usize> = (0..self.plan.devices.len())
                    .filter(|k| brings_clot(self.plan, &done.before, *k, i) && back(*k) < 0.0)
                    .collect();
                holders.sort_by_key(|k| !done.before.open[*k]);
                holders.first().copied()
            });
            let Some(k) = carrier else {
                return *clot;
            };
            let by_mm = back(k);
            ClotPlace {
                start_mm: clot.start_mm + by_mm,
                end_mm: clot.end_mm + by_mm,
                carried_by: Some(k),
                gone: done.after.in_place[k].is_none(),
            }
        });
        after.collect()
    }
}

/// Whether anything may lie differently after a step.
pub(super) fn moves(done: &Passed) -> bool {
    done.before.in_place != done.after.in_place
        || done.before.open != done.after.open
        || done.before.residual_mm != done.after.residual_mm
        || done.effect.placements.iter().any(|l| l.shape.is_some())
}

fn contacts(shape: &Shape) -> Vec<KeyContact> {
    let Some(solution) = &shape.stack.solution else {
        return Vec::new();
    };
    let plan_index = |rod: usize| {
        let place = shape
            .stack
            .devices
            .iter()
            .position(|d| d.rod == Some(rod))?;
        shape.devices.get(place).copied()
    };
    let zones = solution.zones(ZONE.0, ZONE.1);
    let told = zones.into_iter().filter_map(|zone| {
        Some(KeyContact {
            device: plan_index(zone.rod)?,
            on: match zone.other {
                Some(rod) => Some(plan_index(rod)?),
                None => None,
            },
            station_mm: zone.station_mm,
            force_n: zone.force_in_space_n,
        })
    });
    told.collect()
}
