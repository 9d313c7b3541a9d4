//! Two thousand random anatomies with random stacks: every one settles or says why.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::print_stdout,
    reason = "a test may stop where it stands, and counts a few thousand"
)]

use nestline::data::{Source, read_device};
use nestline::device::{Device, Tip};
use nestline::geometry::{Measurements, Track};
use nestline::mechanics::{
    End, MechanicsError, NaturalBend, Profile, Rod, Roll, Scene, Settle, StartSupport, Status,
    TubeStation, nest,
};
use nestline::procedure::Equipment;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::sync::atomic::{AtomicU64, Ordering};

const DRAWS: u64 = 2000;
/// Stacks that no solve comes to rest with, and that the solver owes (DEVELOPERS, known counterexamples).
const OWED: [u64; 5] = [9, 542, 909, 1735, 1987];
/// As many of them as take some twenty seconds of a processor.
const EVERY_DAY: u64 = 60;

/// Stacks by the places of their tips, outermost first: how far along the route each may lie, from
/// and to these landmarks.
const STACKS: [&[(&str, &str, &str)]; 4] = [
    &[
        (
            "guide-8f-90",
            "common-carotid-origin",
            "carotid-bifurcation",
        ),
        ("aspiration-071-132", "skull-base", "ica-terminus"),
        ("microcatheter-021-155", "ica-terminus", "m1-end"),
        ("wire-014-200-soft", "m1-end", "m2-inferior-10mm"),
    ],
    &[
        (
            "guide-8f-90",
            "common-carotid-origin",
            "carotid-bifurcation",
        ),
        ("microcatheter-021-155", "skull-base", "m1-end"),
        ("wire-014-200-soft", "m1-end", "m2-inferior-10mm"),
    ],
    &[
        (
            "guide-8f-90",
            "common-carotid-origin",
            "carotid-bifurcation",
        ),
        (
            "selector-125-simple-curve",
            "carotid-bifurcation",
            "carotid-bifurcation",
        ),
        (
            "wire-035-180-standard",
            "carotid-bifurcation",
            "carotid-bifurcation",
        ),
    ],
    &[
        (
            "long-sheath-6f-90",
            "common-carotid-origin",
            "carotid-bifurcation",
        ),
        ("aspiration-060-132", "carotid-bifurcation", "m1-end"),
    ],
];

fn device(name: &str) -> Device {
    match read_device(&Source::from_argument(format!("cabinet:{name}"))).unwrap() {
        Equipment::Device(device) => *device,
        Equipment::Accessory(_) => panic!("{name} is a part"),
    }
}

fn rod(device: &Device) -> Result<Rod, MechanicsError> {
    let lines = |value: &dyn Fn(&nestline::device::Knot) -> Option<f64>| -> Vec<(f64, f64)> {
        let lines = device.profile.iter();
        lines
            .filter_map(|l| Some((l.from_tip_mm, value(l)?)))
            .collect()
    };
    let mut rod = Rod::uniform(1.0, 1.0);
    rod.stiffness_n_mm2 = Profile::new("stiffness", &lines(&|l| Some(l.stiffness_n_mm2)))?;
    rod.outer_mm = Profile::new("outer", &lines(&|l| Some(l.outer_mm)))?;
    let inner = lines(&|l| l.inner_mm);
    rod.inner_mm = (!inner.is_empty())
        .then(|| Profile::new("inner", &inner))
        .transpose()?;
    if let Tip::Curved { length, angle_deg } = device.tip {
        rod.natural = Some(NaturalBend {
            length_mm: length,
            curvature_per_mm: angle_deg.to_radians() / length,
            roll: Roll::Free(0.0),
        });
    }
    Ok(rod)
}

enum Ended {
    /// With the work it took, unknowns of all factorisations.
    Settled(u64),
    /// Under loads that are this far, N, from those that the shape calls for.
    Unsettled(f64),
    OutsideModel(String),
    Refused(String),
    Failed(String),
}

/// How many ended in which way.
#[derive(Default)]
struct Summary {
    /// Work of those that settled.
    settled: Vec<u64>,
    unsettled: Vec<(u64, f64)>,
    outside: Vec<(u64, String)>,
    refused: Vec<(u64, String)>,
    failed: Vec<(u64, String)>,
}

