//! Equilibrium of a scene.

use super::MechanicsError;
use super::anderson::Anderson;
use super::contact::Keep;
use super::layout::{FIXED, Sharing};
use super::model::Model;
use super::newton::{Ended, History, Newton};
use super::scene::{AxialLoad, Container, End, Rod, Roll, Scene, TubeStation};
use super::settings::Settings;
use super::solution::{Contact, Flag, RodState, Solution, Status};
use super::terms::Mix;
use crate::geometry::Vector;

/// Most rounds in which stiffness, loads and shape follow each other; each round shrinks the
/// mismatch by a factor of hundreds, so more than a handful means that something oscillates.
const MOST_ROUNDS: usize = 40;
/// The same where the shape only prepares the next stage.
const PREPARING_ROUNDS: usize = 3;
/// Loads need agree less closely than forces balance: they act through curvature times spacing.
const LOADS_TO_FORCES: f64 = 10.0;
/// Where rounds run out with loads this near to the shape's own, N, that is reported with a flag, not
/// refused: well below friction, and a start for the loads with friction.
const UNSETTLED_N: f64 = 5e-3;
/// Rounds before loads and shape are held to swing, and by how much they must come nearer in so many
/// rounds.
const FEWEST_ROUNDS: usize = 6;
const STALLED_ROUNDS: usize = 4;
const STALLED: f64 = 0.25;
/// Stiffness of hands that hold rods while loads and shape are sought, N/mm: stiff against the
/// thousandths of a newton a millimetre by which bundles in wide vessels give.
const HAND_N_PER_MM: f64 = 0.1;
/// Most rounds with hands, and without coming nearer.
const HOLD_ROUNDS: usize = 80;
const HOLD_PATIENCE: usize = 15;
/// Newton steps between looks at a rod that may be running away: far more than a plain solve takes.
const STEPS_BETWEEN_LOOKS: usize = 80;
/// Most saddles left in one solve; each costs a few steps and every one lowers the energy.
const MOST_SADDLES: usize = 8;
/// Stations to one of the next coarser level. The ends of contact stretches move by about a station
/// a factorisation; with two, the coarser level leaves them within two.
const COARSENING: usize = 2;
/// Balance of shapes that only prepare the next stage, N.
const PREPARED_N: f64 = 1e-3;
/// How stiffly a shape that was lost is first kept near its start, N/mm, by which share that falls
/// from stage to stage, and what counts as nothing.
const HELD_NEAR_N_PER_MM: f64 = 1e-2;
const HELD_LESS: f64 = 0.1;
const LEAST_NEAR_N_PER_MM: f64 = 1e-7;
/// Indentation of a vessel wall worth a flag, mm.
const DEEP_MM: f64 = 0.1;

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
    settings: Settings,
    model: Model,
    newton: Newton,
    /// Whether some rod's load follows its shape.
    follows: bool,
    /// Mismatch of the loads used and those of the shape, N, where rounds ran out.
    unsettled_n: f64,
    /// Whether the state found would leave for another if nobody held the hubs.
    between: bool,
    shapes: Vec<Shape>,
}

