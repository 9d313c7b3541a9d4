//! Centre lines that go out and come back: every format, with noise, joined, and files that are none.
#![expect(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and writes its own files"
)]

use crate::support::lines::{FORMATS, imported, mm, written};
use crate::support::open_data::open_data;
use nestline::data::{self, ImportOptions, Source, Vessel};
use nestline::geometry::{
    Curve, MeasureSettings, Measures, Point, Tortuosity, TortuositySettings, Track, Vector,
    tortuosity,
};
use nestline::output::{CentreLines, traced_vessel_text};
use nestline::rehearsal::{Verdict, rehearse};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

fn vessel(name: &str) -> Vessel {
    data::read_vessel(&Source::from_argument(format!(
        "embedded:vessels/{name}.ron"
    )))
    .unwrap()
}

fn route(name: &str) -> Track {
    data::vessel_route(&Source::from_argument(format!(
        "embedded:vessels/{name}.ron"
    )))
    .unwrap()
}

fn track_of(vessel: &Vessel) -> Track {
    vessel
        .tree
        .track(vessel.access, vessel.targets[0].1, 1.0)
        .unwrap()
}

fn largest_curvature(track: &Track) -> f64 {
    let curve = &track.curve;
    let mut largest = 0.0_f64;
    let mut s_mm = 0.0;
    while s_mm < curve.length_mm() {
        largest = largest.max(curve.curvature_at(s_mm));
        s_mm += 0.25;
    }
    largest
}

/// Distance of a track's stations from a curve: root of the mean square and most, mm.
fn off(track: &Track, curve: &Curve) -> (f64, f64) {
    let all: Vec<f64> = track
        .stations
        .iter()
        .map(|s| curve.closest(&s.frame.origin_mm).1)
        .collect();
    let mean =
        all.iter().map(|d| d * d).sum::<f64>() / f64::from(u32::try_from(all.len()).unwrap());
    (mean.sqrt(), all.iter().copied().fold(0.0, f64::max))
}

#[test]
fn exact_a_route_comes_back_from_every_format() {
    for name in [
        "left-tandem-type-2",
        "right-radial-type-1",
        "left-coil-type-1",
    ] {
        let there = route(name);
        let lines = CentreLines::of_track(&there);
        for (ending, format) in FORMATS {
            let options = ImportOptions::with("mm", |o| {
                let start = there.stations[0].frame.origin_mm;
                o.root = Some(format!("{},{},{}", start.x, start.y, start.z));
            });
            let traced =
                imported(&format!("route.{ending}"), &lines.text(format), &options).unwrap();
            let back = track_of(&written(&traced));
            let (_, most_mm) = off(&back, &there.curve);
            assert!(most_mm <= 0.05, "{name}, {ending}: {most_mm} mm");
            let (was, is) = (largest_curvature(&there), largest_curvature(&back));
            assert!(
                (is / was - 1.0).abs() <= 0.01,
                "{name}, {ending}: {was} became {is}"
            );
            assert!(
                (back.length_mm() - there.length_mm()).abs() < 0.1,
                "{name}, {ending}"
            );
            let mut wider = 0.0_f64;
            for station in &back.stations {
                wider = wider.max((station.radius_mm / there.radius_at(station.s_mm) - 1.0).abs());
            }
            assert!(
                wider < 0.15,
                "{name}, {ending}: a radius changed by {wider}"
            );
        }
    }
}

/// How a track comes back with 0.1 mm of noise on points 1 mm apart.
struct Back {
    rms_mm: f64,
    /// By shares of what it was.
    longer: f64,
    turning: f64,
    sum_of_angles: f64,
    largest_curvature: f64,
}

fn tortuosity_of(curve: &Curve) -> Tortuosity {
    let settings = TortuositySettings::default();
    tortuosity(curve, 0.0, curve.length_mm(), &settings).unwrap()
}

