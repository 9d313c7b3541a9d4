//! Acts of the operator: devices pushed as one, a tip turned into an ostium, maps, markers, saline, extensions.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a helper that fails fails the test"
)]

use crate::support::straight::{Table, at, insert, name_of, plan};
use nestline::data::{Rendering, Source, load_scene};
use nestline::geometry::TrackSettings;
use nestline::mechanics::flush_push_n;
use nestline::procedure::reason::{Access, Exchange, PartNeed, Precondition, Reach, Retrieving};
use nestline::procedure::{
    Action, Finding, Plan, Plane, Reason, Region, Rods, Severity, State, Where, perform,
};
use nestline::rehearsal::walk_with;

fn together(devices: &[&str], to: Where) -> Action {
    Action::AdvanceTogether {
        devices: devices.iter().map(|d| (*d).to_owned()).collect(),
        to,
    }
}

fn scene(name: &str) -> Plan {
    let source = Source::from_argument(format!("embedded:scenes/{name}.ron"));
    let loaded = load_scene(&source, &TrackSettings::default());
    loaded
        .unwrap_or_else(|e| panic!("{}", e.render(Rendering::default())))
        .plan
}

/// The same plan with its steps up to the first that is such, that one included.
fn up_to(plan: Plan, last: impl Fn(&Action) -> bool) -> Plan {
    let end = plan.script.iter().position(|s| last(&s.act)).unwrap();
    Plan {
        script: plan.script[..=end].to_vec(),
        ..plan
    }
}

fn reasons(findings: &[Finding]) -> Vec<String> {
    findings.iter().map(|f| name_of(&f.reason)).collect()
}

/// Guide, microcatheter and wire nested, the tips at 300, 340 and 360 mm.
fn nested() -> Table {
    let mut table = Table::new(plan()).with_guide_at(300.0);
    for (device, through, tip) in [
        ("microcatheter", "guide", 340.0),
        ("wire", "microcatheter", 360.0),
    ] {
        let to = Where::Short("common-carotid-origin".into(), 600.0 - tip);
        table.good(&insert(device, Some(through), None, to));
    }
    table
}

#[test]
fn exact_devices_of_a_unit_are_fed_alike() {
    let mut table = nested();
    let unit = ["guide", "microcatheter", "wire"];
    let before = table.state.clone();
    let effect = table.good(&together(
        &unit,
        Where::Short("common-carotid-origin".into(), 80.0),
    ));
    assert_eq!(effect.moves.len(), 3, "{:?}", effect.moves);
    for name in unit {
        let k = table.index(name);
        let (was, is) = (
            before.in_place[k].unwrap(),
            table.state.in_place[k].unwrap(),
        );
        assert!(
            (is.fed_mm - was.fed_mm - 220.0).abs() < 1e-9,
            "{name}: {is:?}"
        );
        assert!(
            (is.tip_mm - was.tip_mm - 220.0).abs() < 1e-9,
            "{name}: {is:?}"
        );
    }
    // hubs held together: what lies outside behind the guide's hub is as before
    let wire = table.index("wire");
    let outside = |state: &State| state.outside_mm(&table.plan, wire).unwrap();
    assert!(
        (outside(&table.state) - outside(&before)).abs() < 1e-9,
        "the wire behind the hubs"
    );
}

#[test]
fn exact_a_unit_goes_as_far_as_its_outermost_hub() {
    let mut table = nested();
    let unit = ["guide", "microcatheter", "wire"];
    let effect = table.perform(&together(&unit, at("clot-start")));
    let sheath_dead_mm = table.plan.devices[table.index("sheath")].dead_mm();
    let furthest_mm = 900.0 - sheath_dead_mm - 30.0;
    let tip_mm = table.state.tip_mm(table.index("guide")).unwrap();
    assert!(
        (tip_mm - furthest_mm).abs() < 1e-9,
        "{tip_mm} against {furthest_mm}"
    );
    let wire_mm = table.state.tip_mm(table.index("wire")).unwrap();
    assert!(
        (wire_mm - tip_mm - 60.0).abs() < 1e-9,
        "still 60 mm ahead: {wire_mm}"
    );
    let told = effect.findings.iter().find_map(|f| match &f.reason {
        Reason::Reach(Reach::TooShort {
            device,
            short_mm,
            sheath,
            ..
        }) => Some((device.clone(), *short_mm, sheath.clone())),
        _ => None,
    });
    let (device, short_mm, sheath) = told.unwrap();
    assert_eq!(device, "guide", "whose hub meets the valve");
    assert!(
        (short_mm - (950.0 - furthest_mm)).abs() < 1e-9,
        "{short_mm}"
    );
    assert_eq!(sheath.as_deref(), Some("sheath"), "could be left out");
}

