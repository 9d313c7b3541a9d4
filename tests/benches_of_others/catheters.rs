//! Wires, microcatheters, delivery systems and folded stents, pushed.

use super::devices::BenchDevice;
use super::pose::{Parameters, Posed, Run, length_mm, tube};
use super::retrievers::spec;
use super::row::{Bench, Kind};
use nestline_physics::device::Coating;
use nestline_physics::mechanics::{Containment, Drive, Moving, Surface};

/// A carotid path of 20 cm in a tube of 0.065 in that turns by 560 degrees, three ways: even, as a carotid with its siphon,
/// in three wide turns.
pub(super) fn carotid_paths() -> [Vec<Run>; 3] {
    const LUMEN_MM: f64 = 0.065 * 25.4;
    let run = |length_mm, turn_deg, roll_deg| Run(length_mm, turn_deg, roll_deg, LUMEN_MM);
    [
        (0..8)
            .map(|i| run(25.0, 70.0, 90.0 * f64::from(i)))
            .collect(),
        vec![
            run(60.0, 0.0, 0.0),
            run(22.0, 90.0, 0.0),
            run(10.0, 0.0, 0.0),
            run(18.0, 110.0, 170.0),
            run(16.0, 100.0, 20.0),
            run(14.0, 100.0, 180.0),
            run(12.0, 90.0, 90.0),
            run(13.0, 70.0, 250.0),
            run(35.0, 0.0, 0.0),
        ],
        vec![
            run(30.0, 0.0, 0.0),
            run(35.0, 187.0, 0.0),
            run(25.0, 0.0, 0.0),
            run(35.0, 187.0, 180.0),
            run(20.0, 0.0, 0.0),
            run(35.0, 186.0, 90.0),
            run(20.0, 0.0, 0.0),
        ],
    ]
}

/// The wire of that bench at the end of a path.
pub(super) fn wire_in(runs: &[Run], wire: &str) -> Posed {
    Posed {
        tube: tube(runs),
        wall: Surface::Device(Coating::Ptfe),
        devices: vec![(
            BenchDevice::of_cabinet(wire),
            Drive::Tip(length_mm(runs) - 1.0),
        )],
        holds: vec![],
    }
}

/// A microcatheter at the end of a path, over a wire that goes on.
pub(super) fn microcatheter_in(runs: &[Run], microcatheter: &str, wire: &str) -> Posed {
    let over = wire_in(runs, microcatheter);
    Posed {
        devices: [
            over.devices,
            vec![(BenchDevice::of_cabinet(wire), Drive::Through)],
        ]
        .concat(),
        holds: vec![Containment::coaxial(1, 0)],
        ..over
    }
}

/// Zoarski GH et al., AJNR 1998;19:1571: wires and microcatheters through a carotid path.
pub(super) fn carotid_path() -> Vec<Bench> {
    let bench = |what, kind, published, posed: fn(&[Run]) -> Posed| Bench {
        source: "AJNR 1998;19:1571",
        what,
        kind,
        published,
        geometry: "20 cm of 0.065 in PTFE turning by 560 degrees known; where it bends and stiffnesses assumed",
        find: Box::new(move |shape, with| {
            posed(&carotid_paths()[shape]).hub_n(with, Moving::pushed(0))
        }),
    };
    let microcatheter = "microcatheter over a 0.014 in wire, push, N";
    vec![
        bench("0.014 in wire, push, N", Kind::Below, [0.08; 2], |runs| {
            wire_in(runs, WIRE)
        }),
        bench(microcatheter, Kind::Force, [0.09, 0.14], |runs| {
            microcatheter_in(runs, "microcatheter-021-155", WIRE)
        }),
    ]
}

/// The wire of that bench: the cabinet's softer one.
const WIRE: &str = "wire-014-200-soft";

/// Lumen of the guide that lies in the aorta and its arch, 0.071 in, and of the coronary vessel, mm.
const GUIDE_MM: f64 = 0.071 * 25.4;
const CORONARY_MM: f64 = 3.0;

