//! What a plan is checked for step by step: lesions and edges along the whole length of what crosses them,
//! places already passed, plans kept apart.
#![expect(clippy::unwrap_used, reason = "a helper that fails fails the test")]

use crate::support::straight::{Table, insert, plan, plan_of, tree};
use nestline::data::{Source, read_scene};
use nestline::device::{Device, Knot};
use nestline::geometry::LesionKind;
use nestline::mechanics::{Direction, HeldLoad, LoadReport, MechanicsError};
use nestline::output::{Parts, rehearsal_text};
use nestline::procedure::reason::{
    Exchange, Force, Lesion, Narrow, Precondition, Reach, Reason, Vessel,
};
use nestline::procedure::{
    Action, CentreLine, DeployedStent, DepthTarget, EdgeKind, EdgePassage, Finding, InPlace, Meets,
    Motion, Move, Placer, Plan, Rods, Severity, StackPlacement, State, Where, device_steps,
    edge_passages, judge_edge, perform_with, retriever_holds_n,
};
use nestline::rehearsal::{LoadRow, rehearse_with};

/// A device with this outer profile (mm from the tip, mm), all else as it was.
fn shaped(plan: &mut Plan, name: &str, outer_mm: &[(f64, f64)]) {
    let index = plan.device_index(name).unwrap();
    let device = &mut plan.devices[index].device;
    let like = device.profile[0];
    let knot = |(from_tip_mm, outer_mm): &(f64, f64)| Knot {
        from_tip_mm: *from_tip_mm,
        outer_mm: *outer_mm,
        ..like
    };
    device.profile = outer_mm.iter().map(knot).collect();
}

fn steps(outer_mm: &[(f64, f64)]) -> Vec<(f64, f64, bool)> {
    let mut plan = plan();
    shaped(&mut plan, "balloon", outer_mm);
    let device: &Device = &plan.devices[plan.device_index("balloon").unwrap()].device;
    let told = device_steps(device).into_iter();
    told.map(|s| (s.from_tip_mm, s.height_mm(), s.faces_forward))
        .collect()
}

#[test]
fn exact_steps_along_a_device() {
    let near = |found: &[(f64, f64, bool)], exact: &[(f64, f64, bool)]| {
        assert_eq!(found.len(), exact.len(), "{found:?} against {exact:?}");
        for (f, e) in found.iter().zip(exact) {
            let same = (f.0 - e.0).abs() < 1e-12 && (f.1 - e.1).abs() < 1e-12 && f.2 == e.2;
            assert!(same, "{found:?} against {exact:?}");
        }
    };
    // a taper of 5 mm rides over, what falls within 2 mm is a step, a jump is one
    near(
        &steps(&[
            (0.0, 0.6),
            (5.0, 1.1),
            (25.0, 1.1),
            (27.0, 0.9),
            (300.0, 0.9),
        ]),
        &[(25.0, 0.1, false)],
    );
    near(
        &steps(&[
            (0.0, 1.0),
            (250.0, 1.0),
            (250.0, 1.6),
            (600.0, 1.6),
            (600.0, 1.4),
            (900.0, 1.4),
        ]),
        &[(250.0, 0.3, true), (600.0, 0.1, false)],
    );
    // two changes that follow each other are one step as long as they are short together
    near(
        &steps(&[
            (0.0, 2.0),
            (10.0, 2.0),
            (11.0, 1.8),
            (12.0, 1.5),
            (900.0, 1.5),
        ]),
        &[(10.0, 0.25, false)],
    );
    near(
        &steps(&[
            (0.0, 2.0),
            (10.0, 2.0),
            (12.0, 1.8),
            (14.0, 1.5),
            (900.0, 1.5),
        ]),
        &[(10.0, 0.1, false), (12.0, 0.15, false)],
    );
    near(
        &steps(&[(0.0, 2.0), (10.0, 2.0), (10.0, 2.004), (900.0, 2.004)]),
        &[],
    );
}

