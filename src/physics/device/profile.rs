//! Reading a device's profile: section by distance from the tip, steps, lumen, tip curvature.

#![expect(
    clippy::neg_cmp_op_on_partial_ord,
    reason = "a negated comparison also refuses NaN, which is meant"
)]

use super::{Device, Knot, LumenKind, Section, Tip};

impl Device {
    /// Diameters and stiffness at `from_tip_mm` (mm, from 0 to the usable length).
    ///
    /// Values are linear between two lines of the profile. On a step (the same `from_tip` twice)
    /// the proximal side counts; places outside the device take its nearest end. A device with an
    /// empty profile, which [`Device::check`] refuses, gives NaN, so that nothing ever fits it.
    #[must_use]
    pub fn section_at(&self, from_tip_mm: f64) -> Section {
        self.section_in_cell(from_tip_mm, from_tip_mm)
    }

    /// The section at `from_tip_mm` by the two profile lines that enclose `inside_mm`.
    ///
    /// With `inside_mm` just before or behind a step this is the limit from that side, whatever
    /// rounding has done to `from_tip_mm`.
    #[must_use]
    pub fn section_in_cell(&self, from_tip_mm: f64, inside_mm: f64) -> Section {
        let (Some(first), Some(last)) = (self.profile.first(), self.profile.last()) else {
            return Section {
                outer_mm: f64::NAN,
                inner_mm: None,
                stiffness_n_mm2: f64::NAN,
            };
        };
        let next = self
            .profile
            .partition_point(|knot| knot.from_tip_mm <= inside_mm);
        let near = next
            .checked_sub(1)
            .and_then(|i| self.profile.get(i))
            .unwrap_or(first);
        let far = self.profile.get(next).unwrap_or(last);
        let mut section = between(near, far, from_tip_mm);
        if !self.has_lumen_at(inside_mm.clamp(0.0, self.usable_length_mm.max(0.0))) {
            section.inner_mm = None;
        }
        section
    }

    /// Whether there is a lumen around a rail at `from_tip_mm`: from tip to hub for a full lumen,
    /// from the tip up to (not including) the port for rapid exchange.
    #[must_use]
    pub fn has_lumen_at(&self, from_tip_mm: f64) -> bool {
        from_tip_mm >= 0.0
            && match self.lumen {
                LumenKind::Solid => false,
                LumenKind::Full => from_tip_mm <= self.usable_length_mm,
                LumenKind::RapidExchange { port_from_tip } => from_tip_mm < port_from_tip,
            }
    }

    /// Length of the lumen that can hold a rail, mm from the tip; none for a solid device.
    #[must_use]
    pub fn lumen_length_mm(&self) -> Option<f64> {
        match self.lumen {
            LumenKind::Solid => None,
            LumenKind::Full => Some(self.usable_length_mm),
            LumenKind::RapidExchange { port_from_tip } => {
                Some(port_from_tip.min(self.usable_length_mm))
            }
        }
    }

    /// Distance of the rapid-exchange port from the tip, mm, where there is one.
    #[must_use]
    pub fn port_from_tip_mm(&self) -> Option<f64> {
        match self.lumen {
            LumenKind::RapidExchange { port_from_tip } => Some(port_from_tip),
            LumenKind::Solid | LumenKind::Full => None,
        }
    }

    /// Largest outer diameter strictly between two places (mm from the tip, any order), mm.
    ///
    /// A step at either end counts only by its side that faces inwards; with both places equal
    /// both sides count.
    #[must_use]
    pub fn max_outer_between(&self, a_mm: f64, b_mm: f64) -> f64 {
        self.sections_between(a_mm, b_mm)
            .map(|section| section.outer_mm)
            .fold(f64::NAN, f64::max)
    }

    /// Smallest outer diameter between two places (mm from the tip, any order), mm. Steps count as
    /// in [`Device::max_outer_between`].
    #[must_use]
    pub fn min_outer_between(&self, a_mm: f64, b_mm: f64) -> f64 {
        self.sections_between(a_mm, b_mm)
            .map(|section| section.outer_mm)
            .fold(f64::NAN, f64::min)
    }

    /// Smallest lumen between two places (mm from the tip, any order), mm; none where any part of
    /// the stretch has no lumen. Steps count as in [`Device::max_outer_between`].
    #[must_use]
    pub fn min_inner_between(&self, a_mm: f64, b_mm: f64) -> Option<f64> {
        self.sections_between(a_mm, b_mm)
            .map(|section| section.inner_mm)
            .try_fold(f64::INFINITY, |least, inner| Some(least.min(inner?)))
    }

    /// Every section that can be an extreme between two places: both ends of every cell.
    fn sections_between(&self, a_mm: f64, b_mm: f64) -> impl Iterator<Item = Section> {
        let (from, to) = (a_mm.min(b_mm), a_mm.max(b_mm));
        let breaks = self.profile.iter().map(|knot| knot.from_tip_mm);
        let mut cells = cells_between(from, to, breaks);
        if cells.is_empty() {
            // One place only: look a hair to either side of it, far below any real step length.
            let hair_mm = 1e-6;
            cells = vec![(from - hair_mm, from), (from, from + hair_mm)];
        }
        cells.into_iter().flat_map(|(near, far)| {
            let inside = f64::midpoint(near, far);
            [near, far].map(|place| self.section_in_cell(place, inside))
        })
    }

    /// Whether other devices can be loaded over its rear end: solid and without a hub.
    #[must_use]
    pub fn is_rail(&self) -> bool {
        matches!(self.lumen, LumenKind::Solid) && self.hub_length_mm <= 0.0
    }

    /// Curvature of the device at rest at `from_tip_mm`, 1/mm: even over the bent stretch of its
    /// tip, zero behind it.
    #[must_use]
    pub fn natural_curvature_per_mm(&self, from_tip_mm: f64) -> f64 {
        match self.tip {
            Tip::Curved { length, angle_deg } if from_tip_mm >= 0.0 && from_tip_mm < length => {
                angle_deg.to_radians() / length
            }
            Tip::Straight | Tip::Curved { .. } => 0.0,
        }
    }
}

/// Linear between two lines; a lumen only where both have one.
fn between(near: &Knot, far: &Knot, from_tip_mm: f64) -> Section {
    let span = far.from_tip_mm - near.from_tip_mm;
    let t = if span > 0.0 {
        ((from_tip_mm - near.from_tip_mm) / span).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let mix = |a: f64, b: f64| a + t * (b - a);
    Section {
        outer_mm: mix(near.outer_mm, far.outer_mm),
        inner_mm: near.inner_mm.zip(far.inner_mm).map(|(a, b)| mix(a, b)),
        stiffness_n_mm2: mix(near.stiffness_n_mm2, far.stiffness_n_mm2),
    }
}

/// Cuts `from..to` at the breaks inside it. Breaks closer than a nanometre are one, so that
/// rounding makes no cell of its own.
pub(crate) fn cells_between(
    from: f64,
    to: f64,
    breaks: impl Iterator<Item = f64>,
) -> Vec<(f64, f64)> {
    const SAME_MM: f64 = 1e-6;
    if !(to - from > SAME_MM) {
        return Vec::new();
    }
    let mut cuts: Vec<f64> = breaks
        .filter(|cut| *cut > from + SAME_MM && *cut < to - SAME_MM)
        .collect();
    cuts.sort_by(f64::total_cmp);
    cuts.dedup_by(|a, b| *a - *b < SAME_MM);
    let starts = std::iter::once(from).chain(cuts.iter().copied());
    let ends = cuts.iter().copied().chain(std::iter::once(to));
    starts.zip(ends).collect()
}
