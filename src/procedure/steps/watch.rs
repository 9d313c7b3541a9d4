//! Who watches what moves, and what holds the way across lesions.

use super::stepper::Stepper;
use crate::procedure::reason::{Access, Finding, Image};
use crate::procedure::script::Region;
use crate::procedure::state::State;

impl Stepper<'_> {
    /// Moves in the neck or the head that no image plane sees, and an open retriever that nobody
    /// watches while the neck is worked on.
    pub(super) fn tell_unwatched(&mut self) {
        let watched = |state: &State, region| state.watching.contains(&Some(region));
        let unseen: Vec<(usize, Region)> = self
            .effect
            .moves
            .iter()
            .filter(|m| m.to_mm > 0.0)
            .map(|m| (m.device, self.plan.region_of(m.to_mm)))
            .filter(|(_, region)| *region != Region::Access && !watched(&self.state, *region))
            .collect();
        for (device, region) in unseen {
            let device = self.name(device);
            self.tell(Finding::warning(Image::Unwatched { device, region }));
        }
        let works_in_neck = self
            .effect
            .moves
            .iter()
            .any(|m| self.plan.region_of(m.to_mm) == Region::Neck);
        let open = self.state.open.iter().position(|open| *open);
        if let Some(retriever) = open
            && works_in_neck
            && !watched(&self.state, Region::Head)
        {
            let device = self.name(retriever);
            self.tell(Finding::warning(Image::OpenUnwatched { device }));
        }
    }

    /// Lesions that were crossed before this step and are held by nothing after it.
    pub(super) fn tell_lost_access(&mut self, before: &State) {
        for lesion in 0..self.plan.track.lesions.len() {
            let held_before = before.across(self.plan, lesion).next().is_some();
            let held_now = self.state.across(self.plan, lesion).next().is_some();
            if held_now {
                self.state.access_lost[lesion] = false;
            } else if held_before {
                self.state.access_lost[lesion] = true;
                let lesion = self.plan.track.lesions[lesion].name.clone();
                self.tell(Finding::note(Access::GivenUp { lesion }));
            }
        }
    }
}
