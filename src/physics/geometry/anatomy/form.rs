//! The form a person fills in from a CT angiogram.
//!
//! Lengths and diameters are text with their unit (`"124 mm"`, `"60 cm"`) and held in mm; angles
//! end in `_deg`, percentages in `_percent`. Everything that is left out is filled from published
//! means and marked as assumed. All lengths run along the centre line.

use super::super::ArchType;
use crate::units::text;
use serde::Deserialize;

/// What was measured on one person; the rest is assumed.
///
/// Only sex, age, access and side are required: every published mean depends on one of them.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measurements {
    /// Sex, for the published means.
    pub sex: Sex,
    /// Age, years, 18 to 110; the published means change at 60.
    #[serde(deserialize_with = "text::positive")]
    pub age_years: f64,
    /// Where the devices enter.
    pub access: Access,
    /// Side of the treated carotid.
    pub side: Side,
    /// Groin to arch.
    #[serde(default)]
    pub femoral: FemoralRoute,
    /// Wrist to arch; only with a radial access.
    #[serde(default)]
    pub radial: RadialRoute,
    /// Direct carotid access only: puncture below the carotid bifurcation, mm.
    #[serde(default, deserialize_with = "text::optional_length_mm")]
    pub puncture_below_bifurcation: Option<f64>,
    /// Aorta.
    #[serde(default)]
    pub aorta: Aorta,
    /// Arch and where its vessels leave it.
    #[serde(default)]
    pub arch: Arch,
    /// Innominate artery.
    #[serde(default)]
    pub innominate: Segment,
    /// Common carotid of the treated side.
    #[serde(default)]
    pub common_carotid: CommonCarotid,
    /// Carotid bifurcation.
    #[serde(default)]
    pub bifurcation: Bifurcation,
    /// Internal carotid from the bifurcation to the skull base.
    #[serde(default)]
    pub cervical_ica: CervicalIca,
    /// Internal carotid inside the skull base.
    #[serde(default)]
    pub petrous: Petrous,
    /// Internal carotid from the cavernous sinus to the terminus.
    #[serde(default)]
    pub siphon: Siphon,
    /// First segment of the middle cerebral artery.
    #[serde(default)]
    pub m1: M1,
    /// Its two trunks.
    #[serde(default)]
    pub m2: M2,
    /// Narrowings and dissections.
    #[serde(default)]
    pub lesions: Vec<LesionForm>,
    /// The clot.
    #[serde(default)]
    pub clot: Option<ClotForm>,
    /// Stiffness of the walls.
    #[serde(default)]
    pub wall: Wall,
}

impl Measurements {
    /// A form on which nothing is measured yet.
    #[must_use]
    pub fn new(sex: Sex, age_years: f64, access: Access, side: Side) -> Self {
        Self {
            sex,
            age_years,
            access,
            side,
            femoral: FemoralRoute::default(),
            radial: RadialRoute::default(),
            puncture_below_bifurcation: None,
            aorta: Aorta::default(),
            arch: Arch::default(),
            innominate: Segment::default(),
            common_carotid: CommonCarotid::default(),
            bifurcation: Bifurcation::default(),
            cervical_ica: CervicalIca::default(),
            petrous: Petrous::default(),
            siphon: Siphon::default(),
            m1: M1::default(),
            m2: M2::default(),
            lesions: Vec::new(),
            clot: None,
            wall: Wall::default(),
        }
    }
}

/// Sex.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
pub enum Sex {
    /// Female.
    Female,
    /// Male.
    Male,
}

/// Where the devices enter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
pub enum Access {
    /// Right common femoral artery.
    FemoralRight,
    /// Left common femoral artery.
    FemoralLeft,
    /// Right radial artery at the wrist.
    RadialRight,
    /// Left radial artery at the wrist.
    RadialLeft,
    /// Common carotid artery of the treated side, in the neck.
    DirectCarotid,
}

impl Access {
    /// The side of a radial access.
    #[must_use]
    pub fn radial_side(self) -> Option<Side> {
        match self {
            Self::RadialRight => Some(Side::Right),
            Self::RadialLeft => Some(Side::Left),
            Self::FemoralRight | Self::FemoralLeft | Self::DirectCarotid => None,
        }
    }
}

/// Side of the body, the patient's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
pub enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
}

impl Side {
    /// `left` or `right`, as in the names of branches.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    /// Sign of the x coordinate on this side.
    #[must_use]
    pub fn sign(self) -> f64 {
        match self {
            Self::Left => 1.0,
            Self::Right => -1.0,
        }
    }

    /// The other side.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }
}

