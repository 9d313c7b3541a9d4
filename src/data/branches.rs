//! A vessel described branch by branch, and the tree made of it.

use super::error::{Complaint, choices, split_advice};
use super::place::{Along, OnBranch};
use crate::geometry::{
    Branch, Clot, Curve, Frame, GeometryError, Landmark, Lesion, LesionKind, Lumen, Ostium, Place,
    Point, Run, Tree, Vector,
};
use crate::units::text;
use serde::Deserialize;

/// The form `Branches((…))` of a vessel file. Places and names refer by name.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Branches {
    /// Radial stiffness of the walls, N per mm of length per mm of indentation.
    #[serde(deserialize_with = "text::positive")]
    wall_stiffness_n_per_mm2: f64,
    branches: Vec<BranchEntry>,
    #[serde(default)]
    landmarks: Vec<PlaceEntry>,
    #[serde(default)]
    lesions: Vec<LesionEntry>,
    #[serde(default)]
    clots: Vec<ClotEntry>,
    access: AccessEntry,
    targets: Vec<PlaceEntry>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Branch")]
struct BranchEntry {
    name: String,
    course: Course,
    /// Where it differs from the rest of the vessel.
    #[serde(default, deserialize_with = "text::optional_positive")]
    wall_stiffness_n_per_mm2: Option<f64>,
}

/// The centre line and lumen of a branch.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
enum Course {
    /// Straight stretches and arcs.
    Runs { start: Start, runs: Vec<RunEntry> },
    /// A smooth curve through points (x, y, z, lumen radius), all in `unit`, in the vessel's
    /// coordinates; the first one lies on the parent's centre line.
    Points {
        #[serde(default)]
        leaves: Option<Ostial>,
        unit: PointUnit,
        points: Vec<(f64, f64, f64, f64)>,
    },
}

/// Unit of coordinates and radii; there is no default.
#[derive(Debug, Clone, Copy, Deserialize)]
enum PointUnit {
    #[serde(rename = "mm")]
    Millimetre,
    #[serde(rename = "cm")]
    Centimetre,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
enum Start {
    /// The root: where it starts (mm; the origin if left out) and its direction there. Roll is
    /// counted from `normal`, or from a direction of our choice across it.
    Root {
        #[serde(default)]
        origin_mm: (f64, f64, f64),
        direction: (f64, f64, f64),
        #[serde(default)]
        normal: Option<(f64, f64, f64)>,
    },
    /// A child: its first direction is the parent's direction of flow at the ostium, turned by
    /// `turn_deg` towards `roll_deg` of the parent's twist-free frame.
    Leaves {
        branch: String,
        at: Along,
        #[serde(deserialize_with = "text::angle_deg")]
        turn_deg: f64,
        #[serde(deserialize_with = "text::signed_angle_deg")]
        roll_deg: f64,
    },
}

/// Where a branch of points leaves its parent.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Ostial {
    branch: String,
    at: Along,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields, rename = "Run")]
struct RunEntry {
    #[serde(rename = "length", deserialize_with = "text::length_mm")]
    length_mm: f64,
    /// 0 where left out: straight.
    #[serde(default, deserialize_with = "text::angle_deg")]
    turn_deg: f64,
    #[serde(default, deserialize_with = "text::signed_angle_deg")]
    roll_deg: f64,
    #[serde(rename = "lumen", deserialize_with = "text::lumen_mm")]
    lumen_mm: f64,
    /// As at the start where left out.
    #[serde(
        rename = "lumen_end",
        default,
        deserialize_with = "text::optional_lumen_mm"
    )]
    lumen_end_mm: Option<f64>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Place")]
