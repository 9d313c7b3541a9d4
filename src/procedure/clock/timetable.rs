//! A script on the clock: what runs beside what, and when the milestones come.

use super::chances::{Again, Disturbed, mean};
use super::footprint::{Footprint, waits};
use super::network::{Activity, Need, Network, Resource, Schedule};
use super::table::Durations;
use super::times::{Sampling, SpreadOfTimes, Times};
use super::work::{Effort, Lane, Load, Parts, effort};
use crate::procedure::error::{NetworkError, nearest};
use crate::procedure::ledger::Events;
use crate::procedure::script::{Action, Plan, Spread};
use crate::procedure::steps::Passed;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Resources of the clock, in the order of the network's indices.
const HANDS: usize = 0;
const ASSISTANTS: usize = 1;
const PLANES: [usize; 2] = [2, 3];
const PUMPS: usize = 4;

/// An activity of the clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClockActivity {
    /// Its name in words.
    pub name: String,
    /// Index of its step in the script; none for preparation and for the retriever's wait.
    pub step: Option<usize>,
    /// Where it takes place.
    pub lane: Lane,
}

/// A script as a network of activities, with its milestones.
///
/// Steps keep the order of the script wherever one changes what the other relies on (a device, a
/// lumen, a lesion, an image plane), and wherever the script says so (`after`); beyond that they run
/// side by side as far as hands, assistants, planes and pumps go. Devices are prepared on the back
/// table by an assistant before they are needed. The open retriever's wait is a least time that other
/// work may fill.
#[derive(Debug, Clone, PartialEq)]
pub struct Clock {
    network: Network,
    activities: Vec<ClockActivity>,
    efforts: Vec<Effort>,
    pace: Spread,
    marks: Marks,
    again: Again,
}

/// Activities at whose end (or start) something counts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Marks {
    opened: Option<usize>,
    pulled: Option<usize>,
    neck_dilated: Option<usize>,
    neck_open: Option<usize>,
    neck_done: Option<usize>,
    guide_in_neck: Option<usize>,
    clot_out: Option<usize>,
    flow: Option<usize>,
}

impl Clock {
    /// Puts a script that has been walked through on the clock. `loads` holds, by step, what is known of its
    /// forces; steps beyond its end have none.
    ///
    /// # Errors
    /// [`NetworkError`] for a need that the team cannot meet, a label that no step bears, or steps
    /// that wait for each other.
    pub fn new(
        plan: &Plan,
        table: &Durations,
        loads: &[Load],
        passed: &[Passed],
    ) -> Result<Self, NetworkError> {
        let mut build = Build::default();
        let events = Events::of(plan, passed);
        for (i, (step, done)) in plan.script.iter().zip(passed).enumerate() {
            let name = step.in_words();
            let load = loads.get(i).copied().unwrap_or_default();
            let mut effort = effort(plan, table, done, &step.act, load);
            if let Some(takes_s) = step.takes_s {
                effort.set_s = vec![takes_s];
                effort.handling_s.clear();
                effort.travel.clear();
                effort.difficulty.clear();
            }
            if !done.effect.performed {
                // a step that a precondition stops takes nobody's time
                effort = Effort::resting(effort.lane);
            }
            let prepared = build.prepare(plan, table, done, &step.act);
            let mut needs = needs_of(&effort);
            let on_suction = (0..plan.devices.len())
                .filter(|k| done.before.suction[*k] && done.after.suction[*k])
                .count()
                .min(table.team.pumps);
            if on_suction > 0 && effort.hands > 0 {
                needs.push(Need {
                    resource: PUMPS,
                    units: on_suction,
                });
            }
            build.step(name, i, effort, needs, prepared);
            if events.retriever_opened == Some(i) {
                build.dwell(table);
            }
        }
        let prints: Vec<Footprint> = plan
            .script
            .iter()
            .zip(passed)
            .map(|(step, done)| Footprint::of(plan, done, &step.act))
            .collect();
        build.join(plan, waits(&prints), &events)?;
        let marks = build.marks(&events);
        let again = Again::of(plan, table, passed, &build.of_step, build.dwell);
        let pace = table.pace.value.mean();
        let activities = build.activities;
        let network = Network::new(
            activities
                .iter()
                .zip(&build.efforts)
                .zip(build.after.iter().zip(build.needs))
                .map(|((info, effort), (after, needs))| Activity {
                    name: info.name.clone(),
                    duration_s: effort.expected(pace).total_s(),
                    after: after.clone(),
                    needs,
                })
                .collect(),
            resources(table),
        )?;
        Ok(Self {
            network,
            activities,
            efforts: build.efforts,
            pace: table.pace.value,
            marks,
            again,
        })
    }

    /// The activities behind the network's indices.
    #[must_use]
    pub fn activities(&self) -> &[ClockActivity] {
        &self.activities
    }

    /// The network, with mean durations.
    #[must_use]
    pub const fn network(&self) -> &Network {
        &self.network
    }

