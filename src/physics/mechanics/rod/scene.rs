//! What an equilibrium is asked of: a tube by stations, rods, and who lies where.

use super::profile::Profile;
use crate::geometry::{self, Frame, Track, Vector};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::linear_algebra::small_dense::MOST_UNKNOWNS;
use crate::units::Allowed;

/// Most rods in one scene: a long sheath, guide, aspiration catheter, microcatheter, stent system
/// and rail are six; the solver's small dense parts are sized for it.
pub const MOST_RODS: usize = MOST_UNKNOWNS;

/// Shortest rod, in stations: with fewer the bending stencil at the tip reaches behind the start.
pub(crate) const FEWEST_CELLS: f64 = 2.7;

/// One station of the tube.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TubeStation {
    /// Arc length of the centre line from the start, mm.
    pub s_mm: f64,
    /// Centre, unit tangent and twist-free normals.
    pub frame: Frame,
    /// Lumen radius, mm.
    pub radius_mm: f64,
    /// Radial stiffness of the wall, N per mm of length per mm of indentation.
    pub wall_stiffness_n_per_mm2: f64,
}

impl From<&geometry::Station> for TubeStation {
    fn from(station: &geometry::Station) -> Self {
        Self {
            s_mm: station.s_mm,
            frame: station.frame,
            radius_mm: station.radius_mm,
            wall_stiffness_n_per_mm2: station.wall_stiffness_n_per_mm2,
        }
    }
}

impl TubeStation {
    /// The tube along a track, shape `[track.stations.len()]`: one station for each of the track's, at its arc length,
    /// with its lumen (lesions included) and its wall.
    ///
    /// At least four are needed to solve anything: choose the track's spacing accordingly.
    ///
    /// ```
    /// use nestline_physics::geometry::{Point, Track};
    /// use nestline_physics::mechanics::TubeStation;
    /// let points = [0.0, 30.0, 60.0].map(|x| Point::new(x, 0.0, 0.0));
    /// let track = Track::through_points(&points, &[2.0, 2.0, 1.0], 10.0, 1.0)?;
    /// let tube = TubeStation::along(&track);
    /// assert_eq!(tube.len(), 61);
    /// assert!((tube[45].radius_mm - 1.5).abs() < 1e-9); // halfway from 2 mm at 30 to 1 mm at 60
    /// # Ok::<(), nestline_physics::geometry::GeometryError>(())
    /// ```
    #[must_use]
    pub fn along(track: &Track) -> Vec<Self> {
        track.stations.iter().map(Self::from).collect()
    }

    /// The tube between two stations, `part` (0 to 1) of the way from `a` to `b`.
    ///
    /// The centre runs on the cubic through both centres with both tangents (fourth order in the
    /// spacing), the normals are interpolated and made orthonormal (second order, without twist to
    /// that order); radius and stiffness are linear.
    #[must_use]
    pub fn between(a: &Self, b: &Self, part: f64) -> Self {
        let t = part;
        let chord = b.frame.origin_mm - a.frame.origin_mm;
        // tangents scaled by the arc, not the chord: they are unit by arc length
        let arc = b.s_mm - a.s_mm;
        let (ta, tb) = (a.frame.tangent * arc, b.frame.tangent * arc);
        let t2 = t * t;
        let t3 = t2 * t;
        let origin_mm = a.frame.origin_mm
            + ta * (t3 - 2.0 * t2 + t)
            + tb * (t3 - t2)
            + chord * (3.0 * t2 - 2.0 * t3);
        let slope =
            ta * (3.0 * t2 - 4.0 * t + 1.0) + tb * (3.0 * t2 - 2.0 * t) + chord * (6.0 * (t - t2));
        let linear = |x: f64, y: f64| x + (y - x) * t;
        Self {
            s_mm: linear(a.s_mm, b.s_mm),
            frame: Frame::new(origin_mm, slope, a.frame.n1 + (b.frame.n1 - a.frame.n1) * t),
            radius_mm: linear(a.radius_mm, b.radius_mm),
            wall_stiffness_n_per_mm2: linear(
                a.wall_stiffness_n_per_mm2,
                b.wall_stiffness_n_per_mm2,
            ),
        }
    }

    /// The tube, `[stations]`, at an arc length, mm, between its stations (clamped to its ends); none without stations.
    #[must_use]
    pub fn at(tube: &[Self], s_mm: f64) -> Option<Self> {
        let i = tube.partition_point(|t| t.s_mm <= s_mm);
        match (i.checked_sub(1).and_then(|j| tube.get(j)), tube.get(i)) {
            (Some(a), Some(b)) => Some(Self::between(a, b, (s_mm - a.s_mm) / (b.s_mm - a.s_mm))),
            (Some(only), None) | (None, Some(only)) => Some(*only),
            (None, None) => None,
        }
    }
}

