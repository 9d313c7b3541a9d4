//! A stack of devices in one tube: who holds whom, and what follows from where the tips are.

use super::moving::{ForceAt, Moving};
use crate::math;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::scene::{
    Beside, Container, ContainerStretch, End, MOST_RODS, Rod, TubeStation,
};
use crate::units::Allowed;

/// How a device's depth is given.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Drive {
    /// Feed until the tip is at this arc length of the centre line, mm.
    Tip(f64),
    /// Inserted length: so much of it lies beyond station 0, mm, along itself. The tip follows.
    Inserted(f64),
    /// It runs on through the exit plane, where its distal end is.
    Through,
}

/// A device of a stack.
///
/// End, containers and load of the rod are set by the solve; what they hold before does not
/// matter.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct StackDevice {
    /// Its mechanics.
    pub rod: Rod,
    /// How far it is in.
    pub drive: Drive,
}

impl StackDevice {
    /// A device of this rod, so far in.
    #[must_use]
    pub const fn new(rod: Rod, drive: Drive) -> Self {
        Self { rod, drive }
    }
}

/// One device inside another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Containment {
    /// Index of the device inside.
    pub inner: usize,
    /// Index of the one around it.
    pub outer: usize,
    /// The lumen reaches from the outer one's tip to this distance along it, mm: its port. Infinite:
    /// to the hub. Behind a port the two lie side by side.
    pub to_from_tip_mm: f64,
}

impl Containment {
    /// Over the whole length of the outer one.
    #[must_use]
    pub const fn coaxial(inner: usize, outer: usize) -> Self {
        Self {
            inner,
            outer,
            to_from_tip_mm: f64::INFINITY,
        }
    }
}

/// Coefficient of friction, >= 0, of the moving device (its index) on another device (its index) or on the vessel (none).
pub type FrictionOf<'a> = &'a dyn Fn(usize, Option<usize>) -> f64;

/// A stack in one tube: what [`StackSolver::solve`](crate::mechanics::StackSolver::solve) is asked.
///
/// Put together by [`StackProblem::new`] and the methods that follow; checked where it is solved.
#[derive(Clone, Copy)]
#[non_exhaustive]
pub struct StackProblem<'a> {
    /// The tube, `[stations]`, in order, at least 4.
    pub tube: &'a [TubeStation],
    /// The devices, `[devices]`, 1 to [`MOST_RODS`].
    pub devices: &'a [StackDevice],
    /// Which of them lies in which other one, `[pairs]`.
    pub containments: &'a [Containment],
    /// Coefficients of friction.
    pub friction: FrictionOf<'a>,
    /// The device that slides while the others are held at their hubs; none: nothing does.
    pub moving: Option<Moving>,
    /// What else holds it back along its way, `[places]`.
    pub resistance: Resistance<'a>,
}

/// Axial forces on the device that slides, against its motion: what lesions ask of it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Resistance<'a> {
    /// By station of the centre line, in any order, `[places]`; negative ones drive the device on.
    pub at: &'a [ForceAt],
    /// Share of them that acts, 0 to 1.
    pub(crate) share: f64,
}

impl<'a> Resistance<'a> {
    /// All of these forces.
    #[must_use]
    pub const fn new(at: &'a [ForceAt]) -> Self {
        Self { at, share: 1.0 }
    }

    /// A share of them.
    pub(crate) const fn times(self, share: f64) -> Self {
        Self {
            share: self.share * share,
            ..self
        }
    }
}

/// The default of [`StackProblem::friction`].
fn frictionless(_moving: usize, _other: Option<usize>) -> f64 {
    0.0
}

impl<'a> StackProblem<'a> {
    /// Devices in a tube, none in another one, at rest and without friction; the methods below add to it.
    /// `tube`: shape `[stations]`, at least 4; `devices`: shape `[devices]`, 1 to [`MOST_RODS`].
    #[must_use]
    pub fn new(tube: &'a [TubeStation], devices: &'a [StackDevice]) -> Self {
        Self {
            tube,
            devices,
            containments: &[],
            friction: &frictionless,
            moving: None,
            resistance: Resistance::new(&[]),
        }
    }

