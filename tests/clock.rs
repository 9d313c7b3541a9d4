//! The clock: spreads against closed forms, resources, the retriever's wait, refusals.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a helper that fails fails the test; what was measured is shown"
)]

use nestline::data::{Edit, LoadedScene, Rendering, Source, default_durations, load_scene_with};
use nestline::geometry::TrackSettings;
use nestline::procedure::{
    Action, Chances, Choices, Clock, Durations, Load, Percentiles, Plan, Sampling, Spread, Step,
    Times,
};
use nestline::rehearsal::{time, walk};

const SCENE: &str = "embedded:scenes/left-tandem-retriever-first.ron";

fn loaded(edits: &[&str]) -> LoadedScene {
    let edits: Vec<Edit> = edits.iter().map(|e| Edit::parse(e).unwrap()).collect();
    load_scene_with(
        &Source::from_argument(SCENE),
        &TrackSettings::default(),
        &edits,
    )
    .unwrap_or_else(|e| panic!("{}", e.render(Rendering::default())))
}

fn spread(least: f64, usual: f64, most: f64) -> Spread {
    Spread::try_from((least, usual, most)).unwrap()
}

/// The default scene with another script.
fn scripted(script: Vec<Step>) -> (Plan, Durations) {
    let LoadedScene {
        plan, durations, ..
    } = loaded(&[]);
    (Plan { script, ..plan }, durations)
}

fn expected(plan: &Plan, table: &Durations) -> Times {
    let clock = Clock::new(plan, table, &[], &walk(plan)).unwrap();
    clock.times(&clock.expected())
}

#[test]
fn exact_triangle() {
    // Quantiles, mean and variance of the triangular distribution on 0, 3, 12 by hand: its
    // distribution function is t^2/36 up to 3 and 1 - (12-t)^2/108 beyond.
    let t = spread(0.0, 3.0, 12.0);
    for (value, share) in [
        (0.0, 0.0),
        (1.5, 0.0625),
        (2.4, 0.16),
        (3.0, 0.25),
        (6.0, 2.0 / 3.0),
        (12.0, 1.0),
    ] {
        let found = t.quantile(share);
        assert!(
            (found - value).abs() < 1e-12,
            "{share}: {found} against {value}"
        );
    }
    assert!((t.mean() - 5.0).abs() < 1e-12, "{}", t.mean());
    assert!(
        (t.variance() - 117.0 / 18.0).abs() < 1e-12,
        "{}",
        t.variance()
    );
    let fixed = Spread::fixed(4.0).unwrap();
    assert!(
        (fixed.quantile(0.3) - 4.0).abs() < 1e-12,
        "no spread, no quantiles"
    );
    for bad in [
        (-1.0, 0.0, 1.0),
        (2.0, 1.0, 3.0),
        (0.0, 2.0, 1.0),
        (0.0, f64::NAN, 1.0),
    ] {
        assert!(Spread::try_from(bad).is_err(), "{bad:?} is no spread");
    }
}

/// Distribution function of the sum of `n` values spread evenly over 0 to 1 (Irwin 1927, Hall 1927).
fn even_sum_below(x: f64, n: i32) -> f64 {
    let factorial = |k: i32| (1..=k).map(f64::from).product::<f64>();
    let mut sum = 0.0;
    for k in 0..=n {
        if f64::from(k) > x {
            break;
        }
        let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
        sum += sign / (factorial(k) * factorial(n - k)) * (x - f64::from(k)).powi(n);
    }
    sum
}

/// How often a share `p` of `n` draws is missed by more than this: once in 15,000.
fn four_sigma(p: f64, n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "thousands")]
    let n = n as f64;
    4.0 * (p * (1.0 - p) / n).sqrt()
}

const COURSES: usize = 20_000;

fn total(plan: &Plan, table: &Durations) -> Percentiles {
    let sampling = Sampling {
        courses: COURSES,
        seed: 3,
        threads: 2,
    };
    let clock = Clock::new(plan, table, &[], &walk(plan)).unwrap();
    clock.sample(&sampling).total.unwrap()
}

#[test]
fn exact_percentiles_of_a_sum() {
    // A symmetric triangle on 0 to 60 s is the sum of two values even on 0 to 30 s: six of them in a
    // row are the sum of twelve.
    let step = Step {
        takes_s: Some(spread(0.0, 30.0, 60.0)),
        ..Step::new(Action::Wait { minutes: 9.0 })
    };
    let (plan, table) = scripted(vec![step; 6]);
    let found = total(&plan, &table);
    for (p, value_s) in [(0.1, found.p10_s), (0.5, found.p50_s), (0.9, found.p90_s)] {
        let exact = even_sum_below(value_s / 30.0, 12);
        assert!(
            (exact - p).abs() < four_sigma(p, COURSES),
            "{value_s} s is the {exact} quantile, not the {p} one"
        );
    }
    let mean_s = expected(&plan, &table).total_s.unwrap();
    assert!((mean_s - 180.0).abs() < 1e-9, "means add up: {mean_s}");
}

