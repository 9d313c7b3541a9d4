//! Slip at contacts over an increment of a path, with what it leaves behind: Coulomb's law as one vector.
//!
//! A rod that is fed by `dF` slips along itself at a station by `dF - dL(s)`, where `L(s)` is its length from station 0 to
//! there: material comes through the planes in which the nodes stay. Across it slips by what the offset between the
//! two axes moved by, on the direction `b` across the contact. With the memory `z`, the slip that sticks, the whole is
//! `r = |z + du|`; friction is `mu q min(1, r/d) (z + du)/r`, and `z` becomes `(z + du) min(1, d/r)`, where `d` is the
//! distance over which surfaces take hold. Two laws of their own, along and across, would let a rod that slides along
//! stick across.

use super::present::PresentRods;
use crate::mechanics::equilibrium::solution::{Contact, RodState, Solution};
use crate::mechanics::rod::drag::DragAt;

/// Slip at a contact of two rods, or of a rod and the vessel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Slip {
    pub(crate) rod: usize,
    pub(crate) other: Option<usize>,
    /// Arc length of the centre line, mm, and length of it that the contact stands for, mm.
    pub(crate) s_mm: f64,
    pub(crate) length_mm: f64,
    /// Most that friction can hold, N: `mu q`.
    pub(crate) most_n: f64,
    /// Memory and slip, `z + du`, along and across, mm.
    pub(crate) slip_mm: [f64; 2],
    /// Of it the memory, mm.
    memory_mm: [f64; 2],
    /// Across the contact, on the normals.
    across: [f64; 2],
}

impl Slip {
    /// The partner of rod `k`, and the sign with which it slips along that; none where `k` takes no part.
    pub(crate) fn seen_by(&self, k: usize) -> Option<(Option<usize>, f64)> {
        if self.rod == k {
            Some((self.other, 1.0))
        } else if self.other == Some(k) {
            Some((Some(self.rod), -1.0))
        } else {
            None
        }
    }

    fn size_mm(&self) -> f64 {
        let [a, b] = self.slip_mm;
        (a * a + b * b).sqrt()
    }

    /// Force per length of slip, N/mm: friction is this times `slip_mm`.
    fn weight_n_per_mm(&self, stick_mm: f64) -> f64 {
        self.most_n / self.size_mm().max(stick_mm)
    }

    /// Force across, N.
    fn across_n(&self, stick_mm: f64) -> f64 {
        self.weight_n_per_mm(stick_mm) * self.slip_mm[1]
    }

    /// Work that friction takes over the increment, N mm, by the force at its end.
    fn work_n_mm(&self, stick_mm: f64) -> f64 {
        let moved = [0, 1].map(|i| self.slip_mm[i] - self.memory_mm[i]);
        let weight = self.weight_n_per_mm(stick_mm);
        weight * (self.slip_mm[0] * moved[0] + self.slip_mm[1] * moved[1])
    }
}

/// What an increment of a path begins with.
#[derive(Debug, Clone, Default)]
pub(crate) struct Before {
    pub(crate) rods: Vec<RodState>,
    contacts: Vec<Contact>,
    /// By contact: what sticks, mm, in `slip_mm`.
    kept: Vec<Slip>,
    /// By rod: feed, mm, negative where it is drawn back.
    pub(crate) fed_mm: Vec<f64>,
    /// Distance over which surfaces take hold, mm.
    pub(crate) stick_mm: f64,
}

/// A rod's own length from station 0 to a station, mm.
fn arc_mm(rod: &RodState, s_mm: f64) -> f64 {
    rod.path_length_mm - between(rod, s_mm, |i| rod.from_tip_mm[i])
}

/// A quantity known by node, linear between nodes.
fn between(rod: &RodState, s_mm: f64, of: impl Fn(usize) -> f64) -> f64 {
    let (b, part) = rod.place(s_mm);
    of(b - 1) + (of(b) - of(b - 1)) * part
}

/// Offset of a rod's axis at a station, mm.
fn offset_mm(rod: &RodState, s_mm: f64) -> [f64; 2] {
    [0, 1].map(|n| between(rod, s_mm, |i| rod.offset_mm[i][n]))
}

impl Before {
    /// A path that begins at a state, with nothing that sticks.
    pub(crate) fn at(found: &Solution, stick_mm: f64) -> Self {
        Self {
            rods: found.rods.clone(),
            contacts: found.contacts.clone(),
            kept: Vec::new(),
            fed_mm: vec![0.0; found.rods.len()],
            stick_mm,
        }
    }

    /// What the next increment begins with, after slips that led to a state.
    pub(crate) fn go_on(&mut self, found: &Solution, slips: Vec<Slip>) {
        self.rods.clone_from(&found.rods);
        self.contacts.clone_from(&found.contacts);
        self.kept = slips;
        for slip in &mut self.kept {
            let share = (self.stick_mm / slip.size_mm().max(f64::MIN_POSITIVE)).min(1.0);
            slip.slip_mm = slip.slip_mm.map(|z| z * share);
        }
    }

    /// What sticks at a contact: that of the nearest of the same two within its own length.
    fn memory_of(&self, contact: &Contact) -> Option<&Slip> {
        let pair = (contact.rod, contact.other);
        let off_mm = |slip: &Slip| (slip.s_mm - contact.station_mm).abs();
        (self.kept.iter())
            .filter(|slip| (slip.rod, slip.other) == pair && off_mm(slip) <= slip.length_mm)
            .min_by(|a, b| off_mm(a).total_cmp(&off_mm(b)))
    }

