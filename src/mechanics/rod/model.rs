//! The energy of a scene: value, gradient and Hessian.

use super::coefficients::{Relaxation, Turning};
use super::configurational::Material;
use super::contact_law::Law;
use super::dof::{Dof, edge, scatter_gradient, scatter_hessian, short};
use super::edge_batch::Abreast;
use super::energy::Energy;
use super::hub_spring::Grips;
use super::terms::{
    Axis, ContactTerm, CornerTerm, EndTerm, Gate, Member, Mix, Nodes, RodNodes, ShapedTerm, Spot,
    Terms,
};
use crate::geometry::{Frame, Point, Vector};
use crate::mechanics::linear_algebra::banded::BlockBanded;

/// A contact that presses.
#[derive(Debug, Clone, Copy)]
struct Push {
    contact: u32,
    /// Gradient and Hessian (xx, xy, yy) in the offset.
    gradient: [f64; 2],
    hessian: [f64; 3],
    rolling_n_per_mm: f64,
}

impl Push {
    /// Size and direction of its gradient.
    #[inline]
    fn polar(&self) -> (f64, [f64; 2]) {
        let [x, y] = self.gradient;
        let size = (x * x + y * y).sqrt();
        (size, self.gradient.map(|g| g / size.max(f64::MIN_POSITIVE)))
    }
}

/// The energy's terms and the memory to evaluate them.
#[derive(Debug, Clone, Default)]
pub(crate) struct Model {
    pub(crate) frames: Vec<Frame>,
    pub(crate) rods: Vec<RodNodes>,
    pub(crate) nodes: Nodes,
    pub(crate) corners: Vec<CornerTerm>,
    /// Edges and corners where they were last looked at.
    pub(crate) abreast: Abreast,
    /// By corner: stiffness, and the load but for what hands add.
    pub(crate) stiffness: Vec<f64>,
    pub(crate) load: Vec<f64>,
    /// Hessians of pre-shaped nodes at the last evaluation.
    shaped_at: Vec<([Dof; 3], [[f64; 4]; 6])>,
    /// Edges of the ends at the last evaluation.
    ends_at: Vec<Vector>,
    /// Whether the matrix is that of the last evaluation.
    assembled: bool,
    pub(crate) corner_of: Vec<Option<u32>>,
    /// Whether rods share unknowns.
    pub(crate) shared: bool,
    pub(crate) members: Vec<Member>,
    pub(crate) ends: Vec<EndTerm>,
    pub(crate) shaped: Vec<ShapedTerm>,
    pub(crate) contacts: Vec<ContactTerm>,
    /// Contacts in the order in which they were found, and their keys in the order of their unknowns.
    pub(crate) found: Vec<(ContactTerm, Spot)>,
    pub(crate) order: Vec<(Dof, u32)>,
    /// Axes of contacts between nodes.
    pub(crate) mixes: Vec<Mix>,
    /// By contact: as the solver sees it.
    pub(crate) spots: Vec<Spot>,
    /// Unknowns of contacts in which more than two take part.
    pub(crate) many: Vec<Terms>,
    /// By contact: what tells it clear.
    pub(crate) gates: Vec<Gate>,
    /// Contacts that pressed where they were last looked at, and their energy.
    pressed: Vec<Push>,
    pub(crate) contact_energy: f64,
    /// Those whose Hessians are in the matrix.
    applied: Vec<Push>,
    pub(crate) block_sizes: Vec<usize>,
    /// Rod and arc length of each pair of unknowns.
    pub(crate) owner: Vec<(u32, f64)>,
    pub(crate) linear: Vec<f64>,
    pub(crate) matrix: BlockBanded,
    /// Of the whole energy.
    pub(crate) gradient: Vec<f64>,
    /// Of all but the contacts.
    pub(crate) smooth: Vec<f64>,
    /// Rows of the Hessian of the unknown rolls, one after the other.
    pub(crate) border: Vec<f64>,
    pub(crate) roll_gradient: Vec<f64>,
    pub(crate) roll_hessian: Vec<f64>,
    /// See [`Model::softest`].
    pub(crate) softest: f64,
    pub(crate) relaxation: Relaxation,
    pub(crate) turning: Turning,
    /// The cap on stiffness for which the contact laws were made, where they depend on nothing else.
    pub(crate) laws_for: Option<f64>,
    pub(crate) grips: Grips,
    pub(crate) material: Material,
    /// Where unknowns are kept near, and how stiffly, N/mm; empty where they are not.
    pub(crate) near: Vec<f64>,
    pub(crate) near_n_per_mm: f64,
    pub(crate) scratch: Vec<f64>,
}

