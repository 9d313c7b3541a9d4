//! What a step needs and does not find: why it is not done.

use super::lumens::Filled;
use super::way::Narrow;
use crate::procedure::script::{Plane, Region};
use crate::procedure::state::Direction;
use serde::{Deserialize, Serialize};

/// What a catheter's lumen is wanted for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Use {
    /// To take this device.
    Device(String),
    /// For suction.
    Suction,
    /// For contrast.
    Contrast,
    /// For saline that is pressed through it.
    Flush,
}

/// What a step needs and does not find: devices and places.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Precondition {
    /// A name that the stack does not have.
    UnknownName {
        /// The name.
        asked: String,
    },
    /// A device that is not in the body.
    NotInBody {
        /// The device.
        device: String,
    },
    /// A device that is in the body already.
    AlreadyInBody {
        /// The device.
        device: String,
    },
    /// A step that is not done because an earlier one was not.
    Follows {
        /// Number of that step.
        step: usize,
        /// What is missing, in words.
        say: String,
    },
    /// Steps that cannot be done because this one was not.
    HoldsUp {
        /// Their numbers.
        steps: Vec<usize>,
    },
    /// A place that is nowhere yet: the end of something not deployed.
    NowhereYet {
        /// The place.
        place: String,
    },
    /// A nose that does not lie in what it should lead.
    NoseElsewhere {
        /// What it should lead.
        device: String,
        /// The nose.
        nose: String,
    },
    /// A nose that ends behind the tip it should lead.
    NoseBehindTip {
        /// What it should lead.
        device: String,
        /// The nose.
        nose: String,
    },
    /// An advance to a place that lies behind.
    BeyondPlace {
        /// The device.
        device: String,
        /// How far beyond it is.
        beyond_mm: f64,
    },
    /// A withdrawal to a place that lies ahead.
    ShortOfPlace {
        /// The device.
        device: String,
        /// How far short of it it is.
        short_mm: f64,
        /// Whether it is withdrawn as a unit with others.
        unit: bool,
    },
    /// Something lies in a member of a unit and is not of it.
    DraggedAlong {
        /// What would be dragged.
        inside: String,
        /// The member.
        around: String,
    },
    /// A stented lesion narrower than a device that nothing leads.
    StentedLesionNarrow(Narrow),
    /// Two devices at the skin side by side.
    SkinTaken {
        /// The device that comes.
        device: String,
        /// The one that is there.
        by: String,
    },
    /// A catheter with a straight tip, which turns into no ostium.
    NoShape {
        /// The catheter.
        device: String,
    },
    /// Something in a shaped tip that holds it straight.
    ShapeFilled {
        /// The catheter.
        device: String,
        /// What reaches beyond its tip.
        inside: String,
    },
    /// A place at which the route turns off into no vessel.
    NoOstium {
        /// The place.
        place: String,
    },
    /// A map of a run that was not made since the plane was moved.
    NoRunToMap {
        /// The plane.
        plane: Plane,
    },
    /// A look at a region that no plane looks at.
    NoPlaneThere {
        /// The region.
        region: Region,
    },
    /// A hub behind the device that is to come off over it.
    HubBehind {
        /// What has the hub.
        inside: String,
        /// The device that is to come off.
        device: String,
    },
}

/// What suction and contrast need of a lumen and do not find.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum LumenNeed {
    /// Suction that is on already.
    SuctionOnAlready {
        /// The catheter.
        device: String,
    },
    /// Suction that is not on.
    SuctionNotOn {
        /// The catheter.
        device: String,
    },
    /// Contrast into a catheter on suction.
    InjectsUnderSuction {
        /// The catheter.
        device: String,
    },
    /// Contrast into a lumen that nothing flows through.
    LumenBlocked(Filled),
}

/// What a step needs of a rail and does not find.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum RailNeed {
    /// A rail too short outside for the catheter around it to come back.
    RailVanishes {
        /// The rail.
        rail: String,
        /// The catheter.
        around: String,
        /// Rail outside.
        outside_mm: f64,
        /// How far the catheter comes back.
        back_mm: f64,
    },
    /// A valve that runs into the hub of what lies inside.
    ValveMeetsHub {
        /// What lies inside.
        inside: String,
        /// The catheter whose valve it is.
        around: String,
        /// What lies between them.
        between_mm: f64,
        /// How far the catheter comes back.
        back_mm: f64,
    },
    /// A rail with a hub: nothing goes over it from behind.
    HubOnRail {
        /// The rail.
        rail: String,
    },
    /// A device without a lumen for the rail.
    NoLumenForRail {
        /// The device.
        device: String,
        /// The rail.
        rail: String,
    },
    /// A rail that leaves the body through another hub.
    RailElsewhere {
        /// The device.
        device: String,
        /// The rail.
        rail: String,
    },
    /// Too little rail outside to hold it in front of a rapid-exchange device.
    RapidRailShort {
        /// The rail.
        rail: String,
        /// The device.
        device: String,
        /// Rail outside.
        outside_mm: f64,
        /// Distance of the device's port from its tip.
        port_mm: f64,
        /// What a hand needs.
        grip_mm: f64,
    },
}

