//! The coefficients of the energy: stiffness, loads, contact laws. They change when a shape is taken over,
//! and stand while Newton's method steps on, but for what follows the shape at every evaluation.

use super::contact_law::{Keep, Law};
use super::contact_set::ContactLaws;
use super::contact_terms::{ContactTerm, ContactTerms, Gate};
use super::drag::Drags;
use super::kinematics::Kinematics;
use super::layout::Layout;
use super::load_rounds::{Relaxation, Turning};
use super::loads::{LoadLists, sum_stiffness};
use super::natural::Natural;
use super::natural_bends::ShapedNode;
use super::profile::Profile;
use super::proximal::Proximal;
use super::scene::{AxialLoad, Rod, Scene};
use super::sections::Sections;
use super::settings::Settings;
use super::shape_loads::{add_dead_loads, follow_stiffness, set_load};

/// All of them.
#[derive(Debug, Clone, Default)]
pub(crate) struct Coefficients {
    pub(crate) sections: Sections,
    /// Configurational load by node, N.
    pub(crate) load: Vec<f64>,
    /// Bending stiffness by vertex, N mm2.
    pub(crate) stiffness: Vec<f64>,
    /// Load by vertex and end, but for what hub springs add.
    pub(crate) loads: LoadLists,
    pub(crate) shaped: Vec<ShapedNode>,
    /// Dead load on every unknown, N.
    pub(crate) dead_n: Vec<f64>,
    pub(crate) contact_laws: ContactLaws,
    /// The cap on stiffness for which the contact laws were made, where they depend on nothing else.
    laws_for: Option<f64>,
    pub(crate) proximal: Proximal,
    pub(crate) drags: Drags,
    pub(crate) relaxation: Relaxation,
    pub(crate) turning: Turning,
}

fn constant_diameters(rod: &Rod) -> bool {
    rod.outer_mm.is_constant() && rod.inner_mm.as_ref().is_none_or(Profile::is_constant)
}

impl Coefficients {
    /// Makes lists for the nodes of a new layout.
    pub(crate) fn fit_nodes(&mut self, nodes: usize) {
        self.sections.fit(nodes);
        self.load.clear();
        self.load.resize(nodes, 0.0);
    }

    /// Makes lists for its terms.
    pub(crate) fn fit_terms(&mut self, layout: &Layout) {
        self.dead_n.clear();
        self.dead_n.resize(layout.unknowns(), 0.0);
        self.laws_for = None;
    }

    /// Distances from the tips by the shape, then stiffness, diameters and natural curvature there.
    pub(crate) fn update_sections(&mut self, scene: &Scene<'_>, shape: Kinematics<'_>) {
        self.update_sections_of(scene, shape, |_| true);
    }

    /// As [`Self::update_sections`], for some of the rods.
    fn update_sections_of(
        &mut self,
        scene: &Scene<'_>,
        shape: Kinematics<'_>,
        wanted: impl Fn(&Rod) -> bool,
    ) {
        let sections = &mut self.sections;
        let mut slid_mm = 0.0;
        for (k, rod) in scene.rods.iter().enumerate() {
            if !wanted(rod) {
                continue;
            }
            let nodes = &shape.layout.rods[k];
            sections.measure_distances(nodes, shape.edges, shape.layout.skipping(k));
            let held = matches!(rod.load, AxialLoad::HubHeld { .. });
            if !constant_diameters(rod) || !(held || rod.stiffness_n_mm2.is_constant()) {
                slid_mm = sections.slide(nodes.range(), self.relaxation.halved, slid_mm);
            }
            sections.set_by_distance(rod, nodes.range());
        }
        self.relaxation.slid_mm = slid_mm;
    }