impl Summary {
    /// Solves these stacks on all cores.
    fn of(draws: std::ops::Range<u64>) -> Self {
        let next = AtomicU64::new(draws.start);
        let workers = std::thread::available_parallelism().map_or(1, usize::from);
        let work = || {
            let mut settle = Settle::default();
            let mut found = Vec::new();
            loop {
                let draw = next.fetch_add(1, Ordering::Relaxed);
                if draw >= draws.end {
                    return found;
                }
                found.push((draw, one(draw, &mut settle)));
            }
        };
        let mut found: Vec<(u64, Ended)> = std::thread::scope(|scope| {
            let handles: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
            let found = handles.into_iter().flat_map(|h| h.join().unwrap());
            found.collect()
        });
        found.sort_by_key(|(draw, _)| *draw);
        let mut summary = Self::default();
        for (draw, ended) in found {
            match ended {
                Ended::Settled(work) => summary.settled.push(work),
                Ended::Unsettled(load_n) => summary.unsettled.push((draw, load_n)),
                Ended::OutsideModel(place) => summary.outside.push((draw, place)),
                Ended::Refused(why) => summary.refused.push((draw, why)),
                Ended::Failed(why) => summary.failed.push((draw, why)),
            }
        }
        summary.settled.sort_unstable();
        summary
    }

    fn tell(&self) {
        let Self {
            settled,
            unsettled,
            outside,
            refused,
            failed,
        } = self;
        let told = unsettled.len() + outside.len() + refused.len() + failed.len();
        println!("{} of {} settle", settled.len(), settled.len() + told);
        println!(
            "{} with loads that are off, N: {unsettled:?}",
            unsettled.len()
        );
        println!("{} leave the model (loops): {outside:#?}", outside.len());
        println!("{} anatomies are refused: {refused:#?}", refused.len());
        println!("{} do not settle: {failed:#?}", failed.len());
        let at = |share: f64| {
            let place = share * settled.len().saturating_sub(1) as f64;
            settled.get(place as usize).copied().unwrap_or(0)
        };
        println!(
            "factorised unknowns of those that settle: median {}, 90 of 100 {}, 99 of 100 {}, most {}",
            at(0.5),
            at(0.9),
            at(0.99),
            at(1.0)
        );
    }
}

fn one(draw: u64, settle: &mut Settle) -> Ended {
    let mut rng = ChaCha8Rng::seed_from_u64(draw);
    let form = Measurements::sampled(&mut rng);
    let anatomy = match form.build() {
        Ok(anatomy) => anatomy,
        Err(why) => return Ended::Refused(why.to_string()),
    };
    let target = anatomy
        .targets
        .iter()
        .find(|t| t.name == "m2-inferior")
        .unwrap();
    let track = match anatomy.tree.track(anatomy.access, target.place, 1.0) {
        Ok(track) => track,
        Err(why) => return Ended::Refused(why.to_string()),
    };
    let stack = STACKS[rng.random_range(0..STACKS.len())];
    let tube: Vec<TubeStation> = track
        .stations
        .iter()
        .map(|s| {
            let mut t = TubeStation::from(s);
            t.radius_mm = t.radius_mm.max(0.05);
            t
        })
        .collect();
    let mut tip_mm = f64::INFINITY;
    let mut rods = Vec::new();
    for (k, (name, from, to)) in stack.iter().enumerate().rev() {
        let at = |mark: &str| mark_of(&track, mark);
        let wished_mm = rng.random_range(0.0..1.0) * (at(to) - at(from)) + at(from);
        // nobody's tip lies beyond that of what it holds
        tip_mm = wished_mm.min(tip_mm - 5.0);
        let mut rod = rod(&device(name)).unwrap();
        rod.start = if k == 0 {
            StartSupport::Clamped
        } else {
            StartSupport::Free
        };
        rod.end = End::Tip(TubeStation::at(&tube, tip_mm.max(20.0)).unwrap());
        rods.insert(0, rod);
    }
    nest(&tube, &mut rods);
    let scene = Scene::new(&tube, &rods);
    match settle.settle(&scene) {
        Ok(found) if found.status == Status::Converged => Ended::Settled(found.factorised_unknowns),
        Ok(found) => Ended::OutsideModel(match found.status {
            Status::OutsideModel {
                rod,
                station_mm,
                angle_deg,
            } => format!(
                "{} at {}, {angle_deg:.0} degrees",
                stack[rod].0,
                track.place_name(station_mm)
            ),
            Status::Unsettled { load_n } => return Ended::Unsettled(load_n),
            other => format!("{other:?}"),
        }),
        // a loop or prolapse while it was sought: as above, with its place
        Err(why @ MechanicsError::Prolapsed { .. }) => Ended::OutsideModel(why.to_string()),
        Err(why) => Ended::Failed(why.to_string()),
    }
}

