//! The devices of a stack that are far enough in to bend, as rods.

use super::arrangement::{
    Arrangement, Drive, FrictionOf, RodContainment, StackDevice, StackProblem, span_of,
};
use super::state::StackState;
use crate::mechanics::equilibrium::solution::{RodState, Solution};
use crate::mechanics::rod::scene::{AxialLoad, FEWEST_CELLS, Rod, Scene, TubeStation};

/// What is known of a rod's hub between one shape and the next.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct HubLoad {
    /// Load it is meant to carry, N.
    pub(crate) load_n: f64,
    /// Inserted length at which it carries just that, mm.
    pub(crate) inserted_mm: f64,
    /// Whether the length is known: else the hub follows freely once.
    pub(crate) known: bool,
}

/// The rods and what they lie under. Lists run by rod.
#[derive(Debug, Clone, Default)]
pub(crate) struct PresentRods {
    pub(crate) rods: Vec<Rod>,
    /// Its device.
    pub(crate) device: Vec<usize>,
    /// Arc length of the centre line at its end, mm.
    pub(crate) ends: Vec<f64>,
    pub(crate) through: Vec<bool>,
    /// Inserted length wished, mm; none where the tip is given.
    pub(crate) target_mm: Vec<Option<f64>>,
    pub(crate) hubs: Vec<HubLoad>,
    /// By station: load that friction adds, counted from the tip, N.
    pub(crate) added_n: Vec<Vec<f64>>,
    containments: Vec<RodContainment>,
    arrangement: Arrangement,
}

/// Nearest end a rod can have.
pub(crate) fn least_end(tube: &[TubeStation]) -> f64 {
    tube[0].s_mm + FEWEST_CELLS * (tube[2].s_mm - tube[0].s_mm) / 2.0
}

impl PresentRods {
    /// Takes over what is far enough in, from where it lay before.
    pub(crate) fn pose(&mut self, problem: &StackProblem<'_>, from: Option<&StackState>) {
        self.device.clear();
        self.rods.clear();
        self.ends.clear();
        self.through.clear();
        self.target_mm.clear();
        self.hubs.clear();
        self.added_n.clear();
        for (k, device) in problem.devices.iter().enumerate() {
            self.pose_device(problem.tube, k, device, from);
        }
        self.containments.clear();
        for containment in problem.containments {
            let rod = |device: usize| self.rod_of(device);
            let (Some(inner), Some(outer)) = (rod(containment.inner), rod(containment.outer))
            else {
                continue;
            };
            let old = from.and_then(|f| {
                let rod = f.devices[containment.outer].rod?;
                f.solution.as_ref().map(|s| &s.rods[rod])
            });
            let to_from_tip_mm = containment.to_from_tip_mm;
            self.containments.push(RodContainment {
                inner,
                outer,
                to_from_tip_mm,
                span_mm: old.map_or(to_from_tip_mm, |r| {
                    span_of(&r.station_mm, &r.from_tip_mm, to_from_tip_mm)
                }),
            });
        }
    }

    fn pose_device(
        &mut self,
        tube: &[TubeStation],
        k: usize,
        device: &StackDevice,
        from: Option<&StackState>,
    ) {
        let (first, last) = (tube[0].s_mm, tube[tube.len() - 1].s_mm);
        let least = least_end(tube);
        let before = from.map(|f| &f.devices[k]).filter(|d| d.rod.is_some());
        let end = match device.drive {
            Drive::Through => last,
            Drive::Tip(s) => s,
            Drive::Inserted(l) => before.map_or(first + l, |d| d.tip_mm + l - d.inserted_mm),
        };
        let enough = match device.drive {
            Drive::Inserted(l) => first + l >= least,
            _ => end >= least,
        };
        if !enough {
            return;
        }
        let added_n = from
            .and_then(|f| f.added_n.get(k))
            .filter(|a| a.len() == tube.len())
            .cloned()
            .unwrap_or_else(|| vec![0.0; tube.len()]);
        self.hubs.push(match (before, device.drive) {
            (Some(old), Drive::Inserted(inserted_mm)) => HubLoad {
                load_n: old.hub_load_n,
                inserted_mm,
                known: true,
            },
            (Some(old), _) => HubLoad {
                load_n: old.hub_load_n,
                inserted_mm: old.inserted_mm + end - old.tip_mm,
                known: true,
            },
            (None, _) => HubLoad::default(),
        });
        self.added_n.push(added_n);
        self.device.push(k);
        self.rods.push(device.rod.clone());
        self.through.push(device.drive == Drive::Through);
        let (target_mm, end) = match device.drive {
            Drive::Inserted(l) => (Some(l), end.clamp(least, last)),
            _ => (None, end),
        };
        self.target_mm.push(target_mm);
        self.ends.push(end);
    }