    /// What an activity's expected duration is made of.
    #[must_use]
    pub fn parts(&self, activity: usize) -> Parts {
        self.efforts[activity].expected(self.pace.mean())
    }

    /// The course where everything takes its mean time, begun in the order of the script.
    #[must_use]
    pub fn expected(&self) -> Schedule {
        self.network
            .schedule(self.network.sorted(), &self.network.durations_s())
    }

    /// Milestones of a course.
    #[must_use]
    pub fn times(&self, course: &Schedule) -> Times {
        let end = |mark: Option<usize>| mark.map(|i| course.end_s[i]);
        let opened = end(self.marks.opened);
        let reperfusion = self.reperfused_by(course).map(|i| course.end_s[i]);
        let from_open = |at: Option<f64>| Some(at? - opened?);
        Times {
            guide_in_neck_s: end(self.marks.guide_in_neck),
            retriever_open_s: opened,
            neck_dilated_s: end(self.marks.neck_dilated),
            neck_open_s: end(self.marks.neck_open),
            neck_done_s: end(self.marks.neck_done),
            reperfusion_s: reperfusion,
            retriever_sat_s: from_open(self.marks.pulled.map(|i| course.start_s[i])),
            open_to_reperfusion_s: from_open(reperfusion).filter(|s| *s >= 0.0),
            total_s: Some(course.total_s()),
        }
    }

    /// The activity at whose end the brain is reperfused in a course.
    #[must_use]
    pub fn reperfused_by(&self, course: &Schedule) -> Option<usize> {
        let clot_out = self.marks.clot_out?;
        let flow = self.marks.flow?;
        Some(if course.end_s[flow] > course.end_s[clot_out] {
            flow
        } else {
            clot_out
        })
    }

    /// Milestones over many courses, with every spread drawn independently but for the pace, which
    /// is drawn once a course.
    #[must_use]
    pub fn sample(&self, sampling: &Sampling) -> SpreadOfTimes {
        SpreadOfTimes::of(&self.courses(sampling))
    }

    /// Milestones of every course drawn, each step done once. Course `i` depends on the seed and on `i` alone.
    #[must_use]
    pub fn courses(&self, sampling: &Sampling) -> Vec<Times> {
        self.drawn(sampling, |seed, i| self.course(seed, i).0)
    }

    /// The same courses where tries fail by the table's chances and passes are made again; with each, the
    /// number of passes.
    #[must_use]
    pub fn disturbed_courses(&self, sampling: &Sampling) -> Vec<(Times, f64)> {
        self.drawn(sampling, |seed, i| {
            let (_, mut duration_s, pace, mut rng) = self.course(seed, i);
            let passes = self.again.draw(&mut rng, &mut duration_s, pace);
            let course = self.network.schedule(self.network.sorted(), &duration_s);
            (self.times(&course), passes)
        })
    }

    /// How the milestones vary where tries fail.
    #[must_use]
    pub fn disturbed(&self, sampling: &Sampling) -> Disturbed {
        let courses = self.disturbed_courses(sampling);
        let times: Vec<Times> = courses.iter().map(|c| c.0).collect();
        let mean_of =
            |pick: fn(&Times) -> Option<f64>| mean(&times.iter().map(pick).collect::<Vec<_>>());
        let passes: Vec<Option<f64>> = courses.iter().map(|c| Some(c.1)).collect();
        Disturbed {
            spread: SpreadOfTimes::of(&times),
            retriever_open_mean_s: mean_of(|t| t.retriever_open_s),
            reperfusion_mean_s: mean_of(|t| t.reperfusion_s),
            passes_mean: mean(&passes).unwrap_or(1.0),
        }
    }

    fn drawn<T: Clone + Default + Send>(
        &self,
        sampling: &Sampling,
        course: impl Fn(u64, usize) -> T + Sync,
    ) -> Vec<T> {
        let mut courses = vec![T::default(); sampling.courses];
        let course = &course;
        let share = sampling.courses.div_ceil(sampling.threads.max(1)).max(1);
        std::thread::scope(|scope| {
            for (chunk, times) in courses.chunks_mut(share).enumerate() {
                scope.spawn(move || {
                    for (i, time) in times.iter_mut().enumerate() {
                        *time = course(sampling.seed, chunk * share + i);
                    }
                });
            }
        });
        courses
    }

    /// Milestones of a course, its durations, its pace, and the dice after them.
    fn course(&self, seed: u64, i: usize) -> (Times, Vec<f64>, f64, ChaCha8Rng) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(i as u64);
        let pace = self.pace.quantile(rng.random());
        let duration_s: Vec<f64> = self
            .efforts
            .iter()
            .map(|effort| effort.at(rng.random(), pace).total_s())
            .collect();
        let course = self.network.schedule(self.network.sorted(), &duration_s);
        (self.times(&course), duration_s, pace, rng)
    }
}

