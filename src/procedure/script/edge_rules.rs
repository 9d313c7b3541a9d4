//! How crossings of stent edges are judged: limits that a scene may replace.

use crate::mechanics::{Sampling, Spread};
use crate::units::text;
use serde::{Deserialize, Serialize};

/// How crossings of stent edges are judged; every value may be replaced by the lab's own.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct EdgeRules {
    /// How far a covering tip that is not itself withdrawn is taken to come back under the pull
    /// where the lengths are ruled, mm. Default 4 (assumed, no source); a settled stack gives its
    /// own.
    #[serde(rename = "guide_fall_back", deserialize_with = "text::length_mm")]
    pub guide_fall_back_mm: f64,
    /// Share of caught samples (lower end of its interval) from which a device is likely to catch, which
    /// breaks the plan. Default 0.5: it catches more often than not.
    #[serde(deserialize_with = "text::share")]
    pub fails_at: f64,
    /// Share of caught samples from which it is possible, a weak point; below it is unlikely. Default 0.05.
    #[serde(deserialize_with = "text::share")]
    pub warns_at: f64,
    /// Share of caught samples for which a distance of the guide is named. Default 0.01.
    #[serde(deserialize_with = "text::share")]
    pub named_at: f64,
    /// Gap between a stent's rim and the wall from which the rim is said to stand off, mm. Default 0.5:
    /// twice the thickest strut (from memory, 0.1 to 0.25 mm); no accepted figure for the neck was found.
    #[serde(rename = "rim_stands_off", deserialize_with = "text::length_mm")]
    pub rim_stands_off_mm: f64,
    /// What is not known, and how much.
    pub spread: Spread,
    /// How samples are drawn.
    pub sampling: Sampling,
}

impl Default for EdgeRules {
    fn default() -> Self {
        Self {
            guide_fall_back_mm: 4.0,
            fails_at: 0.5,
            warns_at: 0.05,
            named_at: 0.01,
            rim_stands_off_mm: 0.5,
            spread: Spread::default(),
            sampling: Sampling::default(),
        }
    }
}