/// A stent from 760 to 800 mm on the straight route, and a balloon with its tip at a place.
fn with_stent(outer_mm: &[(f64, f64)], tip_mm: f64) -> (Plan, State) {
    let mut plan = plan();
    shaped(&mut plan, "balloon", outer_mm);
    let mut state = State::start(&plan);
    let (stent, balloon) = (
        plan.device_index("stent").unwrap(),
        plan.device_index("balloon").unwrap(),
    );
    state.stents.push(DeployedStent {
        device: stent,
        proximal_mm: 760.0,
        distal_mm: 800.0,
        profile: Vec::new(),
        alone: Vec::new(),
    });
    state.in_place[balloon] = Some(InPlace {
        tip_mm,
        fed_mm: tip_mm + 30.0,
        through: None,
    });
    (plan, state)
}

fn crossings(outer_mm: &[(f64, f64)], from_mm: f64, to_mm: f64) -> Vec<EdgePassage> {
    let (plan, before) = with_stent(outer_mm, from_mm);
    let device = plan.device_index("balloon").unwrap();
    let mut after = before.clone();
    after.in_place[device].as_mut().unwrap().tip_mm = to_mm;
    let moved = Move {
        device,
        from_mm,
        to_mm,
    };
    edge_passages(&plan, &before, &after, &[moved])
}

const BACK_STEP: [(f64, f64); 4] = [(0.0, 1.1), (25.0, 1.1), (26.0, 0.9), (900.0, 0.9)];

#[test]
fn exact_a_back_step_meets_edges_where_it_passes_them() {
    // the tip comes back from 830 to 810: the step 25 mm behind it passes the upper edge at 800 from 805
    // on no; it lies at 805 and comes to 785, past the edge
    let met = crossings(&BACK_STEP, 830.0, 810.0);
    assert_eq!(met.len(), 1, "{met:?}");
    let step = met[0].step.unwrap();
    assert_eq!(met[0].kind, EdgeKind::Upper, "{met:?}");
    assert_eq!(met[0].meets, Meets::Back, "{met:?}");
    assert!((step.from_tip_mm - 25.0).abs() < 1e-12, "{step:?}");
    assert!((met[0].tip_mm() - 825.0).abs() < 1e-12, "{met:?}");
    // the tip alone passes an edge without a step: 805 to 795, the step is below both
    let tip = crossings(&BACK_STEP, 805.0, 795.0);
    assert!(
        tip.len() == 1 && tip[0].step.is_none() && tip[0].kind == EdgeKind::Upper,
        "{tip:?}"
    );
    // all the way: the step meets both edges
    let kinds = |met: &[EdgePassage]| met.iter().map(|p| p.kind).collect::<Vec<_>>();
    let all = crossings(&BACK_STEP, 900.0, 700.0);
    assert_eq!(kinds(&all), [EdgeKind::Upper, EdgeKind::Lower], "{all:?}");
    assert!(all.iter().all(|p| p.step.is_some()), "{all:?}");
}

#[test]
fn exact_a_shoulder_behind_the_tip_meets_edges_on_the_way_up() {
    let shoulder = [(0.0, 0.8), (100.0, 0.8), (100.0, 1.4), (900.0, 1.4)];
    let met = crossings(&shoulder, 700.0, 780.0);
    assert!(
        met.len() == 1 && met[0].step.is_none() && met[0].kind == EdgeKind::Lower,
        "the tip alone: {met:?}"
    );
    let met = crossings(&shoulder, 820.0, 880.0);
    assert!(
        met.len() == 1 && met[0].step.is_some() && met[0].kind == EdgeKind::Lower,
        "the shoulder is 100 mm behind: {met:?}"
    );
    // in the order in which they meet: tip at both edges, shoulder at both
    let all = crossings(&shoulder, 700.0, 950.0);
    let met: Vec<_> = all.iter().map(|p| (p.kind, p.step.is_some())).collect();
    let (lower, upper) = (EdgeKind::Lower, EdgeKind::Upper);
    assert_eq!(
        met,
        [(lower, false), (upper, false), (lower, true), (upper, true)],
        "{all:?}"
    );
}

