//! A bare rod-in-tube problem as an engineer would write it down, and what came out.

use crate::geometry::{Frame, Point, Vector};
use crate::math;
use crate::mechanics::equilibrium::settle::Settle;
use crate::mechanics::equilibrium::solution::{Contact, Flag, Solution, Status};
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::profile::Profile;
use crate::mechanics::rod::scene::{
    AxialLoad, Beside, Container, ContainerStretch, End, NaturalBend, Rod, Roll, Scene,
    StartSupport, TubeStation, nest,
};
use crate::mechanics::rod::settings::Settings;
use crate::units::Allowed;
use serde::{Deserialize, Serialize};

mod friction;
mod path;

pub use friction::{FrictionHeld, FrictionLoss, FrictionReport, ProblemFriction, ProblemMove};
pub use path::{PathPoint, PathReport, ProblemLeg, ProblemPath};

/// Rods in a tube of straight runs and arcs.
///
/// The tube starts at the origin along x; roll 0 bends it towards y, roll 90 towards z.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Problem {
    /// The tube's centre line and lumen.
    pub runs: Vec<ProblemRun>,
    /// The rods, outermost first. Each lies in the nearest one before it that has a lumen and
    /// reaches as far, else in the tube, unless its own list of containers says otherwise.
    pub rods: Vec<ProblemRod>,
    /// Rods side by side.
    #[serde(default)]
    pub beside: Vec<ProblemBeside>,
    /// How all rods are held at the start.
    #[serde(default = "clamped")]
    pub start: ProblemStart,
    /// Radial stiffness of the wall, N per mm of length per mm of indentation. Default 10; a rigid
    /// tube is the limit of large values (10 000 is within a micrometre of it for forces below
    /// 0.1 N).
    #[serde(default = "ten")]
    pub wall_stiffness_n_per_mm2: f64,
    /// Uniform transverse load on every rod, N per mm of rod, fixed in space.
    #[serde(default)]
    pub line_load_n_per_mm: [f64; 3],
    /// Wished spacing of the stations, mm; adjusted so that a whole number of cells covers the
    /// tube. Default 1.
    #[serde(default = "one")]
    pub spacing_mm: f64,
    /// Coefficients of friction, pair by pair; a pair that is not given has none. Only where a rod
    /// `moves`.
    #[serde(default)]
    pub friction: Vec<ProblemFriction>,
    /// The rod that slides, while the others are held at their starts. Left out: none does, and nothing
    /// has friction.
    #[serde(default)]
    pub moves: Option<ProblemMove>,
    /// Feeds and thrusts in order, of the rod that `moves` (whose `direction` then counts for nothing: feeds have
    /// signs). Left out: one state.
    #[serde(default)]
    pub path: Option<ProblemPath>,
    /// Settings of the solve.
    #[serde(default)]
    pub settings: Settings,
}

/// A straight run (`turn_deg` 0) or an arc.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProblemRun {
    /// Length of the centre line, mm.
    pub length_mm: f64,
    /// Angle turned, degrees.
    #[serde(default)]
    pub turn_deg: f64,
    /// Direction of the bend about the centre line, degrees, against the frame carried along
    /// without twist.
    #[serde(default)]
    pub roll_deg: f64,
    /// Diameter of the lumen at the run's start, mm.
    #[serde(default)]
    pub lumen_mm: Option<f64>,
    /// Diameter at its end, mm; left out, the same as at the start.
    #[serde(default)]
    pub lumen_end_mm: Option<f64>,
    /// Instead of a lumen: how far the axis of the first rod's tip may leave the centre line, mm.
    #[serde(default)]
    pub clearance_mm: Option<f64>,
}

