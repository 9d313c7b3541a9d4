//! Configurational loads: stiffness and natural curvature lie at their distance from the rod's own tip.
//!
//! When a rod slides, its stiff and soft stretches slide with it. With the energy
//! `E = sum B(a_i) e_i(x)` of nodes at the distances `a_i(x)` from the tip, the slope in `x` has two
//! parts: that of `e_i` at constant stiffness, and `sum dE/da_i da_i/dx`. As `a_i` is the sum of the arcs
//! between node and tip, the second part acts like an axial load, zero at station 0 and growing
//! towards the tip by `dE/da_i` at every node: the configurational load that a change of stiffness
//! or of natural curvature brings along. Taken here at every evaluation, the energy has an exact
//! gradient, and a descent on it always ends.

use super::energy::Energy;
use super::kinematics::Kinematics;
use super::loads::LoadLists;
use super::natural::Natural;
use super::natural_bends::ShapedNode;
use super::profile::Profile;
use super::scene::{AxialLoad, NaturalBend, Scene};
use super::sections::Sections;

/// What follows the shape of one rod.
#[derive(Debug, Clone)]
struct Followed {
    stiffness_n_mm2: Profile,
    natural: Option<NaturalBend>,
}

/// Memory of what follows.
#[derive(Debug, Clone, Default)]
pub(crate) struct Configurational {
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
    load: Vec<f64>,
}

fn clear(lists: &mut [&mut Vec<f64>], nodes: usize) {
    for list in lists {
        list.clear();
        list.resize(nodes, 0.0);
    }
}

impl Configurational {
    /// Takes over from a scene what follows: in rods whose hub is held.
    pub(crate) fn update(&mut self, scene: &Scene<'_>, nodes: usize) {
        self.rods.clear();
        self.rods.extend(scene.rods.iter().map(|rod| {
            let held = matches!(rod.load, AxialLoad::HubHeld { .. });
            (held && rod.changes_along()).then(|| Followed {
                stiffness_n_mm2: rod.stiffness_n_mm2.clone(),
                natural: rod.natural,
            })
        }));
        self.on = self.rods.iter().any(Option::is_some);
        self.load.clear();
        self.load.resize(nodes, 0.0);
    }

    /// Whether some stiffness or natural curvature follows the shape at every evaluation.
    pub(crate) fn is_on(&self) -> bool {
        self.on
    }

    /// The load that follows at a node, N.
    pub(crate) fn load_n(&self, node: usize) -> f64 {
        self.load.get(node).copied().unwrap_or(0.0)
    }

    fn follows(&self, rod: usize) -> bool {
        self.rods.get(rod).is_some_and(Option::is_some)
    }

    /// Lengths and bending at unit stiffness of the cells of all nodes, or of rods that follow.
    fn measure_cells(&mut self, shape: Kinematics<'_>, all: bool) {
        for member in &shape.layout.members {
            if all || self.follows(member.rod as usize) {
                let node = member.node as usize;
                let cell = shape.cell(member.vertex);
                self.arc[node] += member.weight * cell.arc_mm();
                self.by_stiffness[node] += member.weight * cell.bending();
            }
        }
        shape.add_end_lengths(&mut self.arc);
    }

    /// Brings stiffness and natural curvature to the shape, and the loads that follow.
    pub(crate) fn measure(
        &mut self,
        shape: Kinematics<'_>,
        sections: &mut Sections,
        shaped: &mut [ShapedNode],
        rolls: &[f64],
    ) {
        if !self.on {
            return;
        }
        clear(
            &mut [
                &mut self.arc,
                &mut self.by_stiffness,
                &mut self.by_natural,
                &mut self.far,
            ],
            shape.layout.nodes.len(),
        );
        self.measure_cells(shape, false);
        self.set_sections(shape, sections);
        for (term, shaped) in shape.layout.shaped.iter().zip(shaped) {
            if !self.follows(term.rod) {
                continue;
            }
            let member = &term.member;
            let node = member.node as usize;
            let kappa = sections.natural[node];
            *shaped = ShapedNode::new(term, sections, Natural::Curvature(kappa));
            if shaped.stiffness <= 0.0 {
                continue;
            }
            let vertex = shape.vertex(member.vertex);
            let along = shape.towards_natural(term, &vertex, rolls);
            let arc = member.weight * vertex.cell.arc_mm();
            self.by_stiffness[node] += arc * kappa * (0.5 * kappa - along);
            self.by_natural[node] += arc * sections.stiffness[node] * (kappa - along);
        }
        self.set_loads(shape, sections);
    }

    /// Adds the loads that follow, as last measured, to `added`; returns what the energy differs by from
    /// that of loads of this size, with the sizes that it is summed from, N mm.
    pub(crate) fn evaluate(&self, shape: Kinematics<'_>, added: &mut LoadLists) -> Energy {
        let mut energy = Energy::default();
        added.add_by_node(shape.layout, &self.load);
        for (load, arc) in self.load.iter().zip(&self.arc) {
            energy.add(-load * arc);
        }
        energy
    }