#[test]
fn exact_ledge_of_the_step_that_crosses() {
    // 1.1 mm in front, 0.9 mm behind, and thick again further back: what crosses is 0.1 mm high on 0.55 mm
    let outer = [
        (0.0, 1.1),
        (25.0, 1.1),
        (26.0, 0.9),
        (400.0, 0.9),
        (600.0, 1.6),
        (900.0, 1.6),
    ];
    let (plan, before) = with_stent(&outer, 830.0);
    let met = crossings(&outer, 830.0, 810.0);
    let report = judge_edge(&plan, &before, &met[0], &[]).unwrap();
    let ledge = report.crossing.ledge;
    assert!(
        (ledge.outer_radius_mm - 0.55).abs() < 1e-12 && (ledge.height_mm() - 0.1).abs() < 1e-12,
        "{ledge:?}"
    );
    // the tip's own passage shows the edge nothing
    let tip = crossings(&outer, 805.0, 795.0);
    let report = judge_edge(&plan, &before, &tip[0], &[]).unwrap();
    assert!(
        report.crossing.ledge.height_mm() <= 0.0 && report.share.probability <= 0.0,
        "{report:?}"
    );
}

#[test]
fn regress_shapes_of_one_plan_are_not_given_to_another() {
    let narrow = plan();
    let mut wide = plan_of(&tree(LesionKind::Plaque, false, 20.0));
    // the same residual lumen in another vessel
    wide.track.lesions[0].residual_mm = narrow.track.lesions[0].residual_mm;
    wide.track.lumen.knots_mm = vec![(0.0, 12.0)];
    for station in &mut wide.track.stations {
        station.radius_mm += 2.0;
    }
    let placed = |plan: &Plan| {
        let mut state = State::start(plan);
        let guide = plan.device_index("guide").unwrap();
        state.in_place[guide] = Some(InPlace {
            tip_mm: 500.0,
            fed_mm: 530.0,
            through: None,
        });
        state
    };
    let rest = |rods: &mut Rods, plan: &Plan| rods.at_rest(plan, &placed(plan)).unwrap().unwrap();
    let mut kept = Rods::default();
    let first = rest(&mut kept, &narrow);
    let second = rest(&mut kept, &wide);
    let fresh = rest(&mut Rods::default(), &wide);
    assert_eq!(second, fresh, "as if the first plan had never been");
    assert_ne!(first, second, "another lumen");
}

#[test]
fn exact_the_last_device_comes_out_as_rods_too() {
    let plan = plan();
    let mut rods = Rods::default();
    let mut state = State::start(&plan);
    for act in [
        insert("sheath", None, None, Where::Hub),
        Action::Remove {
            device: "sheath".into(),
        },
    ] {
        let (after, effect) = perform_with(&plan, &state, &act, &mut rods).unwrap();
        assert!(effect.performed, "{act:?}: {:?}", effect.findings);
        state = after;
    }
    assert!(state.in_place.iter().all(Option::is_none), "an empty body");
}

// --- lesions ---

fn short_of_end(mm: f64) -> Where {
    Where::Short("neck-lesion-end".into(), mm)
}

fn lesions(findings: &[Finding]) -> Vec<(Severity, Lesion)> {
    let told = findings.iter().filter_map(|f| match &f.reason {
        Reason::Lesion(lesion) => Some((f.severity, lesion.clone())),
        _ => None,
    });
    told.collect()
}

#[test]
fn regress_a_tip_parked_in_the_near_half_meets_the_lesion() {
    // 8 mm healthy, 1.5 mm left in the middle of 760 to 780 mm, a cosine in between
    let left_mm = |s_mm: f64| {
        let depth = 0.5 * (1.0 - (std::f64::consts::TAU * (s_mm - 760.0) / 20.0).cos());
        8.0 + (1.5 - 8.0) * depth
    };
    for rigid in [false, true] {
        for (tip_mm, narrow) in [(762.0, false), (768.0, true), (770.0, true), (775.0, true)] {
            let mut t = Table::new(plan_of(&tree(LesionKind::Plaque, rigid, 70.0)));
            t.good(&insert("sheath", None, None, Where::Hub));
            let to = short_of_end(780.0 - tip_mm);
            let effect = t.perform(&insert("guide", Some("sheath"), None, to));
            let told = lesions(&effect.findings);
            assert_eq!(told.len(), usize::from(narrow), "{tip_mm}: {told:?}");
            let Some((severity, lesion)) = told.first() else {
                continue;
            };
            let (outer, residual) = match lesion {
                Lesion::RigidRing(Narrow {
                    outer_mm,
                    residual_mm,
                    ..
                }) if rigid && *severity == Severity::Failure => (*outer_mm, *residual_mm),
                // its open rim stands high above nothing that leads it
                Lesion::Ledge(met) if !rigid && *severity == Severity::Undecided => {
                    (met.narrow.outer_mm, met.narrow.residual_mm)
                }
                other => panic!("{tip_mm}: {other:?}"),
            };
            let exact = left_mm(tip_mm.min(770.0));
            assert!(
                (residual - exact).abs() < 1e-9,
                "{tip_mm}: {residual} / {exact}"
            );
            assert!((2.6..2.8).contains(&outer), "{tip_mm}: {outer}");
        }
    }
}

