//! The lumen at a station as it is now: lesions and stents.

use super::between_steps::State;
use crate::procedure::script::Plan;

impl State {
    /// Lumen at a station, mm: inside a stent where one lies, else what the vessel leaves.
    #[must_use]
    pub fn lumen_at_mm(&self, plan: &Plan, s_mm: f64) -> f64 {
        self.stents
            .iter()
            .rev()
            .find_map(|stent| stent.diameter_at_mm(s_mm))
            .unwrap_or_else(|| plan.track.healthy_diameter_at(s_mm))
    }

    /// Lumen that a lesion leaves at a station now, mm.
    #[must_use]
    pub fn lesion_lumen_mm(&self, plan: &Plan, lesion: usize, s_mm: f64) -> f64 {
        let healthy_mm = plan.track.healthy_diameter_at(s_mm);
        let narrowed_mm = (self.residual_mm[lesion] - healthy_mm)
            * plan.track.lesions[lesion].depth(s_mm)
            + healthy_mm;
        // a lesion never widens its artery
        narrowed_mm.min(healthy_mm)
    }
}
