//! Stiffness and natural curvature that lie at their distance from the rod's own tip.
//!
//! When a rod slides, its stiff and soft stretches slide with it. With the energy
//! `E = sum B(a_i) e_i(x)` of nodes at the distances `a_i(x)` from the tip, the slope in `x` has two
//! parts: that of `e_i` at constant stiffness, and `sum dE/da_i da_i/dx`. As `a_i` is the sum of the arcs
//! between node and tip, the second part acts like an axial load, zero at station 0 and growing
//! towards the tip by `dE/da_i` at every node: the configurational load that a change of stiffness
//! or of natural curvature brings along. Taken here at every evaluation, the energy has an exact
//! gradient, and a descent on it always ends.

use super::bend::Corner;
use super::model::{Model, edge, offset};
use super::profile::Profile;
use super::scene::{AxialLoad, MOST_RODS, Scene};
use super::terms::Tilt;

/// What follows the shape of one rod.
#[derive(Debug, Clone)]
struct Followed {
    stiffness_n_mm2: Profile,
    /// Length and curvature of the pre-shaped stretch.
    natural: Option<(f64, f64)>,
}

/// Memory of what follows.
#[derive(Debug, Clone, Default)]
pub(crate) struct Material {
    /// By rod; none where nothing changes along it, or where loads follow by rounds.
    rods: Vec<Option<Followed>>,
    on: bool,
    /// By node: length of its cell, its energy by stiffness, its energy by natural curvature.
    arc: Vec<f64>,
    by_stiffness: Vec<f64>,
    by_natural: Vec<f64>,
    /// By node: the load that follows, N.
    pub(crate) load: Vec<f64>,
}

impl Model {
    /// Takes over from a scene what follows: in rods whose hub is held.
    pub(crate) fn update_material(&mut self, scene: &Scene<'_>) {
        let material = &mut self.material;
        material.rods.clear();
        material
            .rods
            .extend(scene.rods.iter().map(|rod| {
                let held = matches!(rod.load, AxialLoad::Held { .. });
                let changes = !rod.stiffness_n_mm2.is_constant() || rod.natural.is_some();
                (held && changes).then(|| Followed {
                    stiffness_n_mm2: rod.stiffness_n_mm2.clone(),
                    natural: rod.natural.map(|n| (n.length_mm, n.curvature_per_mm)),
                })
            }));
        material.on = material.rods.iter().any(Option::is_some);
        material.load.clear();
        material.load.resize(self.nodes.s_mm.len(), 0.0);
    }

    /// Whether some stiffness or natural curvature follows the shape at every evaluation.
    pub(crate) fn follows_exactly(&self) -> bool {
        self.material.on
    }

    /// Corner at `x`.
    fn corner_in(&self, x: &[f64], nodes: [u32; 3], clamp: bool) -> Corner {
        let nodes = nodes.map(|n| n as usize);
        let frames = nodes.map(|n| &self.frames[self.nodes.frame[n] as usize]);
        let at = nodes.map(|n| offset(x, self.nodes.base[n]));
        let e1 = edge(frames[1], at[1], frames[2], at[2]);
        if clamp {
            Corner::clamped(frames[1].tangent, e1)
        } else {
            Corner::inner(edge(frames[0], at[0], frames[1], at[1]), e1)
        }
    }