struct PlaceEntry {
    name: String,
    branch: String,
    at: Along,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Access")]
struct AccessEntry {
    branch: String,
    at: Along,
}

#[derive(Debug, Clone, Copy, Deserialize)]
enum KindEntry {
    Plaque,
    Dissection,
    PlaqueAndDissection,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Lesion")]
struct LesionEntry {
    name: String,
    kind: KindEntry,
    branch: String,
    start: Along,
    #[serde(rename = "length", deserialize_with = "text::length_mm")]
    length_mm: f64,
    #[serde(deserialize_with = "text::stenosis_percent")]
    nascet_percent: f64,
    /// The healthy lumen at the lesion's distal end where left out.
    #[serde(
        rename = "reference",
        default,
        deserialize_with = "text::optional_lumen_mm"
    )]
    reference_mm: Option<f64>,
    #[serde(
        rename = "false_lumen",
        default,
        deserialize_with = "text::optional_lumen_mm"
    )]
    false_lumen_mm: Option<f64>,
    #[serde(default)]
    rigid: bool,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, rename = "Clot")]
struct ClotEntry {
    name: String,
    branch: String,
    start: Along,
    #[serde(rename = "length", deserialize_with = "text::length_mm")]
    length_mm: f64,
}

/// The vessel made of a form.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Built {
    pub(super) tree: Tree,
    pub(super) access: Place,
    pub(super) targets: Vec<(String, Place)>,
}

/// What has been worked out so far.
struct Builder<'a> {
    form: &'a Branches,
    root: &'a str,
    curves: Vec<Option<(Curve, Option<Ostium>)>>,
    landmarks: Vec<(String, usize, f64)>,
    /// Landmarks refused already: what refers to them is not refused once more.
    refused: Vec<&'a str>,
    complaints: Vec<Complaint>,
}

impl Branches {
    /// The tree, if nothing is wrong; all that is goes into `complaints`. `root` is the form's path
    /// in the file.
    pub(super) fn build(&self, root: &str, complaints: &mut Vec<Complaint>) -> Option<Built> {
        let mut builder = Builder {
            form: self,
            root,
            curves: vec![None; self.branches.len()],
            landmarks: Vec::new(),
            refused: Vec::new(),
            complaints: Vec::new(),
        };
        builder.names();
        builder.roots();
        builder.grow();
        match builder.finish() {
            Ok(built) => Some(built),
            Err(more) => {
                complaints.extend(more);
                None
            }
        }
    }

    fn index(&self, name: &str) -> Option<usize> {
        self.branches.iter().position(|b| b.name == name)
    }
}

impl BranchEntry {
    /// Name of its parent and where it leaves it.
    fn parent(&self) -> Option<(&str, &Along, &'static str)> {
        match &self.course {
            Course::Runs {
                start: Start::Leaves { branch, at, .. },
                ..
            } => Some((branch, at, "course.start")),
            Course::Points {
                leaves: Some(leaves),
                ..
            } => Some((&leaves.branch, &leaves.at, "course.leaves")),
            _ => None,
        }
    }

    fn lumen(&self) -> Lumen {
        let mut knots_mm = Vec::new();
        if let Course::Runs { runs, .. } = &self.course {
            let mut at_mm = 0.0;
            for run in runs {
                knots_mm.push((at_mm, run.lumen_mm));
                at_mm += run.length_mm;
                knots_mm.push((at_mm, run.lumen_end_mm.unwrap_or(run.lumen_mm)));
            }
        }
        Lumen { knots_mm }
    }
}