#[test]
fn exact_a_stented_lesion_stops_a_guide_before_its_middle() {
    let mut t = Table::new(plan()).with_guide_at(690.0);
    let stent = t.index("stent");
    t.state.stents.push(DeployedStent {
        device: stent,
        proximal_mm: 750.0,
        distal_mm: 790.0,
        profile: Vec::new(),
        alone: Vec::new(),
    });
    t.state.residual_mm[0] = 2.4;
    let up = |mm| Action::Advance {
        device: "guide".into(),
        to: short_of_end(20.0 - mm),
        nose: None,
    };
    // 2.93 mm are left 8 mm into the lesion, 2.44 mm at 9.5 mm
    t.good(&up(8.0));
    let narrow = t.refused(&up(9.5), "stented-lesion-narrow");
    let Reason::Precondition(Precondition::StentedLesionNarrow(narrow)) = narrow else {
        panic!("{narrow:?}");
    };
    assert!((narrow.residual_mm - 2.43).abs() < 0.02, "{narrow:?}");
    // what lies there has passed: a shaft as wide all along moves on
    let guide = t.index("guide");
    t.state.in_place[guide].as_mut().unwrap().tip_mm = 800.0;
    t.good(&Action::Advance {
        device: "guide".into(),
        to: Where::By(10.0),
        nose: None,
    });
}

// --- places already passed, guides without a lead ---

#[test]
fn regress_an_advance_to_a_place_already_passed_says_so() {
    let to = |mm: f64| Action::Advance {
        device: "guide".into(),
        to: Where::Past("common-carotid-origin".into(), mm),
        nose: None,
    };
    let there = |findings: &[Finding]| {
        let mut told = findings.iter().filter_map(|f| match &f.reason {
            Reason::Reach(Reach::ThereAlready { beyond_mm, .. }) => Some((f.severity, *beyond_mm)),
            _ => None,
        });
        told.next()
    };
    let mut t = Table::new(plan()).with_guide_at(690.0);
    let effect = t.good(&to(87.0));
    let (severity, beyond_mm) = there(&effect.findings).unwrap();
    assert!(
        severity == Severity::Note && (beyond_mm - 3.0).abs() < 1e-9,
        "{:?}",
        effect.findings
    );
    let tip_mm = t.state.tip_mm(t.index("guide")).unwrap();
    assert!((tip_mm - 690.0).abs() < 1e-9, "it stays: {tip_mm}");
    assert_eq!(there(&t.good(&to(90.0)).findings), None, "just there");
    let beyond = t.refused(&to(84.0), "beyond-place");
    let Reason::Precondition(Precondition::BeyondPlace { beyond_mm, .. }) = beyond else {
        panic!("{beyond:?}");
    };
    assert!((beyond_mm - 6.0).abs() < 1e-9, "{beyond_mm} mm");
}

