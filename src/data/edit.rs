//! Values changed from outside the files: `path=value`.
//!
//! A path leads to a value of the scene, of its vessel, of a device or of the table of step times:
//!
//! | path | value |
//! | --- | --- |
//! | `neck.stenosis.percent`, `neck.stenosis.length`, `clot.length`, `dwell` | short names |
//! | `guide.usable_length` | field of a device, by its name in the stack; the end of its profile goes along |
//! | `common_carotid.length`, `arch.type` | field of the measured vessel |
//! | `script[27].act.to`, `rules.grip`, `hub_standoff` | field of the scene |
//! | `durations.team.assistants` | field of the table of step times |
//! | `friction.hydrophilic_on_vessel`, `plaque.kept`, `wall`, `plaque` | line of the table of materials: a usual value, `(least, usual, most)`, or a factor: `x2` |
//! | `stiffness.guide`, `stiffness.all` | a factor on the bending stiffness of a device by its name in the stack, or of all |
//! | `vessel.…`, `scene.…` | the same, where two would answer |
//! | `vessel`, `stack[1].file`, `durations`, `materials`, `target` | which files the scene is made of, and where it leads |
//!
//! Entries of lists are written `stack[1]` or `stack.1`. A value is always the whole new value: one
//! that starts with `+` is refused, since it could be meant as so much more.
//!
//! The text of the file is changed before it is read, so that a value out of place is refused like
//! one in the file. Fields that the file leaves out are added.

mod materials;

use super::device_file::device_of;
use super::document::Document;
use super::durations_file::{built_in, durations_of};
use super::error::{DataError, Problem, listed, nearest};
use super::map::{RonMap, Shape};
use super::materials_file::built_in as usual_table;
use super::source::Source;
use super::vessel_file::vessel_of;
use crate::procedure::Scene;
use crate::units::parse_length_mm;
use std::sync::Arc;

/// Short names: the first path that exists is meant.
const SHORT: [(&str, Target, &[&str]); 5] = [
    (
        "neck.stenosis.percent",
        Target::Vessel,
        &["form.lesions[0].nascet_percent"],
    ),
    (
        "neck.stenosis.length",
        Target::Vessel,
        &["form.lesions[0].length"],
    ),
    (
        "clot.length",
        Target::Vessel,
        &["form.clot.length", "form.clots[0].length"],
    ),
    ("dwell", Target::Durations, &["dwell_s.value"]),
    ("pace", Target::Durations, &["pace.value"]),
];

/// One value to change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Edit {
    path: String,
    value: String,
}

impl Edit {
    /// Reads `path=value`.
    ///
    /// # Errors
    /// A [`DataError`] where there is no `=`, or nothing before or behind it.
    pub fn parse(text: &str) -> Result<Self, DataError> {
        match text.split_once('=') {
            Some((path, value)) if !path.trim().is_empty() && !value.trim().is_empty() => {
                Ok(Self {
                    path: in_brackets(path.trim()),
                    value: value.trim().to_owned(),
                })
            }
            _ => Err(DataError::new(
                Problem::NotAccepted,
                format!("`{text}` does not say which value becomes what"),
            )
            .with_help("write a path, `=` and a value: neck.stenosis.percent=90")),
        }
    }

    /// Whether it changes a step of the scene.
    #[must_use]
    pub fn changes_the_script(&self) -> bool {
        let path = self.path.strip_prefix("scene.").unwrap_or(&self.path);
        path == "script" || path.starts_with("script[")
    }

    /// The change in words.
    #[must_use]
    pub fn in_words(&self) -> String {
        format!("{} = {}", self.path, self.value)
    }
}

/// Which file a value stands in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Target {
    Scene,
    Vessel,
    Durations,
    /// By its place in the stack.
    Device(usize),
}

/// A path with its list entries in brackets: `stack.1.file` is `stack[1].file`.
fn in_brackets(path: &str) -> String {
    let mut out = String::with_capacity(path.len() + 2);
    for (i, piece) in path.split('.').enumerate() {
        let entry = !piece.is_empty() && piece.chars().all(|c| c.is_ascii_digit());
        if i > 0 && entry {
            out.push_str(&format!("[{piece}]"));
            continue;
        }
        if i > 0 {
            out.push('.');
        }
        out.push_str(piece);
    }
    out
}

impl Edit {
    /// The path in the scene, where it says which files the scene is made of: such changes come
    /// before those files are opened, later they would change nothing.
    fn path_to_a_file(&self) -> Option<&str> {
        let path = self.path.strip_prefix("scene.").unwrap_or(&self.path);
        let names_one = matches!(
            path,
            "vessel" | "target" | "durations" | "materials" | "stack"
        ) || path.starts_with("stack[");
        names_one.then_some(path)
    }

