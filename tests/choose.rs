//! Stacks chosen from a cabinet: against every stack rehearsed by itself, the same for any number of threads, words as read.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use nestline::data::{LoadedScene, Source, load_scene, read_cabinet};
use nestline::geometry::TrackSettings;
use nestline::output::{choice_text, to_json};
use nestline::procedure::{CentreLine, Plan, Sampling, Severity, stands_in};
use nestline::rehearsal::choose::{Asked, Choice, ChooseError, Chosen, Shelved, Why, Wish, choose};
use nestline::rehearsal::{
    Candidate, MarginKind, Outcome, Verdict, assess, outcome_of, rehearse_with, walk,
};
use std::collections::BTreeMap;
use std::process::{Command, Output};

const DEFAULT: &str = "left-tandem-retriever-first";

fn load(scene: &str) -> LoadedScene {
    let source = Source::from_argument(format!("embedded:scenes/{scene}.ron"));
    load_scene(&source, &TrackSettings::default()).unwrap()
}

/// Some devices of the cabinet, in its order.
fn shelf(names: &[&str]) -> Vec<Shelved> {
    let mut all = read_cabinet(None).unwrap();
    all.retain(|device| names.contains(&device.name.as_str()));
    assert_eq!(all.len(), names.len(), "{names:?}");
    all
}

/// Some too short, some too wide, some that leave the neck narrow or clot on the way; and a guide between two of the trade: long
/// enough to reach, short enough for the selector in it.
fn small_cabinet() -> Vec<Shelved> {
    let mut all = shelf(&[
        "aspiration-088-110",
        "balloon-2.5x20-rx",
        "guide-6f-95",
        "guide-8f-80",
        "guide-8f-95",
        "stent-cut-open-9x40-6f-full-shaft-rx",
    ]);
    let mut planted = shelf(&["guide-8f-90"]).remove(0);
    planted.name = "planted".into();
    planted.device.name = "A planted guide".into();
    planted.device.set_usable_length_mm(920.0);
    all.push(planted);
    all
}

fn by_ruler() -> Asked {
    let mut asked = Asked::new(2);
    asked.ruler = true;
    asked
}

fn chosen(scene: &LoadedScene, cabinet: &[Shelved], asked: &Asked) -> Choice {
    choose(&scene.plan, &scene.durations, cabinet, asked).unwrap()
}

/// Every stack there is: the devices that are not those of the scene, by role, and the plan with them.
fn every_stack(plan: &Plan, cabinet: &[Shelved]) -> Vec<(BTreeMap<String, String>, Plan)> {
    let mut all = vec![(BTreeMap::new(), plan.clone())];
    for (k, stacked) in plan.devices.iter().enumerate() {
        let others: Vec<&Shelved> = cabinet
            .iter()
            .filter(|other| {
                other.device != stacked.device && stands_in(&stacked.device, &other.device)
            })
            .collect();
        let mut more = Vec::new();
        for (names, plan) in &all {
            for other in &others {
                let (mut names, mut plan) = (names.clone(), plan.clone());
                names.insert(stacked.name.clone(), other.name.clone());
                plan.devices[k].device = other.device.clone();
                more.push((names, plan));
            }
        }
        all.extend(more);
    }
    all
}

/// What stacks are ordered by, from a rehearsal of the stack by itself: less is better.
fn standing(scene: &LoadedScene, plan: &Plan, outcome: &Outcome) -> [i64; 7] {
    let candidate = Candidate {
        ruler: true,
        ..Candidate::new("one".into(), plan.clone(), scene.durations.clone())
    };
    let sampling = Sampling {
        courses: 1,
        ..Sampling::default()
    };
    let row = assess(&candidate, &sampling).unwrap();
    let whole = |x: f64| format!("{x:.0}").parse::<i64>().unwrap();
    let count = |n: usize| i64::try_from(n).unwrap();
    let left = row.neck_left_percent.unwrap();
    let outside = |kind| {
        matches!(
            kind,
            MarginKind::Reach | MarginKind::Hold | MarginKind::Exchange
        )
    };
    let margins = outcome.sure.margins.iter().filter(|m| outside(m.kind));
    let least = margins.map(|m| m.margin_mm).min_by(f64::total_cmp).unwrap();
    [
        count(row.let_go.len()),
        i64::from(left > 30.0) + i64::from(left > 50.0),
        row.clot_stripped
            .map_or(0, |stripped| match stripped.in_words() {
                "unlikely" => 0,
                "possible" => 1,
                _ => 2,
            }),
        -whole(100.0 * (1.0 - outcome.sure.short.unwrap().usual)),
        -whole(least),
        count(row.bare_edges),
        row.expected
            .reperfusion_s
            .map_or(i64::MAX, |s| whole(s / 60.0)),
    ]
}

