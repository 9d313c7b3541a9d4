//! What differs from case to case, and how a case's plan is made of it.

use super::super::how_sure::{STANDOFF_MM, device_spread_mm};
use crate::geometry::anatomy::{Doubtful, Known, Measurements};
use crate::geometry::{TrackSettings, Tree};
use crate::mechanics::Level;
use crate::procedure::Plan;
use serde::{Deserialize, Serialize};

/// One thing that differs, and what it belongs to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Input {
    pub(super) law: Doubtful,
    pub(super) group: Group,
    of: Of,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Of {
    Vessel,
    Device(usize),
    Hub,
}

/// Inputs that belong together: what is correlated in patients, or is measured in one go, counts as one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Group {
    /// Lengths from the access to the arch.
    Way,
    /// The arch: distances, width, angles.
    Arch,
    /// Lengths and windings of the neck, lengths of its lesions.
    Neck,
    /// Lengths and angles from the skull's base on, and the clot's length.
    Head,
    /// Diameters of the vessel.
    Diameters,
    /// The degree of the stenosis.
    Stenosis,
    /// Lengths of the devices.
    Devices,
    /// How far the access hub stands off the skin.
    Hub,
}

impl Group {
    /// All of them, in the order in which they are told.
    pub const ALL: [Self; 8] = [
        Self::Way,
        Self::Arch,
        Self::Neck,
        Self::Head,
        Self::Diameters,
        Self::Stenosis,
        Self::Devices,
        Self::Hub,
    ];

    /// Its name on the command line and in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Way => "way",
            Self::Arch => "arch",
            Self::Neck => "neck",
            Self::Head => "head",
            Self::Diameters => "diameters",
            Self::Stenosis => "stenosis",
            Self::Devices => "devices",
            Self::Hub => "hub",
        }
    }

    /// In words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Way => "the length from the access to the arch",
            Self::Arch => "the arch",
            Self::Neck => "lengths and windings of the neck",
            Self::Head => "lengths in the head",
            Self::Diameters => "diameters of the vessel",
            Self::Stenosis => "the degree of the stenosis",
            Self::Devices => "lengths of the devices",
            Self::Hub => "how far the hub stands off",
        }
    }

    fn of(field: &str) -> Self {
        let owner = field.split(['.', '[']).next().unwrap_or_default();
        match owner {
            _ if field.contains("diameter") => Self::Diameters,
            _ if field.ends_with("nascet_percent") => Self::Stenosis,
            "femoral" | "radial" => Self::Way,
            "arch" | "aorta" | "innominate" => Self::Arch,
            "common_carotid" | "bifurcation" | "cervical_ica" | "lesions" => Self::Neck,
            _ => Self::Head,
        }
    }
}

/// The groups of these inputs, in the order in which they are told.
pub(super) fn differing(groups: impl Iterator<Item = Group>) -> Vec<Group> {
    let found: Vec<Group> = groups.collect();
    let differs = |group: &Group| found.contains(group);
    Group::ALL.into_iter().filter(differs).collect()
}

/// Everything that differs between the cases of a plan on a measured vessel; where it is not one built of
/// measurements, only devices and hub do.
pub(super) fn inputs(plan: &Plan, form: Option<&Measurements>) -> Vec<Input> {
    let mut all = Vec::new();
    let built = form.and_then(|form| Some((form, form.build().ok()?)));
    if let Some((form, anatomy)) = built {
        let doubtful = form.doubtful(&anatomy).into_iter();
        all.extend(doubtful.map(|law| Input {
            group: Group::of(&law.field),
            law,
            of: Of::Vessel,
        }));
    }
    let made = |field: String, usual: f64, spread: f64| Doubtful {
        field,
        usual,
        spread,
        between: (f64::NEG_INFINITY, f64::INFINITY),
        known: Known::Measured,
    };
    all.extend(plan.devices.iter().enumerate().map(|(k, stacked)| {
        let mm = stacked.device.usable_length_mm;
        Input {
            law: made(
                format!("{}.usable_length", stacked.name),
                mm,
                device_spread_mm(mm),
            ),
            group: Group::Devices,
            of: Of::Device(k),
        }
    }));
    all.push(Input {
        law: Doubtful {
            between: (0.0, f64::INFINITY),
            ..made("hub_standoff".into(), plan.hub_standoff_mm, STANDOFF_MM)
        },
        group: Group::Hub,
        of: Of::Hub,
    });
    all
}

/// What a case's plan is made from.
pub(super) struct Pattern<'a> {
    pub(super) plan: &'a Plan,
    pub(super) form: Option<&'a Measurements>,
    /// The target's name.
    pub(super) target: &'a str,
    pub(super) inputs: &'a [Input],
}

impl Pattern<'_> {
    /// The plan of a case: `shares` are one number from 0 to 1 for each input. None where no such person can be built,
    /// or the way does not lead to the target.
    pub(super) fn plan(&self, shares: &[f64], level: Level) -> Option<Plan> {
        let mut plan = self.plan.clone();
        // what is known of single lengths is told by the plan itself, not by its cases
        plan.lengths.clear();
        let drawn: Vec<(&Input, f64)> = self
            .inputs
            .iter()
            .zip(shares)
            .map(|(input, share)| (input, input.law.at(*share)))
            .collect();
        for (input, value) in &drawn {
            match input.of {
                Of::Vessel => {}
                Of::Device(k) => plan.devices[k].device.set_usable_length_mm(*value),
                Of::Hub => plan.hub_standoff_mm = *value,
            }
        }
        let of_vessel = drawn.iter().filter(|(input, _)| input.of == Of::Vessel);
        let numbers: Vec<(&str, f64)> = of_vessel
            .map(|(input, value)| (input.law.field.as_str(), *value))
            .collect();
        if let Some(form) = self.form.filter(|_| !numbers.is_empty()) {
            let anatomy = form.with_numbers(numbers).build().ok()?;
            let target = anatomy.target(self.target).ok()?;
            let tree: &Tree = &anatomy.tree;
            tree.check().ok()?;
            let track = tree
                .track_with(anatomy.access, target, &TrackSettings::default())
                .ok()?;
            plan.track = track.with_walls_times(plan.values.stiffness.wall);
        }
        Some(match level {
            Level::Usual => plan,
            other => plan.at(other),
        })
    }
}
