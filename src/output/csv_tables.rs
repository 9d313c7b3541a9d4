//! Every table of a rehearsal as comma-separated values: one row a line, full precision, units in the
//! names of the columns.

mod cases;
mod clock;
mod comparison;
mod sure;

pub use cases::case_table;
pub use comparison::comparison_tables;

use super::everything::Drawn;
use super::report::{Report, everything_rests};
use crate::mechanics::Direction;
use crate::procedure::{Direction as ExchangeDirection, Percentiles, Reason};
use crate::rehearsal::Outcome;
use crate::stage::Stage;
use clock::{access, clock};
use std::io;

/// One table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CsvTable {
    /// Name without ending.
    pub name: &'static str,
    header: Vec<&'static str>,
    rows: Vec<Vec<String>>,
}

impl CsvTable {
    fn new(name: &'static str, header: &[&'static str]) -> Self {
        Self {
            name,
            header: header.to_vec(),
            rows: Vec::new(),
        }
    }

    fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(cells.into_iter().collect());
    }

    /// Number of rows below the header.
    #[must_use]
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there is nothing below the header.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The file: RFC 4180, UTF-8. Words that a spreadsheet would take for a formula get an apostrophe in
    /// front.
    ///
    /// # Errors
    /// [`io::Error`] where a row has not as many cells as the header.
    pub fn text(&self) -> io::Result<String> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(&self.header)?;
        for row in &self.rows {
            writer.write_record(row.iter().map(|cell| guarded(cell)))?;
        }
        let bytes = writer.into_inner().map_err(|e| e.into_error())?;
        String::from_utf8(bytes).map_err(io::Error::other)
    }
}

/// A cell that no spreadsheet runs: numbers stay, other words with a leading sign are quoted.
fn guarded(cell: &str) -> String {
    let risky = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
    if risky && cell.parse::<f64>().is_err() {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

/// A number with every digit it has.
fn number(value: f64) -> String {
    // minus nought is nought
    format!("{}", value + 0.0)
}

fn optional(value: Option<f64>) -> String {
    value.map_or_else(String::new, number)
}

fn percentiles(p: Option<Percentiles>) -> [String; 3] {
    p.map_or_else(Default::default, |p| {
        [p.p10_s, p.p50_s, p.p90_s].map(number)
    })
}

/// The word under which a value of a closed list stands in JSON too.
fn word(value: &impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(text)) => text,
        _ => String::new(),
    }
}

/// A reason's name, as in the JSON.
fn reason_name(reason: &Reason) -> String {
    let value = serde_json::to_value(reason).unwrap_or_default();
    let name = value.get("name").and_then(serde_json::Value::as_str);
    name.unwrap_or_default().to_owned()
}

fn yes(value: bool) -> String {
    if value { "yes" } else { "no" }.to_owned()
}

impl Report<'_> {
    /// Every table of the report.
    #[must_use]
    pub fn tables(&self) -> Vec<CsvTable> {
        let outcome = &self.rehearsed.outcome;
        let mut out = vec![
            verdict(outcome),
            stack(outcome),
            steps(outcome),
            findings(outcome),
        ];
        out.extend(devices(outcome));
        out.push(losses(outcome));
        out.extend(sure::sure(outcome));
        out.extend(fits(outcome));
        out.extend(stents(outcome));
        out.extend(edges(outcome));
        out.extend(pulls(outcome));
        out.extend(clock(self.rehearsed));
        out.extend(access(self.rehearsed));
        out.extend(vessel(self));
        out.push(basis(self));
        out.extend(self.stage.map(drawn_tips));
        out.extend(self.comparison.into_iter().flat_map(comparison_tables));
        out
    }
}

fn drawn_tips(stage: &Stage) -> CsvTable {
    let mut table = CsvTable::new("drawn-tips", &["step", "device", "x_mm", "y_mm", "z_mm"]);
    for step in Drawn::of(stage).steps {
        for tip in step.tips {
            let [x, y, z] = tip.at_mm.map(number);
            table.row([step.step.to_string(), tip.device, x, y, z]);
        }
    }
    table
}

