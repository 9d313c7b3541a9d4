//! Activities that wait for each other and share resources: critical path, schedule, slack.
//!
//! Nothing here knows of devices or vessels. Times are in seconds from the start. A network is
//! checked once, when it is made; whatever is asked of it afterwards cannot fail.

use crate::procedure::error::NetworkError;

/// Two times closer than this are the same, s: far below what a clock shows, far above rounding
/// over a few hundred sums.
const SAME_S: f64 = 1e-6;

/// Something of which a limited number is there (hands, planes, pumps).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resource {
    /// Its name in words.
    pub name: String,
    /// How many there are.
    pub units: usize,
}

/// A need of one resource.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Need {
    /// Index of the resource.
    pub resource: usize,
    /// How many of it, from start to end.
    pub units: usize,
}

/// Something that takes time.
#[derive(Debug, Clone, PartialEq)]
pub struct Activity {
    /// Its name in words.
    pub name: String,
    /// How long it takes, s.
    pub duration_s: f64,
    /// Indices of activities that have to be over before it starts.
    pub after: Vec<usize>,
    /// What it occupies meanwhile.
    pub needs: Vec<Need>,
}

/// Activities and resources, free of cycles and of needs that nothing meets.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    activities: Vec<Activity>,
    resources: Vec<Resource>,
    /// Every activity behind all it waits for.
    sorted: Vec<usize>,
}

/// Earliest and latest times where nothing but the order counts.
#[derive(Debug, Clone, PartialEq)]
pub struct CriticalPath {
    /// By activity: earliest start, s.
    pub earliest_start_s: Vec<f64>,
    /// By activity: latest start that delays nothing, s.
    pub latest_start_s: Vec<f64>,
    /// End of the last activity, s.
    pub end_s: f64,
    /// One longest chain, from its first activity to its last.
    pub chain: Vec<usize>,
}

impl CriticalPath {
    /// How long an activity can be put off without delaying the end, s.
    #[must_use]
    pub fn slack_s(&self, activity: usize) -> f64 {
        self.latest_start_s[activity] - self.earliest_start_s[activity]
    }
}

/// When everything starts.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    /// By activity, s.
    pub start_s: Vec<f64>,
    /// By activity, s.
    pub end_s: Vec<f64>,
}

impl Schedule {
    /// End of the last activity, s.
    #[must_use]
    pub fn total_s(&self) -> f64 {
        self.end_s.iter().copied().fold(0.0, f64::max)
    }
}

/// How much later each activity of a schedule may start without delaying a goal.
#[derive(Debug, Clone, PartialEq)]
pub struct Slack {
    /// By activity, s; infinite where the goal does not depend on it.
    pub slack_s: Vec<f64>,
    /// One chain without slack from the start to the goal.
    pub chain: Vec<usize>,
}

impl Network {
    /// Checks and keeps activities and resources.
    ///
    /// # Errors
    /// [`NetworkError`] for a duration that is negative or not finite, a need that can never be met,
    /// an index that leads nowhere, or activities that wait for each other in a circle.
    pub fn new(activities: Vec<Activity>, resources: Vec<Resource>) -> Result<Self, NetworkError> {
        for activity in &activities {
            if !(activity.duration_s.is_finite() && activity.duration_s >= 0.0) {
                return Err(NetworkError::Duration {
                    activity: activity.name.clone(),
                    got_s: activity.duration_s,
                });
            }
            if let Some(unknown) = activity.after.iter().find(|i| **i >= activities.len()) {
                return Err(NetworkError::UnknownIndex {
                    activity: activity.name.clone(),
                    what: "activity",
                    index: *unknown,
                });
            }
            for (i, resource) in resources.iter().enumerate() {
                let needed = activity.units_of(i);
                if needed > resource.units {
                    return Err(NetworkError::ImpossibleNeed {
                        activity: activity.name.clone(),
                        resource: resource.name.clone(),
                        needed,
                        there: resource.units,
                    });
                }
            }
            if let Some(need) = activity
                .needs
                .iter()
                .find(|n| n.resource >= resources.len())
            {
                return Err(NetworkError::UnknownIndex {
                    activity: activity.name.clone(),
                    what: "resource",
                    index: need.resource,
                });
            }
        }
        let sorted = sort(&activities)?;
        Ok(Self {
            activities,
            resources,
            sorted,
        })
    }

