//! What a lesion asks of a device that is too wide for it: plaque and wall pushed out, and the friction of what they
//! push back.

use super::deploy::{Bed, PlaqueLaw};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::stack::moving::ForceAt;
use crate::units::Allowed;

/// Spacing at which a squeezed stretch is looked at, mm: lumens of lesions change by hundredths of a millimetre over it.
const CELL_MM: f64 = 0.25;
/// Radii nearer than this, mm, are the same.
const SAME_MM: f64 = 1e-9;
/// Free end of a squeezed stretch in a tube of radius `R` and thickness `t`: the length that the tube beyond it takes
/// part over, as a share of the root of `R t` (derived for thin shells; an axisymmetric shell on a foundation, solved
/// beside it, is met within 6 % at cones of 5 to 20 degrees).
const FREE_END: f64 = 0.76;

/// A device by distance from its front: outer radius at a place, mm. The same place twice is a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PassingKnot {
    /// Distance behind the front, mm, >= 0.
    pub from_front_mm: f64,
    /// Outer radius, mm, > 0.
    pub radius_mm: f64,
}

/// Which way a squeezed device goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Its front first.
    Forward,
    /// Its rear first; all of it has been there.
    Back,
}

/// What a lesion and a device do to each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Squeeze<'a> {
    /// How plaque and artery resist being widened.
    pub law: &'a PlaqueLaw,
    /// Friction of the device on plaque, >= 0.
    pub friction: f64,
    /// Thickness of the artery's wall, mm, >= 0; zero leaves out what lies beyond the ends of a squeezed stretch.
    pub wall_mm: f64,
}

/// A device on its way past plaque.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passage<'a> {
    /// The device from its front on, `[knots]`, by distance, at least one, the first at 0; it reaches on behind the last
    /// one with that radius.
    pub profile: &'a [PassingKnot],
    /// Station of its front, mm.
    pub front_mm: f64,
    /// Station that its front has been at, mm, not before `front_mm`.
    pub furthest_mm: f64,
    /// Which way it goes.
    pub way: Way,
}

/// A vessel with its lesions, and what leads through it, by station.
#[derive(Clone, Copy)]
pub struct Passed<'a> {
    /// The vessel at a station (mm) as it was before the device came.
    pub bed: &'a dyn Fn(f64) -> Bed,
    /// Radius at a station (mm) of what the device rides on there, mm; zero where nothing lies.
    pub carried_mm: &'a dyn Fn(f64) -> f64,
    /// Widest radius that has stood in the lesion before, mm; zero where nothing has.
    pub opened_mm: f64,
    /// First and last station that are looked at, mm.
    pub within_mm: [f64; 2],
}

/// What a passing device meets with its front at one station.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct Squeezed {
    /// Opening the lumen: cones and steps that widen it, with their friction, N.
    pub opening_n: f64,
    /// Friction along stretches of even width and beyond their ends, N.
    pub along_n: f64,
    /// Cones behind which plaque springs back, N: negative where it drives the device on.
    pub leaving_n: f64,
    /// The same by place, from the front on, `[n]`.
    pub by_place: Vec<ForceAt>,
    /// Highest step that faces plaque with nothing to lead it in, mm of radius.
    pub ledge_mm: f64,
}

impl Squeezed {
    /// Axial force against the motion, N.
    #[must_use]
    pub fn force_n(&self) -> f64 {
        self.opening_n + self.along_n + self.leaving_n
    }

    fn add(&mut self, s_mm: f64, force_n: f64) {
        if force_n.abs() > 0.0 {
            self.by_place.push(ForceAt { s_mm, force_n });
        }
    }
}

/// A lesion at one station as the device meets it.
#[derive(Clone, Copy)]
struct Meeting<'a> {
    law: &'a PlaqueLaw,
    bed: Bed,
    /// Widest that has stood here, mm of radius.
    widest_mm: f64,
}