    /// Feed and change of length and offset of a rod at a station since the increment began: slip along, mm, and
    /// offset moved by, mm.
    fn moved_mm(&self, k: usize, now: &RodState, s_mm: f64) -> (f64, [f64; 2]) {
        let before = &self.rods[k];
        let along = self.fed_mm[k] - (arc_mm(now, s_mm) - arc_mm(before, s_mm));
        let (to, from) = (offset_mm(now, s_mm), offset_mm(before, s_mm));
        (along, [to[0] - from[0], to[1] - from[1]])
    }

    /// Slips of all contacts of a shape; `friction` by rod and partner.
    pub(crate) fn slips(
        &self,
        found: &Solution,
        friction: impl Fn(usize, Option<usize>) -> f64,
    ) -> Vec<Slip> {
        self.slips_of(&found.contacts, &found.rods, friction)
    }

    /// The same of contacts, those of this shape or those before.
    fn slips_of(
        &self,
        contacts: &[Contact],
        rods: &[RodState],
        friction: impl Fn(usize, Option<usize>) -> f64,
    ) -> Vec<Slip> {
        let contacts = contacts.iter().filter_map(|contact| {
            let mu = friction(contact.rod, contact.other);
            let size_n = contact.force_in_space_n.norm();
            let [n1, n2] = contact.force_n;
            let in_plane_n = (n1 * n1 + n2 * n2).sqrt();
            if !(mu > 0.0 && size_n > 0.0 && in_plane_n > 0.0) {
                return None;
            }
            let across = [-n2 / in_plane_n, n1 / in_plane_n];
            let s_mm = contact.station_mm;
            let (mut along_mm, mut offset) = self.moved_mm(contact.rod, &rods[contact.rod], s_mm);
            if let Some(j) = contact.other {
                let (other_mm, other) = self.moved_mm(j, &rods[j], s_mm);
                along_mm -= other_mm;
                offset = [offset[0] - other[0], offset[1] - other[1]];
            }
            let across_mm = across[0] * offset[0] + across[1] * offset[1];
            // directions across turn with the contact: what sticks is taken along by its part on the new one
            let memory_mm = self.memory_of(contact).map_or([0.0; 2], |kept| {
                let turned = across[0] * kept.across[0] + across[1] * kept.across[1];
                [kept.slip_mm[0], kept.slip_mm[1] * turned]
            });
            Some(Slip {
                rod: contact.rod,
                other: contact.other,
                s_mm,
                length_mm: contact.length_mm,
                most_n: mu * size_n,
                slip_mm: [memory_mm[0] + along_mm, memory_mm[1] + across_mm],
                memory_mm,
                across,
            })
        });
        contacts.collect()
    }

    /// Drag at contacts that slip so.
    pub(crate) fn drags(&self, slips: &[Slip]) -> Vec<DragAt> {
        let drags = slips.iter().map(|slip| DragAt {
            rod: slip.rod,
            other: slip.other,
            s_mm: slip.s_mm,
            across: slip.across,
            weight_n_per_mm: slip.weight_n_per_mm(self.stick_mm),
            memory_mm: slip.memory_mm[1],
        });
        drags.collect()
    }

    /// Largest change of a force across from one list of slips to the next, N.
    pub(crate) fn change_n(&self, before: &[Slip], after: &[Slip]) -> f64 {
        let same = |a: &Slip, b: &Slip| {
            (a.rod, a.other) == (b.rod, b.other) && (a.s_mm - b.s_mm).abs() <= 1e-6
        };
        let mut old = before.iter().peekable();
        let mut change_n = 0.0_f64;
        for slip in after {
            while old.next_if(|o| o.s_mm < slip.s_mm - 1e-6).is_some() {}
            let twin = old.clone().take_while(|o| o.s_mm <= slip.s_mm + 1e-6);
            let held_n = twin
                .into_iter()
                .find(|o| same(o, slip))
                .map_or(0.0, |o| o.across_n(self.stick_mm));
            change_n = change_n.max((slip.across_n(self.stick_mm) - held_n).abs());
        }
        change_n
    }

    /// Work that friction takes over the increment, N mm: by the mean of the contact forces at both of its ends.
    pub(crate) fn work_n_mm(
        &self,
        found: &Solution,
        slips: &[Slip],
        stretch: impl Fn(&mut [Slip]),
        friction: impl Fn(usize, Option<usize>) -> f64,
    ) -> f64 {
        let mut by_before = self.slips_of(&self.contacts, &found.rods, friction);
        stretch(&mut by_before);
        let ends = slips.iter().chain(&by_before);
        0.5 * ends.map(|s| s.work_n_mm(self.stick_mm)).sum::<f64>()
    }

    /// Lets rod `k` stretch by so much up to each of its stations, mm.
    pub(crate) fn stretch(&self, k: usize, now: &RodState, stretch_mm: &[f64], slips: &mut [Slip]) {
        let Some(last) = stretch_mm.len().checked_sub(1) else {
            return;
        };
        for slip in slips {
            let Some((_, sign)) = slip.seen_by(k) else {
                continue;
            };
            let stretched_mm = between(now, slip.s_mm, |i| stretch_mm[i.min(last)]);
            slip.slip_mm[0] += sign * stretched_mm;
        }
    }

    /// Coefficient of a rod on a partner, either way round.
    pub(crate) fn friction_of<'a>(
        rods: &'a PresentRods,
        friction: super::arrangement::FrictionOf<'a>,
        mover: usize,
    ) -> impl Fn(usize, Option<usize>) -> f64 + 'a {
        move |k, other| {
            if other == Some(mover) {
                rods.friction_of(friction, mover, Some(k))
            } else {
                rods.friction_of(friction, k, other)
            }
        }
    }
}
