//! Vessel files; [`read_vessel`] says what stands in them.

use super::branches::{Branches, geometry_complaint};
use super::document::{Document, FileKind};
use super::error::{Complaint, DataError, Problem, choices};
use super::graft::GraftedForm;
use super::source::Source;
use crate::geometry::anatomy::{
    Anatomy, Measurements, NoteValue, Origin, RouteLength, Stretch, ValueNote, changed_lengths,
    route_lengths,
};
use crate::geometry::{GeometryError, Place, Track, TrackSettings, Tree};
use crate::procedure::{ValueRow, VesselInfo};
use crate::rehearsal::{ChangedLength, VesselReport, WouldHelp};
use serde::Deserialize;

/// Lengths are read off an angiogram to this, mm: smaller changes are none.
const TOLD_FROM_MM: f64 = 0.1;

/// So many measurements are named that would help.
const MOST_HELPS: usize = 5;

/// A vessel as read from its file.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Vessel {
    /// Its name, its source and what its values rest on.
    pub info: VesselInfo,
    /// The vessel itself.
    pub tree: Tree,
    /// Where devices enter.
    pub access: Place,
    /// Named ends of routes.
    pub targets: Vec<(String, Place)>,
    /// Where the entered lengths lie, where it was measured.
    pub lengths: Vec<Stretch>,
    /// What these lengths and all else of the form rest on, where it was measured.
    pub notes: Vec<ValueNote>,
    /// The form it was built from, where it was measured: populations are sampled around it.
    pub measurements: Option<Measurements>,
}

/// The file.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Vessel")]
struct VesselFile {
    name: String,
    source: String,
    teaches: String,
    form: Form,
}

/// How the vessel is described.
#[derive(Debug, Clone, Deserialize)]
enum Form {
    /// By what was measured.
    Measured(Box<Measurements>),
    /// Branch by branch.
    Branches(Branches),
    /// A piece drawn branch by branch, with measured vessels around it.
    Grafted(Box<GraftedForm>),
}

impl Vessel {
    /// The lengths that the route to a target is made of, with what each is known to.
    pub(super) fn route_lengths(
        &self,
        document: &Document,
        target: Place,
        track: &Track,
    ) -> Result<Vec<RouteLength>, DataError> {
        route_lengths(
            &self.tree,
            [self.access, target],
            track,
            &self.lengths,
            &self.notes,
        )
        .map_err(|fault| document.refuse_at(named_complaint(document, &fault)))
    }

    /// The route from the access to a target.
    pub(super) fn route(
        &self,
        document: &Document,
        target: Place,
        settings: &TrackSettings,
    ) -> Result<Track, DataError> {
        self.tree
            .track_with(self.access, target, settings)
            .map_err(|fault| document.refuse_at(named_complaint(document, &fault)))
    }
}

/// Reads a vessel.
///
/// # The file
/// ```text
/// Vessel(
///     name: "Left carotid, steep arch",
///     source: "measured on a printed phantom",   // where the numbers come from; never empty
///     teaches: "Reaching past a steep arch.",
///     form: Measured((                           // as read off a CT angiogram; the rest is assumed
///         sex: Female, age_years: 71, access: FemoralRight, side: Left,
///         common_carotid: (length: "118 mm"),
///     )),
/// )
/// ```
///
/// The fields of `Measured` are those of [`Measurements`]. The other form is for phantoms, traced
/// centre lines and single bends:
///
/// ```text
/// form: Branches((
///     wall_stiffness_n_per_mm2: 0.1,
///     branches: [
///         (name: "aorta",
///          course: Runs(
///             start: Root(direction: (0, 0, 1)),
///             runs: [(length: "80 mm", lumen: "25 mm"),
///                    (length: "90 mm", turn_deg: 180, lumen: "25 mm", lumen_end: "22 mm")])),
///         (name: "carotid",
///          course: Runs(
///             start: Leaves(branch: "aorta", at: "arch-top", turn_deg: 90, roll_deg: 180),
///             runs: [(length: "120 mm", lumen: "7 mm", lumen_end: "5 mm")])),
///         (name: "siphon",                   // x, y, z and the lumen's radius, all in `unit`
///          course: Points(leaves: (branch: "carotid", at: "end"), unit: "mm",
///                         points: [(28.65, 0, 228.65, 2.5), (31, 2, 240, 2.4)])),
///     ],
///     landmarks: [(name: "arch-top", branch: "aorta", at: "125 mm")],
///     access: (branch: "aorta", at: "end - 10 mm"),
///     targets: [(name: "carotid-end", branch: "carotid", at: "end")],
/// )),
/// ```
///
/// A third form, `Grafted`, holds both: a piece drawn branch by branch, as `nestline import --onto` writes it, and the
/// measurements of the vessel it is joined into, at a landmark of that:
///
/// ```text
/// form: Grafted((
///     onto: (sex: Female, age_years: 71, access: FemoralRight, side: Left),
///     from: "skull-base",
///     piece: (
///         wall_stiffness_n_per_mm2: 3.6,
///         branches: [(name: "trunk", course: Points(unit: "mm",
///                     points: [(0, 0, 0, 2.2), (0, 0, 12, 2.2), (0, -6, 24, 2.0), (0, -9, 38, 1.8)]))],
///         targets: [(name: "far-end", branch: "trunk", at: "end")],
///     ),
/// ))
/// ```
///
/// A place is a length from the start of its branch, `end`, or a landmark on it, the last two with
/// or without a length added or taken off. Roll is counted from the first normal of the parent's
/// twist-free frame, for runs from that of their own branch. `lesions` and `clots` may follow.
///
/// # Errors
/// A [`DataError`] naming everything in the file that is wrong.
pub fn read_vessel(source: &Source) -> Result<Vessel, DataError> {
    open_vessel(source).map(|(vessel, _)| vessel)
}