impl Builder<'_> {
    fn complain(&mut self, complaint: Complaint) {
        self.complaints.push(complaint);
    }

    fn path(&self, rest: &str) -> String {
        format!("{}.{rest}", self.root)
    }

    /// Names: there, well formed, each once among its kind.
    fn names(&mut self) {
        let form = self.form;
        let lists: [(&str, Vec<&str>); 5] = [
            ("branches", form.branches.iter().map(|b| &*b.name).collect()),
            (
                "landmarks",
                form.landmarks.iter().map(|l| &*l.name).collect(),
            ),
            ("lesions", form.lesions.iter().map(|l| &*l.name).collect()),
            ("clots", form.clots.iter().map(|c| &*c.name).collect()),
            ("targets", form.targets.iter().map(|t| &*t.name).collect()),
        ];
        for (list, names) in lists {
            for (i, name) in names.iter().enumerate() {
                let path = self.path(&format!("{list}[{i}].name"));
                let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
                if name.is_empty() || !name.chars().all(plain) || *name == "end" {
                    let message = if name.is_empty() {
                        "the name is empty".to_owned()
                    } else {
                        format!("`{name}` is no name for scripts to use")
                    };
                    self.complain(
                        Complaint::new(path, message)
                            .help("use lower-case letters, digits and hyphens, as in `carotid-bifurcation`; `end` is taken"),
                    );
                } else if names[..i].contains(name) {
                    self.complain(
                        Complaint::new(
                            path,
                            format!("the name `{name}` is given twice in `{list}`"),
                        )
                        .help("give each its own name"),
                    );
                }
            }
        }
    }

    fn roots(&mut self) {
        let roots: Vec<usize> = (0..self.form.branches.len())
            .filter(|&i| self.form.branches[i].parent().is_none())
            .collect();
        match roots.as_slice() {
            [] if self.form.branches.is_empty() => {
                let path = self.path("branches");
                self.complain(
                    Complaint::new(path, "a vessel needs at least one branch")
                        .help("start with the root: course: Runs(start: Root(direction: (0, 0, 1)), runs: […])"),
                );
            }
            [first, others @ ..] => {
                let first_name = &self.form.branches[*first].name;
                for other in others {
                    let path = self.path(&format!("branches[{other}].course"));
                    let name = &self.form.branches[*other].name;
                    self.complain(
                        Complaint::new(
                            path,
                            format!("`{name}` is a second root beside `{first_name}`"),
                        )
                        .help("a vessel is one tree: let it leave a branch with `Leaves(…)`"),
                    );
                }
            }
            [] => {}
        }
    }

    /// Curves and landmarks, parents first.
    fn grow(&mut self) {
        let form = self.form;
        let mut tried = vec![false; form.branches.len()];
        for (i, entry) in form.branches.iter().enumerate() {
            if let Some((parent, _, field)) = entry.parent()
                && form.index(parent).is_none()
            {
                let path = self.path(&format!("branches[{i}].{field}.branch"));
                self.complain(unknown_branch(path, parent, form));
                tried[i] = true;
            }
        }
        loop {
            let ready = (0..form.branches.len()).find(|&i| {
                !tried[i]
                    && form.branches[i].parent().is_none_or(|(parent, _, _)| {
                        form.index(parent).is_some_and(|p| self.curves[p].is_some())
                    })
            });
            let Some(i) = ready else { break };
            tried[i] = true;
            match self.course(i) {
                Ok(curve) => {
                    self.curves[i] = Some(curve);
                    self.landmarks_of(i);
                }
                Err(Some(complaint)) => self.complain(complaint),
                Err(None) => {}
            }
        }
        // what is left hangs on a branch that failed (said already) or on itself
        for (i, entry) in form.branches.iter().enumerate() {
            if tried[i] || !self.is_own_ancestor(i) {
                continue;
            }
            let Some((parent, _, field)) = entry.parent() else {
                continue;
            };
            let name = &entry.name;
            let path = self.path(&format!("branches[{i}].{field}.branch"));
            self.complain(
                Complaint::new(
                    path,
                    format!("`{name}` leaves `{parent}`, which itself comes out of `{name}`"),
                )
                .help("a vessel is a tree: give one of the two another parent"),
            );
        }
    }

    fn is_own_ancestor(&self, branch: usize) -> bool {
        let mut at = branch;
        // a way up longer than there are branches goes in circles further up
        for _ in 0..self.form.branches.len() {
            let parent = self.form.branches[at]
                .parent()
                .and_then(|(parent, _, _)| self.form.index(parent));
            match parent {
                Some(parent) if parent == branch => return true,
                Some(parent) => at = parent,
                None => return false,
            }
        }
        false
    }

    fn on(&self, index: usize) -> Option<OnBranch<'_>> {
        let (curve, _) = self.curves[index].as_ref()?;
        Some(OnBranch {
            index,
            name: &self.form.branches[index].name,
            length_mm: curve.length_mm(),
            landmarks: &self.landmarks,
        })
    }

    fn landmarks_of(&mut self, branch: usize) {
        let form = self.form;
        for (i, landmark) in form.landmarks.iter().enumerate() {
            if form.index(&landmark.branch) != Some(branch) {
                continue;
            }
            let path = self.path(&format!("landmarks[{i}].at"));
            if landmark.at.landmark().is_some() {
                self.refused.push(&landmark.name);
                self.complain(
                    Complaint::new(path, "a landmark is not placed by another one")
                        .help("give its distance from the start of the branch, or from its `end`"),
                );
            } else if let Some(on) = self.on(branch) {
                match landmark.at.resolve(&path, &on) {
                    Ok(at_mm) => self.landmarks.push((landmark.name.clone(), branch, at_mm)),
                    Err(complaint) => {
                        self.refused.push(&landmark.name);
                        self.complain(complaint);
                    }
                }
            }
        }
    }

    /// Where a branch leaves its parent; `Err(None)` if what is wrong has been said already.
    fn ostium(&self, i: usize) -> Result<Option<Ostium>, Option<Complaint>> {
        let Some((parent, at, field)) = self.form.branches[i].parent() else {
            return Ok(None);
        };
        if self.rests_on_refused(at) {
            return Err(None);
        }
        let path = self.path(&format!("branches[{i}].{field}.at"));
        let on = self.form.index(parent).and_then(|parent| self.on(parent));
        match on {
            Some(on) => Ok(Some(Ostium {
                branch: on.index,
                at_mm: at.resolve(&path, &on)?,
            })),
            None => Err(None),
        }
    }

    fn rests_on_refused(&self, at: &Along) -> bool {
        at.landmark()
            .is_some_and(|name| self.refused.contains(&name))
    }

    /// Centre line of a branch whose parent's is known.
    fn course(&self, i: usize) -> Result<(Curve, Option<Ostium>), Option<Complaint>> {
        let entry = &self.form.branches[i];
        let ostium = self.ostium(i)?;
        let parent_frame = ostium.and_then(|o| {
            let (curve, _) = self.curves[o.branch].as_ref()?;
            Some(curve.frame_at(o.at_mm))
        });
        let path = self.path(&format!("branches[{i}].course"));
        let curve = match &entry.course {
            Course::Runs { start, runs } => {
                let frame = start_frame(start, parent_frame, &path)?;
                curve_of_runs(frame, runs, &path)?
            }
            Course::Points { unit, points, .. } => {
                curve_of_points(*unit, points, parent_frame, &entry.name, &path)?
            }
        };
        Ok((curve, ostium))
    }

    fn branch_of(&mut self, path: &str, name: &str) -> Option<usize> {
        let found = self.form.index(name);
        if found.is_none() {
            let complaint = unknown_branch(format!("{path}.branch"), name, self.form);
            self.complain(complaint);
        }
        found
    }

    /// A place by branch and position; `None` where that is, or its branch was, refused.
    fn place(&mut self, path: &str, field: &str, branch: &str, at: &Along) -> Option<Place> {
        let index = self.branch_of(path, branch)?;
        if self.rests_on_refused(at) {
            return None;
        }
        let at_path = format!("{path}.{field}");
        match at.resolve(&at_path, &self.on(index)?) {
            Ok(at_mm) => Some(Place {
                branch: index,
                at_mm,
            }),
            Err(complaint) => {
                self.complain(complaint);
                None
            }
        }
    }

    fn lumens(&self) -> Vec<Lumen> {
        self.form
            .branches
            .iter()
            .zip(&self.curves)
            .map(|(entry, curve)| match (&entry.course, curve) {
                (Course::Points { unit, points, .. }, Some((curve, _))) => {
                    lumen_of_points(*unit, points, curve)
                }
                _ => entry.lumen(),
            })
            .collect()
    }

    fn finish(mut self) -> Result<Built, Vec<Complaint>> {
        let form = self.form;
        let lumens = self.lumens();
        for (i, landmark) in form.landmarks.iter().enumerate() {
            let path = self.path(&format!("landmarks[{i}]"));
            self.branch_of(&path, &landmark.branch);
        }
        let lesions: Vec<_> = (0..form.lesions.len())
            .filter_map(|i| self.lesion(i, &lumens))
            .collect();
        let mut clots = Vec::new();
        for (i, clot) in form.clots.iter().enumerate() {
            let path = self.path(&format!("clots[{i}]"));
            if clot.length_mm <= 0.0 {
                self.complain(no_length(&path));
            }
            if let Some(place) = self.place(&path, "start", &clot.branch, &clot.start) {
                clots.push(Clot {
                    name: clot.name.clone(),
                    branch: place.branch,
                    start_mm: place.at_mm,
                    length_mm: clot.length_mm,
                });
            }
        }
        let path = self.path("access");
        let access = self.place(&path, "at", &form.access.branch, &form.access.at);
        if form.targets.is_empty() {
            let path = self.path("targets");
            self.complain(
                Complaint::new(path, "there is no target")
                    .help("name at least one place a route can end in: (name: \"m1\", branch: \"m1\", at: \"end\")"),
            );
        }
        let mut targets = Vec::new();
        for (i, target) in form.targets.iter().enumerate() {
            let path = self.path(&format!("targets[{i}]"));
            if let Some(place) = self.place(&path, "at", &target.branch, &target.at) {
                targets.push((target.name.clone(), place));
            }
        }
        let (Some(access), true) = (access, self.complaints.is_empty()) else {
            return Err(self.complaints);
        };
        let landmarks = self
            .landmarks
            .into_iter()
            .map(|(name, branch, at_mm)| Landmark {
                name,
                place: Place { branch, at_mm },
            })
            .collect();
        let branches = form
            .branches
            .iter()
            .zip(self.curves.into_iter().flatten())
            .zip(lumens)
            .map(|((entry, (curve, ostium)), lumen)| Branch {
                name: entry.name.clone(),
                ostium,
                curve,
                lumen,
                wall_stiffness_n_per_mm2: entry
                    .wall_stiffness_n_per_mm2
                    .unwrap_or(form.wall_stiffness_n_per_mm2),
            })
            .collect();
        Ok(Built {
            tree: Tree {
                branches,
                landmarks,
                lesions,
                clots,
            },
            access,
            targets,
        })
    }

    fn lesion(&mut self, i: usize, lumens: &[Lumen]) -> Option<Lesion> {
        let entry = &self.form.lesions[i];
        let path = self.path(&format!("lesions[{i}]"));
        let place = self.place(&path, "start", &entry.branch, &entry.start)?;
        let end_mm = place.at_mm + entry.length_mm;
        let length_mm = self.on(place.branch)?.length_mm;
        if entry.length_mm <= 0.0 {
            self.complain(no_length(&path));
        } else if end_mm > length_mm {
            self.complain(
                Complaint::new(
                    format!("{path}.length"),
                    format!(
                        "the lesion ends {end_mm:.1} mm along `{}`, which is {length_mm:.1} mm long",
                        entry.branch
                    ),
                )
                .help("shorten it, or make a second lesion on the branch that follows"),
            );
        }
        if entry.nascet_percent >= 100.0 && entry.reference_mm.is_none() {
            self.complain(
                Complaint::new(
                    format!("{path}.nascet_percent"),
                    "an occlusion needs its reference diameter stated",
                )
                .help("the artery beyond an occlusion collapses and gives no reference: add `reference: \"4.5 mm\"` with the diameter it would have when filled"),
            );
        }
        let splits = !matches!(entry.kind, KindEntry::Plaque);
        if splits != entry.false_lumen_mm.is_some() {
            self.complain(if splits {
                Complaint::new(
                    format!("{path}.kind"),
                    "a dissection has no false lumen here",
                )
                .help("add `false_lumen: \"3 mm\"` with its diameter")
            } else {
                Complaint::new(
                    format!("{path}.false_lumen"),
                    "a plaque alone has no false lumen",
                )
                .help("remove it, or write `kind: PlaqueAndDissection`")
            });
        }
        Some(Lesion {
            name: entry.name.clone(),
            kind: match entry.kind {
                KindEntry::Plaque => LesionKind::Plaque,
                KindEntry::Dissection => LesionKind::Dissection,
                KindEntry::PlaqueAndDissection => LesionKind::PlaqueAndDissection,
            },
            branch: place.branch,
            start_mm: place.at_mm,
            length_mm: entry.length_mm,
            nascet_percent: entry.nascet_percent,
            reference_mm: entry
                .reference_mm
                .unwrap_or_else(|| lumens[place.branch].diameter_at(end_mm)),
            false_lumen_mm: entry.false_lumen_mm,
            rigid: entry.rigid,
        })
    }
}

