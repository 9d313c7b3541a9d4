//! Anatomy from measurements: a form filled in from a CT angiogram becomes a vessel tree.
//!
//! [`Measurements`] is the form. [`Measurements::build`] draws the aorta, the limbs, the arch
//! vessels, the neck and the head from exact arcs, solves for the quantities that follow from the
//! measurements (where the innominate leaves an arch of the height entered, how wide an S gives
//! the ratio of length to straight distance) and fills in what was not measured from published
//! means. The [`Anatomy`] holds the tree, the access, the targets and one [`ValueNote`] for every
//! number used: measured, or assumed from which source.
//!
//! Coordinates: x to the patient's left, y backwards, z up, mm; the origin lies at the top of the
//! arch. Where vessels lie in space beyond lengths, angles and radii is a choice of the model
//! and noted as such under `layout.`.
//!
//! # Validity
//! Lengths run along centre lines, and along the route to the first target they are those entered,
//! to a tenth of a millimetre: branches are drawn longer by what a route saves where it swings
//! through an ostium. The distances of origins along the aorta are kept on the aorta. On the way to
//! another target, or where the rounds that make up for it do not settle, a length may differ;
//! [`changed_lengths`] tells which. Arch vessels are measured from the wall of the aorta, all
//! others from their parent's centre line. Means stand for populations, not for a person: an
//! anatomy whose deciding lengths are assumed decides nothing.

mod around;
mod chords;
mod context;
mod doubts;
mod draft;
mod form;
mod head;
mod helps;
mod kept;
mod ledger;
mod lesions;
mod limbs;
mod means;
mod neck;
mod pen;
mod plausible;
mod route_lengths;
mod sample;
mod torso;
mod walls;

pub use around::Doubtful;
pub use doubts::Doubt;
pub use form::{
    Access, Aorta, Arch, Bifurcation, CervicalIca, ClotForm, ClotPlace, CommonCarotid,
    FemoralRoute, LesionForm, LesionPlace, M1, M1Shape, M2, Measurements, NeckShape, Petrous,
    RadialRoute, Segment, Sex, SharedOrigin, Side, Siphon, SiphonShape, Wall, WallDisease,
};
pub use helps::Help;
pub use kept::{End, Stretch, changed_lengths};
pub use ledger::{NoteValue, Origin, ValueNote};
pub use route_lengths::{Known, RouteLength, route_lengths};

use super::{GeometryError, Place, Tree};
use draft::{Draft, refuse};
use kept::Allowances;
use means::{Who, fixed, source};

/// A vessel built from measurements.
#[derive(Debug, Clone, PartialEq)]
pub struct Anatomy {
    /// The vessel.
    pub tree: Tree,
    /// Where the devices enter.
    pub access: Place,
    /// Places that a plan may aim at, the farthest first.
    pub targets: Vec<Target>,
    /// Every number used and what it rests on.
    pub values: Vec<ValueNote>,
    /// Where the entered lengths lie on the tree.
    pub lengths: Vec<Stretch>,
}

/// A place that a plan may aim at.
#[derive(Debug, Clone, PartialEq)]
pub struct Target {
    /// Its name (`m2-inferior`).
    pub name: &'static str,
    /// Where it is.
    pub place: Place,
}

impl Anatomy {
    /// The ways to the ends of both trunks, the first target's first; `None` where there is none.
    fn routes(&self) -> Option<Vec<super::route::Route>> {
        let trunks = self.targets.iter().filter(|t| t.name.starts_with("m2-"));
        trunks
            .map(|target| kept::route(&self.tree, self.access, target.place).ok())
            .collect()
    }

    /// The place of a target.
    ///
    /// # Errors
    /// [`GeometryError::Unknown`] if no target bears the name.
    pub fn target(&self, name: &str) -> Result<Place, GeometryError> {
        self.targets
            .iter()
            .find(|t| t.name == name)
            .map(|t| t.place)
            .ok_or_else(|| GeometryError::Unknown {
                kind: "target",
                name: name.to_owned(),
                suggestion: self.targets.first().map(|t| t.name.to_owned()),
            })
    }
}

impl Measurements {
    /// Builds the vessel.
    ///
    /// # Errors
    /// [`GeometryError::Measurement`] names the field, what it is, what it would have to be and
    /// how to mend it: contradictions (a type and a height that disagree, a length below its
    /// straight distance), lesions and clots that leave their vessel, bends tighter than their
    /// lumen, a percentage without reference where the distal artery has collapsed.
    ///
    /// # Example
    /// ```
    /// use nestline_physics::geometry::anatomy::{Access, Measurements, Sex, Side};
    /// let mut form = Measurements::new(Sex::Female, 71.0, Access::FemoralRight, Side::Left);
    /// form.common_carotid.length = Some(118.0);
    /// let anatomy = form.build()?;
    /// assert_eq!(anatomy.targets[0].name, "m2-inferior");
    /// # Ok::<(), nestline_physics::geometry::GeometryError>(())
    /// ```
    pub fn build(&self) -> Result<Anatomy, GeometryError> {
        self.check()?;
        match chords::settled(self)? {
            Some(settled) => settled.grow(),
            None => self.grow(),
        }
    }