impl Model {
    pub(crate) fn unknowns(&self) -> usize {
        self.matrix.unknowns()
    }

    /// A node by its stored offset.
    pub(crate) fn place(&self, node: usize) -> Point {
        self.frames[self.nodes.frame[node] as usize].place(self.nodes.offset[node])
    }

    /// Nodes of an axis at a place, with weights.
    pub(crate) fn mix(&self, axis: &Axis) -> Mix {
        match *axis {
            Axis::Node(node) => Mix::of(&[(node as usize, 1.0)]),
            Axis::Between(at) => self.mixes[at as usize],
        }
    }

    /// The same one by one.
    pub(crate) fn parts(&self, axis: &Axis) -> impl Iterator<Item = (usize, f64)> {
        let mix = self.mix(axis);
        let parts = mix.node.into_iter().zip(mix.weight);
        parts
            .filter(|(_, w)| *w > 0.0)
            .map(|(n, w)| (n as usize, w))
    }

    /// A quantity known by node on an axis at a place.
    pub(crate) fn value(&self, axis: &Axis, of: &[f64]) -> f64 {
        match *axis {
            Axis::Node(node) => of[node as usize],
            Axis::Between(at) => self.mixes[at as usize].value(of),
        }
    }

    /// Members of a rod.
    pub(crate) fn members_of(&self, rod: usize) -> &[Member] {
        let first = self.members.partition_point(|m| (m.rod as usize) < rod);
        let count = self.members[first..].partition_point(|m| m.rod as usize == rod);
        &self.members[first..first + count]
    }

    /// Copies unknowns to the nodes' offsets.
    pub(crate) fn store(&mut self, x: &[f64]) {
        for (at, dof) in self.nodes.offset.iter_mut().zip(&self.nodes.dof) {
            *at = dof.offset(x);
        }
    }

    /// Copies the nodes' offsets to the unknowns; rods on one axis take the mean.
    pub(crate) fn gather(&self, x: &mut Vec<f64>) {
        x.clear();
        x.resize(self.unknowns(), 0.0);
        if !self.shared {
            for (at, dof) in self.nodes.offset.iter().zip(&self.nodes.dof) {
                if !dof.is_fixed() {
                    x[dof.at()..][..2].copy_from_slice(at);
                }
            }
            return;
        }
        let mut count = vec![0.0_f64; self.unknowns()];
        for (at, dof) in self.nodes.offset.iter().zip(&self.nodes.dof) {
            if !dof.is_fixed() {
                let b = dof.at();
                for p in 0..2 {
                    x[b + p] += at[p];
                    count[b + p] += 1.0;
                }
            }
        }
        for (x, n) in x.iter_mut().zip(&count) {
            *x /= n.max(1.0);
        }
    }

