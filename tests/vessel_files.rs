//! Every vessel file builds and is tracked; random persons build or are refused with a reason.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "functions outside #[test] ones may stop the test and read the files it checks"
)]

use nestline::geometry::anatomy::{Anatomy, M1Shape, Measurements, NeckShape, SharedOrigin};
use nestline::geometry::{
    ArchType, GeometryError, KinkGrade, MeasureSettings, Measures, Point, Track,
};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};

fn track(anatomy: &Anatomy) -> Result<Track, GeometryError> {
    let target = anatomy.target("m2-inferior")?;
    anatomy.tree.track(anatomy.access, target, 1.0)
}

fn measures(anatomy: &Anatomy) -> Measures {
    let track = track(anatomy).unwrap();
    Measures::of(&anatomy.tree, &track, &MeasureSettings::default()).unwrap()
}

fn close(what: &str, found: f64, entered: f64, tolerance: f64) {
    assert!(
        (found - entered).abs() <= tolerance,
        "{what}: {found} against {entered}"
    );
}

// --- vessel files ------------------------------------------------------------------------------

#[derive(Debug, Deserialize)]
#[serde(rename = "Vessel", deny_unknown_fields)]
struct VesselFile {
    name: String,
    source: String,
    teaches: String,
    form: Form,
}

#[derive(Debug, Deserialize)]
enum Form {
    Measured(Measurements),
}

fn vessel_files() -> Vec<(String, VesselFile)> {
    let ron =
        ron::Options::default().with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME);
    let mut files: Vec<_> = std::fs::read_dir("vessels")
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "ron"))
        .collect();
    files.sort();
    files
        .into_iter()
        .filter_map(|path| {
            let text = std::fs::read_to_string(&path).unwrap();
            // other forms (branches drawn by hand) are not read here
            text.contains("form: Measured").then(|| {
                let file = ron
                    .from_str(&text)
                    .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
                (
                    path.file_stem().unwrap().to_string_lossy().into_owned(),
                    file,
                )
            })
        })
        .collect()
}

#[test]
fn property_every_vessel_file_builds_and_is_tracked() {
    let files = vessel_files();
    assert!(files.len() >= 14, "only {} vessel files", files.len());
    let mut seen = BTreeSet::new();
    for (stem, file) in &files {
        for text in [&file.name, &file.source, &file.teaches] {
            assert!(
                text.len() > 10,
                "{stem}: name, source and teaches are one line each"
            );
        }
        let Form::Measured(form) = &file.form;
        let anatomy = form.build().unwrap_or_else(|e| panic!("{stem}: {e}"));
        let faults = anatomy.tree.check();
        assert!(faults.is_ok(), "{stem}: {faults:?}");
        for target in &anatomy.targets {
            // the bifurcation lies beside a direct carotid access, and is reached all the same
            let track = anatomy.tree.track(anatomy.access, target.place, 1.0);
            assert!(track.is_ok(), "{stem} to {}: {track:?}", target.name);
        }
        let track = track(&anatomy).unwrap();
        let arch = measures(&anatomy).arch.unwrap();
        println!(
            "{stem}: {:.0} mm, {:.0} degrees, arch {:?}, {} lesions: {}",
            track.length_mm(),
            track.stations.last().unwrap().turning_rad.to_degrees(),
            arch.arch_type,
            track.lesions.len(),
            file.teaches
        );
        seen.insert(format!("{:?}", arch.arch_type));
        seen.insert(format!("{:?}", form.side));
        seen.insert(format!("{:?}", form.access));
        let shape = form
            .cervical_ica
            .shape
            .map_or("-".into(), |s| format!("{s:?}"));
        seen.insert(shape.split(' ').next().unwrap_or_default().to_owned());
        seen.insert(format!(
            "{:?}",
            form.arch.shared_origin.unwrap_or(SharedOrigin::None)
        ));
    }
    for kind in [
        "I",
        "II",
        "III",
        "Left",
        "Right",
        "FemoralLeft",
        "FemoralRight",
        "RadialRight",
        "DirectCarotid",
        "Straight",
        "Tortuous",
        "Kink",
        "Coil",
        "Loop",
        "CommonOrigin",
        "FromInnominate",
    ] {
        assert!(seen.contains(kind), "no vessel file shows {kind}: {seen:?}");
    }
}

// --- properties --------------------------------------------------------------------------------

/// Least gap between the walls of two stretches of a branch that are farther apart along it than
/// half the girth of a circle that closes on itself, mm.
fn least_gap_mm(anatomy: &Anatomy, branch: &str) -> f64 {
    let branch = &anatomy.tree.branches[anatomy.tree.branch(branch).unwrap()];
    let cells = 200_u32;
    let length_mm = branch.curve.length_mm();
    let samples: Vec<(f64, Point, f64)> = (0..=cells)
        .map(|i| {
            let s_mm = length_mm * f64::from(i) / f64::from(cells);
            (
                s_mm,
                branch.curve.point_at(s_mm),
                0.5 * branch.lumen.diameter_at(s_mm),
            )
        })
        .collect();
    let mut least = f64::INFINITY;
    for (i, a) in samples.iter().enumerate() {
        for b in &samples[i..] {
            // nearer ones are neighbours round a bend, where curvature times radius is the test
            if b.0 - a.0 > std::f64::consts::PI * (a.2 + b.2) {
                least = least.min((a.1 - b.1).norm() - a.2 - b.2);
            }
        }
    }
    least
}

