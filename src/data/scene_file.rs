//! Scene files, with the vessel and the devices they name.
//!
//! A scene names its vessel and devices by paths relative to itself. A scene on disk may also name
//! built-in files: `embedded:vessels/NAME.ron`, or `cabinet:NAME` for a device. Paths inside
//! built-in scenes lead to built-in files only.

use super::device_file::{device_of, read_device};
use super::document::{Document, FileKind};
use super::durations_file::durations_of;
use super::edit::{Edit, Edited, edited_scene};
use super::error::{Complaint, DataError, choices, listed, step_number};
use super::materials_file::materials_of;
use super::source::Source;
use super::vessel_file::{Vessel, vessel_of};
use crate::device::{Accessory, Payload};
use crate::geometry::{Place, TrackSettings};
use crate::procedure::{
    Clock, Durations, Equipment, NetworkError, Plan, ProcedureError, Scene, StackEntry, Supplied,
};
use crate::rehearsal::walk;
use std::collections::BTreeSet;

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
    /// How long its steps take.
    pub durations: Durations,
}

/// Reads a scene and all it names, ready to be rehearsed, with the default [`TrackSettings`].
///
/// # Errors
/// As [`load_scene`].
pub fn read_scene(source: &Source) -> Result<Plan, DataError> {
    load_scene(source, &TrackSettings::default()).map(|loaded| loaded.plan)
}

/// Reads a scene, its vessel and its devices, and joins them.
///
/// # Errors
/// A [`DataError`]: what is wrong with the scene itself, else with the files it names, else with
/// the route and the names in its script. Within each of these all errors are told.
pub fn load_scene(source: &Source, settings: &TrackSettings) -> Result<LoadedScene, DataError> {
    load_scene_with(source, settings, &[])
}

/// The same with some values changed; see [`Edit`].
///
/// # Errors
/// As [`load_scene`], and for a path that leads to no value.
pub fn load_scene_with(
    source: &Source,
    settings: &TrackSettings,
    edits: &[Edit],
) -> Result<LoadedScene, DataError> {
    let document = Document::open(source)?;
    document.must_be(&[FileKind::Scene])?;
    let document = edited_scene(document, edits)?;
    let scene: Scene = document.decode()?;
    let mut errors = Vec::new();
    let files = Edited::open(source, &document, &scene, edits)
        .map_err(|error| errors.push(error))
        .ok();
    let (document, scene) = match &files {
        Some(files) => (files.scene.clone(), files.scene.decode()?),
        None => (document, scene),
    };
    let vessel = files.as_ref().and_then(|files| {
        vessel_of(files.vessel.clone())
            .map_err(|error| errors.push(document.named(error, "vessel")))
            .ok()
    });
    let materials = files.as_ref().and_then(|files| {
        materials_of(&files.materials, &files.usual_materials)
            .map_err(|error| errors.push(document.named(error, "materials")))
            .ok()
    });
    let durations = files.as_ref().and_then(|files| {
        durations_of(&files.durations)
            .map_err(|error| errors.push(document.named(error, "durations")))
            .ok()
    });
    let mut supplied = Vec::new();
    for (i, entry) in scene.stack.iter().enumerate() {
        let opened = files
            .as_ref()
            .and_then(|files| files.devices.get(i)?.as_ref());
        supplied.extend(supply(&document, source, entry, i, opened, &mut errors));
    }
    DataError::collect(&format!("{} or in files it names", document.name), errors)?;
    let (vessel, vessel_document) = document.all_or_refuse(vessel, Vec::new())?;
    let materials = document.all_or_refuse(materials, Vec::new())?;

    if let Some(complaint) = too_many_steps(&scene) {
        return Err(document.refuse_at(complaint));
    }
    let mut complaints = words_left_empty(&scene);
    let target = target(&vessel, &scene, &mut complaints);
    let track = target
        .map(|place| vessel.route(&vessel_document, place, settings))
        .transpose()?;
    let lengths = match target.zip(track.as_ref()) {
        Some((place, track)) => vessel.route_lengths(&vessel_document, place, track)?,
        None => Vec::new(),
    };
    let plan = track.and_then(|track| {
        let places = Places {
            landmarks: track.landmarks.iter().map(|m| m.name.clone()).collect(),
            ends: ends_of_devices(&scene, &supplied),
        };
        Plan::new(&scene, supplied, vessel.info.clone(), track, materials)
            .map(|plan| plan.with_lengths(lengths))
            .map_err(|errors| {
                complaints.extend(complaints_of(&errors, &scene, &places));
            })
            .ok()
    });
    let plan = document.all_or_refuse(plan, complaints)?;
    let durations = document.all_or_refuse(durations, Vec::new())?;
    // labels, circles and needs: known only once the steps have been walked through
    Clock::new(&plan, &durations, &[], &walk(&plan))
        .map_err(|error| document.refuse_at(clock_complaint(&error)))?;
    Ok(LoadedScene {
        scene,
        vessel,
        plan,
        durations,
    })
}

