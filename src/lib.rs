//! nestline rehearses a nested stack of neuro-interventional devices on a vessel. Below that it is a solver for
//! elastic rods that slide in one another in a tube, and for what it takes to push and pull them.
//!
//! The program `nestline` is the way in for whoever has a scene to rehearse; this library is for those who want the
//! parts: the same rods for another branch of medicine, for cables in ducts, or a rehearsal inside another program.
//!
//! # Which part
//!
//! | you have | you want | begin at | first lines |
//! | --- | --- | --- | --- |
//! | points with radii | a tube | [`geometry::Track::through_points`] | [below](#from-points-with-radii-to-forces) |
//! | a tube and rods | shapes, contacts, energies at rest | [`mechanics::Settle`] | there |
//! | rods in rods, one of which slides | forces, tips, fed lengths | [`mechanics::StackSolver`] | [below](#from-points-with-radii-to-forces) |
//! | a bare problem as a value or a file | all of that as a report | [`mechanics::problem::Problem`] | there |
//! | a vessel file | a route and its measures | [`data::read_vessel`], [`geometry::Measures`] | [below](#from-a-vessel-file-to-its-measures) |
//! | two devices | whether one goes through the other | [`device::coaxial`], [`device::side_by_side`] | there |
//! | a scene file | what breaks at which step | [`data::read_scene`], [`rehearsal::rehearse`] | [below](#from-a-scene-to-its-outcome) |
//! | a rehearsal | what is where at any moment, to be drawn | [`stage::Stage`] | there |
//! | an outcome | text, JSON, tables, a report, a glTF | [`output`] | there |
//!
//! Layers, imports point left; each knows only those before it, and `units` to `stage` know neither files nor screens:
//!
//! ```text
//! { units, math, threads } ← geometry ← device ← mechanics ← procedure ← rehearsal ← stage ← { data, output } ← main
//! ```
//!
//! # Conventions
//!
//! - Lengths are mm, forces N, angles rad, bending stiffness N mm², stiffness of a wall N per mm of length per mm of
//!   indentation (N/mm²). Names end in the unit; where one ends in `_deg` or `_percent` it is what it says.
//! - A *station* is an arc length of the tube's centre line, mm, from its start. A *fed* or *inserted* length is
//!   measured along the device itself. The difference is what a ruler on the centre line would be wrong by.
//! - Lists that belong together run side by side. Their shape stands with them: `[stations]`, `[rods]`, `[n]`.
//! - Axial forces that pull are positive, those that push negative. Space is right-handed; in vessels x points to
//!   the patient's left, y to the back, z to the head.
//! - An input that cannot be is refused by an error with the field's name, what was found, the allowed range as numbers
//!   ([`units::Allowed`]) and, by `help()`, how to mend it. A solve that does not converge is an error as well, never a
//!   number.
//! - The same input gives the same bits on every machine, with any number of threads.
//! - What may grow is `#[non_exhaustive]`: settings are made by `with` (`Settings::with(|s| …)`), rods by a builder,
//!   outcomes are only read.
//!
//! # From points with radii to forces
//!
//! Half a turn of 40 mm radius; in it a catheter that nearly fills the tube, and in that a limp wire. The wire is
//! pulled against 1 N at its tip. What comes out is known: a limp string obeys Euler's belt equation
//! `F_hub = F_tip exp(mu theta)` and lies on the inside of the bend, so that it is shorter than the centre line by
//! its room times the angle.
//!
//! ```
//! use nestline::geometry::{Point, Track};
//! use nestline::mechanics::{
//!     Containment, Drive, Moving, Rod, StackDevice, StackProblem, StackSolver, StartSupport, TubeStation,
//! };
//! use std::f64::consts::PI;
//!
//! // points with radii (mm) to a tube: a wall of 1000 N/mm², a station every half millimetre
//! let points: Vec<Point> = (0..=36)
//!     .map(|i| (PI / 36.0 * f64::from(i)).sin_cos())
//!     .map(|(sin, cos)| Point::new(40.0 * sin, 40.0 * (1.0 - cos), 0.0))
//!     .collect();
//! let track = Track::through_points(&points, &[1.02; 37], 1000.0, 0.5)?;
//! let tube = TubeStation::along(&track);
//!
//! // two rods, both through the whole tube
//! let catheter = Rod::builder().stiffness_n_mm2(400.0).outer_mm(2.0).inner_mm(1.0).build()?;
//! let wire = Rod::builder()
//!     .stiffness_n_mm2(0.01)
//!     .outer_mm(0.4)
//!     .start(StartSupport::Free)
//!     .build()?;
//! let devices = [
//!     StackDevice::new(catheter, Drive::Through),
//!     StackDevice::new(wire, Drive::Through),
//! ];
//!
//! // the wire (1) in the catheter (0) rubs on it with 0.2 and is pulled, while 1 N holds its tip back
//! let inside = [Containment::coaxial(1, 0)];
//! let rubs = |moving: usize, on: Option<usize>| match (moving, on) {
//!     (1, Some(0)) => 0.2,
//!     _ => 0.0,
//! };
//! let problem = StackProblem::new(&tube, &devices)
//!     .with_containments(&inside)
//!     .with_friction(&rubs)
//!     .with_moving(Moving::pulled(1).held_back_by_n(1.0));
//! let state = StackSolver::default().solve(&problem, None)?;
//!
//! // forces: at the tip what holds it back, at the hub that times exp(mu theta)
//! let load = state.load.as_ref().expect("something moves");
//! let turned_rad = track.turning_between(0.0, track.length_mm());
//! let belt = (0.2 * turned_rad).exp();
//! assert!((load.tip_force_n - 1.0).abs() < 1e-3);
//! assert!((load.hub_force_n / belt - 1.0).abs() < 0.01);
//!
//! // lengths: 0.3 mm of room in the catheter, times the angle; the catheter has 0.02 mm of its own
//! let shorter_mm = track.length_mm() - state.devices[1].inserted_mm;
//! assert!((shorter_mm - 0.3 * turned_rad).abs() <= 0.03 * turned_rad);
//!
//! // the path in space: by node, from the start to the tip
//! let solution = state.solution.as_ref().expect("both are far enough in to bend");
//! let path = &solution.rods[1].position_mm;
//! let middle = path[path.len() / 2];
//! let from_axis_mm = (middle - Point::new(0.0, 40.0, 0.0)).norm();
//! assert!((from_axis_mm - 39.7).abs() < 0.03, "on the inside: {from_axis_mm}");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # From a vessel file to its measures
//!
//! A straight stretch and a right angle of 40 mm radius, with a plaque. [`data::read_vessel`] says what a file may hold;
//! usual vessels are written by what was measured on them, without drawing a line.
//!
//! ```
//! use nestline::data::{Source, read_vessel};
//! use nestline::geometry::{MeasureSettings, Measures};
//! use std::f64::consts::PI;
//!
//! let file = std::env::temp_dir().join(format!("bend-{}.ron", std::process::id()));
//! std::fs::write(&file, r#"
//! Vessel(
//!     name: "A bend with a plaque",
//!     source: "invented: round numbers",
//!     teaches: "What a file says and what is measured on it.",
//!     form: Branches((
//!         wall_stiffness_n_per_mm2: 0.1,
//!         branches: [(
//!             name: "artery",
//!             course: Runs(
//!                 start: Root(direction: (0, 0, 1)),
//!                 runs: [(length: "60 mm", lumen: "4 mm"),
//!                        (length: "62.83185307 mm", turn_deg: 90, lumen: "4 mm")],
//!             ),
//!         )],
//!         lesions: [(name: "plaque", kind: Plaque, branch: "artery", start: "20 mm", length: "10 mm",
//!                    nascet_percent: 75)],
//!         access: (branch: "artery", at: "0 mm"),
//!         targets: [(name: "far-end", branch: "artery", at: "end")],
//!     )),
//! )"#)?;
//! let vessel = read_vessel(&Source::Disk(file.clone()))?;
//! std::fs::remove_file(&file)?;
//!
//! // the route from where devices enter to a target, a station every millimetre
//! let (name, target) = &vessel.targets[0];
//! assert_eq!(name, "far-end");
//! let track = vessel.tree.track(vessel.access, *target, 1.0)?;
//! assert!((track.length_mm() - (60.0 + 20.0 * PI)).abs() < 1e-6);
//!
//! // 75 % by NASCET leave a quarter of the normal diameter in the lesion's middle
//! assert!((2.0 * track.radius_at(25.0) - 1.0).abs() < 1e-9);
//! let measures = Measures::of(&vessel.tree, &track, &MeasureSettings::default())?;
//! assert!((measures.lesions[0].nascet_percent - 75.0).abs() < 1e-9);
//! assert!((measures.route.turning_deg - 90.0).abs() < 1e-6);
//! assert!((measures.lesions[0].area_percent - 93.75).abs() < 1e-9);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # From a scene to its outcome
//!
//! A scene names a vessel, a stack of devices and a script of steps. Here lengths are ruled along the centre line, which
//! takes no time; [`rehearsal::rehearse`] lays every device as an elastic rod instead (seconds, with forces).
//!
//! ```
//! use nestline::data::{Source, read_scene};
//! use nestline::procedure::reason::Reach;
//! use nestline::procedure::{CentreLine, Reason};
//! use nestline::rehearsal::{Verdict, rehearse_with};
//!
//! // built in; a path of your own does as well
//! let plan = read_scene(&Source::from_argument("embedded:scenes/too-short.ron"))?;
//! let outcome = rehearse_with(&plan, &mut CentreLine)?;
//! assert_eq!(outcome.verdict, Verdict::Fails);
//!
//! // why, as values: a device ends before the place it is sent to
//! let findings = outcome.steps.iter().flat_map(|step| &step.findings);
//! let short = findings.filter_map(|finding| match &finding.reason {
//!     Reason::Reach(Reach::TooShort { device, short_mm, .. }) => Some((device, *short_mm)),
//!     _ => None,
//! });
//! assert!(short.clone().count() > 0 && short.clone().all(|(_, short_mm)| short_mm > 0.0));
//!
//! // where everything is after a step: on the centre line, the fed length is the station of the tip and what the
//! // hub of the access stands off
//! for row in &outcome.steps[5].devices {
//!     assert!((row.fed_mm - plan.fed_mm(row.tip_mm)).abs() < 1e-9, "{}", row.name);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # What it cannot do
//!
//! Rods neither twist nor stretch, and their nodes stay in planes across the centre line: loops, prolapse and
//! devices that turn back are recognised and refused, not followed. Nothing moves in time; a push is the state in
//! which a device is about to slide. Tubes are round, their walls give way elastically and stay where they are. Friction
//! is known to a factor of about three ([`mechanics::KNOWN_TO_FACTOR`]). For training and rehearsal only; not a
//! medical device.

pub mod data;
pub mod output;
pub mod procedure;
pub mod rehearsal;
pub mod stage;

#[doc(inline)]
pub use nestline_physics::{device, geometry, math, mechanics, threads, units};