impl Meeting<'_> {
    fn open_mm(&self) -> f64 {
        0.5 * self.bed.rest_mm
    }

    /// Radius that it keeps once it has been as wide as it was, mm.
    fn kept_mm(&self) -> f64 {
        0.5 * self
            .law
            .rest_after_mm(&self.bed, 2.0 * self.widest_mm, false)
    }

    /// Radial force per length while it is widened to a radius for the first time, N/mm over all of the circumference.
    fn loading_n_per_mm(&self, radius_mm: f64) -> f64 {
        self.law.resistance_n_per_mm(&self.bed, 2.0 * radius_mm)
    }

    /// The same at a radius once it has been wider: along a straight line down to what it then keeps.
    fn at_n_per_mm(&self, radius_mm: f64) -> f64 {
        if radius_mm <= self.open_mm() {
            return 0.0;
        }
        if radius_mm >= self.widest_mm - SAME_MM {
            return self.loading_n_per_mm(radius_mm);
        }
        let kept_mm = self.kept_mm();
        let share = (radius_mm - kept_mm) / (self.widest_mm - kept_mm);
        self.loading_n_per_mm(self.widest_mm) * share.max(0.0)
    }

    /// Energy per length between two radii, the smaller one first, N: Simpson's rule between the places where the
    /// law turns, which is exact for straight lines.
    fn energy_n(&self, from_mm: f64, to_mm: f64) -> f64 {
        let (from_mm, to_mm) = (from_mm.max(self.open_mm()), to_mm.max(self.open_mm()));
        let mut cuts = vec![from_mm, to_mm];
        let turns = [0.5 * self.bed.healthy_mm, self.kept_mm(), self.widest_mm];
        let between = |r: &f64| *r > from_mm.min(to_mm) && *r < from_mm.max(to_mm);
        cuts.extend(turns.into_iter().filter(between));
        cuts.sort_by(f64::total_cmp);
        let part = |pair: &[f64]| {
            let [a, b] = [pair[0], pair[1]];
            let middle = self.at_n_per_mm(0.5 * (a + b));
            (b - a) / 6.0 * (self.at_n_per_mm(a) + 4.0 * middle + self.at_n_per_mm(b))
        };
        cuts.windows(2).map(part).sum()
    }
}

impl std::fmt::Debug for Passed<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Passed")
            .field("within_mm", &self.within_mm)
            .finish_non_exhaustive()
    }
}

impl Squeeze<'_> {
    /// What a device meets where it is.
    ///
    /// With `q` the radial force per length, over all of the circumference, and `U` its integral over the
    /// radius: a stretch of even width `mu q` per length, a cone of half-angle `theta` that opens
    /// `U (1 + mu cot theta)`, one behind which plaque springs back `-U (1 - mu cot theta)` with the part of `U` that
    /// comes back, a step as a cone of 45 degrees, free ends of even stretches `0.76 sqrt(R t)` of length each.
    ///
    /// # Validity
    /// Quasi-static, the device straight in the lesion and round. A step is no cone: it may stop at the plaque, and
    /// [`Squeezed::ledge_mm`] says how high it is. Rigid rings are not widened: what is wider than they are does not
    /// pass, and nothing is told of them here.
    ///
    /// # References
    /// Derived from the balance of work; radial law: [`PlaqueLaw`].
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] for a profile without knots, out of order, or a value that is not finite.
    pub fn meet(
        &self,
        device: &Passage<'_>,
        vessel: &Passed<'_>,
    ) -> Result<Squeezed, MechanicsError> {
        check(self, device)?;
        let passing = Passing {
            squeeze: self,
            device,
            vessel,
        };
        let profile = device.profile;
        let mut found = Squeezed::default();
        passing.tip(&mut found);
        let last = PassingKnot {
            from_front_mm: f64::INFINITY,
            ..profile[profile.len() - 1]
        };
        let next = profile[1..].iter().chain(std::iter::once(&last));
        let mut even_before = false;
        for (i, (near, far)) in profile.iter().zip(next).enumerate() {
            even_before = passing.stretch(i, [*near, *far], even_before, &mut found);
        }
        Ok(found)
    }
}

/// A device on its way.
struct Passing<'a> {
    squeeze: &'a Squeeze<'a>,
    device: &'a Passage<'a>,
    vessel: &'a Passed<'a>,
}

