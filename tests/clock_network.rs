//! Networks of activities: critical path, schedules and slack against published and exhaustive
//! answers.

#![expect(
    clippy::unwrap_used,
    clippy::too_many_arguments,
    reason = "a helper that fails fails the test; trying everything carries its tables along"
)]

use crate::support::table::Table;
use nestline::procedure::{Activity, Need, Network, NetworkError, Resource, SearchStatus};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn activity(name: &str, duration_s: f64, after: &[usize], units: &[usize]) -> Activity {
    Activity {
        name: name.into(),
        duration_s,
        after: after.to_vec(),
        needs: units
            .iter()
            .enumerate()
            .filter(|(_, units)| **units > 0)
            .map(|(resource, units)| Need {
                resource,
                units: *units,
            })
            .collect(),
    }
}

fn resources(units: &[usize]) -> Vec<Resource> {
    units
        .iter()
        .enumerate()
        .map(|(i, units)| Resource {
            name: format!("resource {i}"),
            units: *units,
        })
        .collect()
}

#[test]
fn published_building_project_takes_44_weeks() {
    let table = Table::read("building_project");
    let rows: Vec<_> = table.rows(14).collect();
    let named = |name: char| {
        let found = rows.iter().position(|r| r.text("activity").contains(name));
        found.unwrap()
    };
    let network = Network::new(
        rows.iter()
            .map(|row| {
                let after = row.text("after").chars().filter(|c| *c != '-');
                let after: Vec<usize> = after.map(named).collect();
                activity(row.text("activity"), row.number("weeks"), &after, &[])
            })
            .collect(),
        Vec::new(),
    )
    .unwrap();
    let path = network.critical_path();
    assert!((path.end_s - 44.0).abs() < 1e-12, "{} weeks", path.end_s);
    let chain: String = path
        .chain
        .iter()
        .map(|i| rows[*i].text("activity"))
        .collect();
    assert_eq!(chain, "ABCEFJLN", "the published critical path");
    for (i, row) in rows.iter().enumerate() {
        let (name, slack) = (row.text("activity"), row.number("slack_weeks"));
        let found = path.slack_s(i);
        assert!((found - slack).abs() < 1e-12, "{name} has slack {found}");
    }
    let schedule = network.schedule(network.sorted(), &network.durations_s());
    assert!(
        (schedule.total_s() - 44.0).abs() < 1e-12,
        "without resources the schedule is the critical path"
    );
    let slack = network.slack(&schedule, &network.durations_s(), None);
    for (i, row) in rows.iter().enumerate() {
        let (name, published) = (row.text("activity"), row.number("slack_weeks"));
        let found = slack.slack_s[i];
        assert!((found - published).abs() < 1e-12, "{name}: {found}");
    }
}

#[test]
fn exact_one_hand_makes_two_wait() {
    // A and B share the only hand, C needs none: A 0-3, B 3-5, C 0-4.
    let network = Network::new(
        vec![
            activity("A", 3.0, &[], &[1]),
            activity("B", 2.0, &[], &[1]),
            activity("C", 4.0, &[], &[0]),
        ],
        resources(&[1]),
    )
    .unwrap();
    let duration_s = network.durations_s();
    let schedule = network.schedule(&[0, 1, 2], &duration_s);
    assert_eq!(schedule.start_s, [0.0, 3.0, 0.0], "B waits for A's hand");
    let slack = network.slack(&schedule, &duration_s, None);
    assert_eq!(slack.slack_s, [0.0, 0.0, 1.0], "only C may be put off");
    assert_eq!(slack.chain, [0, 1], "A hands over to B");
    let to_a = network.slack(&schedule, &duration_s, Some(0));
    assert!(
        to_a.slack_s[0].abs() < 1e-12 && to_a.slack_s[1].is_infinite(),
        "A does not depend on B: {:?}",
        to_a.slack_s
    );
    assert!(
        (network.critical_path().end_s - 4.0).abs() < 1e-12,
        "with hands enough C is the longest"
    );
}

#[test]
fn exact_a_later_activity_slips_into_a_gap() {
    // B (two hands) waits for A and X; D (one hand) is named last but fits beside A.
    let network = Network::new(
        vec![
            activity("A", 5.0, &[], &[1]),
            activity("B", 2.0, &[0], &[2]),
            activity("D", 4.0, &[], &[1]),
        ],
        resources(&[2]),
    )
    .unwrap();
    let schedule = network.schedule(&[0, 1, 2], &network.durations_s());
    assert_eq!(schedule.start_s, [0.0, 5.0, 0.0], "D runs beside A");
}

