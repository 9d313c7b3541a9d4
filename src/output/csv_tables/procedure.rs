//! Steps, devices, fits, exchanges, access.

use super::{CsvTable, number, optional, word, yes};
use crate::mechanics::Direction;
use crate::procedure::Direction as ExchangeDirection;
use crate::rehearsal::{Outcome, Rehearsed};

pub(super) fn verdict(outcome: &Outcome) -> CsvTable {
    let mut table = CsvTable::new("verdict", &["line", "words"]);
    for (i, line) in outcome.headline.iter().enumerate() {
        table.row([(i + 1).to_string(), line.clone()]);
    }
    table
}

pub(super) fn stack(outcome: &Outcome) -> CsvTable {
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

pub(super) fn steps(outcome: &Outcome) -> CsvTable {
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

pub(super) fn findings(outcome: &Outcome) -> CsvTable {
    let mut table = CsvTable::new("findings", &["step", "severity", "topic", "words", "help"]);
    for s in &outcome.steps {
        for f in &s.findings {
            table.row([
                s.number.to_string(),
                word(&f.severity),
                word(&f.topic),
                f.text.clone(),
                f.help.clone().unwrap_or_default(),
            ]);
        }
    }
    table
}

pub(super) fn devices(outcome: &Outcome) -> [CsvTable; 3] {
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

pub(super) fn losses(outcome: &Outcome) -> CsvTable {
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

pub(super) fn fits(outcome: &Outcome) -> [CsvTable; 2] {
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

pub(super) fn access(rehearsed: &Rehearsed) -> CsvTable {
    let mut table = CsvTable::new(
        "access",
        &["step", "across", "held_by", "true_lumen", "let_go"],
    );
    for row in &rehearsed.ledger.rows {
        for hold in &row.holds {
            table.row([
                row.step.to_string(),
                hold.across.clone(),
                hold.held_by.join("; "),
                yes(hold.true_lumen),
                yes(hold.let_go),
            ]);
        }
    }
    table
}