fn no_length(path: &str) -> Complaint {
    Complaint::new(format!("{path}.length"), "the length is 0").help("give it a length above 0")
}

fn unknown_branch(path: String, name: &str, form: &Branches) -> Complaint {
    let names = || form.branches.iter().map(|b| b.name.as_str());
    Complaint::new(path, format!("no branch is named `{name}`")).help(choices(name, names()))
}

fn start_frame(start: &Start, parent: Option<Frame>, path: &str) -> Result<Frame, Complaint> {
    match start {
        Start::Root {
            origin_mm,
            direction,
            normal,
        } => {
            let vector = |v: (f64, f64, f64)| Vector::new(v.0, v.1, v.2);
            let direction = vector(*direction);
            let usable = |v: &Vector| v.norm() > 0.0 && v.norm().is_finite();
            if !usable(&direction) {
                return Err(
                    Complaint::new(format!("{path}.start.direction"), "no direction")
                        .help("give a finite vector that is not all 0, such as (0, 0, 1)"),
                );
            }
            let normal = normal.map(vector);
            if let Some(normal) = &normal {
                let across = direction.normalize().cross(normal);
                // below a thousandth of a radian the direction across would be noise
                if !usable(normal) || across.norm() < 1e-3 * normal.norm() {
                    return Err(Complaint::new(
                        format!("{path}.start.normal"),
                        "the normal gives no direction across the branch",
                    )
                    .help("give a vector that is not along `direction`"));
                }
            }
            let origin = Point::new(origin_mm.0, origin_mm.1, origin_mm.2);
            if !origin.iter().all(|x| x.is_finite()) {
                return Err(Complaint::new(
                    format!("{path}.start.origin_mm"),
                    "the origin is not finite",
                )
                .help("give three numbers in mm, such as (0, 0, 0)"));
            }
            Ok(Frame::new(
                origin,
                direction,
                normal.unwrap_or_else(|| Vector::ith(direction.iamin(), 1.0)),
            ))
        }
        Start::Leaves {
            turn_deg, roll_deg, ..
        } => match parent {
            Some(frame) => Ok(frame.turned(turn_deg.to_radians(), roll_deg.to_radians())),
            None => Err(Complaint::new(
                format!("{path}.start.branch"),
                "the parent has no course",
            )),
        },
    }
}