/// A stack entry's device and valves; what cannot be read goes into `errors`.
fn supply(
    document: &Document,
    source: &Source,
    entry: &StackEntry,
    i: usize,
    opened: Option<&Document>,
    errors: &mut Vec<DataError>,
) -> Option<Supplied> {
    let read = |file: &str, path: &str| {
        read_device(&source.beside(file)).map_err(|error| document.named(error, path))
    };
    let path = format!("stack[{i}].file");
    let equipment = match opened {
        Some(device) => device_of(device).map_err(|error| document.named(error, &path)),
        None => read(&entry.file, &path),
    }
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

/// What the clock refuses.
fn clock_complaint(error: &NetworkError) -> Complaint {
    let path = match error {
        NetworkError::UnknownLabel { index, .. } => format!("script[{index}].after"),
        _ => "script".to_owned(),
    };
    Complaint::of(path, error.refusal())
}

fn kind(equipment: &Equipment) -> &'static str {
    match equipment {
        Equipment::Device(_) => "a device",
        Equipment::Accessory(Accessory::Valve { .. }) => "a valve",
        Equipment::Accessory(Accessory::Clip { .. }) => "a torque clip",
        Equipment::Accessory(Accessory::InsertionTool { .. }) => "an insertion tool",
        Equipment::Accessory(Accessory::Extension { .. }) => "an extension",
    }
}

/// Most steps of a script: forty times as many as any scene of ours has. The output grows with every one of
/// them.
const MOST_STEPS: usize = 2000;

