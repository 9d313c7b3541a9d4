//! The form that a team fills in from a CT angiogram: every line commented, none of them required.

use crate::geometry::GeometryError;
use crate::geometry::anatomy::{Access, Measurements, NoteValue, Origin, Sex, Side, ValueNote};
use std::fmt::Write as _;

/// How well each kind of value is read off images; from memory, no publication looked up.
mod read {
    pub(super) const ALONG: &str = "curved ruler along the middle of the lumen; good to 2 mm";
    pub(super) const LONG: &str = "curved ruler along the middle of the lumen; good to 5 mm";
    pub(super) const ACROSS: &str =
        "inner wall to inner wall, square to the vessel; good to 0.5 mm";
    pub(super) const ANGLE: &str =
        "in the plane in which both limbs are seen whole; good to 10 degrees";
    pub(super) const RATIO: &str =
        "length along the middle over the straight distance of both ends; good to 0.05";
    pub(super) const CHORD: &str = "straight ruler between both ends, in space; good to 1 mm";
    pub(super) const CLASS: &str = "by eye";
    pub(super) const BENCH: &str = "not to be read off images: from a bench, or left out";
}

/// A line of the form: group, field, a filling to show, what it is, how it is read.
type Line = (
    &'static str,
    &'static str,
    &'static str,
    &'static str,
    &'static str,
);

