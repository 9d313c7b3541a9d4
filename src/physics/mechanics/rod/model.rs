//! The energy of a scene: value, gradient and Hessian, put together from its terms.
//!
//! ```text
//! E = sum over vertices (bending + axial load) + ends + hub springs + natural bends
//!     + proximal term + drags - dead loads + contacts
//! ```
//!
//! [`Model::evaluate`] and [`Model::energy`] list the same terms, the second without derivatives.

use super::bending::{self, VertexCoefficients};
use super::bordered::{Bordered, RollSystem};
use super::coefficients::Coefficients;
use super::configurational::Configurational;
use super::contact_set::{Along, Contacts};
use super::drag::DragAt;
use super::end_terms;
use super::energy::Energy;
use super::evaluation::Evaluation;
use super::hub_spring::HubSprings;
use super::kinematics::{Kinematics, update_kinematics};
use super::layout::Layout;
use super::loads::sum_stiffness;
use super::natural_bends;
use super::numbering::Sharing;
use super::scene::{MOST_RODS, Roll, Scene};
use super::settings::Settings;
use crate::geometry::Point;

/// The parts of an energy by when they change.
#[derive(Debug, Clone, Default)]
pub(crate) struct Model {
    /// With stations, tips and containers.
    pub(crate) layout: Layout,
    /// With the shape that was taken over last, whose offsets from the centre line these are, by node, on the
    /// frame's normals.
    pub(crate) coefficients: Coefficients,
    pub(crate) offset: Vec<[f64; 2]>,
    /// With both, and what they carry with every evaluation.
    pub(crate) springs: HubSprings,
    configurational: Configurational,
    /// With every evaluation.
    pub(crate) at: Evaluation,
    /// With every factorisation.
    bordered: Bordered,
}

/// Coefficients at the vertices.
fn at_vertices<'a>(coefficients: &'a Coefficients, at: &'a Evaluation) -> VertexCoefficients<'a> {
    VertexCoefficients {
        stiffness: &coefficients.stiffness,
        load: &coefficients.loads.vertex_n,
        added_n: &at.added.vertex_n,
    }
}

impl Model {
    /// Sets out the nodes, on the centre line; [`Self::lay_out_terms`] follows when their offsets are guessed.
    pub(crate) fn lay_out_nodes(&mut self, scene: &Scene<'_>) {
        self.layout.lay_out_nodes(scene);
        let nodes = self.layout.nodes.len();
        self.offset.clear();
        self.offset.resize(nodes, [0.0; 2]);
        self.coefficients.fit_nodes(nodes);
        self.at.fit_nodes(&self.layout);
    }

    /// Gives nodes their unknowns and lists the terms of the energy. Needs distances from the tip
    /// and diameters ([`Self::update_sections`]) to find the tight fits.
    pub(crate) fn lay_out_terms(
        &mut self,
        scene: &Scene<'_>,
        settings: &Settings,
        sharing: Sharing,
    ) {
        let sections = &self.coefficients.sections;
        self.layout
            .lay_out_terms(scene, settings, sharing, sections);
        self.coefficients.fit_terms(&self.layout);
        self.at.fit_terms(&self.layout);
    }

    pub(crate) fn unknowns(&self) -> usize {
        self.layout.unknowns()
    }

