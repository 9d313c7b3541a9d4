//! Two thousand random anatomies with random stacks: every one settles or says why.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test may stop where it stands"
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

const SEEDS: u64 = 2000;

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
    match read_device(&Source::from_argument(&format!("cabinet:{name}"))).unwrap() {
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
    Settled,
    OutsideModel(String),
    Refused(String),
    Failed(String),
}

fn one(seed: u64, settle: &mut Settle) -> Ended {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
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
    let scene = Scene {
        tube: &tube,
        rods: &rods,
        beside: &[],
    };
    match settle.settle(&scene) {
        Ok(found) if found.status == Status::Converged => Ended::Settled,
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
            Status::Converged => String::new(),
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
    // the other.
    let mut settle = Settle::default();
    for seed in [269, 473] {
        let ended = match one(seed, &mut settle) {
            Ended::Settled => continue,
            Ended::OutsideModel(why) | Ended::Refused(why) | Ended::Failed(why) => why,
        };
        panic!("stack {seed}: {ended}");
    }
}

#[test]
#[ignore = "minutes: run with --release -- --ignored"]
fn property_two_thousand_random_stacks_settle_or_say_why() {
    let next = AtomicU64::new(0);
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let found: Vec<(u64, Ended)> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..workers)
            .map(|_| {
                scope.spawn(|| {
                    let mut settle = Settle::default();
                    let mut found = Vec::new();
                    loop {
                        let seed = next.fetch_add(1, Ordering::Relaxed);
                        if seed >= SEEDS {
                            return found;
                        }
                        found.push((seed, one(seed, &mut settle)));
                    }
                })
            })
            .collect();
        handles
            .into_iter()
            .flat_map(|h| h.join().unwrap())
            .collect()
    });
    let (mut settled, mut outside, mut refused, mut failed) =
        (0_u32, Vec::new(), Vec::new(), Vec::new());
    for (seed, ended) in found {
        match ended {
            Ended::Settled => settled += 1,
            Ended::OutsideModel(where_) => outside.push((seed, where_)),
            Ended::Refused(why) => refused.push((seed, why)),
            Ended::Failed(why) => failed.push((seed, why)),
        }
    }
    for list in [&mut outside, &mut refused, &mut failed] {
        list.sort();
    }
    println!("{settled} of {SEEDS} settle");
    println!("{} leave the model (loops): {outside:#?}", outside.len());
    println!("{} anatomies are refused: {refused:#?}", refused.len());
    println!("{} do not settle: {failed:#?}", failed.len());
    assert!(settled > 1900, "only {settled} of {SEEDS} settle");
    // fewer than one in a thousand
    assert!(
        failed.len() < 2,
        "{} of {SEEDS} do not settle: {failed:#?}",
        failed.len()
    );
}