    /// Energy at `x` with its gradient and the rows of the unknown rolls; what the Hessian needs is
    /// kept for [`Self::assemble`].
    pub(crate) fn evaluate(&mut self, x: &[f64], rolls: &[f64]) -> Energy {
        let mut energy = Energy::default();
        self.assembled = false;
        self.gradient.fill(0.0);
        self.border.fill(0.0);
        let free = if self.unknowns() == 0 {
            0
        } else {
            self.border.len() / self.unknowns()
        };
        self.roll_gradient.clear();
        self.roll_gradient.resize(free, 0.0);
        self.roll_hessian.clear();
        self.roll_hessian.resize(free, 0.0);

        self.look(x);
        for part in [
            self.feel_grips(x),
            self.feel_material(rolls),
            self.feel_corners(),
        ] {
            energy.include(part);
        }
        for (end, grip_n) in self.ends.iter().zip(&self.grips.end_n) {
            let load = end.load + grip_n;
            if load.abs() > 0.0 {
                let (frames, e) = end_of(end, &self.frames, x);
                let length = e.norm();
                for (i, sign) in [-1.0, 1.0].into_iter().enumerate() {
                    if !end.dof[i].is_fixed() {
                        let row = end.dof[i].at();
                        let scale = load * sign / length;
                        self.gradient[row] += scale * frames[i].n1.dot(&e);
                        self.gradient[row + 1] += scale * frames[i].n2.dot(&e);
                    }
                }
                energy.add(load * length);
            }
        }
        self.shaped_at.clear();
        for shaped in &self.shaped {
            if shaped.natural.is_none() {
                continue;
            }
            let nodes = shaped.member.nodes.map(|n| n as usize);
            let frames = nodes.map(|n| &self.frames[self.nodes.frame[n] as usize]);
            let dof = nodes.map(|n| self.nodes.dof[n]);
            let corner = self.corner_now(shaped.member.corner);
            let roll = rolls[shaped.rod];
            let found = corner.pre_shaped(
                frames,
                shaped.stiffness,
                shaped.natural,
                [
                    frames[1].tangent,
                    frames[1].across(roll),
                    frames[1].across(roll + std::f64::consts::FRAC_PI_2),
                ],
            );
            energy.add(found.local.energy);
            scatter_gradient(&mut self.gradient, dof, found.local.gradient);
            self.shaped_at.push((dof, found.local.hessian));
            if let Some(i) = shaped.border {
                self.roll_gradient[i] += found.roll_gradient;
                self.roll_hessian[i] += found.roll_hessian;
                let row = &mut self.border[i * x.len()..(i + 1) * x.len()];
                scatter_gradient(row, dof, found.roll_cross);
            }
        }
        if self.near.len() == x.len() {
            let stiffness = self.near_n_per_mm;
            for i in (0..x.len()).step_by(2) {
                let away = [x[i] - self.near[i], x[i + 1] - self.near[i + 1]];
                energy.add(0.5 * stiffness * (away[0] * away[0] + away[1] * away[1]));
                self.gradient[i] += stiffness * away[0];
                self.gradient[i + 1] += stiffness * away[1];
            }
        }
        for ((g, f), x) in self.gradient.iter_mut().zip(&self.linear).zip(x) {
            *g -= f;
            energy.total -= f * x;
            energy.size += (f * x).abs();
        }
        self.smooth.clone_from(&self.gradient);
        let mut gradient = std::mem::take(&mut self.gradient);
        self.add_contact_gradient(x, &mut gradient);
        self.gradient = gradient;
        energy.add(self.contact_energy);
        self.ends_at.clear();
        self.ends_at
            .extend(self.ends.iter().map(|end| end_of(end, &self.frames, x).1));
        energy
    }

    /// Puts the Hessian of all but the contacts at the last evaluation into the matrix.
    pub(crate) fn assemble(&mut self) {
        if self.assembled {
            return;
        }
        self.assembled = true;
        self.applied.clear();
        self.assemble_corners();
        for ((end, grip_n), e) in self.ends.iter().zip(&self.grips.end_n).zip(&self.ends_at) {
            let load = end.load + grip_n;
            if load.abs() > 0.0 {
                stretch(&mut self.matrix, end, load, &self.frames, *e);
            }
        }
        for (dof, hessian) in &self.shaped_at {
            scatter_hessian(&mut self.matrix, *dof, hessian);
        }
        if self.near.len() == self.unknowns() {
            let stiffness = self.near_n_per_mm;
            for i in (0..self.near.len()).step_by(2) {
                self.matrix.add(i, i, [stiffness, 0.0, 0.0, stiffness]);
            }
        }
    }

    /// Looks at the contacts at `x`: adds their gradient to `gradient`, keeps energy and Hessians.
    pub(crate) fn add_contact_gradient(&mut self, x: &[f64], gradient: &mut [f64]) {
        self.pressed.clear();
        self.contact_energy = 0.0;
        for (i, (gate, spot)) in self.gates.iter().zip(&self.spots).enumerate() {
            if gate.clear(x) {
                continue;
            }
            if let Some(pressed) = spot.law.press(spot.offset(&self.many, x)) {
                self.contact_energy += pressed.energy;
                spot.push(&self.many, gradient, pressed.gradient);
                self.pressed.push(Push {
                    contact: short(i),
                    gradient: pressed.gradient,
                    hessian: pressed.hessian,
                    rolling_n_per_mm: pressed.rolling_n_per_mm,
                });
            }
        }
    }

    /// How many contacts pressed where they were last looked at.
    pub(crate) fn pressing(&self) -> usize {
        self.pressed.len()
    }

    /// Takes from the contacts where they were last looked at the curvature below zero by which rods
    /// roll off each other: what is left of them is convex.
    pub(crate) fn keep_from_rolling(&mut self) {
        for push in &mut self.pressed {
            if push.rolling_n_per_mm < 0.0 {
                let (_, [x, y]) = push.polar();
                let rolling = push.rolling_n_per_mm;
                push.hessian[0] -= rolling * y * y;
                push.hessian[1] += rolling * x * y;
                push.hessian[2] -= rolling * x * x;
                push.rolling_n_per_mm = 0.0;
            }
        }
    }

