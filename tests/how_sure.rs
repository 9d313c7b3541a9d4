//! How sure margins are: derivatives against lengths changed one by one, spreads against sums by hand, words as read.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use crate::support::scenes::SCENES;
use nestline::data::{Edit, LoadedScene, Source, load_scene_with};
use nestline::geometry::TrackSettings;
use nestline::rehearsal::{Chance, HowSure, MarginKind, Outcome, outcome_of, walk};

/// A length is changed by so much, mm.
const BY_MM: f64 = 2.0;

fn load(scene: &str, edits: &[String]) -> Option<LoadedScene> {
    let source = Source::from_argument(format!("embedded:scenes/{scene}.ron"));
    let edits: Vec<Edit> = edits.iter().map(|e| Edit::parse(e).unwrap()).collect();
    load_scene_with(&source, &TrackSettings::default(), &edits).ok()
}

fn ruled(loaded: &LoadedScene) -> Outcome {
    outcome_of(&loaded.plan, &walk(&loaded.plan))
}

/// What a device has to spare after a step.
fn margin_mm(outcome: &Outcome, step: usize, device: &str) -> Option<f64> {
    let row = outcome.steps.iter().find(|s| s.number == step)?;
    let device = row.devices.iter().find(|d| d.name == device)?;
    Some(device.margin_mm)
}

/// Every length of a scene that `--set` changes, with its value, mm.
fn lengths(loaded: &LoadedScene) -> Vec<(String, f64)> {
    let vessel = loaded.plan.lengths.iter();
    let vessel = vessel.map(|length| (length.field.clone(), length.value_mm));
    let devices = loaded.plan.devices.iter();
    let devices = devices.map(|d| {
        let field = format!("{}.usable_length", d.name);
        (field, d.device.usable_length_mm)
    });
    let standoff = ("hub_standoff".to_owned(), loaded.plan.hub_standoff_mm);
    vessel.chain(devices).chain([standoff]).collect()
}

/// The book of lengths says by how much each margin grows with each length; the scene with that length changed has to
/// agree, whether it counts or not.
#[test]
fn exact_margins_grow_with_lengths_as_the_book_says() {
    let (mut held, mut counted) = (0, 0);
    for scene in [SCENES[0], SCENES[2], SCENES[3]] {
        let base = load(scene, &[]).unwrap();
        let outcome = ruled(&base);
        for (field, value_mm) in lengths(&base) {
            let changed = [-BY_MM, BY_MM].map(|by_mm| {
                let edit = format!("{field}={:.3}mm", value_mm + by_mm);
                load(scene, &[edit]).map(|loaded| ruled(&loaded))
            });
            let [Some(shorter), Some(longer)] = changed else {
                continue;
            };
            let told = outcome.sure.margins.iter();
            for margin in told.filter(|m| matches!(m.kind, MarginKind::Reach | MarginKind::Hold)) {
                let at = |o: &Outcome| margin_mm(o, margin.step, &margin.device);
                let (Some(low_mm), Some(high_mm)) = (at(&shorter), at(&longer)) else {
                    continue;
                };
                let found = (high_mm - low_mm) / (2.0 * BY_MM);
                let mut fields = margin.causes.iter().flat_map(|c| &c.fields);
                let book = fields.find(|f| f.field == field).map_or(0.0, |f| f.by);
                assert!(
                    (found - book).abs() < 0.12,
                    "{scene}, {} at step {} by {field}: {found} of each mm, the book says {book}",
                    margin.device,
                    margin.step
                );
                held += 1;
                counted += usize::from(book != 0.0);
            }
        }
    }
    assert!(
        held > 300 && counted > 80,
        "{held} of which {counted} count"
    );
}

/// The guide enters at the groin and ends in the neck: it has all of the way in it. What goes in through a guide that is
/// parked at a landmark has nothing of it.
#[test]
fn exact_who_goes_in_through_a_parked_guide_has_nothing_of_the_way_in_it() {
    let outcome = ruled(&load(SCENES[0], &[]).unwrap());
    let way = |device: &str| {
        let margin = outcome.sure.reach(device).unwrap();
        let cause = margin.causes.iter();
        let found = cause
            .flat_map(|c| &c.fields)
            .find(|f| f.field.starts_with("femoral."));
        found.map_or(0.0, |f| f.by)
    };
    assert!((way("guide") + 1.0).abs() < 1e-12);
    assert!(way("aspiration").abs() < 1e-12);
    assert!(way("microcatheter").abs() < 1e-12);
}