/// The number of stacks that break by each first reason, and those that do not, as every one of them is rehearsed by itself.
#[test]
fn exact_the_planted_best_stack_is_found_and_all_others_as_each_by_itself() {
    let scene = load(DEFAULT);
    let cabinet = small_cabinet();
    let found = chosen(&scene, &cabinet, &by_ruler());
    let all = every_stack(&scene.plan, &cabinet);
    assert_eq!(found.stacks, u64::try_from(all.len()).unwrap());
    let mut good: BTreeMap<[i64; 7], Vec<BTreeMap<String, String>>> = BTreeMap::new();
    let mut bad: BTreeMap<Why, u64> = BTreeMap::new();
    for (names, plan) in &all {
        let outcome = rehearse_with(plan, &mut CentreLine).unwrap();
        match outcome.verdict {
            Verdict::Passes => {
                let standing = standing(&scene, plan, &outcome);
                good.entry(standing).or_default().push(names.clone());
            }
            _ => {
                let steps = outcome.steps.iter();
                let mut failing = steps.flat_map(|step| {
                    let findings = step.findings.iter();
                    let grave = findings.filter(|f| f.severity >= Severity::Undecided);
                    grave.map(|f| Why::of(step.number, &f.reason))
                });
                *bad.entry(failing.next().unwrap()).or_default() += 1;
            }
        }
    }
    assert!(
        good.len() > 3 && bad.len() > 2,
        "{} good, {bad:?}",
        good.len()
    );
    // what breaks, and by what first
    let told = found
        .rejected
        .iter()
        .map(|row| (row.why.clone(), row.stacks));
    assert_eq!(told.collect::<BTreeMap<Why, u64>>(), bad);
    // what goes through, in order
    assert_eq!(found.ranked.len(), good.len(), "{:?}", good.keys());
    for (row, (standing, stacks)) in found.ranked.iter().zip(&good) {
        assert_eq!(
            row.stacks,
            u64::try_from(stacks.len()).unwrap(),
            "{standing:?}"
        );
        let changes = row
            .changes
            .iter()
            .map(|c| (c.role.clone(), c.device.clone()));
        let changes: BTreeMap<String, String> = changes.collect();
        assert!(
            stacks.contains(&changes),
            "{changes:?} is not of {standing:?}"
        );
        let fewest = stacks.iter().map(BTreeMap::len).min().unwrap();
        assert_eq!(changes.len(), fewest, "the fewest changes to the scene");
        let beaten = good
            .keys()
            .any(|other| other != standing && other.iter().zip(standing).all(|(a, b)| a <= b));
        assert_eq!(row.front, !beaten, "{standing:?}");
    }
    let best = &found.ranked[0].changes;
    assert!(
        best.iter().any(|change| change.device == "planted"),
        "{best:?}"
    );
}

/// Chances, margins and what is left are those of the stack rehearsed by itself, to the last bit.
#[test]
fn exact_a_stack_is_worth_what_its_own_rehearsal_says() {
    let scene = load(DEFAULT);
    let cabinet = shelf(&["guide-8f-95", "balloon-4.0x20-otw", "wire-014-300-soft"]);
    let found = chosen(&scene, &cabinet, &by_ruler());
    assert!(found.ranked.len() > 1);
    for row in &found.ranked {
        let plan = plan_of(&scene.plan, &cabinet, row);
        let outcome = outcome_of(&plan, &walk(&plan));
        let short = outcome.sure.short.unwrap();
        assert!((row.goes_through.usual - (1.0 - short.usual)).abs() < 1e-12);
        assert!((row.goes_through.from - (1.0 - short.to)).abs() < 1e-12);
        let left = outcome.lesions.iter().map(|l| l.nascet_after_percent);
        let left = left.max_by(f64::total_cmp).unwrap();
        assert_eq!(row.neck_left_percent.unwrap().to_bits(), left.to_bits());
        let spare = row.spare.as_ref().unwrap();
        let own = outcome
            .sure
            .margins
            .iter()
            .filter(|m| m.device == spare.device);
        let own: Vec<u64> = own.map(|m| m.margin_mm.to_bits()).collect();
        assert!(own.contains(&spare.margin_mm.to_bits()), "{spare:?}");
    }
}