    /// Refuses `+20mm`: is it 20 mm more, or 20 mm in all?
    fn must_be_whole(&self, old: Option<&str>) -> Result<(), DataError> {
        let Some(more) = self.value.trim_matches('"').trim().strip_prefix('+') else {
            return Ok(());
        };
        let more = more.trim();
        let sum = old.and_then(|old| sum_in_words(old, more));
        let help = match sum {
            Some((old, sum)) => format!(
                "write the whole value, without a sign: it is {old} now, so {more} more is {}={sum}, and {more} in all is {}={more}",
                self.path, self.path
            ),
            None => format!(
                "write the whole value, without a sign: {}={more}",
                self.path
            ),
        };
        Err(DataError::new(
            Problem::NotAccepted,
            format!(
                "`{}={}` may mean {more} more or {more} in all",
                self.path, self.value
            ),
        )
        .with_help(help))
    }
}

/// An old value and the same with `more` added, as a command line has them.
fn sum_in_words(old: &str, more: &str) -> Option<(String, String)> {
    let old = old.trim_matches('"');
    // a micrometre and a millionth: sums of decimals are no decimals
    let tidy = |value: f64| format!("{}", (value * 1e6).round() / 1e6);
    if let (Ok(a), Ok(b)) = (old.parse::<f64>(), more.parse::<f64>()) {
        return Some((tidy(a), tidy(a + b)));
    }
    let sum_mm = parse_length_mm(old).ok()? + parse_length_mm(more).ok()?;
    Some((old.to_owned(), format!("{}mm", tidy(sum_mm))))
}

/// A scene's text with the files named that the changes name.
pub(super) fn edited_scene(mut document: Document, edits: &[Edit]) -> Result<Document, DataError> {
    for edit in edits {
        let Some(path) = edit.path_to_a_file() else {
            continue;
        };
        edit.must_be_whole(None)?;
        let changed = written_over(&document, path, edit)
            .or_else(|| added(&document, path, edit, Target::Scene));
        document = changed.ok_or_else(|| {
            let known = paths(&document.text, "");
            unknown(edit, &known)
        })?;
    }
    Ok(document)
}

/// A scene's files with the changes made.
#[derive(Debug, Clone)]
pub(super) struct Edited {
    pub(super) scene: Document,
    pub(super) vessel: Document,
    pub(super) durations: Document,
    /// The scene's own table of materials; the usual one where it has none.
    pub(super) materials: Document,
    pub(super) usual_materials: Document,
    /// By place in the stack; a file that cannot be opened is left to whoever reads the stack.
    pub(super) devices: Vec<Option<Document>>,
}

impl Edited {
    /// Opens a scene's files and makes the changes, one after the other.
    pub(super) fn open(
        source: &Source,
        scene_document: &Document,
        scene: &Scene,
        edits: &[Edit],
    ) -> Result<Self, DataError> {
        let vessel = Document::open(&source.beside(&scene.vessel))
            .map_err(|error| scene_document.named(error, "vessel"))?;
        let durations = match &scene.durations {
            None => Document::open(&built_in())?,
            Some(file) => Document::open(&source.beside(file))
                .map_err(|error| scene_document.named(error, "durations"))?,
        };
        let usual_materials = Document::open(&usual_table())?;
        let materials = match &scene.materials {
            None => usual_materials.clone(),
            Some(file) => Document::open(&source.beside(file))
                .map_err(|error| scene_document.named(error, "materials"))?,
        };
        let mut edited = Self {
            scene: scene_document.clone(),
            vessel,
            durations,
            materials,
            usual_materials,
            devices: scene
                .stack
                .iter()
                .map(|entry| Document::open(&source.beside(&entry.file)).ok())
                .collect(),
        };
        for edit in edits.iter().filter(|edit| edit.path_to_a_file().is_none()) {
            edited.make(scene, edit)?;
        }
        Ok(edited)
    }

    fn document(&self, target: Target) -> Option<&Document> {
        match target {
            Target::Scene => Some(&self.scene),
            Target::Vessel => Some(&self.vessel),
            Target::Durations => Some(&self.durations),
            Target::Device(i) => self.devices.get(i)?.as_ref(),
        }
    }

    fn keep(&mut self, target: Target, document: Document) {
        match target {
            Target::Scene => self.scene = document,
            Target::Vessel => self.vessel = document,
            Target::Durations => self.durations = document,
            Target::Device(i) => self.devices[i] = Some(document),
        }
    }

