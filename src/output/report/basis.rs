//! Every assumption with what it rests on.

use super::Sheet;
use super::text::{place, prose};
use crate::device::{Basis, Coating, FitRules, Payload};
use crate::mechanics::{Level, Ranged, Surface};
use crate::procedure::{Durations, Plan, StackDevice};
use maud::{Markup, html};
use serde_json::Value;

/// One value, what it is, and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::output) struct Rests {
    /// What kind of value it is.
    pub(in crate::output) group: &'static str,
    /// Name.
    pub(in crate::output) what: String,
    /// Value in words, with its unit.
    pub(in crate::output) value: String,
    /// Source.
    pub(in crate::output) source: String,
}

/// What a value rests on, in words.
fn basis_in_words(basis: &Basis) -> String {
    match basis {
        Basis::Published(text) => format!("published: {text}"),
        Basis::Measured(text) => format!("measured: {text}"),
        Basis::CommonPractice => "common practice, no source".to_owned(),
        Basis::FromMemory(text) => format!("from memory: {text}"),
        Basis::Assumed(text) => format!("assumed: {text}"),
    }
}

/// Everything assumed or taken from somewhere, group by group.
pub(in crate::output) fn all(plan: &Plan, durations: &Durations) -> Vec<Rests> {
    let mut out = vessel(plan);
    out.extend(devices(plan));
    out.extend(limits(plan));
    out.extend(frictions(plan));
    out.extend(resistances(plan));
    out.extend(valves(plan));
    out.extend(times(durations));
    out
}

fn vessel(plan: &Plan) -> Vec<Rests> {
    let values = plan.vessel.values.iter();
    values
        .map(|v| Rests {
            group: "vessel",
            what: v.name.clone(),
            value: format!("{} {}", v.value, v.unit).trim_end().to_owned(),
            source: v
                .assumed_from
                .clone()
                .unwrap_or_else(|| "as entered in the vessel file".to_owned()),
        })
        .collect()
}

fn devices(plan: &Plan) -> Vec<Rests> {
    let mut out = Vec::new();
    for d in &plan.devices {
        let basis = &d.device.basis;
        let groups = [
            ("lengths", Some(&basis.lengths)),
            ("diameters", Some(&basis.diameters)),
            ("stiffness", Some(&basis.stiffness)),
            ("tip and surface", Some(&basis.tip_and_surface)),
            ("what it carries", basis.payload.as_ref()),
        ];
        for (what, basis) in groups {
            if let Some(basis) = basis {
                out.push(Rests {
                    group: "devices",
                    what: format!("{}: {what}", d.name),
                    value: d.device.name.clone(),
                    source: basis_in_words(basis),
                });
            }
        }
    }
    out
}