    /// Replaces contacts where they lie, `part * v` from where they were last applied, by their
    /// tangents at the forces foreseen for them, and lets go of those foreseen to pull; corrects
    /// `gradient` by what that changes.
    ///
    /// A wall far stiffer than what it holds settles the force in one step and then its place in the
    /// onset, where force goes with the square of depth, only by halves.
    pub(crate) fn foresee(&mut self, v: &[f64], part: f64, gradient: &mut [f64]) {
        let (spots, many) = (&self.spots, &self.many);
        let mut old = self.applied.iter().peekable();
        self.pressed.retain_mut(|push| {
            while old.next_if(|o| o.contact < push.contact).is_some() {}
            let Some(before) = old.next_if(|o| o.contact == push.contact) else {
                return true;
            };
            let spot = &spots[push.contact as usize];
            let [a, b] = spot.offset(many, v).map(|d| part * d);
            let [xx, xy, yy] = before.hessian;
            let foreseen = [
                before.gradient[0] + xx * a + xy * b,
                before.gradient[1] + xy * a + yy * b,
            ];
            let (force_n, n) = push.polar();
            let foreseen_n = foreseen[0] * n[0] + foreseen[1] * n[1];
            if foreseen_n <= 0.0 {
                spot.push(many, gradient, push.gradient.map(|g| -g));
                return false;
            }
            let linear_from_n = spot.law.stiffness_n_per_mm * spot.law.onset_mm;
            if force_n.min(foreseen_n) < linear_from_n {
                let (here_mm, here_n_per_mm) = spot.law.pressed_by(force_n);
                let (there_mm, there_n_per_mm) = spot.law.pressed_by(foreseen_n);
                let tangent_n = foreseen_n + there_n_per_mm * (here_mm - there_mm);
                spot.push(many, gradient, n.map(|n| (tangent_n - force_n) * n));
                push.gradient = n.map(|n| tangent_n * n);
                let stiffer = there_n_per_mm - here_n_per_mm;
                push.hessian[0] += stiffer * n[0] * n[0];
                push.hessian[1] += stiffer * n[0] * n[1];
                push.hessian[2] += stiffer * n[1] * n[1];
            }
            true
        });
    }

    /// Energy of the contacts at `x` alone.
    pub(crate) fn contact_energy_at(&self, x: &[f64]) -> f64 {
        let open = self
            .gates
            .iter()
            .zip(&self.spots)
            .filter(|(gate, _)| !gate.clear(x));
        open.filter_map(|(_, spot)| spot.law.press(spot.offset(&self.many, x)))
            .map(|pressed| pressed.energy)
            .sum()
    }

    /// Contacts that may press somewhere on the way from `x` to `x + v`.
    pub(crate) fn contacts_along(&self, x: &[f64], v: &[f64], out: &mut Vec<Along>) {
        out.clear();
        for (gate, spot) in self.gates.iter().zip(&self.spots) {
            if !gate.clear_along(x, v) {
                let at = spot.offset(&self.many, x);
                out.push((spot.law, at, spot.offset(&self.many, v)));
            }
        }
    }

    /// Takes the contacts' Hessian as last factorised times `v` from `change`.
    pub(crate) fn take_contact_change(&self, v: &[f64], change: &mut [f64]) {
        for push in &self.applied {
            let spot = &self.spots[push.contact as usize];
            let [xx, xy, yy] = push.hessian;
            let [a, b] = spot.offset(&self.many, v);
            let taken = [-(xx * a + xy * b), -(xy * a + yy * b)];
            spot.push(&self.many, change, taken);
        }
    }

    /// Factorises the smooth part's Hessian plus `shift` plus that of the contacts where they were
    /// last looked at; whether it is positive definite, hands included.
    pub(crate) fn factorise(&mut self, shift: f64) -> bool {
        self.factorise_and_solve(shift, None)
    }

    /// The same, and solves against forces out of balance with it: [`Model::step`] follows.
    pub(crate) fn factorise_for(&mut self, shift: f64, residual: &[f64]) -> bool {
        self.factorise_and_solve(shift, Some(residual))
    }