/// Groin to arch. Lengths are in mm and add up to the left subclavian origin.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct FemoralRoute {
    /// Common femoral puncture to aortic bifurcation, on the side of the access (right where the
    /// access is elsewhere).
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub puncture_to_bifurcation: Option<f64>,
    /// Aortic bifurcation to the lowest renal artery.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub bifurcation_to_renal: Option<f64>,
    /// Lowest renal artery to the coeliac trunk.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub renal_to_coeliac: Option<f64>,
    /// Coeliac trunk to the left subclavian origin.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub coeliac_to_left_subclavian: Option<f64>,
    /// Puncture to left subclavian origin in all; stretches left out above share the rest in
    /// proportion to their means.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub puncture_to_left_subclavian: Option<f64>,
    /// Common iliac diameter.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub common_iliac_diameter: Option<f64>,
    /// External iliac diameter.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub external_iliac_diameter: Option<f64>,
    /// Common femoral diameter.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub common_femoral_diameter: Option<f64>,
}

/// Wrist to arch, mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct RadialRoute {
    /// Radial artery from the puncture to the elbow.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub radial_length: Option<f64>,
    /// Brachial artery.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub brachial_length: Option<f64>,
    /// Axillary artery.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub axillary_length: Option<f64>,
    /// Subclavian artery.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub subclavian_length: Option<f64>,
    /// Radial diameter at the wrist.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub radial_diameter: Option<f64>,
    /// Brachial diameter.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub brachial_diameter: Option<f64>,
}

/// Aorta, mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Aorta {
    /// Root to innominate origin.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub ascending_length: Option<f64>,
    /// Diameter of the ascending aorta.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub ascending_diameter: Option<f64>,
    /// Diameter at the innominate origin.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub innominate_diameter: Option<f64>,
    /// Diameter at the left carotid origin.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub left_carotid_diameter: Option<f64>,
    /// Diameter at the left subclavian origin.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub left_subclavian_diameter: Option<f64>,
    /// Diameter of the descending aorta.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub descending_diameter: Option<f64>,
    /// Diameter below the renal arteries.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub infrarenal_diameter: Option<f64>,
}

/// How the left common carotid shares its origin with the innominate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
pub enum SharedOrigin {
    /// Each has its own.
    None,
    /// One ostium for both.
    CommonOrigin,
    /// The left common carotid leaves the innominate above its ostium.
    FromInnominate,
}

/// Arch and the origins of its vessels. Lengths in mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Arch {
    /// Type; decides the height where that is not measured.
    #[serde(rename = "type")]
    pub kind: Option<ArchType>,
    /// Height of the top over the innominate origin, between centre lines.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub height: Option<f64>,
    /// Width from ascending to descending centre line.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub width: Option<f64>,
    /// Angle of the arch's plane to the coronal plane.
    #[serde(deserialize_with = "text::optional_angle_deg")]
    pub plane_deg: Option<f64>,
    /// Whether the left common carotid shares its origin.
    pub shared_origin: Option<SharedOrigin>,
    /// Innominate to left common carotid origin along the aorta; from the ostium along the
    /// innominate where the left carotid leaves that.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub innominate_to_left_carotid: Option<f64>,
    /// Left common carotid (innominate where the origin is shared) to left subclavian origin.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub left_carotid_to_left_subclavian: Option<f64>,
    /// Angle between the innominate and the flow of the aorta at its origin; 90 is square.
    #[serde(deserialize_with = "text::optional_angle_deg")]
    pub innominate_takeoff_deg: Option<f64>,
    /// The same of the left common carotid, to the flow of the vessel it leaves.
    #[serde(deserialize_with = "text::optional_angle_deg")]
    pub left_carotid_takeoff_deg: Option<f64>,
    /// The same of the left subclavian.
    #[serde(deserialize_with = "text::optional_angle_deg")]
    pub left_subclavian_takeoff_deg: Option<f64>,
}

/// Length and diameter of a vessel, mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Segment {
    /// Length from the wall of the parent.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub length: Option<f64>,
    /// Lumen diameter.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub diameter: Option<f64>,
}

/// Common carotid, mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CommonCarotid {
    /// Length from its ostium (on the right: from the end of the innominate) to the bifurcation.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub length: Option<f64>,
    /// Lumen diameter.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub diameter: Option<f64>,
    /// Length over straight distance between its ends, at least 1.
    #[serde(deserialize_with = "text::optional_positive")]
    pub length_to_chord: Option<f64>,
    /// That straight distance; with one of the two above it gives the other.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub chord: Option<f64>,
}

