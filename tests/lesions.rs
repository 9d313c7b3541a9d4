//! What a lesion does to what passes it, and to clot that is drawn through it.

#![expect(clippy::unwrap_used, reason = "a helper that fails fails the test")]

use nestline::data::{self, Source};
use nestline::procedure::reason::{Lesion, Narrowing, Retrieving};
use nestline::procedure::{Choices, Likelihood, Plan, Reason, Rods, Severity};
use nestline::rehearsal::{FindingRow, Outcome, outcome_of, walk, walk_through};

const DEFAULT: &str = "embedded:scenes/left-tandem-retriever-first.ron";

/// A strategy on the default vessel with so much of its neck shut, NASCET percent.
fn plan(strategy: &str, percent: f64) -> Plan {
    let base = data::read_scene(&Source::from_argument(DEFAULT)).unwrap();
    let choices = Choices::named(strategy).unwrap();
    let mut plan = base.with_strategy(&choices).unwrap();
    let open_mm = plan.track.lesions[0].reference_mm * (1.0 - percent / 100.0);
    plan.track.set_residual(0, open_mm).unwrap();
    plan
}

fn ruled(plan: &Plan) -> Outcome {
    outcome_of(plan, &walk(plan))
}

fn told(outcome: &Outcome) -> impl Iterator<Item = (usize, &FindingRow)> {
    let steps = outcome.steps.iter();
    steps.flat_map(|s| s.findings.iter().map(move |f| (s.number, f)))
}

fn of_lesion<'a>(outcome: &'a Outcome, device: &str) -> Vec<(Severity, &'a Lesion)> {
    let about = |lesion: &Lesion| match lesion {
        Lesion::Dilates { narrow, .. } | Lesion::NotThrough { narrow, .. } => {
            narrow.device == device
        }
        Lesion::Ledge(met) | Lesion::OnlyAWire(met) => met.narrow.device == device,
        Lesion::RigidRing(narrow) | Lesion::WireFindsWay(narrow) => narrow.device == device,
        _ => false,
    };
    let lesions = told(outcome).filter_map(|(_, f)| match &f.reason {
        Reason::Lesion(lesion) => Some((f.severity, lesion)),
        _ => None,
    });
    lesions.filter(|(_, lesion)| about(lesion)).collect()
}

#[test]
fn property_a_bare_catheter_does_not_pass_a_shut_neck() {
    // an aspiration catheter of 2.08 mm over a pusher, through 4.9 mm that are shut by so much
    let passes = |percent: f64| {
        let outcome = ruled(&plan("clot-first", percent));
        let found = of_lesion(&outcome, "aspiration");
        match found.as_slice() {
            [] => "passes",
            [(Severity::Warning, Lesion::Dilates { .. })] => "dilates",
            [(Severity::Undecided, Lesion::Ledge(met))] => {
                assert!(met.step_mm > 0.25 && met.balloon_mm.is_some(), "{met:?}");
                assert!(
                    met.dilated_later,
                    "the default's balloon comes after the clot: {met:?}"
                );
                "is not known"
            }
            [(Severity::Failure, Lesion::OnlyAWire(met))] => {
                assert!(met.narrow.residual_mm < 0.5, "{met:?}");
                "does not pass"
            }
            other => panic!("{percent}: {other:?}"),
        }
    };
    for (percent, word) in [
        (30.0, "passes"),
        (60.0, "dilates"),
        (80.0, "is not known"),
        (90.0, "is not known"),
        (99.0, "does not pass"),
        (100.0, "does not pass"),
    ] {
        assert_eq!(passes(percent), word, "{percent} %");
    }
}

#[test]
fn property_a_tapered_system_needs_more_the_tighter_the_lesion() {
    let mut before_n = 0.0;
    for percent in [70.0, 80.0, 90.0, 97.0] {
        let outcome = ruled(&plan("neck-first", percent));
        let found = of_lesion(&outcome, "stent");
        let [
            (
                Severity::Warning,
                Lesion::Dilates {
                    narrow,
                    needed_n,
                    needed_range_n: [least_n, most_n],
                    leaves_mm,
                },
            ),
        ] = found.as_slice()
        else {
            panic!("{percent}: {found:?}");
        };
        assert!(
            *needed_n > before_n,
            "{percent}: {needed_n} after {before_n}"
        );
        assert!(*leaves_mm > narrow.residual_mm, "it stays partly open");
        assert!(
            least_n < needed_n && needed_n < most_n,
            "{least_n} to {most_n}"
        );
        before_n = *needed_n;
    }
    assert!(
        before_n < 0.5,
        "the plaque that stents were measured on is soft: {before_n} N"
    );
}

