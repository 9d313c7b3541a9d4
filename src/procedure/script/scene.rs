//! A scene as it is written: vessel, stack and script by name.

use super::edge_rules::EdgeRules;
use super::spread::Spread;
use crate::mechanics::Tightness;
use crate::units::text;
use serde::{Deserialize, Serialize};

/// A vessel, a device stack and a script of steps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scene {
    /// Name in plain words.
    pub name: String,
    /// What the scene shows, in one or two sentences.
    pub about: String,
    /// Vessel file, relative to the scene file.
    pub vessel: String,
    /// Name of the vessel's target the route ends in (`m2-inferior`).
    pub target: String,
    /// How far the access hub stands off the arteriotomy, mm.
    #[serde(rename = "hub_standoff", deserialize_with = "text::length_mm")]
    pub hub_standoff_mm: f64,
    /// Devices and parts, each under a name of its own.
    pub stack: Vec<StackEntry>,
    /// Limits a lab may set for itself.
    #[serde(default)]
    pub rules: Rules,
    /// File with the lab's own step times, relative to the scene file; the built-in ones if left
    /// out.
    #[serde(default)]
    pub durations: Option<String>,
    /// File with the lab's own table of materials, relative to the scene file; what it leaves out, or all of it where
    /// there is none, is taken from the built-in one.
    #[serde(default)]
    pub materials: Option<String>,
    /// Steps in order.
    pub script: Vec<Step>,
}

/// A device or part of the stack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StackEntry {
    /// Name by which the script calls it (`guide`).
    pub name: String,
    /// Device or part file, relative to the scene file.
    pub file: String,
    /// Valve files on its hub, in series, relative to the scene file.
    #[serde(default)]
    pub valves: Vec<String>,
}

/// Limits and habits; every one has a default and may be replaced by the lab's own.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Rules {
    /// Rail that must stay outside the last hub to be held, mm. Default 100: a hand's width
    /// (common practice, no source).
    #[serde(rename = "grip", deserialize_with = "text::length_mm")]
    pub grip_mm: f64,
    /// Share of the access artery's diameter above which a device is warned about. Default 0.9
    /// (common practice, no source: spasm and occlusion of radial arteries).
    #[serde(deserialize_with = "text::share")]
    pub access_fill: f64,
    /// Healthy wall a stent should cover on each side of the lesion, mm. Default 5 (from memory:
    /// 5 to 10 mm are usual).
    #[serde(rename = "landing_margin", deserialize_with = "text::length_mm")]
    pub landing_margin_mm: f64,
    /// How crossings of stent edges are judged.
    pub edge: EdgeRules,
    /// Hub force above which a move fails, N. Default 10: what two fingers hold (from memory: 5 to
    /// 10 N). A limit of the hand, not of the vessel.
    #[serde(deserialize_with = "text::hand_n")]
    pub hub_force_limit_n: f64,
}

impl Default for Rules {
    fn default() -> Self {
        Self {
            grip_mm: 100.0,
            access_fill: 0.9,
            landing_margin_mm: 5.0,
            edge: EdgeRules::default(),
            hub_force_limit_n: 10.0,
        }
    }
}

/// One line of the script.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// What the operator would say; made from the action where it is left out.
    #[serde(default)]
    pub say: Option<String>,
    /// A name by which other steps may wait for this one.
    #[serde(default)]
    pub label: Option<String>,
    /// Labels of steps that have to be over before this one starts, beyond those it needs anyway.
    #[serde(default)]
    pub after: Vec<String>,
    /// Seconds this step takes in all (least, usual, most), in place of what the clock's table says.
    #[serde(default)]
    pub takes_s: Option<Spread>,
    /// How tight the haemostatic valves are that its devices pass; snug if left out. An access sheath closes by itself.
    #[serde(default)]
    pub valves: Option<Tightness>,
    /// What is done.
    pub act: Action,
}

impl Step {
    /// A step that says no more than what is done.
    #[must_use]
    pub const fn new(act: Action) -> Self {
        Self {
            say: None,
            label: None,
            after: Vec::new(),
            takes_s: None,
            valves: None,
            act,
        }
    }

    /// How tight the valves are that its devices pass.
    #[must_use]
    pub fn tightness(&self) -> Tightness {
        self.valves.unwrap_or_default()
    }

    /// The same step in the operator's words.
    #[must_use]
    pub fn saying(mut self, words: impl Into<String>) -> Self {
        self.say = Some(words.into());
        self
    }
}

/// One of the two image planes of the C-arm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Plane {
    /// Frontal plane.
    A,
    /// Lateral plane.
    B,
}

