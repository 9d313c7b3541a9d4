//! Where a device that catches at a stent's edge comes to a stop.

use super::{Stage, StepCard};
use crate::procedure::Likelihood;
use crate::rehearsal::EdgeRow;

/// Of an open retriever, what is still beyond the edge, mm: about a third of the shortest.
const BEYOND_MM: f64 = 7.0;
/// Moments that are tried.
const TRIES: u32 = 120;

impl Stage {
    /// The share of a step's motion, by index, at which a device that catches stands in the edge: an open retriever
    /// half across it, anything else with its tip at it. 1 where edges let everything pass.
    #[must_use]
    pub fn stops_at(&self, step: usize) -> f64 {
        let edge = self.steps.get(step).and_then(StepCard::barest_edge);
        edge.map_or(1.0, |edge| self.caught_at(step, edge))
    }

    fn caught_at(&self, step: usize, edge: &EdgeRow) -> f64 {
        if edge.likelihood != Likelihood::Likely {
            return 1.0;
        }
        let device = self.devices.iter().position(|d| d.name == edge.device);
        let Some(device) = device else { return 1.0 };
        let arrived = |share: &f64| {
            let moment = self.at_step(step, *share);
            let tip_mm = moment.device(device).map(|d| d.tip_mm);
            tip_mm.is_some_and(|tip_mm| {
                if edge.forward {
                    tip_mm >= edge.station_mm
                } else {
                    tip_mm <= edge.station_mm + BEYOND_MM
                }
            })
        };
        let mut shares = (0..=TRIES).map(|k| f64::from(k) / f64::from(TRIES));
        shares.find(arrived).unwrap_or(1.0)
    }
}