/// A script that nobody wrote by hand.
fn too_many_steps(scene: &Scene) -> Option<Complaint> {
    let steps = scene.script.len();
    (steps > MOST_STEPS).then(|| {
        Complaint::new(
            "script",
            format!("`script` has {steps} steps, more than {MOST_STEPS}"),
        )
        .help("part it into several scenes")
    })
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

/// The vessel's place for the scene's target.
fn target(vessel: &Vessel, scene: &Scene, complaints: &mut Vec<Complaint>) -> Option<Place> {
    let found = vessel
        .targets
        .iter()
        .find(|(name, _)| *name == scene.target);
    if found.is_none() {
        let names = vessel.targets.iter().map(|(name, _)| name.as_str());
        let message = format!(
            "the vessel `{}` has no target `{}`",
            vessel.info.name, scene.target
        );
        complaints.push(Complaint::new("target", message).help(choices(&scene.target, names)));
    }
    found.map(|(_, place)| *place)
}

/// Names of the places that a script may use.
struct Places {
    landmarks: Vec<String>,
    /// The device, and what it has an end of: `guide` and `guide.tip`.
    ends: Vec<(String, String)>,
}

fn ends_of_devices(scene: &Scene, supplied: &[Supplied]) -> Vec<(String, String)> {
    let devices = scene.stack.iter().zip(supplied);
    devices
        .filter_map(|(entry, supplied)| match &supplied.equipment {
            Equipment::Device(device) => Some((&entry.name, device)),
            Equipment::Accessory(_) => None,
        })
        .flat_map(|(name, device)| {
            let ends: &[&str] = match device.payload {
                Some(Payload::Stent(_) | Payload::Retriever(_)) => &["tip", "proximal", "distal"],
                _ => &["tip"],
            };
            ends.iter()
                .map(move |end| (name.clone(), format!("{name}.{end}")))
        })
        .collect()
}

impl Places {
    /// What is wrong with a place that nothing bears, and what there is instead. Ends of devices
    /// follow the names in the stack, whatever class they are of.
    fn unknown(&self, name: &str) -> (String, String) {
        let Some((device, end)) = name.split_once('.') else {
            let landmarks = self.landmarks.iter().map(String::as_str);
            let ends = listed(self.ends.iter().map(|(_, place)| place.as_str()));
            let help = choices(name, landmarks);
            let help = match (ends.is_empty(), help.ends_with('?')) {
                (true, _) => help,
                (false, true) => format!("{help} Ends of devices are {ends}"),
                (false, false) => format!("{help}; ends of devices are {ends}"),
            };
            return (format!("no landmark of the route is named `{name}`"), help);
        };
        let of_it: Vec<&str> = self
            .ends
            .iter()
            .filter(|(known, _)| known == device)
            .map(|(_, place)| place.as_str())
            .collect();
        if !of_it.is_empty() {
            return (
                format!("`{device}` has no end named `{end}`"),
                format!("it has {}", listed(of_it)),
            );
        }
        let same_end = self
            .ends
            .iter()
            .filter(|(_, place)| place.rsplit_once('.').is_some_and(|(_, e)| e == end));
        let all: Vec<&str> = same_end.map(|(_, place)| place.as_str()).collect();
        let all = if all.is_empty() {
            self.ends.iter().map(|(_, place)| place.as_str()).collect()
        } else {
            all
        };
        (
            format!("no device of the stack is named `{device}`"),
            format!(
                "ends bear the names that the stack gives: there are {}",
                listed(all)
            ),
        )
    }
}

/// What the procedure refuses, each cause once: a name that is not there is missing in every step that names it.
fn complaints_of(errors: &[ProcedureError], scene: &Scene, places: &Places) -> Vec<Complaint> {
    let mut found: Vec<(Option<&str>, Complaint, BTreeSet<usize>)> = Vec::new();
    for error in errors {
        let missing = missing_name(error, scene, places);
        let step = step_number(error.path());
        let known = found
            .iter_mut()
            .find(|(name, ..)| name.is_some() && *name == missing);
        match known {
            Some((.., steps)) => steps.extend(step),
            None => found.push((
                missing,
                complaint(error, scene, places),
                step.into_iter().collect(),
            )),
        }
    }
    let told = found.into_iter().map(|(_, mut complaint, steps)| {
        if let Some(more) = further(&steps) {
            let help = complaint.help.unwrap_or_default();
            complaint.help = Some(if help.ends_with('?') {
                format!("{help} {}", capital(&more))
            } else {
                format!("{help}; {more}")
            });
        }
        complaint
    });
    told.collect()
}

/// The name that nothing bears, of a device or of a place; an end of a device that is not there misses the device.
fn missing_name<'a>(error: &'a ProcedureError, scene: &Scene, places: &Places) -> Option<&'a str> {
    match error {
        ProcedureError::UnknownDevice { name, .. } => {
            let in_stack = scene.stack.iter().any(|entry| entry.name == *name);
            (!in_stack).then_some(name)
        }
        ProcedureError::UnknownPlace { name, .. } => match name.split_once('.') {
            Some((device, _)) if !places.ends.iter().any(|(known, _)| known == device) => {
                Some(device)
            }
            _ => Some(name),
        },
        _ => None,
    }
}

/// Further steps that name the same, in words.
fn further(steps: &BTreeSet<usize>) -> Option<String> {
    /// Steps that are told by their numbers; more of them make no message better.
    const TOLD: usize = 8;
    let numbers: Vec<String> = steps.iter().skip(1).map(usize::to_string).collect();
    match numbers.as_slice() {
        [] => None,
        [only] => Some(format!("step {only} names it too")),
        [others @ .., last] if others.len() < TOLD => Some(format!(
            "steps {} and {last} name it too",
            others.join(", ")
        )),
        all => Some(format!("{} further steps name it too", all.len())),
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// A name or kind that the procedure refuses, with what there is to choose from.
fn complaint(error: &ProcedureError, scene: &Scene, places: &Places) -> Complaint {
    match error {
        ProcedureError::UnknownDevice { path, name, .. } => {
            let stack = || scene.stack.iter().map(|entry| entry.name.as_str());
            if stack().any(|known| known == name) {
                // in the stack, and not what this act works with
                return Complaint::new(path, format!("`{name}` cannot be used here"))
                    .help("devices travel; clips and insertion tools are attached; valves stand in `valves`");
            }
            Complaint::new(path, error.refusal().what).help(choices(name, stack()))
        }
        ProcedureError::UnknownPlace { path, name, .. } => {
            let (message, help) = places.unknown(name);
            // the name itself inside `Past(name, length)`
            Complaint::new(format!("{path}[0]"), message).help(help)
        }
        _ => Complaint::of(error.path(), error.refusal()),
    }
}

/// A rehearsal without an outcome, told with the scene it is about.
#[must_use]
pub fn not_rehearsed(source: &Source, fault: &str) -> DataError {
    match Document::open(source) {
        Ok(document) => document.refuse_at(
            Complaint::new("script", fault.to_owned())
                .help("move in smaller steps, or check stiffness and lumen at that place"),
        ),
        Err(gone) => gone,
    }
}