/// All lines, groups together.
const LINES: [Line; 70] = [
    (
        "femoral",
        "puncture_to_bifurcation",
        "\"200 mm\"",
        "common femoral puncture to the aortic bifurcation",
        read::LONG,
    ),
    (
        "femoral",
        "bifurcation_to_renal",
        "\"100 mm\"",
        "aortic bifurcation to the lowest renal artery",
        read::LONG,
    ),
    (
        "femoral",
        "renal_to_coeliac",
        "\"50 mm\"",
        "lowest renal artery to the coeliac trunk",
        read::ALONG,
    ),
    (
        "femoral",
        "coeliac_to_left_subclavian",
        "\"240 mm\"",
        "coeliac trunk to the left subclavian origin",
        read::LONG,
    ),
    (
        "femoral",
        "puncture_to_left_subclavian",
        "\"600 mm\"",
        "all of it; stretches left out above share what is left",
        read::LONG,
    ),
    (
        "femoral",
        "common_iliac_diameter",
        "\"9 mm\"",
        "common iliac diameter",
        read::ACROSS,
    ),
    (
        "femoral",
        "external_iliac_diameter",
        "\"7.5 mm\"",
        "external iliac diameter",
        read::ACROSS,
    ),
    (
        "femoral",
        "common_femoral_diameter",
        "\"7 mm\"",
        "common femoral diameter",
        read::ACROSS,
    ),
    (
        "radial",
        "radial_length",
        "\"240 mm\"",
        "radial artery from the puncture to the elbow",
        read::LONG,
    ),
    (
        "radial",
        "brachial_length",
        "\"250 mm\"",
        "brachial artery",
        read::LONG,
    ),
    (
        "radial",
        "axillary_length",
        "\"115 mm\"",
        "axillary artery",
        read::ALONG,
    ),
    (
        "radial",
        "subclavian_length",
        "\"90 mm\"",
        "subclavian artery",
        read::ALONG,
    ),
    (
        "radial",
        "radial_diameter",
        "\"2.6 mm\"",
        "radial diameter at the wrist, by ultrasound",
        read::ACROSS,
    ),
    (
        "radial",
        "brachial_diameter",
        "\"4 mm\"",
        "brachial diameter",
        read::ACROSS,
    ),
    (
        "aorta",
        "ascending_length",
        "\"80 mm\"",
        "aortic root to the innominate origin",
        read::ALONG,
    ),
    (
        "aorta",
        "ascending_diameter",
        "\"31 mm\"",
        "diameter of the ascending aorta",
        read::ACROSS,
    ),
    (
        "aorta",
        "innominate_diameter",
        "\"29 mm\"",
        "diameter of the aorta at the innominate origin",
        read::ACROSS,
    ),
    (
        "aorta",
        "left_carotid_diameter",
        "\"28 mm\"",
        "diameter of the aorta at the left carotid origin",
        read::ACROSS,
    ),
    (
        "aorta",
        "left_subclavian_diameter",
        "\"26 mm\"",
        "diameter of the aorta at the left subclavian origin",
        read::ACROSS,
    ),
    (
        "aorta",
        "descending_diameter",
        "\"24 mm\"",
        "diameter of the descending aorta",
        read::ACROSS,
    ),
    (
        "aorta",
        "infrarenal_diameter",
        "\"16 mm\"",
        "diameter of the aorta below the renal arteries",
        read::ACROSS,
    ),
    (
        "arch",
        "type",
        "II",
        "arch type, I, II or III: height of the top over the innominate origin below 1, 1 to 2, above 2 diameters of the left common carotid",
        read::CLASS,
    ),
    (
        "arch",
        "height",
        "\"10 mm\"",
        "that height, between the middles of the lumens; decides before the type",
        read::ALONG,
    ),
    (
        "arch",
        "width",
        "\"80 mm\"",
        "width from the ascending to the descending aorta, middle to middle",
        read::ALONG,
    ),
    (
        "arch",
        "plane_deg",
        "62",
        "angle of the plane of the arch to the coronal plane",
        read::ANGLE,
    ),
    (
        "arch",
        "shared_origin",
        "None",
        "left carotid and innominate: None, CommonOrigin or FromInnominate",
        read::CLASS,
    ),
    (
        "arch",
        "innominate_to_left_carotid",
        "\"12 mm\"",
        "innominate to left carotid origin along the aorta",
        read::ALONG,
    ),
    (
        "arch",
        "left_carotid_to_left_subclavian",
        "\"19 mm\"",
        "left carotid to left subclavian origin along the aorta",
        read::ALONG,
    ),
    (
        "arch",
        "innominate_takeoff_deg",
        "65",
        "angle between the innominate and the flow of the aorta at its origin; 90 is square",
        read::ANGLE,
    ),
    (
        "arch",
        "left_carotid_takeoff_deg",
        "47",
        "the same of the left common carotid",
        read::ANGLE,
    ),
    (
        "arch",
        "left_subclavian_takeoff_deg",
        "64",
        "the same of the left subclavian",
        read::ANGLE,
    ),
    (
        "innominate",
        "length",
        "\"32 mm\"",
        "length from the wall of the aorta to its division",
        read::ALONG,
    ),
    (
        "innominate",
        "diameter",
        "\"12 mm\"",
        "its diameter",
        read::ACROSS,
    ),
    (
        "common_carotid",
        "length",
        "\"124 mm\"",
        "treated side, from its ostium (right: from the innominate's end) to the bifurcation",
        read::ALONG,
    ),
    (
        "common_carotid",
        "diameter",
        "\"6.5 mm\"",
        "its diameter, 2 cm below the bifurcation",
        read::ACROSS,
    ),
    (
        "common_carotid",
        "length_to_chord",
        "1.15",
        "how winding it is",
        read::RATIO,
    ),
    (
        "common_carotid",
        "chord",
        "\"108 mm\"",
        "straight distance of its ends; with the length it gives the ratio",
        read::CHORD,
    ),
    (
        "bifurcation",
        "bulb_diameter",
        "\"7.6 mm\"",
        "widest lumen of the bulb, plaque not counted",
        read::ACROSS,
    ),
    (
        "bifurcation",
        "bulb_length",
        "\"20 mm\"",
        "length of the bulb on the internal carotid",
        read::ALONG,
    ),
    (
        "bifurcation",
        "internal_takeoff_deg",
        "20",
        "angle between internal and common carotid",
        read::ANGLE,
    ),
    (
        "cervical_ica",
        "length",
        "\"84 mm\"",
        "bifurcation to the skull base",
        read::ALONG,
    ),
    (
        "cervical_ica",
        "diameter",
        "\"4.9 mm\"",
        "its diameter above the bulb, where its walls run parallel",
        read::ACROSS,
    ),
    (
        "cervical_ica",
        "shape",
        "Tortuous()",
        "Straight, Tortuous(), Kink(interior_angle_deg: 60), Coil() or Loop(): no, gentle, one acute, a full turn, two acute bends",
        read::CLASS,
    ),
    (
        "cervical_ica",
        "length_to_chord",
        "1.15",
        "how winding it is, of a tortuous one",
        read::RATIO,
    ),
    (
        "cervical_ica",
        "chord",
        "\"73 mm\"",
        "straight distance of its ends; with the length it gives the ratio",
        read::CHORD,
    ),
    (
        "petrous",
        "vertical_length",
        "\"12 mm\"",
        "vertical part inside the skull base",
        read::ALONG,
    ),
    (
        "petrous",
        "horizontal_length",
        "\"20 mm\"",
        "horizontal part",
        read::ALONG,
    ),
    (
        "petrous",
        "interior_angle_deg",
        "105",
        "angle between both; 180 is straight",
        read::ANGLE,
    ),
    (
        "siphon",
        "length",
        "\"33 mm\"",
        "beginning of the cavernous part to the terminus",
        read::ALONG,
    ),
    (
        "siphon",
        "shape",
        "C",
        "anterior bend by the angle of its limbs: C 20 degrees or more, V below 20 and angled, U round, S limbs approach",
        read::CLASS,
    ),
    (
        "siphon",
        "limb_angle_deg",
        "40",
        "that angle, negative where the limbs approach each other",
        read::ANGLE,
    ),
    (
        "siphon",
        "posterior_turn_deg",
        "100",
        "turn of the posterior bend",
        read::ANGLE,
    ),
    (
        "siphon",
        "posterior_bend_radius",
        "\"4 mm\"",
        "radius of the posterior bend, of the middle of the lumen",
        read::ALONG,
    ),
    (
        "siphon",
        "anterior_bend_radius",
        "\"4 mm\"",
        "the same of the anterior bend",
        read::ALONG,
    ),
    (
        "siphon",
        "proximal_diameter",
        "\"5 mm\"",
        "diameter at the beginning of the cavernous part",
        read::ACROSS,
    ),
    (
        "siphon",
        "terminus_diameter",
        "\"3.6 mm\"",
        "diameter at the terminus",
        read::ACROSS,
    ),
    (
        "m1",
        "length",
        "\"22 mm\"",
        "terminus to the division",
        read::ALONG,
    ),
    (
        "m1",
        "diameter",
        "\"3 mm\"",
        "its diameter at the origin",
        read::ACROSS,
    ),
    (
        "m1",
        "shape",
        "Arch",
        "Arch, S or Straight: one bend upwards, two, nearly none",
        read::CLASS,
    ),
    (
        "m2",
        "inferior_length",
        "\"43 mm\"",
        "inferior trunk, as far as a device may go",
        read::ALONG,
    ),
    (
        "m2",
        "inferior_diameter",
        "\"2.7 mm\"",
        "its diameter at the origin",
        read::ACROSS,
    ),
    (
        "m2",
        "superior_length",
        "\"37 mm\"",
        "superior trunk, likewise",
        read::ALONG,
    ),
    (
        "m2",
        "superior_diameter",
        "\"2.1 mm\"",
        "its diameter at the origin",
        read::ACROSS,
    ),
    (
        "m2",
        "angle_deg",
        "99",
        "angle between both trunks",
        read::ANGLE,
    ),
    (
        "m2",
        "out_of_plane_deg",
        "15",
        "angle of M1 to the plane of both trunks",
        read::ANGLE,
    ),
    (
        "wall",
        "aorta_n_per_mm2",
        "0.8",
        "stiffness of the aorta's wall, N per mm of length and mm of indentation",
        read::BENCH,
    ),
    (
        "wall",
        "limbs_n_per_mm2",
        "1.3",
        "the same of iliac and arm arteries",
        read::BENCH,
    ),
    (
        "wall",
        "neck_n_per_mm2",
        "1.9",
        "the same of innominate, common and external carotid",
        read::BENCH,
    ),
    (
        "wall",
        "internal_carotid_n_per_mm2",
        "3.6",
        "the same of the internal carotid",
        read::BENCH,
    ),
    (
        "wall",
        "brain_n_per_mm2",
        "8.5",
        "the same of arteries of the brain",
        read::BENCH,
    ),
];

