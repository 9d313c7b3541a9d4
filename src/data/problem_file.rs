//! Bare rod-in-tube problems, for engineers who want to check the solver.

use super::document::{Document, FileKind};
use super::error::{Complaint, DataError};
use super::source::Source;
use crate::mechanics::MechanicsError;
use crate::mechanics::problem::Problem;

/// Reads a problem and makes sure that it can be posed.
///
/// # Errors
/// A [`DataError`] naming what is wrong in the file.
pub fn read_problem(source: &Source) -> Result<Problem, DataError> {
    let document = Document::open(source)?;
    document.must_be(&[FileKind::Problem])?;
    let problem: Problem = document.decode()?;
    match problem.pose() {
        Ok(_) => Ok(problem),
        Err(fault) => Err(document.refuse_at(complaint(&fault))),
    }
}

/// A solve that found no equilibrium, told with the problem it is about.
#[must_use]
pub fn unsolved(source: &Source, fault: &MechanicsError) -> DataError {
    match Document::open(source) {
        Ok(document) => document.refuse_at(complaint(fault)),
        Err(gone) => gone,
    }
}

fn complaint(fault: &MechanicsError) -> Complaint {
    let text = fault.to_string();
    match fault {
        MechanicsError::OutOfRange { what, .. }
        | MechanicsError::LengthMismatch { what, .. }
        | MechanicsError::BadContainer { what, .. } => {
            Complaint::new(what.strip_prefix("problem.").unwrap_or(what), text)
                .help("correct this value")
        }
        MechanicsError::DoesNotFit { inner, .. } => {
            Complaint::new(format!("rods[{inner}]"), text).help("a thinner rod or a wider lumen")
        }
        MechanicsError::NoRoomBeside { rods, .. } => Complaint::new(format!("rods[{}]", rods[1]), text)
            .help("one rod less side by side, thinner rods or a wider lumen"),
        MechanicsError::LockedUp { rod, .. } => Complaint::new(format!("rods[{rod}]"), text)
            .help("less friction, a softer rod or less held back"),
        MechanicsError::OverBound { .. } => Complaint::new("rods", text).help(
            "fewer stations, a smaller load or a softer wall; or more of `most_factorised_unknowns` in `settings`",
        ),
        MechanicsError::NotConverged { rod, .. } => Complaint::new(format!("rods[{rod}]"), text)
            .help("a smaller load, a softer wall or a finer spacing"),
        other => Complaint::new("rods", other.to_string()),
    }
}