#[test]
fn exact_percentiles_of_two_side_by_side() {
    // Two independent steps side by side: both are over by t with the product of the chances.
    let takes_s = Some(spread(0.0, 30.0, 60.0));
    let clip = Step {
        takes_s,
        ..Step::new(Action::Attach {
            part: "clip".into(),
            rail: "wire".into(),
        })
    };
    let sheath = Step {
        takes_s,
        ..Step::new(Action::Insert {
            device: "sheath".into(),
            through: None,
            over: None,
            to: nestline::procedure::Where::Hub,
        })
    };
    // the puncture takes the only assistant, so a second one fixes the clip meanwhile
    let (plan, mut table) = scripted(vec![clip, sheath]);
    table.team.assistants = 2;
    let found = total(&plan, &table);
    for (p, value_s) in [(0.1, found.p10_s), (0.5, found.p50_s), (0.9, found.p90_s)] {
        let exact = even_sum_below(value_s / 30.0, 2).powi(2);
        assert!(
            (exact - p).abs() < four_sigma(p, COURSES),
            "{value_s} s is the {exact} quantile, not the {p} one"
        );
    }
    // with one assistant they follow each other: the sum of four even values
    table.team.assistants = 1;
    let found = total(&plan, &table);
    let exact = even_sum_below(found.p50_s / 30.0, 4);
    assert!(
        (exact - 0.5).abs() < four_sigma(0.5, COURSES),
        "one assistant: the median is the {exact} quantile of the sum"
    );
}

#[test]
fn property_the_same_bits_for_any_number_of_threads() {
    let LoadedScene {
        plan, durations, ..
    } = loaded(&[]);
    let clock = Clock::new(&plan, &durations, &[], &walk(&plan)).unwrap();
    let drawn = |threads, seed| {
        clock.courses(&Sampling {
            courses: 101,
            seed,
            threads,
        })
    };
    let one = drawn(1, 9);
    for threads in [0, 2, 3, 7, 200] {
        assert_eq!(one, drawn(threads, 9), "{threads} threads");
    }
    assert_ne!(one, drawn(1, 10), "another seed, other courses");
    assert_eq!(
        one[..50],
        clock.courses(&Sampling {
            courses: 50,
            seed: 9,
            threads: 1
        }),
        "a course does not depend on how many follow"
    );
}

#[test]
fn property_no_hand_is_in_two_places() {
    for (name, choices) in Choices::NAMED {
        let LoadedScene {
            plan, durations, ..
        } = loaded(&[]);
        let plan = plan.with_strategy(&choices).unwrap();
        let clock = Clock::new(&plan, &durations, &[], &walk(&plan)).unwrap();
        let course = clock.expected();
        let network = clock.network();
        assert!(
            course.total_s() >= network.critical_path().end_s - 1e-9,
            "{name}: nothing beats the critical path"
        );
        let alone_s: f64 = network.durations_s().iter().sum();
        assert!(
            course.total_s() < alone_s,
            "{name}: something runs side by side"
        );
        for (r, resource) in network.resources().iter().enumerate() {
            for &at_s in &course.start_s {
                let used: usize = network
                    .activities()
                    .iter()
                    .enumerate()
                    .filter(|(i, _)| course.start_s[*i] <= at_s && course.end_s[*i] > at_s)
                    .flat_map(|(_, a)| &a.needs)
                    .filter(|need| need.resource == r)
                    .map(|need| need.units)
                    .sum();
                assert!(
                    used <= resource.units,
                    "{name}: {used} of {} at {at_s} s",
                    resource.name
                );
            }
        }
        // a device moves only once it is ready, and two steps never move the same one together
        for (i, activity) in network.activities().iter().enumerate() {
            for &before in &activity.after {
                assert!(
                    course.start_s[i] >= course.end_s[before] - 1e-9,
                    "{name}: {} before {}",
                    activity.name,
                    network.activities()[before].name
                );
            }
        }
    }
}

