//! Forces with ranges: the script followed again at the least and at the most known of frictions and stiffnesses.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and says what it found"
)]

use crate::support::straight::name_of;
use nestline::data::{Edit, Source, load_scene_with, usual_materials};
use nestline::geometry::TrackSettings;
use nestline::mechanics::Direction;
use nestline::procedure::{Action, Passed, Plan, Rods, Severity};
use nestline::rehearsal::{
    LoadRow, Outcome, follow_ranges, outcome_of, range_in_figures, walk_with,
};
use std::sync::LazyLock;

/// The default scene up to the guide in the common carotid, with changes.
fn plan(changes: &[String]) -> Plan {
    let edits: Vec<Edit> = changes.iter().map(|c| Edit::parse(c).unwrap()).collect();
    let source = Source::from_argument("embedded:scenes/left-tandem-retriever-first.ron");
    let plan = load_scene_with(&source, &TrackSettings::default(), &edits)
        .unwrap()
        .plan;
    let is_last = |act: &Action| matches!(act, Action::Advance { device, .. } if device == "guide");
    let end = plan
        .script
        .iter()
        .position(|step| is_last(&step.act))
        .unwrap();
    Plan {
        script: plan.script[..=end].to_vec(),
        ..plan
    }
}

fn followed(plan: &Plan) -> Vec<Passed> {
    let mut passed = walk_with(plan, &mut Rods::default()).unwrap();
    follow_ranges(plan, &mut passed);
    passed
}

static USUAL: LazyLock<Outcome> = LazyLock::new(|| {
    let plan = plan(&[]);
    outcome_of(&plan, &followed(&plan))
});

fn loads(outcome: &Outcome) -> impl Iterator<Item = (usize, &str, &LoadRow)> {
    outcome.steps.iter().flat_map(|step| {
        let rows = step.devices.iter();
        rows.filter_map(|d| Some((step.number, d.name.as_str(), d.load.as_ref()?)))
    })
}

#[test]
fn property_usual_forces_lie_between_least_and_most() {
    let mut told = 0;
    for (step, device, load) in loads(&USUAL) {
        let (Some(least_n), Some(most_n)) = (load.hub_force_least_n, load.hub_force_most_n) else {
            continue;
        };
        told += 1;
        assert!(
            least_n <= load.hub_force_n && load.hub_force_n <= most_n,
            "step {step}, {device}: {least_n} {} {most_n}",
            load.hub_force_n
        );
        let hand = [
            load.hand_force_least_n.unwrap(),
            load.hand_force_most_n.unwrap(),
        ];
        assert!(
            hand[0] <= load.hand_force_n && load.hand_force_n <= hand[1],
            "step {step}, {device}: hand {hand:?} {}",
            load.hand_force_n
        );
        assert!(
            load.hand_force_n >= load.hub_force_n,
            "step {step}, {device}: valves push nothing"
        );
    }
    assert!(told >= 10, "{told} forces have both ends");
}

#[test]
fn exact_a_stiff_guide_in_a_bend_takes_about_as_much_more_as_it_is_stiffer() {
    // at the most everything is three times as stiff and friction half as much again: without friction the
    // push would be three times as large, with it a little more
    let (.., load) = loads(&USUAL).last().unwrap();
    assert_eq!(load.direction, Direction::Push);
    let more = load.hub_force_most_n.unwrap() / load.hub_force_n;
    assert!((3.0..6.0).contains(&more), "{more}");
    let less = load.hub_force_n / load.hub_force_least_n.unwrap();
    assert!((3.0..9.0).contains(&less), "{less}");
}

#[test]
fn exact_what_is_known_has_no_range() {
    let usual = usual_materials().unwrap();
    let known = usual.lines().into_iter().map(|(group, name, value)| {
        let figure = value.at(nestline::mechanics::Level::Usual);
        format!("{group}.{name}=({figure}, {figure}, {figure})")
    });
    let plan = plan(&known.collect::<Vec<_>>());
    let outcome = outcome_of(&plan, &followed(&plan));
    for (step, device, load) in loads(&outcome) {
        let ends = [load.hub_force_least_n, load.hub_force_most_n];
        for end in ends {
            // followed with the lengths that were found for the tips: the same state, or one that rests beside it
            let off_n = (end.unwrap() - load.hub_force_n).abs();
            assert!(
                off_n < 2e-3 + 0.02 * load.hub_force_n.abs(),
                "step {step}, {device}: {ends:?} {}",
                load.hub_force_n
            );
        }
        let hand = [
            load.hand_force_least_n.unwrap(),
            load.hand_force_most_n.unwrap(),
        ];
        assert!(
            (hand[1] - hand[0]).abs() < 4e-3 + 0.02 * load.hub_force_n.abs(),
            "step {step}, {device}: {hand:?}"
        );
    }
}

#[test]
fn exact_what_breaks_only_at_the_most_is_a_warning() {
    let (.., load) = loads(&USUAL).last().unwrap();
    let between_n = 0.5 * (load.hub_force_n + load.hub_force_most_n.unwrap());
    let plan = plan(&[format!("rules.hub_force_limit_n={between_n}")]);
    let outcome = outcome_of(&plan, &followed(&plan));
    let last = outcome.steps.last().unwrap();
    let told = last
        .findings
        .iter()
        .find(|f| name_of(&f.reason) == "breaks-at-most")
        .unwrap();
    assert_eq!(told.severity, Severity::Warning, "{}", told.text);
    assert!(
        told.text
            .contains("if friction and stiffness are as large as they may be"),
        "{}",
        told.text
    );
    let known = walk_with(&plan, &mut Rods::default()).unwrap();
    assert_eq!(
        outcome_of(&plan, &known).verdict,
        outcome.verdict,
        "the verdict is that of the usual values"
    );
}

#[test]
fn look_ranges_stand_where_forces_are_told() {
    let (step, device, load) = loads(&USUAL).last().unwrap();
    let ends = [load.hub_force_least_n, load.hub_force_most_n];
    let range = range_in_figures(1.0, ends).unwrap();
    assert!(range.contains(" to "), "{range}");
    let numbers = USUAL.numbers.join("\n");
    assert!(numbers.contains(&range), "{range} in {numbers}");
    let phase = USUAL.phases.iter().find(|row| row.to_step >= step).unwrap();
    let push = phase.hardest_push_n.as_ref().unwrap();
    assert_eq!(push.device, device);
    assert!(
        phase.hardest_push_range_n.iter().all(Option::is_some),
        "{phase:?}"
    );
    let pulled = load.hub_in_figures(-1.0);
    assert!(
        pulled.starts_with('-') && !pulled.contains("--"),
        "{pulled}"
    );
    let unknown = LoadRow {
        within_n: 2.0 * load.hub_force_n,
        ..load.clone()
    };
    assert!(
        unknown.hub_in_figures(1.0).starts_with("below "),
        "less than it is known to is no number: {}",
        unknown.hub_in_figures(1.0)
    );
}

#[test]
fn exact_one_end_alone_is_told_as_one() {
    for (ends, told) in [
        ([Some(0.1), Some(2.0)], Some("0.10 to 2.00")),
        ([Some(0.1), None], Some("at least 0.10")),
        ([None, Some(2.0)], Some("up to 2.00")),
        ([None, None], None),
    ] {
        assert_eq!(range_in_figures(1.0, ends).as_deref(), told);
    }
    let pull = range_in_figures(-1.0, [Some(0.1), Some(2.0)]);
    assert_eq!(pull.as_deref(), Some("-2.00 to -0.10"));
}