    fn make(&mut self, scene: &Scene, edit: &Edit) -> Result<(), DataError> {
        if self.change_materials(scene, edit)? {
            return Ok(());
        }
        let places = candidates(scene, &edit.path);
        let old = places
            .iter()
            .find_map(|(target, path)| value_at(self.document(*target)?, path));
        edit.must_be_whole(old.as_deref())?;
        // a value that the file has comes before one that would have to be added
        let there = places.iter().find_map(|(target, path)| {
            Some((*target, written_over(self.document(*target)?, path, edit)?))
        });
        let changed = there.or_else(|| {
            places.iter().find_map(|(target, path)| {
                Some((
                    *target,
                    added(self.document(*target)?, path, edit, *target)?,
                ))
            })
        });
        match changed {
            Some((target, document)) => {
                let document = match target {
                    Target::Device(_) if edit.path.ends_with(".usable_length") => {
                        profile_end_along(&document, edit)
                    }
                    _ => document,
                };
                self.keep(target, document);
                Ok(())
            }
            None => Err(self.unknown(scene, edit)),
        }
    }

    /// A path that leads nowhere, with what there is.
    fn unknown(&self, scene: &Scene, edit: &Edit) -> DataError {
        let device = scene.stack.iter().position(|e| e.name == edit.path);
        let Some(device) = device else {
            return unknown(edit, &self.known(scene));
        };
        let fields = self.document(Target::Device(device)).map(|document| {
            let map = RonMap::of(&document.text);
            let entries = map.root.iter().flat_map(|root| &root.entries);
            let keys = entries.filter_map(|entry| entry.key.as_ref());
            let paths = keys.map(|key| format!("`{}.{}`", edit.path, map.words(key)));
            paths.collect::<Vec<_>>().join(", ")
        });
        DataError::new(
            Problem::NotAccepted,
            format!("`{}` is an entry of the stack, not a value", edit.path),
        )
        .with_help(format!(
            "name a field of it: {}",
            fields.unwrap_or_else(|| format!("{}.usable_length", edit.path))
        ))
    }

    /// Every path that leads to something.
    fn known(&self, scene: &Scene) -> Vec<String> {
        let mut known: Vec<String> = SHORT.iter().map(|(name, ..)| (*name).to_owned()).collect();
        known.extend(paths(&self.scene.text, ""));
        known.extend(paths(&self.durations.text, "durations."));
        known.extend(self.known_materials(scene));
        let of_vessel = paths(&self.vessel.text, "").into_iter();
        known.extend(of_vessel.map(|path| match path.strip_prefix("form.") {
            Some(short) => short.to_owned(),
            None => path,
        }));
        for (entry, document) in scene.stack.iter().zip(&self.devices) {
            if let Some(document) = document {
                known.extend(paths(&document.text, &format!("{}.", entry.name)));
            }
        }
        known
    }
}

/// A device whose usable length was changed, with the end of its profile at the new length: its last
/// section gets longer or shorter.
fn profile_end_along(document: &Document, edit: &Edit) -> Document {
    let map = RonMap::of(&document.text);
    let sections = map.node("profile").map_or(0, |node| node.entries.len());
    let path = format!("profile[{}].from_tip", sections.saturating_sub(1));
    let found = map.locate(&path);
    if sections == 0 || !found.exact {
        return document.clone();
    }
    let value = format!("\"{}\"", edit.value.trim_matches('"'));
    Document {
        name: document.name.clone(),
        text: Arc::from(replaced(
            &document.text,
            found.span.start,
            found.span.end,
            &value,
        )),
    }
}

/// The text of a value that a document has.
fn value_at(document: &Document, path: &str) -> Option<String> {
    let found = RonMap::of(&document.text).locate(path);
    if !found.exact {
        return None;
    }
    document.text.get(found.span).map(str::to_owned)
}

/// The document with a value that it has written over.
fn written_over(document: &Document, path: &str, edit: &Edit) -> Option<Document> {
    let found = RonMap::of(&document.text).locate(path);
    if !found.exact {
        return None;
    }
    let old = document.text.get(found.span.clone())?;
    let value = if old.starts_with('"') && !edit.value.starts_with('"') {
        format!("\"{}\"", edit.value)
    } else {
        edit.value.clone()
    };
    let text = replaced(&document.text, found.span.start, found.span.end, &value);
    Some(document.with_text(text, &edit.in_words()))
}

