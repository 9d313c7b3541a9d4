//! A device as a tube or wire: lengths, diameters, stiffness by distance from its tip.

use super::Payload;
use crate::units::text;
use serde::{Deserialize, Serialize};

/// What a value rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Basis {
    /// Read in the source named.
    Published(String),
    /// Measured on the device; the text says how.
    Measured(String),
    /// A fact of the trade; no source.
    CommonPractice,
    /// Recalled, not looked up; the text says how sure.
    FromMemory(String),
    /// Chosen for the model; the text says why.
    Assumed(String),
}

/// What each group of a device's values rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DeviceBasis {
    /// Usable length, hub length, port.
    pub lengths: Basis,
    /// Outer and inner diameters and their tolerance.
    pub diameters: Basis,
    /// Bending stiffness.
    pub stiffness: Basis,
    /// Tip shape and surface.
    pub tip_and_surface: Basis,
    /// Stent, retriever or balloon, where there is one.
    #[serde(default)]
    pub payload: Option<Basis>,
}

/// Generic class of a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum DeviceClass {
    /// Short sheath at the access site.
    AccessSheath,
    /// Dilator of a sheath.
    Dilator,
    /// Long sheath to the carotid.
    LongSheath,
    /// Guide catheter.
    Guide,
    /// Guide catheter with an occlusion balloon near its tip.
    BalloonGuide,
    /// Pre-shaped selector catheter.
    Selector,
    /// Aspiration or intermediate catheter.
    Aspiration,
    /// Microcatheter.
    Microcatheter,
    /// Guidewire.
    Wire,
    /// Stent retriever on its pusher.
    Retriever,
    /// Self-expanding carotid stent on its delivery catheter.
    CarotidStent,
    /// Angioplasty balloon.
    Balloon,
    /// Distal protection filter on its wire.
    Filter,
}

/// The French number a device is known by, and which side it measures.
///
/// The trap of the trade: a sheath's French is what fits *inside*, a catheter's its *outside*.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Designation {
    /// Sheath French: the least inner diameter.
    SheathFrench(f64),
    /// Catheter French: the outer diameter.
    CatheterFrench(f64),
}

/// Whether and how far a device has a lumen.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum LumenKind {
    /// Solid: a wire or a pusher.
    Solid,
    /// From tip to hub ("over the wire" for balloons).
    Full,
    /// From the tip to a side port; behind it the shaft lies beside its rail.
    RapidExchange {
        /// Distance of the port from the tip, mm.
        #[serde(deserialize_with = "text::length_mm")]
        port_from_tip: f64,
    },
}

/// Surface that touches a wall or another device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Coating {
    /// Hydrophilic coating, wetted.
    Hydrophilic,
    /// PTFE or a like liner.
    Ptfe,
    /// Uncoated polymer.
    Polymer,
    /// Uncoated steel or nitinol.
    Metal,
}

/// One line of a device's profile; values are linear between lines, and the same `from_tip` twice
/// makes a step.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Knot {
    /// Distance from the tip, mm.
    #[serde(rename = "from_tip", deserialize_with = "text::length_mm")]
    pub from_tip_mm: f64,
    /// Outer diameter, mm.
    #[serde(rename = "outer", deserialize_with = "text::device_diameter_mm")]
    pub outer_mm: f64,
    /// Lumen diameter, mm; none where the device is solid.
    #[serde(
        rename = "inner",
        default,
        deserialize_with = "text::optional_device_diameter_mm"
    )]
    pub inner_mm: Option<f64>,
    /// Bending stiffness EI, N mm2.
    #[serde(deserialize_with = "text::stiffness_n_mm2")]
    pub stiffness_n_mm2: f64,
}

/// The interpolated profile at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Outer diameter, mm.
    pub outer_mm: f64,
    /// Lumen diameter, mm, where there is a lumen there.
    pub inner_mm: Option<f64>,
    /// Bending stiffness EI, N mm2.
    pub stiffness_n_mm2: f64,
}

/// Shape of the tip at rest.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Tip {
    /// Straight.
    Straight,
    /// An even bend over the last stretch.
    Curved {
        /// Length of the bent stretch, mm.
        #[serde(deserialize_with = "text::length_mm")]
        length: f64,
        /// Angle it turns by at rest, degrees.
        #[serde(deserialize_with = "text::angle_deg")]
        angle_deg: f64,
    },
}