/// How a rod is held at station 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StartSupport {
    /// On the centre line and tangent to it.
    Clamped,
    /// On the centre line, free to turn.
    Pinned,
    /// Only by the wall.
    Free,
}

/// Where a rod ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum End {
    /// It runs through the last station's plane, where nothing holds it.
    ExitPlane,
    /// A free tip in this plane; any arc length from 2.7 cells to the last station. The tube
    /// here comes from the caller, so that it can be the exact one
    /// ([`TubeStation::at`] interpolates).
    Tip(TubeStation),
}

/// The configurational load `tau = T + M kappa - M²/(2B)` of a rod (N, negative pushes): the axial
/// force `T` where the rod is straight.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum AxialLoad {
    /// The same at every station, whatever the stiffness does.
    Uniform(f64),
    /// By station, N, `[stations]`; linear between stations.
    ByStation(Vec<f64>),
    /// A rod without friction on which this load acts at its distal end: constant where the
    /// stiffness is, `d tau = M²/2 d(1/B) + M d(kappa0)` along the rod where it is not.
    Frictionless(f64),
    /// As [`Self::Frictionless`], with a spring at the hub as in [`Self::HubHeld`].
    FrictionlessHubHeld {
        /// Load at the distal end, N.
        tip_n: f64,
        /// As in [`Self::HubHeld`], N/mm.
        spring_n_per_mm: f64,
        /// As in [`Self::HubHeld`], mm.
        rest_mm: f64,
    },
    /// A rod held at its hub, with the load that acts at station 0 and what friction has added up
    /// to each station from there, one value each; linear between stations. Stiffness and natural
    /// curvature that change along the rod add theirs by themselves.
    HubHeld {
        /// Load by station, N, `[stations]`.
        load_n: Vec<f64>,
        /// Stiffness of the spring at the hub: the load grows by this much for every mm by which the rod's
        /// length from station 0 to its end exceeds `rest_mm`, N/mm. Zero: the hub follows freely,
        /// and a rod that would buckle under its load does.
        spring_n_per_mm: f64,
        /// Length at which that spring carries nothing, mm.
        rest_mm: f64,
    },
}

/// Roll of a natural curvature, measured from the tube's first normal towards its second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Roll {
    /// Held by the operator's torque.
    Fixed(f64),
    /// Free to turn, found from this start.
    Free(f64),
}

/// A natural (pre-shaped) bend at the tip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NaturalBend {
    /// Length of the bent stretch, from the tip, mm.
    pub length_mm: f64,
    /// Its curvature at rest, 1/mm.
    pub curvature_per_mm: f64,
    /// Its plane.
    pub roll: Roll,
}

/// What a rod lies in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Container {
    /// The vessel.
    Vessel,
    /// The lumen of the rod with this index.
    Rod(usize),
}

/// A stretch of stations over which a rod's container stays the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ContainerStretch {
    /// From this arc length, mm.
    pub from_mm: f64,
    /// To this one, mm; infinite means to the rod's end.
    pub to_mm: f64,
    /// What it lies in.
    pub container: Container,
}

/// Two rods side by side in one container.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// Their indices.
    pub rods: [usize; 2],
    /// From this arc length, mm.
    pub from_mm: f64,
    /// To this one, mm.
    pub to_mm: f64,
    /// Direction in which the second one starts from the first, rad from the first normal.
    pub side_rad: f64,
}

/// An elastic rod, straight at rest but for its tip, free of twist.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Rod {
    /// Bending stiffness, N mm2, by distance from its tip along itself.
    pub stiffness_n_mm2: Profile,
    /// Outer diameter, mm.
    pub outer_mm: Profile,
    /// Lumen, mm, where it has one.
    pub inner_mm: Option<Profile>,
    /// Pre-shaped tip.
    pub natural: Option<NaturalBend>,
    /// How it is held at station 0.
    pub start: StartSupport,
    /// Where it ends.
    pub end: End,
    /// Its configurational load.
    pub load: AxialLoad,
    /// Transverse load, N per mm of its length, fixed in space; of it the part normal to the rod
    /// acts (the part along it belongs to the axial load).
    pub line_load_n_per_mm: Vector,
    /// Dead load on its last node, N, fixed in space.
    pub tip_force_n: Vector,
    /// Gives way to what it lies in, as an open retriever does: where it is wider than a lumen around it,
    /// it lies in the middle of that. Other rods are refused there. Beside another rod it counts with its thinnest
    /// part.
    pub yields: bool,
    /// Axial stiffness `EA`, N; none: it does not stretch. Paths know it
    /// ([`StackPath`](crate::mechanics::StackPath)); an equilibrium for itself needs no lengths of material.
    pub axial_stiffness_n: Option<f64>,
    /// Where it runs through the last station's plane: whether it is held on the centre line there, free to turn.
    pub exits_on_axis: bool,
    /// What it lies in, from station 0 to its end without gaps. Empty: all in the vessel.
    pub containers: Vec<ContainerStretch>,
}