/// Carotid bifurcation and bulb, mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Bifurcation {
    /// Widest lumen of the bulb.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub bulb_diameter: Option<f64>,
    /// Length of the bulb on the internal carotid.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub bulb_length: Option<f64>,
    /// Angle between the internal and the common carotid.
    #[serde(deserialize_with = "text::optional_angle_deg")]
    pub internal_takeoff_deg: Option<f64>,
}

/// Course of the internal carotid in the neck.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum NeckShape {
    /// No limb leaves the axis by more than a few degrees.
    Straight,
    /// An S without acute bend.
    Tortuous {
        /// Turn between neighbouring limbs; derived from `length_to_chord` where left out.
        #[serde(default, deserialize_with = "text::optional_angle_deg")]
        turn_deg: Option<f64>,
    },
    /// One acute bend.
    Kink {
        /// Angle between the limbs, 180 is straight, at most 120.
        #[serde(deserialize_with = "text::angle_deg")]
        interior_angle_deg: f64,
        /// Distance of the kink from the bifurcation, mm.
        #[serde(default, deserialize_with = "text::optional_length_mm")]
        at: Option<f64>,
        /// Radius of the bend's centre line, mm.
        #[serde(default, deserialize_with = "text::optional_length_mm")]
        bend_radius: Option<f64>,
    },
    /// A full turn.
    Coil {
        /// Diameter of the turn's centre line, mm.
        #[serde(default, deserialize_with = "text::optional_length_mm")]
        turn_diameter: Option<f64>,
    },
    /// Two acute bends, an S.
    Loop {
        /// Angle between the limbs at each bend, below 90.
        #[serde(default, deserialize_with = "text::optional_angle_deg")]
        interior_angle_deg: Option<f64>,
        /// Radius of the bends' centre line, mm.
        #[serde(default, deserialize_with = "text::optional_length_mm")]
        bend_radius: Option<f64>,
    },
}

/// Internal carotid in the neck, mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CervicalIca {
    /// Length from the bifurcation to the skull base.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub length: Option<f64>,
    /// Lumen diameter above the bulb.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub diameter: Option<f64>,
    /// Course.
    pub shape: Option<NeckShape>,
    /// Length over straight distance; for a tortuous neck whose turn is not given.
    #[serde(deserialize_with = "text::optional_positive")]
    pub length_to_chord: Option<f64>,
    /// That straight distance; with one of length and ratio it gives the other.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub chord: Option<f64>,
}

/// Internal carotid in the skull base, mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Petrous {
    /// Vertical part.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub vertical_length: Option<f64>,
    /// Horizontal part.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub horizontal_length: Option<f64>,
    /// Angle between both, 180 is straight.
    #[serde(deserialize_with = "text::optional_angle_deg")]
    pub interior_angle_deg: Option<f64>,
}

/// Shape of the siphon's anterior bend by the angle between its limbs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
pub enum SiphonShape {
    /// Open: 20 degrees or more.
    C,
    /// Below 20 degrees and angled.
    V,
    /// From -20 to 20 degrees, round.
    U,
    /// Below -20 degrees: the limbs approach each other.
    S,
}

/// Internal carotid from the cavernous sinus to its terminus, mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Siphon {
    /// Length from the proximal cavernous segment to the terminus.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub length: Option<f64>,
    /// Shape class.
    pub shape: Option<SiphonShape>,
    /// Angle between the limbs of the anterior bend, negative where they approach each other.
    #[serde(deserialize_with = "text::optional_signed_angle_deg")]
    pub limb_angle_deg: Option<f64>,
    /// Turn of the posterior bend.
    #[serde(deserialize_with = "text::optional_angle_deg")]
    pub posterior_turn_deg: Option<f64>,
    /// Radius of the posterior bend's centre line.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub posterior_bend_radius: Option<f64>,
    /// Radius of the anterior bend's centre line.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub anterior_bend_radius: Option<f64>,
    /// Lumen at the proximal cavernous segment.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub proximal_diameter: Option<f64>,
    /// Lumen at the terminus.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub terminus_diameter: Option<f64>,
}

/// Course of the M1 segment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
pub enum M1Shape {
    /// One bend, convex upwards.
    Arch,
    /// Two bends.
    S,
    /// Nearly none.
    Straight,
}

/// M1 segment, mm.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct M1 {
    /// Length from the terminus to the division.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub length: Option<f64>,
    /// Lumen at its origin.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub diameter: Option<f64>,
    /// Course.
    pub shape: Option<M1Shape>,
}