/// The form, every line of it a comment: what is left so is assumed.
///
/// # Errors
/// [`GeometryError`] where no vessel can be made of published means alone.
pub fn blank_form() -> Result<String, GeometryError> {
    let femoral = Measurements::new(Sex::Male, 70.0, Access::FemoralRight, Side::Left).build()?;
    let radial = Measurements::new(Sex::Male, 70.0, Access::RadialRight, Side::Right).build()?;
    let notes: Vec<&ValueNote> = femoral.values.iter().chain(&radial.values).collect();
    let mut out = String::from(
        "// A vessel as measured on a CT angiogram. Take away the two strokes before a line, and put in what was measured.\n\
         // A line that is left as it is means: assume. What is assumed is told by `nestline measure FILE`, with its source and\n\
         // with the measurement that would help most. Lengths carry their unit (mm, cm), angles are degrees; lengths run along\n\
         // the middle of the lumen. Ranges below hold nineteen of twenty persons where a spread is published; they are of men\n\
         // of 70, others differ a little. How well values are read is from memory.\n\
         Vessel(\n    name: \"Unnamed\",\n    source: \"measured on a CT angiogram\", // and by whom, without names\n    teaches: \"A neck of tomorrow.\",\n    form: Measured((\n",
    );
    out.push_str(
        "        // these four are needed: every mean depends on them\n        sex: Female,          // Female or Male\n        age_years: 70,        // 18 to 110\n        access: FemoralRight, // FemoralRight, FemoralLeft, RadialRight, RadialLeft or DirectCarotid\n        side: Left,           // the carotid to be treated, the patient's own Left or Right\n\n",
    );
    out.push_str("        // only where the carotid is punctured: how far below its bifurcation\n        // puncture_below_bifurcation: \"60 mm\",\n");
    let mut group = "";
    for (of, field, filling, what, how) in LINES {
        if of != group {
            if !group.is_empty() {
                out.push_str("        ),\n");
            }
            if of == "radial" {
                out.push_str("        // only where the access is radial\n");
            }
            let _ = writeln!(out, "        {of}: (");
            group = of;
        }
        let usual = usual(&notes, &format!("{of}.{field}"));
        for part in textwrap::wrap(&format!("{what}; {how}{usual}"), 104) {
            let _ = writeln!(out, "            // {part}");
        }
        let _ = writeln!(out, "            // {field}: {filling},");
    }
    out.push_str("        ),\n");
    out.push_str(
        "        // narrowings: place Neck(above_bifurcation: …), CommonCarotid(above_origin: …), Intracranial(above_skull_base: …) or\n        // M1(beyond_terminus: …); NASCET percent of the normal artery beyond; with an occlusion also reference: \"4.8 mm\"\n        // lesions: [(place: Neck(above_bifurcation: \"3 mm\"), length: \"18 mm\", nascet_percent: 80)],\n        // the clot: place Ica(before_terminus: …), M1(beyond_terminus: …), M2Superior(beyond_division: …) or M2Inferior(…)\n        // clot: (place: M1(beyond_terminus: \"6 mm\"), length: \"10 mm\"),\n    )),\n)\n",
    );
    Ok(out)
}

/// What is usual, with its source.
fn usual(notes: &[&ValueNote], field: &str) -> String {
    let Some(note) = notes.iter().find(|note| note.name == field) else {
        return String::new();
    };
    let Origin::Assumed { source } = note.origin else {
        return String::new();
    };
    let unit = if note.unit.is_empty() {
        String::new()
    } else {
        format!(" {}", note.unit)
    };
    match note.value {
        NoteValue::Number(value) if note.spread > 0.0 => {
            let (low, high) = (value - 2.0 * note.spread, value + 2.0 * note.spread);
            format!("; usually {low:.1} to {high:.1}{unit} ({source})")
        }
        NoteValue::Number(value) => format!("; assumed {value:.1}{unit} ({source})"),
        NoteValue::Word(word) => format!("; assumed {word} ({source})"),
        NoteValue::Triple(_) => String::new(),
    }
}