fn plan_of(plan: &Plan, cabinet: &[Shelved], row: &Chosen) -> Plan {
    let mut plan = plan.clone();
    for change in &row.changes {
        let device = cabinet.iter().find(|d| d.name == change.device).unwrap();
        let k = plan.device_index(&change.role).unwrap();
        plan.devices[k].device = device.device.clone();
    }
    plan
}

#[test]
fn property_threads_and_order_of_the_cabinet_change_nothing() {
    let scene = load(DEFAULT);
    let mut cabinet = small_cabinet();
    let mut asked = by_ruler();
    let two = to_json(&chosen(&scene, &cabinet, &asked)).unwrap();
    asked.threads = 1;
    let one = to_json(&chosen(&scene, &cabinet, &asked)).unwrap();
    assert_eq!(one, two);
    // the order of files changes only in which order choices are listed
    cabinet.reverse();
    let turned = chosen(&scene, &cabinet, &asked);
    let forth = chosen(&scene, &small_cabinet(), &asked);
    assert_eq!(turned.doing, forth.doing);
    let standings = |choice: &Choice| -> Vec<(u64, u64, Option<u64>)> {
        let rows = choice.ranked.iter();
        rows.map(|row| {
            let spare = row.spare.as_ref().map(|s| s.margin_mm.to_bits());
            (row.stacks, row.goes_through.usual.to_bits(), spare)
        })
        .collect()
    };
    assert_eq!(standings(&turned), standings(&forth));
}

fn wish(device: &str, place: &str, by_mm: f64) -> Wish {
    Wish {
        device: device.into(),
        place: place.into(),
        by_mm,
    }
}

/// The guide lies 12 mm beyond the stent in the script: what it has to spare for 10 mm is 2 mm more, and for as much as it
/// has to spare and a millimetre it is turned down.
#[test]
fn exact_what_is_asked_for_has_to_spare_what_the_place_leaves() {
    let scene = load(DEFAULT);
    let mut asked = by_ruler();
    asked.keep = scene.plan.devices.iter().map(|d| d.name.clone()).collect();
    let plain = chosen(&scene, &[], &asked);
    assert_eq!((plain.stacks, plain.doing), (1, 1));
    let outcome = outcome_of(&scene.plan, &walk(&scene.plan));
    let own_mm = outcome.sure.reach("guide").unwrap().margin_mm;
    for (by_mm, does) in [
        (10.0, true),
        (12.0 + own_mm - 1.0, true),
        (13.0 + own_mm, false),
    ] {
        asked.wish = Some(wish("guide", "stent", by_mm));
        let found = chosen(&scene, &[], &asked);
        assert_eq!(found.doing, u64::from(does), "{by_mm}");
        if does {
            let told = found.ranked[0].wish.unwrap();
            assert!(
                (told.spare_mm - (own_mm + 12.0 - by_mm)).abs() < 1e-9,
                "{told:?}"
            );
            let through = found.ranked[0].goes_through.usual;
            assert!(
                through <= told.suffices.usual + 2e-3,
                "the whole is no surer than a part"
            );
        } else {
            let why = &found.rejected[0].why;
            assert!(
                matches!(why, Why::DoesNotReach { device } if device == "guide"),
                "{why:?}"
            );
        }
    }
}

#[test]
fn exact_names_that_nothing_bears_are_refused() {
    let scene = load(DEFAULT);
    let refused = |asked: &Asked| choose(&scene.plan, &scene.durations, &[], asked).unwrap_err();
    let mut asked = by_ruler();
    asked.keep = vec!["gide".into()];
    let error = refused(&asked);
    assert!(
        matches!(&error, ChooseError::UnknownDevice { name, .. } if name == "gide"),
        "{error}"
    );
    asked.keep.clear();
    for (device, place) in [
        ("gide", "stent"),
        ("guide", "nowhere"),
        ("guide", "guide.tip"),
        ("selector", "stent"),
    ] {
        asked.wish = Some(wish(device, place, 5.0));
        let error = refused(&asked);
        let expected = match (device, place) {
            ("gide", _) => matches!(error, ChooseError::UnknownDevice { .. }),
            (_, "nowhere") => matches!(error, ChooseError::UnknownPlace { .. }),
            (_, "guide.tip") => matches!(error, ChooseError::ItsOwnEnd { .. }),
            _ => matches!(error, ChooseError::NeverThere { .. }),
        };
        assert!(expected, "{device} {place}: {error:?}");
    }
}