fn verdict(outcome: &Outcome) -> CsvTable {
    let mut table = CsvTable::new("verdict", &["line", "words"]);
    let by = if outcome.by_ruler { " (by ruler)" } else { "" };
    let word = format!("{}{by}", outcome.verdict.in_words());
    table.row(["0".into(), word]);
    let lines = outcome.headline.iter().chain(&outcome.numbers);
    for (i, line) in lines.enumerate() {
        table.row([(i + 1).to_string(), line.clone()]);
    }
    table
}

fn stack(outcome: &Outcome) -> CsvTable {
    let mut table = CsvTable::new("stack", &["name", "device", "class", "usable_length_mm"]);
    for d in &outcome.stack {
        table.row([
            d.name.clone(),
            d.device.clone(),
            d.class.in_words().to_owned(),
            number(d.usable_length_mm),
        ]);
    }
    table
}

fn steps(outcome: &Outcome) -> CsvTable {
    let mut table = CsvTable::new(
        "steps",
        &[
            "step",
            "words",
            "performed",
            "gravest",
            "on_suction",
            "stents",
        ],
    );
    for s in &outcome.steps {
        let stents = s
            .stents
            .iter()
            .map(|(name, a, b)| format!("{name} {a} to {b} mm"));
        table.row([
            s.number.to_string(),
            s.say.clone(),
            yes(s.performed),
            s.worst().map_or_else(String::new, |w| word(&w)),
            s.suction.join("; "),
            stents.collect::<Vec<_>>().join("; "),
        ]);
    }
    table
}

fn findings(outcome: &Outcome) -> CsvTable {
    let mut table = CsvTable::new(
        "findings",
        &["step", "severity", "topic", "reason", "words", "help"],
    );
    for s in &outcome.steps {
        for f in &s.findings {
            table.row([
                s.number.to_string(),
                word(&f.severity),
                word(&f.topic),
                reason_name(&f.reason),
                f.text.clone(),
                f.help.clone().unwrap_or_default(),
            ]);
        }
    }
    table
}

fn devices(outcome: &Outcome) -> [CsvTable; 3] {
    let mut table = CsvTable::new(
        "devices",
        &[
            "step",
            "device",
            "moved",
            "fed_mm",
            "tip_station_mm",
            "tip_at",
            "tip_in",
            "through",
            "outside_mm",
            "to_spare_mm",
            "ruler_fed_mm",
            "ruler_error_mm",
            "turning_deg",
            "capstan_factor",
            "least_clearance_mm",
            "way",
            "hub_force_n",
            "hub_force_least_n",
            "hub_force_most_n",
            "hand_force_n",
            "hand_force_least_n",
            "hand_force_most_n",
            "tip_force_n",
            "efficiency",
            "share_lost",
            "slack_mm",
            "largest_wall_force_n_per_mm",
            "largest_wall_force_at",
            "buckled_mm",
            "held_hub_reaction_n",
            "held_least_n",
            "held_most_n",
            "held_drag_n",
            "held_fall_back_mm",
        ],
    );
    let mut landmarks = CsvTable::new(
        "tip-to-landmarks",
        &["step", "device", "landmark", "ahead_mm"],
    );
    let mut reach = CsvTable::new("reach", &["device", "to_spare_mm", "step"]);
    for s in &outcome.steps {
        for d in &s.devices {
            let load = d.load.as_ref();
            let held = d.held.as_ref();
            table.row([
                s.number.to_string(),
                d.name.clone(),
                yes(d.moved),
                number(d.fed_mm),
                number(d.tip_mm),
                d.tip_at.clone(),
                d.tip_in.clone(),
                d.through.clone().unwrap_or_default(),
                number(d.outside_mm),
                number(d.margin_mm),
                number(d.ruler_fed_mm),
                number(d.ruler_error_mm),
                number(d.turning_deg),
                number(d.capstan_factor),
                optional(d.clearance_mm),
                load.map_or_else(String::new, |l| {
                    match l.direction {
                        Direction::Push => "push",
                        Direction::Pull => "pull",
                    }
                    .to_owned()
                }),
                optional(load.map(|l| l.hub_force_n)),
                optional(load.and_then(|l| l.hub_force_least_n)),
                optional(load.and_then(|l| l.hub_force_most_n)),
                optional(load.map(|l| l.hand_force_n)),
                optional(load.and_then(|l| l.hand_force_least_n)),
                optional(load.and_then(|l| l.hand_force_most_n)),
                optional(load.map(|l| l.tip_force_n)),
                optional(load.and_then(|l| l.efficiency)),
                optional(load.and_then(|l| l.share_lost)),
                optional(load.and_then(|l| l.slack_mm)),
                optional(load.map(|l| l.largest_wall_force_n_per_mm)),
                load.and_then(|l| l.largest_wall_force_at.clone())
                    .unwrap_or_default(),
                optional(load.and_then(|l| l.buckled_mm)),
                optional(held.map(|h| h.hub_reaction_n)),
                optional(held.map(|h| h.hub_range_n[0])),
                optional(held.map(|h| h.hub_range_n[1])),
                optional(held.map(|h| h.drag_n)),
                optional(held.map(|h| h.fall_back_mm)),
            ]);
            for (name, ahead_mm) in &d.to_landmarks_mm {
                landmarks.row([
                    s.number.to_string(),
                    d.name.clone(),
                    name.clone(),
                    number(*ahead_mm),
                ]);
            }
        }
    }
    for r in &outcome.reach {
        reach.row([r.device.clone(), number(r.margin_mm), r.step.to_string()]);
    }
    [table, landmarks, reach]
}

