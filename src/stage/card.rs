//! What is written beside the picture: devices, landmarks, and a card for each step.

use super::moment::EdgeState;
use crate::device::{DeviceClass, Payload};
use crate::geometry::Point;
use crate::procedure::{EdgeKind, Likelihood, Passed, Plan, Region, samples};
use crate::rehearsal::{EdgeRow, Outcome, StepRow, SuctionRow};
use crate::units::signed;

/// A device of the stack.
#[derive(Debug, Clone, PartialEq)]
pub struct StageDevice {
    /// Its name in the stack.
    pub name: String,
    /// Its generic name.
    pub generic: String,
    /// Its class.
    pub class: DeviceClass,
    /// Usable length, mm.
    pub usable_length_mm: f64,
    /// Length of its hub and valves, mm; 0 for what has no hub.
    pub dead_mm: f64,
    /// Whether it carries struts.
    pub has_struts: bool,
}

/// A named place of the route.
#[derive(Debug, Clone, PartialEq)]
pub struct LandmarkLabel {
    /// Its name in the vessel, as scripts use it.
    pub name: String,
    /// The same to be read.
    pub words: String,
    /// Station, mm.
    pub station_mm: f64,
    /// Middle of the lumen there.
    pub at: Point,
    /// Radius of the healthy lumen there, mm.
    pub radius_mm: f64,
}

/// What is known of a step.
#[derive(Debug, Clone, PartialEq)]
pub struct StepCard {
    /// Number, caption, findings, rows of the device table, access, suction: as rehearsed.
    pub row: StepRow,
    /// Crossings of stent edges in this step.
    pub edges: Vec<EdgeRow>,
    /// Lumens on suction in this step.
    pub suction: Vec<SuctionRow>,
    /// What planes A and B look at after it.
    pub watching: [Option<Region>; 2],
    /// Devices that move, by index.
    pub moving: Vec<usize>,
    /// Stretch of the route in which tips move, mm; none where none does.
    pub stretch_mm: Option<(f64, f64)>,
}

impl StepCard {
    /// Of the edges that a device faces in this step the one that would catch most, if nothing covered it.
    #[must_use]
    pub fn barest_edge(&self) -> Option<&EdgeRow> {
        let faced = self.edges.iter().filter(|e| e.faces);
        faced.max_by(|a, b| a.probability_bare.total_cmp(&b.probability_bare))
    }
}

pub(super) fn devices(plan: &Plan) -> Vec<StageDevice> {
    let devices = plan.devices.iter();
    devices
        .map(|stacked| StageDevice {
            name: stacked.name.clone(),
            generic: stacked.device.name.clone(),
            class: stacked.device.class,
            usable_length_mm: stacked.device.usable_length_mm,
            dead_mm: stacked.dead_mm(),
            has_struts: matches!(
                stacked.device.payload,
                Some(Payload::Retriever(_) | Payload::Stent(_))
            ),
        })
        .collect()
}

pub(super) fn landmarks(plan: &Plan) -> Vec<LandmarkLabel> {
    let marks = plan.track.landmarks.iter();
    marks
        .map(|mark| LandmarkLabel {
            name: mark.name.clone(),
            words: landmark_in_words(&mark.name),
            station_mm: mark.s_mm,
            at: plan.track.frame_at(mark.s_mm).origin_mm,
            radius_mm: 0.5 * plan.track.healthy_diameter_at(mark.s_mm),
        })
        .collect()
}

/// A landmark's name to be read: `m2-inferior-10mm` is `M2 inferior, 10 mm in`.
fn landmark_in_words(name: &str) -> String {
    let mut words = String::new();
    for part in name.split('-') {
        let length_mm = part.strip_suffix("mm").and_then(|n| n.parse::<u32>().ok());
        let vessel = matches!(part, "ica" | "m1" | "m2" | "aca" | "mca");
        match length_mm {
            Some(mm) => words += &format!(", {mm} mm in"),
            None if vessel => words += &format!(" {}", part.to_uppercase()),
            None => words += &format!(" {part}"),
        }
    }
    words.trim_start().to_owned()
}

pub(super) fn steps(plan: &Plan, passed: &[Passed], outcome: &Outcome) -> Vec<StepCard> {
    let steps = outcome.steps.iter().zip(passed);
    steps
        .map(|(row, done)| {
            let of_step = |step: usize| step == row.number;
            let mut moving: Vec<usize> = done.effect.moves.iter().map(|m| m.device).collect();
            moving.dedup();
            let ends = done
                .effect
                .moves
                .iter()
                .flat_map(|m| [m.from_mm, m.to_mm])
                .map(|s| s.clamp(0.0, plan.track.length_mm()));
            let stretch = ends.fold(None, |found: Option<(f64, f64)>, s| {
                Some(found.map_or((s, s), |(a, b)| (a.min(s), b.max(s))))
            });
            StepCard {
                row: row.clone(),
                edges: outcome
                    .edges
                    .iter()
                    .filter(|e| of_step(e.step))
                    .cloned()
                    .collect(),
                suction: outcome
                    .suction
                    .iter()
                    .filter(|s| of_step(s.step))
                    .cloned()
                    .collect(),
                watching: done.after.watching,
                moving,
                stretch_mm: stretch,
            }
        })
        .collect()
}

impl StepCard {
    /// The gravest crossing of an edge of a stent in this step.
    pub(super) fn worst_at(&self, stent: &str, kind: EdgeKind) -> Option<&EdgeRow> {
        let crossings = self
            .edges
            .iter()
            .filter(|e| e.stent == stent && e.edge == kind);
        crossings.max_by(|a, b| a.probability.total_cmp(&b.probability))
    }
}

/// The state of a crossing under a plan's rules, and the same in words.
pub(super) fn edge_state(row: &EdgeRow) -> (EdgeState, String) {
    let state = match row.likelihood {
        Likelihood::Likely => EdgeState::Catches,
        Likelihood::Possible => EdgeState::MayCatch,
        Likelihood::Unlikely if row.shielded => EdgeState::Shielded,
        Likelihood::Unlikely => EdgeState::Clear,
    };
    let likely = row.likelihood.in_words();
    let share = samples(row.probability);
    let clearance = format!("clearance {} mm", signed(row.clearance_mm, 2));
    let words = match state {
        EdgeState::Catches | EdgeState::MayCatch => {
            format!("{}: catching is {likely}, {share}; {clearance}", row.device)
        }
        EdgeState::Shielded => format!(
            "{}: shielded by the {}, catching is {likely}, {share}",
            row.device,
            row.covered_by.as_deref().unwrap_or("catheter around it")
        ),
        _ => format!("{}: {}, {clearance}", row.device, state.in_words()),
    };
    (state, words)
}

#[cfg(test)]
mod tests {
    use super::landmark_in_words;

    #[test]
    fn look_landmarks_are_read_as_one_says_them() {
        for (name, words) in [
            ("carotid-bifurcation", "carotid bifurcation"),
            ("m2-inferior-10mm", "M2 inferior, 10 mm in"),
            ("ica-terminus", "ICA terminus"),
            ("mm", "mm"),
        ] {
            assert_eq!(landmark_in_words(name), words);
        }
    }
}
