//! Why a scene is refused before its first step.

use thiserror::Error;

/// Why a script cannot be rehearsed at all. Every kind names the path of the field in the scene.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ProcedureError {
    /// No steps.
    #[error(
        "the script has no steps: write at least one, for example `(act: Insert(device: \"sheath\", to: Hub))`"
    )]
    EmptyScript,
    /// A name that the stack does not have.
    #[error("nothing in the stack is named `{name}`{}", did_you_mean(suggestion.as_ref()))]
    UnknownDevice {
        /// Path of the field.
        path: String,
        /// The name asked for.
        name: String,
        /// The nearest name there is.
        suggestion: Option<String>,
    },
    /// A name that neither the vessel nor a device has.
    #[error("no landmark of the route is named `{name}`{}", did_you_mean(suggestion.as_ref()))]
    UnknownPlace {
        /// Path of the field.
        path: String,
        /// The name asked for.
        name: String,
        /// The nearest name there is.
        suggestion: Option<String>,
    },
    /// Two entries of the stack with one name.
    #[error("the name `{name}` is used twice in the stack: give each device its own")]
    DuplicateName {
        /// Path of the second one.
        path: String,
        /// The name.
        name: String,
    },
    /// Something of the wrong kind.
    #[error("`{name}` is {found}, but this needs {needed}")]
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
    /// Too few devices in a list.
    #[error("a unit of devices needs at least one name")]
    EmptyUnit {
        /// Path of the field.
        path: String,
    },
}

fn did_you_mean(suggestion: Option<&String>) -> String {
    suggestion.map_or_else(String::new, |s| format!(": did you mean `{s}`?"))
}

impl ProcedureError {
    /// Path of the field in the scene file that is wrong (`script[3].act`).
    #[must_use]
    pub fn path(&self) -> &str {
        match self {
            Self::EmptyScript => "script",
            Self::UnknownDevice { path, .. }
            | Self::UnknownPlace { path, .. }
            | Self::DuplicateName { path, .. }
            | Self::WrongKind { path, .. }
            | Self::EmptyUnit { path } => path,
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
