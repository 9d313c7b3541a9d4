//! Files: vessels, devices and scenes in RON, on disk or built into the program.
//!
//! # What goes in, what comes out
//!
//! | goes in | comes out | by |
//! | --- | --- | --- |
//! | a path, `embedded:PATH` or `cabinet:NAME` | a [`Source`] | [`Source::from_argument`] |
//! | a vessel file | its [`Tree`](crate::geometry::Tree), access and targets: [`Vessel`] | [`read_vessel`] |
//! | the same | everything measured along a route | [`measure_vessel`] |
//! | a device file | a [`Device`](crate::device::Device) or a part | [`read_device`] |
//! | a folder of device files | its devices: a cabinet | [`read_cabinet`] |
//! | a scene file | a [`Plan`](crate::procedure::Plan) with vessel, devices and route at hand | [`read_scene`], [`load_scene`] |
//! | the same with values changed by path | the same | [`load_scene_with`], [`Edit`] |
//! | a table of materials | frictions and stiffnesses with ranges: [`Materials`](crate::mechanics::Materials) | [`read_materials`] |
//! | centre lines of another program | a [`TracedVessel`](crate::geometry::traced::TracedVessel), to be written as a vessel file | [`import()`] |
//! | a bare problem | a [`Problem`](crate::mechanics::problem::Problem) | [`read_problem`] |
//! | any of these | which it is, or all that is wrong with it | [`check_file`] |
//!
//! Lengths in files are text with a unit (`"8 Fr"`, `"0.088 in"`, `"132 cm"`); everything that comes out is in mm and rad.
//!
//! # What it cannot do
//!
//! It writes nothing ([`output`](crate::output) does), reads no images and no meshes, and fetches nothing from a network.
//!
//! # Errors
//!
//! Every refusal is a [`DataError`]: what was found, the file, line and column, and how to mend
//! it. [`DataError::render`] gives the text for a terminal.

mod branches;
mod cabinet;
mod decode;
mod device_file;
mod document;
mod durations_file;
mod edit;
mod error;
mod examples;
mod excerpt;
mod graft;
mod import;
mod map;
mod materials_file;
mod place;
mod problem_file;
mod scene_draft;
mod scene_file;
mod source;
mod text;
mod vessel_file;

pub use cabinet::read_cabinet;
pub use device_file::read_device;
pub use document::{FileKind, file_kind};
pub use durations_file::{default_durations, read_durations};
pub use edit::Edit;
pub use error::{DataError, Problem, Rendering};
pub use excerpt::plainly;
pub use import::{Columns, ImportOptions, import};
pub use materials_file::{read_materials, usual_materials};
pub use problem_file::{read_problem, unsolved};
pub use scene_draft::draft_text;
pub use scene_file::{LoadedScene, load_scene, load_scene_with, not_rehearsed, read_scene};
pub use source::Source;
pub use vessel_file::{
    Vessel, check_vessel_text, measure_vessel, measure_vessel_on, read_vessel, vessel_route,
};

/// Reads a file of any kind with all it names, and says what it describes. A vessel's routes to
/// all its targets are tried as well.
///
/// # Errors
/// A [`DataError`] naming everything that is wrong.
pub fn check_file(source: &Source) -> Result<FileKind, DataError> {
    let kind = file_kind(source)?;
    match kind {
        FileKind::Vessel => vessel_file::check_routes(source)?,
        FileKind::Device | FileKind::Accessory => {
            read_device(source)?;
        }
        FileKind::Scene => {
            read_scene(source)?;
        }
        FileKind::Durations => {
            read_durations(source)?;
        }
        FileKind::Materials => {
            read_materials(source)?;
        }
        FileKind::Problem => {
            read_problem(source)?;
        }
    }
    Ok(kind)
}
