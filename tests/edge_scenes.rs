//! Stents, retrievers and edges in whole scenes: what case reports describe must come out on the
//! risky side, and the sweep must end where it should. Lengths are ruled.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands"
)]

use crate::support::straight::name_of;
use nestline::data::{self, Source};
use nestline::device::Payload;
use nestline::procedure::reason::Lumen;
use nestline::procedure::{
    Action, CentreLine, EdgeKind, Meets, Plan, Reason, Severity, Topic, Where,
};
use nestline::rehearsal::{EdgeRow, Outcome, Verdict, rehearse_with};

fn plan(scene: &str) -> Plan {
    let path = format!("{}/scenes/{scene}.ron", env!("CARGO_MANIFEST_DIR"));
    data::read_scene(&Source::from_argument(&path)).unwrap()
}

fn rehearsed(plan: &Plan) -> Outcome {
    rehearse_with(plan, &mut CentreLine).unwrap()
}

fn default_scene() -> Plan {
    plan("left-tandem-retriever-first")
}

fn struts(outcome: &Outcome, edge: EdgeKind) -> &EdgeRow {
    outcome
        .edges
        .iter()
        .find(|e| e.meets == Meets::Struts && e.edge == edge)
        .unwrap_or_else(|| panic!("no open retriever at {edge:?}"))
}

/// Another device under a name of the stack.
fn exchange(plan: &mut Plan, name: &str, file: &str) {
    let path = format!("{}/scenes/devices/{file}.ron", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap();
    let options =
        ron::Options::default().with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME);
    let index = plan.device_index(name).unwrap();
    plan.devices[index].device = options.from_str(&text).unwrap();
}

/// Moves the guide to another distance beyond the stent before the pull.
fn guide_beyond(plan: &mut Plan, mm: f64) {
    for step in &mut plan.script {
        if let Action::Advance { device, to, .. } = &mut step.act
            && device == "guide"
            && let Where::Past(place, by_mm) = to
            && place == "stent.distal"
        {
            *by_mm = mm;
        }
    }
}

#[test]
fn exact_the_default_plan_is_shielded_and_says_what_else_would_be() {
    let outcome = rehearsed(&default_scene());
    assert_eq!(outcome.verdict, Verdict::Passes, "{:?}", outcome.headline);
    let row = struts(&outcome, EdgeKind::Upper);
    assert!(
        row.shielded && row.covered_by.as_deref() == Some("guide"),
        "{row:?}"
    );
    assert!(
        (row.cover_mm.unwrap() - 12.0).abs() < 1e-6,
        "as the script puts it"
    );
    let loaded_mm = row.cover_under_load_mm.unwrap();
    assert!(
        (row.cover_mm.unwrap() - row.fall_back_mm - loaded_mm).abs() < 1e-9,
        "{row:?}"
    );
    assert!(
        row.probability < 0.05 && row.probability_bare > 0.5,
        "{row:?}"
    );
    assert_eq!(
        outcome.counterfactuals.len(),
        1,
        "{:?}",
        outcome.counterfactuals
    );
    let otherwise = &outcome.counterfactuals[0];
    assert!(
        otherwise.contains("With the guide below the stent") && otherwise.contains("catches"),
        "{otherwise}"
    );
    let caution = outcome
        .numbers
        .iter()
        .any(|l| l.contains("no clinical rate"));
    assert!(
        caution,
        "the probability is qualified: {:?}",
        outcome.numbers
    );
    for row in &outcome.edges {
        assert!(row.placed_by_rods, "an equilibrium at every edge: {row:?}");
    }
}

#[test]
fn published_fall_back_into_the_common_carotid_catches() {
    // Malik et al. (2023), Interv. Neuroradiol., doi 10.1177/15910199231183106: retriever and far
    // edge of the stent tangled after the stack had fallen back into the common carotid.
    let outcome = rehearsed(&plan("guide-below-stent"));
    assert_eq!(outcome.verdict, Verdict::Fails, "{:?}", outcome.headline);
    let row = struts(&outcome, EdgeKind::Upper);
    assert!(!row.shielded && row.clearance_mm < -0.05, "{row:?}");
    assert!(row.interval[0] > 0.5, "more often than not: {row:?}");
    let failure = outcome
        .steps
        .iter()
        .flat_map(|s| &s.findings)
        .find(|f| f.severity == Severity::Failure && f.topic == Topic::StentEdge);
    let help = failure.and_then(|f| f.help.clone()).unwrap_or_default();
    assert!(
        help.contains("the guide ") && help.contains(" mm further up"),
        "{help}"
    );
}

#[test]
fn published_open_cells_wedge_a_bare_retriever() {
    // Rho et al. (2017), J. Cerebrovasc. Endovasc. Neurosurg. 19:207: retrievers loaded with clot
    // wedged in open-cell stents. A braid has no such cells.
    let mut open = plan("guide-below-stent");
    exchange(&mut open, "stent", "stent-cut-open-8x40-6f-rx");
    let outcome = rehearsed(&open);
    let cells = struts(&outcome, EdgeKind::Cells);
    assert!(!cells.shielded && cells.probability > 0.5, "{cells:?}");
    let braided = rehearsed(&plan("guide-below-stent"));
    assert!(
        braided.edges.iter().all(|e| e.edge != EdgeKind::Cells),
        "a braid has none"
    );
    // longer cells stand further into the lumen
    assert!(
        struts(&outcome, EdgeKind::Upper).rim_gap_mm > struts(&braided, EdgeKind::Upper).rim_gap_mm,
        "cells of 4 mm against diamonds of 2 mm"
    );
}