#[test]
fn property_what_has_passed_once_has_left_it_open() {
    let plan = plan("retriever-first", 90.0);
    let passed = walk(&plan);
    let opened: Vec<f64> = passed.iter().map(|p| p.after.residual_mm[0]).collect();
    assert!(opened.windows(2).all(|w| w[1] >= w[0]), "{opened:?}");
    let microcatheter = plan.device_index("microcatheter").unwrap();
    let crossed = passed
        .iter()
        .position(|p| p.after.crossings[0] == 2 && p.after.in_place[microcatheter].is_some())
        .unwrap();
    let lesion = &plan.track.lesions[0];
    // 0.77 mm in a lumen of 0.49 mm; 0.49 of the widening is kept
    let outer_mm = plan.devices[microcatheter]
        .device
        .max_outer_between(0.0, 10.0);
    let exact_mm = lesion.residual_mm + 0.49 * (outer_mm - lesion.residual_mm);
    let after = &passed[crossed].after;
    assert!(
        (after.residual_mm[0] - exact_mm).abs() < 2e-3,
        "{} / {exact_mm}",
        after.residual_mm[0]
    );
    assert!(
        (after.passed_mm[0] - outer_mm).abs() < 1e-9,
        "{}",
        after.passed_mm[0]
    );
    // it stands there: going on opens nothing more
    let later = passed[crossed + 1..]
        .iter()
        .take_while(|p| p.after.in_place[microcatheter].is_some());
    for step in later {
        assert!((step.after.residual_mm[0] - after.residual_mm[0]).abs() < 1e-9);
    }
}

#[test]
fn property_clot_is_stripped_where_the_neck_is_left_shut() {
    let drawn = |strategy: &str, percent: f64| {
        let outcome = ruled(&plan(strategy, percent));
        told(&outcome).find_map(|(_, f)| match &f.reason {
            Reason::Retrieving(Retrieving::ClotThroughNarrow {
                through,
                stripped,
                lumen_mm,
                cord_mm,
                drag_n,
                ..
            }) => {
                assert!(cord_mm > lumen_mm && *drag_n > 0.0, "{:?}", f.reason);
                Some((through.clone(), *stripped, f.severity))
            }
            _ => None,
        })
    };
    let neck = || Narrowing::Lesion("neck-lesion".into());
    assert_eq!(
        drawn("clot-first", 80.0),
        Some((neck(), Likelihood::Likely, Severity::Failure)),
        "bare through an untreated neck"
    );
    let guide = || Narrowing::Mouth("guide".into());
    assert_eq!(
        drawn("retriever-first", 80.0),
        Some((guide(), Likelihood::Possible, Severity::Note)),
        "into a guide beyond the stent"
    );
}

#[test]
fn property_hard_plaque_lets_through_what_arrives_and_no_more() {
    // three hundred times as hard as usual, as nothing but a ring of chalk is: told with what arrives
    let mut plan = plan("neck-first", 90.0);
    plan.values.plaque.stiffness_n_per_mm2 *= 300.0;
    let last = plan
        .script
        .iter()
        .position(|s| s.in_words().contains("released"))
        .unwrap();
    plan.script.truncate(last);
    let outcome = outcome_of(&plan, &walk_through(&plan, &mut Rods::default()).unwrap());
    let found = of_lesion(&outcome, "stent");
    let refused = found.iter().find_map(|(severity, lesion)| match lesion {
        Lesion::NotThrough {
            needed_n,
            arrives_n,
            balloon_mm,
            ..
        } => {
            assert_eq!(*severity, Severity::Failure);
            Some((*needed_n, *arrives_n, *balloon_mm))
        }
        _ => None,
    });
    let Some((needed_n, arrives_n, _)) = refused else {
        panic!("{found:?}");
    };
    assert!(
        arrives_n > 0.0 && arrives_n < needed_n,
        "{arrives_n} of {needed_n} N"
    );
}