#[test]
fn exact_a_unit_is_not_pushed_back_and_no_open_retriever_forward() {
    let mut table = nested();
    let back = together(
        &["guide", "wire"],
        Where::Short("common-carotid-origin".into(), 400.0),
    );
    table.refused(&back, "beyond-place");
    let mut table = Table::new(plan())
        .with_guide_at(700.0)
        .with_retriever_at(1000.0, "retriever");
    table.refused(
        &together(&["guide", "retriever"], Where::By(10.0)),
        "open-pushed-forward",
    );
}

/// Rods: each member its own, fed alike to half a millimetre, and each with a force of its own.
#[test]
fn exact_rods_of_a_unit_are_fed_alike() {
    let plan = up_to(scene("left-tandem-retriever-first"), |a| {
        matches!(a, Action::AdvanceTogether { .. })
    });
    let passed = walk_with(&plan, &mut Rods::default()).unwrap();
    let last = passed.last().unwrap();
    let Action::AdvanceTogether { devices, .. } = &plan.script.last().unwrap().act else {
        panic!("a unit");
    };
    let on = |name: &String| {
        let k = plan.device_index(name).unwrap();
        last.after.in_place[k].unwrap().fed_mm - last.before.in_place[k].unwrap().fed_mm
    };
    let fed: Vec<f64> = devices.iter().map(on).collect();
    let spread_mm = fed.iter().copied().fold(f64::NEG_INFINITY, f64::max)
        - fed.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(spread_mm <= 0.5, "{fed:?}");
    let tip_mm = last
        .after
        .tip_mm(plan.device_index("guide").unwrap())
        .unwrap();
    let arch_mm = plan.track.landmark("left-subclavian-origin").unwrap();
    assert!((arch_mm - 40.0 - tip_mm).abs() < 0.1, "{tip_mm}");
    let loads: usize = last.effect.placements.iter().map(|p| p.loads.len()).sum();
    assert_eq!(loads, 3, "a force for each");
}

fn engage(ostium: &str) -> Action {
    Action::Engage {
        device: "selector".into(),
        ostium: ostium.into(),
    }
}

/// The default plan before its selector is turned, with the state there.
fn before_engaging() -> (Plan, State) {
    let plan = scene("left-tandem-retriever-first");
    let steps = plan
        .script
        .iter()
        .take_while(|s| !matches!(s.act, Action::Engage { .. }));
    let state = steps.fold(State::start(&plan), |state, step| {
        perform(&plan, &state, &step.act).0
    });
    (plan, state)
}

#[test]
fn exact_a_tip_turned_into_an_ostium_sits_in_it() {
    let (plan, state) = before_engaging();
    let (after, effect) = perform(&plan, &state, &engage("common-carotid-origin"));
    assert!(effect.performed, "{:?}", effect.findings);
    let ostium_mm = plan.track.landmark("common-carotid-origin").unwrap();
    let selector = plan.device_index("selector").unwrap();
    let tip_mm = after.tip_mm(selector).unwrap();
    assert!((tip_mm - ostium_mm - 5.0).abs() < 1e-9, "{tip_mm}");
    let seat = after.seated[selector].unwrap();
    assert!(
        !seat.shown && (seat.ostium_mm - ostium_mm).abs() < 1e-9,
        "{seat:?}"
    );
    let warned = |f: &Finding| f.severity > Severity::Note;
    assert!(!effect.findings.iter().any(warned), "{:?}", effect.findings);
    // a wire out of it before contrast has shown it
    let wire = Action::Insert {
        device: "aorta-wire".into(),
        through: Some("selector".into()),
        over: None,
        to: Where::Past("common-carotid-origin".into(), 80.0),
    };
    let (_, blind) = perform(&plan, &after, &wire);
    assert!(
        reasons(&blind.findings).contains(&"seat-unseen".to_owned()),
        "{:?}",
        blind.findings
    );
    let puff = Action::Contrast {
        through: "selector".into(),
        region: Region::Neck,
    };
    let (shown, _) = perform(&plan, &after, &puff);
    let (_, seen) = perform(&plan, &shown, &wire);
    assert!(
        !reasons(&seen.findings).contains(&"seat-unseen".to_owned()),
        "{:?}",
        seen.findings
    );
    assert!(
        !reasons(&seen.findings).contains(&"unengaged".to_owned()),
        "{:?}",
        seen.findings
    );
    // moved on over the wire it no longer sits there
    let (followed, _) = perform(
        &plan,
        &perform(&plan, &shown, &wire).0,
        &Action::Advance {
            device: "selector".into(),
            to: Where::Past("common-carotid-origin".into(), 40.0),
            nose: None,
        },
    );
    assert!(followed.seated[selector].is_none(), "moved on");
}