impl Plane {
    /// Its place in a list of both.
    #[must_use]
    pub const fn index(self) -> usize {
        match self {
            Self::A => 0,
            Self::B => 1,
        }
    }
}

/// The region an image plane or a contrast run shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Region {
    /// From the access to the aortic arch's top.
    Access,
    /// The carotid in the neck, from its origin to the skull base.
    Neck,
    /// Above the skull base.
    Head,
}

/// A place along the route.
///
/// Names are landmarks of the vessel (`carotid-bifurcation`, `neck-lesion-end`, `clot-start`) or
/// belong to a device in use: `guide.tip`, `stent.proximal`, `stent.distal` once deployed,
/// `retriever.proximal`, `retriever.distal` once open.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Where {
    /// At a named place.
    At(String),
    /// Beyond a named place (further from the access) by a length, mm.
    Past(String, #[serde(deserialize_with = "text::length_mm")] f64),
    /// Short of a named place (nearer the access) by a length, mm.
    Short(String, #[serde(deserialize_with = "text::length_mm")] f64),
    /// From where it is, in the step's direction, by a length, mm.
    By(#[serde(deserialize_with = "text::length_mm")] f64),
    /// As far as its hub lets it.
    Hub,
    /// Out of the body.
    Out,
}

impl Where {
    /// The named place it is reckoned from, if it is.
    #[must_use]
    pub fn place(&self) -> Option<&str> {
        match self {
            Self::At(name) | Self::Past(name, _) | Self::Short(name, _) => Some(name),
            Self::By(_) | Self::Hub | Self::Out => None,
        }
    }
}

/// What a step does. Devices and parts are called by their names in the stack.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Action {
    /// Bring a device in: through a catheter's hub (or straight through the access), over a rail
    /// or not.
    Insert {
        /// The device.
        device: String,
        /// Catheter whose hub it enters through; none: the access itself.
        #[serde(default)]
        through: Option<String>,
        /// Rail it is loaded over.
        #[serde(default)]
        over: Option<String>,
        /// Where its tip goes.
        to: Where,
    },
    /// Push a device forward.
    Advance {
        /// The device.
        device: String,
        /// Where its tip goes.
        to: Where,
        /// For a guide: the balloon or catheter inside it that leads as its nose.
        #[serde(default)]
        nose: Option<String>,
    },
    /// Push several devices forward as one unit, their hubs held together: each is fed by the same length.
    AdvanceTogether {
        /// The devices; the first leads.
        devices: Vec<String>,
        /// Where the first one's tip goes.
        to: Where,
    },
    /// Turn a shaped tip into an ostium, nothing reaching beyond it.
    Engage {
        /// The catheter.
        device: String,
        /// The ostium, a landmark of the route (`common-carotid-origin`).
        ostium: String,
    },
    /// Pull a device back.
    Withdraw {
        /// The device.
        device: String,
        /// Where its tip goes.
        to: Where,
    },
    /// Pull several devices back as one unit; the first one's tip goes to the place.
    WithdrawTogether {
        /// The devices; the first leads.
        devices: Vec<String>,
        /// Where the first one's tip goes.
        to: Where,
    },
    /// Take a device out over whatever it rides on (an exchange).
    Remove {
        /// The device.
        device: String,
    },
    /// Push the folded retriever through its microcatheter to that catheter's tip.
    LoadRetriever {
        /// The retriever.
        retriever: String,
        /// The microcatheter, its lumen empty.
        through: String,
    },
    /// Pull the microcatheter back over the retriever until the retriever stands open.
    Unsheathe {
        /// The retriever.
        retriever: String,
    },
    /// Release a self-expanding stent where its delivery catheter has it.
    DeployStent {
        /// The stent system.
        device: String,
    },
    /// Inflate a balloon where it is (before the stent: pre-dilation; inside it: post-dilation).
    Inflate {
        /// The balloon, or a guide with an occlusion balloon.
        device: String,
        /// Pressure, atm; an occlusion balloon is filled by volume and takes none.
        #[serde(default, deserialize_with = "text::optional_positive")]
        pressure_atm: Option<f64>,
    },
    /// Let a balloon down.
    Deflate {
        /// The balloon, or a guide with an occlusion balloon.
        device: String,
    },
    /// Turn suction on a catheter's lumen on.
    SuctionOn {
        /// The catheter.
        device: String,
    },
    /// Turn it off.
    SuctionOff {
        /// The catheter.
        device: String,
    },
    /// Inject contrast through a catheter.
    Contrast {
        /// The catheter.
        through: String,
        /// What the run is to show.
        region: Region,
    },
    /// Lay the last run over what a plane shows, as a map to steer by.
    Roadmap {
        /// The plane; it must not have moved since the run.
        plane: Plane,
    },
    /// Look, without contrast, where an open retriever's markers lie.
    CheckMarkers {
        /// The retriever.
        retriever: String,
    },
    /// Press saline through a catheter's lumen from its hub until it has come out: it pushes a short rail
    /// forward while the catheter comes off over it.
    Flush {
        /// The catheter.
        device: String,
        /// Pressure at the hub, atm; 5 if left out.
        #[serde(default, deserialize_with = "text::optional_positive")]
        pressure_atm: Option<f64>,
    },
    /// Put a torque clip, an insertion tool or an extension on a rail.
    Attach {
        /// The part.
        part: String,
        /// The rail.
        rail: String,
    },
    /// Take it off.
    Detach {
        /// The part.
        part: String,
    },
    /// Point an image plane at a region.
    Watch {
        /// The plane.
        plane: Plane,
        /// The region.
        region: Region,
    },
    /// Wait.
    Wait {
        /// Minutes, at most a day.
        #[serde(deserialize_with = "text::minutes")]
        minutes: f64,
    },
}

impl Action {
    /// Who is sent where: the first one of a unit.
    #[must_use]
    pub fn destination(&self) -> Option<(&str, &Where)> {
        match self {
            Self::Insert { device, to, .. }
            | Self::Advance { device, to, .. }
            | Self::Withdraw { device, to } => Some((device, to)),
            Self::WithdrawTogether { devices, to } | Self::AdvanceTogether { devices, to } => {
                Some((devices.first()?, to))
            }
            _ => None,
        }
    }

    /// The named place where something is sent to.
    #[must_use]
    pub fn place(&self) -> Option<&str> {
        match self {
            Self::Insert { to, .. }
            | Self::Advance { to, .. }
            | Self::Withdraw { to, .. }
            | Self::AdvanceTogether { to, .. }
            | Self::WithdrawTogether { to, .. } => to.place(),
            Self::Engage { ostium, .. } => Some(ostium),
            _ => None,
        }
    }

    /// Whether a device is moved by it.
    #[must_use]
    pub fn moves_something(&self) -> bool {
        match self {
            Self::Insert { .. }
            | Self::Advance { .. }
            | Self::AdvanceTogether { .. }
            | Self::Engage { .. }
            | Self::Withdraw { .. }
            | Self::WithdrawTogether { .. }
            | Self::Remove { .. }
            | Self::LoadRetriever { .. }
            | Self::Unsheathe { .. } => true,
            Self::DeployStent { .. }
            | Self::Inflate { .. }
            | Self::Deflate { .. }
            | Self::SuctionOn { .. }
            | Self::SuctionOff { .. }
            | Self::Contrast { .. }
            | Self::Roadmap { .. }
            | Self::CheckMarkers { .. }
            | Self::Flush { .. }
            | Self::Attach { .. }
            | Self::Detach { .. }
            | Self::Watch { .. }
            | Self::Wait { .. } => false,
        }
    }

    /// Names of the devices and catheters it calls.
    #[must_use]
    pub fn devices(&self) -> Vec<&str> {
        match self {
            Self::Insert {
                device,
                through,
                over,
                ..
            } => [Some(device), through.as_ref(), over.as_ref()]
                .into_iter()
                .flatten()
                .map(String::as_str)
                .collect(),
            Self::Advance { device, nose, .. } => [Some(device), nose.as_ref()]
                .into_iter()
                .flatten()
                .map(String::as_str)
                .collect(),
            Self::WithdrawTogether { devices, .. } | Self::AdvanceTogether { devices, .. } => {
                devices.iter().map(String::as_str).collect()
            }
            Self::LoadRetriever { retriever, through } => vec![retriever, through],
            Self::Withdraw { device, .. }
            | Self::Remove { device }
            | Self::DeployStent { device }
            | Self::Inflate { device, .. }
            | Self::Deflate { device }
            | Self::SuctionOn { device }
            | Self::SuctionOff { device }
            | Self::Engage { device, .. }
            | Self::Flush { device, .. } => vec![device],
            Self::Unsheathe { retriever } | Self::CheckMarkers { retriever } => vec![retriever],
            Self::Contrast { through, .. } => vec![through],
            Self::Attach { rail, .. } => vec![rail],
            Self::Detach { .. } | Self::Watch { .. } | Self::Roadmap { .. } | Self::Wait { .. } => {
                Vec::new()
            }
        }
    }
}