    /// The activities.
    #[must_use]
    pub fn activities(&self) -> &[Activity] {
        &self.activities
    }

    /// The resources.
    #[must_use]
    pub fn resources(&self) -> &[Resource] {
        &self.resources
    }

    /// Activities in an order in which each stands behind all it waits for; among those free to
    /// come next the one with the lowest index comes first.
    #[must_use]
    pub fn sorted(&self) -> &[usize] {
        &self.sorted
    }

    /// Durations as written, s.
    #[must_use]
    pub fn durations_s(&self) -> Vec<f64> {
        self.activities.iter().map(|a| a.duration_s).collect()
    }

    /// The critical path: a forward and a backward pass over the order alone, as if there were no
    /// end of hands.
    ///
    /// # References
    /// Kelley and Walker (1959), *Proc. Eastern Joint Computer Conference*, 160-173 (from memory).
    #[must_use]
    pub fn critical_path(&self) -> CriticalPath {
        let duration_s = self.durations_s();
        let mut earliest_start_s = vec![0.0; self.activities.len()];
        for &i in &self.sorted {
            earliest_start_s[i] = self.ready_s(i, |j| earliest_start_s[j] + duration_s[j]);
        }
        let end_s = (0..self.activities.len())
            .map(|i| earliest_start_s[i] + duration_s[i])
            .fold(0.0, f64::max);
        let before = self.before();
        let latest_start_s = latest(&self.sorted, &before, &duration_s, |_| end_s);
        let last = (0..self.activities.len()).find(|i| {
            earliest_start_s[*i] + duration_s[*i] > end_s - SAME_S
                && latest_start_s[*i] - earliest_start_s[*i] < SAME_S
        });
        let end_of = |i: usize| earliest_start_s[i] + duration_s[i];
        let chain = chain_to(last, &before, &earliest_start_s, end_of);
        CriticalPath {
            earliest_start_s,
            latest_start_s,
            end_s,
            chain,
        }
    }

    /// Starts activities one after the other in the order given, each as early as what it waits for
    /// and what it needs allow; a later one may slip into a gap that an earlier one left.
    ///
    /// `order` names every activity once, behind all it waits for ([`Network::sorted`] does);
    /// `duration_s` holds one duration for each activity, as [`Network::durations_s`] or sampled.
    #[must_use]
    pub fn schedule(&self, order: &[usize], duration_s: &[f64]) -> Schedule {
        let mut plan = Placement::new(self, duration_s);
        for &i in order {
            plan.place(i);
        }
        plan.schedule
    }

    /// Slack of a schedule: how much later each activity alone may start, those behind it moving
    /// along, the order on every hand kept, until the goal's end is delayed. Without a goal the end
    /// of everything counts.
    #[must_use]
    pub fn slack(&self, schedule: &Schedule, duration_s: &[f64], goal: Option<usize>) -> Slack {
        let mut before = self.before();
        for (earlier, later) in self.handed_over(schedule, duration_s) {
            if !before[later].contains(&earlier) {
                before[later].push(earlier);
            }
        }
        let mut in_time: Vec<usize> = self.sorted.clone();
        // stable: activities that take no time keep the order of the network
        in_time.sort_by(|a, b| schedule.start_s[*a].total_cmp(&schedule.start_s[*b]));
        let end_s = goal.map_or_else(|| schedule.total_s(), |g| schedule.end_s[g]);
        let latest_s = latest(&in_time, &before, duration_s, |i| match goal {
            Some(g) if g != i => f64::INFINITY,
            _ => end_s,
        });
        let slack_s: Vec<f64> = (0..latest_s.len())
            .map(|i| latest_s[i] - schedule.start_s[i])
            .collect();
        let last = goal
            .or_else(|| (0..self.activities.len()).find(|i| schedule.end_s[*i] > end_s - SAME_S));
        let chain = chain_to(last, &before, &schedule.start_s, |i| schedule.end_s[i]);
        Slack { slack_s, chain }
    }

