//! Stents left in the vessel, and their edges.

use crate::mechanics::StentStation;
use serde::{Deserialize, Serialize};

/// A stent left in the vessel.
#[derive(Debug, Clone, PartialEq)]
pub struct DeployedStent {
    /// The system it came from.
    pub device: usize,
    /// Station of its end nearer the access, mm.
    pub proximal_mm: f64,
    /// Station of its far end, mm.
    pub distal_mm: f64,
    /// What it holds, from its far end to its near one.
    pub profile: Vec<StentStation>,
    /// By lesion it lies in (index): the narrowest lumen right after its release, mm.
    pub alone: Vec<(usize, f64)>,
}

impl DeployedStent {
    /// Diameter it holds at a station, mm; none outside it.
    #[must_use]
    pub fn diameter_at_mm(&self, s_mm: f64) -> Option<f64> {
        if !(self.proximal_mm..=self.distal_mm).contains(&s_mm) {
            return None;
        }
        let before = self.profile.partition_point(|p| p.s_mm >= s_mm);
        let far = self.profile.get(before.checked_sub(1)?)?;
        let Some(near) = self.profile.get(before) else {
            return Some(far.diameter_mm);
        };
        let part = (far.s_mm - s_mm) / (far.s_mm - near.s_mm);
        Some(far.diameter_mm + (near.diameter_mm - far.diameter_mm) * part)
    }

    /// Narrowest diameter it holds between two stations, mm; none where it does not lie there.
    #[must_use]
    pub fn narrowest_between_mm(&self, from_mm: f64, to_mm: f64) -> Option<f64> {
        let inside = self
            .profile
            .iter()
            .filter(|p| p.s_mm >= from_mm && p.s_mm <= to_mm);
        inside.map(|p| p.diameter_mm).min_by(f64::total_cmp)
    }
}

/// An edge of a stent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EdgeKind {
    /// Its far end.
    Upper,
    /// Its end nearer the access.
    Lower,
    /// Struts of open cells between both, where the vessel bends most.
    Cells,
}