impl Passing<'_> {
    /// A station once the device stands there, or has been there.
    fn meeting(&self, s_mm: f64) -> Meeting<'_> {
        self.met_by(
            s_mm,
            widest_mm(self.device.profile, self.device.furthest_mm - s_mm),
        )
    }

    /// A station where nothing of the device wider than a radius (mm) has been.
    fn met_by(&self, s_mm: f64, widest_mm: f64) -> Meeting<'_> {
        Meeting {
            law: self.squeeze.law,
            bed: (self.vessel.bed)(s_mm),
            widest_mm: (widest_mm.max(self.vessel.opened_mm)).max((self.vessel.carried_mm)(s_mm)),
        }
    }

    fn in_sight(&self, s_mm: f64) -> bool {
        (self.vessel.within_mm[0]..=self.vessel.within_mm[1]).contains(&s_mm)
    }

    fn friction(&self) -> f64 {
        self.squeeze.friction
    }

    /// The front itself: a step from what it rides on.
    fn tip(&self, found: &mut Squeezed) {
        let s_mm = self.device.front_mm;
        if self.in_sight(s_mm) {
            let radii_mm = [
                (self.vessel.carried_mm)(s_mm),
                self.device.profile[0].radius_mm,
            ];
            self.step(radii_mm, 0.0, s_mm, found);
        }
    }

    /// A step between two radii, the front one first, behind what was as wide as `before_mm`, mm.
    fn step(&self, [front_mm, rear_mm]: [f64; 2], before_mm: f64, s_mm: f64, found: &mut Squeezed) {
        let (thin_mm, thick_mm) = (front_mm.min(rear_mm), front_mm.max(rear_mm));
        let meeting = if self.device.furthest_mm - self.device.front_mm < SAME_MM {
            self.met_by(s_mm, before_mm.max(front_mm))
        } else {
            self.meeting(s_mm)
        };
        if meeting.bed.rigid || thick_mm <= (self.vessel.carried_mm)(s_mm) {
            return;
        }
        let energy_n = meeting.energy_n(thin_mm, thick_mm);
        let end_n = self.free_end_n(&meeting, thick_mm);
        let turned_n = if (rear_mm > front_mm) == (self.device.way == Way::Forward) {
            let bare_mm = thick_mm - thin_mm.max(meeting.open_mm());
            found.ledge_mm = found.ledge_mm.max(bare_mm);
            let opening_n = energy_n * (1.0 + self.friction());
            found.opening_n += opening_n;
            opening_n
        } else {
            let leaving_n = -energy_n * (1.0 - self.friction());
            found.leaving_n += leaving_n;
            leaving_n
        };
        found.along_n += end_n;
        found.add(s_mm, turned_n + end_n);
    }

    /// Friction of the tube beyond the end of an even stretch of a radius, N.
    fn free_end_n(&self, meeting: &Meeting<'_>, radius_mm: f64) -> f64 {
        let beyond_mm = FREE_END * (radius_mm * self.squeeze.wall_mm).sqrt();
        self.friction() * meeting.at_n_per_mm(radius_mm) * beyond_mm
    }

    /// A stretch between two knots; whether it is of even width.
    fn stretch(
        &self,
        knot: usize,
        [near, far]: [PassingKnot; 2],
        even_before: bool,
        found: &mut Squeezed,
    ) -> bool {
        let (from_mm, to_mm) = (
            (self.device.front_mm - far.from_front_mm).max(self.vessel.within_mm[0]),
            (self.device.front_mm - near.from_front_mm).min(self.vessel.within_mm[1]),
        );
        let change_mm = far.radius_mm - near.radius_mm;
        let even = change_mm.abs() < SAME_MM;
        let place_mm = self.device.front_mm - near.from_front_mm;
        let in_sight = self.in_sight(place_mm);
        if far.from_front_mm - near.from_front_mm < SAME_MM {
            if in_sight && !even {
                let before = self.device.profile[..=knot].iter().map(|k| k.radius_mm);
                let radii_mm = [near.radius_mm, far.radius_mm];
                self.step(radii_mm, before.fold(0.0, f64::max), place_mm, found);
            }
            // its free end is counted with the step
            return even_before;
        }
        // where an even stretch meets a cone
        if in_sight && even != even_before && near.from_front_mm > 0.0 {
            let bears = near.radius_mm >= (self.vessel.carried_mm)(place_mm);
            let end_n = if bears {
                self.free_end_n(&self.meeting(place_mm), near.radius_mm)
            } else {
                0.0
            };
            found.along_n += end_n;
            found.add(place_mm, end_n);
        }
        if to_mm <= from_mm {
            return even;
        }
        let slope = if even {
            0.0
        } else {
            change_mm / (far.from_front_mm - near.from_front_mm)
        };
        let radius_at = |s_mm: f64| near.radius_mm + slope * (place_mm - s_mm);
        let cells = ((to_mm - from_mm) / CELL_MM).ceil().max(1.0);
        let cell_mm = (to_mm - from_mm) / cells;
        let mut i = 0.0;
        while i < cells {
            let low_mm = from_mm + i * cell_mm;
            self.cell([low_mm, low_mm + cell_mm], slope, &radius_at, found);
            i += 1.0;
        }
        even
    }

    /// A short cell between two stations, by Simpson's rule.
    fn cell(
        &self,
        [low_mm, high_mm]: [f64; 2],
        slope: f64,
        radius_at: &dyn Fn(f64) -> f64,
        found: &mut Squeezed,
    ) {
        let at = |s_mm: f64| {
            let meeting = self.meeting(s_mm);
            let rigid = meeting.bed.rigid;
            let radius_mm = radius_at(s_mm);
            // where the rail is the wider of both, plaque rests on it
            let bears = radius_mm >= (self.vessel.carried_mm)(s_mm);
            if rigid || !bears {
                0.0
            } else {
                meeting.at_n_per_mm(radius_mm)
            }
        };
        let middle_mm = 0.5 * (low_mm + high_mm);
        let q_n = (high_mm - low_mm) / 6.0 * (at(low_mm) + 4.0 * at(middle_mm) + at(high_mm));
        let rubs_n = self.friction() * q_n;
        let towards = match self.device.way {
            Way::Forward => slope,
            Way::Back => -slope,
        };
        if towards > 0.0 {
            found.opening_n += q_n * towards + rubs_n;
        } else if towards < 0.0 {
            found.leaving_n += q_n * towards + rubs_n;
        } else {
            found.along_n += rubs_n;
        }
        found.add(middle_mm, q_n * towards + rubs_n);
    }
}

