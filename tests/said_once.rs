//! What is the same is said once: over several steps, of several devices, and of one cause.

use crate::support::straight::{Table, insert, plan};
use nestline::data::{Source, read_scene};
use nestline::geometry::TrackSegment;
use nestline::output::{Parts, rehearsal_text};
use nestline::procedure::reason::{Force, Precondition, Reason, Retrieving};
use nestline::procedure::{Action, CentreLine, Finding, Severity, Spot, Where};
use nestline::rehearsal::{Verdict, rehearse_with};

// --- what is the same at several steps is told once ---

#[test]
fn look_the_same_words_are_told_once_with_all_steps() {
    let plan = read_scene(&Source::from_argument(
        "scenes/left-tandem-retriever-first.ron",
    ))
    .unwrap();
    let mut outcome = rehearse_with(&plan, &mut CentreLine).unwrap();
    for (step, slack_mm) in [(4, 7.0), (9, 7.0), (9, 7.0), (12, 8.0), (13, 7.0)] {
        let found = Force::Slack {
            device: "guide".into(),
            slack_mm,
        };
        outcome.steps[step - 1]
            .findings
            .push(Finding::note(found).into());
    }
    let text = rehearsal_text(&outcome, Parts::ALL, 400);
    let lines: Vec<&str> = text
        .lines()
        .filter(|l| l.contains("of the guide come"))
        .collect();
    assert_eq!(
        lines,
        [
            "  step  4: 7 mm of the guide come out before its tip follows a pull. The same at steps 9, 13.",
            "  step 12: 8 mm of the guide come out before its tip follows a pull.",
        ]
    );
}

// --- waves are told once ---

#[test]
fn look_devices_in_waves_are_told_in_one_line() {
    let plan = read_scene(&Source::from_argument(
        "scenes/left-tandem-retriever-first.ron",
    ))
    .unwrap();
    let mut outcome = rehearse_with(&plan, &mut CentreLine).unwrap();
    let mut buckles = |step: usize, device: &str, length_mm: f64| {
        let found = Force::Buckles {
            device: device.into(),
            length_mm,
            place: Spot {
                station_mm: 0.0,
                at: format!("at place {step}"),
            },
        };
        outcome.steps[step - 1]
            .findings
            .push(Finding::note(found).into());
        rehearsal_text(&outcome, Parts::ALL, 400)
    };
    let one = buckles(4, "guide", 80.0);
    assert!(
        one.contains("step  4: the guide buckles along 80 mm"),
        "{one}"
    );
    buckles(9, "selector", 210.0);
    let all = buckles(12, "wire", 33.0);
    let lines: Vec<&str> = all.lines().filter(|l| l.contains("in waves")).collect();
    assert_eq!(
        lines,
        [
            "  - Pushed devices buckle and lie in waves on the wall at steps 4, 9, 12; most of all the selector: along 210 mm in all at step 9, most at place 9."
        ]
    );
}

// --- one cause, one failure ---

#[test]
fn exact_one_step_left_out_is_one_cause() {
    let mut plan = read_scene(&Source::from_argument(
        "scenes/left-tandem-retriever-first.ron",
    ))
    .unwrap();
    let sound = rehearse_with(&plan, &mut CentreLine).unwrap();
    assert_eq!(sound.verdict, Verdict::Passes, "{:?}", sound.headline);
    let guide = plan
        .script
        .iter()
        .position(|s| matches!(&s.act, Action::Insert { device, .. } if device == "guide"))
        .unwrap();
    plan.script.remove(guide);
    let outcome = rehearse_with(&plan, &mut CentreLine).unwrap();
    assert_eq!(outcome.verdict, Verdict::Fails, "{:?}", outcome.headline);
    let not_done: Vec<usize> = outcome
        .steps
        .iter()
        .filter(|s| !s.performed)
        .map(|s| s.number)
        .collect();
    assert!(not_done.len() > 15, "{not_done:?}");
    let failed: Vec<usize> = outcome
        .steps
        .iter()
        .filter(|s| s.worst() == Some(Severity::Failure))
        .map(|s| s.number)
        .collect();
    assert_eq!(failed, not_done[..1], "the first one alone is a failure");
    let held_up = outcome.steps[failed[0] - 1]
        .findings
        .iter()
        .find_map(|f| match &f.reason {
            Reason::Precondition(Precondition::HoldsUp { steps }) => Some(steps.clone()),
            _ => None,
        });
    assert_eq!(
        held_up.as_deref(),
        Some(&not_done[1..]),
        "all others hang on it"
    );
    let text = rehearsal_text(&outcome, Parts::ALL, 200);
    assert!(
        text.contains("skip"),
        "steps that are not done are marked: {text}"
    );
}

#[test]
fn exact_two_causes_are_two_failures() {
    // a guide that is missing, and a balloon that is not moved up while it is inflated
    let mut t = Table::new(plan());
    t.plan.script = [
        insert("sheath", None, None, Where::Hub),
        Action::SuctionOn {
            device: "guide".into(),
        },
        Action::SuctionOff {
            device: "sheath".into(),
        },
        Action::SuctionOff {
            device: "guide".into(),
        },
    ]
    .into_iter()
    .map(nestline::procedure::Step::new)
    .collect();
    let outcome = rehearse_with(&t.plan, &mut CentreLine).unwrap();
    let worst: Vec<_> = outcome.steps.iter().map(|s| s.worst()).collect();
    let (failure, note) = (Some(Severity::Failure), Some(Severity::Note));
    assert_eq!(&worst[1..], [failure, failure, note], "{:?}", outcome.steps);
}

// --- clots ---

#[test]
fn exact_a_clot_longer_than_its_artery_is_told() {
    let runs_on = |t: &mut Table| {
        let load = Action::LoadRetriever {
            retriever: "retriever".into(),
            through: "microcatheter".into(),
        };
        let findings = t.good(&load).findings;
        findings.into_iter().find_map(|f| match f.reason {
            Reason::Retrieving(Retrieving::ClotRunsOn {
                from,
                into,
                beyond_mm,
                ..
            }) => Some((from, into, beyond_mm)),
            _ => None,
        })
    };
    let ready = || {
        let mut t = Table::new(plan()).with_guide_at(700.0);
        let tip = Where::Past("clot-end".into(), 20.0);
        t.good(&insert("microcatheter", Some("guide"), None, tip));
        t
    };
    assert_eq!(runs_on(&mut ready()), None, "10 mm in one artery");
    let mut t = ready();
    let end_mm = t.plan.track.length_mm();
    t.plan.track.segments[0].end_mm = 956.0;
    t.plan.track.segments.push(TrackSegment {
        name: "next".into(),
        start_mm: 956.0,
        end_mm,
    });
    let (from, into, beyond_mm) = runs_on(&mut t).unwrap();
    assert!(
        from == "route" && into == "next" && (beyond_mm - 4.0).abs() < 1e-9,
        "{from} {into} {beyond_mm}"
    );
}
