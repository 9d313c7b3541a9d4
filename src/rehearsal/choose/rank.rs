//! The order of stacks, and which of them nothing else is better than.

use super::super::compare::{clot_class, neck_class};
use super::search::Found;
use super::weigh::Worth;
use std::collections::{BTreeMap, BTreeSet};

/// How stacks are ordered, in words.
pub(super) const ORDER: &str = "in this order: access let go of, neck left (to 30, to 50 %, more) and clot stripped, as plans are set side by \
side; share of patients in whom nothing is short (to a hundredth); least to spare (mm); bare edges; minutes. *: no other stack is as good in all of \
these and better in one";

/// What stacks are ordered by, less being better; stacks that are equal in it are told as one row.
pub(super) type Standing = [i64; 7];

/// Stacks of one standing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Group {
    pub(super) worth: Worth,
    /// Nothing is as good in all and better in one.
    pub(super) front: bool,
    /// The one with the fewest changes to the scene, among [`Found::passing`].
    pub(super) first: usize,
    pub(super) stacks: u64,
    /// By role: the choices that stacks of this standing have.
    pub(super) choices: Vec<BTreeSet<Option<u16>>>,
}

/// To the nearest whole number.
pub(super) fn whole(value: f64) -> i64 {
    // lengths and minutes of a person; nothing near 2^63
    format!("{value:.0}").parse().unwrap_or(i64::MAX)
}

fn standing(found: &Found, stack: usize, worth: &Worth) -> Standing {
    let passing = &found.passing[stack];
    let count = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    [
        count(worth.let_go),
        count(neck_class(worth.neck_left_percent)),
        count(clot_class(Some(passing.stripped))),
        -whole(100.0 * worth.share),
        worth.spare.map_or(i64::MIN, |(mm, _)| -whole(mm)),
        count(passing.bare_edges),
        worth.reperfusion_s.map_or(i64::MAX, |s| whole(s / 60.0)),
    ]
}

/// Whether one standing is as good in all and better in one.
fn beats(one: &Standing, other: &Standing) -> bool {
    one != other && one.iter().zip(other).all(|(a, b)| a <= b)
}

/// All stacks that came to the end, those of one standing together, the best first.
pub(super) fn groups(found: &Found, weighed: Vec<Worth>) -> Vec<Group> {
    let mut groups: BTreeMap<Standing, Group> = BTreeMap::new();
    let changes = |stack: usize| {
        let chosen = &found.passing[stack].chosen;
        let changed = chosen.iter().filter(|choice| choice.is_some_and(|n| n > 0));
        (changed.count(), chosen)
    };
    for (stack, worth) in weighed.into_iter().enumerate() {
        let group = groups.entry(standing(found, stack, &worth));
        let group = group.or_insert(Group {
            worth,
            front: false,
            first: stack,
            stacks: 0,
            choices: vec![BTreeSet::new(); found.passing[stack].chosen.len()],
        });
        group.stacks += 1;
        for (choices, choice) in group.choices.iter_mut().zip(&found.passing[stack].chosen) {
            choices.insert(*choice);
        }
        if changes(stack) < changes(group.first) {
            (group.first, group.worth) = (stack, worth);
        }
    }
    // whatever beats a standing stands before it
    let mut front: Vec<Standing> = Vec::new();
    for (standing, group) in &mut groups {
        if !front.iter().any(|better| beats(better, standing)) {
            group.front = true;
            front.push(*standing);
        }
    }
    groups.into_values().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_better_is_as_good_in_all_and_better_in_one() {
        let plain = [0, 0, 0, -95, -30, 0, 60];
        for (other, beaten) in [
            (plain, false),
            ([0, 0, 0, -95, -29, 0, 60], true),
            ([0, 0, 0, -96, -29, 0, 60], false),
            ([0, 1, 0, -95, -30, 0, 60], true),
            ([0, 0, 0, -95, -30, 1, 59], false),
        ] {
            assert_eq!(beats(&plain, &other), beaten, "{other:?}");
        }
    }
}