    /// Which of them lies in which other one, shape `[pairs]`.
    #[must_use]
    pub const fn with_containments(self, containments: &'a [Containment]) -> Self {
        Self {
            containments,
            ..self
        }
    }

    /// Coefficients of friction, >= 0: of the moving device (first argument, its index) on another one (second), or
    /// on the tube (none).
    ///
    /// The problem borrows the function. One that captures something needs a name of its own that lives as long
    /// (`let rubs = |_: usize, _: Option<usize>| mu;`, then `.with_friction(&rubs)`); one that captures nothing may
    /// stand in the call.
    #[must_use]
    pub const fn with_friction(self, friction: FrictionOf<'a>) -> Self {
        Self { friction, ..self }
    }

    /// Axial forces that hold the device that slides back, by station of the centre line, shape `[places]`.
    #[must_use]
    pub const fn with_resistance(self, at: &'a [ForceAt]) -> Self {
        Self {
            resistance: Resistance::new(at),
            ..self
        }
    }

    /// The device that slides.
    #[must_use]
    pub const fn with_moving(self, moving: Moving) -> Self {
        Self {
            moving: Some(moving),
            ..self
        }
    }
}

impl std::fmt::Debug for StackProblem<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("StackProblem")
            .field("stations", &self.tube.len())
            .field("devices", &self.devices)
            .field("containments", &self.containments)
            .field("moving", &self.moving)
            .field("resistance", &self.resistance)
            .finish_non_exhaustive()
    }
}

/// Shortest stretch of a container, mm: shorter ones carry nothing and make empty cells.
const SHORTEST_MM: f64 = 1e-6;

/// Length of a side port, mm: a rail leaves its rider through a slanted opening, so that the two lie
/// neither in nor beside each other over this length. From memory: skived ports are 5 to 15 mm long.
const PORT_MM: f64 = 12.0;

/// A containment between rods that are present, with its port as a span of centre line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RodContainment {
    pub(crate) inner: usize,
    pub(crate) outer: usize,
    pub(crate) to_from_tip_mm: f64,
    /// Centre line between the outer one's tip and its port, mm.
    pub(crate) span_mm: f64,
}

/// Memory for laying out stacks.
#[derive(Debug, Clone, Default)]
pub(crate) struct Arrangement {
    cuts: Vec<f64>,
    pub(crate) beside: Vec<Beside>,
}

/// Who contains whom, for tips at these arc lengths of the centre line, mm.
#[derive(Clone, Copy)]
struct Nest<'a> {
    containments: &'a [RodContainment],
    ends: &'a [f64],
}

impl Nest<'_> {
    /// Arc length of the centre line at a port, mm.
    fn port_mm(&self, containment: &RodContainment) -> f64 {
        self.ends[containment.outer] - containment.span_mm
    }

    /// Whether a rod reaches an arc length.
    fn reaches(&self, k: usize, s_mm: f64) -> bool {
        s_mm < self.ends[k]
    }

    /// Whether a containment holds at an arc length.
    fn holds_at(&self, containment: &RodContainment, s_mm: f64) -> bool {
        self.reaches(containment.outer, s_mm)
            && self.reaches(containment.inner, s_mm)
            && s_mm > self.port_mm(containment)
    }

    /// What rod `k` lies in at an arc length: of all that contain it the one that contains no other of them.
    fn container_at(&self, k: usize, s_mm: f64) -> Container {
        let all = || self.containments.iter().filter(|c| self.holds_at(c, s_mm));
        let around = || all().filter(|c| c.inner == k);
        let contains =
            |outer: usize, inner: usize| all().any(|c| c.outer == outer && c.inner == inner);
        let innermost = around().find(|c| !around().any(|other| contains(c.outer, other.outer)));
        innermost.map_or(Container::Vessel, |c| Container::Rod(c.outer))
    }

    /// Whether one of a pair leaves the other through its port at an arc length.
    fn parts_at(&self, [a, b]: [usize; 2], s_mm: f64) -> bool {
        self.containments.iter().any(|c| {
            let port_mm = self.port_mm(c);
            let pair = [c.inner, c.outer];
            pair.contains(&a) && pair.contains(&b) && s_mm > port_mm - PORT_MM && s_mm < port_mm
        })
    }
}