fn limits(plan: &Plan) -> Vec<Rests> {
    let rules = &plan.rules;
    let fit = FitRules::default();
    let spread = &rules.edge.spread;
    let rest = |what: &str, value: String, source: &str| Rests {
        group: "limits and laws",
        what: what.into(),
        value,
        source: source.into(),
    };
    let mm = |value: f64| format!("{value} mm");
    vec![
        rest(
            "rail that must stay outside to be held",
            mm(rules.grip_mm),
            "a hand's width: common practice, no source",
        ),
        rest(
            "share of the access artery above which a device is warned about",
            rules.access_fill.to_string(),
            "common practice, no source",
        ),
        rest(
            "healthy wall that a stent should cover on each side",
            mm(rules.landing_margin_mm),
            "from memory: 5 to 10 mm are usual",
        ),
        rest(
            "force at the hub above which a move fails",
            format!("{} N", rules.hub_force_limit_n),
            "from memory: what two fingers hold, 5 to 10 N; a limit of the hand, not of the vessel; at ten times that a device counts as locked up",
        ),
        rest(
            "clearance a device needs to run",
            mm(fit.needed_mm),
            "from memory, middling confidence",
        ),
        rest(
            "clearance a catheter runs freely with",
            mm(fit.comfortable_mm),
            "from memory, middling confidence",
        ),
        rest(
            "clearance a wire or pusher runs freely with",
            mm(fit.comfortable_for_rail_mm),
            "from memory: a lumen made for 0.014 in is about 0.017 in wide",
        ),
        rest(
            "fall-back of the covering tip where lengths are ruled",
            mm(rules.edge.guide_fall_back_mm),
            "assumed, no source",
        ),
        rest(
            "share of caught samples from which an open retriever's crossing breaks the plan",
            rules.edge.fails_at.to_string(),
            "chosen: it catches more often than not",
        ),
        rest(
            "share from which a crossing is warned about",
            rules.edge.warns_at.to_string(),
            "chosen",
        ),
        rest(
            "spread of the rim's shift (standard deviation of the logarithm)",
            spread.bend_log.to_string(),
            "assumed: a stent's bending stiffness is known to a factor of 3",
        ),
        rest(
            "irregular stand-off of each crown (standard deviation)",
            mm(spread.irregular_mm),
            "assumed: half a wire",
        ),
        rest(
            "rotation of the rim, share of the spacing of its crowns",
            spread.rotation.to_string(),
            "assumed: any rotation",
        ),
        rest(
            "strut thickness (standard deviation over nominal)",
            spread.thickness.to_string(),
            "assumed",
        ),
        rest(
            "share of its thickness that a strut sinks into the wall, at most",
            spread.sunk.to_string(),
            "assumed",
        ),
        rest(
            "offset of the device across the vessel (standard deviation over its room)",
            spread.offset.to_string(),
            "assumed: a wire may bias it to any side",
        ),
        rest(
            "fall-back (standard deviation of the logarithm)",
            spread.fall_back_log.to_string(),
            "assumed: shaft stiffness is known to a factor of 3",
        ),
        rest(
            "share of the device's tolerance used",
            spread.tolerance.to_string(),
            "assumed",
        ),
    ]
}

/// The pairs of surfaces that can meet in this stack.
fn frictions(plan: &Plan) -> Vec<Rests> {
    let mut pairs: Vec<(Coating, Surface)> = Vec::new();
    for d in &plan.devices {
        let surface = d.device.outer_surface;
        pairs.push((surface, Surface::Vessel));
        for outer in &plan.devices {
            if let Some(inner) = outer.device.inner_surface {
                pairs.push((surface, Surface::Device(inner)));
            }
        }
    }
    let words = |coating: Coating| match coating {
        Coating::Hydrophilic => "hydrophilic",
        Coating::Ptfe => "PTFE",
        Coating::Polymer => "bare polymer",
        Coating::Metal => "bare metal",
    };
    let table = &plan.materials;
    let mut out: Vec<Rests> = Vec::new();
    for (surface, against) in pairs {
        let what = match against {
            Surface::Vessel => format!("{} on the vessel", words(surface)),
            Surface::Plaque => format!("{} on plaque", words(surface)),
            Surface::Device(other) => format!("{} on {}", words(surface), words(other)),
        };
        if out.iter().all(|r| r.what != what) {
            out.push(of_table(
                "friction",
                what,
                "",
                table.friction_of(surface, against),
            ));
        }
    }
    let carries_retriever =
        |d: &StackDevice| matches!(d.device.payload, Some(Payload::Retriever(_)));
    if plan.devices.iter().any(carries_retriever) {
        let more = [
            (
                "struts of an open retriever on the vessel",
                &table.friction.struts_on_wall,
            ),
            (
                "clot on the vessel under struts",
                &table.friction.clot_on_wall,
            ),
        ];
        out.extend(more.map(|(what, value)| of_table("friction", what.to_owned(), "", value)));
    }
    out
}

/// Plaque, walls and the stiffness of devices, with their ranges.
fn resistances(plan: &Plan) -> Vec<Rests> {
    let (plaque, stiffness) = (&plan.materials.plaque, &plan.materials.stiffness);
    let lines = [
        ("stiffness of plaque", " N/mm2", &plaque.stiffness_n_per_mm2),
        (
            "share of a balloon's widening that plaque in a stent keeps",
            "",
            &plaque.kept,
        ),
        ("the same without a stent", "", &plaque.kept_bare),
        (
            "modulus times thickness of a healthy artery",
            " N/mm",
            &plaque.artery_n_per_mm,
        ),
        (
            "bending stiffness of devices, times what their files say",
            "",
            &stiffness.all,
        ),
        (
            "stiffness of walls, times what the vessel has",
            "",
            &stiffness.wall,
        ),
    ];
    let rests =
        lines.map(|(what, unit, value)| of_table("stiffness", what.to_owned(), unit, value));
    rests.into()
}