    fn factorise_and_solve(&mut self, shift: f64, residual: Option<&[f64]>) -> bool {
        self.assemble();
        self.apply_contacts();
        // with hands a matrix may be indefinite without them
        let Some(negative) = self.matrix.factorise(shift, self.grips.list.is_empty()) else {
            return false;
        };
        self.prepare_grips(negative, residual)
    }

    /// Brings the contacts' part of the matrix up to date.
    fn apply_contacts(&mut self) {
        let (matrix, spots, many) = (&mut self.matrix, &self.spots, &self.many);
        let mut add = |i: u32, [xx, xy, yy]: [f64; 3]| {
            spots[i as usize].pairs(many, |row, column, w| {
                let block = [w * xx, w * xy, w * xy, w * yy];
                matrix.add(row.at(), column.at(), block);
            });
        };
        // both lists run in the order of the contacts
        let mut old = self.applied.iter().peekable();
        for Push {
            contact: i,
            hessian,
            ..
        } in &self.pressed
        {
            while let Some(gone) = old.next_if(|o| o.contact < *i) {
                add(gone.contact, gone.hessian.map(|h| -h));
            }
            if let Some(Push {
                hessian: before, ..
            }) = old.next_if(|o| o.contact == *i)
            {
                if hessian.iter().zip(before).any(|(a, b)| (a - b).abs() > 0.0) {
                    add(*i, std::array::from_fn(|k| hessian[k] - before[k]));
                }
            } else {
                add(*i, *hessian);
            }
        }
        for gone in old {
            add(gone.contact, gone.hessian.map(|h| -h));
        }
        self.applied.clone_from(&self.pressed);
    }

    /// `out = H v` with the matrix last factorised, without its shift.
    pub(crate) fn multiply(&self, v: &[f64], out: &mut [f64]) {
        self.matrix.multiply(v, out);
        self.multiply_grips(v, out);
    }

    /// How far below zero a buckling mode can lie, N/mm, see [`super::vertex_energy::Cell::softness`].
    pub(crate) fn softest(&self) -> f64 {
        self.softest
    }
}

/// A contact on the way along a line: its law, the offset and its change.
pub(crate) type Along = (Law, [f64; 2], [f64; 2]);

/// The edge of an end.
pub(crate) fn end_of<'a>(
    end: &EndTerm,
    frames: &'a [Frame],
    x: &[f64],
) -> ([&'a Frame; 2], Vector) {
    let frames = end.frame.map(|f| &frames[f as usize]);
    let at = end.dof.map(|dof| dof.offset(x));
    (frames, edge(frames[0], at[0], frames[1], at[1]))
}

/// Adds the Hessian of `load * length` of one edge.
fn stretch(matrix: &mut BlockBanded, end: &EndTerm, load: f64, frames: &[Frame], e: Vector) {
    let length = e.norm();
    let t = e / length;
    let sign = [-1.0, 1.0];
    let frames = end.frame.map(|f| &frames[f as usize]);
    for (i, fi) in frames.iter().enumerate() {
        if end.dof[i].is_fixed() {
            continue;
        }
        for (j, fj) in frames.iter().enumerate().take(i + 1) {
            if end.dof[j].is_fixed() {
                continue;
            }
            let scale = load * sign[i] * sign[j] / length;
            let entry = |a: &Vector, b: &Vector| scale * (a.dot(b) - a.dot(&t) * b.dot(&t));
            matrix.add(
                end.dof[i].at(),
                end.dof[j].at(),
                [
                    entry(&fi.n1, &fj.n1),
                    entry(&fi.n1, &fj.n2),
                    entry(&fi.n2, &fj.n1),
                    entry(&fi.n2, &fj.n2),
                ],
            );
        }
    }
}

#[cfg(test)]
impl Model {
    /// A scene laid out with rods in waves that nothing is in balance with, and its unknowns.
    pub(crate) fn in_waves(scene: &super::scene::Scene<'_>, rolls: &[f64]) -> (Self, Vec<f64>) {
        let settings = super::settings::Settings::default();
        let mut model = Self::default();
        model.lay_out_nodes(scene);
        for (i, at) in model.nodes.offset.iter_mut().enumerate() {
            let t = 0.21 * f64::from(short(i));
            *at = [
                0.8 * crate::math::sin(t),
                0.5 * crate::math::cos(1.7 * t) - 0.5,
            ];
        }
        model.update_sections(scene);
        model.lay_out_terms(scene, &settings, super::layout::Sharing::TightFits);
        model.update(scene, &settings, rolls, 1e4);
        let mut x = Vec::new();
        model.gather(&mut x);
        (model, x)
    }
}
