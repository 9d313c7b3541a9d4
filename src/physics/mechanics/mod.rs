//! Forces and flow, from closed forms to the equilibrium of nested elastic rods in their tubes.
//!
//! # What goes in, what comes out
//!
//! | goes in | how it is made | comes out | by |
//! | --- | --- | --- | --- |
//! | a tube, `[stations]` of [`TubeStation`]: arc length mm, centre with normals, radius mm, wall N/mm² | [`TubeStation::along`] a [`Track`](crate::geometry::Track) | | |
//! | rods, `[rods]` of [`Rod`]: stiffness N mm², diameters mm, by distance from the tip | [`Rod::builder`], [`Rod::uniform`]; [`nest`] puts them into each other | positions mm, contacts N, moments N mm, energies N mm, fed lengths mm: [`Solution`] | [`Settle`] on a [`Scene`] |
//! | the same as devices with a depth each, who lies in whom, friction, and which one slides | [`StackDevice`], [`Drive`], [`Containment`], [`Moving`] in a [`StackProblem`] | all that, forces at hub and tip, where they are lost, what the others feel: [`StackState`], [`LoadReport`] | [`StackSolver`] |
//! | the same, taken on in small increments of feed, friction holding it where it was | [`StackPath`] | a [`StackState`] after each, and what friction took | [`StackPath::feed`] |
//! | a problem of straight runs and arcs as plain numbers | [`problem::Problem`], also from a file | a report in plain numbers | [`problem::Problem::solve`] |
//! | a stent, its artery and plaque | [`Bed`], [`PlaqueLaw`] | diameters mm along it: [`deploy`] | |
//! | an edge and what passes it | [`Crossing`] | clearance mm, share of samples that catch: [`Chance`] | |
//!
//! Inside a [`Scene`] only the places across the centre line are unknown; loads are given. A [`StackProblem`] finds the loads
//! as well, from friction. Begin with the stack if something slides.
//!
//! ## At rest: two rods on one axis
//!
//! A cantilever in a wide tube bends by `F L³ / (3 B)`; two rods on one axis share a load like one with the sum of
//! their stiffness.
//!
//! ```
//! use nestline_physics::geometry::{Point, Track, Vector};
//! use nestline_physics::mechanics::{Rod, Scene, Settings, Settle, TubeStation, nest};
//! let points = [0.0, 50.0, 100.0].map(|x| Point::new(x, 0.0, 0.0));
//! let tube = TubeStation::along(&Track::through_points(&points, &[20.0; 3], 10.0, 1.0)?);
//! let force = Vector::new(0.0, 0.0, 1e-3); // N
//! let shaft = Rod::builder().stiffness_n_mm2(150.0).outer_mm(2.0).inner_mm(1.0).build()?;
//! let wire = Rod::builder().stiffness_n_mm2(50.0).outer_mm(0.98).tip_force_n(force).build()?;
//!
//! let mut rods = [shaft, wire];
//! nest(&tube, &mut rods); // the wire lies in the shaft: 0.01 mm of room are one axis
//! let mut settle = Settle::new(Settings::with(|s| s.gradient_tolerance_n = 1e-10)?);
//! let found = settle.settle(&Scene::new(&tube, &rods))?;
//!
//! let tip = found.rods[1].position_mm.last().unwrap();
//! let aside_mm = (tip - Point::new(100.0, 0.0, 0.0)).norm();
//! let exact_mm = 1e-3 * 100.0_f64.powi(3) / (3.0 * (150.0 + 50.0));
//! assert!((aside_mm / exact_mm - 1.0).abs() < 1e-3, "{aside_mm} against {exact_mm}");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! ## Other scales
//!
//! Defaults are for devices of a millimetre and forces of a newton; nothing else knows of arteries. A cable of 12 mm and 1e6 N mm²
//! that weighs 1.5e-3 N/mm ([`RodBuilder::line_load_n_per_mm`]), pushed with friction 0.25 through 5.7 m of a duct of 32 mm with
//! three bends of 300 mm, was solved with these defaults at eleven lengths in less than a second, with forces up to 38 N. Where
//! others rule, look at [`LoadSettings::lock_up_n`] (a push of more than 100 N is given up as lock-up),
//! [`Settings::onset_mm`] (how sharp a wall is; small against all clearances), the stiffness of the wall (indentation is
//! force per length over it: small against clearances too), and the tolerances in N and mm. Stations should be as
//! close as a tenth of the tightest bend's radius.
//!
//! A series by length is one solve after the other, each with the state before as the second argument of
//! [`StackSolver::solve`]: [`Drive::Inserted`] for what was fed, [`Drive::Tip`] for where the tip is to be.
//! [`LoadReport::tip_force_n`] is what walls and resistance press on the tip, [`LoadReport::hub_force_n`] what it takes
//! at the hub, [`LoadReport::losses`] where the rest went, [`LoadReport::buckling`] whether it lies in waves.
//!
//! # What it cannot do
//!
//! Rods do not twist, and stretch on paths only; natural bends lie at tips only. Nodes stay in the planes of their stations, so
//! that a rod which turns more than [`Settings::prolapse_deg`] away from the centre line is refused
//! ([`MechanicsError::Prolapsed`]), not followed. Tubes are round and stay in place; only the wall gives. One device slides at a
//! time, quasi-statically: no speed, no inertia. Friction is the coefficient that is given; a table of [`Materials`] has
//! values for devices in arteries, known to a factor of [`KNOWN_TO_FACTOR`]. At most [`MOST_RODS`] rods. Where several
//! equilibria exist, one is found and [`Flag::SeveralEquilibria`] says so.
//!
//! Errors: input that cannot be is [`MechanicsError::OutOfRange`], [`MechanicsError::LengthMismatch`] or
//! [`MechanicsError::BadContainer`], with the path of the field; what does not fit, runs away or does not converge has a kind
//! of its own with its place. [`MechanicsError::help`] says what would help.
//!
//! # Rooms
//!
//! A file names its own room and those to the left of it; no two files name each other, by whatever way
//! (`tests/layers.rs`).
//!
//! ```text
//! error ← linear_algebra ← closed_forms ← rod ← equilibrium ← stack ← stent ← materials ← problem
//! ```
//!
//! | room | what is in it |
//! | --- | --- |
//! | `linear_algebra` | block-banded `L D L'`, right-hand sides side by side, small dense solves, Anderson's acceleration, norms, vectors of any width |
//! | `closed_forms` | how far benches of others lie from what is found here (`bench_ratio`), capstan, buckling of a pushed rod, flow beside devices, pull of an open retriever, grip of valves |
//! | `rod` | scene (`scene`, `builder`, `profile`, `settings`), discretisation (`nodes`, `numbering`, `quadrature`, `layout`), energy terms (`vertex_energy`, `bending`, `end_terms`, `hub_spring`, `pre_shaped`, `natural_bends`, `proximal`, `drag`, `contact_*`), what they depend on (`sections`, `configurational`, `load_rounds`, `coefficients`), and all put together (`model`) |
//! | `equilibrium` | Newton's step (`direction`, `line_search`, `newton`), rounds of coefficients and shape (`rounds`, `angles`, `hub_regularised`, `balance`), stability, levels and stages (`settle`), what is read off (`readout`, `solution`) |
//! | `stack` | who contains whom (`arrangement`), rods that are present, friction and tip loads, coupling of loads, lengths and shape (`coupling`, `together`, `solver`), from the state before or followed up from light load (`follow_up`), paths by increments (`path`, `slip`, `stretch`), the report |
//! | `stent` | deployment, apposition, crossing of edges by chance, what a lesion asks of what is too wide for it (`squeeze`) |
//! | `materials` | frictions and stiffnesses with ranges and sources, as numbers to reckon with at the least, usual and most of them |
//! | `problem` | bare rod-in-tube problems as an engineer writes them |
//!
//! `rod::model::Model` is parted by when things change: `Layout` with stations, tips and containers;
//! `Coefficients` with the shape that was taken over last; `Evaluation` with every evaluation.
//!
//! # Glossary
//!
//! | term | symbol | unit | where |
//! | --- | --- | --- | --- |
//! | station: arc length of the centre line | `s_mm` | mm | [`TubeStation`] |
//! | offset of a node on its station's normals, the unknowns `x` | `u, v` | mm | `rod::dof`, `rod::nodes` |
//! | degree of freedom: the first of a node's two unknowns | `Dof` | | `rod::dof` |
//! | edge: from a node to the next; unit tangent, inverse length, length | `t, a, l` | 1, 1/mm, mm | `rod::edge_batch` |
//! | vertex: a node with its two edges, on which bending acts | | | `rod::terms::VertexTerm`, `rod::vertex_energy::VertexStencil` |
//! | Voronoi cell of a node: half of both edges; its length, and the turn in it, `1 - t0·t1` | `m, q` | mm, 1 | `rod::vertex_energy::VoronoiCell` |
//! | member: a rod's share in a vertex; rods on one axis share it | `weight` | 1 | `rod::terms::Member` |
//! | bending stiffness `E I` | `B` | N mm2 | [`Rod`], `rod::sections` |
//! | curvature; natural curvature, natural angle of a pre-shaped tip | `kappa`, `kappa0`, `phi` | 1/mm, rad | [`NaturalBend`], `rod::natural` |
//! | roll: direction of a natural bend about the rod | `roll_rad` | rad | [`Roll`] |
//! | axial force; configurational load, `tau = T + M kappa - M²/(2B)`, negative pushes | `T`, `tau` | N | [`AxialLoad`], `rod::configurational` |
//! | hub spring: holds a rod's length elastically, a rank-one term of the Hessian | `K` | N/mm | `rod::hub_spring`, `rod::bordered` |
//! | contact candidate, gate, active contact | | | `rod::contact_terms`, `rod::contact_set` |
//! | contact law: limit of the offset, half-width of its onset, stiffness | `limit, onset, k` | mm, mm, N/mm | `rod::contact_law` |
//! | gap: half the difference of lumen and outer diameter | | mm | `rod::numbering` |
//! | proximal term: keeps unknowns near where they were | `w` | N/mm | `rod::proximal` |
//! | slip at a contact: along and across, since an increment of a path began, with the memory of what sticks | `z + du` | mm | `stack::slip` |
//! | drag: what friction holds across a contact, as a spring that rounds renew | `c` | N/mm | `rod::drag` |
//! | stretch: how far the rod that slides has lengthened up to a station; axial stiffness | `e, EA` | mm, N | `stack::stretch` |
//! | gradient of the energy, its largest entry: residual | `residual_n` | N | `rod::model`, `equilibrium::newton` |
//! | Hessian, shift of its diagonal | `H` | N/mm | `rod::model`, `equilibrium::direction` |
//! | inner strategy: how a step looks for its active contacts | | | `equilibrium::direction` |
//! | stage: one stiffness of the walls; level: one density of stations; round: coefficients, then shape | | | `equilibrium::workspace`, `levels`, `rounds` |
//! | pass: one run to an equilibrium, from scratch or from a state near it; way: what is tried where passes by long steps end nowhere | | | `equilibrium::passes`, `settle` |
//! | continuation: natural bends brought up by shares, each state from the one before; the rods held at their hubs, the lengths fed sought at which tips carry their loads | | mm | `equilibrium::continuation` |
//! | flag: what is told beside a state, such as loads that are off by so much | | | [`Flag`] |
//! | saddle, lowest mode | | N/mm | `equilibrium::stability` |
//! | inserted length: a rod's own length beyond station 0; the fed length less the stand-off of the hub (`Plan::fed_mm`) | `inserted_mm`, `path_length_mm` | mm | [`Drive`], [`DeviceState`] |
//! | containment: one device inside another, from its tip to its port | | mm | [`Containment`] |
//! | coefficient of friction | `mu` | 1 | [`FrictionValues`], `stack::friction_sum` |
//! | residual, correction, band of a round: what loads and lengths miss, what a hub must take on, what surfaces at rest carry | | N, mm | `stack::coupling` |
//! | following up: from the stack at its place without loads; share: how much of friction, tip loads and lengths has come up | | 1 | `stack::follow_up` |
//! | tip load: what walls and resistance press on a tip | | N | `stack::tip_load` |
//! | percentage of stenosis | | % | [`crate::geometry::nascet_percent`] and beside it |
//! | bed, plaque law: how vessel and plaque answer a stent | | N/mm | [`Bed`], [`PlaqueLaw`] |

