//! What a move costs: forces at hub and tip, where they are lost, what the held devices feel.

use super::arrangement::{Drive, Hold, StackDevice};
use super::solver::{FrictionOf, StackSolver, outside};
use super::state::{DeviceState, Direction, Failure, Moving, StackState};
use crate::math;
use crate::mechanics::closed_forms::buckling::{Buckling, PushedCell, waves};
use crate::mechanics::closed_forms::capstan::{BendContact, capstan_factor};
use crate::mechanics::equilibrium::solution::{Solution, Status};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::scene::TubeStation;
use serde::{Deserialize, Serialize};

/// Contacts further apart than this, mm, are two places where force is lost.
const ZONE_GAP_MM: f64 = 5.0;

/// Force lost to friction on one stretch of one partner.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Loss {
    /// What it rubs on: another device, or the vessel (none).
    pub other: Option<usize>,
    /// Nearest contact, arc length of the centre line, mm.
    pub from_mm: f64,
    /// Furthest contact, mm.
    pub to_mm: f64,
    /// Centre of the friction, mm.
    pub station_mm: f64,
    /// Friction, N.
    pub lost_n: f64,
}

/// What a held device feels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HeldLoad {
    /// The device.
    pub device: usize,
    /// Force its hub must be held with if none of it is taken up by the surfaces it rests on, N;
    /// positive: it is drawn in.
    pub hub_reaction_n: f64,
    /// The least and the most it may be: surfaces at rest carry anything up to their friction.
    pub hub_range_n: [f64; 2],
    /// Friction of the moving device on it, along its whole length, N; positive: drawn towards its
    /// tip. On a rail that nobody holds this is what its tip must withstand.
    pub drag_n: f64,
    /// How far its tip moved against the state before at the same length fed, mm; negative: it
    /// fell back. None without such a state.
    pub tip_moved_mm: Option<f64>,
}

/// Forces of one move.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LoadReport {
    /// The device that moves.
    pub device: usize,
    /// Which way.
    pub direction: Direction,
    /// Force at its hub in the direction of the move, N.
    pub hub_force_n: f64,
    /// Axial force in it at station 0, N, in the same sense: less than at the hub by `M²/(2 B)`
    /// where the start clamps it in a bend.
    pub start_force_n: f64,
    /// Force its tip works against, N: resistance and what walls press back.
    pub tip_force_n: f64,
    /// Tip force over hub force; none where the hub needs no force.
    pub efficiency: Option<f64>,
    /// Friction in all, N.
    pub friction_n: f64,
    /// Friction over hub force; none where the hub needs no force.
    pub share_lost: Option<f64>,
    /// Where it is lost, most first.
    pub losses: Vec<Loss>,
    /// The devices that are held.
    pub held: Vec<HeldLoad>,
    /// Largest force on the vessel's wall per length of any device, N/mm.
    pub largest_wall_force_n_per_mm: f64,
    /// Where, arc length of the centre line, mm; none without contact.
    pub largest_wall_force_at_mm: Option<f64>,
    /// Angle the centre line turns by up to its tip, rad.
    pub route_turning_rad: f64,
    /// Angle the device itself turns by, rad.
    pub own_turning_rad: f64,
    /// What a limp string along the centre line would multiply the tip force by.
    pub capstan_factor: f64,
    /// Hub force over tip force; none without tip force.
    pub force_factor: Option<f64>,
    /// Where it buckles, if it is pushed beyond the onset.
    pub buckling: Option<Buckling>,
}

/// What a device can be fed or drawn without its tip following.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Slack {
    /// Length in the tube when pushed at this tip, mm.
    pub pushed_mm: f64,
    /// Length in the tube when pulled at this tip, mm.
    pub pulled_mm: f64,
}

impl Slack {
    /// The difference, mm.
    #[must_use]
    pub fn slack_mm(&self) -> f64 {
        self.pushed_mm - self.pulled_mm
    }
}

/// Turning of a polyline of directions, rad.
fn turning(directions: impl Iterator<Item = crate::geometry::Vector>) -> f64 {
    let mut sum = 0.0;
    let mut before: Option<crate::geometry::Vector> = None;
    for d in directions {
        if let Some(b) = before {
            sum += b.angle(&d);
        }
        before = Some(d);
    }
    sum
}