/// What a step needs of valves, lumens, clips and tools and does not find.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum PartNeed {
    /// A device without a lumen from hub to tip.
    NoThroughLumen {
        /// The device.
        device: String,
        /// What the lumen is wanted for.
        wanted_for: Use,
    },
    /// A valve narrower than what is to pass it.
    ValveNarrow {
        /// What is to pass.
        device: String,
        /// Its outer diameter.
        outer_mm: f64,
        /// The catheter that bears the valve.
        on: String,
        /// What the valve passes.
        passes_mm: f64,
    },
    /// A clip or a tool on the rail.
    PartOnRail {
        /// The device that is to go on or come off.
        device: String,
        /// On or off.
        direction: Direction,
        /// The part.
        part: String,
        /// The rail.
        rail: String,
    },
    /// A part that sits on something already.
    PartTaken {
        /// The part.
        part: String,
        /// What it sits on.
        on: String,
    },
    /// A clip made for other diameters.
    ClipDoesNotGrip {
        /// The clip.
        part: String,
        /// Least diameter it grips.
        from_mm: f64,
        /// Largest diameter it grips.
        to_mm: f64,
        /// The rail.
        rail: String,
        /// Its diameter.
        outer_mm: f64,
    },
    /// An extension made for other rails.
    ExtensionDoesNotJoin {
        /// The extension.
        part: String,
        /// Thinnest rail it joins.
        from_mm: f64,
        /// Thickest rail it joins.
        to_mm: f64,
        /// The rail.
        rail: String,
        /// Its diameter.
        outer_mm: f64,
    },
    /// An extension whose joint does not pass a lumen.
    ExtensionWide {
        /// The device that is to go on or come off.
        device: String,
        /// The extension.
        part: String,
        /// Its diameter.
        outer_mm: f64,
        /// The device's lumen.
        lumen_mm: f64,
    },
    /// An insertion tool narrower than the rail.
    ToolNarrow {
        /// The tool.
        part: String,
        /// Its lumen.
        inner_mm: f64,
        /// The rail.
        rail: String,
        /// Its diameter.
        outer_mm: f64,
    },
    /// A valve used as a clip.
    ValveIsNoClip {
        /// The valve.
        part: String,
    },
    /// A part to be taken off that sits on nothing.
    PartOnNothing {
        /// The part.
        part: String,
    },
}

/// What a step needs of a stent or a balloon and does not find.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum PayloadNeed {
    /// A balloon that is up.
    BalloonUp {
        /// The device that carries it.
        device: String,
    },
    /// A device without a stent.
    NoStent {
        /// The device.
        device: String,
    },
    /// A stent that is out already.
    StentOut {
        /// The device that carried it.
        device: String,
    },
    /// A stent that would open inside a catheter.
    OpensInCatheter {
        /// The device that carries it.
        device: String,
        /// How much of it.
        inside_mm: f64,
    },
    /// A device without a balloon.
    NoBalloon {
        /// The device.
        device: String,
    },
    /// A balloon that is up already.
    BalloonUpAlready {
        /// The device.
        device: String,
    },
    /// A balloon that is not up.
    BalloonNotUp {
        /// The device.
        device: String,
    },
    /// A balloon that is filled by volume, given a pressure.
    FilledByVolume {
        /// The device.
        device: String,
    },
    /// A pressure above the rated one.
    AboveRated {
        /// The device.
        device: String,
        /// Pressure asked for, atm.
        pressure_atm: f64,
        /// Rated pressure, atm.
        rated_atm: f64,
    },
}

/// What a step needs of a retriever and does not find.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "name", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum RetrieverNeed {
    /// A retriever that does not stand open.
    NotOpen {
        /// The retriever.
        device: String,
    },
    /// An open retriever would be pushed forward.
    OpenPushedForward {
        /// The retriever.
        device: String,
    },
    /// A retriever without anything that folds it.
    BareRetriever {
        /// The retriever.
        device: String,
    },
    /// An open retriever taken out like a catheter.
    OpenExchanged {
        /// The retriever.
        device: String,
    },
    /// Another device in the lumen that a retriever needs.
    LumenTaken {
        /// What is in it.
        by: String,
        /// The catheter.
        catheter: String,
    },
    /// A microcatheter short of the clot's far end.
    ShortOfClot {
        /// The microcatheter.
        catheter: String,
        /// By how much.
        short_mm: f64,
    },
    /// A retriever that stands open already.
    OpenAlready {
        /// The retriever.
        device: String,
    },
    /// A device that is no retriever.
    NoRetriever {
        /// The device.
        device: String,
    },
    /// A retriever that nothing covers.
    Uncovered {
        /// The retriever.
        device: String,
    },
    /// A microcatheter that does not cover its retriever.
    SheathShort {
        /// The microcatheter.
        sheath: String,
        /// The retriever.
        device: String,
    },
    /// A pusher too short to draw the microcatheter back over it.
    PusherVanishes {
        /// The retriever.
        device: String,
        /// The microcatheter.
        sheath: String,
        /// Pusher outside it.
        outside_mm: f64,
    },
}