#[test]
fn exact_a_wait_longer_than_the_work_delays_by_the_difference() {
    let work_s = expected(&loaded(&["dwell=0"]).plan, &loaded(&["dwell=0"]).durations);
    let sat_s = work_s.retriever_sat_s.unwrap();
    assert!(
        sat_s > 300.0,
        "the work itself takes longer than 5 min: {sat_s}"
    );
    for dwell_s in [0.0, 0.5 * sat_s, sat_s, sat_s + 60.0, sat_s + 200.0] {
        let LoadedScene {
            plan, durations, ..
        } = loaded(&[&format!("dwell={dwell_s}")]);
        let times = expected(&plan, &durations);
        let late_s = times.reperfusion_s.unwrap() - work_s.reperfusion_s.unwrap();
        let exact_s = (dwell_s - sat_s).max(0.0);
        assert!(
            (late_s - exact_s).abs() < 1e-6,
            "a wait of {dwell_s} s delays by {late_s} s, not {exact_s} s"
        );
        assert!(
            times.retriever_sat_s.unwrap() >= dwell_s - 1e-9,
            "the least wait is kept"
        );
    }
}

#[test]
fn exact_force_adds_its_seconds() {
    let LoadedScene {
        plan, durations, ..
    } = loaded(&[]);
    let sheath_pushed = [Load {
        hub_force_n: Some(2.0),
    }];
    let clock = Clock::new(&plan, &durations, &sheath_pushed, &walk(&plan)).unwrap();
    let per_n = durations.difficulty.s_per_newton.value.mean();
    let pace = durations.pace.value.mean();
    let without_s = expected(&plan, &durations).total_s.unwrap();
    let with_s = clock.expected().total_s();
    assert!(
        (with_s - without_s - 2.0 * per_n * pace).abs() < 1e-6,
        "2 N at the first step: {without_s} s, then {with_s} s"
    );
}

#[test]
fn property_turning_and_length_cost_time() {
    let time_of = |edits: &[&str]| {
        let LoadedScene {
            plan, durations, ..
        } = loaded(edits);
        expected(&plan, &durations).retriever_open_s.unwrap()
    };
    let base_s = time_of(&[]);
    assert!(
        time_of(&["common_carotid.length=150mm"]) > base_s,
        "a longer way takes longer"
    );
    assert!(
        time_of(&["durations.difficulty.s_per_right_angle_leading.value=20"]) > base_s,
        "bends take time"
    );
    assert!(
        time_of(&["durations.speed_mm_per_s.covered.value=200"]) < base_s,
        "speed saves time"
    );
    assert!(
        time_of(&["pace=1.5"]) > base_s,
        "a slow operator takes longer"
    );
}

#[test]
fn property_unknown_labels_and_circles_are_refused() {
    let refused = |change: &dyn Fn(&mut Vec<Step>)| {
        let LoadedScene {
            mut plan,
            durations,
            ..
        } = loaded(&[]);
        change(&mut plan.script);
        Clock::new(&plan, &durations, &[], &walk(&plan))
            .unwrap_err()
            .to_string()
    };
    let text = refused(&|script| {
        script[0].label = Some("sheath-in".into());
        script[3].after = vec!["sheat-in".into()];
    });
    assert!(text.contains("did you mean `sheath-in`?"), "{text}");
    let text = refused(&|script| {
        script[6].label = Some("late".into());
        script[5].after = vec!["late".into()];
    });
    assert!(text.contains("wait for each other"), "{text}");
    assert!(text.contains("Wire out"), "the circle is named: {text}");
}

#[test]
fn exact_declared_waits_are_kept() {
    let LoadedScene {
        mut plan,
        durations,
        ..
    } = loaded(&[]);
    let clip = plan
        .script
        .iter()
        .position(|s| matches!(s.act, Action::Attach { .. }))
        .unwrap();
    let before = Clock::new(&plan, &durations, &[], &walk(&plan)).unwrap();
    plan.script[clip - 1].label = Some("lumen-shown".into());
    plan.script[clip].after = vec!["lumen-shown".into()];
    let after = Clock::new(&plan, &durations, &[], &walk(&plan)).unwrap();
    let start_s = |clock: &Clock, step: usize| {
        let i = clock
            .activities()
            .iter()
            .position(|a| a.step == Some(step))
            .unwrap();
        let course = clock.expected();
        (course.start_s[i], course.end_s[i])
    };
    assert!(
        start_s(&before, clip).0 < start_s(&before, clip - 1).1,
        "without the wait the tool is put on earlier"
    );
    assert!(
        start_s(&after, clip).0 >= start_s(&after, clip - 1).1 - 1e-9,
        "with it, later"
    );
}