    /// Stiffness and natural curvature of every node's cell.
    fn set_sections(&mut self, shape: Kinematics<'_>, sections: &mut Sections) {
        let Self { rods, arc, far, .. } = self;
        for (k, followed) in rods.iter().enumerate() {
            let Some(followed) = followed else { continue };
            let profiles = (&followed.stiffness_n_mm2, followed.natural.as_ref());
            sections.set_by_arcs(profiles, shape.layout.rods[k].range(), arc, far);
        }
    }

    /// The loads that follow from how the energy changes with the distances from the tip.
    fn set_loads(&mut self, shape: Kinematics<'_>, sections: &Sections) {
        self.load.fill(0.0);
        let mut slopes: Vec<(f64, f64)> = Vec::new();
        for (k, followed) in self.rods.iter().enumerate() {
            let Some(followed) = followed else { continue };
            let range = shape.layout.rods[k].range();
            // by node, from the tip: change of the energy with the near and the far end of its cell
            slopes.clear();
            let profile = &followed.stiffness_n_mm2;
            let varies = !profile.is_constant();
            // compliance at the near end of the cell
            let mut near = 1.0 / profile.at(0.0);
            let mut low = 0.0;
            for node in range.clone().rev() {
                let arc = self.arc[node];
                let high = low + arc;
                let mut slope = (0.0, 0.0);
                if arc > 0.0 {
                    let b = sections.stiffness[node];
                    if varies {
                        let scale = -self.by_stiffness[node] * b * b / arc;
                        let far = 1.0 / self.far[node];
                        slope.0 += scale * (1.0 / b - near);
                        slope.1 += scale * (far - 1.0 / b);
                        near = far;
                    }
                    if let Some(bend) = followed.natural
                        && low < bend.length_mm
                        && bend.length_mm < high
                    {
                        let part = (bend.length_mm - low) / arc;
                        let scale = self.by_natural[node] * bend.curvature_per_mm / arc;
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
                self.load[node] = sum;
                sum += near;
            }
        }
    }

    /// Brings lengths, bending at unit stiffness, stiffness and natural curvature of all nodes to the shape,
    /// for an energy alone.
    pub(crate) fn measure_energies(&mut self, shape: Kinematics<'_>, sections: &mut Sections) {
        clear(
            &mut [&mut self.arc, &mut self.by_stiffness, &mut self.far],
            shape.layout.nodes.len(),
        );
        self.measure_cells(shape, true);
        if self.on {
            self.set_sections(shape, sections);
        }
    }

    /// By node, as last measured for an energy alone: length of its cell, mm, and its bending energy at unit
    /// stiffness, 1/mm.
    pub(crate) fn cells(&self) -> (&[f64], &[f64]) {
        (&self.arc, &self.by_stiffness)
    }

    /// How a pre-shaped node is bent by nature where the shape is now.
    pub(crate) fn natural_now(
        &self,
        rod: usize,
        node: usize,
        shaped: &ShapedNode,
        sections: &Sections,
    ) -> Natural {
        if self.follows(rod) {
            Natural::Curvature(sections.natural[node])
        } else {
            shaped.natural
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::geometry::{Frame, Point, Vector};
    use crate::mechanics::rod::model::Model;
    use crate::mechanics::{AxialLoad, End, NaturalBend, Profile, Rod, Roll, Scene, TubeStation};

    /// A pre-shaped wire that stiffens away from its tip, held at its hub in a bend, in a tube so narrow that waves
    /// touch its wall.
    fn posed() -> (Vec<TubeStation>, Rod) {
        let start = Frame::new(Point::origin(), Vector::x(), Vector::y());
        let tube: Vec<TubeStation> = (0..=60)
            .map(|i| TubeStation {
                s_mm: f64::from(i),
                frame: start.along_arc(f64::from(i), f64::from(i) / 40.0, 0.0),
                radius_mm: 1.1,
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
            load: AxialLoad::HubHeld {
                load_n: (0..=60).map(|i| -0.01 * f64::from(i)).collect(),
                spring_n_per_mm: 0.3,
                rest_mm: 50.0,
            },
            ..Rod::uniform(1.0, 0.36)
        };
        (tube, rod)
    }

    #[test]
    fn property_slope_of_the_energy() {
        let (tube, rod) = posed();
        let rods = [rod];
        let scene = Scene {
            tube: &tube,
            rods: &rods,
            beside: &[],
        };
        let rolls = [0.4];
        let (mut model, x) = Model::in_waves(&scene, &rolls);
        // every term takes part
        let proximal = &mut model.coefficients.proximal;
        proximal.centre = x.iter().map(|x| 0.7 * x + 0.1).collect();
        proximal.weight_n_per_mm = 0.02;
        let whole = model.evaluate(&x, &rolls);
        assert!(model.active_contacts() > 0, "no wall is touched");
        let gradient = model.at.gradient.clone();
        let roll_gradient = model.at.by_roll.gradient[0];
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