    /// Where the rods lie as last measured.
    pub(crate) fn shape(&self) -> Kinematics<'_> {
        Kinematics::new(&self.layout, &self.at.edges)
    }

    /// A node by its stored offset.
    pub(crate) fn place(&self, node: usize) -> Point {
        self.layout.frame(node).place(self.offset[node])
    }

    /// Copies unknowns to the nodes' offsets.
    pub(crate) fn store(&mut self, x: &[f64]) {
        for (at, dof) in self.offset.iter_mut().zip(&self.layout.nodes.dof) {
            *at = dof.offset(x);
        }
    }

    /// Copies the nodes' offsets to the unknowns; rods on one axis take the mean.
    pub(crate) fn gather(&self, x: &mut Vec<f64>) {
        x.clear();
        x.resize(self.unknowns(), 0.0);
        let free = || {
            let nodes = self.offset.iter().zip(&self.layout.nodes.dof);
            nodes.filter(|(_, dof)| !dof.is_fixed())
        };
        if !self.layout.numbering.shared {
            for (at, dof) in free() {
                x[dof.at()..][..2].copy_from_slice(at);
            }
            return;
        }
        let mut count = vec![0.0_f64; self.unknowns()];
        for (at, dof) in free() {
            dof.add_to(x, *at);
            dof.add_to(&mut count, [1.0; 2]);
        }
        for (x, n) in x.iter_mut().zip(&count) {
            *x /= n.max(1.0);
        }
    }

    /// Puts drags on the contacts, told from the centre of the proximal term.
    pub(crate) fn place_drags(&mut self, asked: &[DragAt]) {
        let Coefficients {
            drags, proximal, ..
        } = &mut self.coefficients;
        drags.place(&self.layout.contacts, asked, &proximal.centre);
    }

    /// Rolls that the rods begin with, rad.
    pub(crate) fn first_rolls(scene: &Scene<'_>) -> Vec<f64> {
        scene
            .rods
            .iter()
            .map(|r| match r.natural.map(|n| n.roll) {
                Some(Roll::Fixed(roll) | Roll::Free(roll)) => roll,
                None => 0.0,
            })
            .collect()
    }

    /// Measures edges and cells at the stored offsets.
    pub(crate) fn measure_stored(&mut self) {
        let offsets = self.offset.iter().copied();
        update_kinematics(&self.layout, &mut self.at.edges, offsets);
    }

    /// Measures edges and cells at `x`.
    fn measure(&mut self, x: &[f64]) {
        let offsets = self.layout.nodes.dof.iter().map(|dof| dof.offset(x));
        update_kinematics(&self.layout, &mut self.at.edges, offsets);
    }

    /// Distances from the tips by the stored offsets, then stiffness, diameters and natural
    /// curvature there.
    pub(crate) fn update_sections(&mut self, scene: &Scene<'_>) {
        self.measure_stored();
        let shape = Kinematics::new(&self.layout, &self.at.edges);
        self.coefficients.update_sections(scene, shape);
    }

    /// Brings all coefficients up to date with the stored offsets. `stiffest` caps the contact
    /// stiffness (N/mm2) on the way to a stiff wall.
    pub(crate) fn update(
        &mut self,
        scene: &Scene<'_>,
        settings: &Settings,
        rolls: &[f64],
        stiffest: f64,
    ) {
        self.measure_stored();
        let shape = Kinematics::new(&self.layout, &self.at.edges);
        self.coefficients
            .update(scene, settings, shape, rolls, stiffest);
        self.springs.update(scene);
        self.configurational.update(scene, self.layout.nodes.len());
    }

    /// Energy at `x` with its gradient and the rows of the unknown rolls; what the Hessian needs is
    /// kept for [`Self::assemble`].
    pub(crate) fn evaluate(&mut self, x: &[f64], rolls: &[f64]) -> Energy {
        self.measure(x);
        let Self {
            layout,
            coefficients: by_shape,
            at,
            ..
        } = self;
        at.assembled = false;
        at.gradient.fill(0.0);
        at.by_roll.clear(layout.free_rolls, layout.unknowns());
        at.added.clear(layout);
        let shape = Kinematics::new(layout, &at.edges);
        let mut energy = self.springs.evaluate(shape, x, &mut at.added);
        if self.configurational.is_on() {
            let (sections, shaped) = (&mut by_shape.sections, &mut by_shape.shaped[..]);
            self.configurational.measure(shape, sections, shaped, rolls);
            sum_stiffness(
                layout,
                &by_shape.sections.stiffness,
                &mut by_shape.stiffness,
            );
            energy.include(self.configurational.evaluate(shape, &mut at.added));
        }
        let vertices = VertexCoefficients {
            stiffness: &by_shape.stiffness,
            load: &by_shape.loads.vertex_n,
            added_n: &at.added.vertex_n,
        };
        let (bending, softest) = bending::evaluate(shape, vertices, &mut at.gradient);
        energy.include(bending);
        at.softest = softest;
        let loads_n = (&by_shape.loads.end_n[..], &at.added.end_n[..]);
        let ends = (&layout.ends[..], &layout.frames[..]);
        end_terms::evaluate(ends, x, loads_n, &mut energy, &mut at.gradient);
        let bends = (&by_shape.shaped[..], rolls);
        at.shaped
            .evaluate(shape, bends, &mut energy, &mut at.gradient, &mut at.by_roll);
        by_shape.proximal.evaluate(x, &mut energy, &mut at.gradient);
        (by_shape.drags).evaluate(&layout.contacts, x, &mut energy, &mut at.gradient);
        for ((g, f), x) in at.gradient.iter_mut().zip(&by_shape.dead_n).zip(x) {
            *g -= f;
            energy.total -= f * x;
            energy.size += (f * x).abs();
        }
        at.smooth.clone_from(&at.gradient);
        let contacts = Contacts::new(&layout.contacts, &by_shape.contact_laws);
        at.contacts.evaluate(&contacts, x, &mut at.gradient);
        energy.add(at.contacts.energy);
        at.ends.clear();
        let edges = layout.ends.iter();
        at.ends
            .extend(edges.map(|end| end_terms::end_edge(end, &layout.frames, x).1));
        energy
    }

    /// Energy at `x` alone, N mm, for trials along a step: a fifth of the work of [`Self::evaluate`], which
    /// must follow before anything else is asked of the model.
    pub(crate) fn energy(&mut self, x: &[f64], rolls: &[f64]) -> f64 {
        self.measure(x);
        let Self {
            layout,
            coefficients: by_shape,
            configurational,
            ..
        } = self;
        let shape = Kinematics::new(layout, &self.at.edges);
        configurational.measure_energies(shape, &mut by_shape.sections);
        let sections = &by_shape.sections;
        let (arc_mm, bending) = configurational.cells();
        let mut energy = self.springs.energy(&layout.rods, arc_mm);
        for (node, load_n) in by_shape.load.iter().enumerate() {
            energy += sections.stiffness[node] * bending[node] + load_n * arc_mm[node];
        }
        for (term, shaped) in layout.shaped.iter().zip(&by_shape.shaped) {
            let node = term.member.node as usize;
            let natural = configurational.natural_now(term.rod, node, shaped, sections);
            let coefficients = (sections.stiffness[node], natural);
            energy += natural_bends::energy_of(shape, term, coefficients, rolls);
        }
        energy += by_shape.proximal.energy(x) + by_shape.drags.energy(&layout.contacts, x);
        let dead = by_shape.dead_n.iter().zip(x);
        energy -= dead.map(|(f, x)| f * x).sum::<f64>();
        let contacts = Contacts::new(&layout.contacts, &by_shape.contact_laws);
        energy + contacts.energy(x)
    }

    /// Brings stiffness and natural curvature that follow the shape at every evaluation to the shape last
    /// measured, and the loads that follow.
    pub(crate) fn measure_followed(&mut self, rolls: &[f64]) {
        let shape = Kinematics::new(&self.layout, &self.at.edges);
        let by_shape = &mut self.coefficients;
        let (sections, shaped) = (&mut by_shape.sections, &mut by_shape.shaped[..]);
        self.configurational.measure(shape, sections, shaped, rolls);
    }

    /// Whether some stiffness or natural curvature follows the shape at every evaluation.
    pub(crate) fn follows_exactly(&self) -> bool {
        self.configurational.is_on()
    }

    /// Puts the Hessian of all but the contacts at the last evaluation into the matrix.
    pub(crate) fn assemble(&mut self) {
        if self.at.assembled {
            return;
        }
        self.at.assembled = true;
        self.at.contacts.clear_applied();
        let mut matrix = std::mem::take(&mut self.at.matrix);
        let vertices = at_vertices(&self.coefficients, &self.at);
        bending::assemble(self.shape(), vertices, &mut matrix);
        let loads_n = (self.coefficients.loads.end_n.iter()).zip(&self.at.added.end_n);
        let ends = self.layout.ends.iter().zip(&self.at.ends);
        for ((end, e), (load_n, added_n)) in ends.zip(loads_n) {
            let load = load_n + added_n;
            if load.abs() > 0.0 {
                end_terms::assemble(&mut matrix, end, load, &self.layout.frames, *e);
            }
        }
        self.at.shaped.assemble(&mut matrix);
        self.coefficients.proximal.assemble(&mut matrix);
        (self.coefficients.drags).assemble(&self.layout.contacts, &mut matrix);
        self.at.matrix = matrix;
    }

    /// All contacts as an evaluation sees them.
    pub(crate) fn contacts(&self) -> Contacts<'_> {
        Contacts::new(&self.layout.contacts, &self.coefficients.contact_laws)
    }

    /// Evaluates the contacts at `x`: adds their gradient to `gradient`, keeps energy and Hessians.
    pub(crate) fn add_contact_gradient(&mut self, x: &[f64], gradient: &mut [f64]) {
        let contacts = Contacts::new(&self.layout.contacts, &self.coefficients.contact_laws);
        self.at.contacts.evaluate(&contacts, x, gradient);
    }

    /// How many contacts carried force where they were last evaluated.
    pub(crate) fn active_contacts(&self) -> usize {
        self.at.contacts.len()
    }

    /// See [`super::contact_set::ContactSet::drop_negative_curvature`].
    pub(crate) fn drop_negative_curvature(&mut self) {
        self.at.contacts.drop_negative_curvature();
    }

    /// See [`super::contact_set::ContactSet::predict_active_forces`].
    pub(crate) fn predict_active_forces(&mut self, v: &[f64], part: f64, gradient: &mut [f64]) {
        let contacts = Contacts::new(&self.layout.contacts, &self.coefficients.contact_laws);
        self.at
            .contacts
            .predict_active_forces(&contacts, v, part, gradient);
    }

    /// Contacts that may carry force somewhere on the way from `x` to `x + v`.
    pub(crate) fn contacts_along(&self, x: &[f64], v: &[f64], out: &mut Vec<Along>) {
        self.contacts().along(x, v, out);
    }

    /// Takes the contacts' Hessian as last factorised times `v` from `change`.
    pub(crate) fn take_contact_change(&self, v: &[f64], change: &mut [f64]) {
        self.at.contacts.take_change(&self.contacts(), v, change);
    }

    /// Factorises the smooth part's Hessian plus `shift` plus that of the contacts where they were
    /// last evaluated; whether it is positive definite, hub springs included.
    pub(crate) fn factorise(&mut self, shift: f64) -> bool {
        self.factorise_and_solve(shift, None)
    }

    /// The same, and solves against forces out of balance with it: [`Self::step`] follows.
    pub(crate) fn factorise_for(&mut self, shift: f64, residual: &[f64]) -> bool {
        self.factorise_and_solve(shift, Some(residual))
    }

    fn factorise_and_solve(&mut self, shift: f64, residual: Option<&[f64]>) -> bool {
        self.assemble();
        let at = &mut self.at;
        let contacts = Contacts::new(&self.layout.contacts, &self.coefficients.contact_laws);
        at.contacts.apply(&contacts, &mut at.matrix);
        let springs = &self.springs.list;
        // with springs a matrix may be indefinite without them
        let Some(negative) = at.matrix.factorise(shift, springs.is_empty()) else {
            return false;
        };
        self.bordered
            .prepare(&at.matrix, springs, &at.by_roll.border, negative, residual)
    }

    /// Solves with the factorised matrix, hub springs included.
    pub(crate) fn solve(&self, x: &mut [f64]) {
        self.bordered.solve(&self.at.matrix, x);
    }

    /// The step against the forces out of balance that were given to [`Self::factorise_for`], then those of
    /// the rolls; false where the rolls make the whole indefinite.
    pub(crate) fn step(&self, roll_residual: &[f64], shift: f64, delta: &mut Vec<f64>) -> bool {
        let rolls = RollSystem {
            hessian: &self.at.by_roll.hessian,
            residual: roll_residual,
        };
        self.bordered.step(&self.at.matrix, rolls, shift, delta)
    }

    /// `out = H v` with the matrix last factorised, without its shift.
    pub(crate) fn multiply(&self, v: &[f64], out: &mut [f64]) {
        self.at.matrix.multiply(v, out);
        self.springs.multiply(v, out);
    }

    /// By how much held rods lengthen for a push of 1 N on each, mm/N, by the last factorisation.
    pub(crate) fn compliance_mm_per_n(&self) -> [[f64; MOST_RODS]; MOST_RODS] {
        self.bordered.compliance_mm_per_n(&self.springs.list)
    }

    /// Load at a node of rod `k`, N, what its hub spring adds and what follows the shape included.
    pub(crate) fn load_at(&self, k: usize, node: usize) -> f64 {
        let spring_n = self.springs.load_n(k);
        self.coefficients.load[node] + spring_n + self.configurational.load_n(node)
    }
}

#[cfg(test)]
impl Model {
    /// A scene laid out with rods in waves that nothing is in balance with, and its unknowns.
    pub(crate) fn in_waves(scene: &Scene<'_>, rolls: &[f64]) -> (Self, Vec<f64>) {
        let settings = Settings::default();
        let mut model = Self::default();
        model.lay_out_nodes(scene);
        for (i, at) in model.offset.iter_mut().enumerate() {
            let t = 0.21 * f64::from(super::dof::short(i));
            *at = [
                0.8 * crate::math::sin(t),
                0.5 * crate::math::cos(1.7 * t) - 0.5,
            ];
        }
        model.update_sections(scene);
        let tight = Sharing::TightFits(settings.shared_axis_gap_mm);
        model.lay_out_terms(scene, &settings, tight);
        model.update(scene, &settings, rolls, 1e4);
        let mut x = Vec::new();
        model.gather(&mut x);
        (model, x)
    }
}