/// Where the default plan lands. The table is fitted to the first two: that they agree shows only
/// that the fit was made. The rest are printed beside what is published, and agree badly where real
/// cases wait and search.
#[test]
fn published_the_default_lands_where_its_table_was_fitted_to() {
    let LoadedScene {
        plan, durations, ..
    } = loaded(&[]);
    let report = time(&plan, &durations, &[], &Sampling::default()).unwrap();
    for anchor in &report.anchors {
        println!(
            "{}: {:.1} min; known: {} ({}){}",
            anchor.what,
            anchor.expected_s / 60.0,
            anchor.known,
            anchor.source,
            if anchor.calibrated {
                "; calibrated"
            } else {
                ""
            }
        );
    }
    let open_min = report.expected.open_to_reperfusion_s.unwrap() / 60.0;
    assert!(
        (6.0..=8.0).contains(&open_min),
        "6 to 8 min, found {open_min}"
    );
    let calibrated: Vec<&str> = report
        .anchors
        .iter()
        .filter(|a| a.calibrated)
        .map(|a| a.what.as_str())
        .collect();
    assert!(
        calibrated.contains(&"retriever opened to reperfusion"),
        "what is fitted says so: {calibrated:?}"
    );
    assert!(
        report.method.contains("not measurements"),
        "{}",
        report.method
    );
}

#[test]
fn property_every_default_names_its_source() {
    let table = default_durations().unwrap();
    let value = serde_json::to_value(&table).unwrap();
    let mut sources = Vec::new();
    fn gather<'a>(value: &'a serde_json::Value, sources: &mut Vec<&'a str>) {
        match value {
            serde_json::Value::Object(fields) => {
                for (name, value) in fields {
                    if name == "source" {
                        sources.extend(value.as_str());
                    }
                    gather(value, sources);
                }
            }
            serde_json::Value::Array(values) => values.iter().for_each(|v| gather(v, sources)),
            _ => {}
        }
    }
    gather(&value, &mut sources);
    assert_eq!(
        sources.len(),
        48,
        "30 kinds of work, 8 speeds, 4 difficulties, wait and pace, 4 chances"
    );
    for source in sources {
        let honest = [
            "from memory",
            "common practice",
            "assumed",
            "calibrated",
            "script",
            "(20",
            "derived",
        ];
        assert!(
            honest.iter().any(|word| source.contains(word)),
            "`{source}` is no source"
        );
    }
}

#[test]
fn property_bad_tables_are_refused_at_their_place() {
    for (edit, words) in [
        (
            "durations.handling.inflate.takes_s=(-3, 1, 2)",
            "is outside 0 to 86400",
        ),
        (
            "durations.handling.inflate.takes_s=(5, 1, 2)",
            "does not rise",
        ),
        (
            "durations.handling.inflate.assistants=4",
            "needs 4 assistants",
        ),
        ("durations.team.hands=1", "needs 2 hands"),
        (
            "durations.speed_mm_per_s.back.value=0",
            "is outside 0.1 to 10000",
        ),
        ("pace=0", "is outside 0.01 to 10"),
    ] {
        let error = load_scene_with(
            &Source::from_argument(SCENE),
            &TrackSettings::default(),
            &[Edit::parse(edit).unwrap()],
        )
        .unwrap_err();
        let text = error.render(Rendering::default());
        assert!(text.contains(words), "{edit}: {text}");
        assert!(
            text.contains("defaults.ron with"),
            "the file and the change are named: {text}"
        );
    }
}

// --- tries that fail ---

/// The default plan on the clock with other chances.
fn with_chances(change: impl Fn(&mut Chances)) -> Clock {
    let LoadedScene {
        plan,
        mut durations,
        ..
    } = loaded(&[]);
    change(durations.chances.as_mut().unwrap());
    Clock::new(&plan, &durations, &[], &walk(&plan)).unwrap()
}

fn courses(courses: usize) -> Sampling {
    Sampling {
        courses,
        threads: 2,
        ..Sampling::default()
    }
}

/// Nothing fails but what a test lets fail.
fn all_goes_well(chances: &mut Chances) {
    chances.retriever_pass.share = 1.0;
    chances.stent_needs_balloon.share = 0.0;
    chances.groin_given_up.share = 0.0;
}

#[test]
fn exact_passes_are_made_by_their_chance() {
    // at most four of 0.302 each: 1 + q + q^2 + q^3 on average
    let q: f64 = 1.0 - 0.302;
    let expected = 1.0 + q + q * q + q * q * q;
    let found = with_chances(|_| ()).disturbed(&courses(20_000)).passes_mean;
    // the mean of 20,000 numbers that spread by 1.25
    assert!(
        (found - expected).abs() < 0.04,
        "{found} against {expected}"
    );
}

