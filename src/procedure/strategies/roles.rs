//! Which device of a stack does what, and how the script enters.

use super::choices::Choices;
use crate::device::{Accessory, Device, DeviceClass};
use crate::procedure::error::StrategyError;
use crate::procedure::script::{Plan, StackDevice, Step};

/// Names of the devices by what they do.
pub(super) struct Roles {
    pub(super) sheath: Option<String>,
    pub(super) guide: String,
    pub(super) wire: String,
    pub(super) microcatheter: String,
    pub(super) retriever: Option<String>,
    pub(super) stent: Option<String>,
    pub(super) balloon: Option<String>,
    pub(super) aspiration: String,
    pub(super) insertion_tool: Option<String>,
}

impl Roles {
    pub(super) fn of(plan: &Plan, choices: &Choices) -> Result<Self, StrategyError> {
        let find = |is: &dyn Fn(DeviceClass) -> bool| {
            let found = plan.devices.iter().find(|d| is(d.device.class));
            found.map(|d| d.name.clone())
        };
        let need =
            |what: &'static str, found: Option<String>| found.ok_or_else(|| missing(choices, what));
        let thin_wire = plan
            .devices
            .iter()
            .find(|d| is_thin_wire(d))
            .map(|d| d.name.clone());
        let tool = |a: &Accessory| matches!(a, Accessory::InsertionTool { .. });
        Ok(Self {
            sheath: find(&|c| c == DeviceClass::AccessSheath),
            guide: need(
                "a guide",
                find(&|c| matches!(c, DeviceClass::Guide | DeviceClass::BalloonGuide)),
            )?,
            wire: need("a 0.014 in wire", thin_wire)?,
            microcatheter: need(
                "a microcatheter",
                find(&|c| c == DeviceClass::Microcatheter),
            )?,
            aspiration: need(
                "an aspiration catheter",
                find(&|c| c == DeviceClass::Aspiration),
            )?,
            retriever: find(&|c| c == DeviceClass::Retriever),
            stent: find(&|c| c == DeviceClass::CarotidStent),
            balloon: find(&|c| c == DeviceClass::Balloon),
            insertion_tool: plan
                .parts
                .iter()
                .find(|p| tool(&p.accessory))
                .map(|p| p.name.clone()),
        })
    }

    pub(super) fn need_retriever(&self, choices: &Choices) -> Result<String, StrategyError> {
        let found = self.retriever.clone();
        found.ok_or_else(|| missing(choices, "a retriever"))
    }

    pub(super) fn need_stent(&self, choices: &Choices) -> Result<String, StrategyError> {
        let found = self.stent.clone();
        found.ok_or_else(|| missing(choices, "a carotid stent system"))
    }

    pub(super) fn need_balloon(&self, choices: &Choices) -> Result<String, StrategyError> {
        let found = self.balloon.clone();
        found.ok_or_else(|| missing(choices, "a balloon"))
    }
}

fn missing(choices: &Choices, what: &'static str) -> StrategyError {
    StrategyError::Missing {
        strategy: choices.name(),
        what,
    }
}

/// A wire that microcatheters and rapid-exchange systems run over: up to 0.018 in.
fn is_thin_wire(d: &StackDevice) -> bool {
    is_thin(&d.device)
}

fn is_thin(device: &Device) -> bool {
    device.class == DeviceClass::Wire && device.shaft_outer_mm() < 0.5
}

/// Whether a device does the work of another in a script: of the same class, wires of the same kind (those that lead
/// catheters to the neck, or those that microcatheters run over), guides with or without a balloon.
#[must_use]
pub fn stands_in(device: &Device, other: &Device) -> bool {
    let work = |class: DeviceClass| match class {
        DeviceClass::BalloonGuide => DeviceClass::Guide,
        class => class,
    };
    work(device.class) == work(other.class) && is_thin(device) == is_thin(other)
}

/// The script's own steps up to the first that names a device which works on neck or clot.
pub(super) fn access_steps(plan: &Plan) -> Result<Vec<Step>, StrategyError> {
    let works = |name: &str| {
        plan.devices.iter().any(|d| {
            d.name == name
                && (is_thin_wire(d)
                    || matches!(
                        d.device.class,
                        DeviceClass::Microcatheter
                            | DeviceClass::Aspiration
                            | DeviceClass::Retriever
                            | DeviceClass::CarotidStent
                            | DeviceClass::Balloon
                            | DeviceClass::Filter
                    ))
        })
    };
    let steps: Vec<Step> = plan
        .script
        .iter()
        .take_while(|step| !step.act.devices().into_iter().any(works))
        .cloned()
        .collect();
    let guide_in = steps.iter().any(|step| {
        step.act.devices().into_iter().any(|name| {
            plan.devices.iter().any(|d| {
                d.name == name
                    && matches!(
                        d.device.class,
                        DeviceClass::Guide | DeviceClass::BalloonGuide
                    )
            })
        })
    });
    if guide_in {
        Ok(steps)
    } else {
        Err(StrategyError::NoAccess)
    }
}
