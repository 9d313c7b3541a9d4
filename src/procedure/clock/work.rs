//! What a step takes: handling, travel, difficulty, and who is needed for it.

use super::footprint::planes_on;
use super::table::{Durations, Work};
use crate::procedure::script::{Action, Plan, Region, Spread};
use crate::procedure::state::{Exchange, Move};
use crate::procedure::steps::Passed;
use serde::{Deserialize, Serialize};
use std::f64::consts::FRAC_PI_2;

/// Where a piece of work takes place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lane {
    /// Above the skull base.
    Intracranial,
    /// In the neck.
    Neck,
    /// Between skin and arch, and at the hubs.
    Access,
    /// On the back table.
    Table,
}

impl Lane {
    /// The lane in words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Intracranial => "intracranial",
            Self::Neck => "neck",
            Self::Access => "access",
            Self::Table => "back table",
        }
    }

    const fn of(region: Region) -> Self {
        match region {
            Region::Access => Self::Access,
            Region::Neck => Self::Neck,
            Region::Head => Self::Intracranial,
        }
    }
}

/// A length travelled at one speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Travel {
    pub(super) length_mm: f64,
    pub(super) speed_mm_per_s: Spread,
}

/// Everything a step takes.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Effort {
    pub(super) handling_s: Vec<Spread>,
    pub(super) travel: Vec<Travel>,
    /// Count (right angles, newtons, hundreds of mm) and seconds for each.
    pub(super) difficulty: Vec<(f64, Spread)>,
    /// Time that somebody decided on, s: no operator's pace on it.
    pub(super) set_s: Vec<Spread>,
    pub(super) hands: usize,
    pub(super) assistants: usize,
    pub(super) planes: Vec<usize>,
    pub(super) lane: Lane,
}

/// The parts of a duration, s.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Parts {
    /// Handling, and time that the scene sets.
    pub handling_s: f64,
    /// Travel.
    pub travel_s: f64,
    /// Difficulty.
    pub difficulty_s: f64,
}

impl Parts {
    /// All together, s.
    #[must_use]
    pub fn total_s(self) -> f64 {
        self.handling_s + self.travel_s + self.difficulty_s
    }
}

impl Effort {
    pub(super) const fn resting(lane: Lane) -> Self {
        Self {
            handling_s: Vec::new(),
            travel: Vec::new(),
            difficulty: Vec::new(),
            set_s: Vec::new(),
            hands: 0,
            assistants: 0,
            planes: Vec::new(),
            lane,
        }
    }

    pub(super) fn work(lane: Lane, work: &Work) -> Self {
        let mut effort = Self::resting(lane);
        effort.add(work);
        effort
    }

    /// One more piece of work in the same step: times add up, the larger crew does it.
    fn add(&mut self, work: &Work) {
        self.handling_s.push(work.takes_s);
        self.hands = self.hands.max(work.hands);
        self.assistants = self.assistants.max(work.assistants);
    }

    /// Its parts where every spread takes its mean: means add up to the mean of a chain, usual
    /// values do not.
    pub(super) fn expected(&self, pace: f64) -> Parts {
        self.parts(Spread::mean, pace)
    }

    /// Its parts at a share of the cases (0 fastest, 1 slowest): all spreads of one step go together,
    /// since the same thing makes a step's handling and its travel slow.
    pub(super) fn at(&self, share: f64, pace: f64) -> Parts {
        self.parts(|spread| spread.quantile(share), pace)
    }

    fn parts(&self, pick: impl Fn(Spread) -> f64, pace: f64) -> Parts {
        // the slowest case has the lowest speed: seconds per mm are picked, not mm per second
        let travel_s = |t: &Travel| {
            let (least, usual, most) = t.speed_mm_per_s.into();
            let per_mm = Spread::try_from((1.0 / most, 1.0 / usual, 1.0 / least));
            t.length_mm * per_mm.map_or(1.0 / usual, &pick)
        };
        let handling_s: f64 = self.handling_s.iter().map(|s| pick(*s)).sum();
        let set_s: f64 = self.set_s.iter().map(|s| pick(*s)).sum();
        Parts {
            handling_s: pace * handling_s + set_s,
            travel_s: pace * self.travel.iter().map(travel_s).sum::<f64>(),
            difficulty_s: pace
                * self
                    .difficulty
                    .iter()
                    .map(|(n, s)| n * pick(*s))
                    .sum::<f64>(),
        }
    }
}

/// What is known of the effort of a step beyond its lengths.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Load {
    /// Force at the hub of the device that moves, N; `None` where no rods were solved.
    pub hub_force_n: Option<f64>,
}

