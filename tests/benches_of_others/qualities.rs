//! What benches found without figures that could be compared: which of two is more, and where.

use super::catheters::{carotid_paths, wire_in};
use super::devices::BenchDevice;
use super::pose::{Parameters, Posed, Run, length_mm, tube};
use nestline_physics::mechanics::{Containment, Drive, Moving, StackState, Surface};

/// Without friction, so that a tip that is pressed back goes back.
const SLIPPERY: Parameters = Parameters {
    friction_factor: 0.0,
    ..Parameters::USUAL
};

/// Descending aorta, arch, and a carotid that leaves it, mm and degrees; the place where it leaves.
fn arch() -> (Vec<Run>, f64) {
    let runs = vec![
        Run(200.0, 0.0, 0.0, 20.0),
        Run(75.0, 120.0, 0.0, 22.0),
        Run(30.0, 80.0, 180.0, 8.0),
        Run(100.0, 0.0, 0.0, 7.0),
    ];
    (runs, 275.0)
}

/// Press on the tip, N, at which the last of these devices goes back by 5 mm, its hub held.
fn backs_out_n(posed: &Posed) -> f64 {
    const BACK_MM: f64 = 5.0;
    let last = posed.devices.len() - 1;
    let placed = |posed: &Posed, press_n: f64| {
        let moving = Moving::pushed(last).held_back_by_n(press_n);
        posed
            .solve(SLIPPERY, moving)
            .map(|state| state.devices[last])
    };
    let unpressed = placed(posed, 0.0).unwrap();
    let mut held = posed.clone();
    held.devices[last].1 = Drive::Inserted(unpressed.inserted_mm);
    let (mut least_n, mut most_n) = (0.0, 8.0);
    for _ in 0..12 {
        let press_n = 0.5 * (least_n + most_n);
        let back = placed(&held, press_n).map(|now| unpressed.tip_mm - now.tip_mm);
        // what finds no rest has backed out further
        if back.is_ok_and(|back_mm| back_mm < BACK_MM) {
            least_n = press_n;
        } else {
            most_n = press_n;
        }
    }
    0.5 * (least_n + most_n)
}

/// A guide of the cabinet with its tip in the carotid, diameters times `wide`, stiffness with their fourth power.
fn guide_in_the_arch(wide: f64) -> Posed {
    let (runs, leaves_mm) = arch();
    let mut guide = BenchDevice::of_cabinet("guide-8f-90");
    for line in &mut guide.profile {
        line.outer_mm *= wide;
        line.inner_mm = line.inner_mm.map(|inner_mm| inner_mm * wide);
        line.stiffness_n_mm2 *= wide.powi(4);
    }
    Posed {
        tube: tube(&runs),
        wall: Surface::Vessel,
        devices: vec![(guide, Drive::Tip(leaves_mm + 60.0))],
        holds: vec![],
    }
}

#[test]
fn published_back_up_grows_with_french_size() {
    // Ikari Y et al., The physics of guiding catheters, ptca.us: 8 French above 7 above 6
    let found = [6.0, 7.0, 8.0].map(|french| backs_out_n(&guide_in_the_arch(french / 8.0)));
    println!("back-up of 6, 7, 8 French: {found:.3?} N");
    assert!(found[0] < found[1] && found[1] < found[2], "{found:?}");
}

#[test]
fn published_an_outer_catheter_at_the_origin_supports_better() {
    // doi 10.1177/19714009221150858: at the vessel's origin better than in the descending aorta
    let (runs, leaves_mm) = arch();
    let with_tip_at = |outer_mm: f64| Posed {
        tube: tube(&runs),
        wall: Surface::Vessel,
        devices: vec![
            (
                BenchDevice::of_cabinet("long-sheath-6f-90"),
                Drive::Tip(outer_mm),
            ),
            (
                BenchDevice::of_cabinet("aspiration-071-132"),
                Drive::Tip(leaves_mm + 80.0),
            ),
        ],
        holds: vec![Containment::coaxial(1, 0)],
    };
    let [aorta_n, origin_n] =
        [150.0, leaves_mm + 15.0].map(|outer_mm| backs_out_n(&with_tip_at(outer_mm)));
    println!("back-up with the outer tip in the aorta {aorta_n:.3}, at the origin {origin_n:.3} N");
    assert!(origin_n > aorta_n, "{origin_n} against {aorta_n}");
}

