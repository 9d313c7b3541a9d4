//! How a bench is posed: tubes of runs, one set of frictions and stiffnesses for all, the force of a move.

use super::devices::BenchDevice;
use crate::support::materials::frictions;
use nestline_physics::device::Coating;
use nestline_physics::geometry::{Frame, Point, Vector};
use nestline_physics::mechanics::{
    Containment, Drive, Failure, FrictionValues, Frictions, KNOWN_TO_FACTOR, Level, LoadSettings,
    MechanicsError, Moving, Settings, StackDevice, StackProblem, StackSolver, StackState, Surface,
    TubeStation,
};
use std::sync::OnceLock;

/// What all benches share.
#[derive(Debug, Clone, Copy)]
pub(super) struct Parameters {
    /// Friction, by the ranges of the table.
    pub(super) friction: Level,
    /// That of hydrophilic surfaces, where it is tried alone.
    pub(super) hydrophilic: Level,
    /// What takes the place of hydrophilic outsides.
    pub(super) wetted: Coating,
    /// All friction times this.
    pub(super) friction_factor: f64,
    /// Bending stiffness of everything times this.
    pub(super) stiffness_factor: f64,
    /// Outward force of retrievers times this; no better known than stiffness.
    pub(super) outward_factor: f64,
}

/// The usual table's friction at one end of its ranges.
fn table(level: Level) -> FrictionValues {
    static TABLE: OnceLock<Frictions> = OnceLock::new();
    TABLE.get_or_init(frictions).at(level)
}

impl Parameters {
    pub(super) const USUAL: Self = Self::of(Level::Usual, 1.0);

    /// The ends of all ranges and what lies between: least, usual, most.
    pub(super) const RANGE: [Self; 3] = [
        Self::of(Level::Least, 1.0 / KNOWN_TO_FACTOR),
        Self::USUAL,
        Self::of(Level::Most, KNOWN_TO_FACTOR),
    ];

    const fn of(friction: Level, factor: f64) -> Self {
        Self {
            friction,
            hydrophilic: friction,
            wetted: Coating::Hydrophilic,
            friction_factor: 1.0,
            stiffness_factor: factor,
            outward_factor: factor,
        }
    }

    /// Friction of an open retriever's struts on the wall.
    pub(super) fn struts_on_wall(self) -> f64 {
        self.friction_factor * table(self.friction).struts_on_wall
    }

    /// Friction of a surface on what it slides on.
    pub(super) fn friction(self, of: Coating, on: Surface) -> f64 {
        let as_worn = |coating: Coating| match coating {
            Coating::Hydrophilic => self.wetted,
            other => other,
        };
        let of = as_worn(of);
        let on = match on {
            Surface::Device(coating) => Surface::Device(as_worn(coating)),
            Surface::Vessel | Surface::Plaque => on,
        };
        let wet = of == Coating::Hydrophilic || on == Surface::Device(Coating::Hydrophilic);
        let level = if wet { self.hydrophilic } else { self.friction };
        self.friction_factor * table(level).of(of, on)
    }
}

/// A run of a tube: length, mm, angle turned and direction of the bend, degrees, lumen, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run(
    pub(super) f64,
    pub(super) f64,
    pub(super) f64,
    pub(super) f64,
);

/// Tubes of benches are of glass, silicone or PTFE: stiff against what lies in them, N/mm².
const WALL_N_PER_MM2: f64 = 10.0;
/// Stations: a tenth of a bend's radius apart, and no further than this, mm.
const FURTHEST_MM: f64 = 2.0;

/// The tube of these runs; widths change within the first tenth of a run.
pub(super) fn tube(runs: &[Run]) -> Vec<TubeStation> {
    let mut frame = Frame::new(Point::origin(), Vector::x(), Vector::y());
    let (mut s_mm, mut before_mm) = (0.0, runs[0].3);
    let station = |s_mm, frame, lumen_mm: f64| TubeStation {
        s_mm,
        frame,
        radius_mm: 0.5 * lumen_mm,
        wall_stiffness_n_per_mm2: WALL_N_PER_MM2,
    };
    let mut stations = vec![station(0.0, frame, before_mm)];
    for Run(length_mm, turn_deg, roll_deg, lumen_mm) in runs {
        let turn = turn_deg.to_radians();
        let apart_mm = match turn > 0.0 {
            true => (0.1 * length_mm / turn).min(FURTHEST_MM),
            false => FURTHEST_MM,
        };
        let cells = (length_mm / apart_mm).ceil().max(2.0);
        let start = frame;
        let mut part = 1.0;
        while part <= cells {
            let along = part / cells;
            frame = start.along_arc(length_mm * along, turn * along, roll_deg.to_radians());
            let wide_mm = before_mm + (lumen_mm - before_mm) * (10.0 * along).min(1.0);
            stations.push(station(s_mm + length_mm * along, frame, wide_mm));
            part += 1.0;
        }
        s_mm += length_mm;
        before_mm = *lumen_mm;
    }
    stations
}

/// Length of a tube, mm.
pub(super) fn length_mm(runs: &[Run]) -> f64 {
    runs.iter().map(|run| run.0).sum()
}

/// Devices in a tube: each with its depth, who lies in whom, and what the tube is made of.
#[derive(Debug, Clone)]
pub(super) struct Posed {
    pub(super) tube: Vec<TubeStation>,
    pub(super) wall: Surface,
    pub(super) devices: Vec<(BenchDevice, Drive)>,
    pub(super) holds: Vec<Containment>,
}

impl Posed {
    fn friction(&self, with: Parameters, moving: usize, other: Option<usize>) -> f64 {
        let of = &self.devices[moving].0;
        let inside = |outer: usize, inner: usize| {
            (self.holds.iter()).any(|h| h.outer == outer && h.inner == inner)
        };
        match other {
            None => with.friction(of.outside, self.wall),
            Some(j) if inside(j, moving) => {
                with.friction(of.outside, Surface::Device(self.devices[j].0.inside))
            }
            Some(j) if inside(moving, j) => {
                with.friction(self.devices[j].0.outside, Surface::Device(of.inside))
            }
            Some(j) => with.friction(of.outside, Surface::Device(self.devices[j].0.outside)),
        }
    }

    /// The state in which this moves.
    pub(super) fn solve(
        &self,
        with: Parameters,
        moving: Moving,
    ) -> Result<StackState, MechanicsError> {
        let devices: Vec<StackDevice> = (self.devices.iter())
            .map(|(device, drive)| StackDevice::new(device.rod(with.stiffness_factor), *drive))
            .collect();
        let rubs = |k: usize, other: Option<usize>| self.friction(with, k, other);
        let problem = StackProblem::new(&self.tube, &devices)
            .with_containments(&self.holds)
            .with_friction(&rubs)
            .with_moving(moving);
        let settings = LoadSettings::rehearsal();
        StackSolver::new(Settings::default(), settings).solve(&problem, None)
    }

    /// Force at the hub in the direction of the move, N; infinite where it locks up, no number where none is found.
    pub(super) fn hub_n(&self, with: Parameters, moving: Moving) -> f64 {
        match self.solve(with, moving) {
            Ok(state) if state.failures.is_empty() => state.load.unwrap().hub_force_n,
            Ok(state) if matches!(state.failures[..], [Failure::LockUp { .. }]) => f64::INFINITY,
            _ => f64::NAN,
        }
    }
}