fn losses(outcome: &Outcome) -> CsvTable {
    let mut table = CsvTable::new(
        "force-lost",
        &["step", "device", "station_mm", "at", "on", "lost_n"],
    );
    for s in &outcome.steps {
        for d in &s.devices {
            for l in d.load.iter().flat_map(|l| &l.lost) {
                table.row([
                    s.number.to_string(),
                    d.name.clone(),
                    number(l.station_mm),
                    l.at.clone(),
                    l.on.clone(),
                    number(l.lost_n),
                ]);
            }
        }
    }
    table
}

fn fits(outcome: &Outcome) -> [CsvTable; 2] {
    let mut fits = CsvTable::new(
        "fits",
        &[
            "inside",
            "around",
            "verdict",
            "clearance_mm",
            "worst_clearance_mm",
            "words",
            "step",
        ],
    );
    for f in &outcome.fits {
        fits.row([
            f.inside.join(" beside "),
            f.around.clone(),
            word(&f.verdict),
            number(f.clearance_mm),
            number(f.worst_clearance_mm),
            f.reason.clone(),
            f.step.to_string(),
        ]);
    }
    let mut exchanges = CsvTable::new(
        "exchanges",
        &[
            "step",
            "device",
            "way",
            "rail",
            "how",
            "rail_outside_mm",
            "needed_mm",
            "out_of_hand_mm",
            "tip_meanwhile",
        ],
    );
    for e in &outcome.exchanges {
        exchanges.row([
            e.step.to_string(),
            e.device.clone(),
            match e.direction {
                ExchangeDirection::Loading => "on",
                ExchangeDirection::Removal => "off",
            }
            .to_owned(),
            e.rail.clone(),
            if e.rapid {
                "rapid exchange"
            } else {
                "whole length"
            }
            .to_owned(),
            number(e.rail_outside_mm),
            number(e.needed_mm),
            number(e.blind_mm),
            e.blind_where.clone().unwrap_or_default(),
        ]);
    }
    [fits, exchanges]
}

