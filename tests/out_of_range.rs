//! Numbers out of range, of every field of a scene and of its table of times: refused with the field, what was
//! found, the range and what to give instead.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and says what it found"
)]

use nestline::data::{DataError, Edit, Source, load_scene_with};
use nestline::geometry::TrackSettings;

const SCENE: &str = "embedded:scenes/left-tandem-retriever-first.ron";

/// The default scene with one value changed.
fn refused(field: &str, value: &str) -> Option<DataError> {
    let edit = Edit::parse(&format!("{field}={value}")).unwrap();
    load_scene_with(
        &Source::from_argument(SCENE),
        &TrackSettings::default(),
        &[edit],
    )
    .err()
}

/// A field as it is set, its path in the file where that is another one, and the range told for numbers.
const NUMBERS: [(&str, &str, &str); 23] = [
    ("rules.access_fill", "", "0 to 1"),
    ("rules.hub_force_limit_n", "", "0.01 to 1000"),
    ("rules.edge.fails_at", "", "0 to 1"),
    ("rules.edge.warns_at", "", "0 to 1"),
    ("rules.edge.named_at", "", "0 to 1"),
    ("rules.edge.spread.bend_log", "", "0 to 3"),
    ("rules.edge.spread.irregular_mm", "", "0 to 3"),
    ("rules.edge.spread.rotation", "", "0 to 1"),
    ("rules.edge.spread.thickness", "", "0 to 1"),
    ("rules.edge.spread.sunk", "", "0 to 1"),
    ("rules.edge.spread.offset", "", "0 to 3"),
    ("rules.edge.spread.fall_back_log", "", "0 to 3"),
    ("rules.edge.spread.tolerance", "", "0 to 1"),
    ("script[55].act.minutes", "", "0 to 1440"),
    ("script[44].act.pressure_atm", "", "0 to 1000000"),
    ("script[0].takes_s", "", "0 to 86400"),
    ("dwell", "dwell_s.value", "0 to 86400"),
    ("pace", "pace.value", "0.01 to 10"),
    (
        "durations.handling.insert.takes_s",
        "handling.insert.takes_s",
        "0 to 86400",
    ),
    (
        "durations.speed_mm_per_s.neck.value",
        "speed_mm_per_s.neck.value",
        "0.1 to 10000",
    ),
    (
        "durations.difficulty.s_per_newton.value",
        "difficulty.s_per_newton.value",
        "0 to 86400",
    ),
    ("durations.team.hands", "team.hands", "0 to 20"),
    (
        "durations.handling.insert.hands",
        "handling.insert.hands",
        "0 to 20",
    ),
];

#[test]
fn property_numbers_out_of_range_are_refused_with_field_range_and_remedy() {
    for (field, path, range) in NUMBERS {
        let path = if path.is_empty() { field } else { path };
        for value in ["1e9", "-1", "NaN", "inf"] {
            let error = refused(field, value).unwrap_or_else(|| unreachable!("{field}={value}"));
            let told = error.to_string();
            assert!(told.contains(path), "{field}={value}: {told}");
            let found = if value == "1e9" { "1000000000" } else { value };
            assert!(told.contains(found), "{field}={value}: {told}");
            let help = error.help_text().unwrap_or_default();
            assert!(
                told.contains(range) && help.contains(range),
                "{field}={value}: {told}, {help}"
            );
        }
        // a word is no number
        let error = refused(field, "nan").unwrap_or_else(|| unreachable!("{field}=nan"));
        let told = error.to_string();
        assert!(
            told.contains("nan") && told.contains(path),
            "{field}=nan: {told}"
        );
    }
}

#[test]
fn property_lengths_out_of_range_are_refused_with_field_range_and_remedy() {
    for (field, path) in [
        ("hub_standoff", "hub_standoff"),
        ("rules.grip", "rules.grip"),
        ("rules.landing_margin", "rules.landing_margin"),
        ("rules.edge.guide_fall_back", "rules.edge.guide_fall_back"),
        ("rules.edge.rim_stands_off", "rules.edge.rim_stands_off"),
        ("neck.stenosis.length", "lesions[0].length"),
        ("clot.length", "clot"),
    ] {
        for value in ["1e9", "-1", "\"-1 mm\"", "\"1e9 mm\"", "NaN"] {
            let error = refused(field, value).unwrap_or_else(|| unreachable!("{field}={value}"));
            let told = error.to_string();
            assert!(told.contains(path), "{field}={value}: {told}");
            let help = error.help_text().unwrap_or_default();
            assert!(
                help.contains("0 to 4000 mm") && !help.contains("-1 cm"),
                "{field}={value}: {told}, {help}"
            );
        }
    }
}

#[test]
fn regress_a_path_that_leads_nowhere_is_still_told_as_one() {
    for field in ["rules.grap", "rules.edge.nothing", "nothing.at_all"] {
        let told = refused(field, "-1").unwrap().to_string();
        assert!(told.contains("no value has the path"), "{field}: {told}");
    }
}