/// 603 ± 41 mm from the groin to the arch (100 elderly CTs, Sci Rep 2020, doi 10.1038/s41598-020-70364-9) is what the
/// default's guide hangs on, and measuring it would settle the plan.
#[test]
fn published_the_default_hangs_on_the_way_from_groin_to_arch() {
    let sure = ruled(&load(SCENES[0], &[]).unwrap()).sure;
    let cause = &sure.causes[0];
    assert_eq!(cause.what, "the groin-to-arch length");
    assert!((cause.spread_mm - 41.0).abs() < 0.5, "{}", cause.spread_mm);
    assert!((cause.value_mm - 603.5).abs() < 4.0, "{}", cause.value_mm);
    let short = sure.short.unwrap();
    assert!(
        short.from < short.usual && short.usual < short.to,
        "{short:?}"
    );
    assert!(cause.short_if_measured < 0.3 * short.usual, "{cause:?}");
    let guide = sure.reach("guide").unwrap();
    let parts: f64 = guide.causes.iter().map(|c| c.spread_mm.powi(2)).sum();
    assert!((guide.spread_mm - parts.sqrt()).abs() < 1e-9);
}

/// Measured to a few millimetres, the same way leaves the chance that was told for it.
#[test]
fn exact_a_measured_way_leaves_what_was_told_for_it() {
    let before = ruled(&load(SCENES[0], &[]).unwrap()).sure;
    let base = load(SCENES[0], &[]).unwrap();
    let parts = base
        .plan
        .lengths
        .iter()
        .filter(|l| l.field.starts_with("femoral."));
    let edits: Vec<String> = parts
        .map(|l| format!("{}={}mm", l.field, l.value_mm))
        .collect();
    assert_eq!(edits.len(), 4);
    let after = ruled(&load(SCENES[0], &edits).unwrap()).sure;
    let (short, told) = (
        after.short.unwrap().usual,
        before.causes[0].short_if_measured,
    );
    // four readings of 4 to 7 mm each are not one of 5: twice the chance at most, a quarter of what it was
    assert!(
        short < before.short.unwrap().usual / 2.0 && short >= told,
        "{short}, {told}"
    );
}

#[test]
fn property_every_scene_is_told_a_chance_between_its_bounds() {
    for scene in SCENES {
        let sure: HowSure = ruled(&load(scene, &[]).unwrap()).sure;
        let all = sure.margins.iter().map(|m| m.short).chain(sure.short);
        for Chance { usual, from, to } in all {
            assert!(from <= usual && usual <= to, "{scene}: {from} {usual} {to}");
            assert!(
                (0.0..=1.0).contains(&from) && (0.0..=1.0).contains(&to),
                "{scene}"
            );
        }
        // the chance that any is short is no less than that of each
        let any = sure.short.unwrap().usual;
        let breaking = sure
            .margins
            .iter()
            .filter(|m| m.kind != MarginKind::Overlap);
        let most = breaking.map(|m| m.short.usual).fold(0.0, f64::max);
        assert!(any >= most - 3e-3, "{scene}: {any} of any, {most} of one");
    }
}

#[test]
fn look_chances_are_told_with_no_more_digits_than_are_known() {
    let words = |usual: f64, from: f64, to: f64| Chance { usual, from, to }.in_words();
    assert_eq!(words(0.22, 0.17, 0.29), "about 1 of 5 (17–29 of 100)");
    assert_eq!(words(0.03, 0.012, 0.07), "about 3 of 100 (1–7 of 100)");
    assert_eq!(words(0.0001, 0.0, 0.004), "fewer than 1 of 100");
    assert_eq!(words(0.999, 0.995, 1.0), "more than 99 of 100");
    assert_eq!(words(0.52, 0.40, 0.61), "about 1 of 2 (40–61 of 100)");
}

/// A margin stands on one line of a terminal of 80 characters, with its spread and its cause.
#[test]
fn look_a_margin_is_one_line() {
    for scene in SCENES {
        let outcome = ruled(&load(scene, &[]).unwrap());
        for margin in &outcome.sure.margins {
            let line = format!("  {}: {}", margin.called(), margin.line());
            let long = margin.causes.is_empty() || margin.short.to < 0.005;
            assert!(line.chars().count() <= 80 || long, "{scene}: {line}");
        }
    }
}