#[test]
fn exact_what_keeps_a_tip_from_turning_is_told() {
    let (plan, state) = before_engaging();
    let refused = |state: &State, act: &Action| {
        let (after, effect) = perform(&plan, state, act);
        assert!(
            !effect.performed && after == *state,
            "{act:?} was performed"
        );
        name_of(&effect.findings.last().unwrap().reason)
    };
    assert_eq!(
        refused(&state, &engage("arch-top")),
        "no-ostium",
        "no vessel begins there"
    );
    assert_eq!(
        refused(&state, &engage("skull-base")),
        "no-ostium",
        "the middle of a vessel"
    );
    let wire = Action::Insert {
        device: "aorta-wire".into(),
        through: Some("selector".into()),
        over: None,
        to: Where::Past("selector.tip".into(), 10.0),
    };
    let (filled, _) = perform(&plan, &state, &wire);
    assert_eq!(
        refused(&filled, &engage("common-carotid-origin")),
        "shape-filled",
        "the wire holds it straight"
    );
}

#[test]
fn exact_a_simple_curve_does_not_do_for_a_steep_arch() {
    let told = |scene_name: &str, file: &str| {
        let edit = nestline::data::Edit::parse(&format!("stack.2.file={file}")).unwrap();
        let source = Source::from_argument(format!("embedded:scenes/{scene_name}.ron"));
        let loaded = nestline::data::load_scene_with(&source, &TrackSettings::default(), &[edit]);
        let plan = loaded
            .unwrap_or_else(|e| panic!("{}", e.render(Rendering::default())))
            .plan;
        let passed = nestline::rehearsal::walk(&plan);
        let mut findings = passed.iter().flat_map(|p| &p.effect.findings);
        findings.any(|f| matches!(f.reason, Reason::Access(Access::CurveTooSimple { .. })))
    };
    let (simple, reverse) = (
        "cabinet:selector-125-simple-curve",
        "cabinet:selector-125-reverse-curve",
    );
    assert!(told("kinked-neck-type-3", simple), "type III");
    assert!(!told("kinked-neck-type-3", reverse), "a reverse curve does");
    assert!(!told("left-tandem-retriever-first", simple), "type II");
}

#[test]
fn exact_a_wire_far_beyond_an_empty_ostium_is_told() {
    let mut table = Table::new(plan()).with_guide_at(500.0);
    for (past_mm, told) in [(50.0, false), (51.0, true)] {
        let mut table = Table {
            plan: table.plan.clone(),
            state: table.state.clone(),
        };
        let to = Where::Past("common-carotid-origin".into(), past_mm);
        let effect = table.good(&insert("wire", Some("guide"), None, to));
        assert_eq!(
            reasons(&effect.findings).contains(&"unengaged".to_owned()),
            told,
            "{past_mm}"
        );
    }
    // with a catheter in it, it may
    table.good(&insert(
        "microcatheter",
        Some("guide"),
        None,
        at("common-carotid-origin"),
    ));
    let effect = table.good(&insert(
        "wire",
        Some("microcatheter"),
        None,
        Where::Past("common-carotid-origin".into(), 120.0),
    ));
    assert!(
        !reasons(&effect.findings).contains(&"unengaged".to_owned()),
        "{:?}",
        effect.findings
    );
}

#[test]
fn exact_a_roadmap_needs_its_run_and_goes_with_its_plane() {
    let mut table = Table::new(plan()).with_guide_at(700.0);
    let map = Action::Roadmap { plane: Plane::A };
    table.refused(&map, "no-run-to-map");
    let run = |region| Action::Contrast {
        through: "guide".into(),
        region,
    };
    table.good(&run(Region::Head));
    table.refused(&map, "no-run-to-map");
    table.good(&run(Region::Neck));
    table.good(&map);
    let wire = insert(
        "wire",
        Some("guide"),
        None,
        Where::Past("neck-lesion-end".into(), 30.0),
    );
    let crossed = |table: &Table| {
        reasons(&perform(&table.plan, &table.state, &wire).1.findings)
            .contains(&"no-roadmap".to_owned())
    };
    assert!(!crossed(&table), "a map lies there");
    table.good(&Action::Watch {
        plane: Plane::A,
        region: Region::Neck,
    });
    assert!(crossed(&table), "the plane was turned: no map");
    table.refused(&map, "no-run-to-map");
}