impl StackSolver {
    /// Slack of device `device`: its lengths in the tube pushed and pulled with the tip where it is.
    /// Both states are returned as well, pushed first.
    ///
    /// # Errors
    /// As [`Self::solve`].
    #[expect(
        clippy::too_many_arguments,
        reason = "the arguments of `solve` with two resistances"
    )]
    pub fn slack(
        &mut self,
        tube: &[TubeStation],
        devices: &[StackDevice],
        holds: &[Hold],
        friction: FrictionOf<'_>,
        device: usize,
        [push_resistance_n, pull_resistance_n]: [f64; 2],
        state: &StackState,
    ) -> Result<(Slack, [StackState; 2]), MechanicsError> {
        let mut devices = devices.to_vec();
        if let Some(d) = devices.get_mut(device)
            && d.drive != Drive::Through
        {
            d.drive = Drive::Tip(state.devices[device].tip_mm);
        }
        let mut solve = |direction, tip_resistance_n| {
            let moving = Moving {
                device,
                direction,
                tip_resistance_n,
            };
            self.solve(tube, &devices, holds, friction, Some(moving), Some(state))
        };
        let pushed = solve(Direction::Push, push_resistance_n)?;
        let pulled = solve(Direction::Pull, pull_resistance_n)?;
        let slack = Slack {
            pushed_mm: pushed.devices[device].path_mm,
            pulled_mm: pulled.devices[device].path_mm,
        };
        Ok((slack, [pushed, pulled]))
    }

    /// Puts the state together.
    pub(crate) fn report(
        &mut self,
        posed: &Posed<'_>,
        solution: Solution,
        (mover, locked): (Option<(usize, Moving)>, Option<f64>),
        from: Option<&StackState>,
    ) -> StackState {
        let first = posed.tube[0].s_mm;
        let devices: Vec<DeviceState> = posed
            .devices
            .iter()
            .enumerate()
            .map(|(k, device)| {
                let Some(rod) = self.present.iter().position(|p| *p == k) else {
                    return outside(device, first);
                };
                let state = &solution.rods[rod];
                DeviceState {
                    rod: Some(rod),
                    tip_mm: self.ends[rod],
                    path_mm: state.path_length_mm,
                    centre_line_mm: state.centre_line_mm,
                    tip_load_n: state.load_n.last().copied().unwrap_or(0.0),
                    hub_load_n: state.load_n.first().copied().unwrap_or(0.0),
                }
            })
            .collect();
        let added_n = devices
            .iter()
            .map(|d| d.rod.map_or_else(Vec::new, |rod| self.added_n[rod].clone()))
            .collect();
        let load = mover.map(|m| self.load_report(posed, &solution, &devices, m, from));
        let mut failures = Vec::new();
        if let Status::OutsideModel {
            rod,
            station_mm,
            angle_deg,
        } = solution.status
        {
            failures.push(Failure::Prolapse {
                device: self.present[rod],
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
            solution: Some(solution),
            load,
            failures,
            rounds: 0,
            newton_steps: 0,
            factorised_unknowns: 0,
            added_n,
        }
    }

    fn load_report(
        &self,
        posed: &Posed<'_>,
        solution: &Solution,
        devices: &[DeviceState],
        (mover, moving): (usize, Moving),
        from: Option<&StackState>,
    ) -> LoadReport {
        let sign = moving.direction.sign();
        let own = &solution.rods[mover];
        let hub_force_n = sign * own.load_n[0];
        let stiffness =
            self.rods[mover]
                .stiffness_n_mm2
                .at(own.from_tip_mm.first().copied().unwrap_or(0.0));
        let start_force_n =
            hub_force_n - sign * math::power(own.moment_n_mm[0], 2) / (2.0 * stiffness);
        let tip_force_n = sign * devices[moving.device].tip_load_n;
        let ratio = |a: f64, b: f64| (b > 0.0).then(|| a / b);
        let friction_n = self.rubbing.list.iter().map(|r| r.rubbed_n).sum::<f64>();
        let (largest_wall_force_n_per_mm, largest_wall_force_at_mm) = solution
            .contacts
            .iter()
            .filter(|c| c.other.is_none())
            .map(|c| (c.force_in_space_n.norm() / c.length_mm, Some(c.station_mm)))
            .fold((0.0, None), |a, b| if b.0 > a.0 { b } else { a });
        let tip = self.ends[mover];
        let route = |s: f64| s <= tip;
        let route_turning_rad = turning(
            posed
                .tube
                .iter()
                .filter(|t| route(t.s_mm))
                .map(|t| t.frame.tangent),
        );
        let own_turning_rad = turning(own.position_mm.windows(2).map(|p| p[1] - p[0]));
        let coefficient = |s: f64| {
            let at = self.rods[mover].containers.iter().find(|c| s <= c.to_mm);
            let other = at.and_then(|c| match c.container {
                crate::mechanics::rod::scene::Container::Rod(j) => Some(self.present[j]),
                crate::mechanics::rod::scene::Container::Vessel => None,
            });
            (posed.friction)(moving.device, other)
        };
        let capstan = capstan_factor(posed.tube.windows(2).filter(|t| route(t[1].s_mm)).map(|t| {
            BendContact {
                turning_rad: t[0].frame.tangent.angle(&t[1].frame.tangent),
                friction_coefficient: coefficient(0.5 * (t[0].s_mm + t[1].s_mm)),
            }
        }));
        LoadReport {
            device: moving.device,
            direction: moving.direction,
            hub_force_n,
            start_force_n,
            tip_force_n,
            efficiency: ratio(tip_force_n, hub_force_n),
            friction_n,
            share_lost: ratio(friction_n, hub_force_n),
            losses: self.losses(),
            held: (0..self.rods.len())
                .filter(|k| *k != mover)
                .map(|k| self.held(posed, solution, devices, (k, mover, sign), from))
                .collect(),
            largest_wall_force_n_per_mm,
            largest_wall_force_at_mm,
            route_turning_rad,
            own_turning_rad,
            capstan_factor: capstan,
            force_factor: ratio(hub_force_n, tip_force_n),
            buckling: match moving.direction {
                Direction::Push => self.buckling(posed.tube, solution, mover),
                Direction::Pull => None,
            },
        }
    }

    /// Friction of the moving rod by place, most first.
    fn losses(&self) -> Vec<Loss> {
        let mut losses: Vec<Loss> = Vec::new();
        let mut open: Vec<usize> = Vec::new();
        // from the tip to the hub
        for rub in self.rubbing.list.iter().filter(|r| r.rubbed_n > 0.0) {
            let other = rub.other.map(|j| self.present[j]);
            let near = open.iter().copied().find(|i| {
                losses[*i].other == other && losses[*i].from_mm - rub.s_mm <= ZONE_GAP_MM
            });
            if let Some(i) = near {
                let loss = &mut losses[i];
                let whole = loss.lost_n + rub.rubbed_n;
                loss.station_mm += (rub.s_mm - loss.station_mm) * rub.rubbed_n / whole;
                loss.lost_n = whole;
                loss.from_mm = loss.from_mm.min(rub.s_mm);
                loss.to_mm = loss.to_mm.max(rub.s_mm);
            } else {
                open.retain(|i| losses[*i].other != other);
                open.push(losses.len());
                losses.push(Loss {
                    other,
                    from_mm: rub.s_mm,
                    to_mm: rub.s_mm,
                    station_mm: rub.s_mm,
                    lost_n: rub.rubbed_n,
                });
            }
        }
        losses.sort_by(|a, b| b.lost_n.total_cmp(&a.lost_n));
        losses
    }

    fn held(
        &self,
        posed: &Posed<'_>,
        solution: &Solution,
        devices: &[DeviceState],
        (k, mover, sign): (usize, usize, f64),
        from: Option<&StackState>,
    ) -> HeldLoad {
        let device = self.present[k];
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
                let coefficient = (posed.friction)(device, other.map(|j| self.present[j]));
                Some(coefficient * c.force_in_space_n.norm())
            })
            .sum();
        let drag_n = -sign
            * self
                .rubbing
                .list
                .iter()
                .filter(|r| r.other == Some(k))
                .map(|r| r.rubbed_n)
                .sum::<f64>();
        /// Lengths nearer than this, mm, are the same: the device was held.
        const SAME_LENGTH_MM: f64 = 1e-5;
        let tip_moved_mm = from.map(|f| &f.devices[device]).and_then(|old| {
            let new = &devices[device];
            ((old.path_mm - new.path_mm).abs() < SAME_LENGTH_MM).then_some(new.tip_mm - old.tip_mm)
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
    fn buckling(
        &self,
        tube: &[TubeStation],
        solution: &Solution,
        mover: usize,
    ) -> Option<Buckling> {
        let rod = &self.rods[mover];
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
                Some(crate::mechanics::rod::scene::Container::Rod(j)) => {
                    let outer = &solution.rods[j];
                    let at = outer.from_tip_mm.get(i).copied().unwrap_or(0.0);
                    self.rods[j].inner_mm.as_ref().map_or(0.0, |d| d.at(at))
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

/// What a report is made from.
#[derive(Clone, Copy)]
pub(crate) struct Posed<'a> {
    pub(crate) tube: &'a [TubeStation],
    pub(crate) devices: &'a [StackDevice],
    pub(crate) friction: FrictionOf<'a>,
}
