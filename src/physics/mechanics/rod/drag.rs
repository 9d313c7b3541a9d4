//! Drag: what friction holds across a contact, `c (b·w - rest)² / 2`, in the offset `w` between the two axes that touch.
//!
//! Coulomb's force is one vector against the whole slip `(along, across)`. At a given contact force `q` its part across
//! is `mu q (z + b·dw) / r` beyond the slip that sticks, where `dw` is what the offset moved by since an increment
//! began, `b` the direction across the contact, `z` what it remembers, and `r` the size of the whole slip. Written with
//! `c = mu q / r` it is a spring, which whoever goes through rounds renews.

use super::contact_terms::ContactTerms;
use super::energy::Energy;
use crate::mechanics::linear_algebra::banded::BlockBanded;

/// Drag at a contact of a rod, as it is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct DragAt {
    pub(crate) rod: usize,
    /// Partner: none is the vessel.
    pub(crate) other: Option<usize>,
    /// Arc length of the centre line, mm.
    pub(crate) s_mm: f64,
    /// Unit vector across the contact, on the normals of the station.
    pub(crate) across: [f64; 2],
    /// `c`, N/mm.
    pub(crate) weight_n_per_mm: f64,
    /// `z`, mm.
    pub(crate) memory_mm: f64,
}

/// A drag on a contact of the layout.
#[derive(Debug, Clone, Copy)]
struct Drag {
    contact: usize,
    across: [f64; 2],
    weight_n_per_mm: f64,
    rest_mm: f64,
}

/// All of them.
#[derive(Debug, Clone, Default)]
pub(crate) struct Drags {
    list: Vec<Drag>,
}

impl Drags {
    /// Without any.
    pub(crate) fn clear(&mut self) {
        self.list.clear();
    }

    /// Puts those asked for on the contacts of a layout; `before` are the unknowns that offsets are told from. Where a
    /// tip has moved meanwhile, the nearest contact of the same two within its own length stands for one that is gone.
    pub(crate) fn place(&mut self, contacts: &ContactTerms, asked: &[DragAt], before: &[f64]) {
        self.list.clear();
        let mut order: Vec<usize> = (0..contacts.list.len()).collect();
        let key = |i: usize| {
            let term = &contacts.list[i];
            (term.rod as usize, term.other.map(|j| j as usize))
        };
        order.sort_by(|a, b| {
            let by_place = || contacts.list[*a].s_mm.total_cmp(&contacts.list[*b].s_mm);
            key(*a).cmp(&key(*b)).then_with(by_place)
        });
        for drag in asked {
            let pair = (drag.rod, drag.other);
            let after =
                order.partition_point(|i| (key(*i), contacts.list[*i].s_mm) < (pair, drag.s_mm));
            let off_mm = |i: usize| (contacts.list[i].s_mm - drag.s_mm).abs();
            let near = [after.checked_sub(1), Some(after)];
            let nearest = (near.into_iter().flatten())
                .filter_map(|at| order.get(at).copied())
                .filter(|i| key(*i) == pair && off_mm(*i) <= contacts.list[*i].weight_mm)
                .min_by(|a, b| off_mm(*a).total_cmp(&off_mm(*b)));
            let Some(contact) = nearest else { continue };
            let offset = contacts.candidates[contact].offset(&contacts.wide, before);
            self.list.push(Drag {
                contact,
                across: drag.across,
                weight_n_per_mm: drag.weight_n_per_mm,
                rest_mm: dot(drag.across, offset) - drag.memory_mm,
            });
        }
    }

    /// How far a drag is from where it rests, mm.
    fn off_mm(drag: &Drag, contacts: &ContactTerms, x: &[f64]) -> f64 {
        let offset = contacts.candidates[drag.contact].offset(&contacts.wide, x);
        dot(drag.across, offset) - drag.rest_mm
    }

    /// Adds their energy and gradient.
    pub(crate) fn evaluate(
        &self,
        contacts: &ContactTerms,
        x: &[f64],
        energy: &mut Energy,
        gradient: &mut [f64],
    ) {
        for drag in &self.list {
            let off_mm = Self::off_mm(drag, contacts, x);
            let force_n = drag.weight_n_per_mm * off_mm;
            energy.add(0.5 * force_n * off_mm);
            contacts.candidates[drag.contact].scatter(
                &contacts.wide,
                gradient,
                drag.across.map(|b| b * force_n),
            );
        }
    }

    /// Energy alone, N mm.
    pub(crate) fn energy(&self, contacts: &ContactTerms, x: &[f64]) -> f64 {
        let energies = self.list.iter().map(|drag| {
            let off_mm = Self::off_mm(drag, contacts, x);
            0.5 * drag.weight_n_per_mm * off_mm * off_mm
        });
        energies.sum()
    }

    /// Adds their Hessian.
    pub(crate) fn assemble(&self, contacts: &ContactTerms, matrix: &mut BlockBanded) {
        for drag in &self.list {
            let ([a, b], c) = (drag.across, drag.weight_n_per_mm);
            contacts.candidates[drag.contact].pairs(&contacts.wide, |row, column, w| {
                let m = [a * a, a * b, a * b, b * b].map(|m| m * w * c);
                matrix.add(row.at(), column.at(), m);
            });
        }
    }
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}