fn curve_of_runs(frame: Frame, runs: &[RunEntry], path: &str) -> Result<Curve, Complaint> {
    if let Some(i) = runs.iter().position(|run| run.length_mm <= 0.0) {
        return Err(no_length(&format!("{path}.runs[{i}]")));
    }
    let runs: Vec<Run> = runs
        .iter()
        .map(|run| Run {
            length_mm: run.length_mm,
            turn_rad: run.turn_deg.to_radians(),
            roll_rad: run.roll_deg.to_radians(),
            diameter_start_mm: run.lumen_mm,
            diameter_end_mm: run.lumen_end_mm.unwrap_or(run.lumen_mm),
        })
        .collect();
    Curve::from_runs(frame, &runs).map_err(|error| geometry_complaint(path, &error))
}

/// A refusal by the geometry, at the path it names below `path`.
pub(super) fn geometry_complaint(path: &str, error: &GeometryError) -> Complaint {
    match error {
        GeometryError::OutOfRange {
            what,
            found,
            needed,
        } => {
            let field = what.split(',').next().unwrap_or_default();
            Complaint::new(format!("{path}.{field}"), format!("{what} is {found}"))
                .help(format!("it must be {needed}"))
        }
        GeometryError::Measurement {
            field,
            found,
            needed,
            mend,
        } => Complaint::new(
            format!("{path}.{field}"),
            format!("`{field}` is {found}, must be {needed}"),
        )
        .help(mend),
        GeometryError::TooFew {
            what,
            needed,
            found,
        } => Complaint::new(
            format!("{path}.{what}"),
            format!("`{what}` has {found} entries"),
        )
        .help(format!("give at least {needed}")),
        other => {
            let message = other.to_string();
            let (message, help) = split_advice(&message);
            let complaint = Complaint::new(path, message);
            match help {
                Some(help) => complaint.help(help),
                None => complaint,
            }
        }
    }
}