/// M2 trunks, mm. Lengths reach as far as a device may go: the trunk and its larger branch.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct M2 {
    /// Lumen of the superior trunk at its origin.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub superior_diameter: Option<f64>,
    /// Lumen of the inferior trunk at its origin.
    #[serde(deserialize_with = "text::optional_lumen_mm")]
    pub inferior_diameter: Option<f64>,
    /// Length of the superior trunk.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub superior_length: Option<f64>,
    /// Length of the inferior trunk.
    #[serde(deserialize_with = "text::optional_length_mm")]
    pub inferior_length: Option<f64>,
    /// Angle between the trunks.
    #[serde(deserialize_with = "text::optional_angle_deg")]
    pub angle_deg: Option<f64>,
    /// Angle of the M1 to the plane of both trunks.
    #[serde(deserialize_with = "text::optional_angle_deg")]
    pub out_of_plane_deg: Option<f64>,
}

/// Where a lesion starts (its proximal end in the direction of flow).
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum LesionPlace {
    /// From the carotid bifurcation, upwards positive.
    Neck {
        /// mm; negative where it starts in the common carotid.
        #[serde(deserialize_with = "text::signed_length_mm")]
        above_bifurcation: f64,
    },
    /// In the common carotid of the treated side, from its origin.
    CommonCarotid {
        /// mm.
        #[serde(deserialize_with = "text::length_mm")]
        above_origin: f64,
    },
    /// In the internal carotid beyond the skull base.
    Intracranial {
        /// mm.
        #[serde(deserialize_with = "text::length_mm")]
        above_skull_base: f64,
    },
    /// In the M1 segment.
    M1 {
        /// mm.
        #[serde(deserialize_with = "text::length_mm")]
        beyond_terminus: f64,
    },
}

/// What a lesion is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Deserialize)]
pub enum WallDisease {
    /// Atheroma.
    #[default]
    Plaque,
    /// A flap with a true and a false lumen.
    Dissection,
    /// Both.
    PlaqueAndDissection,
}

/// A lesion as measured.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LesionForm {
    /// Its name; `neck-lesion`, `common-carotid-lesion`… by place where left out.
    #[serde(default)]
    pub name: Option<String>,
    /// What it is.
    #[serde(default)]
    pub kind: WallDisease,
    /// Where it starts.
    pub place: LesionPlace,
    /// Length, mm.
    #[serde(deserialize_with = "text::length_mm")]
    pub length: f64,
    /// NASCET percent.
    #[serde(deserialize_with = "text::stenosis_percent")]
    pub nascet_percent: f64,
    /// Normal distal diameter that the percentage refers to, mm; required for an occlusion and a
    /// near-occlusion, where the distal artery has collapsed.
    #[serde(default, deserialize_with = "text::optional_lumen_mm")]
    pub reference: Option<f64>,
    /// The distal artery has collapsed behind the lesion.
    #[serde(default)]
    pub near_occlusion: bool,
    /// Diameter of the false lumen of a dissection, mm.
    #[serde(default, deserialize_with = "text::optional_lumen_mm")]
    pub false_lumen: Option<f64>,
    /// A ring of calcium that does not give.
    #[serde(default)]
    pub calcified_ring: bool,
}

/// Where the clot starts (its proximal end in the direction of flow).
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum ClotPlace {
    /// In the internal carotid, before its terminus.
    Ica {
        /// mm.
        #[serde(deserialize_with = "text::length_mm")]
        before_terminus: f64,
    },
    /// In the M1 segment.
    M1 {
        /// mm.
        #[serde(deserialize_with = "text::length_mm")]
        beyond_terminus: f64,
    },
    /// In the superior trunk.
    M2Superior {
        /// mm.
        #[serde(deserialize_with = "text::length_mm")]
        beyond_division: f64,
    },
    /// In the inferior trunk.
    M2Inferior {
        /// mm.
        #[serde(deserialize_with = "text::length_mm")]
        beyond_division: f64,
    },
}

/// The clot as measured.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClotForm {
    /// Where it starts.
    pub place: ClotPlace,
    /// Length along the vessel, mm; may run on into a trunk.
    #[serde(deserialize_with = "text::length_mm")]
    pub length: f64,
}

/// Radial stiffness of the walls, N per mm of length per mm of indentation.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Wall {
    /// Aorta.
    #[serde(deserialize_with = "text::optional_positive")]
    pub aorta_n_per_mm2: Option<f64>,
    /// Iliac and arm arteries.
    #[serde(deserialize_with = "text::optional_positive")]
    pub limbs_n_per_mm2: Option<f64>,
    /// Innominate, common and external carotid.
    #[serde(deserialize_with = "text::optional_positive")]
    pub neck_n_per_mm2: Option<f64>,
    /// Internal carotid.
    #[serde(deserialize_with = "text::optional_positive")]
    pub internal_carotid_n_per_mm2: Option<f64>,
    /// Arteries of the brain.
    #[serde(deserialize_with = "text::optional_positive")]
    pub brain_n_per_mm2: Option<f64>,
}