/// The effort of one step of the script.
pub(super) fn effort(
    plan: &Plan,
    table: &Durations,
    passed: &Passed,
    act: &Action,
    load: Load,
) -> Effort {
    let lane = lane_of(plan, passed, act);
    let h = &table.handling;
    let mut effort = Effort::resting(lane);
    let exchange = passed.effect.exchanges.first();
    match act {
        Action::Insert { through, .. } => effort.add(match exchange {
            None if through.is_none() => &h.puncture,
            None => &h.insert,
            Some(e) if e.rapid => &h.load_rapid,
            Some(_) => &h.load_whole,
        }),
        Action::Advance { .. } => effort.add(&h.advance),
        Action::AdvanceTogether { .. } => effort.add(&h.advance_together),
        Action::Engage { .. } => effort.add(&h.engage),
        Action::Withdraw { .. } => effort.add(&h.withdraw),
        Action::WithdrawTogether { .. } => effort.add(&h.pull),
        Action::Remove { .. } => effort.add(match exchange {
            Some(e) if !e.rapid => &h.remove_whole,
            _ => &h.remove,
        }),
        Action::LoadRetriever { .. } => effort.add(&h.load_retriever),
        Action::Unsheathe { .. } => effort.add(&h.unsheathe),
        Action::DeployStent { .. } => effort.add(&h.deploy_stent),
        Action::Inflate { .. } => effort.add(&h.inflate),
        Action::Deflate { .. } => effort.add(&h.deflate),
        Action::SuctionOn { .. } => effort.add(&h.suction_on),
        Action::SuctionOff { .. } => effort.add(&h.suction_off),
        Action::Contrast { region, .. } => {
            effort.add(&h.contrast);
            effort.planes.extend(planes_on(&passed.after, *region));
        }
        Action::Attach { .. } | Action::Detach { .. } => effort.add(&h.clip),
        Action::Watch { plane, .. } => {
            effort.add(&h.watch);
            effort.planes.push(*plane as usize);
        }
        Action::Roadmap { plane } => {
            effort.add(&h.roadmap);
            effort.planes.push(plane.index());
        }
        Action::CheckMarkers { .. } => {
            effort.add(&h.check_markers);
            effort.planes.extend(planes_on(&passed.after, Region::Head));
        }
        Action::Flush { .. } => effort.add(&h.flush),
        Action::Wait { minutes } => {
            effort.add(&h.wait);
            effort.set_s.extend(Spread::fixed(60.0 * minutes));
        }
    }
    // tips that move as one take the time of the longest way
    let longest = passed
        .effect
        .moves
        .iter()
        .max_by(|a, b| length_mm(a).total_cmp(&length_mm(b)));
    if let Some(longest) = longest {
        effort.movement(plan, table, passed, *longest, act);
    }
    for exchange in &passed.effect.exchanges {
        effort.exchange(plan, table, exchange);
    }
    let per_newton = table.difficulty.s_per_newton.value;
    let force_n = load.hub_force_n.filter(|f| f.is_finite() && *f > 0.0);
    effort.difficulty.extend(force_n.map(|f| (f, per_newton)));
    effort
}

fn length_mm(m: &Move) -> f64 {
    (m.to_mm - m.from_mm).abs()
}

impl Effort {
    fn movement(&mut self, plan: &Plan, table: &Durations, passed: &Passed, m: Move, act: &Action) {
        let Passed { before, after, .. } = passed;
        let forward = m.to_mm > m.from_mm;
        let state = if forward { after } else { before };
        let moved = |k: usize| passed.effect.moves.iter().any(|m| m.device == k);
        let covered_to_mm = state
            .hubs_passed(m.device)
            .into_iter()
            .filter(|j| !moved(*j))
            .filter_map(|j| state.tip_mm(j))
            .fold(0.0, f64::max);
        let (near_mm, far_mm) = (m.from_mm.min(m.to_mm), m.from_mm.max(m.to_mm));
        let (near_mm, bare_from_mm) = (near_mm.max(0.0), covered_to_mm.clamp(near_mm, far_mm));
        let mut go = |length_mm: f64, speed_mm_per_s: Spread| {
            if length_mm > 0.0 {
                self.travel.push(Travel {
                    length_mm,
                    speed_mm_per_s,
                });
            }
        };
        let speeds = &table.speed_mm_per_s;
        go(bare_from_mm - near_mm, speeds.covered.value);
        let pulls_open = matches!(act, Action::WithdrawTogether { .. })
            && passed.effect.moves.iter().any(|m| before.open[m.device]);
        if !forward {
            let speed = if pulls_open {
                &speeds.pull
            } else {
                &speeds.back
            };
            go(far_mm - bare_from_mm, speed.value);
            return;
        }
        // where another tip has gone, it leads
        let led_to_mm = (0..plan.devices.len())
            .filter(|k| !moved(*k))
            .filter_map(|k| before.tip_mm(k))
            .fold(0.0, f64::max);
        for (from_mm, to_mm, region) in regions(plan, bare_from_mm, far_mm) {
            let led_mm = (led_to_mm.min(to_mm) - from_mm).max(0.0);
            go(led_mm, speeds.bare(region, false).value);
            go(to_mm - from_mm - led_mm, speeds.bare(region, true).value);
        }
        let turns = |from_mm: f64, to_mm: f64| {
            plan.track.turning_between(from_mm, to_mm.max(from_mm)) / FRAC_PI_2
        };
        let leads_from_mm = led_to_mm.clamp(bare_from_mm, far_mm);
        let d = &table.difficulty;
        self.difficulty.extend([
            (
                turns(bare_from_mm, leads_from_mm),
                d.s_per_right_angle.value,
            ),
            (
                turns(leads_from_mm, far_mm),
                d.s_per_right_angle_leading.value,
            ),
        ]);
        // what moves as one is not steered: a tip that is carried past an ostium has not found it
        if !matches!(act, Action::AdvanceTogether { .. }) {
            self.ways_found(plan, table, m, led_to_mm);
        }
    }

