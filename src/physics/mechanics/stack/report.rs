//! A state put together from shapes and loads: who is where, and what the move costs.

use super::arrangement::StackProblem;
use super::friction_sum::SlidingContact;
use super::load_report::{HeldLoad, LoadReport, Loss};
use super::moving::{Direction, Moving};
use super::present::PresentRods;
use super::state::{DeviceState, Failure, StackState, outside};
use crate::geometry::Vector;
use crate::math;
use crate::mechanics::closed_forms::buckling::{Buckling, PushedCell, waves};
use crate::mechanics::closed_forms::capstan::{BendContact, capstan_factor};
use crate::mechanics::equilibrium::solution::{Solution, Status};
use crate::mechanics::rod::scene::Container;

/// Contacts further apart than this, mm, are two places where force is lost.
const ZONE_GAP_MM: f64 = 5.0;

/// Turning of a polyline of directions, rad.
fn turning(directions: impl Iterator<Item = Vector>) -> f64 {
    let mut sum = 0.0;
    let mut before: Option<Vector> = None;
    for d in directions {
        if let Some(b) = before {
            sum += b.angle(&d);
        }
        before = Some(d);
    }
    sum
}

/// What a report is made from.
#[derive(Clone, Copy)]
pub(crate) struct Reporter<'a> {
    pub(crate) problem: &'a StackProblem<'a>,
    pub(crate) rods: &'a PresentRods,
    /// Contacts of the rod that slides, with their friction.
    pub(crate) sliding: &'a [SlidingContact],
    pub(crate) solution: &'a Solution,
    /// The state before.
    pub(crate) from: Option<&'a StackState>,
}

