//! Scene files, with the vessel and the devices they name.
//!
//! A scene names its vessel and devices by paths relative to itself. A scene on disk may also name
//! built-in files: `embedded:vessels/NAME.ron`, or `cabinet:NAME` for a device. Paths inside
//! built-in scenes lead to built-in files only.

use super::branches::geometry_complaint;
use super::device_file::read_device;
use super::document::{Document, FileKind};
use super::error::{Complaint, DataError, choices, split_advice};
use super::source::Source;
use super::vessel_file::{Vessel, read_vessel};
use crate::device::Accessory;
use crate::geometry::{Place, Track, TrackSettings};
use crate::procedure::{Equipment, Plan, ProcedureError, Scene, StackEntry, Supplied};

/// A scene with its vessel, ready to be rehearsed.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct LoadedScene {
    /// The scene as written.
    pub scene: Scene,
    /// Its vessel.
    pub vessel: Vessel,
    /// The scene with its devices and route, all names checked.
    pub plan: Plan,
}

/// Reads a scene, its vessel and its devices, and joins them.
///
/// # Errors
/// A [`DataError`]: what is wrong with the scene itself, else with each of the files it names, else
/// with the names and places in its script. Within each of these all errors are told.
pub fn read_scene(source: &Source, settings: &TrackSettings) -> Result<LoadedScene, DataError> {
    let document = Document::open(source)?;
    document.must_be(&[FileKind::Scene])?;
    let scene: Scene = document.decode()?;

    let mut errors = Vec::new();
    let vessel = read_vessel(&source.beside(&scene.vessel))
        .map_err(|error| errors.push(document.named(error, "vessel")))
        .ok();
    let mut supplied = Vec::new();
    for (i, entry) in scene.stack.iter().enumerate() {
        supplied.extend(supply(&document, source, entry, i, &mut errors));
    }
    DataError::collect(&format!("{} or in files it names", document.name), errors)?;

    let mut complaints = words_left_empty(&scene);
    let track = match &vessel {
        Some(vessel) => route(vessel, &scene, settings, &mut complaints),
        None => None,
    };
    let places: Vec<String> = track
        .iter()
        .flat_map(|track| track.landmarks.iter().map(|mark| mark.name.clone()))
        .collect();
    let plan = track.and_then(|track| match Plan::new(&scene, supplied, track) {
        Ok(plan) => Some(plan),
        Err(errors) => {
            complaints.extend(errors.iter().map(|e| complaint(e, &scene, &places)));
            None
        }
    });
    let (vessel, plan) = document.all_or_refuse(vessel.zip(plan), complaints)?;
    Ok(LoadedScene {
        scene,
        vessel,
        plan,
    })
}

/// A stack entry's device and valves; what cannot be read goes into `errors`.
fn supply(
    document: &Document,
    source: &Source,
    entry: &StackEntry,
    i: usize,
    errors: &mut Vec<DataError>,
) -> Option<Supplied> {
    let read = |file: &str, path: &str| {
        read_device(&source.beside(file)).map_err(|error| document.named(error, path))
    };
    let equipment = read(&entry.file, &format!("stack[{i}].file"))
        .map_err(|error| errors.push(error))
        .ok();
    let mut valves: Vec<Accessory> = Vec::new();
    for (v, file) in entry.valves.iter().enumerate() {
        let path = format!("stack[{i}].valves[{v}]");
        match read(file, &path) {
            Ok(Equipment::Accessory(valve @ Accessory::Valve { .. })) => valves.push(valve),
            Ok(other) => errors.push(
                document.refuse_at(
                    Complaint::new(&path, format!("`{file}` is {}, not a valve", kind(&other)))
                        .help("name a file that starts with `Valve(`, or leave `valves` out"),
                ),
            ),
            Err(error) => errors.push(error),
        }
    }
    Some(Supplied {
        equipment: equipment?,
        valves,
    })
}

fn kind(equipment: &Equipment) -> &'static str {
    match equipment {
        Equipment::Device(_) => "a device",
        Equipment::Accessory(Accessory::Valve { .. }) => "a valve",
        Equipment::Accessory(Accessory::Clip { .. }) => "a torque clip",
        Equipment::Accessory(Accessory::InsertionTool { .. }) => "an insertion tool",
    }
}

fn words_left_empty(scene: &Scene) -> Vec<Complaint> {
    [
        ("name", &scene.name, "give it a name in plain words"),
        ("about", &scene.about, "say in a sentence what it shows"),
    ]
    .into_iter()
    .filter(|(_, words, _)| words.trim().is_empty())
    .map(|(field, _, help)| Complaint::new(field, format!("`{field}` is empty")).help(help))
    .collect()
}

/// The route from the vessel's access to the scene's target.
fn route(
    vessel: &Vessel,
    scene: &Scene,
    settings: &TrackSettings,
    complaints: &mut Vec<Complaint>,
) -> Option<Track> {
    let names = || vessel.targets.iter().map(|(name, _)| name.as_str());
    let target: Option<Place> = vessel
        .targets
        .iter()
        .find(|(name, _)| *name == scene.target)
        .map(|(_, place)| *place);
    let Some(target) = target else {
        let message = format!(
            "the vessel `{}` has no target `{}`",
            vessel.name, scene.target
        );
        complaints.push(Complaint::new("target", message).help(choices(&scene.target, names())));
        return None;
    };
    match vessel.tree.track_with(vessel.access, target, settings) {
        Ok(track) => Some(track),
        Err(error) => {
            let mut complaint = geometry_complaint("vessel", &error);
            // geometry knows paths of its own, the scene only the file
            complaint.path = "vessel".to_owned();
            complaints.push(complaint);
            None
        }
    }
}

/// A name or kind that the procedure refuses, with what there is to choose from.
fn complaint(error: &ProcedureError, scene: &Scene, places: &[String]) -> Complaint {
    let message = error.to_string();
    let (message, help) = split_advice(&message);
    match error {
        ProcedureError::UnknownDevice { path, name, .. } => {
            let stack = || scene.stack.iter().map(|entry| entry.name.as_str());
            if stack().any(|known| known == name) {
                // in the stack, and not what this act works with
                return Complaint::new(path, format!("`{name}` cannot be used here"))
                    .help("devices travel; clips and insertion tools are attached; valves stand in `valves`");
            }
            Complaint::new(path, message).help(choices(name, stack()))
        }
        ProcedureError::UnknownPlace { path, name, .. } => {
            let help = help.map_or_else(
                || choices(name, places.iter().map(String::as_str)),
                str::to_owned,
            );
            // the name itself inside `Past(name, length)`
            Complaint::new(format!("{path}[0]"), message).help(help)
        }
        ProcedureError::WrongKind { path, needed, .. } => {
            Complaint::new(path, message).help(format!("name {needed} of the stack"))
        }
        _ => {
            let complaint = Complaint::new(error.path(), message);
            match help {
                Some(help) => complaint.help(help),
                None => complaint,
            }
        }
    }
}