/// What valves hold back, by how tight they are.
fn valves(plan: &Plan) -> Vec<Rests> {
    let valves = &plan.materials.valves;
    let lines = [
        (
            "force in an open valve, for each mm of diameter",
            &valves.open_n_per_mm,
        ),
        (
            "in a snug valve, as all are unless a step says otherwise",
            &valves.snug_n_per_mm,
        ),
        ("in a closed valve", &valves.closed_n_per_mm),
    ];
    let rests = lines.map(|(what, value)| of_table("valves", what.to_owned(), " N/mm", value));
    rests.into()
}

/// A line of the table of materials; `unit` begins with a blank.
fn of_table(group: &'static str, what: String, unit: &str, value: &Ranged) -> Rests {
    let [least, usual, most] = Level::ALL.map(|level| value.at(level));
    Rests {
        group,
        what,
        value: format!("{usual}{unit} ({least} to {most})"),
        source: value.basis().to_owned(),
    }
}

/// The table of step times, row by row: every object in it that names a source.
fn times(durations: &Durations) -> Vec<Rests> {
    let mut out = Vec::new();
    // a table that has been read can be written
    if let Ok(value) = serde_json::to_value(durations) {
        gather("", &value, &mut out);
    }
    out
}

fn gather(path: &str, value: &Value, out: &mut Vec<Rests>) {
    let Value::Object(fields) = value else { return };
    if let Some(Value::String(source)) = fields.get("source") {
        let spread = fields.get("takes_s").or_else(|| fields.get("value"));
        let words = match spread {
            Some(Value::Array(three)) => {
                let three: Vec<String> = three.iter().map(ToString::to_string).collect();
                if three.windows(2).all(|w| w[0] == w[1]) {
                    three.first().cloned().unwrap_or_default()
                } else {
                    format!("{} (least, usual, most)", three.join(", "))
                }
            }
            Some(other) => other.to_string(),
            None => String::new(),
        };
        out.push(Rests {
            group: "step times",
            what: path.to_owned(),
            value: words,
            source: source.clone(),
        });
        return;
    }
    for (name, field) in fields {
        let path = if path.is_empty() {
            name.clone()
        } else {
            format!("{path}: {name}")
        };
        gather(&path, field, out);
    }
}

/// The section of the page.
pub(super) fn section(sheet: &Sheet<'_>) -> Markup {
    let rows = all(sheet.plan, sheet.durations);
    let outcome = sheet.outcome();
    let (measured, assumed) = outcome.vessel.counts();
    let groups = [
        ("vessel", "Vessel"),
        ("devices", "Devices"),
        ("limits and laws", "Limits and laws"),
        ("friction", "Friction coefficients"),
        ("stiffness", "Stiffness of plaque, walls and devices"),
        ("valves", "Haemostatic valves"),
        ("step times", "Step times (s, mm/s)"),
    ];
    html! {
        p { (prose(&outcome.method)) }
        p {
            "Materials: " (sheet.plan.materials.name) ". Vessel: " (outcome.vessel.name) ". Its numbers: " (outcome.vessel.source) ". "
            (measured) " values are as entered, " (assumed) " assumed. Table of step times: " (sheet.rehearsed.clock.table)
            @for known in &sheet.rehearsed.clock.calibrated_to { "; calibrated to " (known.in_words()) }
            "."
        }
        p.hint {
            label { input #print-basis type="checkbox"; " Print these tables too" }
        }
        p.note.paper { "The tables with every value and its source are in the report; it prints them when asked to." }
        @for (group, title) in groups {
            @let mine: Vec<&Rests> = rows.iter().filter(|r| r.group == group).collect();
            @if !mine.is_empty() {
                details.sources {
                    summary { (title) ", " (mine.len()) " values" }
                    div.scroll tabindex="0" role="region" aria-label={ "What rests on what: " (title) } {
                        table.basis {
                            caption.hidden { (title) }
                            thead { tr { th scope="col" { "what" } th scope="col" { "value" } th scope="col" { "rests on" } } }
                            tbody {
                                @for row in mine {
                                    tr { th scope="row" { (place(&row.what)) } td { (prose(&row.value)) } td { (row.source) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