/// A landmark; a direct carotid access starts beyond the first ones.
fn mark_of(track: &Track, name: &str) -> f64 {
    track.landmark(name).unwrap_or(25.0)
}

#[test]
fn regress_stacks_between_two_shapes_settle() {
    // Loads and shape taken in turns swing for ever here: each shape calls for the load that makes
    // the other. The last two have no shape whose loads agree on the first way, and one on another.
    let mut settle = Settle::default();
    for draw in [269, 473, 698] {
        let ended = match one(draw, &mut settle) {
            Ended::Settled(_) => continue,
            Ended::Unsettled(load_n) => format!("loads off by {load_n} N"),
            Ended::OutsideModel(why) | Ended::Refused(why) | Ended::Failed(why) => why,
        };
        panic!("stack {draw}: {ended}");
    }
}

#[test]
fn regress_stacks_that_rounds_of_loads_lose_settle() {
    // Slack wires with bent tips in wide vessels: loads and shape ran in circles, or to no finite number.
    let mut settle = Settle::default();
    for draw in [67, 937, 1879] {
        let ended = match one(draw, &mut settle) {
            Ended::Settled(_) => continue,
            Ended::Unsettled(load_n) => format!("loads off by {load_n} N"),
            Ended::OutsideModel(why) | Ended::Refused(why) | Ended::Failed(why) => why,
        };
        panic!("stack {draw}: {ended}");
    }
}

#[test]
fn property_random_stacks_settle_or_say_why() {
    let found = Summary::of(0..EVERY_DAY);
    found.tell();
    let failed: Vec<&(u64, String)> = found
        .failed
        .iter()
        .filter(|f| !OWED.contains(&f.0))
        .collect();
    assert!(failed.is_empty(), "{failed:#?}");
    let share = |count: usize| count as f64 / EVERY_DAY as f64;
    let (settled, flagged) = (found.settled.len(), found.unsettled.len());
    assert!(share(settled) > 0.9, "only {settled} of {EVERY_DAY} settle");
    assert!(share(flagged) < 0.05, "{flagged}: {:?}", found.unsettled);
    // loops lie outside the model; some persons drawn have measures that contradict each other
    let (outside, refused) = (found.outside.len(), found.refused.len());
    assert!(share(outside) < 0.05, "{outside}: {:#?}", found.outside);
    assert!(share(refused) < 0.1, "{refused}: {:#?}", found.refused);
    // told, and by less than friction leaves open
    let most_n = found.unsettled.iter().fold(0.0_f64, |m, (_, n)| m.max(*n));
    assert!(most_n < 5e-3, "loads are off by up to {most_n} N");
}

#[test]
#[ignore = "minutes: run with --release -- --ignored"]
fn property_two_thousand_random_stacks_settle_or_say_why() {
    let found = Summary::of(0..DRAWS);
    found.tell();
    let settled = found.settled.len();
    let with_a_flag = found.unsettled.len();
    assert!(
        settled + with_a_flag > 1900,
        "{settled} and {with_a_flag} of {DRAWS}"
    );
    // told, and by less than friction leaves open
    let most_n = found.unsettled.iter().fold(0.0_f64, |m, (_, n)| m.max(*n));
    assert!(most_n < 5e-3, "loads are off by up to {most_n} N");
    // a stack settles, or leaves the model; none is given up for its work, or for anything else
    let failed: Vec<&(u64, String)> = found
        .failed
        .iter()
        .filter(|f| !OWED.contains(&f.0))
        .collect();
    assert!(failed.is_empty(), "{failed:#?}");
    let most = found.settled.last().copied().unwrap_or(0);
    let bound = Settle::default().settings().most_factorised_unknowns;
    assert!(
        most < bound,
        "{most} factorised unknowns, too near the bound"
    );
}