    /// Draws the vessel until its lengths are kept.
    fn grow(&self) -> Result<Anatomy, GeometryError> {
        let mut allowances = Allowances::default();
        let mut best = self.draw(&allowances)?;
        let Some(mut routes) = best.routes() else {
            // an ostium that no route passes: whoever lays one is told
            return Ok(best);
        };
        let mut worst_mm = kept::worst_mm(&best.lengths, &routes);
        let mut lengths = best.lengths.clone();
        for _ in 0..kept::ROUNDS {
            if worst_mm <= kept::WITHIN_MM {
                break;
            }
            allowances.make_up(&lengths, &routes);
            let Ok(next) = self.draw(&allowances) else {
                break;
            };
            match next.routes() {
                Some(found) => routes = found,
                None => break,
            }
            lengths.clone_from(&next.lengths);
            let next_mm = kept::worst_mm(&lengths, &routes);
            if next_mm < worst_mm {
                (best, worst_mm) = (next, next_mm);
            }
        }
        Ok(best)
    }

    /// Builds the vessel with its lengths drawn longer by the allowances.
    fn draw(&self, allowances: &Allowances) -> Result<Anatomy, GeometryError> {
        let mut draft = Draft::new(allowances.clone());
        match self.drawn(&mut draft) {
            Ok((access, targets)) => Ok(Anatomy {
                targets,
                access,
                tree: draft.tree,
                values: draft.ledger.notes,
                lengths: draft.lengths,
            }),
            Err(error) => Err(draft.ledger.told_if_assumed(error)),
        }
    }

    fn drawn(&self, draft: &mut Draft) -> Result<(Place, Vec<Target>), GeometryError> {
        let who = Who::of(self);
        self.note_person(draft);
        let walls = walls::Walls::note(&self.wall, &mut draft.ledger);
        let carotid_mm = draft.ledger.mm(
            "common_carotid.diameter",
            self.common_carotid.diameter,
            who.common_carotid_diameter(),
        );
        // the arch rule counts in left carotids; where the right one is treated, the left is the
        // mean
        let left_carotid_mm = match self.side {
            Side::Left => carotid_mm,
            Side::Right => who.common_carotid_diameter().value,
        };
        let torso = torso::build(self, who, draft, &walls, left_carotid_mm)?;
        let bulb_mm = draft.ledger.mm(
            "bifurcation.bulb_diameter",
            self.bifurcation.bulb_diameter,
            means::BULB_DIAMETER,
        );
        let mut treated = 0;
        for (side, origin) in [
            (Side::Left, torso.left_carotid),
            (Side::Right, torso.right_carotid),
        ] {
            let branch = neck::common_carotid(self, who, draft, &walls, side, origin, bulb_mm)?;
            if side == self.side {
                treated = branch;
            }
        }
        let external = self.external_carotid(draft, &walls, treated)?;
        let (cervical, origin) = neck::cervical_ica(self, who, draft, treated)?;
        let skull_base_mm = cervical.length.drawn_mm;
        let head = head::build(self, draft, &walls, cervical, origin, bulb_mm)?;
        for index in 0..self.lesions.len() {
            lesions::lesion(self, index, draft, treated, &head, skull_base_mm)?;
        }
        lesions::clot(self, draft, &head)?;
        let access = match torso.access {
            Some(access) => access,
            None => self.carotid_access(draft, treated)?,
        };
        let end = |name, branch| Target {
            name,
            place: Place {
                branch,
                at_mm: draft.length_mm(branch),
            },
        };
        let targets = vec![
            end("m2-inferior", head.m2_inferior),
            end("m2-superior", head.m2_superior),
            end("m1-end", head.m1),
            end("ica-terminus", head.internal_carotid),
            Target {
                name: "skull-base",
                place: Place {
                    branch: head.internal_carotid,
                    at_mm: skull_base_mm,
                },
            },
            end("carotid-bifurcation", treated),
            end("external-carotid", external),
        ];
        Ok((access, targets))
    }

