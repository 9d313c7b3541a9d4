//! Why a scene is refused before its first step.

use crate::units::{Allowed, Refusal};
use std::error::Error;
use std::fmt::{self, Display, Formatter};

const NO_STEPS: &str =
    "write at least one, for example `(act: Insert(device: \"sheath\", to: Hub))`";
const NO_STACK: &str = "write its devices and parts into it, for example `(name: \"sheath\", file: \"cabinet:access-sheath-8f-11\")`";
const NAME_EACH: &str = "give each device its own";
const STANDOFF: &str = "give how far it stands off the artery, some 30 mm";
const ANOTHER: &str = "name another device or place";
const ONE_OUT: &str = "take one out before this step";
const LEAVE_OUT: &str = "leave it out here, and write it at the steps that move something";
const DURATION: &str = "give a duration that is finite and not negative";
const NEED: &str = "give the team more, or let the step need less";
const CIRCLE: &str = "take one of the waits away";

/// Why a script cannot be rehearsed at all. Every kind names the path of the field in the scene.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum ProcedureError {
    /// No steps.
    EmptyScript,
    /// Nothing in the stack, and steps that name something in it.
    EmptyStack {
        /// How many steps do.
        steps: usize,
        /// Steps in all.
        of: usize,
    },
    /// A name that the stack does not have.
    UnknownDevice {
        /// Path of the field.
        path: String,
        /// The name asked for.
        name: String,
        /// The nearest name there is.
        suggestion: Option<String>,
    },
    /// A name that neither the vessel nor a device has.
    UnknownPlace {
        /// Path of the field.
        path: String,
        /// The name asked for.
        name: String,
        /// The nearest name there is.
        suggestion: Option<String>,
    },
    /// Two entries of the stack with one name.
    DuplicateName {
        /// Path of the second one.
        path: String,
        /// The name.
        name: String,
    },
    /// Something of the wrong kind.
    WrongKind {
        /// Path of the field.
        path: String,
        /// Name in the stack.
        name: String,
        /// What it is.
        found: String,
        /// What is needed here.
        needed: &'static str,
    },
    /// A hub too far from the artery.
    Standoff {
        /// What was found, mm.
        found_mm: f64,
        /// The most, mm.
        most_mm: f64,
    },
    /// A device that is asked to deal with itself.
    Itself {
        /// Path of the field.
        path: String,
        /// Name of the device.
        name: String,
        /// What it cannot do.
        what: &'static str,
    },
    /// More devices in the body at once than can be laid.
    TooManyInside {
        /// Path of the step.
        path: String,
        /// Names of the devices.
        inside: Vec<String>,
        /// The most.
        most: usize,
    },
    /// Too few devices in a list.
    EmptyUnit {
        /// Path of the field.
        path: String,
    },
    /// Valves of a step in which nothing slides through one.
    NothingInValves {
        /// Path of the field.
        path: String,
    },
}

/// Why activities cannot be put on a clock.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum NetworkError {
    /// A duration that no activity has.
    Duration {
        /// Name of the activity.
        activity: String,
        /// What was found, s.
        got_s: f64,
    },
    /// More of a resource than there is.
    ImpossibleNeed {
        /// Name of the activity.
        activity: String,
        /// Name of the resource.
        resource: String,
        /// What it needs.
        needed: usize,
        /// What there is.
        there: usize,
    },
    /// Activities that wait for each other.
    Circular {
        /// Names round the circle, the first one repeated at the end.
        circle: Vec<String>,
    },
    /// A step waits for a label that no step bears.
    UnknownLabel {
        /// The step in words.
        step: String,
        /// Index of the step in the script.
        index: usize,
        /// What it waits for.
        label: String,
        /// The nearest label there is.
        suggestion: Option<String>,
    },
    /// An index that leads nowhere.
    UnknownIndex {
        /// Name of the activity.
        activity: String,
        /// Activity or resource.
        what: &'static str,
        /// The index.
        index: usize,
    },
}

/// Why a strategy cannot be written for a stack and a vessel.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum StrategyError {
    /// The stack lacks a device.
    #[error("the strategy `{strategy}` needs {what}, the stack has none: name one in the stack")]
    Missing {
        /// Name of the strategy.
        strategy: String,
        /// What is missing, in words.
        what: &'static str,
    },
    /// The vessel lacks an obstacle.
    #[error("the route has no {what}: there is nothing to compare strategies for")]
    NothingToTreat {
        /// Lesion of the neck or clot.
        what: &'static str,
    },
    /// No script leads to the guide's place in the neck.
    #[error(
        "the script brings no guide into place before the first working device: write the access steps first"
    )]
    NoAccess,
    /// A choice that contradicts another.
    #[error(
        "the retriever cannot open first where the clot is to be drawn by suction alone: use clot-first or neck-first"
    )]
    NoRetrieverToOpen,
    /// A name that no strategy has.
    #[error("no strategy is named `{name}`; there are {}{}", known.join(", "), did_you_mean(suggestion.as_ref()))]
    Unknown {
        /// The name asked for.
        name: String,
        /// The nearest there is.
        suggestion: Option<String>,
        /// All there are.
        known: Vec<&'static str>,
    },
}

fn meant(name: &String) -> String {
    format!("did you mean `{name}`?")
}

fn did_you_mean(suggestion: Option<&String>) -> String {
    suggestion.map_or_else(String::new, |s| format!(": {}", meant(s)))
}

impl Display for NetworkError {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        self.refusal().fmt(f)
    }
}

impl Error for NetworkError {}

