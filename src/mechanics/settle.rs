//! Equilibrium of a scene.

use super::MechanicsError;
use super::bending_up::bends_up;
use super::hold::HANDS_N_PER_MM;
use super::layout::{FIXED, Sharing};
use super::model::Model;
use super::newton::{Ended, History, Newton, Pace, Work, larger};
use super::scene::{AxialLoad, Container, End, Rod, Roll, Scene, TubeStation};
use super::settings::Settings;
use super::solution::{RodState, Solution};
use crate::geometry::{Cubic, Frame, Point, Vector, natural_spans};
use crate::math;

/// Most rounds in which stiffness, loads and shape follow each other; each round shrinks the
/// mismatch by a factor of hundreds, so more than a handful means that something oscillates.
const MOST_ROUNDS: usize = 40;
/// The same where the shape only prepares the next stage.
const PREPARING_ROUNDS: usize = 3;
/// Loads need agree less closely than forces balance: they act through curvature times spacing.
pub(crate) const LOADS_TO_FORCES: f64 = 10.0;
/// Where rounds run out with loads this near to the shape's own, N, that is reported with a flag, not
/// refused: well below friction, and a start for the loads with friction.
pub(crate) const UNSETTLED_N: f64 = 5e-3;
/// How far stiffness and diameters may still slide along a rod from one round to the next, mm: in
/// agreement, and where rounds run out; both far below what tapers are known to.
const SETTLED_MM: f64 = 1e-8;
const UNSETTLED_MM: f64 = 1e-3;
/// Rounds before loads and shape are held to swing, and by how much they must come nearer in so many
/// rounds.
const FEWEST_ROUNDS: usize = 6;
const STALLED_ROUNDS: usize = 4;
const STALLED: f64 = 0.25;
/// Newton steps between looks at a rod that may be running away: far more than a plain solve takes.
pub(crate) const STEPS_BETWEEN_LOOKS: usize = 80;
/// Most saddles left in one solve; each costs a few steps and every one lowers the energy.
const MOST_SADDLES: usize = 8;
/// Stations to one of the next coarser level. The ends of contact stretches move by about a station
/// a factorisation; with two, the coarser level leaves them within two.
const COARSENING: usize = 2;
/// Balance of shapes that only prepare the next stage, N: a thousandth of a newton moves soft rods by less
/// than the next stage does.
const PREPARED_N: f64 = 1e-3;
/// The same from one stiffness of the walls to the next, where ends of contact stretches are to stay.
const STIFFENED_N: f64 = 1e-4;
/// Balance of the first two rounds, N: loads and diameters still move after them, by more than that.
const FIRST_ROUNDS_N: [f64; 2] = [1e-3, 1e-5];
/// How stiffly a shape that was lost is first kept near its start, N/mm, by which share that falls
/// from stage to stage, and what counts as nothing.
const HELD_NEAR_N_PER_MM: f64 = 1e-2;
const HELD_LESS: f64 = 0.1;
const LEAST_NEAR_N_PER_MM: f64 = 1e-7;
/// Finds equilibria; keeps its memory from one solve to the next.
///
/// ```
/// use nestline::geometry::{Frame, Point, Vector};
/// use nestline::mechanics::{Rod, Scene, Settings, Settle, TubeStation};
/// let start = Frame::new(Point::origin(), Vector::x(), Vector::y());
/// let tube: Vec<TubeStation> = (0..=60)
///     .map(|i| TubeStation {
///         s_mm: f64::from(i),
///         frame: start.along_arc(f64::from(i), f64::from(i) / 40.0, 0.0),
///         radius_mm: 2.0,
///         wall_stiffness_n_per_mm2: 10.0,
///     })
///     .collect();
/// let rods = [Rod::uniform(20.0, 1.0)];
/// let scene = Scene { tube: &tube, rods: &rods, beside: &[] };
/// let found = Settle::new(Settings::default()).settle(&scene)?;
/// // a straight rod cuts the bend short
/// assert!(found.rods[0].path_length_mm < 60.0);
/// # Ok::<(), nestline::mechanics::MechanicsError>(())
/// ```
#[derive(Debug, Clone, Default)]
pub struct Settle {
    pub(crate) settings: Settings,
    pub(crate) model: Model,
    pub(crate) newton: Newton,
    /// Whether some rod's load follows its shape.
    follows: bool,
    /// Mismatch of the loads used and those of the shape, N, where rounds ran out.
    pub(crate) unsettled_n: f64,
    /// The same, whatever ended the rounds.
    pub(crate) off_n: f64,
    /// Whether the state found would leave for another if nobody held the hubs.
    pub(crate) between: bool,
    shapes: Vec<Shape>,
    /// Whether several solves share what work they may take.
    shares_work: bool,
    /// Whether rounds that stall are given up at once, because there is a better way.
    gives_up: bool,
}

