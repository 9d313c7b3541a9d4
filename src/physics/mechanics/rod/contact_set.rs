//! The contacts that carry force: their energy, and the part of gradient and matrix that is theirs.

use super::contact_law::{ContactResponse, Law};
use super::contact_terms::{ContactCandidate, ContactTerms, Gate, WeightedDofs};
use super::dof::short;
use crate::mechanics::linear_algebra::banded::BlockBanded;

/// Laws of all contacts, and what tells most of them clear. They change when coefficients do.
#[derive(Debug, Clone, Default)]
pub(crate) struct ContactLaws {
    pub(crate) laws: Vec<Law>,
    pub(crate) gates: Vec<Gate>,
}

/// All contacts as an evaluation sees them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Contacts<'a> {
    candidates: &'a [ContactCandidate],
    wide: &'a [WeightedDofs],
    laws: &'a [Law],
    gates: &'a [Gate],
}

/// A contact on the way along a line: its law, the offset and its change.
pub(crate) type Along = (Law, [f64; 2], [f64; 2]);

/// A contact that carries force.
#[derive(Debug, Clone, Copy)]
struct ActiveContact {
    contact: u32,
    /// Gradient and Hessian (xx, xy, yy) in the offset.
    gradient: [f64; 2],
    hessian: [f64; 3],
    rolling_n_per_mm: f64,
}

impl ActiveContact {
    /// Size and direction of its gradient.
    #[inline]
    fn polar(&self) -> (f64, [f64; 2]) {
        let [x, y] = self.gradient;
        let size = (x * x + y * y).sqrt();
        (size, self.gradient.map(|g| g / size.max(f64::MIN_POSITIVE)))
    }
}

impl<'a> Contacts<'a> {
    pub(crate) fn new(terms: &'a ContactTerms, laws: &'a ContactLaws) -> Self {
        Self {
            candidates: &terms.candidates,
            wide: &terms.wide,
            laws: &laws.laws,
            gates: &laws.gates,
        }
    }

    /// Energy at `x` alone, N mm.
    pub(crate) fn energy(&self, x: &[f64]) -> f64 {
        self.active_at(x)
            .map(|(_, _, _, pressed)| pressed.energy)
            .sum()
    }

    /// Those that carry force at `x`: the number of each, its law, the offset between its axes, and what that
    /// presses.
    pub(crate) fn active_at(
        &self,
        x: &[f64],
    ) -> impl Iterator<Item = (usize, &'a Law, [f64; 2], ContactResponse)> {
        let Self {
            candidates,
            wide,
            laws,
            gates,
        } = *self;
        let open = gates.iter().enumerate().filter(|(_, gate)| !gate.clear(x));
        open.filter_map(move |(i, _)| {
            let offset = candidates[i].offset(wide, x);
            let pressed = laws[i].evaluate(offset)?;
            Some((i, &laws[i], offset, pressed))
        })
    }

    /// Those that may carry force somewhere on the way from `x` to `x + v`.
    pub(crate) fn along(&self, x: &[f64], v: &[f64], out: &mut Vec<Along>) {
        out.clear();
        for ((gate, candidate), law) in self.gates.iter().zip(self.candidates).zip(self.laws) {
            if !gate.clear_along(x, v) {
                let at = candidate.offset(self.wide, x);
                out.push((*law, at, candidate.offset(self.wide, v)));
            }
        }
    }
}

/// The active set, and what of it is in the matrix.
#[derive(Debug, Clone, Default)]
pub(crate) struct ContactSet {
    /// Contacts that carried force where they were last evaluated, and their energy.
    active: Vec<ActiveContact>,
    pub(crate) energy: f64,
    /// Those whose Hessians are in the matrix.
    applied: Vec<ActiveContact>,
}

impl ContactSet {
    /// Evaluates the contacts at `x`: adds their gradient to `gradient`, keeps energy and Hessians.
    pub(crate) fn evaluate(&mut self, contacts: &Contacts<'_>, x: &[f64], gradient: &mut [f64]) {
        self.active.clear();
        self.energy = 0.0;
        let all = contacts.gates.iter().zip(contacts.candidates);
        for (i, (gate, candidate)) in all.enumerate() {
            if gate.clear(x) {
                continue;
            }
            if let Some(pressed) = contacts.laws[i].evaluate(candidate.offset(contacts.wide, x)) {
                self.energy += pressed.energy;
                candidate.scatter(contacts.wide, gradient, pressed.gradient);
                self.active.push(ActiveContact {
                    contact: short(i),
                    gradient: pressed.gradient,
                    hessian: pressed.hessian,
                    rolling_n_per_mm: pressed.rolling_n_per_mm,
                });
            }
        }
    }