fn stents(outcome: &Outcome) -> [CsvTable; 4] {
    let mut lesions = CsvTable::new(
        "lesions",
        &[
            "lesion",
            "before_mm",
            "after_mm",
            "nascet_before_percent",
            "nascet_after_percent",
            "ecst_before_percent",
            "ecst_after_percent",
            "tips_across",
        ],
    );
    for l in &outcome.lesions {
        lesions.row([
            l.name.clone(),
            number(l.before_mm),
            number(l.after_mm),
            number(l.nascet_before_percent),
            number(l.nascet_after_percent),
            number(l.ecst_before_percent),
            number(l.ecst_after_percent),
            l.crossings.to_string(),
        ]);
    }
    let mut stents = CsvTable::new(
        "stents",
        &[
            "stent",
            "near_end_mm",
            "near_end_at",
            "far_end_mm",
            "far_end_at",
            "length_mm",
            "length_at_rest_mm",
            "below_bifurcation_mm",
        ],
    );
    let mut covers = CsvTable::new(
        "stent-covers",
        &[
            "stent",
            "lesion",
            "covered_below_mm",
            "covered_above_mm",
            "moment",
            "lumen_mm",
            "nascet_percent",
            "ecst_percent",
        ],
    );
    let mut profile = CsvTable::new(
        "stent-profile",
        &[
            "stent",
            "station_mm",
            "held_diameter_mm",
            "artery_diameter_mm",
        ],
    );
    for s in &outcome.stents {
        stents.row([
            s.name.clone(),
            number(s.proximal_mm),
            s.proximal_at.clone(),
            number(s.distal_mm),
            s.distal_at.clone(),
            number(s.length_mm),
            number(s.free_length_mm),
            optional(s.below_bifurcation_mm),
        ]);
        for c in &s.covers {
            for (moment, [lumen_mm, nascet, ecst]) in [
                ("before", c.before),
                ("stent alone", c.stent_alone),
                ("after", c.after),
            ] {
                covers.row([
                    s.name.clone(),
                    c.lesion.clone(),
                    number(c.below_mm),
                    number(c.above_mm),
                    moment.to_owned(),
                    number(lumen_mm),
                    number(nascet),
                    number(ecst),
                ]);
            }
        }
        for [station_mm, held_mm, artery_mm] in &s.profile {
            profile.row([
                s.name.clone(),
                number(*station_mm),
                number(*held_mm),
                number(*artery_mm),
            ]);
        }
    }
    [lesions, stents, covers, profile]
}

fn edges(outcome: &Outcome) -> [CsvTable; 4] {
    let mut table = CsvTable::new(
        "edges",
        &[
            "crossing",
            "step",
            "device",
            "stent",
            "edge",
            "station_mm",
            "at",
            "way",
            "faces",
            "meets",
            "riding_on",
            "step_height_mm",
            "placed_by_rods",
            "offset_first_normal_mm",
            "offset_second_normal_mm",
            "room_mm",
            "approach_deg",
            "largest_gap_mm",
            "strut_mm",
            "clearance_mm",
            "rides_over_mm",
            "shielded",
            "covered_by",
            "cover_mm",
            "cover_under_load_mm",
            "fall_back_mm",
            "caught_share",
            "caught_low",
            "caught_high",
            "likelihood",
            "caught_share_bare",
            "safe_cover_mm",
            "samples",
            "seed",
        ],
    );
    let mut rim = CsvTable::new("edge-rim", &["crossing", "angle_deg", "gap_mm"]);
    let mut sweep = CsvTable::new(
        "edge-sweep",
        &[
            "crossing",
            "cover_mm",
            "caught_share",
            "caught_low",
            "caught_high",
        ],
    );
    let mut helps = CsvTable::new("edge-helps", &["crossing", "what", "caught_share"]);
    for (i, e) in outcome.edges.iter().enumerate() {
        let crossing = (i + 1).to_string();
        table.row([
            crossing.clone(),
            e.step.to_string(),
            e.device.clone(),
            e.stent.clone(),
            word(&e.edge),
            number(e.station_mm),
            e.at.clone(),
            if e.forward { "up" } else { "back" }.to_owned(),
            yes(e.faces),
            word(&e.meets),
            e.riding_on.clone().unwrap_or_default(),
            number(e.step_mm),
            yes(e.placed_by_rods),
            number(e.offset_mm[0]),
            number(e.offset_mm[1]),
            number(e.room_mm),
            number(e.approach_deg),
            number(e.rim_gap_mm),
            number(e.strut_mm),
            number(e.clearance_mm),
            number(e.rides_over_mm),
            yes(e.shielded),
            e.covered_by.clone().unwrap_or_default(),
            optional(e.cover_mm),
            optional(e.cover_under_load_mm),
            number(e.fall_back_mm),
            number(e.probability),
            number(e.interval[0]),
            number(e.interval[1]),
            word(&e.likelihood),
            number(e.probability_bare),
            number(e.safe_cover_mm),
            e.samples.to_string(),
            e.seed.to_string(),
        ]);
        #[expect(clippy::cast_precision_loss, reason = "a dozen directions")]
        for (k, gap_mm) in e.rim_gaps_mm.iter().enumerate() {
            let angle_deg = 360.0 * k as f64 / e.rim_gaps_mm.len() as f64;
            rim.row([crossing.clone(), number(angle_deg), number(*gap_mm)]);
        }
        for p in &e.sweep {
            sweep.row([
                crossing.clone(),
                number(p.cover_mm),
                number(p.probability),
                number(p.interval[0]),
                number(p.interval[1]),
            ]);
        }
        for (what, share) in &e.helps {
            helps.row([crossing.clone(), what.clone(), number(*share)]);
        }
    }
    [table, rim, sweep, helps]
}

