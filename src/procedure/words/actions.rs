//! Actions in plain words.

use super::said::{and_the, the};
use crate::procedure::script::{Action, Step, Where};

impl Step {
    /// What the script says of it, or what it does where the script says nothing.
    #[must_use]
    pub fn in_words(&self) -> String {
        self.say.clone().unwrap_or_else(|| self.act.in_words())
    }
}

impl Action {
    /// What it does, in the words used where the script has none of its own.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self {
            Self::Insert {
                device,
                through,
                over,
                to,
            } => {
                let mut text = format!("Insert the {device}");
                if let Some(through) = through {
                    text += &format!(" through the {through}");
                }
                if let Some(over) = over {
                    text += &format!(" over the {over}");
                }
                text + &place(to)
            }
            Self::Advance { device, to, nose } => {
                let over = nose
                    .as_ref()
                    .map_or_else(String::new, |n| format!(" with the {n} as its nose"));
                format!("Advance the {device}{over}{}", place(to))
            }
            Self::AdvanceTogether { devices, to } => {
                format!("Advance the {} as one{}", and_the(devices), place(to))
            }
            Self::Engage { device, ostium } => format!("Turn the {device} into {}", the(ostium)),
            Self::Withdraw { device, to } => format!("Withdraw the {device}{}", place(to)),
            Self::WithdrawTogether { devices, to } => {
                format!("Withdraw the {} together{}", and_the(devices), place(to))
            }
            Self::Remove { device } => format!("Take the {device} out"),
            Self::LoadRetriever { retriever, through } => {
                format!("Push the {retriever} through the {through} to its tip")
            }
            Self::Unsheathe { retriever } => format!("Unsheathe the {retriever}"),
            Self::DeployStent { device } => format!("Release the {device}"),
            Self::Inflate {
                device,
                pressure_atm: Some(atm),
            } => format!("Inflate the {device} to {atm} atm"),
            Self::Inflate { device, .. } => format!("Inflate the {device}"),
            Self::Deflate { device } => format!("Deflate the {device}"),
            Self::SuctionOn { device } => format!("Suction on the {device} on"),
            Self::SuctionOff { device } => format!("Suction on the {device} off"),
            Self::Contrast { through, region } => {
                format!(
                    "Contrast through the {through}: run of the {}",
                    region.in_words()
                )
            }
            Self::Attach { part, rail } => format!("Put the {part} on the {rail}"),
            Self::Detach { part } => format!("Take the {part} off"),
            Self::Watch { plane, region } => {
                format!("Plane {} on the {}", plane.in_words(), region.in_words())
            }
            Self::Roadmap { plane } => format!("Roadmap on plane {}", plane.in_words()),
            Self::CheckMarkers { retriever } => format!("Look at the {retriever}'s markers"),
            Self::Flush {
                device,
                pressure_atm: Some(atm),
            } => format!("Press saline through the {device} at {atm} atm"),
            Self::Flush { device, .. } => format!("Press saline through the {device}"),
            Self::Wait { minutes } => format!("Wait {minutes} minutes"),
        }
    }
}

fn place(to: &Where) -> String {
    match to {
        Where::At(name) => format!(" to {name}"),
        Where::Past(name, by_mm) => format!(" to {by_mm:.0} mm past {name}"),
        Where::Short(name, by_mm) => format!(" to {by_mm:.0} mm short of {name}"),
        Where::By(by_mm) => format!(" by {by_mm:.0} mm"),
        Where::Hub => " as far as its hub".into(),
        Where::Out => " out of the body".into(),
    }
}