/// A rod.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProblemRod {
    /// What to call it.
    #[serde(default)]
    pub name: String,
    /// Bending stiffness.
    pub stiffness: ProblemStiffness,
    /// Outer diameter, mm.
    pub outer_mm: f64,
    /// Lumen, mm, where it has one.
    #[serde(default)]
    pub inner_mm: Option<f64>,
    /// Axial stiffness EA, N; left out, it does not stretch. Only where a `path` is posed.
    #[serde(default)]
    pub axial_stiffness_n: Option<f64>,
    /// Where it ends. Default: it runs through the exit plane.
    #[serde(default = "exit_plane")]
    pub end: ProblemEnd,
    /// Configurational load, N; negative pushes.
    #[serde(default)]
    pub axial_load_n: f64,
    /// Whether that load is the one at the rod's distal end, and follows from there the change of
    /// stiffness along a frictionless rod (true, the default), or holds at every station (false).
    /// The same for a rod of constant stiffness without a natural bend.
    #[serde(default = "yes")]
    pub frictionless: bool,
    /// Dead force on its last node, N, fixed in space.
    #[serde(default)]
    pub tip_force_n: [f64; 3],
    /// Natural bend at the tip.
    #[serde(default)]
    pub natural_bend: Option<ProblemBend>,
    /// What it lies in, station by station, from the start to its end; empty for the usual nest.
    #[serde(default)]
    pub containers: Vec<ProblemStretch>,
}

/// Bending stiffness EI, N mm2.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum ProblemStiffness {
    /// The same everywhere.
    #[serde(rename = "constant_n_mm2")]
    Constant(f64),
    /// `[distance from the tip (or the exit plane) in mm, value]`, linear between, constant
    /// beyond; the same distance twice makes a step.
    #[serde(rename = "from_tip_mm_n_mm2")]
    FromTip(Vec<(f64, f64)>),
}

/// How rods are held at station 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ProblemStart {
    /// On the centre line and tangent to it.
    Clamped,
    /// On the centre line, free to turn.
    Pinned,
    /// Only by the wall.
    Free,
}

/// Where a rod ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum ProblemEnd {
    /// It runs through the tube's last plane, where nothing holds it.
    ExitPlane,
    /// A free tip at this arc length of the centre line, mm.
    #[serde(rename = "tip_at_mm")]
    Tip(f64),
    /// The same in the tube's last plane, on the centre line and free to turn.
    ExitOnAxis,
}

/// A natural bend.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProblemBend {
    /// Length of the bent stretch, from the tip, mm.
    pub length_mm: f64,
    /// Angle it turns by at rest, degrees.
    pub angle_deg: f64,
    /// Direction of the bend, degrees from the tube's first normal.
    #[serde(default)]
    pub roll_deg: f64,
    /// Whether the rod is free to turn (the roll is then only the start) or held.
    #[serde(default)]
    pub free_to_turn: bool,
}

/// A stretch of a rod's way in one container.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProblemStretch {
    /// From this arc length of the centre line, mm.
    pub from_mm: f64,
    /// To this one, mm; left out, to the rod's end.
    #[serde(default)]
    pub to_mm: Option<f64>,
    /// Index of the rod it lies in; left out, the tube.
    #[serde(default)]
    pub in_rod: Option<usize>,
}

/// Two rods side by side.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProblemBeside {
    /// Their indices.
    pub rods: [usize; 2],
    /// From this arc length of the centre line, mm.
    pub from_mm: f64,
    /// To this one, mm.
    pub to_mm: f64,
    /// Direction in which the second starts from the first, degrees.
    #[serde(default)]
    pub side_deg: f64,
}

const fn clamped() -> ProblemStart {
    ProblemStart::Clamped
}
const fn exit_plane() -> ProblemEnd {
    ProblemEnd::ExitPlane
}
const fn ten() -> f64 {
    10.0
}
const fn one() -> f64 {
    1.0
}
const fn yes() -> bool {
    true
}

/// A problem made ready: the tube by stations and the rods in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Posed {
    /// The tube.
    pub tube: Vec<TubeStation>,
    /// The rods.
    pub rods: Vec<Rod>,
    /// Pairs side by side.
    pub beside: Vec<Beside>,
}

impl Posed {
    /// As the solver takes it.
    #[must_use]
    pub fn scene(&self) -> Scene<'_> {
        Scene {
            tube: &self.tube,
            rods: &self.rods,
            beside: &self.beside,
        }
    }
}