impl Reporter<'_> {
    /// The state: of the device that moves, if one does, its rod, and the hub force at which it locked up.
    pub(crate) fn state(&self, mover: Option<(usize, Moving)>, locked: Option<f64>) -> StackState {
        let first = self.problem.tube[0].s_mm;
        let devices: Vec<DeviceState> = self
            .problem
            .devices
            .iter()
            .enumerate()
            .map(|(k, device)| {
                let Some(rod) = self.rods.rod_of(k) else {
                    return outside(device, first);
                };
                let state = &self.solution.rods[rod];
                DeviceState {
                    rod: Some(rod),
                    tip_mm: self.rods.ends[rod],
                    inserted_mm: state.path_length_mm,
                    centre_line_mm: state.centre_line_mm,
                    tip_load_n: state.load_n.last().copied().unwrap_or(0.0),
                    hub_load_n: state.load_n.first().copied().unwrap_or(0.0),
                }
            })
            .collect();
        let added_n = devices
            .iter()
            .map(|d| {
                d.rod
                    .map_or_else(Vec::new, |rod| self.rods.added_n[rod].clone())
            })
            .collect();
        let load = mover.map(|m| self.load_report(&devices, m));
        let mut failures = Vec::new();
        if let Status::OutsideModel {
            rod,
            station_mm,
            angle_deg,
        } = self.solution.status
        {
            failures.push(Failure::Prolapse {
                device: self.rods.device[rod],
                station_mm,
                angle_deg,
            });
        }
        if let Some(load) = &load {
            let station_mm = load.losses.first().map_or(first, |l| l.station_mm);
            if let Some(hub_force_n) = locked {
                failures.push(Failure::LockUp {
                    station_mm,
                    hub_force_n,
                });
            }
        }
        StackState {
            devices,
            solution: Some(self.solution.clone()),
            load,
            failures,
            rounds: 0,
            newton_steps: 0,
            factorised_unknowns: 0,
            added_n,
            light: None,
        }
    }

    fn load_report(&self, devices: &[DeviceState], (mover, moving): (usize, Moving)) -> LoadReport {
        let solution = self.solution;
        let sign = moving.direction.sign();
        let own = &solution.rods[mover];
        let hub_force_n = sign * own.load_n[0];
        let stiffness = self.rods.rods[mover].stiffness_n_mm2.at(own
            .from_tip_mm
            .first()
            .copied()
            .unwrap_or(0.0));
        let start_force_n =
            hub_force_n - sign * math::power(own.moment_n_mm[0], 2) / (2.0 * stiffness);
        let tip_force_n = sign * devices[moving.device].tip_load_n;
        let ratio = |a: f64, b: f64| (b > 0.0).then(|| a / b);
        let sum_n = |given: bool| {
            let of_kind = self.sliding.iter().filter(|r| r.given == given);
            of_kind.map(|r| r.friction_n).sum::<f64>()
        };
        let (friction_n, lesions_n) = (sum_n(false), sum_n(true));
        let (largest_wall_force_n_per_mm, largest_wall_force_at_mm) = solution
            .contacts
            .iter()
            .filter(|c| c.other.is_none())
            .map(|c| (c.force_in_space_n.norm() / c.length_mm, Some(c.station_mm)))
            .fold((0.0, None), |a, b| if b.0 > a.0 { b } else { a });
        let tip = self.rods.ends[mover];
        let route = |s: f64| s <= tip;
        let route_turning_rad = turning(
            self.problem
                .tube
                .iter()
                .filter(|t| route(t.s_mm))
                .map(|t| t.frame.tangent),
        );
        let own_turning_rad = turning(own.position_mm.windows(2).map(|p| p[1] - p[0]));
        let coefficient = |s: f64| {
            let at = self.rods.rods[mover]
                .containers
                .iter()
                .find(|c| s <= c.to_mm);
            let other = at.and_then(|c| match c.container {
                Container::Rod(j) => Some(self.rods.device[j]),
                Container::Vessel => None,
            });
            (self.problem.friction)(moving.device, other)
        };
        let capstan = capstan_factor(
            self.problem
                .tube
                .windows(2)
                .filter(|t| route(t[1].s_mm))
                .map(|t| BendContact {
                    turning_rad: t[0].frame.tangent.angle(&t[1].frame.tangent),
                    friction_coefficient: coefficient(0.5 * (t[0].s_mm + t[1].s_mm)),
                }),
        );
        LoadReport {
            device: moving.device,
            direction: moving.direction,
            hub_force_n,
            start_force_n,
            tip_force_n,
            efficiency: ratio(tip_force_n, hub_force_n),
            friction_n,
            lesions_n,
            share_lost: ratio(friction_n, hub_force_n),
            losses: self.losses(),
            held: (0..self.rods.rods.len())
                .filter(|k| *k != mover)
                .map(|k| self.reaction(devices, k, (mover, sign)))
                .collect(),
            largest_wall_force_n_per_mm,
            largest_wall_force_at_mm,
            route_turning_rad,
            own_turning_rad,
            capstan_factor: capstan,
            force_factor: ratio(hub_force_n, tip_force_n),
            buckling: match moving.direction {
                Direction::Push => self.buckling(mover),
                Direction::Pull => None,
            },
        }
    }

    /// Friction of the moving rod by place, most first.
    fn losses(&self) -> Vec<Loss> {
        let mut losses: Vec<Loss> = Vec::new();
        let mut open: Vec<usize> = Vec::new();
        // from the tip to the hub
        for rub in self.sliding.iter().filter(|r| r.friction_n > 0.0) {
            let other = rub.other.map(|j| self.rods.device[j]);
            let near = open.iter().copied().find(|i| {
                let loss = &losses[*i];
                loss.other == other
                    && loss.in_lesion == rub.given
                    && loss.from_mm - rub.s_mm <= ZONE_GAP_MM
            });
            if let Some(i) = near {
                let loss = &mut losses[i];
                let whole = loss.lost_n + rub.friction_n;
                loss.station_mm += (rub.s_mm - loss.station_mm) * rub.friction_n / whole;
                loss.lost_n = whole;
                loss.from_mm = loss.from_mm.min(rub.s_mm);
                loss.to_mm = loss.to_mm.max(rub.s_mm);
            } else {
                let same = |loss: &Loss| loss.other == other && loss.in_lesion == rub.given;
                open.retain(|i| !same(&losses[*i]));
                open.push(losses.len());
                losses.push(Loss {
                    other,
                    from_mm: rub.s_mm,
                    to_mm: rub.s_mm,
                    station_mm: rub.s_mm,
                    lost_n: rub.friction_n,
                    in_lesion: rub.given,
                });
            }
        }
        losses.sort_by(|a, b| b.lost_n.total_cmp(&a.lost_n));
        losses
    }

    /// What rod `k` feels while another one moves, `sign` telling which way.
    fn reaction(&self, devices: &[DeviceState], k: usize, (mover, sign): (usize, f64)) -> HeldLoad {
        let solution = self.solution;
        let device = self.rods.device[k];
        let hub_reaction_n = solution.rods[k].load_n[0];
        // what the surfaces at rest can carry besides
        let carried: f64 = solution
            .contacts
            .iter()
            .filter_map(|c| {
                let other = match (c.rod, c.other) {
                    (rod, other) if rod == k => other,
                    (rod, Some(other)) if other == k => Some(rod),
                    _ => return None,
                };
                if other == Some(mover) {
                    return None;
                }
                let coefficient =
                    (self.problem.friction)(device, other.map(|j| self.rods.device[j]));
                Some(coefficient * c.force_in_space_n.norm())
            })
            .sum();
        let drag_n = -sign
            * self
                .sliding
                .iter()
                .filter(|r| r.other == Some(k))
                .map(|r| r.friction_n)
                .sum::<f64>();
        /// Lengths nearer than this, mm, are the same: the device was held.
        const SAME_LENGTH_MM: f64 = 1e-5;
        let tip_moved_mm = self.from.map(|f| &f.devices[device]).and_then(|old| {
            let new = &devices[device];
            ((old.inserted_mm - new.inserted_mm).abs() < SAME_LENGTH_MM)
                .then_some(new.tip_mm - old.tip_mm)
        });
        HeldLoad {
            device,
            hub_reaction_n,
            hub_range_n: [hub_reaction_n - carried, hub_reaction_n + carried],
            drag_n,
            tip_moved_mm,
        }
    }

    /// Where the thrust exceeds what keeps the rod straight in its container.
    fn buckling(&self, mover: usize) -> Option<Buckling> {
        let (tube, solution) = (self.problem.tube, self.solution);
        let rod = &self.rods.rods[mover];
        let state = &solution.rods[mover];
        let mut cells = Vec::new();
        for i in 1..tube.len().min(state.station_mm.len()).saturating_sub(1) {
            let s = tube[i].s_mm;
            let lumen = match rod
                .containers
                .iter()
                .find(|c| s <= c.to_mm)
                .map(|c| c.container)
            {
                Some(Container::Rod(j)) => {
                    let outer = &solution.rods[j];
                    let at = outer.from_tip_mm.get(i).copied().unwrap_or(0.0);
                    self.rods.rods[j]
                        .inner_mm
                        .as_ref()
                        .map_or(0.0, |d| d.at(at))
                }
                _ => 2.0 * tube[i].radius_mm,
            };
            let length_mm = 0.5 * (tube[i + 1].s_mm - tube[i - 1].s_mm);
            let turn_rad = tube[i - 1].frame.tangent.angle(&tube[i + 1].frame.tangent);
            let across = rod.line_load_n_per_mm
                - tube[i].frame.tangent * rod.line_load_n_per_mm.dot(&tube[i].frame.tangent);
            cells.push(PushedCell {
                s_mm: s,
                length_mm,
                thrust_n: -state.load_n[i],
                stiffness_n_mm2: rod.stiffness_n_mm2.at(state.from_tip_mm[i]),
                bend_per_mm: turn_rad / (2.0 * length_mm),
                room_mm: 0.5 * (lumen - rod.outer_mm.at(state.from_tip_mm[i])),
                across_n_per_mm: across.norm(),
            });
        }
        waves(&cells)
    }
}