#[test]
fn exact_wrong_networks_are_refused_with_what_to_do() {
    let refused = |activities, units: &[usize]| {
        Network::new(activities, resources(units))
            .unwrap_err()
            .to_string()
    };
    for bad in [-3.0, f64::NAN, f64::INFINITY] {
        let text = refused(vec![activity("knot", bad, &[], &[])], &[]);
        assert!(
            text.contains("`knot`") && text.contains("finite and not negative"),
            "{text}"
        );
    }
    let text = refused(vec![activity("knot", 1.0, &[], &[3])], &[2]);
    assert_eq!(
        text,
        "`knot` needs 3 of resource 0, there are 2: give the team more, or let the step need less"
    );
    let ring = vec![
        activity("a", 1.0, &[], &[]),
        activity("b", 1.0, &[3, 0], &[]),
        activity("c", 1.0, &[1], &[]),
        activity("d", 1.0, &[2], &[]),
    ];
    let error = Network::new(ring, Vec::new()).unwrap_err();
    let NetworkError::Circular { circle } = &error else {
        panic!("{error}");
    };
    assert_eq!(circle.first(), circle.last(), "a circle closes: {circle:?}");
    assert_eq!(circle.len(), 4, "b, c and d, not a: {circle:?}");
    assert!(error.to_string().contains("which waits for"), "{error}");
    let text = refused(vec![activity("a", 1.0, &[7], &[])], &[]);
    assert!(text.contains("activity 7"), "{text}");
}

/// A small random network with whole durations: (network, units of its resources).
fn random(rng: &mut ChaCha8Rng, most: usize) -> (Network, Vec<usize>) {
    let n = rng.random_range(2..=most);
    let units: Vec<usize> = (0..rng.random_range(1..=2))
        .map(|_| rng.random_range(1..=2))
        .collect();
    let activities = (0..n)
        .map(|i| {
            let after: Vec<usize> = (0..i).filter(|_| rng.random_bool(0.3)).collect();
            let needs: Vec<usize> = units.iter().map(|u| rng.random_range(0..=*u)).collect();
            activity(
                &format!("a{i}"),
                f64::from(rng.random_range(0..=4_u32)),
                &after,
                &needs,
            )
        })
        .collect();
    (Network::new(activities, resources(&units)).unwrap(), units)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "whole durations of a few seconds"
)]
fn whole(s: f64) -> usize {
    s as usize
}

/// The shortest end by trying every whole start of every activity, with no thought of orders.
fn shortest_by_trying(network: &Network, units: &[usize]) -> usize {
    let activities = network.activities();
    let durations: Vec<usize> = activities.iter().map(|a| whole(a.duration_s)).collect();
    let horizon: usize = durations.iter().sum();
    let need = |i: usize, r: usize| -> usize {
        let needs = activities[i].needs.iter().filter(|n| n.resource == r);
        needs.map(|n| n.units).sum()
    };
    fn place(
        i: usize,
        starts: &mut Vec<usize>,
        used: &mut Vec<Vec<usize>>,
        best: &mut usize,
        ask: &dyn Fn(usize, &[usize]) -> usize,
        durations: &[usize],
        need: &dyn Fn(usize, usize) -> usize,
        units: &[usize],
    ) {
        if i == durations.len() {
            let end = (0..i).map(|j| starts[j] + durations[j]).max().unwrap_or(0);
            *best = (*best).min(end);
            return;
        }
        let from = ask(i, starts);
        for start in from..=best.saturating_sub(durations[i]) {
            let slots = start..start + durations[i];
            let fits = slots
                .clone()
                .all(|t| (0..units.len()).all(|r| used[r][t] + need(i, r) <= units[r]));
            if !fits {
                continue;
            }
            for t in slots.clone() {
                for (r, used) in used.iter_mut().enumerate() {
                    used[t] += need(i, r);
                }
            }
            starts.push(start);
            place(i + 1, starts, used, best, ask, durations, need, units);
            starts.pop();
            for t in slots {
                for (r, used) in used.iter_mut().enumerate() {
                    used[t] -= need(i, r);
                }
            }
        }
    }
    let ask = |i: usize, starts: &[usize]| {
        let ends = activities[i]
            .after
            .iter()
            .map(|j| starts[*j] + durations[*j]);
        ends.max().unwrap_or(0)
    };
    let mut best = horizon;
    let mut used = vec![vec![0; horizon + 1]; units.len()];
    let mut starts = Vec::new();
    place(
        0,
        &mut starts,
        &mut used,
        &mut best,
        &ask,
        &durations,
        &need,
        units,
    );
    best
}

