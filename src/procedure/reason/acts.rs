//! What stents, balloons and retrievers are told.

use super::likelihood::Likelihood;
use crate::procedure::script::Spot;
use serde::{Deserialize, Serialize};

/// What opened a lesion.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum OpenedBy {
    /// A stent as it came out.
    StentAlone,
    /// A balloon before a stent.
    PreDilation,
    /// A balloon in a stent.
    PostDilation,
}

/// A stent and where it comes to lie.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Stenting {
    /// Where a stent came to lie.
    StentLies {
        /// Its near end.
        from: Spot,
        /// Its far end.
        to: Spot,
    },
    /// A stent narrower at rest than the vessel it lands in.
    StentTooNarrow {
        /// The stent system.
        device: String,
        /// Diameter at rest.
        free_mm: f64,
        /// The vessel.
        vessel_mm: f64,
    },
    /// A stent over- or undersized.
    StentOversize {
        /// The stent system.
        device: String,
        /// Diameter at rest over that of the vessel.
        oversize_mm: f64,
        /// What is usual.
        usual_mm: (f64, f64),
    },
    /// A stent that does not reach the wall in the bulb.
    StentOffBulb {
        /// The stent system.
        device: String,
        /// Diameter at rest.
        free_mm: f64,
        /// The widest vessel along it.
        widest_mm: f64,
    },
    /// A lesion that a stent covers in part.
    LeavesBare {
        /// The lesion.
        lesion: String,
        /// Wall covered below it; negative: it begins above.
        below_mm: f64,
        /// Wall covered above it; negative: it ends below.
        above_mm: f64,
    },
    /// A lesion covered with little to spare.
    LittleCover {
        /// The lesion.
        lesion: String,
        /// Wall covered below it.
        below_mm: f64,
        /// Wall covered above it.
        above_mm: f64,
        /// What is wanted.
        wanted_mm: f64,
    },
    /// A stent that covers no lesion.
    CoversNothing {
        /// The stent system.
        device: String,
    },
}

/// A balloon, and what it or a stent leaves of a lesion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Ballooning {
    /// What a lesion was opened to, an estimate.
    Opened {
        /// The lesion.
        lesion: String,
        /// What opened it.
        by: OpenedBy,
        /// The lumen.
        lumen_mm: f64,
        /// NASCET percent.
        nascet_percent: f64,
        /// ECST percent.
        ecst_percent: f64,
        /// NASCET percent for plaque three times stiffer and softer.
        nascet_range_percent: Option<[f64; 2]>,
    },
    /// A flow-stopping balloon narrower than its vessel.
    DoesNotStopFlow {
        /// The device.
        device: String,
        /// What it opens to.
        opens_mm: f64,
        /// The vessel.
        vessel_mm: f64,
    },
    /// A balloon wider than the artery beyond the lesion.
    BalloonWide {
        /// The lesion.
        lesion: String,
        /// What it opens to.
        opens_mm: f64,
        /// The artery beyond.
        reference_mm: f64,
        /// A balloon that would fit.
        fitting_mm: f64,
    },
    /// A balloon in a dissection.
    DilatesDissection {
        /// The lesion.
        lesion: String,
    },
    /// What a balloon opens to.
    BalloonOpens {
        /// The device.
        device: String,
        /// Pressure, atm.
        pressure_atm: f64,
        /// What it opens to.
        opens_mm: f64,
        /// The lesion.
        lesion: String,
        /// Tension of its wall.
        tension_n_per_mm: f64,
    },
    /// A balloon that reaches beyond the stent.
    BalloonBeyondStent {
        /// The lesion.
        lesion: String,
    },
    /// A balloon across no lesion.
    BalloonMissesLesion {
        /// The device.
        device: String,
    },
}

/// What an open retriever is drawn through.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Narrowing {
    /// A lesion, by its name.
    Lesion(String),
    /// The mouth of a catheter, by its name.
    Mouth(String),
    /// The vessel itself.
    Vessel,
}

/// A retriever where it opens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Retrieving {
    /// A retriever in a vessel it is not made for.
    RetrieverSize {
        /// The retriever.
        device: String,
        /// Least vessel it is made for.
        from_mm: f64,
        /// Widest vessel it is made for.
        to_mm: f64,
        /// The vessel it opens in.
        vessel_mm: f64,
    },
    /// An open retriever that nothing folds any more.
    NoWayBack {
        /// The retriever.
        device: String,
        /// The microcatheter that goes off.
        sheath: String,
    },
    /// Where an open retriever's markers lie.
    Markers {
        /// The retriever.
        device: String,
        /// How far from where they lay; negative: nearer to the access.
        moved_mm: f64,
    },
    /// A clot that is longer than the artery it begins in.
    ClotRunsOn {
        /// The clot.
        clot: String,
        /// The artery it begins in.
        from: String,
        /// The artery it ends in.
        into: String,
        /// Length beyond the first one.
        beyond_mm: f64,
    },
    /// A retriever that misses part of the clot.
    MissesClot {
        /// The retriever.
        device: String,
        /// How far it ends beyond the clot.
        beyond_mm: f64,
        /// How far it begins before the clot.
        before_mm: f64,
    },
    /// A retriever open over the clot.
    OpenOverClot {
        /// The retriever.
        device: String,
        /// How far it ends beyond the clot.
        beyond_mm: f64,
        /// How far it begins before the clot.
        before_mm: f64,
        /// Its length.
        length_mm: f64,
        /// Narrowest and widest vessel along it.
        vessel_mm: (f64, f64),
    },
    /// Clot and open struts drawn through what is narrower than both.
    ClotThroughNarrow {
        /// The retriever.
        device: String,
        /// What it is drawn through: a lesion, a stent, or a catheter's mouth.
        through: Narrowing,
        /// Lumen there, mm.
        lumen_mm: f64,
        /// Clot and struts side by side, as a round cord, mm.
        cord_mm: f64,
        /// What the struts' own push rubs with there, N.
        drag_n: f64,
        /// How likely clot is stripped off.
        stripped: Likelihood,
    },
    /// What it takes to make an open retriever slide.
    RetrieverSlides {
        /// The retriever.
        device: String,
        /// Friction on the bare wall.
        on_wall_n: f64,
        /// Friction on clot.
        on_clot_n: f64,
        /// Both at the hub, over the bends below.
        at_hub_n: f64,
        /// Whether rods found that; else a limp string in the bends below.
        by_rods: bool,
    },
}