/// Forces on the wall in all, N.
fn wall_n(state: &StackState) -> f64 {
    let contacts = &state.solution.as_ref().unwrap().contacts;
    let on_the_wall = contacts.iter().filter(|contact| contact.other.is_none());
    on_the_wall
        .map(|contact| contact.force_n[0].hypot(contact.force_n[1]))
        .sum()
}

#[test]
fn published_wall_force_peaks_behind_a_bend_and_rises_again() {
    // Takashima K et al., J Biomech Sci Eng 2022: wire through a bend, then the catheter over it
    const END_MM: f64 = 103.6;
    let bend = Run(END_MM - 80.0, 90.0, 0.0, 4.0);
    let runs = [Run(80.0, 0.0, 0.0, 4.0), bend, Run(80.0, 0.0, 0.0, 4.0)];
    let wire = BenchDevice::of_cabinet("wire-014-200-soft");
    let microcatheter = BenchDevice::of_cabinet("microcatheter-021-155");
    let wire_at = |tip_mm: f64| Posed {
        tube: tube(&runs),
        wall: Surface::Vessel,
        devices: vec![(wire.clone(), Drive::Tip(tip_mm))],
        holds: vec![],
    };
    let over = |tip_mm: f64| Posed {
        devices: vec![
            (microcatheter.clone(), Drive::Tip(tip_mm)),
            (wire.clone(), Drive::Tip(180.0)),
        ],
        holds: vec![Containment::coaxial(1, 0)],
        ..wire_at(180.0)
    };
    let local = |posed: &Posed| {
        let state = posed.solve(Parameters::USUAL, Moving::pushed(0)).unwrap();
        state.load.unwrap().largest_wall_force_n_per_mm
    };
    let tips_mm: Vec<f64> = (0..12).map(|i| 86.0 + 4.0 * f64::from(i)).collect();
    let wire_n: Vec<f64> = tips_mm
        .iter()
        .map(|tip_mm| local(&wire_at(*tip_mm)))
        .collect();
    let catheter_n: Vec<f64> = tips_mm.iter().map(|tip_mm| local(&over(*tip_mm))).collect();
    println!(
        "tip of the wire at {tips_mm:?} mm: walls {wire_n:.4?} N/mm; of the catheter: {catheter_n:.4?}"
    );
    let most = |list: &[f64]| list.iter().copied().fold(0.0, f64::max);
    let peak = (0..wire_n.len())
        .max_by(|a, b| wire_n[*a].total_cmp(&wire_n[*b]))
        .unwrap();
    let peak_n = wire_n[peak];
    assert!(
        (tips_mm[peak] - END_MM).abs() < 8.0,
        "at {} mm, the bend ends at {END_MM}",
        tips_mm[peak]
    );
    assert!(wire_n[peak + 3] < 0.7 * peak_n, "and falls: {wire_n:?}");
    assert!(
        most(&catheter_n) > 1.5 * peak_n,
        "and rises again: {catheter_n:?}"
    );
}

#[test]
fn published_walls_are_pressed_hard_at_little_force_at_the_hand() {
    // Razban M et al., arXiv 2012.10762
    for runs in carotid_paths() {
        let state = wire_in(&runs, "wire-014-200-support")
            .solve(Parameters::USUAL, Moving::pushed(0))
            .unwrap();
        let (hand_n, walls_n) = (state.load.as_ref().unwrap().hub_force_n, wall_n(&state));
        println!(
            "hand {hand_n:.3} N, walls {walls_n:.3} N over {:.0} mm",
            length_mm(&runs)
        );
        assert!(walls_n > 4.0 * hand_n, "hand {hand_n} N, walls {walls_n} N");
    }
}