/// A vessel with the text it was read from, for what is found out about it later.
pub(super) fn open_vessel(source: &Source) -> Result<(Vessel, Document), DataError> {
    vessel_of(Document::open(source)?)
}

/// A vessel from a text that has been read.
pub(super) fn vessel_of(document: Document) -> Result<(Vessel, Document), DataError> {
    Ok((accept(&document)?, document))
}

fn accept(document: &Document) -> Result<Vessel, DataError> {
    document.must_be(&[FileKind::Vessel])?;
    let file: VesselFile = document.decode()?;
    let mut complaints = Vec::new();
    for (field, words, help) in [
        ("name", &file.name, "give it a name in plain words"),
        (
            "source",
            &file.source,
            "say where the numbers come from: a publication, a measurement, or \"invented\"",
        ),
        (
            "teaches",
            &file.teaches,
            "say in a sentence what it is good for",
        ),
    ] {
        if words.trim().is_empty() {
            complaints.push(Complaint::new(field, format!("`{field}` is empty")).help(help));
        }
    }
    let info = VesselInfo {
        name: file.name,
        source: file.source,
        teaches: file.teaches,
        values: Vec::new(),
    };
    let vessel = match file.form {
        Form::Branches(branches) => branches.build("form", &mut complaints).map(|built| Vessel {
            info,
            tree: built.tree,
            access: built.access,
            targets: built.targets,
            lengths: Vec::new(),
            notes: Vec::new(),
            measurements: None,
        }),
        Form::Measured(form) => match form.build() {
            Ok(anatomy) => Some(measured(info, anatomy, *form)),
            Err(error) => {
                complaints.push(geometry_complaint("form", &error));
                None
            }
        },
        Form::Grafted(form) => form.build(info, &mut complaints),
    };
    if let Some(Err(faults)) = vessel.as_ref().map(|vessel| vessel.tree.check()) {
        complaints.extend(faults.iter().map(|fault| named_complaint(document, fault)));
    }
    document.all_or_refuse(vessel, complaints)
}

/// Measures a vessel along the route to a target, its first one if none is named.
///
/// # Errors
/// A [`DataError`] where the vessel cannot be read, has no such target or no route to it.
pub fn measure_vessel(source: &Source, target: Option<&str>) -> Result<VesselReport, DataError> {
    measure_vessel_on(source, target).map(|(report, ..)| report)
}

/// The same with the vessel and the route that was measured.
///
/// # Errors
/// As [`measure_vessel`].
pub fn measure_vessel_on(
    source: &Source,
    target: Option<&str>,
) -> Result<(VesselReport, Vessel, Track), DataError> {
    let (vessel, document) = open_vessel(source)?;
    let (name, place) = match target {
        None => vessel.targets.first(),
        Some(wanted) => vessel.targets.iter().find(|(name, _)| name == wanted),
    }
    .cloned()
    .ok_or_else(|| {
        let wanted = target.unwrap_or_default();
        let names = vessel.targets.iter().map(|(name, _)| name.as_str());
        DataError::new(
            Problem::NotAccepted,
            format!("the vessel `{source}` has no target `{wanted}`"),
        )
        .with_help(choices(wanted, names))
    })?;
    let track = vessel.route(&document, place, &TrackSettings::default())?;
    let refuse = |fault: GeometryError| document.refuse_at(named_complaint(&document, &fault));
    let changed = changed_lengths(
        &vessel.tree,
        vessel.access,
        place,
        &vessel.lengths,
        TOLD_FROM_MM,
    )
    .map_err(refuse)?;
    let info = vessel.info.clone();
    let mut report = VesselReport::of(info, &name, &vessel.tree, &track).map_err(refuse)?;
    report.changed = changed
        .into_iter()
        .map(|(stretch, on_the_route_mm)| ChangedLength {
            name: stretch.field,
            entered_mm: stretch.entered_mm,
            on_the_route_mm,
        })
        .collect();
    if let Some(form) = &vessel.measurements
        && let Ok(anatomy) = form.build()
    {
        report.doubts = form.doubts(&anatomy).into_iter().map(|d| d.what).collect();
        report.would_help = form
            .would_help(&anatomy)
            .into_iter()
            .take(MOST_HELPS)
            .map(|help| WouldHelp {
                name: help.field,
                assumed: help.assumed,
                spread: help.spread,
                unit: help.unit,
                longer_mm: help.longer_mm,
            })
            .collect();
    }
    Ok((report, vessel, track))
}