#[test]
fn exact_courses_are_undisturbed_where_nothing_fails() {
    let clock = with_chances(all_goes_well);
    let sampling = courses(300);
    let disturbed = clock.disturbed_courses(&sampling);
    for (plain, (again, passes)) in clock.courses(&sampling).iter().zip(&disturbed) {
        assert_eq!(plain, again, "the same course");
        assert!((passes - 1.0).abs() < 1e-12, "{passes}");
    }
}

#[test]
fn exact_each_further_pass_takes_as_long_as_the_first() {
    let passes = |most: usize| {
        with_chances(|chances| {
            all_goes_well(chances);
            chances.retriever_pass.share = 0.0;
            chances.most_passes = most;
        })
    };
    let sampling = courses(50);
    let reperfused = |most: usize| -> Vec<f64> {
        let drawn = passes(most).disturbed_courses(&sampling);
        drawn.iter().map(|c| c.0.reperfusion_s.unwrap()).collect()
    };
    let (one, two, three) = (reperfused(1), reperfused(2), reperfused(3));
    for i in 0..one.len() {
        let once_s = two[i] - one[i];
        // the least wait of five minutes, crossing the clot, opening and pulling
        assert!(once_s > 400.0 && once_s < 1500.0, "course {i}: {once_s} s");
        assert!((three[i] - two[i] - once_s).abs() < 1e-6, "course {i}");
    }
}

#[test]
fn exact_a_stent_that_needs_a_balloon_and_a_groin_given_up_cost_their_work() {
    let LoadedScene { durations, .. } = loaded(&[]);
    let h = &durations.handling;
    let mean = |works: &[&nestline::procedure::Work]| -> f64 {
        works.iter().map(|w| w.takes_s.mean()).sum()
    };
    let balloon_s = mean(&[
        &h.remove,
        &h.load_rapid,
        &h.inflate,
        &h.deflate,
        &h.remove,
        &h.load_rapid,
    ]);
    let access_s = mean(&[&h.puncture, &h.find_carotid]);
    let late = |change: fn(&mut Chances), of: fn(&Times) -> Option<f64>| -> (f64, f64) {
        let clock = with_chances(|chances| {
            all_goes_well(chances);
            change(chances);
        });
        let sampling = courses(200);
        let disturbed = clock.disturbed_courses(&sampling);
        let late = clock
            .courses(&sampling)
            .iter()
            .zip(&disturbed)
            .map(|(a, b)| of(&b.0).unwrap() - of(a).unwrap())
            .collect::<Vec<_>>();
        (
            late.iter().copied().fold(f64::INFINITY, f64::min),
            late.iter().copied().fold(0.0, f64::max),
        )
    };
    // the pace of a course, 0.8 to 1.2, is on it
    let within = |(least, most): (f64, f64), mean_s: f64| {
        assert!(
            least >= 0.8 * mean_s - 1e-6 && most <= 1.2 * mean_s + 1e-6,
            "{least} to {most} for {mean_s}"
        );
    };
    within(
        late(|c| c.groin_given_up.share = 1.0, |t| t.guide_in_neck_s),
        access_s,
    );
    within(
        late(|c| c.stent_needs_balloon.share = 1.0, |t| t.neck_open_s),
        balloon_s,
    );
}

#[test]
fn published_failed_tries_bring_the_time_nearer_to_a_series() {
    // Sagga et al.: 80.3 min from puncture to reperfusion, 14 to 180, in 106 patients
    let clock = with_chances(|_| ());
    let undisturbed_min = clock.times(&clock.expected()).reperfusion_s.unwrap() / 60.0;
    let disturbed = clock.disturbed(&courses(4000));
    let mean_min = disturbed.reperfusion_mean_s.unwrap() / 60.0;
    println!(
        "undisturbed {undisturbed_min:.1} min, with failed tries {mean_min:.1} min, published 80.3"
    );
    assert!(
        (80.3 - mean_min).abs() < (80.3 - undisturbed_min).abs(),
        "{mean_min} and {undisturbed_min}"
    );
    let p = disturbed.spread.reperfusion.unwrap();
    assert!(p.p10_s > 60.0 * 14.0 && p.p90_s < 60.0 * 180.0, "{p:?}");
}

#[test]
fn exact_a_table_without_chances_tells_undisturbed_courses_only() {
    let LoadedScene {
        plan,
        mut durations,
        ..
    } = loaded(&[]);
    let report = |table: &Durations| time(&plan, table, &[], &courses(50)).unwrap();
    assert!(
        report(&durations).disturbed.is_some(),
        "chances are in the table"
    );
    durations.chances = None;
    let bare = report(&durations);
    assert!(
        bare.disturbed.is_none() && bare.anchors.iter().all(|a| a.disturbed_s.is_none()),
        "none"
    );
}