impl Arrangement {
    /// Sets ends, containers and neighbours for tips at `ends` (arc lengths of the centre line,
    /// mm; that of a rod through the exit plane is the last station's).
    pub(crate) fn set(
        &mut self,
        tube: &[TubeStation],
        (ends, through): (&[f64], &[bool]),
        containments: &[RodContainment],
        rods: &mut [Rod],
    ) {
        let Some(first) = tube.first().map(|t| t.s_mm) else {
            return;
        };
        let nest = Nest { containments, ends };
        self.cut(nest, first);
        self.beside.clear();
        for rod in rods.iter_mut() {
            rod.containers.clear();
        }
        let cuts = std::mem::take(&mut self.cuts);
        for piece in cuts.windows(2) {
            let inside = add_containers(nest, (piece[0], piece[1]), rods);
            self.add_beside(nest, (piece[0], piece[1]), &inside[..rods.len()]);
        }
        self.cuts = cuts;
        for (k, rod) in rods.iter_mut().enumerate() {
            close_containers(nest, k, rod);
            rod.end = match TubeStation::at(tube, ends[k]) {
                Some(tip) if !through[k] => End::Tip(tip),
                _ => End::ExitPlane,
            };
        }
    }

    /// Where containers or neighbours may change, mm.
    fn cut(&mut self, nest: Nest<'_>, first: f64) {
        let furthest = nest.ends.iter().copied().fold(first, f64::max);
        self.cuts.clear();
        self.cuts.extend_from_slice(nest.ends);
        let ports = nest.containments.iter().flat_map(|c| {
            let port_mm = nest.port_mm(c);
            [port_mm, port_mm - PORT_MM]
        });
        self.cuts
            .extend(ports.filter(|s| *s > first && *s < furthest));
        self.cuts.push(first);
        self.cuts.sort_by(f64::total_cmp);
        self.cuts.dedup_by(|b, a| *b - *a < SHORTEST_MM);
    }

    /// Lists who lies beside whom on a piece, or lets pairs that were open go on.
    fn add_beside(&mut self, nest: Nest<'_>, (from_mm, to_mm): (f64, f64), inside: &[Container]) {
        let middle = 0.5 * (from_mm + to_mm);
        for b in 1..inside.len() {
            for a in 0..b {
                let both = nest.reaches(a, middle) && nest.reaches(b, middle);
                let nested = inside[a] == Container::Rod(b) || inside[b] == Container::Rod(a);
                let parting = nest.parts_at([a, b], middle);
                if !both || nested || parting || inside[a] != inside[b] {
                    continue;
                }
                let open = self
                    .beside
                    .iter_mut()
                    .find(|p| p.rods == [a, b] && (p.to_mm - from_mm).abs() < SHORTEST_MM);
                match open {
                    Some(pair) => pair.to_mm = to_mm,
                    None => self.beside.push(Beside {
                        rods: [a, b],
                        from_mm,
                        to_mm,
                        side_rad: side_rad(a, b),
                    }),
                }
            }
        }
    }
}

/// Adds what every rod lies in on a piece, and tells it.
fn add_containers(
    nest: Nest<'_>,
    (from_mm, to_mm): (f64, f64),
    rods: &mut [Rod],
) -> [Container; MOST_RODS] {
    let middle = 0.5 * (from_mm + to_mm);
    let mut inside = [Container::Vessel; MOST_RODS];
    for (k, rod) in rods.iter_mut().enumerate() {
        // the last piece may end a little before a tip that was merged into its neighbour
        if !nest.reaches(k, middle) {
            continue;
        }
        inside[k] = nest.container_at(k, middle);
        match rod.containers.last_mut() {
            Some(last) if last.container == inside[k] => last.to_mm = to_mm,
            _ => rod.containers.push(ContainerStretch {
                from_mm,
                to_mm,
                container: inside[k],
            }),
        }
    }
    inside
}

