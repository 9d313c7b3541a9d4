//! The usual table of materials, for tests of the physics, which read no RON: its usual values by name, and its friction with ranges.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and reads the project's own table"
)]

use super::root::root;
use nestline_physics::mechanics::{Frictions, GivenFrictions, PlaqueLaw, Sliding};
use std::fs;

/// The usual value of a line, the second number in its parentheses.
fn usual(line: &str) -> f64 {
    let text = fs::read_to_string(root().join("scenes/materials/usual.ron")).unwrap();
    let start = format!(" {line}: (");
    let (_, behind) = text.split_once(start.as_str()).unwrap();
    behind.split(',').nth(1).unwrap().trim().parse().unwrap()
}

pub(crate) fn plaque_law() -> PlaqueLaw {
    PlaqueLaw {
        stiffness_n_per_mm2: usual("stiffness_n_per_mm2"),
        kept: usual("kept"),
        kept_bare: usual("kept_bare"),
        artery_n_per_mm: usual("artery_n_per_mm"),
    }
}

pub(crate) fn sliding() -> Sliding {
    Sliding {
        wall_friction: usual("struts_on_wall"),
        clot_friction: usual("clot_on_wall"),
    }
}

/// All lines of the table's friction, with their ranges.
pub(crate) fn frictions() -> Frictions {
    let text = fs::read_to_string(root().join("scenes/materials/usual.ron")).unwrap();
    let (_, group) = text.split_once(" friction: (\n").unwrap();
    let (group, _) = group.split_once("\n    ),").unwrap();
    let lines = group
        .lines()
        .filter_map(|line| line.trim().split_once(": ("));
    let values = lines.map(|(name, values)| {
        // least, usual, most, and what they rest on: an array but for its parentheses
        let values = values.trim_end_matches("),");
        let values: serde_json::Value = serde_json::from_str(&format!("[{values}]")).unwrap();
        (name.to_owned(), values)
    });
    let given: GivenFrictions = serde_json::from_value(values.collect()).unwrap();
    given.whole().unwrap()
}