    /// Brings stiffness and natural curvature to the shape `x`, adds the loads that follow to those
    /// of the grips, and returns what the energy differs by from that of loads of this size.
    pub(crate) fn feel_material(&mut self, x: &[f64], rolls: &[f64]) -> f64 {
        if !self.material.on {
            return 0.0;
        }
        let mut material = std::mem::take(&mut self.material);
        let nodes = self.nodes.s_mm.len();
        for list in [
            &mut material.arc,
            &mut material.by_stiffness,
            &mut material.by_natural,
        ] {
            list.clear();
            list.resize(nodes, 0.0);
        }
        // members come rod after rod
        let mut rod = 0;
        for member in &self.members {
            let node = member.node as usize;
            while self.rods.get(rod + 1).is_some_and(|r| r.first <= node) {
                rod += 1;
            }
            if material.rods[rod].is_some() {
                let corner = self.corner_in(x, member.nodes, member.clamp);
                material.arc[node] += member.weight * corner.arc_mm();
                material.by_stiffness[node] += member.weight * corner.bending();
            }
        }
        for end in &self.ends {
            let frames = end.frame.map(|f| &self.frames[f as usize]);
            let e = edge(
                frames[0],
                offset(x, end.base[0]),
                frames[1],
                offset(x, end.base[1]),
            );
            material.arc[end.node as usize] += end.weight * e.norm();
        }
        self.lay_material(&material);
        for shaped in &mut self.shaped {
            if material.rods[shaped.rod].is_some() {
                let node = shaped.member.node as usize;
                shaped.stiffness = shaped.member.weight * self.nodes.stiffness[node];
                shaped.curvature = self.nodes.natural[node];
            }
        }
        for shaped in &self.shaped {
            if material.rods[shaped.rod].is_none() || shaped.stiffness <= 0.0 {
                continue;
            }
            let member = &shaped.member;
            let node = member.node as usize;
            let corner = self.corner_in(x, member.nodes, member.clamp);
            let frame = &self.frames[self.nodes.frame[node] as usize];
            let tilt = Tilt {
                from: frame.tangent,
                to: corner.tangent(),
            };
            let along = tilt
                .carry(frame.across(rolls[shaped.rod]))
                .dot(&corner.curvature_per_mm());
            let arc = member.weight * corner.arc_mm();
            let kappa = shaped.curvature;
            material.by_stiffness[node] += arc * kappa * (0.5 * kappa - along);
            material.by_natural[node] += arc * self.nodes.stiffness[node] * (kappa - along);
        }
        self.follow_material(&mut material);
        for corner in &mut self.corners {
            corner.stiffness = 0.0;
        }
        let mut energy = 0.0;
        for member in &self.members {
            let node = member.node as usize;
            let corner = member.corner as usize;
            self.corners[corner].stiffness += member.weight * self.nodes.stiffness[node];
            self.grips.corner_n[corner] += member.weight * material.load[node];
        }
        for (end, load_n) in self.ends.iter().zip(&mut self.grips.end_n) {
            *load_n += end.weight * material.load[end.node as usize];
        }
        for (load, arc) in material.load.iter().zip(&material.arc) {
            energy -= load * arc;
        }
        self.material = material;
        energy
    }

    /// Stiffness and natural curvature of every node's cell.
    fn lay_material(&mut self, material: &Material) {
        for (k, followed) in material.rods.iter().enumerate() {
            let Some(followed) = followed else { continue };
            let mut low = 0.0;
            for node in self.rods[k].range().rev() {
                let high = low + material.arc[node];
                let profile = &followed.stiffness_n_mm2;
                self.nodes.stiffness[node] = profile.harmonic_mean(low, high);
                if let Some((length, curvature)) = followed.natural {
                    let part = (length.min(high) - low).max(0.0) / (high - low).max(1e-300);
                    self.nodes.natural[node] = curvature * part;
                }
                low = high;
            }
        }
    }

    /// The loads that follow from how the energy changes with the distances from the tip.
    fn follow_material(&self, material: &mut Material) {
        material.load.fill(0.0);
        let mut slopes = [const { Vec::new() }; MOST_RODS];
        for (k, followed) in material.rods.iter().enumerate() {
            let Some(followed) = followed else { continue };
            let range = self.rods[k].range();
            // by node, from the tip: change of the energy with the near and the far end of its cell
            let slopes: &mut Vec<(f64, f64)> = &mut slopes[k];
            let mut low = 0.0;
            for node in range.clone().rev() {
                let arc = material.arc[node];
                let high = low + arc;
                let mut slope = (0.0, 0.0);
                if arc > 0.0 {
                    let profile = &followed.stiffness_n_mm2;
                    let b = self.nodes.stiffness[node];
                    let scale = -material.by_stiffness[node] * b * b / arc;
                    if scale.abs() > 0.0 && !profile.is_constant() {
                        slope.0 += scale * (1.0 / b - 1.0 / profile.at(low));
                        slope.1 += scale * (1.0 / profile.at(high) - 1.0 / b);
                    }
                    if let Some((length, curvature)) = followed.natural
                        && low < length
                        && length < high
                    {
                        let part = (length - low) / arc;
                        let scale = material.by_natural[node] * curvature / arc;
                        slope.0 += scale * (part - 1.0);
                        slope.1 -= scale * part;
                    }
                }
                slopes.push(slope);
                low = high;
            }
            let mut sum = 0.0;
            for (node, (near, far)) in range.zip(slopes.iter().rev()) {
                // the cell's own arc moves its far end, not its near one
                sum += far;
                material.load[node] = sum;
                sum += near;
            }
        }
    }
}
