//! What it costs to move a tip on: the wall's answer to a tip, and that of devices around it.
//!
//! A rod that slides on by `d` spends `-tau_tip d` and moves its tip into walls that must give:
//! without friction `tau_tip = -(dU/ds) / (dL/ds)` at a fixed shape, `U` being the energy and `L`
//! the rod's length, as the tip moves on by `ds`. On a tip that presses a wall with the force `N`
//! at the angle `alpha` this is `-N sin alpha`; posed on the same nodes as the equilibrium it is
//! exact for them, so that the hub force of a rod without friction is the slope of the energy.

use super::layout::Sharing;
use super::model::Model;
use super::scene::{AxialLoad, End, Rod, Scene, StartSupport};
use super::settings::Settings;
use super::solution::Solution;
use super::stack::{Arrangement, Held, flat};

/// Half the step of the difference quotient, mm: its square, 1e-6, is the relative error, and the
/// rounding of energies of a few N mm stays below 1e-11 N.
const STEP_MM: f64 = 1e-3;
/// Stations kept behind and beyond the tip. What is cut off does not change when the tip moves;
/// rods need three stations to be posed.
const BEHIND: usize = 7;
const BEYOND: usize = 4;

/// Memory for the small scenes around tips.
#[derive(Debug, Clone, Default)]
pub(crate) struct TipWork {
    model: Model,
    arrangement: Arrangement,
    rods: Vec<Rod>,
    /// Which rod of the whole scene each is.
    whole: Vec<usize>,
    ends: Vec<f64>,
    through: Vec<bool>,
    holds: Vec<Held>,
    x: Vec<f64>,
    rolls: Vec<f64>,
}

impl TipWork {
    /// The load at the tip of rod `k` without resistance from anything but walls, N (<= 0 in all
    /// but odd cases).
    pub(crate) fn load_n(
        &mut self,
        scene: &Scene<'_>,
        ends: &[f64],
        holds: &[Held],
        solution: &Solution,
        settings: &Settings,
        k: usize,
    ) -> f64 {
        let tube = scene.tube;
        let tip_mm = ends[k];
        let at = tube.partition_point(|t| t.s_mm <= tip_mm);
        let last = (at + BEYOND).min(tube.len());
        // no other tip may lie in the first three stations kept
        let mut first = at.saturating_sub(BEHIND);
        while first > 0
            && ends
                .iter()
                .any(|e| *e > tube[first].s_mm && *e < tube[(first + 3).min(last - 1)].s_mm)
        {
            first -= 1;
        }
        let part = &tube[first..last];
        let (Some(begin), Some(finish)) = (part.first(), part.last()) else {
            return 0.0;
        };
        self.rods.clear();
        self.whole.clear();
        self.through.clear();
        self.rolls.clear();
        for (j, rod) in scene.rods.iter().enumerate() {
            if ends[j] <= begin.s_mm {
                continue;
            }
            let through = matches!(rod.end, End::ExitPlane) || ends[j] >= finish.s_mm;
            // Profiles are frozen: what changes with the own arc length is not the tip's doing.
            let here = if j == k { 0.0 } else { (ends[j] - tip_mm).max(0.0) };
            let mut natural = if j == k { rod.natural } else { None };
            if let Some(bend) = &mut natural {
                if bend.length_mm < 2.0 * (begin.s_mm - part[1].s_mm).abs() {
                    natural = None;
                } else {
                    bend.length_mm = f64::MAX;
                }
            }
            self.rods.push(Rod {
                stiffness_n_mm2: flat(&rod.stiffness_n_mm2, here),
                outer_mm: flat(&rod.outer_mm, here),
                inner_mm: rod.inner_mm.as_ref().map(|d| flat(d, here)),
                natural,
                start: StartSupport::Free,
                load: AxialLoad::Uniform(0.0),
                ..Rod::uniform(1.0, 1.0)
            });
            self.whole.push(j);
            self.through.push(through);
            self.rolls.push(solution.rods[j].roll_rad);
        }
        let small = |j: usize| self.whole.iter().position(|w| *w == j);
        let Some(own) = small(k) else { return 0.0 };
        self.holds.clear();
        for hold in holds {
            if let (Some(inner), Some(outer)) = (small(hold.inner), small(hold.outer)) {
                let beyond_window = ends[hold.outer] - ends[hold.outer].min(finish.s_mm);
                self.holds.push(Held {
                    inner,
                    outer,
                    span_mm: hold.span_mm - beyond_window,
                    ..*hold
                });
            }
        }
        let mut total = [0.0; 2];
        let mut length = [0.0; 2];
        // a tip at the end of the route can only be looked at from behind
        let room = (tube[tube.len() - 1].s_mm - tip_mm).clamp(0.0, STEP_MM);
        let steps = [room, room - 2.0 * STEP_MM];
        for (i, step) in steps.into_iter().enumerate() {
            self.ends.clear();
            self.ends.extend(self.whole.iter().map(|j| ends[*j].min(finish.s_mm)));
            self.ends[own] += step;
            self.arrangement
                .set(part, &self.ends, &self.through, &self.holds, &mut self.rods);
            let scene = Scene {
                tube: part,
                rods: &self.rods,
                beside: &self.arrangement.beside,
            };
            self.model.lay_out_nodes(&scene);
            place(&mut self.model, &self.whole, solution);
            self.model.update_sections(&scene);
            self.model.lay_out_terms(&scene, settings, Sharing::TightFits);
            self.model.gather(&mut self.x);
            for (load, out) in [(0.0, &mut total[i]), (1.0, &mut length[i])] {
                self.rods[own].load = AxialLoad::Uniform(load);
                let scene = Scene {
                    tube: part,
                    rods: &self.rods,
                    beside: &self.arrangement.beside,
                };
                self.model.update(&scene, settings, &self.rolls, f64::INFINITY);
                *out = self.model.evaluate(&self.x, &self.rolls).total;
            }
            self.rods[own].load = AxialLoad::Uniform(0.0);
        }
        let energy = total[0] - total[1];
        let path = length[0] - total[0] - (length[1] - total[1]);
        if path > 0.0 { -energy / path } else { 0.0 }
    }
}

/// Offsets from a solution, straight on beyond a tip.
fn place(model: &mut Model, whole: &[usize], solution: &Solution) {
    for (k, j) in whole.iter().enumerate() {
        let old = &solution.rods[*j];
        let nodes = old.station_mm.len();
        for node in model.rods[k].range() {
            let s = model.nodes.s_mm[node];
            let b = old.station_mm.partition_point(|t| *t < s - 1e-12).clamp(1, nodes - 1);
            let (sa, sb) = (old.station_mm[b - 1], old.station_mm[b]);
            let part = (s - sa) / (sb - sa);
            let (ua, ub) = (old.offset_mm[b - 1], old.offset_mm[b]);
            model.nodes.offset[node] = [
                ua[0] + (ub[0] - ua[0]) * part,
                ua[1] + (ub[1] - ua[1]) * part,
            ];
        }
    }
}