/// Lets a rod's last container reach to its end.
fn close_containers(nest: Nest<'_>, k: usize, rod: &mut Rod) {
    let ends = nest.ends;
    let Some(last) = rod.containers.last_mut() else {
        return;
    };
    match last.container {
        Container::Rod(j) if ends[k] > ends[j] => {
            // two tips merged above: the outer one's is a breath behind
            last.to_mm = ends[j];
            rod.containers.push(ContainerStretch {
                from_mm: ends[j],
                to_mm: f64::INFINITY,
                container: nest.container_at(k, 0.5 * (ends[j] + ends[k])),
            });
        }
        _ => last.to_mm = f64::INFINITY,
    }
}

/// Where siblings start from each other: as if each stood at its own corner of a hexagon, so that
/// any number of them parts in different directions.
fn side_rad(a: usize, b: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "at most six rods")]
    let place = |k: usize| {
        let at = k as f64 * std::f64::consts::TAU / MOST_RODS as f64;
        (math::cos(at), math::sin(at))
    };
    let ((ax, ay), (bx, by)) = (place(a), place(b));
    math::atan2(by - ay, bx - ax)
}

/// Refuses stacks that cannot be.
pub(crate) fn check(problem: &StackProblem<'_>) -> Result<(), MechanicsError> {
    let (devices, holds) = (problem.devices, problem.containments);
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    if devices.is_empty() || devices.len() > MOST_RODS {
        return Err(MechanicsError::OutOfRange {
            what: "number of devices".into(),
            found: devices.len() as f64,
            needed: Allowed::in_words("1 to 6")
                .at_least(1.0)
                .at_most(MOST_RODS as f64),
        });
    }
    for (k, device) in devices.iter().enumerate() {
        let (what, value) = match device.drive {
            Drive::Tip(s) => ("Tip", s),
            Drive::Inserted(l) => ("Inserted", l),
            Drive::Through => continue,
        };
        if !value.is_finite() {
            return Err(MechanicsError::OutOfRange {
                what: format!("devices[{k}].drive.{what}"),
                found: value,
                needed: Allowed::FINITE,
            });
        }
    }
    for (i, hold) in holds.iter().enumerate() {
        let bad = |why: String, mend| {
            Err(MechanicsError::BadContainer {
                what: format!("holds[{i}]"),
                why,
                mend,
            })
        };
        let (k, j) = (hold.inner, hold.outer);
        if k == j || k.max(j) >= devices.len() {
            let why = format!("{k} and {j} must be two different devices of the stack");
            return bad(why, None);
        }
        if devices[j].rod.inner_mm.is_none() {
            let why = format!("device {j} has no lumen");
            return bad(why, Some("give it an inner diameter"));
        }
        if hold.to_from_tip_mm.is_nan() || hold.to_from_tip_mm <= 0.0 {
            let found = hold.to_from_tip_mm;
            let why = format!("to_from_tip_mm is {found}, must be > 0 (infinite: to the hub)");
            return bad(why, None);
        }
        if holds.iter().any(|h| h.inner == j && h.outer == k) {
            let why = format!("{k} and {j} hold each other");
            return bad(why, Some("remove one of the two"));
        }
    }
    Ok(())
}