/// Axis of a rod by arc length of the centre line.
#[derive(Debug, Clone, Default)]
struct Shape {
    station_mm: Vec<f64>,
    offset_mm: Vec<[f64; 2]>,
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
        if let AxialLoad::ByStation(values)
        | AxialLoad::Held { load_n: values, .. } = &mut rod.load
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
        self.begin(scene)?;
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
                self.settings.gradient_tolerance_n.max(1e-4)
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
                self.shapes.push(Shape {
                    station_mm: self.model.nodes.s_mm[range.clone()].to_vec(),
                    offset_mm: self.model.nodes.offset[range].to_vec(),
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
        self.begin(scene)?;
        self.model.lay_out_nodes(scene);
        self.shapes.clear();
        for (k, rod) in before.rods.iter().enumerate() {
            if self.newton.free_rolls.contains(&k) {
                self.newton.rolls[k] = rod.roll_rad;
            }
            self.shapes.push(Shape {
                station_mm: rod.station_mm.clone(),
                offset_mm: rod.offset_mm.clone(),
            });
        }
        self.guess(scene);
        self.model.update_sections(scene);
        self.model
            .lay_out_terms(scene, &self.settings, Sharing::TightFits);
        self.model.gather(&mut self.newton.x);
        let stiffest = self.stiffest(scene);
        let tolerance = self.settings.gradient_tolerance_n;
        match self.settle_stage(scene, stiffest, tolerance, false) {
            Ok(passed_saddle) => self.finish(scene, passed_saddle),
            Err(MechanicsError::NotConverged { .. } | MechanicsError::Prolapsed { .. }) => {
                self.settle(scene)
            }
            Err(other) => Err(other),
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
        if shapes.len() != scene.rods.len() || shapes.iter().all(Option::is_none) {
            return self.settle(scene);
        }
        self.begin(scene)?;
        self.model.lay_out_nodes(scene);
        self.shapes.clear();
        for (k, shape) in shapes.iter().enumerate() {
            self.shapes.push(Shape::default());
            if let Some(rod) = shape {
                if self.newton.free_rolls.contains(&k) {
                    self.newton.rolls[k] = rod.roll_rad;
                }
                self.shapes[k].station_mm.clone_from(&rod.station_mm);
                self.shapes[k].offset_mm.clone_from(&rod.offset_mm);
            }
        }
        self.guess(scene);
        for k in 0..shapes.len() {
            if shapes[k].is_none() {
                self.guess_along(scene, k);
            }
        }
        self.model.update_sections(scene);
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
            Err(
                lost @ (MechanicsError::NotConverged { .. } | MechanicsError::Prolapsed { .. }),
            ) => lost,
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
            let near = if last { tolerance } else { tolerance.max(PREPARED_N) };
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
    fn moved_mm(&self) -> f64 {
        let near = &self.model.near;
        let away = near.iter().zip(&self.newton.x).map(|(a, b)| (a - b).abs());
        away.fold(0.0, f64::max)
    }

    /// Lays a rod of which nothing is known along what it lies in, and straight on beyond.
    fn guess_along(&mut self, scene: &Scene<'_>, k: usize) {
        let mut at = [0.0; 2];
        for i in 0..self.model.rods[k].count() {
            let node = self.model.rods[k].first + i;
            let s = self.model.nodes.s_mm[node];
            let around = scene.rods[k].containers.iter().find(|c| s <= c.to_mm);
            if let Some(Container::Rod(j)) = around.map(|c| c.container)
                && i < self.model.rods[j].count()
            {
                at = self.model.nodes.offset[self.model.rods[j].first + i];
            } else {
                let radius = TubeStation::at(scene.tube, s).map_or(0.0, |t| t.radius_mm);
                let room = (radius - 0.5 * scene.rods[k].outer_mm.at(0.0)).max(0.0);
                let r = at[0].hypot(at[1]);
                if r > room {
                    at = at.map(|x| x * room / r);
                }
            }
            self.model.nodes.offset[node] = at;
        }
    }

    /// Assembles and factorises the matrix of the last solve once more, for measurements; tells
    /// whether it is positive definite. Its cost in multiplications and additions is
    /// [`Solution::factorisation_flops`].
    pub fn factorise_again(&mut self) -> bool {
        self.model.factorise(0.0, &self.newton.x)
    }

    fn begin(&mut self, scene: &Scene<'_>) -> Result<(), MechanicsError> {
        self.settings.check()?;
        scene.check()?;
        self.newton.history = History::default();
        self.model.near.clear();
        self.unsettled_n = 0.0;
        self.between = false;
        self.follows = scene.rods.iter().any(|r| {
            matches!(r.load, AxialLoad::Frictionless(_))
        });
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
    fn balance(
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
        let mut definite = None;
        let mut last = None;
        let mut misses = Vec::new();
        let mut tried = false;
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
            return Ok(ended);
        }
        self.model.restart_loads();
        for round in 0..rounds {
            self.model.store(&self.newton.x);
            self.model
                .update(scene, &self.settings, &self.newton.rolls, stiffest);
            // Early rounds need not be exact: the coefficients still move.
            let near = match round {
                0 => tolerance_n.max(1e-3),
                1 => tolerance_n.max(1e-5),
                _ => tolerance_n,
            };
            let steps = self.newton.history.steps;
            let mut ended;
            loop {
                let until = (self.newton.history.steps + STEPS_BETWEEN_LOOKS).min(most);
                ended = self.newton.run(&mut self.model, near, until);
                definite = ended.definite.or(definite);
                if ended.converged || self.newton.history.steps < until || until == most {
                    break;
                }
                self.look_for_prolapse(scene)?;
            }
            ended.definite = definite;
            if !ended.converged {
                if prepares && ended.residual_n.is_finite() {
                    return Ok(ended);
                }
                self.look_for_prolapse(scene)?;
                return Err(self.not_converged(&ended, tolerance_n, false));
            }
            let settled = self.newton.history.steps == steps
                && (!follows || self.model.unsettled_n() < loads_n);
            if settled && round > 0 && ended.residual_n < tolerance_n {
                return Ok(ended);
            }
            last = Some(ended);
            misses.push(self.model.unsettled_n());
            let stalls = round >= FEWEST_ROUNDS
                && misses[round] > STALLED * misses[round - STALLED_ROUNDS]
                && misses[round] > loads_n;
            if stalls && !prepares && !tried {
                tried = true;
                if let Some(ended) = self.hold(scene, stiffest, tolerance_n)? {
                    return Ok(ended);
                }
                self.model.restart_loads();
            }
        }
        // In balance under the loads used; how far those are from the shape's own is told.
        let unsettled_n = self.model.unsettled_n();
        match last {
            Some(ended) if prepares => Ok(ended),
            Some(ended) if unsettled_n < UNSETTLED_N => {
                self.unsettled_n = unsettled_n;
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

    /// Shape and loads together where taking turns swings between two shapes: under its load a
    /// pushed rod snaps from one wall to the other, and what each shape calls for brings back the
    /// other. Held at their hubs ([`super::grip`]) rods follow the states between; loads and
    /// lengths held are moved until the hands feel nothing but the loads called for.
    ///
    /// None where that ends nowhere, or where hands hold the rods already.
    fn hold(
        &mut self,
        scene: &Scene<'_>,
        stiffest: f64,
        tolerance_n: f64,
    ) -> Result<Option<Ended>, MechanicsError> {
        let follows = |rod: &Rod| match &rod.load {
            AxialLoad::Frictionless(tip) => Some(*tip),
            _ => None,
        };
        let mut rods = scene.rods.to_vec();
        let mut held = Vec::new();
        self.model.restart_loads();
        self.model.store(&self.newton.x);
        self.model
            .update(scene, &self.settings, &self.newton.rolls, stiffest);
        for (k, rod) in rods.iter_mut().enumerate() {
            if let Some(tip_n) = follows(rod) {
                rod.load = AxialLoad::Gripped {
                    tip_n,
                    grip_n_per_mm: HAND_N_PER_MM,
                    fed_mm: self.model.nodes.from_tip[self.model.rods[k].first],
                };
                held.push(k);
            }
        }
        if held.is_empty() || held.len() < scene.rods.len() {
            return Ok(None);
        }
        let nodes = self.model.nodes.load.len();
        let mut weight = Vec::with_capacity(nodes + held.len());
        for rod in &self.model.rods {
            #[expect(clippy::cast_precision_loss, reason = "a few thousand nodes")]
            weight.resize(weight.len() + rod.count(), (rod.count() as f64).powf(-0.5));
        }
        weight.resize(nodes + held.len(), 1.0);
        let mut unknown = self.model.nodes.load.clone();
        for rod in &rods {
            if let AxialLoad::Gripped { fed_mm, .. } = rod.load {
                unknown.push(HAND_N_PER_MM * fed_mm);
            }
        }
        let mut miss = vec![0.0; unknown.len()];
        let mut anderson = Anderson::default();
        let loads_n = LOADS_TO_FORCES * tolerance_n;
        let mut near = 1e-5_f64;
        let mut best = f64::INFINITY;
        let mut waiting = 0;
        for _ in 0..HOLD_ROUNDS {
            self.model.relaxation.held = true;
            self.model.relaxation.used.clear();
            self.model
                .relaxation
                .used
                .extend_from_slice(&unknown[..nodes]);
            for (rod, wished) in rods.iter_mut().zip(&unknown[nodes..]) {
                if let AxialLoad::Gripped { fed_mm, .. } = &mut rod.load {
                    *fed_mm = wished / HAND_N_PER_MM;
                }
            }
            let posed = Scene {
                rods: &rods,
                ..*scene
            };
            self.model.store(&self.newton.x);
            self.model
                .update(&posed, &self.settings, &self.newton.rolls, stiffest);
            let until = (self.newton.history.steps + STEPS_BETWEEN_LOOKS)
                .min(self.settings.most_newton_steps);
            let ended = self
                .newton
                .run(&mut self.model, near.max(tolerance_n), until);
            if !ended.converged {
                break;
            }
            self.model.store(&self.newton.x);
            self.model
                .update(&posed, &self.settings, &self.newton.rolls, stiffest);
            let mut worst = 0.0_f64;
            for (k, rod) in self.model.rods.iter().enumerate() {
                let length_mm = self.model.grips.length_mm(k);
                let at = nodes + k;
                miss[at] = HAND_N_PER_MM * length_mm - unknown[at];
                for i in rod.range() {
                    miss[i] = self.model.relaxation.called[i] - unknown[i];
                    worst = worst.max((miss[i] - miss[at]).abs());
                }
            }
            if worst < loads_n && ended.residual_n < tolerance_n {
                self.model.restart_loads();
                self.model
                    .update(scene, &self.settings, &self.newton.rolls, stiffest);
                self.between |= !self.model.factorise(0.0, &self.newton.x);
                return Ok(Some(ended));
            }
            waiting = if worst < 0.9 * best { 0 } else { waiting + 1 };
            best = best.min(worst);
            if waiting > HOLD_PATIENCE || worst.is_nan() {
                break;
            }
            near = (0.01 * worst).min(1e-5);
            anderson.step(&mut unknown, &miss, &weight);
        }
        Ok(None)
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
            let ended = self.balance(scene, stiffest, tolerance_n, prepares)?;
            let definite = ended
                .definite
                .unwrap_or_else(|| self.model.factorise(0.0, &self.newton.x));
            if definite {
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
                    at[0] += aside * pair.side_rad.cos();
                    at[1] += aside * pair.side_rad.sin();
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
                let span = s_old[b] - s_old[a];
                let t = (s - s_old[a]) / span;
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
                let mut at = [0, 1].map(|p| ua[p] + (ub[p] - ua[p]) * t);
                let radius = TubeStation::at(scene.tube, s).map_or(0.0, |t| t.radius_mm);
                let room = (radius - 0.5 * scene.rods[k].outer_mm.at(0.0)).max(0.0);
                let r = at[0].hypot(at[1]);
                if r > room {
                    at = at.map(|x| x * room / r);
                }
                self.model.nodes.offset[node] = at;
            }
        }
    }

    /// Reads the state off the model.
    fn finish(
        &mut self,
        scene: &Scene<'_>,
        passed_saddle: bool,
    ) -> Result<Solution, MechanicsError> {
        self.model.store(&self.newton.x);
        let mut flags = Vec::new();
        if passed_saddle || self.between {
            flags.push(Flag::SeveralEquilibria);
        }
        if self.unsettled_n > 0.0 {
            flags.push(Flag::Unsettled {
                load_n: self.unsettled_n,
            });
        }
        let smallest = if self.settings.smallest_eigenvalue {
            self.newton.lowest_mode(&mut self.model)
        } else {
            None
        };
        let rods: Vec<RodState> = (0..scene.rods.len())
            .map(|k| self.rod_state(scene, k))
            .collect();
        let (contacts, contact_energy_n_mm) = self.contacts();
        self.check_fits(scene, &mut flags)?;
        let deepest = contacts
            .iter()
            .filter(|c| c.other.is_none())
            .max_by(|a, b| a.indentation_mm.total_cmp(&b.indentation_mm));
        if let Some(deepest) = deepest.filter(|c| c.indentation_mm > DEEP_MM) {
            flags.push(Flag::DeepIndentation {
                rod: deepest.rod,
                station_mm: deepest.station_mm,
                indentation_mm: deepest.indentation_mm,
            });
        }
        let history = std::mem::take(&mut self.newton.history);
        Ok(Solution {
            status: self.status(scene),
            rods,
            contacts,
            contact_energy_n_mm,
            residual_n: history.residuals_n.last().copied().unwrap_or(f64::NAN),
            steps: history.steps,
            factorisations: history.factorisations,
            residuals_n: history.residuals_n,
            energies_n_mm: history.energies_n_mm,
            smallest_eigenvalue_n_per_mm: smallest,
            flags,
            factorisation_flops: self.model.matrix.flops(),
            compliance_mm_per_n: self.model.compliance_mm_per_n(),
            moved_mm: self.moved_mm(),
        })
    }

    fn rod_state(&self, scene: &Scene<'_>, k: usize) -> RodState {
        let model = &self.model;
        let range = model.rods[k].range();
        let count = range.len();
        let mut curvature = vec![Vector::zeros(); count];
        let mut moment = vec![Vector::zeros(); count];
        let (mut bending, mut path) = (0.0, 0.0);
        for member in &model.members {
            let node = member.node as usize;
            if !range.contains(&node) {
                continue;
            }
            let corner = model.corner_at(member.nodes, member.clamp);
            let (b, natural) = (model.nodes.stiffness[node], model.nodes.natural[node]);
            let mut bent = corner.curvature_per_mm();
            let mut energy = b * corner.bending();
            if natural > 0.0 {
                let frame = &model.frames[model.nodes.frame[node] as usize];
                let towards = frame.across(self.newton.rolls[k]);
                bent -= model.tilt_at(member).carry(towards) * natural;
                energy = 0.5 * b * bent.norm_squared() * corner.arc_mm();
            }
            bending += member.weight * energy;
            path += member.weight * corner.arc_mm();
            curvature[node - range.start] += corner.curvature_per_mm() * member.weight;
            moment[node - range.start] += bent * (member.weight * b);
        }
        for end in &model.ends {
            if range.contains(&(end.node as usize)) {
                path += end.weight
                    * model
                        .edge_between(end.nodes[0] as usize, end.nodes[1] as usize)
                        .norm();
            }
        }
        let last = range.end - 1;
        let end = model.edge_between(last - 1, last).normalize();
        let axis = model.frames[model.nodes.frame[last] as usize].tangent;
        let position = |node: usize| {
            let frame = &model.frames[model.nodes.frame[node] as usize];
            let [u, v] = model.nodes.offset[node];
            frame.origin_mm + frame.n1 * u + frame.n2 * v
        };
        RodState {
            station_mm: model.nodes.s_mm[range.clone()].to_vec(),
            offset_mm: model.nodes.offset[range.clone()].to_vec(),
            position_mm: range.clone().map(position).collect(),
            from_tip_mm: model.nodes.from_tip[range.clone()].to_vec(),
            curvature_per_mm: curvature.iter().map(Vector::norm).collect(),
            moment_n_mm: moment.iter().map(Vector::norm).collect(),
            load_n: range.clone().map(|node| model.load_at(k, node)).collect(),
            bending_energy_n_mm: bending,
            path_length_mm: path,
            centre_line_mm: model.nodes.s_mm[last] - scene.tube[0].s_mm,
            roll_rad: self.newton.rolls[k],
            end_angle_rad: end.dot(&axis).clamp(-1.0, 1.0).acos(),
            last_weight: model.rods[k].blend,
        }
    }

    /// Direction of a rod at a place, not of unit length.
    fn tangent(&self, rod: usize, place: &Mix) -> Vector {
        let range = self.model.rods[rod].range();
        let mut sum = Vector::zeros();
        for (node, weight) in place.node.iter().zip(place.weight) {
            let node = *node as usize;
            if weight <= 0.0 {
                continue;
            }
            for (a, b) in [(node.wrapping_sub(1), node), (node, node + 1)] {
                if range.contains(&a) && range.contains(&b) {
                    sum += self.model.edge_between(a, b).normalize() * weight;
                }
            }
        }
        sum
    }

    fn contacts(&self) -> (Vec<Contact>, f64) {
        let model = &self.model;
        let mut contacts = Vec::new();
        let mut energy = 0.0;
        for term in &model.contacts {
            let offset = term.terms.offset(&self.newton.x);
            let Some(pressed) = term.law.press(offset) else {
                continue;
            };
            energy += pressed.energy;
            let force = pressed.gradient.map(|g| -g);
            // The directions at the place: those of its node, or of the two around it.
            let mut across = Vector::zeros();
            let mut axis = Vector::zeros();
            for i in 0..3 {
                if term.inside.weight[i] > 0.0 {
                    let node = term.inside.node[i] as usize;
                    let frame = &model.frames[model.nodes.frame[node] as usize];
                    across += (frame.n1 * force[0] + frame.n2 * force[1]) * term.inside.weight[i];
                    axis += frame.tangent * term.inside.weight[i];
                }
            }
            let along = self.tangent(term.rod, &term.inside)
                + match (term.other, &term.around) {
                    (Some(other), Some(around)) => self.tangent(other, around),
                    _ => Vector::zeros(),
                };
            let space = across - axis * (across.dot(&along) / axis.dot(&along));
            contacts.push(Contact {
                rod: term.rod,
                other: term.other,
                station_mm: term.s_mm,
                length_mm: term.weight_mm,
                force_n: force,
                force_in_space_n: space,
                force_across_n: across,
                indentation_mm: term.law.indentation_mm(offset),
            });
        }
        contacts.sort_by(|a, b| {
            (a.station_mm.total_cmp(&b.station_mm)).then((a.rod, a.other).cmp(&(b.rod, b.other)))
        });
        (contacts, energy)
    }

    /// Rods too wide for the rod around them are refused, for the vessel flagged.
    fn check_fits(&self, scene: &Scene<'_>, flags: &mut Vec<Flag>) -> Result<(), MechanicsError> {
        /// Rounding of two diameters read from profiles, mm.
        const ROUNDING_MM: f64 = 1e-9;
        let nodes = &self.model.nodes;
        let mut widest: Vec<Option<(f64, f64)>> = vec![None; scene.rods.len()];
        for term in &self.model.contacts {
            if term.law.keep == Keep::Apart || term.law.limit_mm >= -ROUNDING_MM {
                continue;
            }
            let outer_diameter_mm = term.inside.value(&nodes.outer);
            if let (Some(outer), Some(around)) = (term.other, &term.around) {
                if scene.rods[term.rod].yields {
                    continue;
                }
                return Err(MechanicsError::DoesNotFit {
                    inner: term.rod,
                    outer,
                    station_mm: term.s_mm,
                    outer_diameter_mm,
                    lumen_mm: around.value(&nodes.inner),
                });
            }
            let excess = -2.0 * term.law.limit_mm;
            if widest[term.rod].is_none_or(|(_, e)| e < excess) {
                widest[term.rod] = Some((term.s_mm, excess));
            }
        }
        // Rods on one axis have no contact term of their own.
        for (k, rod) in scene.rods.iter().enumerate().filter(|(_, r)| !r.yields) {
            for stretch in &rod.containers {
                let Container::Rod(j) = stretch.container else {
                    continue;
                };
                let (inside, around) = (&self.model.rods[k], &self.model.rods[j]);
                for i in 0..=inside.last_regular.min(around.last_regular) {
                    let (a, b) = (inside.first + i, around.first + i);
                    let s = nodes.s_mm[a];
                    if s >= stretch.from_mm
                        && s <= stretch.to_mm
                        && nodes.outer[a] > nodes.inner[b] + ROUNDING_MM
                    {
                        return Err(MechanicsError::DoesNotFit {
                            inner: k,
                            outer: j,
                            station_mm: s,
                            outer_diameter_mm: nodes.outer[a],
                            lumen_mm: nodes.inner[b],
                        });
                    }
                }
            }
        }
        for (rod, found) in widest.iter().enumerate() {
            if let Some((station_mm, excess_mm)) = *found {
                flags.push(Flag::WiderThanLumen {
                    rod,
                    station_mm,
                    excess_mm,
                });
            }
        }
        Ok(())
    }

    /// The largest angle between a rod and the centre line: rod, place mm, degrees.
    fn largest_angle(&self, scene: &Scene<'_>) -> (usize, f64, f64) {
        let model = &self.model;
        let mut worst = (0.0_f64, 0, 0.0);
        for k in 0..scene.rods.len() {
            let range = model.rods[k].range();
            for a in range.start..range.end - 1 {
                let e = model.edge_between(a, a + 1);
                let (fa, fb) = (
                    &model.frames[model.nodes.frame[a] as usize],
                    &model.frames[model.nodes.frame[a + 1] as usize],
                );
                let along = fa.tangent + fb.tangent;
                let angle = (e.dot(&along) / (e.norm() * along.norm()))
                    .clamp(-1.0, 1.0)
                    .acos();
                if angle > worst.0 {
                    worst = (angle, k, model.nodes.s_mm[a]);
                }
            }
        }
        (worst.1, worst.2, worst.0.to_degrees())
    }

    fn status(&self, scene: &Scene<'_>) -> Status {
        let (rod, station_mm, angle_deg) = self.largest_angle(scene);
        if angle_deg > self.settings.prolapse_deg {
            Status::OutsideModel {
                rod,
                station_mm,
                angle_deg,
            }
        } else {
            Status::Converged
        }
    }

    /// Gives up on a rod that is running away.
    fn look_for_prolapse(&mut self, scene: &Scene<'_>) -> Result<(), MechanicsError> {
        self.model.store(&self.newton.x);
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