impl NetworkError {
    /// What is wrong and how to mend it, apart.
    #[must_use]
    pub fn refusal(&self) -> Refusal {
        Refusal {
            what: self.what(),
            help: self.help(),
        }
    }

    /// What was found, and why it will not do.
    fn what(&self) -> String {
        match self {
            Self::Duration { activity, got_s } => format!("`{activity}` takes {got_s} s"),
            Self::ImpossibleNeed {
                activity,
                resource,
                needed,
                there,
            } => format!("`{activity}` needs {needed} of {resource}, there are {there}"),
            Self::Circular { circle } => format!(
                "these wait for each other and none can start: {}",
                circle.join(", which waits for ")
            ),
            Self::UnknownLabel { step, label, .. } => {
                format!("`{step}` waits for `{label}`, and no step bears that label")
            }
            Self::UnknownIndex {
                activity,
                what,
                index,
            } => format!("`{activity}` names {what} {index}, which is not there"),
        }
    }

    /// How to mend it, where that can be said.
    #[must_use]
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Duration { .. } => Some(DURATION.to_owned()),
            Self::ImpossibleNeed { .. } => Some(NEED.to_owned()),
            Self::Circular { .. } => Some(CIRCLE.to_owned()),
            Self::UnknownLabel { suggestion, .. } => suggestion.as_ref().map(meant),
            Self::UnknownIndex { .. } => None,
        }
    }
}

impl Display for ProcedureError {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        self.refusal().fmt(f)
    }
}

impl Error for ProcedureError {}

impl ProcedureError {
    /// What a quantity must be, where one is out of range; its limits in the unit of the field.
    #[must_use]
    pub const fn allowed(&self) -> Option<Allowed> {
        match self {
            Self::Standoff { most_mm, .. } => Some(
                Allowed::in_words("from 0 to the most that a hub stands off")
                    .at_least(0.0)
                    .at_most(*most_mm),
            ),
            _ => None,
        }
    }

    /// What is wrong and how to mend it, apart.
    #[must_use]
    pub fn refusal(&self) -> Refusal {
        Refusal {
            what: self.what(),
            help: self.help(),
        }
    }

    /// What was found, and why it will not do.
    fn what(&self) -> String {
        match self {
            Self::EmptyScript => "the script has no steps".to_owned(),
            Self::EmptyStack { steps, of } => format!(
                "the stack is empty, and {steps} of the script's {of} steps name something in it"
            ),
            Self::UnknownDevice { name, .. } => format!("nothing in the stack is named `{name}`"),
            Self::UnknownPlace { name, .. } => {
                format!("no landmark of the route is named `{name}`")
            }
            Self::DuplicateName { name, .. } => {
                format!("the name `{name}` is used twice in the stack")
            }
            Self::WrongKind {
                name,
                found,
                needed,
                ..
            } => format!("`{name}` is {found}, but this needs {needed}"),
            Self::Standoff { found_mm, most_mm } => format!(
                "the hub stands {found_mm:.0} mm off the arteriotomy, must be 0 to {most_mm:.0} mm"
            ),
            Self::Itself { name, what, .. } => format!("the `{name}` cannot {what}"),
            Self::TooManyInside { inside, most, .. } => format!(
                "{} devices are in the body at once ({}), {most} can be laid",
                inside.len(),
                inside.join(", ")
            ),
            Self::EmptyUnit { .. } => "a unit of devices needs at least one name".to_owned(),
            Self::NothingInValves { .. } => {
                "`valves` says how tight valves are, and nothing is moved in this step".to_owned()
            }
        }
    }

    /// How to mend it, where that can be said.
    #[must_use]
    pub fn help(&self) -> Option<String> {
        match self {
            Self::EmptyScript => Some(NO_STEPS.to_owned()),
            Self::EmptyStack { .. } => Some(NO_STACK.to_owned()),
            Self::UnknownDevice { suggestion, .. } | Self::UnknownPlace { suggestion, .. } => {
                suggestion.as_ref().map(meant)
            }
            Self::DuplicateName { .. } => Some(NAME_EACH.to_owned()),
            Self::WrongKind { needed, .. } => Some(format!("name {needed} of the stack")),
            Self::Standoff { .. } => Some(STANDOFF.to_owned()),
            Self::Itself { .. } => Some(ANOTHER.to_owned()),
            Self::TooManyInside { .. } => Some(ONE_OUT.to_owned()),
            Self::EmptyUnit { .. } => None,
            Self::NothingInValves { .. } => Some(LEAVE_OUT.to_owned()),
        }
    }

    /// Path of the field in the scene file that is wrong (`script[3].act`).
    #[must_use]
    pub fn path(&self) -> &str {
        match self {
            Self::EmptyScript => "script",
            Self::EmptyStack { .. } => "stack",
            Self::UnknownDevice { path, .. }
            | Self::UnknownPlace { path, .. }
            | Self::DuplicateName { path, .. }
            | Self::WrongKind { path, .. }
            | Self::Itself { path, .. }
            | Self::TooManyInside { path, .. }
            | Self::EmptyUnit { path }
            | Self::NothingInValves { path } => path,
            Self::Standoff { .. } => "hub_standoff",
        }
    }
}

/// The name nearest to a misspelt one, where one is near enough to be meant.
#[must_use]
pub fn nearest<'a>(name: &str, names: impl Iterator<Item = &'a str>) -> Option<String> {
    // Jaro-Winkler above 0.75 catches transposed, missing and doubled letters and a wrong ending
    // but not an unrelated word.
    names
        .map(|n| (strsim::jaro_winkler(name, n), n))
        .filter(|(likeness, _)| *likeness > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, n)| n.to_owned())
}