/// Whether any resource is overdrawn or anything starts before what it waits for is over.
fn broken(network: &Network, units: &[usize], start_s: &[f64], end_s: &[f64]) -> Option<String> {
    for (i, activity) in network.activities().iter().enumerate() {
        for j in &activity.after {
            if start_s[i] < end_s[*j] - 1e-9 {
                return Some(format!("{i} starts before {j} ends"));
            }
        }
        // use rises only at starts
        for (r, units) in units.iter().enumerate() {
            let at = start_s[i];
            let used: usize = (0..start_s.len())
                .filter(|j| start_s[*j] <= at && end_s[*j] > at)
                .flat_map(|j| &network.activities()[j].needs)
                .filter(|need| need.resource == r)
                .map(|need| need.units)
                .sum();
            if used > *units {
                return Some(format!("{used} of resource {r} in use at {at}"));
            }
        }
    }
    None
}

#[test]
fn property_search_finds_what_trying_everything_finds() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let (mut gained, mut held_up) = (0, 0);
    for case in 0..300 {
        let (network, units) = random(&mut rng, 6);
        let exact = shortest_by_trying(&network, &units);
        let in_order = network.schedule(network.sorted(), &network.durations_s());
        let found = network.shortest(network.sorted(), 200_000);
        assert_eq!(found.status, SearchStatus::Proved, "case {case}");
        #[expect(clippy::cast_precision_loss, reason = "a few seconds")]
        let exact = exact as f64;
        assert!(
            (found.total_s - exact).abs() < 1e-9,
            "case {case}: found {}, trying everything gives {exact}",
            found.total_s
        );
        let again = network.schedule(&found.order, &network.durations_s());
        assert!(
            (again.total_s() - exact).abs() < 1e-9,
            "case {case}: the order gives what was promised"
        );
        let bound = network.critical_path().end_s;
        assert!(
            exact >= bound - 1e-9,
            "case {case}: nothing beats the critical path"
        );
        assert!(
            found.bound_s <= exact + 1e-9,
            "case {case}: a bound is a bound"
        );
        assert!(
            in_order.total_s() >= exact - 1e-9,
            "case {case}: no order beats the best"
        );
        for schedule in [&in_order, &again] {
            let fault = broken(&network, &units, &schedule.start_s, &schedule.end_s);
            assert!(fault.is_none(), "case {case}: {fault:?}");
        }
        gained += usize::from(in_order.total_s() > exact + 0.5);
        held_up += usize::from(exact > bound + 0.5);
    }
    assert!(
        gained > 5 && held_up > 50,
        "cases must differ to say anything: {gained} gained, {held_up} held up by resources"
    );
}

#[test]
fn property_critical_path_is_the_longest_of_all_paths() {
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    for case in 0..200 {
        let (network, _) = random(&mut rng, 9);
        let activities = network.activities();
        // every path, by following every predecessor of every activity
        fn longest(activities: &[Activity], i: usize) -> f64 {
            let before = activities[i].after.iter().map(|j| longest(activities, *j));
            before.fold(0.0, f64::max) + activities[i].duration_s
        }
        let exact = (0..activities.len())
            .map(|i| longest(activities, i))
            .fold(0.0, f64::max);
        let path = network.critical_path();
        assert!(
            (path.end_s - exact).abs() < 1e-9,
            "case {case}: {} {exact}",
            path.end_s
        );
        let along: f64 = path.chain.iter().map(|i| activities[*i].duration_s).sum();
        assert!(
            (along - exact).abs() < 1e-9,
            "case {case}: the chain is that long"
        );
        for i in 0..activities.len() {
            assert!(
                path.slack_s(i) >= -1e-9,
                "case {case}: slack {}",
                path.slack_s(i)
            );
        }
    }
}

#[test]
fn property_slack_may_be_used_up_by_one_activity() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    for case in 0..200 {
        let (network, _) = random(&mut rng, 8);
        let duration_s = network.durations_s();
        let schedule = network.schedule(network.sorted(), &duration_s);
        let slack = network.slack(&schedule, &duration_s, None);
        assert!(
            slack.chain.iter().all(|i| slack.slack_s[*i] < 1e-9),
            "case {case}: the chain has no slack"
        );
        for i in 0..duration_s.len() {
            if duration_s[i] < 0.5 {
                continue;
            }
            // longer by its slack: some order still ends in time
            let mut longer = duration_s.clone();
            longer[i] += slack.slack_s[i];
            let activities: Vec<Activity> = network
                .activities()
                .iter()
                .zip(&longer)
                .map(|(a, d)| Activity {
                    duration_s: *d,
                    ..a.clone()
                })
                .collect();
            let stretched = Network::new(activities, network.resources().to_vec()).unwrap();
            let best = stretched.shortest(stretched.sorted(), 100_000);
            assert!(
                best.total_s <= schedule.total_s() + 1e-9,
                "case {case}: {i} longer by {} ends at {}, not {}",
                slack.slack_s[i],
                best.total_s,
                schedule.total_s()
            );
        }
    }
}
