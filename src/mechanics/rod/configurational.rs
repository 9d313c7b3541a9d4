//! Stiffness and natural curvature that lie at their distance from the rod's own tip.
//!
//! When a rod slides, its stiff and soft stretches slide with it. With the energy
//! `E = sum B(a_i) e_i(x)` of nodes at the distances `a_i(x)` from the tip, the slope in `x` has two
//! parts: that of `e_i` at constant stiffness, and `sum dE/da_i da_i/dx`. As `a_i` is the sum of the arcs
//! between node and tip, the second part acts like an axial load, zero at station 0 and growing
//! towards the tip by `dE/da_i` at every node: the configurational load that a change of stiffness
//! or of natural curvature brings along. Taken here at every evaluation, the energy has an exact
//! gradient, and a descent on it always ends.

use super::energy::Energy;
use super::model::Model;
use super::natural::Natural;
use super::profile::{Mean, Profile, Walk};
use super::scene::{AxialLoad, MOST_RODS, Scene};
use super::terms::{ShapedTerm, Tilt};
use super::vertex_energy::Corner;

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
    /// By node: stiffness at the end of its cell that is further from the tip.
    far: Vec<f64>,
    /// By node: the load that follows, N.
    pub(crate) load: Vec<f64>,
}

impl Model {
    /// Takes over from a scene what follows: in rods whose hub is held.
    pub(crate) fn update_material(&mut self, scene: &Scene<'_>) {
        let material = &mut self.material;
        material.rods.clear();
        material.rods.extend(scene.rods.iter().map(|rod| {
            let held = matches!(rod.load, AxialLoad::Held { .. });
            (held && rod.changes_along()).then(|| Followed {
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

    /// Brings stiffness and natural curvature to the shape last looked at, and the loads that follow.
    pub(crate) fn measure_material(&mut self, rolls: &[f64]) {
        if !self.material.on {
            return;
        }
        let mut material = std::mem::take(&mut self.material);
        let nodes = self.nodes.s_mm.len();
        for list in [
            &mut material.arc,
            &mut material.by_stiffness,
            &mut material.by_natural,
            &mut material.far,
        ] {
            list.clear();
            list.resize(nodes, 0.0);
        }
        for member in &self.members {
            if material.rods[member.rod as usize].is_some() {
                let node = member.node as usize;
                let cell = self.cell_now(member.corner);
                material.arc[node] += member.weight * cell.arc_mm();
                material.by_stiffness[node] += member.weight * cell.bending();
            }
        }
        self.add_ends(&mut material.arc);
        self.lay_material(&mut material);
        for shaped in &mut self.shaped {
            if material.rods[shaped.rod].is_some() {
                let node = shaped.member.node as usize;
                shaped.stiffness = shaped.member.weight * self.nodes.stiffness[node];
                shaped.natural = Natural::Curvature(self.nodes.natural[node]);
            }
        }
        for shaped in &self.shaped {
            if material.rods[shaped.rod].is_none() || shaped.stiffness <= 0.0 {
                continue;
            }
            let member = &shaped.member;
            let node = member.node as usize;
            let corner = self.corner_now(member.corner);
            let along = self.towards_natural(shaped, &corner, rolls);
            let arc = member.weight * corner.cell.arc_mm();
            let kappa = self.nodes.natural[node];
            material.by_stiffness[node] += arc * kappa * (0.5 * kappa - along);
            material.by_natural[node] += arc * self.nodes.stiffness[node] * (kappa - along);
        }
        self.follow_material(&mut material);
        self.material = material;
    }

    /// Brings stiffness and natural curvature to the shape looked at, adds the loads that follow to those
    /// of the grips, and returns what the energy differs by from that of loads of this size, with the
    /// sizes that it is summed from.
    pub(crate) fn feel_material(&mut self, rolls: &[f64]) -> Energy {
        let mut energy = Energy::default();
        if !self.material.on {
            return energy;
        }
        self.measure_material(rolls);
        let material = std::mem::take(&mut self.material);
        self.stiffness.fill(0.0);
        for member in &self.members {
            let node = member.node as usize;
            let corner = member.corner as usize;
            self.stiffness[corner] += member.weight * self.nodes.stiffness[node];
            self.grips.corner_n[corner] += member.weight * material.load[node];
        }
        for (end, load_n) in self.ends.iter().zip(&mut self.grips.end_n) {
            *load_n += end.weight * material.load[end.node as usize];
        }
        for (load, arc) in material.load.iter().zip(&material.arc) {
            energy.add(-load * arc);
        }
        self.material = material;
        energy
    }

    /// Adds the half cells at the ends to the lengths of their nodes' cells.
    fn add_ends(&self, arc_mm: &mut [f64]) {
        for end in &self.ends {
            let length_mm = self.abreast.length_mm(end.edge as usize);
            arc_mm[end.node as usize] += end.weight * length_mm;
        }
    }

    /// Curvature of a corner towards where the rod is bent by nature, 1/mm.
    pub(crate) fn towards_natural(
        &self,
        shaped: &ShapedTerm,
        corner: &Corner,
        rolls: &[f64],
    ) -> f64 {
        let node = shaped.member.node as usize;
        let frame = &self.frames[self.nodes.frame[node] as usize];
        let tilt = Tilt {
            from: frame.tangent,
            to: corner.tangent(),
        };
        tilt.carry(frame.across(rolls[shaped.rod]))
            .dot(&corner.curvature_per_mm())
    }

    /// Stiffness and natural curvature of every node's cell.
    fn lay_material(&mut self, material: &mut Material) {
        let Material { rods, arc, far, .. } = material;
        for (k, followed) in rods.iter().enumerate() {
            let Some(followed) = followed else { continue };
            let mut low = 0.0;
            let mut stiffness = Walk::new(&followed.stiffness_n_mm2, Mean::Harmonic);
            for node in self.rods[k].range().rev() {
                let high = low + arc[node];
                self.nodes.stiffness[node] = stiffness.mean_to(high);
                far[node] = stiffness.value();
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
            let profile = &followed.stiffness_n_mm2;
            let varies = !profile.is_constant();
            // compliance at the near end of the cell
            let mut near = 1.0 / profile.at(0.0);
            let mut low = 0.0;
            for node in range.clone().rev() {
                let arc = material.arc[node];
                let high = low + arc;
                let mut slope = (0.0, 0.0);
                if arc > 0.0 {
                    let b = self.nodes.stiffness[node];
                    if varies {
                        let scale = -material.by_stiffness[node] * b * b / arc;
                        let far = 1.0 / material.far[node];
                        slope.0 += scale * (1.0 / b - near);
                        slope.1 += scale * (far - 1.0 / b);
                        near = far;
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

    /// Energy at `x` alone, for trials along a step: a fifth of the work of [`Model::evaluate`], which
    /// must follow before anything else is asked of the model.
    pub(crate) fn energy(&mut self, x: &[f64], rolls: &[f64]) -> f64 {
        self.look(x);
        let mut material = std::mem::take(&mut self.material);
        let nodes = self.nodes.s_mm.len();
        for list in [
            &mut material.arc,
            &mut material.by_stiffness,
            &mut material.far,
        ] {
            list.clear();
            list.resize(nodes, 0.0);
        }
        for member in &self.members {
            let node = member.node as usize;
            let cell = self.cell_now(member.corner);
            material.arc[node] += member.weight * cell.arc_mm();
            material.by_stiffness[node] += member.weight * cell.bending();
        }
        self.add_ends(&mut material.arc);
        if material.on {
            self.lay_material(&mut material);
        }
        let mut energy = self.hold_energy(&material.arc);
        for node in 0..nodes {
            energy += self.nodes.stiffness[node] * material.by_stiffness[node]
                + self.nodes.load[node] * material.arc[node];
        }
        for shaped in &self.shaped {
            let member = &shaped.member;
            let node = member.node as usize;
            let followed = material.rods.get(shaped.rod).is_some_and(Option::is_some);
            let natural = if followed {
                Natural::Curvature(self.nodes.natural[node])
            } else {
                shaped.natural
            };
            if natural.is_none() {
                continue;
            }
            let corner = self.corner_now(member.corner);
            let along = self.towards_natural(shaped, &corner, rolls);
            energy += member.weight
                * self.nodes.stiffness[node]
                * natural.energy(corner.cell.arc_mm(), along);
        }
        if self.near.len() == x.len() {
            let away = x.iter().zip(&self.near).map(|(x, n)| (x - n) * (x - n));
            energy += 0.5 * self.near_n_per_mm * away.sum::<f64>();
        }
        energy -= self.linear.iter().zip(x).map(|(f, x)| f * x).sum::<f64>();
        self.material = material;
        energy + self.contact_energy_at(x)
    }
}

#[cfg(test)]
mod tests {
    use crate::geometry::{Frame, Point, Vector};
    use crate::mechanics::rod::model::Model;
    use crate::mechanics::{AxialLoad, End, NaturalBend, Profile, Rod, Roll, Scene, TubeStation};

    /// A pre-shaped wire that stiffens away from its tip, held at its hub in a bend.
    fn posed() -> (Vec<TubeStation>, Rod) {
        let start = Frame::new(Point::origin(), Vector::x(), Vector::y());
        let tube: Vec<TubeStation> = (0..=60)
            .map(|i| TubeStation {
                s_mm: f64::from(i),
                frame: start.along_arc(f64::from(i), f64::from(i) / 40.0, 0.0),
                radius_mm: 2.0,
                wall_stiffness_n_per_mm2: 10.0,
            })
            .collect();
        let knots = [(0.0, 1.0), (10.0, 4.0), (10.0, 8.0), (40.0, 30.0)];
        let rod = Rod {
            stiffness_n_mm2: Profile::new("b", &knots).unwrap(),
            natural: Some(NaturalBend {
                length_mm: 7.3,
                curvature_per_mm: 0.08,
                roll: Roll::Free(0.4),
            }),
            end: End::Tip(TubeStation::at(&tube, 50.57).unwrap()),
            load: AxialLoad::Held {
                load_n: (0..=60).map(|i| -0.01 * f64::from(i)).collect(),
                grip_n_per_mm: 0.3,
                fed_mm: 50.0,
            },
            ..Rod::uniform(1.0, 0.36)
        };
        (tube, rod)
    }

    #[test]
    fn exact_slope_of_the_energy() {
        let (tube, rod) = posed();
        let rods = [rod];
        let scene = Scene {
            tube: &tube,
            rods: &rods,
            beside: &[],
        };
        let rolls = [0.4];
        let (mut model, x) = Model::in_waves(&scene, &rolls);
        let whole = model.evaluate(&x, &rolls);
        let gradient = model.gradient.clone();
        let roll_gradient = model.roll_gradient[0];
        let alone = model.energy(&x, &rolls);
        assert!(
            (alone - whole.total).abs() < 1e-12 * whole.size,
            "{alone} alone, {} with its slopes",
            whole.total
        );
        const STEP: f64 = 1e-6;
        let mut worst = 0.0_f64;
        for i in 0..x.len() {
            let mut y = x.clone();
            y[i] += STEP;
            let up = model.energy(&y, &rolls);
            y[i] -= 2.0 * STEP;
            let down = model.energy(&y, &rolls);
            worst = worst.max(((up - down) / (2.0 * STEP) - gradient[i]).abs());
        }
        let largest = gradient.iter().fold(0.0_f64, |m, g| m.max(g.abs()));
        assert!(worst < 1e-7 * largest, "{worst:e} of {largest:e}");
        let up = model.energy(&x, &[0.4 + STEP]);
        let down = model.energy(&x, &[0.4 - STEP]);
        let slope = (up - down) / (2.0 * STEP);
        assert!(
            (slope - roll_gradient).abs() < 1e-6 * roll_gradient.abs().max(1e-3),
            "{slope} against {roll_gradient}"
        );
    }
}