    /// Brings all of them up to date with a shape. `stiffest` caps the contact stiffness (N/mm2) on the way
    /// to a stiff wall.
    pub(crate) fn update(
        &mut self,
        scene: &Scene<'_>,
        settings: &Settings,
        shape: Kinematics<'_>,
        rolls: &[f64],
        stiffest: f64,
    ) {
        // distances from the tip change nothing where all along a rod is the same
        let changes = |rod: &Rod| rod.changes_along() || !constant_diameters(rod);
        self.update_sections_of(scene, shape, changes);
        self.update_loads(scene, shape, rolls);
        self.dead_n.fill(0.0);
        for (k, rod) in scene.rods.iter().enumerate() {
            add_dead_loads(shape, rod, k, &mut self.dead_n);
        }
        let layout = shape.layout;
        sum_stiffness(layout, &self.sections.stiffness, &mut self.stiffness);
        self.loads.clear(layout);
        self.loads.add_by_node(layout, &self.load);
        self.update_shaped(layout);
        let laws_for = scene
            .rods
            .iter()
            .all(constant_diameters)
            .then_some(stiffest);
        if self.laws_for.is_none_or(|s| s.total_cmp(&stiffest).is_ne()) {
            self.laws_for = laws_for;
            self.update_contact_laws(&layout.contacts, settings, stiffest);
        }
    }

    /// Configurational loads by the shape.
    fn update_loads(&mut self, scene: &Scene<'_>, shape: Kinematics<'_>, rolls: &[f64]) {
        let mut follows = false;
        for (k, rod) in scene.rods.iter().enumerate() {
            if set_load(shape, (scene.tube, rod, k), &mut self.load) {
                follows = true;
                if rod.changes_along() {
                    let (sections, turning) = (&self.sections, &self.turning);
                    follow_stiffness(shape, sections, turning, (k, rolls[k]), &mut self.load);
                }
            }
        }
        let relaxation = &mut self.relaxation;
        if shape.layout.shaped.iter().any(|s| s.turns) {
            (self.turning).call(shape, &self.sections, rolls, relaxation.frozen);
            self.turning.hold_loads(&mut self.load);
            if !relaxation.frozen {
                let nodes = &shape.layout.rods;
                relaxation.unsettled_n = self.turning.relax(scene.rods, nodes, &mut self.load);
                return;
            }
        }
        if follows || relaxation.frozen {
            relaxation.relax(&mut self.load);
        } else {
            relaxation.unsettled_n = 0.0;
        }
    }

    /// Natural curvatures of pre-shaped nodes, or the angles that rounds hold them at.
    fn update_shaped(&mut self, layout: &Layout) {
        let mut turns = self.turning.used();
        self.shaped.clear();
        for term in &layout.shaped {
            let node = term.member.node as usize;
            let weight = term.member.weight;
            let natural = match term.turns.then(|| turns.next()).flatten() {
                Some(turn) => {
                    self.loads.vertex_n[term.member.vertex as usize] -= weight * turn[1];
                    Natural::Turn(turn[0])
                }
                None => Natural::Curvature(self.sections.natural[node]),
            };
            self.shaped
                .push(ShapedNode::new(term, &self.sections, natural));
        }
    }

    fn update_contact_laws(&mut self, contacts: &ContactTerms, settings: &Settings, stiffest: f64) {
        let ContactLaws { laws, gates } = &mut self.contact_laws;
        laws.clear();
        gates.clear();
        for (term, candidate) in contacts.list.iter().zip(&contacts.candidates) {
            let limit_mm = limit_mm(contacts, term, &self.sections);
            let stiffness = term.stiffness_n_per_mm2.min(stiffest);
            let law = Law {
                keep: term.keep,
                limit_mm,
                onset_mm: settings.onset_for_mm(stiffness, limit_mm),
                stiffness_n_per_mm: stiffness * term.weight_mm,
            };
            gates.push(Gate::of(candidate, &law));
            laws.push(law);
        }
    }

    /// Forgets the loads used so far.
    pub(crate) fn restart_loads(&mut self) {
        self.turning.restart();
        self.relaxation.restart();
    }
}

/// How near or far the axes of a contact may be, mm.
fn limit_mm(contacts: &ContactTerms, term: &ContactTerm, sections: &Sections) -> f64 {
    let own = 0.5 * contacts.value(&term.inside, &sections.outer);
    match (term.keep, &term.around) {
        (Keep::Within, None) => term.radius_mm - own,
        (Keep::Within, Some(around)) => 0.5 * contacts.value(around, &sections.inner) - own,
        (Keep::Apart, Some(around)) => 0.5 * contacts.value(around, &sections.outer) + own,
        (Keep::Apart, None) => 0.0,
    }
}