/// The guide's length at which it reaches in 95 of 100: a guide made so long does, one of 5 mm less does not.
#[test]
fn exact_the_length_that_is_needed_is_long_enough_and_no_longer() {
    let scene = load(DEFAULT);
    let mut asked = by_ruler();
    asked.keep = scene.plan.devices.iter().map(|d| d.name.clone()).collect();
    let share = |length_mm: f64| {
        let mut plan = scene.plan.clone();
        let k = plan.device_index("guide").unwrap();
        plan.devices[k].device.set_usable_length_mm(length_mm);
        choose(&plan, &scene.durations, &[], &asked)
            .unwrap()
            .shortest
            .unwrap()
    };
    let needed_mm = share(900.0).needed_mm.unwrap();
    let own = |told: &nestline::rehearsal::choose::Shortest| told.all[0].reaches.usual;
    assert!(own(&share(needed_mm + 0.2)) >= 0.95, "{needed_mm}");
    assert!(own(&share(needed_mm - 5.0)) < 0.95, "{needed_mm}");
}

// --- as it is used ---

fn run(arguments: &[&str], columns: usize) -> Output {
    Command::new(env!("CARGO_BIN_EXE_nestline"))
        .arg("choose")
        .args(arguments)
        .env("COLUMNS", columns.to_string())
        .output()
        .unwrap()
}

/// Roles that stay as they are: what is left takes a second.
const FEW: [&str; 12] = [
    "--keep",
    "retriever",
    "--keep",
    "stent",
    "--keep",
    "selector",
    "--keep",
    "aorta-wire",
    "--keep",
    "wire",
    "--keep",
    "balloon",
];

#[test]
fn cli_what_is_told_fits_every_width_and_one_screen() {
    let arguments = [&FEW[..], &["--ruler"]].concat();
    for columns in [60, 80, 120] {
        let told = run(&arguments, columns);
        assert_eq!(told.status.code(), Some(0));
        let text = String::from_utf8(told.stdout).unwrap();
        for line in text.lines() {
            assert!(line.chars().count() <= columns, "{columns}: {line}");
        }
        if columns == 80 {
            assert!(text.lines().count() <= 60, "{text}");
        }
        for word in [
            "how sure",
            "not a medical device",
            "too short",
            "does not fit",
            "in 95 of 100",
            "--all",
        ] {
            assert!(text.contains(word), "{word}:\n{text}");
        }
    }
    let all = run(&[&arguments[..], &["--all"]].concat(), 80);
    let all = String::from_utf8(all.stdout).unwrap();
    assert!(
        all.contains("What may take which role") && all.contains("guide-8f-95"),
        "{all}"
    );
}

#[test]
fn cli_bad_flags_are_refused_in_words() {
    for (arguments, said) in [
        (&["--reach", "guide"][..], "no colon"),
        (&["--reach", "guide:stent+10"], "unit"),
        (&["--reach", "guide:+10mm"], "nothing before or behind"),
        (&["--reach", "gide:stent+10mm"], "no device `gide`"),
        (&["--reach", "guide:stnt+10mm"], "is no place"),
        (&["--keep", "gide"], "no device `gide`"),
        (&["--cabinet", "/nowhere"], "cannot be read as a folder"),
        (&["--cabinet", "vessels"], "left-tandem-type-2"),
        (&["--best", "0"], "--best"),
        (&["no-such-scene.ron"], "no-such-scene.ron"),
    ] {
        let told = run(arguments, 200);
        let words = String::from_utf8(told.stderr).unwrap();
        assert_eq!(told.status.code(), Some(2), "{arguments:?}: {words}");
        assert!(words.contains(said), "{arguments:?}: {words}");
        assert!(told.stdout.is_empty(), "{arguments:?}");
    }
}

#[test]
fn cli_nothing_that_does_it_ends_with_one() {
    let keep_all = [
        "--keep",
        "guide",
        "--keep",
        "aspiration",
        "--keep",
        "microcatheter",
        "--keep",
        "sheath",
    ];
    let scene = ["embedded:scenes/too-short.ron", "--ruler"];
    let told = run(&[&scene[..], &FEW, &keep_all].concat(), 80);
    let text = String::from_utf8(told.stdout).unwrap();
    assert_eq!(told.status.code(), Some(1), "{text}");
    assert!(text.contains("none does this by ruler"), "{text}");
}

#[test]
fn look_a_choice_never_tells_the_best_without_how_sure() {
    let scene = load(DEFAULT);
    let found = chosen(&scene, &small_cabinet(), &by_ruler());
    let text = choice_text(&found, Some(2), 100);
    assert!(text.contains("The best of them, and how sure"), "{text}");
    let rows = text
        .lines()
        .filter(|line| line.trim_start().starts_with(['1', '2']));
    // a range, not a point
    assert!(rows.clone().any(|line| line.contains('–')), "{text}");
}
