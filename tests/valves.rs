//! Haemostatic valves: who rubs in which, and what that costs the hand.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and says what it found"
)]

use crate::support::straight::{Table, at, insert, plan};
use nestline::mechanics::{Level, Tightness, valve_friction_n};
use nestline::procedure::{Action, Plan, Where};

/// What the valves cost the hand that moves some of the devices, of which the first is asked for, N.
fn hold_n(t: &Table, moved: &[&str], tightness: Tightness) -> f64 {
    let moved: Vec<usize> = moved.iter().map(|name| t.index(name)).collect();
    let grip = t.plan.values.valves;
    (t.state).valves_hold_n(&t.plan, moved[0], &moved, tightness, &grip)
}

fn outer_mm(plan: &Plan, name: &str) -> f64 {
    let device = &plan.devices[plan.device_index(name).unwrap()].device;
    device.section_at(device.usable_length_mm).outer_mm
}

fn assert_close(found: f64, expected: f64, what: &str) {
    assert!(
        (found - expected).abs() < 1e-9,
        "{what}: {found}, {expected}"
    );
}

#[test]
fn published_nothing_but_the_range_of_memory_for_a_guide() {
    // from memory: 0.3 to 2 N for a device of 8 F in a closed valve
    let valves = nestline::data::usual_materials().unwrap().valves;
    let of_8f = |level| valve_friction_n(valves.closed_n_per_mm.at(level), 8.0 / 3.0, 0.0);
    assert!((of_8f(Level::Least) - 0.3).abs() < 0.01);
    assert!((of_8f(Level::Most) - 2.0).abs() < 0.01);
    for level in Level::ALL {
        let grip = valves.at(level);
        assert!(
            grip.open_n_per_mm < grip.snug_n_per_mm && grip.snug_n_per_mm < grip.closed_n_per_mm,
            "{level:?}: {grip:?}"
        );
    }
}

#[test]
fn exact_a_device_rubs_in_the_valves_it_enters_through() {
    let mut t = Table::new(plan()).with_guide_at(700.0);
    let grip = t.plan.values.valves;
    // the sheath closes by itself, however other valves are screwed
    let guide_n = grip.snug_n_per_mm * outer_mm(&t.plan, "guide");
    for tightness in [Tightness::Open, Tightness::Snug, Tightness::Closed] {
        assert_close(hold_n(&t, &["guide"], tightness), guide_n, "guide");
    }
    assert_close(
        hold_n(&t, &["sheath"], Tightness::Closed),
        guide_n,
        "sheath over it",
    );
    let tip = Where::Short("clot-start".into(), 20.0);
    t.good(&insert("microcatheter", Some("guide"), None, tip));
    let micro_mm = outer_mm(&t.plan, "microcatheter");
    for (tightness, per_mm) in [
        (Tightness::Open, grip.open_n_per_mm),
        (Tightness::Snug, grip.snug_n_per_mm),
        (Tightness::Closed, grip.closed_n_per_mm),
    ] {
        let found = hold_n(&t, &["microcatheter"], tightness);
        assert_close(found, per_mm * micro_mm, "in the guide's valve");
        // the guide moves over it: its valve rubs on what stays
        let over_n = hold_n(&t, &["guide"], tightness);
        assert_close(over_n, guide_n + per_mm * micro_mm, "guide over it");
        // both as one: only the sheath holds
        let as_one = hold_n(&t, &["guide", "microcatheter"], tightness);
        assert_close(as_one, guide_n, "as one");
    }
    assert_close(
        hold_n(&t, &["microcatheter", "guide"], Tightness::Closed),
        0.0,
        "nothing slides in the guide's valve",
    );
}

/// The retriever open in the head, its pusher in the guide's valve, the microcatheter off.
fn with_pusher_in_guide() -> Table {
    let mut t = Table::new(plan())
        .with_guide_at(700.0)
        .with_retriever_at(970.0, "retriever");
    let effect = t.perform(&Action::Remove {
        device: "microcatheter".into(),
    });
    assert!(effect.performed, "{:?}", effect.findings);
    t
}

#[test]
fn exact_two_devices_lie_in_one_valve() {
    let mut t = with_pusher_in_guide();
    let grip = t.plan.values.valves.closed_n_per_mm;
    let pusher_mm = outer_mm(&t.plan, "retriever");
    assert_close(
        hold_n(&t, &["retriever"], Tightness::Closed),
        grip * pusher_mm,
        "the pusher alone",
    );
    t.good(&insert(
        "stent",
        Some("guide"),
        Some("retriever"),
        at("carotid-bifurcation"),
    ));
    let shaft_mm = outer_mm(&t.plan, "stent");
    let found = hold_n(&t, &["stent"], Tightness::Closed);
    let beside = valve_friction_n(grip, shaft_mm, pusher_mm);
    assert_close(found, beside, "the shaft beside the pusher");
    assert!(beside > grip * shaft_mm, "more than alone: {beside}");
    t.good(&Action::Remove {
        device: "stent".into(),
    });
    assert_close(
        hold_n(&t, &["retriever"], Tightness::Closed),
        grip * pusher_mm,
        "alone again",
    );
}

#[test]
fn exact_a_rail_inside_its_rider_is_not_in_the_valve() {
    let mut t = with_pusher_in_guide();
    // drawn back until its port is out of the valve again: the pusher runs inside its tip there
    t.good(&insert(
        "stent",
        Some("guide"),
        Some("retriever"),
        at("carotid-bifurcation"),
    ));
    let stent = t.index("stent");
    let device = t.plan.devices[stent].device.clone();
    let grip = t.plan.values.valves.snug_n_per_mm;
    let pusher_mm = outer_mm(&t.plan, "retriever");
    let port_mm = device.port_from_tip_mm().unwrap();
    for (past_mm, beside) in [(port_mm + 50.0, true), (port_mm - 50.0, false)] {
        let fed_now_mm = t.state.in_place[stent].unwrap().fed_mm;
        let past_now_mm = device.usable_length_mm - t.state.outside_mm(&t.plan, stent).unwrap();
        let mut moved = t.state.clone();
        let in_place = moved.in_place[stent].as_mut().unwrap();
        in_place.fed_mm = fed_now_mm - past_now_mm + past_mm;
        let found = moved.valves_hold_n(
            &t.plan,
            stent,
            &[stent],
            Tightness::Snug,
            &t.plan.values.valves,
        );
        let shaft_mm = device.section_at(past_mm).outer_mm;
        let still_mm = if beside { pusher_mm } else { 0.0 };
        let expected = valve_friction_n(grip, shaft_mm, still_mm);
        assert_close(found, expected, "as far in as it is");
    }
}