impl Rod {
    /// A uniform rod from a clamped start through the exit plane, in the vessel, without loads: of bending stiffness
    /// (N mm², > 0) and outer diameter (mm, > 0). Not checked here: [`Rod::builder`] is.
    #[must_use]
    pub fn uniform(stiffness_n_mm2: f64, outer_mm: f64) -> Self {
        Self {
            stiffness_n_mm2: Profile::constant(stiffness_n_mm2),
            outer_mm: Profile::constant(outer_mm),
            inner_mm: None,
            natural: None,
            start: StartSupport::Clamped,
            end: End::ExitPlane,
            load: AxialLoad::Frictionless(0.0),
            line_load_n_per_mm: Vector::zeros(),
            tip_force_n: Vector::zeros(),
            yields: false,
            axial_stiffness_n: None,
            exits_on_axis: false,
            containers: Vec::new(),
        }
    }

    /// Whether its stiffness or its natural curvature changes along it.
    pub(crate) fn changes_along(&self) -> bool {
        !self.stiffness_n_mm2.is_constant() || self.natural.is_some()
    }

    /// Whether something of it is brought to agree with its shape by rounds: a load given at its end, or the
    /// natural angles of a pre-shaped tip. (Held at its hub, all follows at every evaluation.)
    pub(crate) fn goes_by_rounds(&self) -> bool {
        self.frictionless_n().is_some() || self.turns_by_rounds()
    }

    /// Load at its distal end where it is without friction and its hub free, N.
    pub(crate) const fn frictionless_n(&self) -> Option<f64> {
        match self.load {
            AxialLoad::Frictionless(end_n) => Some(end_n),
            _ => None,
        }
    }

    /// Whether its pre-shaped tip is.
    pub(crate) fn turns_by_rounds(&self) -> bool {
        self.natural.is_some() && !matches!(self.load, AxialLoad::HubHeld { .. })
    }

    /// Arc length of the centre line at its end, mm.
    pub(crate) fn end_mm(&self, tube: &[TubeStation]) -> f64 {
        match &self.end {
            End::ExitPlane => tube.last().map_or(0.0, |t| t.s_mm),
            End::Tip(tip) => tip.s_mm,
        }
    }
}

/// Puts every rod of `rods`, `[rods]`, into the nearest rod before it that has a lumen and reaches as far, else into the
/// vessel: the usual coaxial stack, outermost first. Existing containers are replaced. `tube`, `[stations]`, tells where
/// rods end that run through the exit plane.
pub fn nest(tube: &[TubeStation], rods: &mut [Rod]) {
    let ends: Vec<f64> = rods.iter().map(|r| r.end_mm(tube)).collect();
    for k in 0..rods.len() {
        let mut covered = 0.0;
        let mut containers = Vec::new();
        for j in (0..k).rev() {
            let to = ends[j].min(ends[k]);
            if rods[j].inner_mm.is_some() && to > covered {
                containers.push(ContainerStretch {
                    from_mm: covered,
                    to_mm: to,
                    container: Container::Rod(j),
                });
                covered = to;
            }
        }
        if covered < ends[k] {
            containers.push(ContainerStretch {
                from_mm: covered,
                to_mm: f64::INFINITY,
                container: Container::Vessel,
            });
        }
        rods[k].containers = containers;
    }
}

/// A tube with rods in it.
#[derive(Debug, Clone, Copy)]
#[non_exhaustive]
pub struct Scene<'a> {
    /// The tube, `[stations]`, in order, at least 4.
    pub tube: &'a [TubeStation],
    /// The rods, `[rods]`, 1 to [`MOST_RODS`].
    pub rods: &'a [Rod],
    /// Pairs that lie side by side, `[pairs]`.
    pub beside: &'a [Beside],
}