#[test]
fn exact_markers_tell_how_far_a_retriever_moved() {
    let mut table = Table::new(plan()).with_guide_at(700.0);
    let look = Action::CheckMarkers {
        retriever: "retriever".into(),
    };
    table.good(&insert(
        "microcatheter",
        Some("guide"),
        None,
        Where::Past("clot-end".into(), 30.0),
    ));
    table.good(&Action::LoadRetriever {
        retriever: "retriever".into(),
        through: "microcatheter".into(),
    });
    table.refused(&look, "not-open");
    table.good(&Action::Unsheathe {
        retriever: "retriever".into(),
    });
    let markers = |effect: &nestline::procedure::StepEffect| {
        effect
            .findings
            .iter()
            .find_map(|f| match f.reason {
                Reason::Retrieving(Retrieving::Markers { moved_mm, .. }) => {
                    Some((moved_mm, f.severity))
                }
                _ => None,
            })
            .unwrap()
    };
    let (moved_mm, severity) = markers(&table.good(&look));
    assert!(
        moved_mm.abs() < 1e-9 && severity == Severity::Note,
        "{moved_mm}"
    );
    let k = table.index("retriever");
    let end_mm = |table: &Table| table.state.distal_end_mm(&table.plan, k).unwrap();
    let before_mm = end_mm(&table);
    table.state.in_place[k].as_mut().unwrap().tip_mm -= 6.0;
    let drawn_mm = end_mm(&table) - before_mm;
    assert!(drawn_mm < -2.0, "{drawn_mm}");
    let (moved_mm, severity) = markers(&table.good(&look));
    assert!(
        (moved_mm - drawn_mm).abs() < 1e-9 && severity == Severity::Warning,
        "{moved_mm} against {drawn_mm}"
    );
    let (moved_mm, _) = markers(&table.good(&look));
    assert!(moved_mm.abs() < 1e-9, "seen there now: {moved_mm}");
    table.good(&Action::Watch {
        plane: Plane::B,
        region: Region::Neck,
    });
    table.refused(&look, "no-plane-there");
}

#[test]
fn exact_an_extension_keeps_the_rail_in_hand() {
    let table = || {
        Table::new(plan())
            .with_guide_at(700.0)
            .with_retriever_at(1000.0, "retriever")
    };
    let off = Action::Remove {
        device: "microcatheter".into(),
    };
    let join = |rail: &str| Action::Attach {
        part: "extension".into(),
        rail: rail.into(),
    };
    let (mut bare, mut joined) = (table(), table());
    let blind = bare.good(&off);
    let outside_mm = joined.outside_mm("retriever");
    joined.good(&join("retriever"));
    assert!(
        (joined.outside_mm("retriever") - outside_mm - 1450.0).abs() < 1e-9,
        "145 cm more"
    );
    let held = joined.good(&off);
    assert!(blind.exchanges[0].blind_mm > 800.0, "{:?}", blind.exchanges);
    assert!(held.exchanges[0].blind_mm <= 0.0, "{:?}", held.exchanges);
    assert!(
        !reasons(&held.findings).contains(&"rail-out-of-hand".to_owned()),
        "{:?}",
        held.findings
    );
    // with it off again the rail is as short as before
    joined.good(&Action::Detach {
        part: "extension".into(),
    });
    assert!(
        (joined.outside_mm("retriever") - bare.outside_mm("retriever")).abs() < 1e-9,
        "off again"
    );
}

#[test]
fn exact_an_extension_joins_what_it_is_made_for() {
    let mut table = Table::new(plan())
        .with_guide_at(700.0)
        .with_retriever_at(1000.0, "thick-retriever");
    let join = Action::Attach {
        part: "extension".into(),
        rail: "thick-retriever".into(),
    };
    let told = table.refused(&join, "extension-does-not-join");
    assert!(
        matches!(told, Reason::PartNeed(PartNeed::ExtensionDoesNotJoin { outer_mm, .. }) if (outer_mm - 0.457_2).abs() < 1e-6),
        "{told:?}"
    );
    // a joint wider than the lumen that is to come off over it
    let mut table = Table::new(plan())
        .with_guide_at(700.0)
        .with_retriever_at(1000.0, "retriever");
    table.good(&Action::Attach {
        part: "extension".into(),
        rail: "retriever".into(),
    });
    for part in &mut table.plan.parts {
        if let nestline::device::Accessory::Extension { outer_mm, .. } = &mut part.accessory {
            *outer_mm = 0.6;
        }
    }
    table.refused(
        &Action::Remove {
            device: "microcatheter".into(),
        },
        "extension-wide",
    );
}