#[test]
fn property_two_thousand_random_persons_build_or_refuse_with_a_reason() {
    let mut rng = ChaCha8Rng::seed_from_u64(20_240_229);
    let mut refused: BTreeMap<String, u32> = BTreeMap::new();
    let (mut built, mut crossed) = (0_u32, 0_u32);
    for _ in 0..2000 {
        let form = Measurements::sampled(&mut rng);
        match form
            .build()
            .and_then(|anatomy| track(&anatomy).map(|t| (anatomy, t)))
        {
            Ok((anatomy, track)) => {
                built += 1;
                assert!(anatomy.tree.check().is_ok(), "{form:?}");
                let worst = track
                    .stations
                    .iter()
                    .map(|s| s.curvature_per_mm * s.radius_mm)
                    .fold(0.0, f64::max);
                assert!(worst <= 0.9 + 1e-9, "{worst} in {form:?}");
                if least_gap_mm(&anatomy, "internal-carotid") < -0.1 {
                    crossed += 1;
                }
            }
            Err(GeometryError::Measurement { field, .. }) => {
                *refused.entry(field).or_default() += 1;
            }
            Err(GeometryError::SelfOverlap { place, .. }) => {
                *refused.entry(place).or_default() += 1;
            }
            Err(other) => panic!("{other}"),
        }
    }
    println!("{built} of 2000 built, {crossed} touch themselves; refused: {refused:#?}");
    // 4 % were refused when this was written: drawn independently, measurements can contradict
    assert!(built > 1900, "{built} built; refused {refused:?}");
    // 0.1 mm: the builder looks every millimetre
    assert_eq!(crossed, 0, "internal carotids that run through themselves");
}

#[test]
fn property_the_same_draw_is_the_same_person() {
    let draw = |number| Measurements::sampled(&mut ChaCha8Rng::seed_from_u64(number));
    assert_eq!(draw(7), draw(7), "one draw, one person");
    assert_eq!(draw(7).build(), draw(7).build(), "one person, one anatomy");
    assert_ne!(draw(7), draw(8), "two draws, two persons");
}

#[test]
fn published_means_and_shares_of_those_drawn() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let drawn: Vec<Measurements> = (0..4000).map(|_| Measurements::sampled(&mut rng)).collect();
    let share = |is: &dyn Fn(&Measurements) -> bool| {
        let count = drawn.iter().filter(|m| is(m)).count();
        f64::from(u32::try_from(count).unwrap()) / 4000.0
    };
    // three standard errors of a share of 4000, at most 0.024
    let kind = |k| share(&|m: &Measurements| m.arch.kind == Some(k));
    close("type I", kind(ArchType::I), 0.607, 0.024);
    close("type III", kind(ArchType::III), 0.048, 0.011);
    let shared = share(&|m| m.arch.shared_origin != Some(SharedOrigin::None));
    close("shared origin", shared, 0.311, 0.024);
    let kinked = share(&|m| matches!(m.cervical_ica.shape, Some(NeckShape::Kink { .. })));
    close("kink", kinked, 0.233, 0.021);
    close(
        "M1 arch",
        share(&|m| m.m1.shape == Some(M1Shape::Arch)),
        0.64,
        0.024,
    );
    let takeoffs: Vec<f64> = drawn
        .iter()
        .filter_map(|m| m.arch.innominate_takeoff_deg)
        .collect();
    let mean = takeoffs.iter().sum::<f64>() / 4000.0;
    // 10 / sqrt(4000) = 0.16 degrees
    close("mean take-off", mean, 65.3, 0.5);
    let variance = takeoffs.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / 3999.0;
    // a normal law cut at 2.5 SD keeps 0.955 of its SD; means of the three arch types, which are drawn by their
    // shares, lie 3.85 about their own mean
    close(
        "spread of take-off",
        variance.sqrt(),
        9.55_f64.hypot(3.85),
        0.4,
    );
}

#[test]
fn property_kinks_are_graded_in_the_neck_only() {
    let mut graded = 0;
    for (name, file) in vessel_files() {
        let Form::Measured(measurements) = file.form;
        let anatomy = measurements.build().unwrap();
        if anatomy.target("m2-inferior").is_err() {
            continue;
        }
        let measures = measures(&anatomy);
        let track = track(&anatomy).unwrap();
        let [from_mm, to_mm] =
            ["carotid-bifurcation", "skull-base"].map(|landmark| track.landmark(landmark).unwrap());
        for segment in &measures.segments {
            let bend = segment.tortuosity.sharpest;
            let in_neck = (from_mm..=to_mm).contains(&bend.middle_mm);
            assert_eq!(
                bend.grade.is_some(),
                in_neck,
                "{name}, {}: {bend:?}",
                segment.name
            );
        }
        let neck = measures.neck.unwrap().sharpest;
        let grade = neck.grade.unwrap();
        assert_eq!(grade, KinkGrade::of(neck.interior_deg), "{name}: {neck:?}");
        graded += u32::from(grade > KinkGrade::None);
        if name.contains("kink") {
            assert!(grade > KinkGrade::None, "{name}: {neck:?}");
        }
    }
    assert!(graded >= 1, "some neck is kinked");
}
