//! What is told at the edges of stents.

use super::likelihood::Likelihood;
use crate::procedure::state::EdgeKind;
use serde::{Deserialize, Serialize};

/// How likely a crossing catches, and what would help.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Catching {
    /// Share of samples that catch.
    pub share: f64,
    /// How likely it catches.
    pub likelihood: Likelihood,
    /// What would help, with the share of samples that catch then.
    pub helps: Vec<(String, f64)>,
}

/// An edge of a stent and what crosses it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum StentEdge {
    /// An open retriever passes inside a catheter.
    PassesInside {
        /// The retriever.
        device: String,
        /// The stent.
        stent: String,
        /// Which edge.
        edge: EdgeKind,
        /// The catheter.
        cover: String,
        /// How far its tip lies beyond the edge.
        beyond_mm: f64,
        /// The same under load.
        under_load_mm: f64,
        /// How likely it catches.
        #[serde(flatten)]
        catching: Catching,
    },
    /// An open retriever passes with nothing over it.
    DrawnBare {
        /// The retriever.
        device: String,
        /// The stent.
        stent: String,
        /// Which edge.
        edge: EdgeKind,
        /// The catheter that comes nearest and how far its tip lies beyond the edge (mm; negative: below it).
        nearest: Option<(String, f64)>,
        /// How likely it catches.
        #[serde(flatten)]
        catching: Catching,
    },
    /// The rim of a stent stands off the wall.
    RimStandsOff {
        /// The stent.
        stent: String,
        /// Which edge.
        edge: EdgeKind,
        /// Its largest gap.
        gap_mm: f64,
    },
    /// A step of another device, at its tip or behind it, passes.
    StepPasses {
        /// The device.
        device: String,
        /// What it rides on.
        over: Option<String>,
        /// The stent.
        stent: String,
        /// Which edge.
        edge: EdgeKind,
        /// Away from the access.
        forward: bool,
        /// Whether the edge looks towards what arrives.
        faces: bool,
        /// Height of the step.
        step_mm: f64,
        /// How far behind the tip it lies.
        behind_tip_mm: f64,
        /// How likely it catches.
        #[serde(flatten)]
        catching: Catching,
    },
}