fn resources(table: &Durations) -> Vec<Resource> {
    [
        ("the operator's hands", table.team.hands),
        ("assistants", table.team.assistants),
        ("image plane A", 1),
        ("image plane B", 1),
        ("suction pumps", table.team.pumps),
    ]
    .map(|(name, units)| Resource {
        name: name.to_owned(),
        units,
    })
    .into()
}

fn needs_of(effort: &Effort) -> Vec<Need> {
    let mut needs: Vec<Need> = [(HANDS, effort.hands), (ASSISTANTS, effort.assistants)]
        .into_iter()
        .filter(|(_, units)| *units > 0)
        .map(|(resource, units)| Need { resource, units })
        .collect();
    let mut planes = effort.planes.clone();
    planes.dedup();
    needs.extend(planes.into_iter().map(|plane| Need {
        resource: PLANES[plane],
        units: 1,
    }));
    needs
}

/// Activities in the making.
#[derive(Default)]
struct Build {
    activities: Vec<ClockActivity>,
    efforts: Vec<Effort>,
    needs: Vec<Vec<Need>>,
    after: Vec<Vec<usize>>,
    /// By step of the script: its activity.
    of_step: Vec<usize>,
    prepared: Vec<usize>,
    dwell: Option<usize>,
}

impl Build {
    fn push(
        &mut self,
        name: String,
        step: Option<usize>,
        effort: Effort,
        needs: Vec<Need>,
        after: Vec<usize>,
    ) -> usize {
        self.activities.push(ClockActivity {
            name,
            step,
            lane: effort.lane,
        });
        self.efforts.push(effort);
        self.needs.push(needs);
        self.after.push(after);
        self.activities.len() - 1
    }

    /// Preparation of a device that is taken up for the first time.
    fn prepare(
        &mut self,
        plan: &Plan,
        table: &Durations,
        done: &Passed,
        act: &Action,
    ) -> Option<usize> {
        let comes_in =
            |k: &usize| done.before.in_place[*k].is_none() && done.after.in_place[*k].is_some();
        let k = match act {
            Action::Attach { rail, .. } => plan.device_index(rail),
            _ => (0..plan.devices.len()).find(comes_in),
        }?;
        if self.prepared.contains(&k) {
            return None;
        }
        self.prepared.push(k);
        let work = table.preparation(plan.devices[k].device.class)?;
        let effort = Effort::work(Lane::Table, work);
        let needs = needs_of(&effort);
        let name = format!("{} made ready", plan.devices[k].name);
        Some(self.push(name, None, effort, needs, Vec::new()))
    }

    fn step(
        &mut self,
        name: String,
        step: usize,
        effort: Effort,
        needs: Vec<Need>,
        prepared: Option<usize>,
    ) {
        let after = prepared.into_iter().collect();
        let at = self.push(name, Some(step), effort, needs, after);
        self.of_step.push(at);
    }

    /// The wait behind the step just added.
    fn dwell(&mut self, table: &Durations) {
        let opened: Vec<usize> = self.of_step.last().copied().into_iter().collect();
        let mut effort = Effort::resting(Lane::Intracranial);
        effort.set_s.push(table.dwell_s.value);
        self.dwell = Some(self.push(
            "retriever beds in the clot (least wait)".into(),
            None,
            effort,
            Vec::new(),
            opened,
        ));
    }

    /// Adds what every step waits for.
    fn join(
        &mut self,
        plan: &Plan,
        waits: Vec<Vec<usize>>,
        events: &Events,
    ) -> Result<(), NetworkError> {
        for (step, earlier) in waits.into_iter().enumerate() {
            let at = self.of_step[step];
            self.after[at].extend(earlier.iter().map(|e| self.of_step[*e]));
            for label in &plan.script[step].after {
                let labels = || plan.script.iter().map(|s| s.label.as_deref());
                let Some(other) = labels().position(|l| l == Some(label)) else {
                    return Err(NetworkError::UnknownLabel {
                        step: self.activities[at].name.clone(),
                        index: step,
                        label: label.clone(),
                        suggestion: nearest(label, labels().flatten()),
                    });
                };
                self.after[at].push(self.of_step[other]);
            }
            if events.retriever_pulled == Some(step) {
                self.after[at].extend(self.dwell);
            }
        }
        Ok(())
    }

    fn marks(&self, events: &Events) -> Marks {
        let of = |step: Option<usize>| step.map(|s| self.of_step[s]);
        let clot_out = of(events.clot_out);
        Marks {
            opened: of(events.retriever_opened),
            pulled: of(events.retriever_pulled),
            neck_dilated: of(events.neck_dilated),
            neck_open: of(events.neck_open),
            neck_done: of(events.neck_done),
            guide_in_neck: of(events.guide_in_neck),
            clot_out,
            // open from the beginning: the clot alone decides
            flow: if events.flows_at_first {
                clot_out
            } else {
                of(events.flow)
            },
        }
    }
}