    /// The rod of a device.
    pub(crate) fn rod_of(&self, device: usize) -> Option<usize> {
        self.device.iter().position(|k| *k == device)
    }

    /// Coefficient of friction of a rod on another one or on the vessel (none).
    pub(crate) fn friction_of(
        &self,
        friction: FrictionOf<'_>,
        rod: usize,
        other: Option<usize>,
    ) -> f64 {
        friction(self.device[rod], other.map(|j| self.device[j]))
    }

    /// Whether the lengths of all are known.
    pub(crate) fn all_known(&self) -> bool {
        self.hubs.iter().all(|h| h.known)
    }

    /// Shapes to start from, by rod: of the round before, else of the state before.
    pub(crate) fn shapes<'a>(
        &self,
        devices: usize,
        last: Option<&'a Solution>,
        from: Option<&'a StackState>,
    ) -> Vec<Option<&'a RodState>> {
        if let Some(last) = last {
            return last.rods.iter().map(Some).collect();
        }
        let Some((from, solution)) = from
            .and_then(|f| Some((f, f.solution.as_ref()?)))
            .filter(|f| f.0.devices.len() == devices)
        else {
            return vec![None; self.device.len()];
        };
        let old = |k: &usize| from.devices[*k].rod.and_then(|rod| solution.rods.get(rod));
        self.device.iter().map(old).collect()
    }

    /// Puts ends, containers and neighbours where the tips are, and loads on the rods: what hub and friction
    /// put on them, the hub held by a spring.
    pub(crate) fn arrange(&mut self, tube: &[TubeStation], hub_spring_n_per_mm: f64) {
        self.arrangement.set(
            tube,
            (&self.ends, &self.through),
            &self.containments,
            &mut self.rods,
        );
        for (k, rod) in self.rods.iter_mut().enumerate() {
            let (hub, added_n) = (&self.hubs[k], &self.added_n[k]);
            rod.load = if hub.known {
                let first = added_n.first().copied().unwrap_or(0.0);
                AxialLoad::HubHeld {
                    load_n: added_n.iter().map(|a| hub.load_n + a - first).collect(),
                    spring_n_per_mm: hub_spring_n_per_mm,
                    rest_mm: hub.inserted_mm,
                }
            } else {
                // from scratch nobody knows yet how long it is
                AxialLoad::HubHeld {
                    load_n: vec![0.0; added_n.len()],
                    spring_n_per_mm: 0.0,
                    rest_mm: 0.0,
                }
            };
        }
    }

    /// As an equilibrium is asked of them.
    pub(crate) fn scene<'a>(&'a self, tube: &'a [TubeStation]) -> Scene<'a> {
        Scene {
            tube,
            rods: &self.rods,
            beside: &self.arrangement.beside,
        }
    }

    /// Brings the places of ports to a shape.
    pub(crate) fn update_ports(&mut self, found: &Solution) {
        for containment in &mut self.containments {
            let outer = &found.rods[containment.outer];
            containment.span_mm = span_of(
                &outer.station_mm,
                &outer.from_tip_mm,
                containment.to_from_tip_mm,
            );
        }
    }
}