impl Problem {
    /// Builds tube and rods.
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`] for lengths, angles, lumens, diameters or stiffness that
    /// cannot be, or a tube that overlaps itself.
    pub fn pose(&self) -> Result<Posed, MechanicsError> {
        let refuse = |what: String, found: f64, needed| {
            Err(MechanicsError::OutOfRange {
                what,
                found,
                needed,
            })
        };
        if !(self.spacing_mm.is_finite() && self.spacing_mm > 0.0) {
            return refuse("spacing_mm".into(), self.spacing_mm, Allowed::POSITIVE);
        }
        if let Some(bad) = self.line_load_n_per_mm.iter().find(|x| !x.is_finite()) {
            return refuse("line_load_n_per_mm".into(), *bad, Allowed::FINITE);
        }
        self.check_friction()?;
        let tube = self.tube()?;
        let rods = self
            .rods
            .iter()
            .enumerate()
            .map(|(k, rod)| self.rod(k, rod, &tube))
            .collect::<Result<Vec<_>, _>>()?;
        let mut nested = rods.clone();
        nest(&tube, &mut nested);
        for ((rod, nested), given) in rods.into_iter().zip(&mut nested).zip(&self.rods) {
            if !given.containers.is_empty() {
                nested.containers = rod.containers;
            }
        }
        let beside = self
            .beside
            .iter()
            .map(|b| Beside {
                rods: b.rods,
                from_mm: b.from_mm,
                to_mm: b.to_mm,
                side_rad: b.side_deg.to_radians(),
            })
            .collect();
        Ok(Posed {
            tube,
            rods: nested,
            beside,
        })
    }

    /// The tube by stations, with exact arcs.
    fn tube(&self) -> Result<Vec<TubeStation>, MechanicsError> {
        let mut pieces = Vec::with_capacity(self.runs.len());
        let mut frame = Frame::new(Point::origin(), Vector::x(), Vector::y());
        let mut length = 0.0;
        for (i, run) in self.runs.iter().enumerate() {
            let refuse = |field: &str, found: f64, needed| {
                Err(MechanicsError::OutOfRange {
                    what: format!("runs[{i}].{field}"),
                    found,
                    needed,
                })
            };
            if !(run.length_mm.is_finite() && run.length_mm > 0.0) {
                return refuse("length_mm", run.length_mm, Allowed::POSITIVE);
            }
            if !(run.turn_deg.is_finite() && run.turn_deg >= 0.0) {
                return refuse("turn_deg", run.turn_deg, Allowed::NOT_NEGATIVE);
            }
            if !run.roll_deg.is_finite() {
                return refuse("roll_deg", run.roll_deg, Allowed::FINITE);
            }
            let (start, end) = match (run.lumen_mm, run.clearance_mm) {
                (Some(start), None) => (start, run.lumen_end_mm.unwrap_or(start)),
                (None, Some(clearance)) => {
                    let outer = self.rods.first().map_or(0.0, |r| r.outer_mm);
                    (outer + 2.0 * clearance, outer + 2.0 * clearance)
                }
                _ => {
                    return refuse(
                        "lumen_mm",
                        f64::NAN,
                        Allowed::in_words("given, or clearance_mm instead of it, not both"),
                    );
                }
            };
            let turn = run.turn_deg.to_radians();
            for (field, lumen) in [("lumen_mm", start), ("lumen_end_mm", end)] {
                if !(lumen.is_finite() && lumen > 0.0) {
                    return refuse(field, lumen, Allowed::POSITIVE);
                }
                let bent = 0.5 * lumen * turn / run.length_mm;
                if bent >= 1.0 {
                    return refuse(
                        field,
                        lumen,
                        Allowed::in_words(
                            "narrower than twice the bend's radius, or the tube overlaps itself",
                        )
                        .below(2.0 * run.length_mm / turn),
                    );
                }
            }
            pieces.push((length, frame, run, (0.5 * start, 0.5 * end)));
            frame = frame.along_arc(run.length_mm, turn, run.roll_deg.to_radians());
            length += run.length_mm;
        }
        let cells = (length / self.spacing_mm).round();
        if !(3.0..=1e6).contains(&cells) {
            return Err(MechanicsError::OutOfRange {
                what: "number of cells (length of the tube over spacing_mm)".into(),
                found: cells,
                needed: Allowed::in_words("3 to 1000000").at_least(3.0).at_most(1e6),
            });
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "range checked above"
        )]
        let cells = cells as u32;
        let spacing = length / f64::from(cells);
        let mut tube = Vec::with_capacity(cells as usize + 1);
        let mut at = 0;
        for i in 0..=cells {
            let s_mm = spacing * f64::from(i);
            while at + 1 < pieces.len() && pieces[at + 1].0 <= s_mm {
                at += 1;
            }
            tube.push(station(&pieces[at], s_mm, self.wall_stiffness_n_per_mm2));
        }
        Ok(tube)
    }

    /// The tube at any arc length, from the exact runs.
    fn exact_station(&self, s_mm: f64) -> Option<TubeStation> {
        let mut frame = Frame::new(Point::origin(), Vector::x(), Vector::y());
        let mut start = 0.0;
        for (i, run) in self.runs.iter().enumerate() {
            if s_mm <= start + run.length_mm || i + 1 == self.runs.len() {
                let outer = self.rods.first().map_or(0.0, |r| r.outer_mm);
                let lumen = run
                    .lumen_mm
                    .or_else(|| run.clearance_mm.map(|c| outer + 2.0 * c))?;
                let radii = (0.5 * lumen, 0.5 * run.lumen_end_mm.unwrap_or(lumen));
                let piece = (start, frame, run, radii);
                return Some(station(&piece, s_mm, self.wall_stiffness_n_per_mm2));
            }
            frame = frame.along_arc(
                run.length_mm,
                run.turn_deg.to_radians(),
                run.roll_deg.to_radians(),
            );
            start += run.length_mm;
        }
        None
    }

    fn rod(&self, k: usize, rod: &ProblemRod, tube: &[TubeStation]) -> Result<Rod, MechanicsError> {
        let knots = match &rod.stiffness {
            ProblemStiffness::Constant(value) => vec![(0.0, *value)],
            ProblemStiffness::FromTip(knots) => knots.clone(),
        };
        let diameter =
            |what: &str, value: f64| Profile::new(&format!("rods[{k}].{what}"), &[(0.0, value)]);
        if let Some(inner) = rod.inner_mm.filter(|i| *i >= rod.outer_mm) {
            return Err(MechanicsError::OutOfRange {
                what: format!("rods[{k}].inner_mm"),
                found: inner,
                needed: Allowed::in_words("smaller than outer_mm").below(rod.outer_mm),
            });
        }
        Ok(Rod {
            stiffness_n_mm2: Profile::new(&format!("rods[{k}].stiffness"), &knots)?,
            outer_mm: diameter("outer_mm", rod.outer_mm)?,
            inner_mm: rod.inner_mm.map(|i| diameter("inner_mm", i)).transpose()?,
            natural: natural_bend(k, rod)?,
            start: match self.start {
                ProblemStart::Clamped => StartSupport::Clamped,
                ProblemStart::Pinned => StartSupport::Pinned,
                ProblemStart::Free => StartSupport::Free,
            },
            end: self.end(k, rod, tube)?,
            load: if rod.frictionless {
                AxialLoad::Frictionless(rod.axial_load_n)
            } else {
                AxialLoad::Uniform(rod.axial_load_n)
            },
            line_load_n_per_mm: Vector::from(self.line_load_n_per_mm),
            tip_force_n: Vector::from(rod.tip_force_n),
            yields: false,
            axial_stiffness_n: rod.axial_stiffness_n,
            exits_on_axis: matches!(rod.end, ProblemEnd::ExitOnAxis),
            containers: rod
                .containers
                .iter()
                .map(|c| ContainerStretch {
                    from_mm: c.from_mm,
                    to_mm: c.to_mm.unwrap_or(f64::INFINITY),
                    container: c.in_rod.map_or(Container::Vessel, Container::Rod),
                })
                .collect(),
        })
    }

    fn end(&self, k: usize, rod: &ProblemRod, tube: &[TubeStation]) -> Result<End, MechanicsError> {
        let ProblemEnd::Tip(s_mm) = rod.end else {
            return Ok(End::ExitPlane);
        };
        let last = tube.last().map_or(0.0, |t| t.s_mm);
        match self.exact_station(s_mm) {
            Some(station) if s_mm.is_finite() && s_mm > 0.0 && s_mm <= last + 1e-9 => {
                Ok(End::Tip(station))
            }
            _ => Err(MechanicsError::OutOfRange {
                what: format!("rods[{k}].end.tip_at_mm"),
                found: s_mm,
                needed: Allowed::in_words("inside the tube")
                    .above(0.0)
                    .at_most(last),
            }),
        }
    }

    /// Poses and solves.
    ///
    /// # Errors
    /// As [`Self::pose`] and [`Self::solve_posed`].
    pub fn solve(&self) -> Result<ProblemReport, MechanicsError> {
        let posed = self.pose()?;
        self.solve_posed(&posed, &mut Settle::new(self.settings))
    }

    /// Solves what [`Self::pose`] gave, with the memory of solves before.
    ///
    /// # Errors
    /// As [`Settle::settle`]; where a rod moves as [`crate::mechanics::stack::solver::StackSolver::solve`], and
    /// [`MechanicsError::LockedUp`] where friction holds it whatever force is put on it.
    pub fn solve_posed(
        &self,
        posed: &Posed,
        settle: &mut Settle,
    ) -> Result<ProblemReport, MechanicsError> {
        let Some(moved) = &self.moves else {
            let solution = settle.settle(&posed.scene())?;
            return Ok(self.report(posed, &solution));
        };
        if let Some(path) = &self.path {
            let (solution, path) = self.follow(posed, moved, path)?;
            return Ok(ProblemReport {
                path: Some(path),
                ..self.report(posed, &solution)
            });
        }
        let (solution, friction) = self.slide(posed, moved)?;
        Ok(ProblemReport {
            friction: Some(friction),
            ..self.report(posed, &solution)
        })
    }

    /// What a rod is called.
    fn name(&self, k: usize) -> String {
        let given = &self.rods[k].name;
        if given.is_empty() {
            format!("rod {k}")
        } else {
            given.clone()
        }
    }

    /// Nearer than this, mm, contacts of a pair are one zone: two stations; or half a wave of a beam on a
    /// bed of the wall's stiffness (`pi (4 B / k)^(1/4)`), over which a rod that lies flush lifts off next to
    /// a point force.
    fn zone_gap_mm(&self, posed: &Posed, solution: &Solution, contact: &Contact) -> f64 {
        let spacing_mm = posed.tube[1].s_mm - posed.tube[0].s_mm;
        let stiffness = |k: usize| {
            let state = &solution.rods[k];
            let at = state
                .station_mm
                .partition_point(|s| *s < contact.station_mm)
                .min(state.from_tip_mm.len() - 1);
            posed.rods[k].stiffness_n_mm2.at(state.from_tip_mm[at])
        };
        let own = stiffness(contact.rod);
        let (b, k) = match contact.other {
            Some(other) => (
                own.min(stiffness(other)),
                self.settings.device_stiffness_n_per_mm2,
            ),
            None => (own, self.wall_stiffness_n_per_mm2),
        };
        let half_wave_mm = std::f64::consts::PI * (4.0 * b / k).sqrt().sqrt();
        half_wave_mm.max(2.01 * spacing_mm)
    }

    /// What an engineer wants to read of a solution.
    #[must_use]
    pub fn report(&self, posed: &Posed, solution: &Solution) -> ProblemReport {
        /// Forces below this, N, are the rounding of a balance to 1e-6 N, no contact.
        const LEAST_FORCE_N: f64 = 2e-6;
        let spacing_mm = posed.tube[1].s_mm - posed.tube[0].s_mm;
        let rods = solution
            .rods
            .iter()
            .enumerate()
            .map(|(k, r)| {
                let (at, largest) = r
                    .curvature_per_mm
                    .iter()
                    .enumerate()
                    .fold((0, 0.0), |m, (i, c)| if *c > m.1 { (i, *c) } else { m });
                RodReport {
                    name: self.name(k),
                    bending_energy_n_mm: r.bending_energy_n_mm,
                    averaging_n_mm: r.averaging_n_mm,
                    path_length_mm: r.path_length_mm,
                    centre_line_mm: r.centre_line_mm,
                    largest_curvature_per_mm: largest,
                    largest_curvature_at_mm: r.station_mm[at],
                    axial_load_at_start_n: r.load_n[0],
                    end_position_mm: r.position_mm.last().map_or([0.0; 3], |p| [p.x, p.y, p.z]),
                    end_angle_deg: r.end_angle_rad.to_degrees(),
                    roll_deg: r.roll_rad.to_degrees(),
                }
            })
            .collect();
        let contacts = solution
            .zones_by(
                |contact| self.zone_gap_mm(posed, solution, contact),
                LEAST_FORCE_N,
            )
            .iter()
            .map(|zone| {
                let resultant = zone.force_in_space_n.norm();
                let side = zone.force_in_space_n / resultant.max(1e-300);
                let near = posed
                    .tube
                    .partition_point(|t| t.s_mm < zone.station_mm)
                    .min(posed.tube.len() - 1);
                let frame = &posed.tube[near].frame;
                ContactReport {
                    rod: self.name(zone.rod),
                    against: zone.other.map_or_else(|| "tube".into(), |j| self.name(j)),
                    from_mm: zone.from_mm,
                    to_mm: zone.to_mm,
                    station_mm: zone.station_mm,
                    resultant_n: resultant,
                    wall_resultant_n: zone.force_across_n.norm(),
                    sum_of_sizes_n: zone.sum_of_sizes_n,
                    force_on_rod_deg: math::atan2(side.dot(&frame.n2), side.dot(&frame.n1))
                        .to_degrees(),
                    force_on_rod_direction: [side.x, side.y, side.z],
                }
            })
            .collect();
        ProblemReport {
            status: solution.status,
            energy_n_mm: solution.bending_energy_n_mm(),
            rods,
            contacts,
            contact_energy_n_mm: solution.contact_energy_n_mm,
            averaging_n_mm: solution.rods.iter().map(|r| r.averaging_n_mm).sum(),
            residual_n: solution.residual_n,
            load_off_n: solution.load_off_n,
            length_off_mm: solution.length_off_mm,
            factorised_unknowns: solution.factorised_unknowns,
            newton_steps: solution.steps,
            stations: posed.tube.len(),
            spacing_mm,
            smallest_eigenvalue_n_per_mm: solution.smallest_eigenvalue_n_per_mm,
            flags: solution.flags.clone(),
            friction: None,
            path: None,
            milliseconds: None,
        }
    }
}

fn natural_bend(k: usize, rod: &ProblemRod) -> Result<Option<NaturalBend>, MechanicsError> {
    let Some(bend) = &rod.natural_bend else {
        return Ok(None);
    };
    if !(bend.length_mm.is_finite() && bend.length_mm > 0.0) {
        return Err(MechanicsError::OutOfRange {
            what: format!("rods[{k}].natural_bend.length_mm"),
            found: bend.length_mm,
            needed: Allowed::POSITIVE,
        });
    }
    let roll = bend.roll_deg.to_radians();
    Ok(Some(NaturalBend {
        length_mm: bend.length_mm,
        curvature_per_mm: bend.angle_deg.to_radians() / bend.length_mm,
        roll: if bend.free_to_turn {
            Roll::Free(roll)
        } else {
            Roll::Fixed(roll)
        },
    }))
}

/// A stretch of the tube: start, frame there, run, radii at both ends.
type Piece<'a> = (f64, Frame, &'a ProblemRun, (f64, f64));

fn station(piece: &Piece<'_>, s_mm: f64, wall_stiffness_n_per_mm2: f64) -> TubeStation {
    let (start, frame, run, (first, last)) = piece;
    let along = (s_mm - start).clamp(0.0, run.length_mm);
    let part = along / run.length_mm;
    TubeStation {
        s_mm,
        frame: frame.along_arc(
            along,
            run.turn_deg.to_radians() * part,
            run.roll_deg.to_radians(),
        ),
        radius_mm: first + (last - first) * part,
        wall_stiffness_n_per_mm2,
    }
}

/// The outcome of a [`Problem`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProblemReport {
    /// How the solve ended.
    pub status: Status,
    /// Bending energy of all rods, N mm, with [`Self::averaging_n_mm`].
    pub energy_n_mm: f64,
    /// Of it, the second-order correction for what stations average away, N mm: `h²/12` times the integral
    /// of `B kappa'²`, kappa being the elastic curvature and `h` the length of rod between stations.
    pub averaging_n_mm: f64,
    /// Rod by rod.
    pub rods: Vec<RodReport>,
    /// Zones of contact. Compare resultants: a point contact splits over two stations.
    pub contacts: Vec<ContactReport>,
    /// Energy stored in the wall and between devices, N mm.
    pub contact_energy_n_mm: f64,
    /// Largest force out of balance, N.
    pub residual_n: f64,
    /// Largest difference between the loads used and those that the shapes call for, N.
    pub load_off_n: f64,
    /// How far stiffness and diameters lie from where the shapes put them along the rods, mm.
    pub length_off_mm: f64,
    /// Work: unknowns of all factorisations (of the last round, where a rod moves).
    pub factorised_unknowns: u64,
    /// Newton steps.
    pub newton_steps: usize,
    /// Stations.
    pub stations: usize,
    /// Their spacing, mm.
    pub spacing_mm: f64,
    /// Smallest eigenvalue of the Hessian, N/mm, where asked for.
    pub smallest_eigenvalue_n_per_mm: Option<f64>,
    /// What to know besides.
    pub flags: Vec<Flag>,
    /// What the move takes, where a rod moves.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub friction: Option<FrictionReport>,
    /// How a path went, where one is posed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub path: Option<PathReport>,
    /// Time of the solve, ms, entered by the caller.
    pub milliseconds: Option<f64>,
}