/// Axis of a rod by arc length of the centre line.
#[derive(Debug, Clone, Default)]
struct Shape {
    station_mm: Vec<f64>,
    offset_mm: Vec<[f64; 2]>,
    /// The same nodes in space.
    place: Vec<Point>,
    /// The C2 curve through them; empty where it is not asked for.
    spans: Vec<Cubic>,
}

impl Shape {
    fn of(rod: &RodState) -> Self {
        Self {
            station_mm: rod.station_mm.clone(),
            offset_mm: rod.offset_mm.clone(),
            place: rod.position_mm.clone(),
            spans: Vec::new(),
        }
    }

    /// From node `a` to the next in space.
    fn span(&self, a: usize) -> Cubic {
        if let Some(span) = self.spans.get(a) {
            return *span;
        }
        let (s, p) = (&self.station_mm, &self.place);
        let chord = p[a + 1] - p[a];
        let length = s[a + 1] - s[a];
        let slope = |i: usize| {
            let inner = i > 0 && i + 1 < p.len();
            inner.then(|| (p[i + 1] - p[i - 1]) * (length / (s[i + 1] - s[i - 1])))
        };
        // no curvature at an end
        let other = |slope: Vector| chord * 1.5 - slope * 0.5;
        let (from, to) = match (slope(a), slope(a + 1)) {
            (Some(from), Some(to)) => (from, to),
            (Some(from), None) => (from, other(from)),
            (None, Some(to)) => (other(to), to),
            (None, None) => (chord, chord),
        };
        Cubic {
            c1: from,
            c2: chord * 3.0 - from * 2.0 - to,
            c3: from + to - chord * 2.0,
        }
    }

    /// Straight on in space beyond its end.
    fn beyond(&self) -> (Point, Cubic) {
        let last = self.place.len() - 1;
        let none = Vector::zeros();
        let c1 = self.span(last - 1).velocity(1.0);
        (
            self.place[last],
            Cubic {
                c1,
                c2: none,
                c3: none,
            },
        )
    }
}

/// The scene on every [`COARSENING`]th station; none where that leaves fewer cells than wished or a
/// rod too short for them.
fn coarsened(scene: &Scene<'_>, coarsest_cells: usize) -> Option<(Vec<TubeStation>, Vec<Rod>)> {
    let cells = scene.tube.len() - 1;
    if cells / COARSENING < coarsest_cells.max(4) {
        return None;
    }
    let coarse_cells = cells / COARSENING;
    // spread what does not divide over all cells
    let pick = |i: usize| (i * cells + coarse_cells / 2) / coarse_cells;
    let tube: Vec<TubeStation> = (0..=coarse_cells).map(|i| scene.tube[pick(i)]).collect();
    let mut rods = scene.rods.to_vec();
    for rod in &mut rods {
        if let AxialLoad::ByStation(values) | AxialLoad::Held { load_n: values, .. } = &mut rod.load
        {
            *values = (0..=coarse_cells).map(|i| values[pick(i)]).collect();
        }
    }
    let posed = Scene {
        tube: &tube,
        rods: &rods,
        beside: scene.beside,
    };
    posed.check().ok()?;
    Some((tube, rods))
}

/// Where a span crosses a station's plane, on its normals, from a parameter near it.
fn crossing(frame: &Frame, from: Point, span: &Cubic, near: f64) -> [f64; 2] {
    let start = from - frame.origin_mm;
    let mut u = near;
    // near and nearly straight: two steps of Newton's method leave far less than the guess is off by
    for _ in 0..2 {
        let ahead = frame.tangent.dot(&(start + span.offset(u)));
        u -= ahead / frame.tangent.dot(&span.velocity(u));
    }
    let at = start + span.offset(u);
    [frame.n1.dot(&at), frame.n2.dot(&at)]
}