    /// How many carried force where they were last evaluated.
    pub(crate) fn len(&self) -> usize {
        self.active.len()
    }

    /// Takes the negative curvature off: rods pressed apart roll off each other. What is left of the
    /// contacts, where they were last evaluated, is convex.
    pub(crate) fn drop_negative_curvature(&mut self) {
        for contact in &mut self.active {
            if contact.rolling_n_per_mm < 0.0 {
                let (_, [x, y]) = contact.polar();
                let rolling = contact.rolling_n_per_mm;
                contact.hessian[0] -= rolling * y * y;
                contact.hessian[1] += rolling * x * y;
                contact.hessian[2] -= rolling * x * x;
                contact.rolling_n_per_mm = 0.0;
            }
        }
    }

    /// Replaces contacts where they lie, `part * v` from where they were last applied, by their
    /// tangents at the forces predicted for them, and lets go of those predicted to pull; corrects
    /// `gradient` by what that changes.
    ///
    /// A wall far stiffer than what it holds settles the force in one step and then its place in the
    /// onset, where force goes with the square of depth, only by halves.
    pub(crate) fn predict_active_forces(
        &mut self,
        contacts: &Contacts<'_>,
        v: &[f64],
        part: f64,
        gradient: &mut [f64],
    ) {
        let wide = contacts.wide;
        let mut old = self.applied.iter().peekable();
        self.active.retain_mut(|active| {
            while old.next_if(|o| o.contact < active.contact).is_some() {}
            let Some(before) = old.next_if(|o| o.contact == active.contact) else {
                return true;
            };
            let candidate = &contacts.candidates[active.contact as usize];
            let law = &contacts.laws[active.contact as usize];
            let [a, b] = candidate.offset(wide, v).map(|d| part * d);
            let [xx, xy, yy] = before.hessian;
            let predicted = [
                before.gradient[0] + xx * a + xy * b,
                before.gradient[1] + xy * a + yy * b,
            ];
            let (force_n, n) = active.polar();
            let predicted_n = predicted[0] * n[0] + predicted[1] * n[1];
            if predicted_n <= 0.0 {
                candidate.scatter(wide, gradient, active.gradient.map(|g| -g));
                return false;
            }
            let linear_from_n = law.stiffness_n_per_mm * law.onset_mm;
            if force_n.min(predicted_n) < linear_from_n {
                let (here_mm, here_n_per_mm) = law.at_force(force_n);
                let (there_mm, there_n_per_mm) = law.at_force(predicted_n);
                let tangent_n = predicted_n + there_n_per_mm * (here_mm - there_mm);
                candidate.scatter(wide, gradient, n.map(|n| (tangent_n - force_n) * n));
                active.gradient = n.map(|n| tangent_n * n);
                let stiffer = there_n_per_mm - here_n_per_mm;
                active.hessian[0] += stiffer * n[0] * n[0];
                active.hessian[1] += stiffer * n[0] * n[1];
                active.hessian[2] += stiffer * n[1] * n[1];
            }
            true
        });
    }

    /// Takes the contacts' Hessian as last applied times `v` from `change`.
    pub(crate) fn take_change(&self, contacts: &Contacts<'_>, v: &[f64], change: &mut [f64]) {
        for applied in &self.applied {
            let candidate = &contacts.candidates[applied.contact as usize];
            let [xx, xy, yy] = applied.hessian;
            let [a, b] = candidate.offset(contacts.wide, v);
            let taken = [-(xx * a + xy * b), -(xy * a + yy * b)];
            candidate.scatter(contacts.wide, change, taken);
        }
    }

    /// Nothing of the contacts is in a matrix that was just cleared.
    pub(crate) fn clear_applied(&mut self) {
        self.applied.clear();
    }

    /// Brings the contacts' part of the matrix to where they were last evaluated.
    pub(crate) fn apply(&mut self, contacts: &Contacts<'_>, matrix: &mut BlockBanded) {
        let mut add = |i: u32, [xx, xy, yy]: [f64; 3]| {
            contacts.candidates[i as usize].pairs(contacts.wide, |row, column, w| {
                let block = [w * xx, w * xy, w * xy, w * yy];
                matrix.add(row.at(), column.at(), block);
            });
        };
        // both lists run in the order of the contacts
        let mut old = self.applied.iter().peekable();
        for ActiveContact {
            contact: i,
            hessian,
            ..
        } in &self.active
        {
            while let Some(gone) = old.next_if(|o| o.contact < *i) {
                add(gone.contact, gone.hessian.map(|h| -h));
            }
            if let Some(ActiveContact {
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
        self.applied.clone_from(&self.active);
    }
}