    /// Entries that would otherwise be ignored in silence.
    fn check(&self) -> Result<(), GeometryError> {
        if !(18.0..=110.0).contains(&self.age_years) {
            return Err(refuse(
                "age_years",
                format!("{}", self.age_years),
                "from 18 to 110",
                "the published means are of adults",
            ));
        }
        plausible::check(self)?;
        if self.access.radial_side().is_none() && self.radial != RadialRoute::default() {
            return Err(refuse(
                "radial",
                "entered",
                "left out unless the access is radial",
                "set access: RadialRight or RadialLeft, or leave it out",
            ));
        }
        if self.access != Access::DirectCarotid && self.puncture_below_bifurcation.is_some() {
            return Err(refuse(
                "puncture_below_bifurcation",
                "entered",
                "left out unless the access is the carotid",
                "set access: DirectCarotid, or leave it out",
            ));
        }
        Ok(())
    }

    fn note_person(&self, draft: &mut Draft) {
        let ledger = &mut draft.ledger;
        let given = (self.sex, "");
        ledger.word("sex", Some(self.sex), given, |s| match s {
            Sex::Female => "female",
            Sex::Male => "male",
        });
        ledger.number("age_years", "years", Some(self.age_years), fixed(0.0, ""));
        let given = (self.side, "");
        ledger.word("side", Some(self.side), given, Side::word);
        let given = (self.access, "");
        ledger.word("access", Some(self.access), given, |a| match a {
            Access::FemoralRight => "right femoral",
            Access::FemoralLeft => "left femoral",
            Access::RadialRight => "right radial",
            Access::RadialLeft => "left radial",
            Access::DirectCarotid => "direct carotid",
        });
    }

    fn external_carotid(
        &self,
        draft: &mut Draft,
        walls: &walls::Walls,
        common_carotid: usize,
    ) -> Result<usize, GeometryError> {
        let x = self.side.sign();
        let ledger = &mut draft.ledger;
        let lean = ledger.heading(
            "layout.external_carotid_lean",
            super::Vector::new(-0.7 * x, -0.7, 0.0),
            source::MODEL,
        );
        let takeoff_rad = ledger.rad(
            "layout.external_carotid_takeoff_deg",
            None,
            fixed(30.0, source::MEMORY),
        );
        let length_mm = ledger.mm(
            "layout.external_carotid_length",
            None,
            fixed(60.9, source::NETWORK),
        );
        let diameter_mm = ledger.mm(
            "layout.external_carotid_diameter",
            None,
            fixed(4.53, source::NETWORK),
        );
        let end_mm = draft.length_mm(common_carotid);
        let flow = draft.frame(common_carotid, end_mm).tangent;
        let origin = draft.at_end(common_carotid, pen::tilted(flow, lean, takeoff_rad));
        let mut pen = pen::Pen::new(origin.place_mm, origin.heading);
        pen.bend_to(
            super::Vector::z(),
            length_mm,
            "layout.external_carotid_length",
        );
        let external = draft.branch(
            "external-carotid",
            Some(origin.ostium),
            pen,
            vec![(0.0, diameter_mm)],
            walls.neck_n_per_mm2,
        )?;
        draft.mark("external-carotid-end", external, length_mm);
        Ok(external)
    }

    fn carotid_access(
        &self,
        draft: &mut Draft,
        common_carotid: usize,
    ) -> Result<Place, GeometryError> {
        let below = draft.length(
            "puncture_below_bifurcation",
            self.puncture_below_bifurcation,
            fixed(60.0, "common practice, no source: low in the neck"),
        );
        let end_mm = draft.length_mm(common_carotid);
        let below_mm = below.drawn_mm;
        if below_mm <= 0.0 || below_mm >= end_mm {
            return Err(refuse(
                "puncture_below_bifurcation",
                format!("{below_mm:.0} mm"),
                format!("above 0 and less than the common carotid, {end_mm:.0} mm"),
                "enter the distance along the common carotid",
            ));
        }
        let at_mm = end_mm - below_mm;
        let covering = draft.tree.lesions.iter().find(|l| {
            l.branch == common_carotid && (l.start_mm..=l.start_mm + l.length_mm).contains(&at_mm)
        });
        if let Some(lesion) = covering {
            return Err(refuse(
                "puncture_below_bifurcation",
                format!("{below_mm:.0} mm, inside {}", lesion.name),
                format!("more than {:.0} mm", end_mm - lesion.start_mm),
                "puncture below the lesion",
            ));
        }
        draft.mark("arteriotomy", common_carotid, at_mm);
        draft.stretch(
            "puncture_below_bifurcation",
            (common_carotid, at_mm),
            (common_carotid, end_mm),
            below.entered_mm,
        );
        Ok(Place {
            branch: common_carotid,
            at_mm,
        })
    }
}