#[test]
fn property_the_sweep_falls_with_the_guides_distance() {
    let outcome = rehearsed(&default_scene());
    let row = struts(&outcome, EdgeKind::Upper);
    let mut last = 2.0;
    for point in &row.sweep {
        assert!(point.probability <= last, "{:?}", row.sweep);
        last = point.probability;
    }
    let first = row.sweep[0];
    assert!(
        (first.probability - row.probability_bare).abs() < 1e-12,
        "{first:?}"
    );
    assert!(last < 0.01, "{last}");
    // the same draws in rehearsals of their own
    for mm in [4.0, 20.0] {
        let mut moved = default_scene();
        guide_beyond(&mut moved, mm);
        let own = rehearsed(&moved);
        let at = struts(&own, EdgeKind::Upper);
        let swept = row
            .sweep
            .iter()
            .find(|p| (p.cover_mm - mm).abs() < 1e-9)
            .unwrap();
        assert!(
            (at.probability - swept.probability).abs() < 1e-12,
            "{mm} mm: {} against {}",
            at.probability,
            swept.probability
        );
    }
}

#[test]
fn property_a_braid_is_longer_where_the_vessel_is_narrower() {
    // (scene, length at rest): deployed lengths in three anatomies, and the ends the script wants.
    for scene in [
        "left-tandem-retriever-first",
        "right-radial",
        "kinked-neck-type-3",
    ] {
        let outcome = rehearsed(&plan(scene));
        for stent in &outcome.stents {
            println!(
                "{scene}: {} {:.1} mm ({:.0} at rest), {} to {}, widest {:.2} narrowest {:.2}",
                stent.name,
                stent.length_mm,
                stent.free_length_mm,
                stent.proximal_at,
                stent.distal_at,
                stent.profile.iter().map(|p| p[1]).fold(0.0, f64::max),
                stent
                    .profile
                    .iter()
                    .map(|p| p[1])
                    .fold(f64::INFINITY, f64::min)
            );
            assert!(stent.length_mm > stent.free_length_mm, "{scene}: {stent:?}");
            let summed: f64 = stent.profile.windows(2).map(|p| p[0][0] - p[1][0]).sum();
            assert!((summed - stent.length_mm).abs() < 1e-9, "{scene}: {summed}");
            for cover in &stent.covers {
                assert!(
                    cover.before[0] < cover.stent_alone[0]
                        && cover.stent_alone[0] <= cover.after[0],
                    "{scene}: {cover:?}"
                );
            }
        }
    }
}

#[test]
fn published_bench_pulls_bracket_the_default_one() {
    // Front. Neurol. 15, 1486738 (2024): 0.24 N in the simplest model to 1.6 N in the most tortuous.
    let outcome = rehearsed(&default_scene());
    let pull = &outcome.pulls[0];
    assert!((0.24..1.6).contains(&pull.at_hub_n), "{pull:?}");
    // what is covered grows as it comes back, and ends with all of it in the guide
    let (first, last) = (&pull.cover[0], pull.cover.last().unwrap());
    assert!(first.2 > 15.0 && last.2 < 1e-9, "{:?}", pull.cover);
    assert_eq!(last.3.as_deref(), Some("guide"), "{last:?}");
}

#[test]
fn exact_suction_left_off_is_told() {
    let mut off = default_scene();
    let on = off
        .script
        .iter()
        .position(|s| matches!(&s.act, Action::SuctionOn { device } if device == "aspiration"));
    let mut late = off.script.remove(on.unwrap());
    late.say = None;
    off.script.push(late);
    let told = |plan: &Plan| {
        let outcome = rehearsed(plan);
        let mut findings = outcome.steps.iter().flat_map(|s| &s.findings);
        findings.any(|f| match &f.reason {
            Reason::Lumen(Lumen::SuctionOff { device, .. }) => device == "aspiration",
            _ => false,
        })
    };
    assert!(told(&off), "the script turns it on after the pull only");
    assert!(!told(&default_scene()), "on in time");
}

#[test]
fn property_shares_do_not_depend_on_threads() {
    let mut plan = default_scene();
    plan.rules.edge.sampling.samples = 2_000;
    let one = rehearsed(&plan);
    plan.rules.edge.sampling.threads = 3;
    assert_eq!(one.edges, rehearsed(&plan).edges, "same bits");
}

#[test]
fn exact_sizes_that_do_not_suit_are_told() {
    let told = |plan: &Plan, severity: Severity, name: &str| {
        let outcome = rehearsed(plan);
        let mut findings = outcome.steps.iter().flat_map(|s| &s.findings);
        findings.any(|f| f.severity == severity && name_of(&f.reason) == name)
    };
    let mut short = default_scene();
    let stent = short.device_index("stent").unwrap();
    if let Some(Payload::Stent(spec)) = &mut short.devices[stent].device.payload {
        spec.free_length_mm = 16.0;
    }
    assert!(
        told(&short, Severity::Failure, "leaves-bare"),
        "a stent shorter than the lesion"
    );
    let mut wide = default_scene();
    exchange(&mut wide, "retriever", "retriever-6x30-pusher-016");
    assert!(
        told(&wide, Severity::Warning, "retriever-size"),
        "a retriever wider than its vessel wants"
    );
    let mut strong = default_scene();
    for step in &mut strong.script {
        if let Action::Inflate { pressure_atm, .. } = &mut step.act {
            *pressure_atm = Some(20.0);
        }
    }
    assert!(
        told(&strong, Severity::Failure, "above-rated"),
        "a balloon above its rated pressure"
    );
}