mod closed_forms;
mod equilibrium;
mod error;
mod linear_algebra;
mod materials;
pub mod problem;
mod rod;
mod stack;
mod stent;

pub use closed_forms::bench_ratio::{BENCH_RATIO, BenchRatio};
pub use closed_forms::buckling::Buckling;
pub use closed_forms::capstan::{BendContact, capstan_factor};
pub use closed_forms::flow::{
    OccupiedStretch, PUMP_KPA, annulus_flow_fraction, eccentric_flow_fraction, flush_push_n,
    series_flow_fraction, suction_force_n,
};
pub use closed_forms::retriever::{BareStretch, Sliding, retriever_pull_n};
pub use closed_forms::valve::{Tightness, valve_friction_n};
pub use equilibrium::settle::Settle;
pub use equilibrium::solution::{Contact, Flag, RodState, Solution, Status, Zone};
pub use equilibrium::start_shapes::StartShapes;
pub use error::MechanicsError;
pub use linear_algebra::width::Lanes;
pub use materials::friction::{KNOWN_TO_FACTOR, Surface};
pub use materials::ranged::{Level, Ranged};
pub use materials::table::{
    FrictionValues, Frictions, GivenFrictions, GivenMaterials, GivenPlaque, GivenStiffness,
    GivenValves, MaterialValues, Materials, Plaque, PlaqueValues, Stiffness, StiffnessValues,
    ValveValues, Valves,
};
pub use rod::builder::RodBuilder;
pub use rod::profile::Profile;
pub use rod::scene::{
    AxialLoad, Beside, Container, ContainerStretch, End, MOST_RODS, NaturalBend, Rod, Roll, Scene,
    StartSupport, TubeStation, nest,
};
pub use rod::settings::Settings;
pub use stack::arrangement::{
    Containment, Drive, FrictionOf, Resistance, StackDevice, StackProblem,
};
pub use stack::load_report::{HeldLoad, LoadReport, Loss};
pub use stack::load_settings::LoadSettings;
pub use stack::moving::{Direction, ForceAt, Moving};
pub use stack::path::{Increment, StackPath};
pub use stack::solver::StackSolver;
pub use stack::state::{DeviceState, Failure, StackState};
pub use stent::apposition::{Rim, RimShift, bed_stiffness_n_per_mm2, long_stent_shift, rim_shifts};
pub use stent::chance::{Chance, Sampling, Share};
pub use stent::deploy::{Bed, Deployed, PlaqueLaw, StentStation, deploy};
pub use stent::edge::{Clearance, Crossing, Ledge, Placement, Spread};
pub use stent::squeeze::{Passage, Passed, PassingKnot, Squeeze, Squeezed, Way};