/// The route to a vessel's first target.
///
/// # Errors
/// As [`read_vessel`], and where there is no route.
pub fn vessel_route(source: &Source) -> Result<Track, DataError> {
    let (vessel, document) = open_vessel(source)?;
    let Some((_, place)) = vessel.targets.first() else {
        return Err(DataError::new(
            Problem::NotAccepted,
            format!("the vessel `{source}` has no target"),
        ));
    };
    vessel.route(&document, *place, &TrackSettings::default())
}

/// Whether a text is a vessel file whose routes can be laid.
///
/// # Errors
/// A [`DataError`] naming everything that is wrong; `shown` is what the text is called in it.
pub fn check_vessel_text(text: &str, shown: &str) -> Result<(), DataError> {
    let document = Document {
        name: shown.to_owned(),
        text: text.into(),
    };
    routes_of(vessel_of(document)?)
}

/// Every way through a vessel, for a check of the file alone.
pub(super) fn check_routes(source: &Source) -> Result<(), DataError> {
    routes_of(open_vessel(source)?)
}

fn routes_of((vessel, document): (Vessel, Document)) -> Result<(), DataError> {
    let errors = vessel
        .targets
        .iter()
        .filter_map(|(_, place)| {
            vessel
                .route(&document, *place, &TrackSettings::default())
                .err()
        })
        .collect();
    DataError::collect(&document.name, errors)
}

pub(super) fn measured(mut info: VesselInfo, anatomy: Anatomy, form: Measurements) -> Vessel {
    info.values = anatomy.values.iter().map(value_row).collect();
    Vessel {
        info,
        tree: anatomy.tree,
        access: anatomy.access,
        targets: anatomy
            .targets
            .into_iter()
            .map(|target| (target.name.to_owned(), target.place))
            .collect(),
        lengths: anatomy.lengths,
        notes: anatomy.values,
        measurements: Some(form),
    }
}

fn value_row(note: &ValueNote) -> ValueRow {
    // entered numbers have at most four digits; the sixth only shows rounding of unit conversion
    let number = |value: f64| format!("{}", (value * 1e4).round() / 1e4);
    ValueRow {
        name: note.name.to_string(),
        value: match note.value {
            NoteValue::Number(value) => number(value),
            NoteValue::Word(word) => word.to_owned(),
            NoteValue::Triple(values) => values.map(number).join(", "),
        },
        unit: note.unit.to_owned(),
        assumed_from: match note.origin {
            Origin::Measured => None,
            Origin::Assumed { source } => Some(source.to_owned()),
        },
    }
}

/// A fault of the finished tree; it names things by their names, not by their place in the file.
fn named_complaint(document: &Document, fault: &GeometryError) -> Complaint {
    let message = fault.to_string();
    let name = message.split('`').nth(1).unwrap_or_default();
    Complaint {
        path: document
            .path_of_name(name)
            .unwrap_or_else(|| "form".to_owned()),
        ..geometry_complaint("form", fault)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;

    /// The code blocks of this file's documentation.
    fn documented() -> Vec<String> {
        let (documented, _) = include_str!("vessel_file.rs")
            .split_once("#[cfg(test)]")
            .unwrap();
        documented
            .split("/// ```")
            .skip(1)
            .step_by(2)
            .map(|block| {
                let lines = block.lines().skip(1);
                lines
                    .map(|line| line.strip_prefix("///").unwrap_or(line))
                    .collect::<Vec<_>>()
                    .join("\n")
            })
            .collect()
    }

    #[test]
    fn look_documented_files_are_accepted() {
        let blocks = documented();
        assert_eq!(blocks.len(), 3, "{blocks:?}");
        let whole = blocks[0].clone();
        let form = |i: usize| {
            format!(
                "Vessel(name: \"a\", source: \"b\", teaches: \"c\", {})",
                blocks[i]
            )
        };
        for (text, targets) in [(whole, 7), (form(1), 1), (form(2), 4)] {
            let document = Document {
                name: "documentation".into(),
                text: Arc::from(text),
            };
            let read = accept(&document);
            let found = read.as_ref().map(|vessel| vessel.targets.len());
            let words = read
                .as_ref()
                .map_err(|e| e.render(crate::data::Rendering::default()));
            assert!(
                matches!(found, Ok(n) if n == targets),
                "{}",
                words.unwrap_err()
            );
        }
    }

    #[test]
    fn exact_measured_values_carry_their_source() {
        let document = Document {
            name: "documentation".into(),
            text: Arc::from(documented().swap_remove(0)),
        };
        let vessel = accept(&document).unwrap();
        let row = |name: &str| {
            vessel
                .info
                .values
                .iter()
                .find(|row| row.name == name)
                .unwrap()
        };
        let length = row("common_carotid.length");
        assert_eq!(
            (
                length.value.as_str(),
                length.unit.as_str(),
                &length.assumed_from
            ),
            ("118", "mm", &None),
            "entered"
        );
        let assumed = row("common_carotid.diameter");
        assert!(assumed.assumed_from.is_some(), "not entered: {assumed:?}");
    }
}