/// The outcome for one rod.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RodReport {
    /// Its name.
    pub name: String,
    /// Bending energy up to its end, N mm, with [`Self::averaging_n_mm`].
    pub bending_energy_n_mm: f64,
    /// Of it, the second-order correction, N mm.
    pub averaging_n_mm: f64,
    /// Length along the rod up to its end, mm.
    pub path_length_mm: f64,
    /// Length of the centre line it spans, mm.
    pub centre_line_mm: f64,
    /// Largest curvature, 1/mm.
    pub largest_curvature_per_mm: f64,
    /// Where, arc length of the centre line, mm.
    pub largest_curvature_at_mm: f64,
    /// Configurational load at station 0, N.
    pub axial_load_at_start_n: f64,
    /// Where it ends, mm.
    pub end_position_mm: [f64; 3],
    /// Angle between rod and centre line there, degrees.
    pub end_angle_deg: f64,
    /// Roll of its natural bend, degrees.
    pub roll_deg: f64,
}

/// One zone of contact.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ContactReport {
    /// The rod that feels the force.
    pub rod: String,
    /// What presses on it: `tube` or a rod.
    pub against: String,
    /// From this arc length of the centre line, mm.
    pub from_mm: f64,
    /// To this one, mm.
    pub to_mm: f64,
    /// Centre of force, mm.
    pub station_mm: f64,
    /// Size of the resultant of the forces normal to the rod, N: what balances the rod. Where the rod
    /// leaves the tube tilted by `alpha` it is what the wall answers over `cos alpha`.
    pub resultant_n: f64,
    /// Size of the resultant of what the wall (or the other rod) answers across the centre line, N.
    pub wall_resultant_n: f64,
    /// Sum of the sizes of its parts, N: of what the wall answers.
    pub sum_of_sizes_n: f64,
    /// Direction of the force on the rod in the tube's frame, degrees from the first normal; the
    /// rod touches on the opposite side.
    pub force_on_rod_deg: f64,
    /// The same direction in space.
    pub force_on_rod_direction: [f64; 3],
}