#[test]
fn exact_saline_pushes_a_short_rail_forward() {
    let plan = up_to(
        scene("left-tandem-retriever-first"),
        |a| matches!(a, Action::Remove { device } if device == "microcatheter"),
    );
    let dragged = |plan: &Plan| {
        let passed = walk_with(plan, &mut Rods::default()).unwrap();
        let findings = passed.last().unwrap().effect.findings.iter();
        findings
            .filter_map(|f| match f.reason {
                Reason::Exchange(Exchange::RailDragged {
                    drag_n, flush_n, ..
                }) => Some((drag_n, flush_n)),
                _ => None,
            })
            .next()
            .unwrap()
    };
    let (drag_n, flush_n) = dragged(&plan);
    // five atmospheres round a 0.0145 in pusher in a 0.021 in lumen
    let expected_n = flush_push_n(5.0 * 0.101_325, 0.0145 * 25.4, 0.021 * 25.4);
    assert!(
        (flush_n - expected_n).abs() < 1e-9,
        "{flush_n} against {expected_n}"
    );
    let mut dry = plan.clone();
    dry.script
        .retain(|s| !matches!(s.act, Action::Flush { .. }));
    let (dry_drag_n, none_n) = dragged(&dry);
    assert!(
        none_n.abs() < 1e-12 && (dry_drag_n - drag_n).abs() < 1e-9,
        "{none_n} N of saline, {dry_drag_n} N of drag"
    );
}

#[test]
fn exact_flow_is_stopped_or_its_lack_told_once() {
    let balloon = insert(
        "balloon",
        Some("guide"),
        Some("retriever"),
        Where::Past("neck-lesion-end".into(), 8.0),
    );
    let up = Action::Inflate {
        device: "balloon".into(),
        pressure_atm: None,
    };
    let told = |table: &mut Table, act: &Action| {
        reasons(&table.good(act).findings).contains(&"neck-unprotected".to_owned())
    };
    let table = || {
        let mut table = Table::new(plan())
            .with_guide_at(700.0)
            .with_retriever_at(1000.0, "retriever");
        table.good(&Action::Remove {
            device: "microcatheter".into(),
        });
        table
    };
    let mut flowing = table();
    flowing.good(&balloon);
    assert!(told(&mut flowing, &up), "blood flows");
    flowing.good(&Action::Deflate {
        device: "balloon".into(),
    });
    let again = Action::Inflate {
        device: "balloon".into(),
        pressure_atm: Some(9.0),
    };
    assert!(!told(&mut flowing, &again), "told once");
    let mut drawn = table();
    drawn.good(&Action::SuctionOn {
        device: "guide".into(),
    });
    drawn.good(&balloon);
    assert!(!told(&mut drawn, &up), "suction on");
    // a guide with a balloon stops the flow, and is not moved while it is up
    let mut table = Table::new(plan());
    table.good(&insert("sheath", None, None, Where::Hub));
    table.good(&insert(
        "balloon-guide",
        Some("sheath"),
        None,
        Where::Past("common-carotid-origin".into(), 100.0),
    ));
    table.good(&Action::Inflate {
        device: "balloon-guide".into(),
        pressure_atm: None,
    });
    table.refused(
        &Action::Advance {
            device: "balloon-guide".into(),
            to: Where::By(5.0),
            nose: None,
        },
        "balloon-up",
    );
    table.good(&insert(
        "microcatheter",
        Some("balloon-guide"),
        None,
        Where::Past("clot-end".into(), 30.0),
    ));
    table.good(&Action::LoadRetriever {
        retriever: "retriever".into(),
        through: "microcatheter".into(),
    });
    table.good(&Action::Unsheathe {
        retriever: "retriever".into(),
    });
    table.good(&Action::Remove {
        device: "microcatheter".into(),
    });
    table.good(&insert(
        "balloon",
        Some("balloon-guide"),
        Some("retriever"),
        Where::Past("neck-lesion-end".into(), 8.0),
    ));
    assert!(!told(&mut table, &up), "the flow is stopped");
}

#[test]
fn exact_no_fold_again_is_told_with_the_microcatheter() {
    let mut table = Table::new(plan())
        .with_guide_at(700.0)
        .with_retriever_at(1000.0, "retriever");
    let effect = table.good(&Action::Remove {
        device: "microcatheter".into(),
    });
    assert!(
        reasons(&effect.findings).contains(&"no-way-back".to_owned()),
        "{:?}",
        effect.findings
    );
    let nowhere = Precondition::NoOstium { place: "x".into() };
    assert!(
        Finding::failure(nowhere).help().is_some(),
        "says what would help"
    );
}
