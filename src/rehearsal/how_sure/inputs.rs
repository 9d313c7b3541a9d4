//! What a length of the plan may be other than reckoned with: lengths of the vessel, of the devices, of the hub.

use super::chance::{Law, is_near};
use crate::device::Payload;
use crate::geometry::anatomy::Known;
use crate::math::power;
use crate::procedure::Plan;
use serde::{Deserialize, Serialize};

/// Spread of a catheter's or a wire's length, mm, one standard deviation (from memory: makers promise it to ± 1 cm).
const DEVICE_MM: f64 = 5.0;
/// The same of what is shorter than `SHORT_MM` (from memory).
const SHORT_DEVICE_MM: f64 = 2.0;
const SHORT_MM: f64 = 300.0;
/// Spread of the length of a hub with its valves, mm (from memory: how far valves are screwed in).
const HUB_MM: f64 = 3.0;
/// Spread of how far the access hub stands off the skin, mm (from memory: a finger's width).
pub(in super::super) const STANDOFF_MM: f64 = 10.0;
/// Spread of a released stent's length, mm (from memory: braids shorten by more or less).
const STENT_MM: f64 = 2.0;
/// A spread from memory is trusted as that of so few people (assumed): it is known to a quarter of itself.
const FROM_MEMORY: f64 = 10.0;

/// Spread of a device's length, mm, one standard deviation.
pub(in super::super) fn device_spread_mm(length_mm: f64) -> f64 {
    match length_mm < SHORT_MM {
        true => SHORT_DEVICE_MM,
        false => DEVICE_MM,
    }
}

/// What the spread of a length rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RestsOn {
    /// The patient's own angiogram, read with the error of a reading (from memory).
    Measured,
    /// The mean of others, who differ: how many stand behind it, and who they were.
    Assumed {
        /// People behind mean and spread.
        people: f64,
        /// Who they were; none where mean and spread are from memory.
        whom: Option<String>,
    },
    /// The maker's promise (from memory).
    Made,
    /// The operator's habit (from memory).
    Habit,
}

/// One thing that a margin may hang on.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Input {
    /// For programs: the field of the form, or what of the stack.
    pub(super) field: String,
    /// What it belongs to, in words: the first cause is told by it.
    pub(super) group: String,
    pub(super) value_mm: f64,
    pub(super) spread_mm: f64,
    pub(super) rests_on: RestsOn,
}

impl Input {
    /// People that the spread is trusted as that of.
    pub(super) fn people(&self) -> f64 {
        match self.rests_on {
            RestsOn::Assumed { people, .. } => people,
            _ => FROM_MEMORY,
        }
    }

    /// Whether the mean is that of other people, and so known to an error of its own.
    pub(super) fn is_assumed(&self) -> bool {
        matches!(self.rests_on, RestsOn::Assumed { .. })
    }
}

/// All of a plan's, and where each begins.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct Inputs {
    pub(super) all: Vec<Input>,
    devices_from: usize,
    hubs_from: usize,
    stents_from: usize,
    standoff: usize,
}

impl Inputs {
    pub(in super::super) fn of(plan: &Plan) -> Self {
        let mut all: Vec<Input> = plan.lengths.iter().map(vessel_length).collect();
        let devices_from = all.len();
        all.extend(plan.devices.iter().map(|d| Input {
            field: format!("{}.usable_length", d.name),
            group: format!("the length of the {}", d.name),
            value_mm: d.device.usable_length_mm,
            spread_mm: device_spread_mm(d.device.usable_length_mm),
            rests_on: RestsOn::Made,
        }));
        let hubs_from = all.len();
        all.extend(plan.devices.iter().map(|d| Input {
            field: format!("{}.hub_length", d.name),
            group: format!("hub and valves of the {}", d.name),
            value_mm: d.device.hub_length_mm,
            spread_mm: if d.is_rail() { 0.0 } else { HUB_MM },
            rests_on: RestsOn::Made,
        }));
        let stents_from = all.len();
        all.extend(plan.devices.iter().map(|d| Input {
            field: format!("{}.stent_length", d.name),
            group: format!("the length of the open {}", d.name),
            value_mm: 0.0,
            spread_mm: match d.device.payload {
                Some(Payload::Stent(_)) => STENT_MM,
                _ => 0.0,
            },
            rests_on: RestsOn::Made,
        }));
        let standoff = all.len();
        all.push(Input {
            field: "hub_standoff".into(),
            group: "how far the hub stands off the skin".into(),
            value_mm: plan.hub_standoff_mm,
            spread_mm: STANDOFF_MM,
            rests_on: RestsOn::Habit,
        });
        Self {
            all,
            devices_from,
            hubs_from,
            stents_from,
            standoff,
        }
    }