/// Coronary courses from the ostium on: gentle, usual, tortuous; behind an aorta with its arch.
pub(super) fn coronary_courses() -> [Vec<Run>; 3] {
    let aorta = [
        Run(100.0, 0.0, 0.0, GUIDE_MM),
        Run(110.0, 180.0, 0.0, GUIDE_MM),
        Run(40.0, 60.0, 180.0, GUIDE_MM),
    ];
    let course = |bends: &[(f64, f64, f64)]| {
        let mut runs = aorta.to_vec();
        for (turn_deg, radius_mm, roll_deg) in bends {
            runs.push(Run(12.0, 0.0, 0.0, CORONARY_MM));
            runs.push(Run(
                radius_mm * turn_deg.to_radians(),
                *turn_deg,
                *roll_deg,
                CORONARY_MM,
            ));
        }
        runs.push(Run(25.0, 0.0, 0.0, CORONARY_MM));
        runs
    };
    [
        course(&[(60.0, 25.0, 0.0), (60.0, 25.0, 120.0)]),
        course(&[(90.0, 18.0, 0.0), (60.0, 15.0, 120.0), (60.0, 15.0, 250.0)]),
        course(&[(110.0, 12.0, 0.0), (90.0, 10.0, 120.0), (90.0, 10.0, 250.0)]),
    ]
}

/// Length of the way to the ostium, mm.
const OSTIUM_MM: f64 = 250.0;

/// A delivery system with its tip there, over a supporting wire, out of a guide at the ostium.
pub(super) fn delivery_in(runs: &[Run], tip_mm: f64) -> Posed {
    // middle of the published profiles, 1.055 to 1.198 mm, and stiffnesses, 17.2 to 47.2 N mm2; 18 mm long: assumed
    let system = BenchDevice::of_cabinet("balloon-3.0x20-rx").with_front(20.0, 1.12, 28.5);
    Posed {
        tube: tube(runs),
        wall: Surface::Vessel,
        devices: vec![
            (system, Drive::Tip(tip_mm)),
            (
                BenchDevice::of_cabinet("wire-014-200-support"),
                Drive::Through,
            ),
        ],
        holds: vec![Containment::coaxial(1, 0)],
    }
}

/// Push on the system's hub, N, as it is tracked through the vessel: mean over four places.
fn track_n(runs: &[Run], with: Parameters) -> f64 {
    let end = length_mm(runs) - 2.0;
    let places =
        [0.25, 0.5, 0.75, 1.0].map(|part| OSTIUM_MM + 10.0 + part * (end - OSTIUM_MM - 10.0));
    let all = places.map(|tip_mm| delivery_in(runs, tip_mm).hub_n(with, Moving::pushed(0)));
    all.iter().sum::<f64>() / 4.0
}

/// Straight part of the guide that is left out of the tube, mm: a guide is some 1 m long.
const STRAIGHT_MM: f64 = 650.0;

/// What arrives of a push through the straight part, N: the system lies on the guide's wall as a helix.
/// `1/F' = 1/F + mu r L / (4 B)` (derived from the wall force of a helix, r F² / (4 B)).
fn through_straight_n(posed: &Posed, with: Parameters, push_n: f64) -> f64 {
    let shafts = posed
        .devices
        .iter()
        .map(|(device, _)| device.at(STRAIGHT_MM));
    let stiffness_n_mm2: f64 = shafts
        .map(|line| with.stiffness_factor * line.stiffness_n_mm2)
        .sum();
    let system = &posed.devices[0].0;
    let clearance_mm = 0.5 * (GUIDE_MM - system.at(STRAIGHT_MM).outer_mm);
    let rubs = with.friction(system.outside, Surface::Device(Coating::Ptfe));
    1.0 / (1.0 / push_n + rubs * clearance_mm * STRAIGHT_MM / (4.0 * stiffness_n_mm2))
}

/// Force at the hub over that at the tip where 4 N push against something that does not give.
fn hub_over_tip(runs: &[Run], with: Parameters) -> f64 {
    const HUB_N: f64 = 4.0;
    let posed = delivery_in(runs, length_mm(runs) - 2.0);
    let pushed_n = through_straight_n(&posed, with, HUB_N);
    // a load at which a long rod finds no rest has neighbours at which it does
    let needs_n = |tip_n: f64| {
        let held = |by: f64| Moving::pushed(0).held_back_by_n(by * tip_n);
        let mut near = [1.0, 0.98]
            .map(|by| posed.hub_n(with, held(by)) / by)
            .into_iter();
        near.find(|found_n| found_n.is_finite()).unwrap_or(f64::NAN)
    };
    // to one per cent, between a quarter of it and all
    let (mut least_n, mut most_n) = (0.25 * pushed_n, pushed_n);
    for _ in 0..7 {
        let tip_n = 0.5 * (least_n + most_n);
        let found_n = needs_n(tip_n);
        if found_n.is_nan() {
            return f64::NAN;
        }
        if found_n < pushed_n {
            least_n = tip_n;
        } else {
            most_n = tip_n;
        }
    }
    2.0 * HUB_N / (least_n + most_n)
}