/// Widest of a profile between its front and a distance behind it, mm; zero before the front.
fn widest_mm(profile: &[PassingKnot], from_front_mm: f64) -> f64 {
    if from_front_mm < 0.0 {
        return 0.0;
    }
    let passed = profile.partition_point(|k| k.from_front_mm <= from_front_mm);
    let mut widest_mm = profile[..passed]
        .iter()
        .map(|k| k.radius_mm)
        .fold(0.0, f64::max);
    if let (Some(near), Some(far)) = (profile[..passed].last(), profile.get(passed)) {
        let share = (from_front_mm - near.from_front_mm) / (far.from_front_mm - near.from_front_mm);
        widest_mm = widest_mm.max(near.radius_mm + share * (far.radius_mm - near.radius_mm));
    }
    widest_mm
}

fn check(squeeze: &Squeeze<'_>, device: &Passage<'_>) -> Result<(), MechanicsError> {
    let (profile, front_mm, furthest_mm) = (device.profile, device.front_mm, device.furthest_mm);
    let refuse = |what: &str, found: f64, needed: Allowed| {
        Err(MechanicsError::OutOfRange {
            what: what.into(),
            found,
            needed,
        })
    };
    if profile.is_empty() {
        return refuse(
            "profile",
            0.0,
            Allowed::in_words("at least one knot").at_least(1.0),
        );
    }
    for knot in profile {
        if !(knot.radius_mm > 0.0 && knot.radius_mm.is_finite()) {
            return refuse("profile.radius_mm", knot.radius_mm, Allowed::POSITIVE);
        }
    }
    let ordered = profile
        .windows(2)
        .all(|p| p[0].from_front_mm <= p[1].from_front_mm);
    if !(ordered && profile[0].from_front_mm.abs() <= 0.0) {
        return refuse(
            "profile.from_front_mm",
            profile[0].from_front_mm,
            Allowed::in_words("from 0 on, in order").at_least(0.0),
        );
    }
    for (what, found) in [("friction", squeeze.friction), ("wall_mm", squeeze.wall_mm)] {
        if !(found >= 0.0 && found.is_finite()) {
            return refuse(what, found, Allowed::NOT_NEGATIVE);
        }
    }
    if !(front_mm.is_finite() && furthest_mm >= front_mm) {
        return refuse(
            "furthest_mm",
            furthest_mm,
            Allowed::in_words("not before the front").at_least(front_mm),
        );
    }
    Ok(())
}