impl<'a> Scene<'a> {
    /// Rods in a tube, none side by side. `tube`: shape `[stations]`, at least 4; `rods`: shape `[rods]`, 1 to
    /// [`MOST_RODS`], outermost first where [`nest`] put them into each other.
    #[must_use]
    pub const fn new(tube: &'a [TubeStation], rods: &'a [Rod]) -> Self {
        Self {
            tube,
            rods,
            beside: &[],
        }
    }

    /// The same with pairs that lie side by side in one lumen, shape `[pairs]`.
    #[must_use]
    pub const fn with_beside(self, beside: &'a [Beside]) -> Self {
        Self { beside, ..self }
    }
}

impl Scene<'_> {
    /// Refuses what cannot be posed.
    pub(crate) fn check(&self) -> Result<(), MechanicsError> {
        let refuse = |what: String, found: f64, needed| {
            Err(MechanicsError::OutOfRange {
                what,
                found,
                needed,
            })
        };
        #[expect(clippy::cast_precision_loss, reason = "small counts")]
        if self.rods.is_empty() || self.rods.len() > MOST_RODS {
            return refuse(
                "number of rods".into(),
                self.rods.len() as f64,
                Allowed::in_words("1 to 6")
                    .at_least(1.0)
                    .at_most(MOST_RODS as f64),
            );
        }
        #[expect(clippy::cast_precision_loss, reason = "small counts")]
        if self.tube.len() < 4 {
            return refuse(
                "number of stations".into(),
                self.tube.len() as f64,
                Allowed::in_words("at least 4").at_least(4.0),
            );
        }
        for (i, t) in self.tube.iter().enumerate() {
            if !(t.radius_mm.is_finite() && t.radius_mm > 0.0) {
                return refuse(
                    format!("tube[{i}].radius_mm"),
                    t.radius_mm,
                    Allowed::POSITIVE,
                );
            }
            let k = t.wall_stiffness_n_per_mm2;
            if !(k.is_finite() && k > 0.0) {
                return refuse(
                    format!("tube[{i}].wall_stiffness_n_per_mm2"),
                    k,
                    Allowed::POSITIVE,
                );
            }
            let rising = i == 0 || t.s_mm > self.tube[i - 1].s_mm;
            if !(t.s_mm.is_finite() && rising) {
                return refuse(
                    format!("tube[{i}].s_mm"),
                    t.s_mm,
                    Allowed::in_words("finite and greater than the one before it"),
                );
            }
        }
        for (k, rod) in self.rods.iter().enumerate() {
            self.check_rod(k, rod)?;
        }
        for (i, pair) in self.beside.iter().enumerate() {
            let [a, b] = pair.rods;
            if a == b || a.max(b) >= self.rods.len() {
                return Err(MechanicsError::BadContainer {
                    what: format!("beside[{i}]"),
                    why: format!("rods {a} and {b} must be two different rods of the scene"),
                    mend: None,
                });
            }
            if !(pair.from_mm < pair.to_mm && pair.side_rad.is_finite()) {
                return refuse(
                    format!("beside[{i}].to_mm"),
                    pair.to_mm,
                    Allowed::in_words("beyond from_mm, with a finite side").above(pair.from_mm),
                );
            }
        }
        Ok(())
    }

    fn check_rod(&self, k: usize, rod: &Rod) -> Result<(), MechanicsError> {
        let refuse = |what: &str, found: f64, needed| {
            Err(MechanicsError::OutOfRange {
                what: format!("rods[{k}].{what}"),
                found,
                needed,
            })
        };
        let (first, last) = (self.tube[0].s_mm, self.tube[self.tube.len() - 1].s_mm);
        let end = rod.end_mm(self.tube);
        let least = first + FEWEST_CELLS * (self.tube[2].s_mm - first) / 2.0;
        if !(end >= least && end <= last + 1e-9) {
            return refuse(
                "end",
                end,
                Allowed::in_words(
                    "at least 2.7 stations from the start and not beyond the last one",
                )
                .at_least(least)
                .at_most(last),
            );
        }
        self.check_load(k, &rod.load)?;
        for (what, v) in [
            ("line_load_n_per_mm", rod.line_load_n_per_mm),
            ("tip_force_n", rod.tip_force_n),
        ] {
            if let Some(bad) = v.iter().find(|x| !x.is_finite()) {
                return refuse(what, *bad, Allowed::FINITE);
            }
        }
        if let Some(bend) = &rod.natural {
            check_bend(k, bend)?;
        }
        self.check_containers(k, rod, first, end)
    }

    fn check_load(&self, k: usize, load: &AxialLoad) -> Result<(), MechanicsError> {
        let refuse = |what: &str, found: f64, needed| {
            Err(MechanicsError::OutOfRange {
                what: format!("rods[{k}].{what}"),
                found,
                needed,
            })
        };
        match load {
            AxialLoad::Uniform(tau) | AxialLoad::Frictionless(tau) => {
                if !tau.is_finite() {
                    return refuse("load", *tau, Allowed::FINITE);
                }
            }
            AxialLoad::FrictionlessHubHeld {
                tip_n,
                spring_n_per_mm,
                rest_mm,
            } => {
                for (what, value) in [
                    ("load.tip_n", tip_n),
                    ("load.spring_n_per_mm", spring_n_per_mm),
                    ("load.rest_mm", rest_mm),
                ] {
                    if !value.is_finite() {
                        return refuse(what, *value, Allowed::FINITE);
                    }
                }
            }
            AxialLoad::ByStation(values) | AxialLoad::HubHeld { load_n: values, .. } => {
                if let AxialLoad::HubHeld {
                    spring_n_per_mm,
                    rest_mm,
                    ..
                } = load
                {
                    if !rest_mm.is_finite() {
                        return refuse("load.rest_mm", *rest_mm, Allowed::FINITE);
                    }
                    if !(spring_n_per_mm.is_finite() && *spring_n_per_mm >= 0.0) {
                        return refuse(
                            "load.spring_n_per_mm",
                            *spring_n_per_mm,
                            Allowed::NOT_NEGATIVE,
                        );
                    }
                }
                if values.len() != self.tube.len() {
                    return Err(MechanicsError::LengthMismatch {
                        what: format!("rods[{k}].load"),
                        found: values.len(),
                        needed: self.tube.len(),
                    });
                }
                if let Some(bad) = values.iter().find(|v| !v.is_finite()) {
                    return refuse("load", *bad, Allowed::FINITE);
                }
            }
        }
        Ok(())
    }

    fn check_containers(
        &self,
        k: usize,
        rod: &Rod,
        first: f64,
        end: f64,
    ) -> Result<(), MechanicsError> {
        let mut covered = first;
        for (i, stretch) in rod.containers.iter().enumerate() {
            let bad = |why: String, mend| {
                Err(MechanicsError::BadContainer {
                    what: format!("rods[{k}].containers[{i}]"),
                    why,
                    mend,
                })
            };
            if (stretch.from_mm - covered).abs() > 1e-9 || stretch.to_mm <= stretch.from_mm {
                let why = format!(
                    "runs from {:.3} to {:.3} mm, must start at {covered:.3} mm, where the one before it ends, and run on",
                    stretch.from_mm, stretch.to_mm
                );
                return bad(why, None);
            }
            covered = stretch.to_mm.min(end);
            if let Container::Rod(j) = stretch.container {
                let Some(holder) = self.rods.get(j).filter(|_| j != k) else {
                    return bad(format!("rod {j} is not another rod of the scene"), None);
                };
                if holder.inner_mm.is_none() {
                    let why = format!("rod {j} has no lumen");
                    return bad(why, Some("give it an inner diameter"));
                }
                let reach = holder.end_mm(self.tube);
                if covered > reach + 1e-9 {
                    let why = format!(
                        "rod {j} ends at {reach:.3} mm, so it cannot hold anything to {covered:.3} mm"
                    );
                    return bad(why, Some("end this stretch there"));
                }
            }
        }
        if !rod.containers.is_empty() && covered < end - 1e-9 {
            return Err(MechanicsError::BadContainer {
                what: format!("rods[{k}].containers"),
                why: format!("end at {covered:.3} mm, the rod at {end:.3} mm"),
                mend: Some("add the last stretch"),
            });
        }
        Ok(())
    }
}

fn check_bend(k: usize, bend: &NaturalBend) -> Result<(), MechanicsError> {
    let (Roll::Fixed(roll) | Roll::Free(roll)) = bend.roll;
    for (what, found, sound, needed) in [
        (
            "length_mm",
            bend.length_mm,
            bend.length_mm >= 0.0,
            Allowed::NOT_NEGATIVE,
        ),
        (
            "curvature_per_mm",
            bend.curvature_per_mm,
            bend.curvature_per_mm >= 0.0,
            Allowed::NOT_NEGATIVE,
        ),
        ("roll", roll, true, Allowed::FINITE),
    ] {
        if !(found.is_finite() && sound) {
            return Err(MechanicsError::OutOfRange {
                what: format!("rods[{k}].natural.{what}"),
                found,
                needed,
            });
        }
    }
    Ok(())
}
