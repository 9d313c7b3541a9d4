//! Looks without contrast and maps to steer by.

use super::stepper::{Outcome, Stepper, stop};
use crate::procedure::reason::{Finding, Image, Precondition, RetrieverNeed, Retrieving};
use crate::procedure::script::{Plane, Region};

/// How far an open retriever's markers may lie from where they lay before it counts as moved, mm (assumed: two
/// struts of a marker's distance on the screen).
const MOVED_MM: f64 = 2.0;

impl Stepper<'_> {
    /// A plane turned to a region: it shows another picture, and no map lies on it any more.
    pub(super) fn watch(&mut self, plane: Plane, region: Region) {
        let plane = plane.index();
        self.state.watching[plane] = Some(region);
        self.state.run_on[plane] = false;
        self.state.roadmap[plane] = false;
    }

    /// The last run of a plane laid over what it shows.
    pub(super) fn lay_roadmap(&mut self, plane: Plane) -> Outcome {
        if !self.state.run_on[plane.index()] {
            return stop(Precondition::NoRunToMap { plane });
        }
        self.state.roadmap[plane.index()] = true;
        Ok(())
    }

    /// Whether a map of a region lies on a plane.
    fn mapped(&self, region: Region) -> bool {
        (0..2).any(|p| self.state.roadmap[p] && self.state.watching[p] == Some(region))
    }

    /// Something finds its way across an obstacle with no map of it.
    pub(super) fn tell_no_roadmap(&mut self, device: usize, across: &str, at_mm: f64) {
        let region = self.plan.region_of(at_mm);
        if !self.mapped(region) {
            self.tell(Finding::note(Image::NoRoadmap {
                device: self.name(device),
                across: across.to_owned(),
            }));
        }
    }

    /// Where an open retriever's markers lie, against where they lay when last seen.
    pub(super) fn check_markers(&mut self, name: &str) -> Outcome {
        let (device, at) = self.in_body(name)?;
        if !self.state.open[device] {
            return stop(RetrieverNeed::NotOpen {
                device: name.to_owned(),
            });
        }
        let region = self.plan.region_of(at.tip_mm);
        if !self.state.watching.contains(&Some(region)) {
            return stop(Precondition::NoPlaneThere { region });
        }
        let now_mm = self
            .state
            .distal_end_mm(self.plan, device)
            .unwrap_or(at.tip_mm);
        let moved_mm = self.state.markers_mm[device].map_or(0.0, |seen_mm| now_mm - seen_mm);
        let found = Retrieving::Markers {
            device: name.to_owned(),
            moved_mm,
        };
        self.tell(if moved_mm.abs() > MOVED_MM {
            Finding::warning(found)
        } else {
            Finding::note(found)
        });
        self.state.markers_mm[device] = Some(now_mm);
        Ok(())
    }
}