impl PointUnit {
    fn mm(self) -> f64 {
        match self {
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
        }
    }
}

fn curve_of_points(
    unit: PointUnit,
    points: &[(f64, f64, f64, f64)],
    parent: Option<Frame>,
    name: &str,
    path: &str,
) -> Result<Curve, Complaint> {
    // the radii a lumen may have: half of the diameters of `units::text::lumen_mm`
    const RADII_MM: std::ops::RangeInclusive<f64> = 0.1..=30.0;
    for (i, point) in points.iter().enumerate() {
        let radius_mm = point.3 * unit.mm();
        if !RADII_MM.contains(&radius_mm) {
            return Err(Complaint::new(
                format!("{path}.points[{i}][3]"),
                format!(
                    "the lumen radius is {radius_mm} mm, must be {} to {} mm",
                    RADII_MM.start(),
                    RADII_MM.end()
                ),
            )
            .help("points are (x, y, z, radius), all in the `unit` of the branch"));
        }
    }
    let at: Vec<Point> = points
        .iter()
        .map(|p| Point::new(p.0, p.1, p.2) * unit.mm())
        .collect();
    if let (Some(parent), Some(first)) = (parent, at.first()) {
        let gap_mm = (first - parent.origin_mm).norm();
        // coordinates printed with two decimals are off by less; a real gap is a vessel's radius
        if gap_mm > 0.1 {
            let p = parent.origin_mm / unit.mm();
            return Err(Complaint::new(
                format!("{path}.points[0]"),
                format!("`{name}` starts {gap_mm:.2} mm from its parent's centre line"),
            )
            .help(format!(
                "put the place it leaves from in front: ({:.3}, {:.3}, {:.3}, radius), or mend `leaves`",
                p.x, p.y, p.z
            )));
        }
    }
    Curve::through_points(&at).map_err(|error| geometry_complaint(path, &error))
}

/// Lumen knots at the points, by the arc length at which the curve passes through them.
fn lumen_of_points(unit: PointUnit, points: &[(f64, f64, f64, f64)], curve: &Curve) -> Lumen {
    let mut last_mm = 0.0;
    let knots_mm = points
        .iter()
        .map(|p| {
            let point = Point::new(p.0, p.1, p.2) * unit.mm();
            // knots may not fall; where a coil passes close by, the first pass would be found
            last_mm = curve.closest(&point).0.max(last_mm);
            (last_mm, 2.0 * p.3 * unit.mm())
        })
        .collect();
    Lumen { knots_mm }
}