    /// Pairs of activities of which the second takes over a unit of a resource from the first.
    fn handed_over(&self, schedule: &Schedule, duration_s: &[f64]) -> Vec<(usize, usize)> {
        let mut in_time: Vec<usize> = (0..self.activities.len())
            .filter(|i| duration_s[*i] > 0.0)
            .collect();
        in_time.sort_by(|a, b| schedule.start_s[*a].total_cmp(&schedule.start_s[*b]));
        let mut pairs = Vec::new();
        for (r, resource) in self.resources.iter().enumerate() {
            let mut last: Vec<Option<usize>> = vec![None; resource.units];
            for &i in &in_time {
                // in the order of starts a free unit is always found: at no time are more in use
                // than there are
                let free_from_s = |unit: &Option<usize>| unit.map_or(0.0, |j| schedule.end_s[j]);
                for _ in 0..self.activities[i].units_of(r) {
                    let unit = last
                        .iter_mut()
                        .filter(|u| free_from_s(u) <= schedule.start_s[i] + SAME_S)
                        .filter(|u| **u != Some(i))
                        .max_by(|a, b| free_from_s(a).total_cmp(&free_from_s(b)));
                    if let Some(unit) = unit {
                        pairs.extend(unit.map(|j| (j, i)));
                        *unit = Some(i);
                    }
                }
            }
        }
        pairs
    }

    fn before(&self) -> Vec<Vec<usize>> {
        self.activities.iter().map(|a| a.after.clone()).collect()
    }

    pub(super) fn ready_s(&self, i: usize, end_s: impl Fn(usize) -> f64) -> f64 {
        let ends = self.activities[i].after.iter().map(|j| end_s(*j));
        ends.fold(0.0, f64::max)
    }
}

impl Activity {
    /// Units of a resource it needs in all.
    pub(super) fn units_of(&self, resource: usize) -> usize {
        let needs = self.needs.iter().filter(|n| n.resource == resource);
        needs.map(|n| n.units).sum()
    }
}

/// A schedule under way.
#[derive(Debug, Clone)]
pub(super) struct Placement<'a> {
    network: &'a Network,
    duration_s: &'a [f64],
    pub(super) schedule: Schedule,
    placed: Vec<usize>,
    /// The same in the order of their ends, so that what is long over is not looked at again.
    by_end: Vec<usize>,
}

impl<'a> Placement<'a> {
    pub(super) fn new(network: &'a Network, duration_s: &'a [f64]) -> Self {
        let nothing = vec![0.0; network.activities.len()];
        Self {
            network,
            duration_s,
            schedule: Schedule {
                start_s: nothing.clone(),
                end_s: nothing,
            },
            placed: Vec::with_capacity(network.activities.len()),
            by_end: Vec::with_capacity(network.activities.len()),
        }
    }

    /// Starts an activity as early as possible beside those already placed.
    pub(super) fn place(&mut self, i: usize) {
        let ready_s = self.network.ready_s(i, |j| self.schedule.end_s[j]);
        let duration_s = self.duration_s[i];
        // whatever hinders it ends when an activity ends
        let mut start_s = ready_s;
        while let Some(hindrance_s) = self.hindered_until_s(i, start_s, start_s + duration_s) {
            start_s = hindrance_s;
        }
        self.schedule.start_s[i] = start_s;
        self.schedule.end_s[i] = start_s + duration_s;
        self.placed.push(i);
        let at = self.over_by(start_s + duration_s);
        self.by_end.insert(at, i);
    }

    pub(super) fn take_back(&mut self) {
        if let Some(i) = self.placed.pop() {
            self.by_end.retain(|j| *j != i);
        }
    }

    /// How many of those placed are over by a time.
    fn over_by(&self, at_s: f64) -> usize {
        self.by_end
            .partition_point(|j| self.schedule.end_s[*j] <= at_s)
    }

