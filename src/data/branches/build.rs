//! The tree made of a form: names resolved, parents before children, all complaints gathered.

use super::course::{curve_of_points, curve_of_runs, lumen_of_points, no_length, start_frame};
use super::{Branches, Course, KindEntry};
use crate::data::error::{Complaint, choices};
use crate::data::place::{Along, OnBranch};
use crate::geometry::{
    Branch, Clot, Curve, Landmark, Lesion, LesionKind, Lumen, Ostium, Place, Tree,
};

/// The vessel made of a form.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::data) struct Built {
    pub(in crate::data) tree: Tree,
    /// Where devices enter; the start of the root where a piece says nothing.
    pub(in crate::data) access: Place,
    pub(in crate::data) targets: Vec<(String, Place)>,
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
    pub(in crate::data) fn build(
        &self,
        root: &str,
        complaints: &mut Vec<Complaint>,
    ) -> Option<Built> {
        self.build_as(root, false, complaints)
    }

    /// The same of a piece that another vessel holds: no device enters it.
    pub(in crate::data) fn build_piece(
        &self,
        root: &str,
        complaints: &mut Vec<Complaint>,
    ) -> Option<Built> {
        self.build_as(root, true, complaints)
    }

    fn build_as(&self, root: &str, piece: bool, complaints: &mut Vec<Complaint>) -> Option<Built> {
        let mut builder = Builder {
            form: self,
            root,
            curves: vec![None; self.branches.len()],
            landmarks: Vec::new(),
            refused: Vec::new(),
            complaints: Vec::new(),
        };
        builder.access(piece);
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

impl Builder<'_> {
    fn complain(&mut self, complaint: Complaint) {
        self.complaints.push(complaint);
    }

    fn path(&self, rest: &str) -> String {
        format!("{}.{rest}", self.root)
    }

    /// Where devices enter: said, unless another vessel lies below.
    fn access(&mut self, piece: bool) {
        match (&self.form.access, piece) {
            (None, false) => {
                let path = self.root.to_owned();
                self.complain(
                    Complaint::new(
                        path,
                        "the field `access` is missing: nothing says where devices enter",
                    )
                    .help("add for example `access: (branch: \"aorta\", at: \"end\")`"),
                );
            }
            (Some(_), true) => {
                let path = self.path("access");
                self.complain(
                    Complaint::new(path, "a grafted piece has no access of its own")
                        .help("remove it: devices enter by the vessel that it is grafted onto"),
                );
            }
            _ => {}
        }
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
                let parent = ostium.and_then(|o| {
                    let (curve, _) = self.curves[o.branch].as_ref()?;
                    Some((curve, o.at_mm))
                });
                let parent_name = entry.parent().map_or("", |(name, ..)| name);
                curve_of_points(*unit, points, parent, (&entry.name, parent_name), &path)?
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
        let access = match &form.access {
            Some(access) => self.place(&path, "at", &access.branch, &access.at),
            // the first branch without a parent
            None => (0..form.branches.len())
                .find(|&i| form.branches[i].parent().is_none())
                .map(|branch| Place { branch, at_mm: 0.0 }),
        };
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

fn unknown_branch(path: String, name: &str, form: &Branches) -> Complaint {
    let names = || form.branches.iter().map(|b| b.name.as_str());
    Complaint::new(path, format!("no branch is named `{name}`")).help(choices(name, names()))
}