/// Centre line between the tip and the place `from_tip_mm` along a rod with these nodes.
pub(crate) fn span_of(station_mm: &[f64], from_tip_mm: &[f64], distance_mm: f64) -> f64 {
    let Some(tip) = station_mm.last() else {
        return distance_mm;
    };
    // distances fall along the list
    let i = from_tip_mm.partition_point(|d| *d > distance_mm);
    match (i.checked_sub(1), from_tip_mm.get(i)) {
        (Some(b), Some(near)) => {
            let part = (distance_mm - near) / (from_tip_mm[b] - near);
            tip - (station_mm[i] + (station_mm[b] - station_mm[i]) * part)
        }
        (None, Some(_)) => f64::INFINITY,
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Frame, Point, Vector};
    use crate::mechanics::Profile;

    fn tube() -> Vec<TubeStation> {
        let start = Frame::new(Point::origin(), Vector::x(), Vector::y());
        (0..=100)
            .map(|i| TubeStation {
                s_mm: f64::from(i),
                frame: start.along_arc(f64::from(i), 0.0, 0.0),
                radius_mm: 5.0,
                wall_stiffness_n_per_mm2: 10.0,
            })
            .collect()
    }

    fn held(inner: usize, outer: usize, span_mm: f64) -> RodContainment {
        RodContainment {
            inner,
            outer,
            to_from_tip_mm: span_mm,
            span_mm,
        }
    }

    fn hollow() -> Rod {
        Rod {
            inner_mm: Some(Profile::constant(0.9)),
            ..Rod::uniform(1.0, 1.0)
        }
    }

    #[test]
    fn exact_rapid_exchange_rider_beside_its_rail() {
        // guide 0 to 60, rider 1 to 80 with its port 30 behind, rail 2 to 90
        let mut rods = vec![hollow(), hollow(), hollow()];
        let inf = f64::INFINITY;
        let holds = [held(1, 0, inf), held(2, 0, inf), held(2, 1, 30.0)];
        let mut layout = Arrangement::default();
        layout.set(
            &tube(),
            (&[60.0, 80.0, 90.0], &[false; 3]),
            &holds,
            &mut rods,
        );
        let of = |k: usize| -> Vec<(f64, f64, Container)> {
            rods[k]
                .containers
                .iter()
                .map(|c| (c.from_mm, c.to_mm, c.container))
                .collect()
        };
        assert_eq!(of(0), vec![(0.0, inf, Container::Vessel)], "guide");
        let rider = vec![
            (0.0, 60.0, Container::Rod(0)),
            (60.0, inf, Container::Vessel),
        ];
        assert_eq!(of(1), rider, "rider");
        let rail = vec![
            (0.0, 50.0, Container::Rod(0)),
            (50.0, 80.0, Container::Rod(1)),
            (80.0, inf, Container::Vessel),
        ];
        assert_eq!(of(2), rail, "rail");
        let beside: Vec<_> = layout
            .beside
            .iter()
            .map(|b| (b.rods, b.from_mm, b.to_mm))
            .collect();
        assert_eq!(
            beside,
            vec![([1, 2], 0.0, 50.0 - PORT_MM)],
            "side by side behind the port"
        );
    }

    #[test]
    fn exact_three_siblings_part_in_three_directions() {
        let mut rods = vec![hollow(), hollow(), hollow(), hollow()];
        let holds = [1, 2, 3].map(|k| held(k, 0, f64::INFINITY));
        let mut layout = Arrangement::default();
        layout.set(
            &tube(),
            (&[60.0, 50.0, 50.0, 80.0], &[false; 4]),
            &holds,
            &mut rods,
        );
        let pairs: Vec<_> = layout.beside.iter().map(|b| (b.rods, b.to_mm)).collect();
        assert_eq!(
            pairs,
            vec![([1, 2], 50.0), ([1, 3], 50.0), ([2, 3], 50.0)],
            "pairs"
        );
        for (i, a) in layout.beside.iter().enumerate() {
            for b in &layout.beside[i + 1..] {
                assert!((a.side_rad - b.side_rad).abs() > 0.1, "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn exact_port_by_the_rods_own_length() {
        let station = [0.0, 10.0, 20.0, 30.0];
        let from_tip = [33.0, 22.0, 11.0, 0.0];
        assert!(
            (span_of(&station, &from_tip, 16.5) - 15.0).abs() < 1e-12,
            "inside"
        );
        assert!(
            span_of(&station, &from_tip, 40.0).is_infinite(),
            "outside the patient"
        );
    }
}