/// Schmidt W et al., Catheter Cardiovasc Interv 2009;73:350: coronary delivery systems in one vessel model. Of 4 N at
/// the hub 18.5 to 38.7 % arrive at the tip.
pub(super) fn delivery() -> Vec<Bench> {
    let bench = |what, published, value: fn(&[Run], Parameters) -> f64| Bench {
        source: "Catheter Cardiovasc Interv 2009;73:350",
        what,
        kind: Kind::Force,
        published,
        geometry: "profile and stiffness of the front known; vessel, guide and shaft assumed",
        find: Box::new(move |shape, with| value(&coronary_courses()[shape], with)),
    };
    vec![
        bench(
            "coronary delivery system, mean track force, N",
            [0.551, 1.137],
            track_n,
        ),
        bench(
            "the same: hub over tip force at 4 N",
            [1.0 / 0.387, 1.0 / 0.185],
            hub_over_tip,
        ),
    ]
}

/// Retrievers of the cabinet with the lumen they are made for, in, and free diameter, free and folded length, mm.
const FOLDED: [(&str, f64, [f64; 3]); 4] = [
    ("retriever-3x20-pusher-014", 0.017, [3.0, 20.0, 32.0]),
    ("retriever-4x20-pusher-0145", 0.021, [4.0, 20.0, 34.0]),
    ("retriever-4x40-pusher-0155", 0.021, [4.0, 40.0, 56.0]),
    ("retriever-6x30-pusher-016", 0.027, [6.0, 30.0, 52.0]),
];

/// Greatest push of four folded devices through their microcatheters, N.
fn passage_n(bends: &[(f64, f64)], with: Parameters) -> f64 {
    let force = |(name, lumen_in, sizes): (&str, f64, [f64; 3])| {
        let lumen_mm = 25.4 * lumen_in;
        let mut runs = vec![Run(100.0, 0.0, 0.0, lumen_mm)];
        for (turn_deg, radius_mm) in bends {
            runs.push(Run(
                radius_mm * turn_deg.to_radians(),
                *turn_deg,
                90.0,
                lumen_mm,
            ));
            runs.push(Run(20.0, 0.0, 0.0, lumen_mm));
        }
        let lining = Surface::Device(Coating::Ptfe);
        let rubs = with.friction(Coating::Metal, lining);
        let posed = Posed {
            tube: tube(&runs),
            wall: lining,
            devices: vec![(
                BenchDevice::of_cabinet(name),
                Drive::Tip(length_mm(&runs) - 1.0),
            )],
            holds: vec![],
        };
        // mu q times the length; a retriever's outward force is taken on to the folded state
        let outward_n = sizes[2] * with.outward_factor * spec(sizes).outward_n_per_mm(lumen_mm);
        posed.hub_n(with, Moving::pushed(0).held_back_by_n(rubs * outward_n))
    };
    FOLDED.map(force).into_iter().fold(0.0, f64::max)
}

/// Cho SH et al., Neurointervention 2017;12:31: brain stents through a microcatheter; 55.0 gf was the most.
pub(super) fn passage() -> Vec<Bench> {
    const SHAPES: [&[(f64, f64)]; 3] = [
        &[],
        &[(90.0, 10.0), (90.0, 10.0)],
        &[(90.0, 8.0), (120.0, 8.0), (120.0, 8.0), (90.0, 8.0)],
    ];
    vec![Bench {
        source: "Neurointervention 2017;12:31",
        what: "folded stent in a microcatheter, most of 4, N",
        kind: Kind::Force,
        published: [0.54; 2],
        geometry: "stents, microcatheter and path assumed",
        find: Box::new(|shape, with| passage_n(SHAPES[shape], with)),
    }]
}