fn noisy(there: &Track, draw: u64) -> Back {
    let mut random = ChaCha8Rng::seed_from_u64(draw);
    // twelve even numbers make a bell
    let mut bell = || (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0;
    let mut csv = String::from("x,y,z,radius\n");
    for station in &there.stations {
        let p = station.frame.origin_mm + Vector::new(bell(), bell(), bell()) * 0.1;
        csv += &format!("{},{},{},{}\n", p.x, p.y, p.z, station.radius_mm);
    }
    let options = ImportOptions::with("mm", |o| o.root = Some("row:2".into()));
    let back = track_of(&written(&imported("noisy.csv", &csv, &options).unwrap()));
    let (was, is) = (tortuosity_of(&there.curve), tortuosity_of(&back.curve));
    let sum = |t: &Tortuosity| t.sum_of_angles_rad_per_mm * t.length_mm;
    Back {
        rms_mm: off(&back, &there.curve).0,
        longer: back.length_mm() / there.length_mm() - 1.0,
        turning: is.turning_deg / was.turning_deg - 1.0,
        sum_of_angles: sum(&is) / sum(&was) - 1.0,
        largest_curvature: largest_curvature(&back) / largest_curvature(there) - 1.0,
    }
}

#[test]
fn property_a_noisy_route_comes_back_smooth() {
    /// Draws of noise of each route.
    const DRAWS: [u64; 5] = [17, 18, 19, 20, 21];
    for name in [
        "left-tandem-type-2",
        "right-radial-type-1",
        "right-type-3-tortuous",
    ] {
        let there = route(name);
        let mut sums = Vec::new();
        for draw in DRAWS {
            let back = noisy(&there, draw);
            let told = format!("{name}, draw {draw}");
            assert!(back.rms_mm <= 0.1, "{told}: {} mm", back.rms_mm);
            assert!(
                back.longer.abs() <= 5e-3,
                "{told}: length by {}",
                back.longer
            );
            assert!(
                back.turning.abs() <= 0.05,
                "{told}: turning by {}",
                back.turning
            );
            let sum = back.sum_of_angles;
            assert!(sum.abs() <= 0.07, "{told}: sum of angles by {sum}");
            sums.push(sum);
            // what noise leaves of the sharpest bend; the report says so
            let sharpest = back.largest_curvature;
            assert!(
                sharpest.abs() <= 0.15,
                "{told}: largest curvature by {sharpest}"
            );
        }
        let squares: f64 = sums.iter().map(|s| s * s).sum();
        let root = (squares / f64::from(u32::try_from(sums.len()).unwrap())).sqrt();
        assert!(root <= 0.05, "{name}: sums of angles by {root}, {sums:?}");
    }
}

#[test]
fn exact_a_whole_tree_comes_back_from_every_format() {
    let there = vessel("left-tandem-type-2");
    let lines = CentreLines::of_tree(&there.tree);
    for (ending, format) in FORMATS {
        let traced = imported(&format!("tree.{ending}"), &lines.text(format), &mm()).unwrap();
        assert_eq!(
            traced.traced.branches.len(),
            there.tree.branches.len() - cut_off(&there),
            "{ending}"
        );
        let back = written(&traced);
        for branch in &there.tree.branches {
            let end = branch.curve.end().origin_mm;
            let off_mm = back
                .tree
                .branches
                .iter()
                .map(|b| (b.curve.end().origin_mm - end).norm());
            let near_mm = off_mm.fold(f64::INFINITY, f64::min);
            let middle = branch.curve.point_at(0.5 * branch.curve.length_mm());
            let passed_mm = back
                .tree
                .branches
                .iter()
                .map(|b| b.curve.closest(&middle).1)
                .fold(f64::INFINITY, f64::min);
            assert!(
                passed_mm < 0.1,
                "{ending}: {} is missed by {passed_mm} mm",
                branch.name
            );
            assert!(
                near_mm < 0.5 || passed_mm < 0.1,
                "{ending}: {} ends {near_mm} mm off",
                branch.name
            );
        }
    }
}

/// Branches that run on into another at its end become one with it: as many as have an end that another starts at,
/// and at which a chain goes on.
fn cut_off(vessel: &Vessel) -> usize {
    let tree = &vessel.tree;
    let ends = tree.branches.iter().enumerate().filter(|(i, b)| {
        let length_mm = b.curve.length_mm();
        tree.branches.iter().any(|c| {
            c.ostium
                .is_some_and(|o| o.branch == *i && (o.at_mm - length_mm).abs() < 1e-6)
        })
    });
    ends.count()
}

#[test]
fn exact_lines_from_the_root_to_every_tip_are_one_tree() {
    let there = vessel("left-tandem-type-2");
    let mut csv = String::from("x,y,z,radius,line\n");
    let target = |name: &str| there.targets.iter().find(|t| t.0 == name).unwrap().1;
    for name in ["m2-inferior", "m2-superior", "external-carotid"] {
        let track = there.tree.track(there.access, target(name), 1.0).unwrap();
        for s in &track.stations {
            let p = s.frame.origin_mm;
            csv += &format!("{},{},{},{},{name}\n", p.x, p.y, p.z, s.radius_mm);
        }
    }
    let traced = imported(
        "trunks.csv",
        &csv,
        &ImportOptions::with("mm", |o| o.root = Some("row:2".into())),
    )
    .unwrap();
    assert_eq!(
        traced.traced.branches.len(),
        3,
        "one trunk, two side branches"
    );
    let leaves: Vec<usize> = traced
        .traced
        .branches
        .iter()
        .filter_map(|b| b.leaves)
        .map(|l| l.0)
        .collect();
    assert_eq!(leaves, [0, 0], "both leave the trunk");
    let back = written(&traced);
    let long = there
        .tree
        .track(there.access, target("m2-inferior"), 1.0)
        .unwrap();
    assert!((back.tree.branches[0].curve.length_mm() - long.length_mm()).abs() < 1.0);
}

#[test]
fn exact_gaps_are_joined_rings_opened_and_parts_refused() {
    let line = |name: &str, from: [f64; 3], to: [f64; 3]| -> String {
        let at = |share: f64| [0, 1, 2].map(|i| from[i] + (to[i] - from[i]) * share);
        (0..=20)
            .map(|k| {
                let [x, y, z] = at(f64::from(k) / 20.0);
                format!(
                    "{x},{y},{z},{},{name}\n",
                    if k == 0 && name == "a" { 2.5 } else { 2.0 }
                )
            })
            .collect()
    };
    let head = "x,y,z,r,line\n";
    // b starts 1.5 mm beside the end of a, within its lumen
    let gap = format!(
        "{head}{}{}",
        line("a", [0.0; 3], [0.0, 0.0, 40.0]),
        line("b", [1.5, 0.0, 40.0], [30.0, 0.0, 60.0])
    );
    let joined = imported("gap.csv", &gap, &mm()).unwrap();
    assert_eq!(joined.traced.branches.len(), 1, "{:?}", joined.traced.told);
    assert!(
        format!("{:?}", joined.traced.told).contains("Joined"),
        "{:?}",
        joined.traced.told
    );
    // 5 mm are no lumen
    let apart = format!(
        "{head}{}{}",
        line("a", [0.0; 3], [0.0, 0.0, 40.0]),
        line("b", [5.0, 0.0, 40.0], [30.0, 0.0, 60.0])
    );
    let told = imported("apart.csv", &apart, &mm()).unwrap_err();
    assert!(
        told.to_string().contains("2 parts that do not touch"),
        "{told}"
    );
    let wide = ImportOptions::with("mm", |o| o.join = Some("6mm".into()));
    assert_eq!(
        imported("apart.csv", &apart, &wide)
            .unwrap()
            .traced
            .branches
            .len(),
        1
    );
    let one = ImportOptions::with("mm", |o| o.root = Some("row:2".into()));
    let left = imported("apart.csv", &apart, &one).unwrap();
    assert!(
        format!("{:?}", left.traced.told).contains("LeftOut"),
        "{:?}",
        left.traced.told
    );
    // a ring of three with a way in
    let ring = format!(
        "{head}{}{}{}{}",
        line("a", [0.0; 3], [0.0, 0.0, 40.0]),
        line("b", [0.0, 0.0, 40.0], [30.0, 0.0, 60.0]),
        line("c", [0.0, 0.0, 40.0], [-30.0, 0.0, 60.0]),
        line("d", [-30.0, 0.0, 60.0], [30.0, 0.0, 60.0]),
    );
    let opened = imported("ring.csv", &ring, &mm()).unwrap();
    assert!(
        format!("{:?}", opened.traced.told).contains("RingOpened"),
        "{:?}",
        opened.traced.told
    );
}

#[test]
fn exact_units_axes_and_places_are_taken_as_given() {
    let mut csv = String::from("x,y,z,radius\n");
    for k in 0..=60 {
        csv += &format!("{},2,3,{}\n", k, if k == 0 { 4.1 } else { 4.0 });
    }
    let options = ImportOptions::with("0.5mm", |o| {
        o.axes = Some("RAS".into());
        o.landmarks = vec![
            "middle=30,2,3".into(),
            "tenth=row:12".into(),
            "far=trunk@25mm".into(),
        ];
        o.lesions = vec!["plaque=middle + 2mm,6mm,70".into()];
        o.clots = vec!["clot=trunk@24mm,4mm".into()];
    });
    let traced = imported("line.csv", &csv, &options).unwrap();
    let vessel = written(&traced);
    let start = vessel.tree.branches[0].curve.point_at(0.0);
    assert!(
        (start - Point::new(0.0, -1.0, 1.5)).norm() < 1e-3,
        "{start}"
    );
    let end = vessel.tree.branches[0].curve.end().origin_mm;
    assert!((end - Point::new(-30.0, -1.0, 1.5)).norm() < 1e-3, "{end}");
    let at: Vec<(String, f64)> = vessel
        .tree
        .landmarks
        .iter()
        .map(|l| (l.name.clone(), (l.place.at_mm * 100.0).round() / 100.0))
        .collect();
    assert_eq!(
        at,
        [
            ("middle".into(), 15.0),
            ("tenth".into(), 5.0),
            ("far".into(), 25.0)
        ]
    );
    assert!(
        (vessel.tree.lesions[0].start_mm - 17.0).abs() < 0.01
            && vessel.tree.clots[0].length_mm > 3.9
    );
    assert!(
        (vessel.tree.branches[0].lumen.diameter_at(10.0) - 4.0).abs() < 0.02,
        "radius 4 units of half a millimetre"
    );
}

#[test]
fn exact_a_narrowing_is_proposed_and_taken_only_when_asked() {
    let mut csv = String::from("x,y,z,radius\n");
    for k in 0..=160 {
        let z = 0.5 * f64::from(k);
        // 5 mm wide, 1.5 mm at 40 mm
        let off = ((z - 40.0).abs() / 8.0).min(1.0);
        csv += &format!(
            "0,0,{z},{}\n",
            0.75 + 1.75 * off + if k == 0 { 0.05 } else { 0.0 }
        );
    }
    let proposed = imported("narrow.csv", &csv, &mm()).unwrap();
    assert_eq!(proposed.proposed.len(), 1);
    assert!(written(&proposed).tree.lesions.is_empty(), "not imposed");
    let percent = proposed.proposed[0].1.nascet_percent;
    assert!((60.0..72.0).contains(&percent), "{percent}");
    let taken = imported(
        "narrow.csv",
        &csv,
        &ImportOptions::with("mm", |o| o.take_narrowings = true),
    )
    .unwrap();
    let vessel = written(&taken);
    assert_eq!(vessel.tree.lesions.len(), 1);
    let narrowest = 2.0 * track_of(&vessel).radius_at(40.0);
    assert!(
        (narrowest - 1.5).abs() < 0.35,
        "narrowed once: {narrowest} mm"
    );
    assert!(
        (vessel.tree.branches[0].lumen.diameter_at(40.0) - 5.0).abs() < 0.3,
        "the lumen is bridged"
    );
}

#[test]
fn property_a_hundred_thousand_points_are_one_vessel() {
    let there = route("left-tandem-type-2");
    let mut csv = String::from("x,y,z,radius\n");
    for k in 0..100_000 {
        let s_mm = there.length_mm() * f64::from(k) / 99_999.0;
        let p = there.curve.point_at(s_mm);
        csv += &format!("{},{},{},{}\n", p.x, p.y, p.z, there.radius_at(s_mm));
    }
    let traced = imported(
        "many.csv",
        &csv,
        &ImportOptions::with("mm", |o| o.root = Some("row:2".into())),
    )
    .unwrap();
    let (_, most_mm) = off(&track_of(&written(&traced)), &there.curve);
    assert!(most_mm < 0.05, "{most_mm} mm");
}

// --- open data ---

#[test]
fn published_traced_carotids_are_as_long_as_carotids_are() {
    for side in ["side1", "side2"] {
        let Some(text) = open_data(&format!("intracranial-human/ica_m1_7001_{side}.csv")) else {
            return;
        };
        // columns name no vessel of ours: where the carotid ends is where the segment changes
        let m1 = text.lines().position(|l| l.ends_with(",M1")).unwrap() + 1;
        let options = ImportOptions::with("0.35mm", |o| {
            o.landmarks = vec![format!("terminus=row:{m1}")]
        });
        let traced = imported("side.csv", &text, &options).unwrap();
        let vessel = written(&traced);
        let track = track_of(&vessel);
        let ica_mm = vessel.tree.landmarks[0].place.at_mm;
        let m1_mm = vessel.tree.branches[0].curve.length_mm() - ica_mm;
        // petrous 10 to 15 and 18 to 22, lacerum 5 to 10 mm (Keshelava et al. 2009; from memory), siphon 33.1 +- 6.1 and M1
        // 22.5 +- 8.1 mm (Rai et al. 2013): two deviations to either side
        assert!(
            (54.0..=93.0).contains(&ica_mm),
            "{side}: the carotid is {ica_mm} mm long"
        );
        assert!(
            (6.0..=39.0).contains(&m1_mm),
            "{side}: M1 is {m1_mm} mm long"
        );
        let measures = Measures::of(&vessel.tree, &track, &MeasureSettings::default()).unwrap();
        assert!(
            measures.route.sharpest.interior_deg < 110.0,
            "{side}: a siphon bends: {:?}",
            measures.route.sharpest
        );
        // 6 to 7 bends are what anatomy names on an internal carotid, 3 to 33 what detectors found on one (BioMed Eng
        // OnLine 2021, doi 10.1186/s12938-021-00957-6): within two of the former. M1 is an arch or an S (Reci V,
        // Bexheti S, 2019): one or two bends, and one more where the tracing goes on into a trunk
        let bends = |from_mm, to_mm| {
            let settings = TortuositySettings::default();
            let curve = &vessel.tree.branches[0].curve;
            tortuosity(curve, from_mm, to_mm, &settings).unwrap().bends
        };
        let (of_ica, of_m1) = (bends(0.0, ica_mm), bends(ica_mm, ica_mm + m1_mm));
        assert!(
            (4..=9).contains(&of_ica),
            "{side}: {of_ica} bends of the carotid"
        );
        assert!((1..=3).contains(&of_m1), "{side}: {of_m1} bends of M1");
    }
}

#[test]
fn property_a_stack_settles_in_a_traced_head_on_a_generic_neck() {
    let Some(swc) = open_data("intracranial-human/tracing_ves_TH_0_7001_U.swc") else {
        return;
    };
    let options = ImportOptions::with("0.35mm", |o| {
        o.root = Some("row:132".into());
        o.target = Some("m1-end=row:35".into());
        o.landmarks = vec!["terminus=row:65".into()];
        o.onto = Some("embedded:vessels/left-tandem-type-2.ron".into());
    });
    let traced = imported("head.swc", &swc, &options).unwrap();
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(
        folder.path().join("vessel.ron"),
        traced_vessel_text(&traced),
    )
    .unwrap();
    let scene = r#"Scene(
    name: "A traced head", about: "up to its M1", vessel: "vessel.ron", target: "m1-end", hub_standoff: "30 mm",
    stack: [
        (name: "sheath", file: "cabinet:access-sheath-8f-11"),
        (name: "guide", file: "cabinet:guide-8f-90", valves: ["cabinet:valve-rotating-y"]),
        (name: "selector", file: "cabinet:selector-125-simple-curve"),
        (name: "stiff-wire", file: "cabinet:wire-035-180-stiff"),
        (name: "microcatheter", file: "cabinet:microcatheter-021-155"),
        (name: "wire", file: "cabinet:wire-014-200-soft"),
    ],
    script: [
        (act: Insert(device: "sheath", to: Hub)),
        (act: Insert(device: "guide", through: "sheath", to: Short("sheath.tip", "40 mm"))),
        (act: Insert(device: "selector", through: "guide", to: At("sheath.tip"))),
        (act: Insert(device: "stiff-wire", through: "selector", to: Past("selector.tip", "20 mm"))),
        (act: Watch(plane: A, region: Neck)),
        (act: AdvanceTogether(devices: ["guide", "selector", "stiff-wire"], to: Short("left-subclavian-origin", "40 mm"))),
        (act: Remove(device: "stiff-wire")),
        (act: Engage(device: "selector", ostium: "common-carotid-origin")),
        (act: Contrast(through: "selector", region: Neck)),
        (act: Roadmap(plane: A)),
        (act: Insert(device: "stiff-wire", through: "selector", to: Short("carotid-bifurcation", "20 mm"))),
        (act: Advance(device: "selector", to: Short("carotid-bifurcation", "30 mm"))),
        (act: Advance(device: "guide", to: Short("carotid-bifurcation", "35 mm"))),
        (act: Remove(device: "stiff-wire")),
        (act: Remove(device: "selector")),
        (act: Watch(plane: B, region: Head)),
        (act: Insert(device: "microcatheter", through: "guide", to: At("guide.tip"))),
        (act: Insert(device: "wire", through: "microcatheter", to: Past("microcatheter.tip", "10 mm"))),
        (act: AdvanceTogether(devices: ["microcatheter", "wire"], to: Past("skull-base", "20 mm"))),
        (act: Advance(device: "wire", to: Short("terminus", "5 mm"))),
        (act: Advance(device: "microcatheter", to: Short("terminus", "10 mm"))),
    ],
)"#;
    let path = folder.path().join("scene.ron");
    std::fs::write(&path, scene).unwrap();
    let plan = data::read_scene(&Source::Disk(path)).unwrap();
    let measured = plan
        .vessel
        .values
        .iter()
        .filter(|v| v.assumed_from.is_none())
        .count();
    assert!(measured > 0 && plan.vessel.values.iter().any(|v| v.name == "graft.turned"));
    let spread = plan
        .vessel
        .values
        .iter()
        .filter_map(|v| v.assumed_from.as_ref());
    assert!(
        spread.clone().count() > 50 && spread.clone().filter(|s| s.contains("spread")).count() > 50
    );
    let outcome = rehearse(&plan).unwrap();
    for step in &outcome.steps {
        assert!(step.performed, "step {}: {:?}", step.number, step.findings);
    }
    assert_eq!(outcome.verdict, Verdict::Passes, "{:?}", outcome.headline);
}