/// An offset of rod `k`'s tip at arc length `s_mm`, drawn in to where the vessel has room for it.
fn inside_vessel(scene: &Scene<'_>, k: usize, s_mm: f64, at: [f64; 2]) -> [f64; 2] {
    let radius = TubeStation::at(scene.tube, s_mm).map_or(0.0, |t| t.radius_mm);
    let room = (radius - 0.5 * scene.rods[k].outer_mm.at(0.0)).max(0.0);
    let r = math::hypot(at[0], at[1]);
    if r > room {
        at.map(|x| x * room / r)
    } else {
        at
    }
}

impl Settle {
    /// With these settings.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        Self {
            settings,
            ..Self::default()
        }
    }

    /// The settings.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Changes the largest force out of balance, N: rough on the way, sharp at the end.
    pub(crate) fn ask_for(&mut self, gradient_tolerance_n: f64) {
        self.settings.gradient_tolerance_n = gradient_tolerance_n;
    }

    /// Equilibrium from scratch: all devices on one axis first, starting on the centre line, then
    /// each on its own, then with walls stiffened step by step where they are stiffer than
    /// [`Settings::first_stiffness_n_per_mm2`].
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`], [`MechanicsError::LengthMismatch`],
    /// [`MechanicsError::BadContainer`] and [`MechanicsError::DoesNotFit`] for scenes that cannot
    /// be posed, [`MechanicsError::Prolapsed`] where a rod runs away from the route,
    /// [`MechanicsError::NotConverged`] where no equilibrium was found.
    pub fn settle(&mut self, scene: &Scene<'_>) -> Result<Solution, MechanicsError> {
        self.restart_work();
        self.settle_in_all_ways(scene)
    }

    /// By long steps, else with natural bends that come up in parts, else by short steps.
    fn settle_in_all_ways(&mut self, scene: &Scene<'_>) -> Result<Solution, MechanicsError> {
        let bends = bends_up(scene);
        self.gives_up = bends;
        let found = match self.settle_from_scratch(scene) {
            Err(lost) if bends && lost.is_lost() => self.settle_bending(scene),
            found => found,
        };
        self.gives_up = false;
        match found {
            // long steps may lose a rod that short ones keep; one that bends up and runs away stays lost
            Err(lost) if lost.is_lost() && !(bends && lost.has_left()) => {
                self.newton.pace = Pace::CREEPING;
                let found = self.settle_from_scratch(scene);
                self.newton.pace = Pace::LONG;
                found
            }
            found => found,
        }
    }

    /// The same by long steps alone: on the way between states a second try costs more than it finds.
    ///
    /// # Errors
    /// As [`Self::settle`].
    pub(crate) fn settle_from_scratch(
        &mut self,
        scene: &Scene<'_>,
    ) -> Result<Solution, MechanicsError> {
        self.begin(scene)?;
        self.model.lay_out_nodes(scene);
        self.model.update_sections(scene);
        self.check_room(scene)?;
        let stiffest = self.stiffest(scene);
        let soft = self.settings.first_stiffness_n_per_mm2.min(stiffest);
        let mut passed_saddle = false;
        self.approach(scene, soft, self.settings.coarsest_cells)?;
        let mut stiffness = soft;
        loop {
            let last = stiffness >= stiffest;
            let tolerance = if last {
                self.settings.gradient_tolerance_n
            } else {
                self.settings.gradient_tolerance_n.max(STIFFENED_N)
            };
            passed_saddle |= self.settle_stage(scene, stiffness, tolerance, !last)?;
            if last {
                return self.finish(scene, passed_saddle);
            }
            stiffness = (stiffness * self.settings.stiffening).min(stiffest);
        }
    }

    /// Lays `scene` out with a first guess: from every [`COARSENING`]th station where there are
    /// enough of them, else from the composite rod.
    fn approach(
        &mut self,
        scene: &Scene<'_>,
        soft: f64,
        coarsest_cells: usize,
    ) -> Result<(), MechanicsError> {
        let coarse = coarsened(scene, coarsest_cells);
        if let Some((tube, rods)) = &coarse {
            let coarse = Scene {
                tube,
                rods,
                beside: scene.beside,
            };
            self.approach(&coarse, soft, coarsest_cells)?;
            let tolerance = self.settings.gradient_tolerance_n.max(PREPARED_N);
            self.balance(&coarse, soft, tolerance, true)?;
            self.model.store(&self.newton.x);
            self.shapes.clear();
            for rod in &self.model.rods {
                let range = rod.range();
                let places: Vec<Point> = range.clone().map(|n| self.model.place(n)).collect();
                let chords: Vec<f64> = places.windows(2).map(|p| (p[1] - p[0]).norm()).collect();
                self.shapes.push(Shape {
                    station_mm: self.model.nodes.s_mm[range.clone()].to_vec(),
                    offset_mm: self.model.nodes.offset[range].to_vec(),
                    spans: natural_spans(&places, &chords).collect(),
                    place: places,
                });
            }
        }
        self.model.lay_out_nodes(scene);
        if coarse.is_some() {
            self.guess(scene);
        } else if scene.rods.len() > 1 {
            self.model.update_sections(scene);
            self.model
                .lay_out_terms(scene, &self.settings, Sharing::All);
            self.model.gather(&mut self.newton.x);
            let tolerance = self.settings.gradient_tolerance_n.max(PREPARED_N);
            self.balance(scene, soft, tolerance, true)?;
            self.part(scene);
        }
        self.model.update_sections(scene);
        self.model
            .lay_out_terms(scene, &self.settings, Sharing::TightFits);
        self.model.gather(&mut self.newton.x);
        Ok(())
    }

    /// Equilibrium from a neighbouring one, such as before a device moved by a millimetre; from
    /// scratch where the way from there is lost.
    ///
    /// # Errors
    /// As [`Self::settle`].
    pub fn settle_from(
        &mut self,
        scene: &Scene<'_>,
        before: &Solution,
    ) -> Result<Solution, MechanicsError> {
        if before.rods.len() != scene.rods.len() {
            return self.settle(scene);
        }
        self.restart_work();
        match self.follow_from(scene, before) {
            Err(lost) if lost.is_lost() => self.settle_in_all_ways(scene),
            found => found,
        }
    }

    /// The same from there alone.
    ///
    /// # Errors
    /// As [`Self::settle`].
    pub(super) fn follow_from(
        &mut self,
        scene: &Scene<'_>,
        before: &Solution,
    ) -> Result<Solution, MechanicsError> {
        self.begin(scene)?;
        self.model.lay_out_nodes(scene);
        self.shapes.clear();
        for (k, rod) in before.rods.iter().enumerate() {
            if self.newton.free_rolls.contains(&k) {
                self.newton.rolls[k] = rod.roll_rad;
            }
            self.shapes.push(Shape::of(rod));
        }
        self.guess(scene);
        self.model.update_sections(scene);
        self.model
            .lay_out_terms(scene, &self.settings, Sharing::TightFits);
        self.model.gather(&mut self.newton.x);
        let stiffest = self.stiffest(scene);
        let tolerance = self.settings.gradient_tolerance_n;
        let passed_saddle = self.settle_stage(scene, stiffest, tolerance, false)?;
        self.finish(scene, passed_saddle)
    }

    /// From here on all solves together may take so many factorised unknowns.
    pub(crate) fn allow(&mut self, most: u64) {
        self.newton.work = Work { done: 0, most };
        self.shares_work = true;
    }

    /// Factorised unknowns since the work was counted anew.
    pub(crate) fn worked(&self) -> u64 {
        self.newton.work.done
    }

    fn restart_work(&mut self) {
        if !self.shares_work {
            self.newton.work = Work {
                done: 0,
                most: self.settings.most_factorised_unknowns,
            };
        }
    }

    /// Equilibrium from shapes near it; a rod without one starts along what it lies in.
    ///
    /// # Errors
    /// As [`Self::settle`].
    pub(crate) fn settle_near(
        &mut self,
        scene: &Scene<'_>,
        shapes: &[Option<&RodState>],
        sideways_n_per_mm: f64,
    ) -> Result<Solution, MechanicsError> {
        self.restart_work();
        if shapes.len() != scene.rods.len() || shapes.iter().all(Option::is_none) {
            return self.settle(scene);
        }
        self.begin(scene)?;
        self.model.lay_out_nodes(scene);
        self.shapes.clear();
        for (k, shape) in shapes.iter().enumerate() {
            self.shapes.push(shape.map(Shape::of).unwrap_or_default());
            if let Some(rod) = shape
                && self.newton.free_rolls.contains(&k)
            {
                self.newton.rolls[k] = rod.roll_rad;
            }
        }
        self.guess(scene);
        for (k, shape) in shapes.iter().enumerate() {
            if shape.is_none() {
                self.guess_along(scene, k);
            }
        }
        self.model.update_sections(scene);
        self.check_room(scene)?;
        self.model
            .lay_out_terms(scene, &self.settings, Sharing::TightFits);
        self.model.gather(&mut self.newton.x);
        let start = self.newton.x.clone();
        let rolls = self.newton.rolls.clone();
        let stiffest = self.stiffest(scene);
        let tolerance = self.settings.gradient_tolerance_n;
        self.model.near.clone_from(&start);
        self.model.near_n_per_mm = sideways_n_per_mm;
        let lost = match self.settle_stage(scene, stiffest, tolerance, false) {
            Ok(passed_saddle) => return self.finish(scene, passed_saddle),
            Err(lost) if lost.is_lost() => lost,
            Err(other) => return Err(other),
        };
        // in steps that hold it less and less near
        self.newton.x = start;
        self.newton.rolls = rolls;
        self.newton.restart();
        let mut held = HELD_NEAR_N_PER_MM;
        loop {
            let last = held <= sideways_n_per_mm.max(LEAST_NEAR_N_PER_MM);
            self.model.store(&self.newton.x);
            self.model.near.clone_from(&self.newton.x);
            self.model.near_n_per_mm = if last { sideways_n_per_mm } else { held };
            self.newton.history.steps = 0;
            let near = if last {
                tolerance
            } else {
                tolerance.max(PREPARED_N)
            };
            let stage = self.settle_stage(scene, stiffest, near, !last);
            match stage {
                Ok(passed_saddle) if last => return self.finish(scene, passed_saddle),
                Ok(_) => {}
                Err(_) if last => return Err(lost),
                Err(other) => return Err(other),
            }
            held *= HELD_LESS;
        }
    }

    /// How far the shape is from the one it was kept near, mm.
    pub(super) fn moved_mm(&self) -> f64 {
        let near = &self.model.near;
        let away = near.iter().zip(&self.newton.x).map(|(a, b)| (a - b).abs());
        away.fold(0.0, larger)
    }

    /// Lays a rod of which nothing is known along what it lies in, and straight on beyond.
    fn guess_along(&mut self, scene: &Scene<'_>, k: usize) {
        let mut at = [0.0_f64; 2];
        for i in 0..self.model.rods[k].count() {
            let node = self.model.rods[k].first + i;
            let s = self.model.nodes.s_mm[node];
            let around = scene.rods[k].containers.iter().find(|c| s <= c.to_mm);
            if let Some(Container::Rod(j)) = around.map(|c| c.container)
                && i < self.model.rods[j].count()
            {
                at = self.model.nodes.offset[self.model.rods[j].first + i];
            } else {
                at = inside_vessel(scene, k, s, at);
            }
            self.model.nodes.offset[node] = at;
        }
    }

    /// Assembles and factorises the matrix of the last solve once more, for measurements; tells
    /// whether it is positive definite. Its cost in multiplications and additions is
    /// [`Solution::factorisation_flops`].
    pub fn factorise_again(&mut self) -> bool {
        self.model.factorise(0.0)
    }

    fn begin(&mut self, scene: &Scene<'_>) -> Result<(), MechanicsError> {
        self.settings.check()?;
        scene.check()?;
        self.newton.history = History::default();
        self.model.near.clear();
        self.unsettled_n = 0.0;
        self.off_n = 0.0;
        self.between = false;
        self.follows = scene.rods.iter().any(Rod::goes_by_rounds);
        self.newton.restart();
        self.newton.rolls = Model::first_rolls(scene);
        self.newton.free_rolls = scene
            .rods
            .iter()
            .enumerate()
            .filter(|(_, r)| matches!(r.natural.map(|n| n.roll), Some(Roll::Free(_))))
            .map(|(k, _)| k)
            .collect();
        Ok(())
    }

    fn stiffest(&self, scene: &Scene<'_>) -> f64 {
        let walls = scene.tube.iter().map(|t| t.wall_stiffness_n_per_mm2);
        let tips = scene.rods.iter().filter_map(|r| match &r.end {
            End::Tip(tip) => Some(tip.wall_stiffness_n_per_mm2),
            End::ExitPlane => None,
        });
        let devices = (scene.rods.len() > 1).then_some(self.settings.device_stiffness_n_per_mm2);
        walls.chain(tips).chain(devices).fold(0.0, f64::max)
    }

    /// Shape, stiffness by own arc length and loads, until all agree. Where `prepares` is set the
    /// outcome is a first guess: a few rounds do, and a shape near balance is as good.
    pub(super) fn balance(
        &mut self,
        scene: &Scene<'_>,
        stiffest: f64,
        tolerance_n: f64,
        prepares: bool,
    ) -> Result<Ended, MechanicsError> {
        let most = self.settings.most_newton_steps;
        let rounds = if prepares {
            PREPARING_ROUNDS
        } else {
            MOST_ROUNDS
        };
        self.newton.definite = None;
        let mut last = None;
        let mut misses = Vec::new();
        // loads that are held stay as they are
        let mut tried = !self.model.turning.held_n.is_empty();
        self.model.restart_loads();
        self.unsettled_n = 0.0;
        let loads_n = LOADS_TO_FORCES * tolerance_n;
        let (settings, follows) = (&self.settings, self.follows);
        let near = self
            .newton
            .follow(&mut self.model, tolerance_n, |model, x, rolls| {
                model.store(x);
                model.update(scene, settings, rolls, stiffest);
                !follows || model.unsettled_n() < loads_n
            });
        if let Some(ended) = near {
            self.off_n = self.model.unsettled_n();
            return Ok(ended);
        }
        self.model.restart_loads();
        for round in 0..rounds {
            self.model.store(&self.newton.x);
            self.model.relaxation.halved = round >= FEWEST_ROUNDS;
            self.model
                .update(scene, &self.settings, &self.newton.rolls, stiffest);
            let slid_mm = self.model.relaxation.slid_mm;
            // Early rounds need not be exact: the coefficients still move.
            let rough_n = FIRST_ROUNDS_N.get(round).copied().unwrap_or(0.0);
            let near = tolerance_n.max(rough_n);
            let steps = self.newton.history.steps;
            let mut ended;
            loop {
                let until = (self.newton.history.steps + STEPS_BETWEEN_LOOKS).min(most);
                ended = self.newton.run(&mut self.model, near, until);
                if ended.converged || self.newton.history.steps < until || until == most {
                    break;
                }
                self.look_for_prolapse(scene)?;
            }
            if !ended.converged {
                if self.newton.work.is_over() {
                    return Err(self.not_converged(&ended, tolerance_n, false));
                }
                if prepares && ended.residual_n.is_finite() {
                    return Ok(ended);
                }
                self.look_for_prolapse(scene)?;
                return Err(self.not_converged(&ended, tolerance_n, false));
            }
            let agrees = slid_mm < SETTLED_MM;
            let rests = self.newton.history.steps == steps;
            let settled = if follows {
                rests && (agrees || round < FEWEST_ROUNDS) && self.model.unsettled_n() < loads_n
            } else {
                agrees || (rests && round < FEWEST_ROUNDS)
            };
            if settled && round > 0 && ended.residual_n < tolerance_n {
                self.off_n = self.model.unsettled_n();
                return Ok(ended);
            }
            last = Some(ended);
            misses.push(self.model.unsettled_n());
            let stalls = round >= FEWEST_ROUNDS
                && misses[round] > STALLED * misses[round - STALLED_ROUNDS]
                && misses[round] > loads_n;
            if stalls && !prepares && self.gives_up {
                return Err(self.not_converged(&ended, tolerance_n, true));
            }
            if stalls && !prepares && !tried {
                tried = true;
                if let Some(ended) = self.settle_stalled(scene, stiffest, tolerance_n) {
                    return Ok(ended);
                }
                self.model.restart_loads();
            }
        }
        // In balance under the loads used; how far those are from the shape's own is told. Stiffness and
        // diameters that do not come to agree with the shape are not let pass.
        let unsettled_n = self.model.unsettled_n();
        let settled_mm = self.model.relaxation.slid_mm < UNSETTLED_MM;
        match last {
            Some(ended) if prepares => Ok(ended),
            Some(ended) if settled_mm && unsettled_n < UNSETTLED_N => {
                let off = unsettled_n >= loads_n;
                self.unsettled_n = if off { unsettled_n } else { 0.0 };
                self.off_n = unsettled_n;
                Ok(ended)
            }
            Some(mut ended) => {
                ended.residual_n = unsettled_n;
                Err(self.not_converged(&ended, tolerance_n, true))
            }
            None => Err(MechanicsError::OutOfRange {
                what: "rounds".into(),
                found: 0.0,
                needed: "at least 1",
            }),
        }
    }

    /// Other ways to shapes and loads that agree, where taking turns does not come nearer.
    fn settle_stalled(
        &mut self,
        scene: &Scene<'_>,
        stiffest: f64,
        tolerance_n: f64,
    ) -> Option<Ended> {
        let most = self.newton.work.most;
        let mut found = None;
        if scene.rods.iter().any(Rod::turns_by_rounds) {
            self.allow_a_try(most);
            found = self.take_turns(scene, stiffest, tolerance_n);
        }
        for hand_n_per_mm in HANDS_N_PER_MM {
            if found.is_some() {
                break;
            }
            self.allow_a_try(most);
            found = self.hold(scene, stiffest, tolerance_n, hand_n_per_mm);
        }
        self.newton.work.most = most;
        found
    }

    /// What one of several tries may take of the work allowed in all.
    fn allow_a_try(&mut self, most: u64) {
        /// A tenth: most that end well take a hundredth.
        const TRIES: u64 = 10;
        let work = &mut self.newton.work;
        work.most = most.min(work.done + most / TRIES);
    }

    /// One wall stiffness: balance, and away from saddles. Tells whether one was passed.
    fn settle_stage(
        &mut self,
        scene: &Scene<'_>,
        stiffest: f64,
        tolerance_n: f64,
        prepares: bool,
    ) -> Result<bool, MechanicsError> {
        let mut passed = false;
        for _ in 0..MOST_SADDLES {
            self.balance(scene, stiffest, tolerance_n, prepares)?;
            let known = self.newton.definite;
            if known.unwrap_or_else(|| self.model.factorise(0.0)) {
                break;
            }
            // A shift may be left over from the way here: look at the place itself.
            match self.newton.lowest_mode(&mut self.model) {
                Some(value) if value < 0.0 => {
                    passed = true;
                    self.newton.leave_saddle(&mut self.model);
                }
                _ => break,
            }
        }
        Ok(passed)
    }

    fn not_converged(&self, ended: &Ended, needed_n: f64, rounds: bool) -> MechanicsError {
        if self.newton.work.is_over() {
            return MechanicsError::OverBound {
                most: self.newton.work.most,
            };
        }
        if !ended.residual_n.is_finite() {
            return MechanicsError::NonFinite {
                what: "the force out of balance",
            };
        }
        let (rod, station_mm) = self
            .model
            .owner
            .get(ended.worst / 2)
            .map_or((0, f64::NAN), |(rod, s)| (*rod as usize, *s));
        MechanicsError::NotConverged {
            steps: self.newton.history.steps,
            residual_n: ended.residual_n,
            needed_n,
            rod,
            station_mm,
            hint: if rounds {
                "shape and the stiffness and load that follow the rod's own arc length keep changing each other: give the axial load by station, or come from a neighbouring state in smaller moves"
            } else if self.newton.history.steps >= self.settings.most_newton_steps {
                "allow more Newton steps, or come from a neighbouring state in smaller moves"
            } else {
                "the energy falls no further: soften the wall or the load, or refine the stations"
            },
        }
    }

    /// Sets siblings apart before they get axes of their own.
    fn part(&mut self, scene: &Scene<'_>) {
        for pair in scene.beside {
            let [a, b] = pair.rods;
            for (k, sign, other) in [(b, 1.0, a), (a, -1.0, b)] {
                for node in self.model.rods[k].range() {
                    let s = self.model.nodes.s_mm[node];
                    if s < pair.from_mm || s > pair.to_mm || self.model.nodes.base[node] == FIXED {
                        continue;
                    }
                    // each aside by the other's radius, so that they touch
                    let aside = 0.5 * scene.rods[other].outer_mm.at(0.0) * sign;
                    let at = &mut self.model.nodes.offset[node];
                    at[0] += aside * math::cos(pair.side_rad);
                    at[1] += aside * math::sin(pair.side_rad);
                }
            }
        }
    }

    /// Offsets of the nodes from `shapes`: along the old axes, and straight on beyond an old tip,
    /// inside the vessel.
    fn guess(&mut self, scene: &Scene<'_>) {
        for (k, old) in self.shapes.iter().enumerate() {
            let (s_old, u_old) = (&old.station_mm, &old.offset_mm);
            let nodes = s_old.len();
            if nodes < 3 || u_old.len() != nodes {
                continue;
            }
            let slope = |i: usize| {
                let (a, b) = (i.saturating_sub(1), (i + 1).min(nodes - 1));
                let span = s_old[b] - s_old[a];
                [0, 1].map(|p| (u_old[b][p] - u_old[a][p]) / span)
            };
            let mut cursor = 0;
            for node in self.model.rods[k].range() {
                let s = self.model.nodes.s_mm[node];
                while cursor + 2 < nodes && s_old[cursor + 1] <= s {
                    cursor += 1;
                }
                let (a, b) = (cursor, cursor + 1);
                let same = [a, b].into_iter().find(|i| s_old[*i].total_cmp(&s).is_eq());
                if let Some(i) = same {
                    self.model.nodes.offset[node] = u_old[i];
                    continue;
                }
                let span = s_old[b] - s_old[a];
                let t = (s - s_old[a]) / span;
                let frame = &self.model.frames[self.model.nodes.frame[node] as usize];
                if self.newton.pace.foresees {
                    let at = if t <= 1.0 {
                        crossing(frame, old.place[a], &old.span(a), t)
                    } else {
                        let (from, on) = old.beyond();
                        inside_vessel(scene, k, s, crossing(frame, from, &on, t - 1.0))
                    };
                    if at.iter().all(|x| x.is_finite()) {
                        self.model.nodes.offset[node] = at;
                        continue;
                    }
                }
                let (ua, ub) = (u_old[a], u_old[b]);
                if t <= 1.0 {
                    let (da, db) = (slope(a), slope(b));
                    let (t2, t3) = (t * t, t * t * t);
                    self.model.nodes.offset[node] = [0, 1].map(|p| {
                        ua[p] * (1.0 - 3.0 * t2 + 2.0 * t3)
                            + ub[p] * (3.0 * t2 - 2.0 * t3)
                            + span * (da[p] * (t3 - 2.0 * t2 + t) + db[p] * (t3 - t2))
                    });
                    continue;
                }
                let at = [0, 1].map(|p| ua[p] + (ub[p] - ua[p]) * t);
                self.model.nodes.offset[node] = inside_vessel(scene, k, s, at);
            }
        }
    }

    /// Gives up on a rod that is running away.
    fn look_for_prolapse(&mut self, scene: &Scene<'_>) -> Result<(), MechanicsError> {
        self.model.store(&self.newton.x);
        self.model.look_at_stored();
        let (rod, station_mm, angle_deg) = self.largest_angle(scene);
        if angle_deg > self.settings.prolapse_deg {
            return Err(MechanicsError::Prolapsed {
                rod,
                station_mm,
                angle_deg,
            });
        }
        Ok(())
    }
}