    /// The earliest end of an activity that stands in the way between two times; none: it fits.
    fn hindered_until_s(&self, i: usize, from_s: f64, to_s: f64) -> Option<f64> {
        let Schedule { start_s, end_s } = &self.schedule;
        let not_over = &self.by_end[self.over_by(from_s + SAME_S)..];
        for need in &self.network.activities[i].needs {
            let units = self.network.resources[need.resource].units;
            let needed = self.network.activities[i].units_of(need.resource);
            let beside: Vec<(usize, usize)> = not_over
                .iter()
                .filter(|j| start_s[**j] < to_s - SAME_S)
                .map(|j| (*j, self.network.activities[*j].units_of(need.resource)))
                .filter(|(_, units)| *units > 0)
                .collect();
            // use rises only where something starts: look there and at the beginning
            let looks =
                std::iter::once(from_s).chain(beside.iter().map(|(j, _)| start_s[*j].max(from_s)));
            for at_s in looks {
                let here = || {
                    let at = beside.iter();
                    at.filter(|(j, _)| start_s[*j] <= at_s + SAME_S && end_s[*j] > at_s + SAME_S)
                };
                if here().map(|(_, used)| used).sum::<usize>() + needed > units {
                    return here()
                        .map(|(j, _)| end_s[*j])
                        .min_by(f64::total_cmp)
                        .filter(|end| *end > from_s);
                }
            }
        }
        None
    }
}

/// Latest starts: `due_s` is when an activity has to be over for its own sake.
fn latest(
    sorted: &[usize],
    before: &[Vec<usize>],
    duration_s: &[f64],
    due_s: impl Fn(usize) -> f64,
) -> Vec<f64> {
    let mut latest_end_s: Vec<f64> = (0..sorted.len()).map(due_s).collect();
    for &i in sorted.iter().rev() {
        let start_s = latest_end_s[i] - duration_s[i];
        for &j in &before[i] {
            latest_end_s[j] = latest_end_s[j].min(start_s);
        }
    }
    (0..sorted.len())
        .map(|i| latest_end_s[i] - duration_s[i])
        .collect()
}

/// A chain of activities, each starting as the one before ends, up to the last one.
fn chain_to(
    last: Option<usize>,
    before: &[Vec<usize>],
    start_s: &[f64],
    end_s: impl Fn(usize) -> f64,
) -> Vec<usize> {
    let mut chain: Vec<usize> = last.into_iter().collect();
    // what comes before was placed earlier, so that this ends; the bound guards a broken schedule
    while let Some(&i) = chain.last()
        && chain.len() <= before.len()
    {
        let holds_up = before[i].iter().copied();
        match holds_up
            .filter(|j| (end_s(*j) - start_s[i]).abs() < SAME_S)
            .max_by(|a, b| start_s[*a].total_cmp(&start_s[*b]).then(a.cmp(b)))
        {
            Some(j) => chain.push(j),
            None => break,
        }
    }
    chain.reverse();
    chain
}

/// Sorts so that each stands behind all it waits for, or names a circle.
fn sort(activities: &[Activity]) -> Result<Vec<usize>, NetworkError> {
    let mut sorted = Vec::with_capacity(activities.len());
    let mut done = vec![false; activities.len()];
    while sorted.len() < activities.len() {
        let next = (0..activities.len())
            .find(|i| !done[*i] && activities[*i].after.iter().all(|j| done[*j]));
        let Some(next) = next else {
            return Err(NetworkError::Circular {
                circle: circle(activities, &done),
            });
        };
        done[next] = true;
        sorted.push(next);
    }
    Ok(sorted)
}

/// Names of activities that wait for each other, the first one repeated at the end.
fn circle(activities: &[Activity], done: &[bool]) -> Vec<String> {
    let waits_for = |i: usize| activities[i].after.iter().copied().find(|j| !done[*j]);
    let mut way: Vec<usize> = (0..done.len()).find(|i| !done[*i]).into_iter().collect();
    while let Some(next) = way.last().and_then(|i| waits_for(*i)) {
        if let Some(first) = way.iter().position(|i| *i == next) {
            way.drain(..first);
            way.push(next);
            break;
        }
        way.push(next);
    }
    way.iter().map(|i| activities[*i].name.clone()).collect()
}