    /// A form in which so much of one input counts, and nothing else.
    fn unit(&self, input: usize) -> Form {
        let mut by = vec![0.0; self.all.len()];
        by[input] = 1.0;
        Form(by)
    }

    pub(super) fn nothing(&self) -> Form {
        Form(vec![0.0; self.all.len()])
    }

    pub(super) fn device(&self, k: usize) -> Form {
        self.unit(self.devices_from + k)
    }

    pub(super) fn hub(&self, k: usize) -> Form {
        self.unit(self.hubs_from + k)
    }

    pub(super) fn stent(&self, k: usize) -> Form {
        self.unit(self.stents_from + k)
    }

    pub(super) fn standoff(&self) -> Form {
        self.unit(self.standoff)
    }

    /// One standard deviation of a margin, mm.
    pub(super) fn spread_mm(&self, form: &Form) -> f64 {
        spread_mm(&self.all, form)
    }

    /// Whether a margin (mm) of a form is near enough to nothing to count in any chance.
    pub(in super::super) fn counts(&self, margin_mm: f64, form: &Form) -> bool {
        is_near(margin_mm, self.spread_mm(form))
    }

    /// What makes margins (mm) of these forms short.
    pub(in super::super) fn law(&self, margins: &[(f64, &Form)]) -> Law {
        Law::new(&self.all, margins)
    }

    /// The station of a landmark.
    pub(super) fn landmark(&self, plan: &Plan, name: &str) -> Form {
        let mut form = self.nothing();
        for (by, length) in form.0.iter_mut().zip(&plan.lengths) {
            *by = length.moves(name);
        }
        form
    }
}

/// One standard deviation of a margin, mm.
pub(super) fn spread_mm(inputs: &[Input], form: &Form) -> f64 {
    let parts = inputs.iter().zip(&form.0);
    let variance = parts.map(|(input, by)| power(by * input.spread_mm, 2));
    variance.sum::<f64>().sqrt()
}

fn vessel_length(length: &crate::geometry::anatomy::RouteLength) -> Input {
    let (rests_on, assumed) = match length.known {
        Known::Measured => (RestsOn::Measured, false),
        Known::Like { people, whom } => (
            RestsOn::Assumed {
                people,
                whom: whom.map(str::to_owned),
            },
            true,
        ),
    };
    let group = spoken(&length.field);
    Input {
        field: length.field.clone(),
        // what was measured and what was not are two causes
        group: match assumed {
            true => group.to_owned(),
            false => format!("{group} as measured"),
        },
        value_mm: length.value_mm,
        spread_mm: length.spread_mm,
        rests_on,
    }
}

/// What a field of the form belongs to, as it is spoken of.
fn spoken(field: &str) -> &'static str {
    match field.split(['.', '[']).next().unwrap_or_default() {
        "femoral" => "the groin-to-arch length",
        "radial" => "the length of the arm's arteries",
        "arch" => "the way along the arch",
        "innominate" => "the innominate's length",
        "common_carotid" => "the common carotid's length",
        "puncture_below_bifurcation" => "the puncture's distance from the bifurcation",
        "cervical_ica" => "the neck's internal carotid",
        "petrous" | "siphon" => "the carotid in the skull",
        "m1" | "m2" => "the length of the middle cerebral artery",
        "clot" => "the clot's place",
        _ => "the lesion's extent",
    }
}

/// By how much a length grows with each input: a sum of inputs, each counted once, not at all, or taken off.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct Form(pub(super) Vec<f64>);

impl std::ops::Add<&Self> for Form {
    type Output = Self;

    fn add(mut self, other: &Self) -> Self {
        for (a, b) in self.0.iter_mut().zip(&other.0) {
            *a += b;
        }
        self
    }
}

impl std::ops::Sub<&Self> for Form {
    type Output = Self;

    fn sub(mut self, other: &Self) -> Self {
        for (a, b) in self.0.iter_mut().zip(&other.0) {
            *a -= b;
        }
        self
    }
}