    /// Places where a tip that leads has to find its way.
    fn ways_found(&mut self, plan: &Plan, table: &Durations, m: Move, led_to_mm: f64) {
        let h = &table.handling;
        let first_past = |s_mm: f64| m.from_mm < s_mm && m.to_mm >= s_mm && led_to_mm < s_mm;
        if let Ok(origin_mm) = plan.track.landmark("common-carotid-origin")
            && first_past(origin_mm)
        {
            self.add(&h.find_carotid);
        }
        for lesion in &plan.track.lesions {
            if first_past(lesion.end_mm) {
                self.add(&h.cross_lesion);
            }
        }
        for clot in &plan.track.clots {
            if first_past(clot.end_mm) {
                self.add(&h.cross_clot);
            }
        }
    }

    /// The way along the rail outside the hub, and the rail out of hand.
    fn exchange(&mut self, plan: &Plan, table: &Durations, exchange: &Exchange) {
        let device = &plan.devices[exchange.device].device;
        let outside_mm = match (exchange.rapid, device.port_from_tip_mm()) {
            (true, Some(port_mm)) => port_mm,
            _ => exchange.rail_outside_mm.clamp(0.0, exchange.needed_mm),
        };
        self.travel.push(Travel {
            length_mm: outside_mm,
            speed_mm_per_s: table.speed_mm_per_s.covered.value,
        });
        self.difficulty.push((
            exchange.blind_mm / 100.0,
            table.difficulty.s_per_100_mm_blind.value,
        ));
    }
}

/// A stretch of the route cut where its region changes.
fn regions(plan: &Plan, from_mm: f64, to_mm: f64) -> Vec<(f64, f64, Region)> {
    let cuts = ["common-carotid-origin", "skull-base"];
    let mut ends: Vec<f64> = cuts
        .iter()
        .filter_map(|name| plan.track.landmark(name).ok())
        .filter(|s| *s > from_mm && *s < to_mm)
        .collect();
    ends.push(to_mm);
    ends.sort_by(f64::total_cmp);
    let mut near_mm = from_mm;
    ends.into_iter()
        .filter(|end| *end > from_mm)
        .map(|end_mm| {
            let region = plan.region_of(f64::midpoint(near_mm, end_mm));
            (std::mem::replace(&mut near_mm, end_mm), end_mm, region)
        })
        .collect()
}

/// Where a step takes place: where its first device goes, where its balloon or stent is, or what
/// is looked at.
fn lane_of(plan: &Plan, passed: &Passed, act: &Action) -> Lane {
    let of_device = |name: &String| {
        let tip_mm = plan
            .device_index(name)
            .and_then(|k| passed.after.tip_mm(k).or_else(|| passed.before.tip_mm(k)));
        tip_mm.map_or(Lane::Access, |s| Lane::of(plan.region_of(s)))
    };
    match act {
        Action::Contrast { region, .. } | Action::Watch { region, .. } => Lane::of(*region),
        Action::Attach { .. } | Action::Detach { .. } => Lane::Table,
        Action::Roadmap { plane } => {
            passed.after.watching[plane.index()].map_or(Lane::Access, Lane::of)
        }
        Action::AdvanceTogether { devices, .. } => devices.first().map_or(Lane::Access, of_device),
        // one waits for what is furthest in
        Action::Wait { .. } => {
            let tips = (0..plan.devices.len()).filter_map(|k| passed.after.tip_mm(k));
            Lane::of(plan.region_of(tips.fold(0.0, f64::max)))
        }
        // where it was, not where it ends up: outside
        Action::Remove { device } => plan
            .device_index(device)
            .and_then(|k| passed.before.tip_mm(k))
            .map_or(Lane::Access, |s| Lane::of(plan.region_of(s))),
        Action::WithdrawTogether { devices, .. } => devices
            .first()
            .and_then(|d| plan.device_index(d))
            .and_then(|k| passed.before.tip_mm(k))
            .map_or(Lane::Access, |s| Lane::of(plan.region_of(s))),
        Action::Insert { device, .. }
        | Action::Advance { device, .. }
        | Action::Withdraw { device, .. }
        | Action::DeployStent { device }
        | Action::Inflate { device, .. }
        | Action::Deflate { device }
        | Action::SuctionOn { device }
        | Action::SuctionOff { device }
        | Action::Engage { device, .. }
        | Action::Flush { device, .. } => of_device(device),
        Action::LoadRetriever { retriever, .. }
        | Action::Unsheathe { retriever }
        | Action::CheckMarkers { retriever } => of_device(retriever),
    }
}