#[test]
fn exact_a_guide_that_nothing_leads_beyond_the_arch_is_told() {
    let unled = |findings: &[Finding]| {
        let mut reasons = findings.iter().map(|f| (f.severity, &f.reason));
        reasons.any(|(severity, reason)| {
            severity == Severity::Warning && matches!(reason, Reason::Vessel(Vessel::Unled { .. }))
        })
    };
    let mut t = Table::new(plan());
    t.good(&insert("sheath", None, None, Where::Hub));
    let past = |mm: f64| Where::Past("common-carotid-origin".into(), mm);
    let below = t.good(&insert("guide", Some("sheath"), None, past(-50.0)));
    assert!(!unled(&below.findings), "below the arch nothing is told");
    let up = |mm| Action::Advance {
        device: "guide".into(),
        to: past(mm),
        nose: None,
    };
    let mut bare = Table {
        plan: t.plan.clone(),
        state: t.state.clone(),
    };
    assert!(unled(&bare.good(&up(90.0)).findings), "bare into the neck");
    t.good(&insert("microcatheter", Some("guide"), None, past(-40.0)));
    let mut short = Table {
        plan: t.plan.clone(),
        state: t.state.clone(),
    };
    assert!(
        unled(&short.good(&up(90.0)).findings),
        "its lead stays below the arch"
    );
    t.good(&Action::Advance {
        device: "microcatheter".into(),
        to: past(60.0),
        nose: None,
    });
    assert!(!unled(&t.good(&up(90.0)).findings), "something leads it");
}

// --- forces ---

/// Lays along the centre line; the guide's tip falls back by so much, one length for each call, and a load
/// may come with it.
struct Slipping {
    guide: usize,
    back_mm: Vec<f64>,
    load: Option<LoadReport>,
}

impl Placer for Slipping {
    fn place(
        &mut self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        motion: Motion,
    ) -> Result<StackPlacement, MechanicsError> {
        let mut placed = CentreLine.place(plan, state, targets, motion)?;
        if let Some(Some(tip_mm)) = placed.loaded_tip_mm.get_mut(self.guide) {
            *tip_mm -= self.back_mm.pop().unwrap_or(0.0);
        }
        placed.loads.extend(self.load.clone());
        Ok(placed)
    }
}

fn load(device: usize, direction: Direction, hub_force_n: f64, held: Vec<HeldLoad>) -> LoadReport {
    let mut load = LoadReport::new(device, direction, hub_force_n);
    load.held = held;
    load
}

/// With guide, microcatheter and retriever in place, ready to be opened.
fn ready_to_open() -> Table {
    let mut t = Table::new(plan()).with_guide_at(700.0);
    let tip = Where::Past("clot-end".into(), 20.0);
    t.good(&insert("microcatheter", Some("guide"), None, tip));
    t.good(&Action::LoadRetriever {
        retriever: "retriever".into(),
        through: "microcatheter".into(),
    });
    t
}

fn fall_backs(findings: &[Finding]) -> Vec<(String, f64)> {
    let told = findings.iter().filter_map(|f| match &f.reason {
        Reason::Force(Force::FallsBack { device, back_mm }) => Some((device.clone(), *back_mm)),
        _ => None,
    });
    told.collect()
}

#[test]
fn exact_what_is_drawn_back_on_purpose_does_not_fall_back() {
    let t = ready_to_open();
    let open = Action::Unsheathe {
        retriever: "retriever".into(),
    };
    // two ways of lying in one step: drawn back, then at rest; 6 and 4 mm are one fall-back
    let mut placer = Slipping {
        guide: t.index("guide"),
        back_mm: vec![4.0, 6.0],
        load: None,
    };
    let (after, effect) = perform_with(&t.plan, &t.state, &open, &mut placer).unwrap();
    let micro = t.index("microcatheter");
    let drawn_mm = t.state.tip_mm(micro).unwrap() - after.tip_mm(micro).unwrap();
    assert!(drawn_mm > 20.0, "the microcatheter comes back: {drawn_mm}");
    assert_eq!(effect.placements.len(), 2, "drawn back, and at rest");
    let told = fall_backs(&effect.findings);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(
        told[0].0 == "guide" && (told[0].1 - 6.0).abs() < 1e-9,
        "{told:?}"
    );
}

