//! A script under way: steps added one by one, places named from lesion and clot.

use super::choices::{Choices, ClotBy, NeckBy, Order};
use super::roles::{Roles, access_steps};
use crate::device::Payload;
use crate::geometry::{TrackClot, TrackLesion};
use crate::procedure::error::StrategyError;
use crate::procedure::script::{Action, DeviceEnd, Plan, Region, Step, Where};
use crate::procedure::state::State;
use crate::procedure::steps::perform;

/// How far the microcatheter follows past the neck lesion, mm.
pub(super) const MICRO_PAST_LESION_MM: f64 = 20.0;
/// How far wire and microcatheter keep ahead of what follows them, mm.
pub(super) const AHEAD_OF_ASPIRATION_MM: f64 = 10.0;
/// How far beyond a lesion without stent, mm.
pub(super) const GUIDE_PAST_LESION_MM: f64 = 20.0;

/// A script under way.
pub(super) struct Writer<'a> {
    pub(super) plan: &'a Plan,
    pub(super) choices: Choices,
    pub(super) roles: Roles,
    pub(super) lesion: &'a TrackLesion,
    pub(super) clot: &'a TrackClot,
    /// Where the guide's tip lies after the access steps, mm.
    pub(super) guide_mm: f64,
    pub(super) script: Vec<Step>,
}

impl<'a> Writer<'a> {
    pub(super) fn new(plan: &'a Plan, choices: &Choices) -> Result<Self, StrategyError> {
        if choices.order == Order::RetrieverFirst && choices.clot_by == ClotBy::Suction {
            return Err(StrategyError::NoRetrieverToOpen);
        }
        let in_neck = |l: &&TrackLesion| plan.region_of(l.middle_mm()) == Region::Neck;
        let lesion = plan.track.lesions.iter().find(in_neck);
        let clot = plan.track.clots.first();
        let nothing = |what| StrategyError::NothingToTreat { what };
        let roles = Roles::of(plan, choices)?;
        let script = access_steps(plan)?;
        // entered along the centre line: places of a script are ruled
        let entered = script.iter().fold(State::start(plan), |state, step| {
            perform(plan, &state, &step.act).0
        });
        let guide_mm = plan
            .device_index(&roles.guide)
            .and_then(|k| entered.tip_mm(k))
            .ok_or(StrategyError::NoAccess)?;
        Ok(Self {
            plan,
            choices: *choices,
            roles,
            guide_mm,
            lesion: lesion.ok_or_else(|| nothing("lesion in the neck"))?,
            clot: clot.ok_or_else(|| nothing("clot"))?,
            script,
        })
    }

    pub(super) fn stented(&self) -> bool {
        self.choices.neck_by != NeckBy::BalloonAlone
    }

    /// Whether the guide can stop the flow by itself.
    pub(super) fn guide_has_balloon(&self) -> bool {
        let guide = self.plan.device_index(&self.roles.guide);
        let payload = guide.and_then(|k| self.plan.devices[k].device.payload.as_ref());
        matches!(payload, Some(Payload::OcclusionBalloon(_)))
    }

    pub(super) fn step(&mut self, say: &str, act: Action) {
        self.script.push(Step::new(act).saying(say));
    }

    pub(super) fn advance(&mut self, say: &str, device: &str, to: Where) {
        let device = device.to_owned();
        self.step(
            say,
            Action::Advance {
                device,
                to,
                nose: None,
            },
        );
    }

    pub(super) fn insert(
        &mut self,
        say: &str,
        device: &str,
        through: &str,
        over: Option<&str>,
        to: Where,
    ) {
        let act = Action::Insert {
            device: device.to_owned(),
            through: Some(through.to_owned()),
            over: over.map(str::to_owned),
            to,
        };
        self.step(say, act);
    }

    pub(super) fn remove(&mut self, say: &str, device: &str) {
        let device = device.to_owned();
        self.step(say, Action::Remove { device });
    }

    pub(super) fn contrast(&mut self, say: &str, through: &str, region: Region) {
        let through = through.to_owned();
        self.step(say, Action::Contrast { through, region });
    }

    /// A place past a landmark, whole millimetres, still on the route.
    fn past(&self, landmark: &str, at_mm: f64, by_mm: f64) -> Where {
        let room_mm = (self.plan.track.length_mm() - at_mm).floor();
        match by_mm.round().min(room_mm) {
            mm if mm < 0.0 => Where::Short(landmark.to_owned(), -mm),
            mm => Where::Past(landmark.to_owned(), mm),
        }
    }

    pub(super) fn past_lesion(&self, by_mm: f64) -> Where {
        self.past(
            &format!("{}-end", self.lesion.name),
            self.lesion.end_mm,
            by_mm,
        )
    }

    pub(super) fn past_clot(&self, by_mm: f64) -> Where {
        self.past(&format!("{}-end", self.clot.name), self.clot.end_mm, by_mm)
    }

    pub(super) fn before_clot(&self, by_mm: f64) -> Where {
        Where::Short(format!("{}-start", self.clot.name), by_mm)
    }

    pub(super) fn guide_tip(&self) -> Where {
        Where::At(DeviceEnd::Tip.of(&self.roles.guide))
    }
}