/// A device with a tip that travels along the route.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Device {
    /// Generic name in plain words, no brand.
    pub name: String,
    /// Class.
    pub class: DeviceClass,
    /// French designation, where the class is known by one.
    #[serde(default)]
    pub size: Option<Designation>,
    /// Length that can enter, tip to hub, mm; for wires and pushers the whole length.
    #[serde(rename = "usable_length", deserialize_with = "text::length_mm")]
    pub usable_length_mm: f64,
    /// Rigid hub and strain relief behind the usable length, mm; 0 for wires and pushers, over
    /// which other devices can be loaded from behind.
    #[serde(rename = "hub_length", deserialize_with = "text::length_mm")]
    pub hub_length_mm: f64,
    /// Lumen.
    pub lumen: LumenKind,
    /// Diameters and stiffness from the tip (first line, `from_tip: "0 mm"`) to the hub.
    pub profile: Vec<Knot>,
    /// Tolerance on each diameter, mm, one-sided.
    #[serde(rename = "diameter_tolerance", deserialize_with = "text::length_mm")]
    pub diameter_tolerance_mm: f64,
    /// Tip at rest.
    pub tip: Tip,
    /// Outer surface.
    pub outer_surface: Coating,
    /// Surface of the lumen, where there is one.
    #[serde(default)]
    pub inner_surface: Option<Coating>,
    /// What it carries.
    #[serde(default)]
    pub payload: Option<Payload>,
    /// What the values rest on.
    pub basis: DeviceBasis,
}

/// A small part that sits on a hub or a rail and does not travel along the route.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Accessory {
    /// Haemostatic valve on a catheter's hub.
    Valve {
        /// Plain name.
        name: String,
        /// Length of rail it uses up, mm.
        #[serde(rename = "length", deserialize_with = "text::length_mm")]
        length_mm: f64,
        /// Widest device it lets through, mm.
        #[serde(rename = "passes", deserialize_with = "text::device_diameter_mm")]
        passes_mm: f64,
        /// What the values rest on.
        basis: Basis,
    },
    /// Torque clip on a wire or pusher.
    Clip {
        /// Plain name.
        name: String,
        /// Length of rail it covers, mm.
        #[serde(rename = "length", deserialize_with = "text::length_mm")]
        length_mm: f64,
        /// Thinnest rail it grips, mm.
        #[serde(rename = "grips_from", deserialize_with = "text::device_diameter_mm")]
        grips_from_mm: f64,
        /// Thickest rail it grips, mm.
        #[serde(rename = "grips_to", deserialize_with = "text::device_diameter_mm")]
        grips_to_mm: f64,
        /// What the values rest on.
        basis: Basis,
    },
    /// Tube that carries a tip or a folded retriever through a valve.
    InsertionTool {
        /// Plain name.
        name: String,
        /// Length, mm.
        #[serde(rename = "length", deserialize_with = "text::length_mm")]
        length_mm: f64,
        /// Its lumen, mm.
        #[serde(rename = "inner", deserialize_with = "text::device_diameter_mm")]
        inner_mm: f64,
        /// Its outer diameter, mm.
        #[serde(rename = "outer", deserialize_with = "text::device_diameter_mm")]
        outer_mm: f64,
        /// What the values rest on.
        basis: Basis,
    },
    /// Wire that is joined to the rear end of a rail, so that a whole catheter comes off it in hand.
    Extension {
        /// Plain name.
        name: String,
        /// Length it adds, mm.
        #[serde(rename = "length", deserialize_with = "text::length_mm")]
        length_mm: f64,
        /// Thinnest rail it joins, mm.
        #[serde(rename = "joins_from", deserialize_with = "text::device_diameter_mm")]
        joins_from_mm: f64,
        /// Thickest rail it joins, mm.
        #[serde(rename = "joins_to", deserialize_with = "text::device_diameter_mm")]
        joins_to_mm: f64,
        /// Its outer diameter, the joint included, mm: what comes off over it needs such a lumen.
        #[serde(rename = "outer", deserialize_with = "text::device_diameter_mm")]
        outer_mm: f64,
        /// What the values rest on.
        basis: Basis,
    },
}
