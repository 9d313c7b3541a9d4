//! Generic device classes: tubes and wires with what they carry, and the small parts on them.
//!
//! # What goes in, what comes out
//!
//! A [`Device`] is a description as the trade writes it: usable length mm, outer and inner diameter mm and bending stiffness
//! N mm² by distance from the tip ([`Section`]), what it carries ([`Payload`]), and what each value rests on
//! ([`DeviceBasis`]). It is read from a file by `nestline::data::read_device` and checked by
//! [`Device::check`], which names every field that contradicts another.
//!
//! | question | answer |
//! | --- | --- |
//! | does one go through the lumen of the other, and with how much room (diametral, mm)? | [`coaxial`] |
//! | do several fit side by side in a lumen? | [`side_by_side`], [`bundle_diameter_mm`] |
//! | how much is left outside (mm), how much can be fed, how long must the rail be? | [`Device::outside_mm`], [`Device::most_fed_mm`], [`Device::rail_needed_mm`] |
//! | how long is a braid at a diameter (mm), what does it press with (N/mm)? | [`Braid`], [`StentSpec`] |
//! | how wide is a balloon at a pressure (atm)? | [`BalloonSpec::diameter_at_mm`] |
//!
//! # What it cannot do
//!
//! It knows no vessel and no force between devices: those are in [`mechanics`](crate::mechanics). Classes are generic; no product is
//! described, and stiffness from a class is an order of magnitude. Fits compare diameters with tolerances: whether a device
//! that fits also goes round a bend is a question of forces.

mod accessory;
mod balloon;
mod braid;
mod bundle;
mod check;
mod check_payload;
mod class;
mod error;
mod fit;
mod length;
mod nest;
mod payload;
mod profile;
mod retriever;
mod stent;
mod tube;

pub(crate) use balloon::ATM_MPA;
pub use braid::Braid;
pub use bundle::bundle_diameter_mm;
pub use error::DeviceError;
pub use fit::{Fit, FitRules, Relation, Spot, Verdict};
pub use nest::{coaxial, side_by_side};
pub use payload::{
    BalloonSpec, Cells, OcclusionBalloonSpec, Payload, RetrieverSpec, StentDesign, StentSpec,
};
pub use tube::{
    Accessory, Basis, Coating, Designation, Device, DeviceBasis, DeviceClass, Knot, LumenKind,
    Section, Tip,
};