fn pulls(outcome: &Outcome) -> [CsvTable; 3] {
    let mut pulls = CsvTable::new(
        "pulls",
        &[
            "step",
            "retriever",
            "on_wall_n",
            "on_clot_n",
            "capstan_factor",
            "at_hub_n",
        ],
    );
    let mut cover = CsvTable::new(
        "pull-cover",
        &[
            "step",
            "retriever",
            "drawn_back_mm",
            "covered_mm",
            "bare_mm",
            "covered_by",
        ],
    );
    for p in &outcome.pulls {
        pulls.row([
            p.step.to_string(),
            p.retriever.clone(),
            number(p.on_wall_n),
            number(p.on_clot_n),
            number(p.capstan_factor),
            number(p.at_hub_n),
        ]);
        for (moved_mm, covered_mm, bare_mm, by) in &p.cover {
            cover.row([
                p.step.to_string(),
                p.retriever.clone(),
                number(*moved_mm),
                number(*covered_mm),
                number(*bare_mm),
                by.clone().unwrap_or_default(),
            ]);
        }
    }
    let mut suction = CsvTable::new(
        "suction",
        &[
            "step",
            "device",
            "in_its_lumen",
            "least_flow_share",
            "most_flow_share",
            "tip_force_n",
            "pump_kpa",
        ],
    );
    for s in &outcome.suction {
        suction.row([
            s.step.to_string(),
            s.device.clone(),
            s.occupants.join("; "),
            number(s.least_share),
            number(s.most_share),
            number(s.tip_force_n),
            number(s.pump_kpa),
        ]);
    }
    [pulls, cover, suction]
}

fn vessel(report: &Report<'_>) -> [CsvTable; 2] {
    let track = &report.plan.track;
    let mut route = CsvTable::new(
        "route",
        &[
            "station_mm",
            "x_mm",
            "y_mm",
            "z_mm",
            "curvature_per_mm",
            "turning_rad",
            "lumen_mm",
            "healthy_mm",
        ],
    );
    for s in &track.stations {
        let at = s.frame.origin_mm;
        route.row(
            [
                s.s_mm,
                at.x,
                at.y,
                at.z,
                s.curvature_per_mm,
                s.turning_rad,
                2.0 * s.radius_mm,
                track.healthy_diameter_at(s.s_mm),
            ]
            .map(number),
        );
    }
    let mut landmarks = CsvTable::new("landmarks", &["landmark", "station_mm"]);
    for l in &track.landmarks {
        landmarks.row([l.name.clone(), number(l.s_mm)]);
    }
    [route, landmarks]
}

fn basis(report: &Report<'_>) -> CsvTable {
    let mut table = CsvTable::new("basis", &["group", "what", "value", "rests_on"]);
    for r in everything_rests(report.plan, report.durations) {
        table.row([r.group.to_owned(), r.what, r.value, r.source]);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_no_cell_runs_in_a_spreadsheet() {
        let mut table = CsvTable::new("t", &["a", "b"]);
        table.row(["=1+1".to_owned(), "-0.25".to_owned()]);
        table.row(["say \"so\", please".to_owned(), "@x".to_owned()]);
        let text = table.text().unwrap();
        assert!(
            text == "a,b\n'=1+1,-0.25\n\"say \"\"so\"\", please\",'@x\n",
            "{text}"
        );
    }
}
