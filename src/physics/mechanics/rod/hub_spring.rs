//! Hub springs: rods whose length from station 0 is held elastically at their hubs.
//!
//! Under a load alone a bundle in a wide vessel snaps from one wall to the other; held at their
//! hubs, devices cannot, because each would need the length. A spring of the stiffness `K` adds
//! `K (L - fed)² / 2`, with the gradient `K (L - fed) dL/dx` and, besides the Hessian of a load of
//! that size, the rank-one term `K dL/dx dL/dx'`, which [`super::bordered`] takes in.

use super::bending::arcs;
use super::dof::scatter_gradient;
use super::end_terms::{add_length_gradient, end_edge};
use super::energy::Energy;
use super::kinematics::Kinematics;
use super::loads::LoadLists;
use super::nodes::RodNodes;
use super::scene::{AxialLoad, MOST_RODS, Scene};
use crate::math;

/// One of them.
#[derive(Debug, Clone, Default)]
pub(crate) struct HubSpring {
    pub(crate) rod: usize,
    pub(crate) stiffness_n_per_mm: f64,
    /// Length of the rod at which it carries nothing, mm.
    rest_mm: f64,
    /// Length at the last evaluation, mm.
    length_mm: f64,
    /// Its gradient.
    pub(crate) length_gradient: Vec<f64>,
}

/// All of them.
#[derive(Debug, Clone, Default)]
pub(crate) struct HubSprings {
    pub(crate) list: Vec<HubSpring>,
    /// By rod: its spring.
    of_rod: [Option<usize>; MOST_RODS],
}

impl HubSpring {
    /// Load it puts on its rod, N.
    fn load_n(&self) -> f64 {
        self.stiffness_n_per_mm * (self.length_mm - self.rest_mm)
    }
}

impl HubSprings {
    /// Takes them over from a scene.
    pub(crate) fn update(&mut self, scene: &Scene<'_>) {
        self.of_rod = [None; MOST_RODS];
        let mut count = 0;
        for (rod, given) in scene.rods.iter().enumerate() {
            let (AxialLoad::HubHeld {
                spring_n_per_mm,
                rest_mm,
                ..
            }
            | AxialLoad::FrictionlessHubHeld {
                spring_n_per_mm,
                rest_mm,
                ..
            }) = &given.load
            else {
                continue;
            };
            if *spring_n_per_mm <= 0.0 {
                continue;
            }
            if self.list.len() == count {
                self.list.push(HubSpring::default());
            }
            let spring = &mut self.list[count];
            spring.rod = rod;
            spring.stiffness_n_per_mm = *spring_n_per_mm;
            spring.rest_mm = *rest_mm;
            self.of_rod[rod] = Some(count);
            count += 1;
        }
        self.list.truncate(count);
    }

    fn of(&self, rod: usize) -> Option<&HubSpring> {
        self.of_rod[rod].and_then(|at| self.list.get(at))
    }

    /// Length of a rod that is held, at the last evaluation, mm.
    pub(crate) fn length_mm(&self, rod: usize) -> f64 {
        self.of(rod).map_or(f64::NAN, |spring| spring.length_mm)
    }

    /// Load on a rod at the last evaluation, N.
    pub(crate) fn load_n(&self, rod: usize) -> f64 {
        self.of(rod).map_or(0.0, HubSpring::load_n)
    }

    /// Evaluates lengths at `x`, and adds the loads that follow to `added`. Returns what the energy differs
    /// by from that of loads of this size, with the sizes that it is summed from, N mm.
    pub(crate) fn evaluate(
        &mut self,
        shape: Kinematics<'_>,
        x: &[f64],
        added: &mut LoadLists,
    ) -> Energy {
        let mut energy = Energy::default();
        for spring in &mut self.list {
            spring.length_mm = 0.0;
            spring.length_gradient.clear();
            spring.length_gradient.resize(x.len(), 0.0);
        }
        if self.list.is_empty() {
            return energy;
        }
        self.measure_lengths(shape, x);
        added.add_by_rod(shape.layout, |rod| self.of(rod).map(HubSpring::load_n));
        for spring in &self.list {
            let over_mm = spring.length_mm - spring.rest_mm;
            energy.add(0.5 * spring.load_n() * over_mm);
            energy.add(-spring.load_n() * spring.length_mm);
        }
        energy
    }

    fn measure_lengths(&mut self, shape: Kinematics<'_>, x: &[f64]) {
        let Self { list, of_rod } = self;
        arcs(shape, &of_rod.map(|at| at.is_some()), |arc| {
            if let Some(at) = of_rod[arc.rod] {
                let spring = &mut list[at];
                spring.length_mm += arc.weight * arc.mm;
                let slopes = arc.slopes.map(|s| s.map(|s| arc.weight * s));
                scatter_gradient(&mut spring.length_gradient, arc.dof, slopes);
            }
        });
        for end in &shape.layout.ends {
            let Some(at) = of_rod[end.rod as usize] else {
                continue;
            };
            let spring = &mut list[at];
            let edge = end_edge(end, &shape.layout.frames, x);
            spring.length_mm += end.weight * edge.1.norm();
            add_length_gradient(end, edge, end.weight, &mut spring.length_gradient);
        }
    }

    /// Energy for cells of these lengths, by node, N mm.
    pub(crate) fn energy(&self, rods: &[RodNodes], arc_mm: &[f64]) -> f64 {
        let list = self.list.iter();
        list.map(|spring| {
            let length_mm: f64 = arc_mm[rods[spring.rod].range()].iter().sum();
            0.5 * spring.stiffness_n_per_mm * math::power(length_mm - spring.rest_mm, 2)
        })
        .sum()
    }

    /// Adds their rank-one part of the Hessian times `v` to `out`.
    pub(crate) fn multiply(&self, v: &[f64], out: &mut [f64]) {
        for spring in &self.list {
            let along = spring.length_gradient.iter().zip(v);
            let part = spring.stiffness_n_per_mm * along.map(|(a, b)| a * b).sum::<f64>();
            for (o, a) in out.iter_mut().zip(&spring.length_gradient) {
                *o += part * a;
            }
        }
    }
}
