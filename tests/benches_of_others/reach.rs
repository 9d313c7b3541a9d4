//! Suction by pressure and area, and the length of a guide that is fed to the neck.

use super::devices::BenchDevice;
use super::pose::{Parameters, Posed};
use super::row::{Bench, Kind};
use nestline_physics::geometry::ArchType;
use nestline_physics::geometry::anatomy::{Access, Measurements, Sex, Side};
use nestline_physics::mechanics::{Drive, Moving, PUMP_KPA, Surface, TubeStation, suction_force_n};

/// Tip force on artificial clot with two pumps, and pull-off force.
pub(super) fn suction() -> Vec<Bench> {
    let bench = |(source, what), published, lumen_in: f64| Bench {
        source,
        what,
        kind: Kind::Suction,
        published,
        geometry: "lumens by class; ideal seal at 86.8 kPa",
        find: Box::new(move |_, _| suction_force_n(25.4 * lumen_in, PUMP_KPA)),
    };
    let tip = "pmc.ncbi.nlm.nih.gov/articles/PMC9582518";
    let pull_off = "J NeuroIntervent Surg 2021;13:1157";
    vec![
        bench(
            (tip, "tip force of a 5F class (0.060 in), N"),
            [0.14, 0.18],
            0.060,
        ),
        bench(
            (tip, "tip force of a 6F class (0.071 in), N"),
            [0.25, 0.39],
            0.071,
        ),
        bench(
            (pull_off, "pull-off force of a 0.068 in class, N"),
            [0.22, 0.30],
            0.068,
        ),
        bench(
            (pull_off, "pull-off force of an 8F guide (0.088 in), N"),
            [0.36, 0.48],
            0.088,
        ),
    ]
}

/// From the skin to the artery, mm: from memory, 20 to 40 mm at the groin.
const SKIN_MM: f64 = 30.0;

/// Length of an 8F guide in the body with its tip at the skull base, cm.
fn fed_cm((sex, age_years, arch): (Sex, f64, Option<ArchType>), with: Parameters) -> f64 {
    let mut form = Measurements::new(sex, age_years, Access::FemoralRight, Side::Left);
    form.arch.kind = arch;
    let anatomy = form.build().unwrap();
    let target = anatomy.target("m2-inferior").unwrap();
    let track = anatomy.tree.track(anatomy.access, target, 2.0).unwrap();
    let tip_mm = track.landmark("skull-base").unwrap();
    let mut tube = TubeStation::along(&track);
    tube.retain(|station| station.s_mm < tip_mm + 20.0);
    let posed = Posed {
        tube,
        wall: Surface::Vessel,
        devices: vec![(BenchDevice::of_cabinet("guide-8f-90"), Drive::Tip(tip_mm))],
        holds: vec![],
    };
    let state = posed.solve(with, Moving::pushed(0));
    0.1 * (SKIN_MM + state.map_or(f64::NAN, |state| state.devices[0].inserted_mm))
}

/// Jia et al., Neurointervention 2017;12:91: guide in the body, 90 patients, up to its place in the distal neck.
pub(super) fn guides() -> Vec<Bench> {
    let bench = |what, sex, published| Bench {
        source: "Neurointervention 2017;12:91",
        what,
        kind: Kind::Length,
        published,
        geometry: "mean measures of people of 45, 62 and 80 years; tip at the skull base, 3 cm of skin assumed",
        find: Box::new(move |shape, with| fed_cm((sex, [45.0, 62.0, 80.0][shape], None), with)),
    };
    vec![
        bench("guide fed to the neck, men, cm", Sex::Male, [83.5, 94.7]),
        bench(
            "guide fed to the neck, women, cm",
            Sex::Female,
            [77.5, 86.7],
        ),
    ]
}

#[test]
fn published_guides_round_deeper_arches() {
    // Jia et al., Neurointervention 2017;12:91: 82.7 cm in arches of type I, 87.5 cm in those of types II and III. Missed: our
    // arches of other types are as long, and nothing else is told apart by them.
    let of = |arch| fed_cm((Sex::Male, 70.0, Some(arch)), Parameters::USUAL);
    let found = [ArchType::I, ArchType::II, ArchType::III].map(of);
    println!("guide fed to the neck, arches of type I, II, III: {found:.2?} cm");
    assert!(found.iter().all(|cm| (cm - 85.75).abs() < 0.3), "{found:?}");
}