#[test]
fn exact_a_rail_nearly_lost_is_a_weak_point() {
    let mut t = ready_to_open();
    // narrower than the retriever in the head, so that it bears on the wall
    t.plan.track.lumen.knots_mm = vec![(0.0, 8.0), (840.0, 8.0), (860.0, 2.5)];
    t.good(&Action::Unsheathe {
        retriever: "retriever".into(),
    });
    let retriever = t.index("retriever");
    let holds_n: f64 = retriever_holds_n(&t.plan, &t.state, retriever)
        .unwrap()
        .iter()
        .sum();
    assert!(holds_n > 0.05, "{holds_n}");
    for (share, severity) in [
        (0.30, Severity::Note),
        (0.35, Severity::Warning),
        (0.99, Severity::Warning),
        (1.01, Severity::Failure),
    ] {
        let held = HeldLoad {
            device: retriever,
            hub_reaction_n: 0.0,
            hub_range_n: [0.0; 2],
            drag_n: share * holds_n,
            tip_moved_mm: None,
        };
        let micro = t.index("microcatheter");
        let mut placer = Slipping {
            guide: t.index("guide"),
            back_mm: Vec::new(),
            load: Some(load(micro, Direction::Pull, 0.1, vec![held])),
        };
        let off = Action::Remove {
            device: "microcatheter".into(),
        };
        let (_, effect) = perform_with(&t.plan, &t.state, &off, &mut placer).unwrap();
        let mut dragged = effect.findings.iter().filter_map(|f| match &f.reason {
            Reason::Exchange(Exchange::RailDragged { holds_n, .. }) => Some((f, *holds_n)),
            _ => None,
        });
        let (finding, told_n) = dragged.next().unwrap();
        assert_eq!(finding.severity, severity, "{share}: {finding:?}");
        assert!(
            (told_n - holds_n).abs() < 1e-12,
            "the same number: {told_n}"
        );
        let text = finding.in_words();
        let lost = text.contains("the rail is lost");
        assert_eq!(lost, severity == Severity::Failure, "{text}");
    }
}

#[test]
fn look_a_device_that_moves_by_itself_is_said_in_words() {
    let t = ready_to_open();
    let (micro, open) = (
        t.index("microcatheter"),
        Action::Unsheathe {
            retriever: "retriever".into(),
        },
    );
    let said = |hub_force_n: f64| {
        let mut placer = Slipping {
            guide: t.index("guide"),
            back_mm: Vec::new(),
            load: Some(load(micro, Direction::Pull, hub_force_n, Vec::new())),
        };
        let (_, effect) = perform_with(&t.plan, &t.state, &open, &mut placer).unwrap();
        let mut texts = effect.findings.iter().map(Finding::in_words);
        texts.find(|text| text.contains("by itself"))
    };
    assert_eq!(
        said(-0.48).as_deref(),
        Some(
            "the microcatheter springs back by itself: its hub is held forward with 0.48 N meanwhile"
        ),
        "in words, and without two signs"
    );
    assert_eq!(said(0.48), None, "a pull is a pull");
    assert_eq!(said(-0.004), None, "nothing that a hand feels");
}

#[test]
fn look_no_sign_stands_twice_and_no_more_than_all_arrives() {
    let plan = read_scene(&Source::from_argument("scenes/too-short.ron")).unwrap();
    let mut outcome = rehearse_with(&plan, &mut CentreLine).unwrap();
    let row = |direction, hub_force_n| LoadRow {
        direction,
        hub_force_n,
        hub_force_least_n: None,
        hub_force_most_n: None,
        hand_force_n: hub_force_n,
        hand_force_least_n: None,
        hand_force_most_n: None,
        tip_force_n: 0.0,
        efficiency: None,
        share_lost: None,
        lost: Vec::new(),
        slack_mm: None,
        largest_wall_force_n_per_mm: 0.0,
        largest_wall_force_at: None,
        buckled_mm: None,
        within_n: 0.0,
    };
    let mut loads = [
        row(Direction::Pull, -0.48),
        row(Direction::Pull, 0.001),
        row(Direction::Push, -0.001),
    ]
    .into_iter();
    for device in outcome.steps.iter_mut().flat_map(|s| &mut s.devices) {
        if device.moved {
            device.load = loads.next();
            device.margin_mm = -0.2;
        }
    }
    let text = rehearsal_text(&outcome, Parts::ALL, 200);
    assert!(
        text.contains(" 0.48 "),
        "pushed while it is drawn back: {text}"
    );
    for bad in ["--", "-0 ", "-0.00"] {
        assert!(!text.contains(bad), "`{bad}` in {text}");
    }
}