/// The document with a field added that it leaves out, where there is such a field; a value that the field
/// does not take is added as well, to be refused like one in the file.
fn added(document: &Document, path: &str, edit: &Edit, target: Target) -> Option<Document> {
    let (at, (before, behind)) = insertion(&document.text, path)?;
    let as_written = |value: &str| {
        let field = format!("{before}{value}{behind}");
        let text = replaced(&document.text, at, at, &field);
        document.with_text(text, &edit.in_words())
    };
    let tried = [edit.value.clone(), format!("\"{}\"", edit.value)]
        .map(|value| as_written(&value))
        .map(|changed| (refusal(target, &changed), changed));
    if let Some((_, changed)) = tried.iter().find(|(refused, _)| refused.is_none()) {
        return Some(changed.clone());
    }
    // neither is taken: by a field that is there, which then is about the value itself, or because none is?
    let value_at = at + before.len();
    let is_there = |(refused, _): &&(Option<DataError>, Document)| {
        refused.as_ref().is_some_and(|error| {
            let about_it = error.span().is_some_and(|span| span.start >= value_at);
            about_it && error.problem() == Problem::NotAccepted && !error.names_no_field()
        })
    };
    tried
        .iter()
        .find(is_there)
        .map(|(_, changed)| changed.clone())
}

fn unknown(edit: &Edit, known: &[String]) -> DataError {
    let error = DataError::new(
        Problem::NotAccepted,
        format!("no value has the path `{}`", edit.path),
    );
    match nearest(&edit.path, known.iter().map(String::as_str)) {
        Some(near) => error.with_help(format!("did you mean `{near}`?")),
        None => error.with_help(format!(
            "there are {}, and the fields of vessel, scene, table of step times (`durations.…`), table of materials (`friction.…`, `plaque.…`, `stiffness.…`) and devices (by their names in the stack)",
            listed(SHORT.iter().map(|(name, ..)| *name))
        )),
    }
}

/// Where a path may lead, the likest first.
fn candidates(scene: &Scene, path: &str) -> Vec<(Target, String)> {
    let mut places: Vec<(Target, String)> = Vec::new();
    if let Some((_, target, paths)) = SHORT.iter().find(|(name, ..)| *name == path) {
        places.extend(paths.iter().map(|p| (*target, (*p).to_owned())));
    }
    if let Some((first, rest)) = path.split_once('.') {
        let device = scene.stack.iter().position(|entry| entry.name == first);
        places.extend(device.map(|i| (Target::Device(i), rest.to_owned())));
        match first {
            "vessel" => places.extend([
                (Target::Vessel, format!("form.{rest}")),
                (Target::Vessel, rest.to_owned()),
            ]),
            "scene" => places.push((Target::Scene, rest.to_owned())),
            "durations" => places.push((Target::Durations, rest.to_owned())),
            _ => {}
        }
    }
    places.extend([
        (Target::Vessel, format!("form.{path}")),
        (Target::Scene, path.to_owned()),
    ]);
    places
}

/// Why a changed text cannot be read; none where it can.
fn refusal(target: Target, document: &Document) -> Option<DataError> {
    match target {
        Target::Scene => document.decode::<Scene>().err(),
        Target::Vessel => vessel_of(document.clone()).err(),
        Target::Durations => durations_of(document).err(),
        Target::Device(_) => device_of(document).err(),
    }
}

fn replaced(text: &Arc<str>, from: usize, to: usize, by: &str) -> String {
    let before = text.get(..from).unwrap_or("");
    let behind = text.get(to..).unwrap_or("");
    format!("{before}{by}{behind}")
}

/// Where a field that is not there would go, and what to write before and behind its value; `None`
/// where the path leads through something that has no fields.
fn insertion(text: &str, path: &str) -> Option<(usize, (String, String))> {
    let map = RonMap::of(text);
    let fields: Vec<&str> = path.split('.').collect();
    let there = (0..fields.len())
        .rev()
        .find(|n| map.locate(&fields[..*n].join(".")).exact)?;
    let missing = &fields[there..];
    if missing.iter().any(|field| {
        field.is_empty() || !field.chars().all(|c| c.is_ascii_alphanumeric() || c == '_')
    }) {
        return None;
    }
    let mut node = map.node(&fields[..there].join("."))?;
    // the parentheses that hold the fields, inside those that only wrap them
    while let [only] = node.entries.as_slice()
        && only.key.is_none()
        && only.value.shape == Shape::Group
    {
        node = &only.value;
    }
    if node.shape != Shape::Group || node.entries.iter().any(|e| e.key.is_none()) {
        return None;
    }
    let at = node.span.end.checked_sub(1)?;
    let inside = text.get(node.span.start..at)?.trim_end();
    let comma = if inside.ends_with(',') || inside.ends_with('(') {
        ""
    } else {
        ","
    };
    let opening = missing.join(": (");
    Some((
        at,
        (
            format!("{comma} {opening}: "),
            format!("{},", ")".repeat(missing.len() - 1)),
        ),
    ))
}

/// Paths of all values of a text.
fn paths(text: &str, prefix: &str) -> Vec<String> {
    RonMap::of(text)
        .paths()
        .into_iter()
        .map(|path| format!("{prefix}{path}"))
        .collect()
}
