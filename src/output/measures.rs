//! The measures of a vessel as text.

use super::grid::Grid;
use super::table::{section, wrapped};
use crate::geometry::{KinkGrade, Tortuosity};
use crate::rehearsal::{ClotOnRoute, HelpsPlan, VesselReport};
use crate::units::fixed;

/// The report for a terminal of `columns` characters.
#[must_use]
pub fn measures_text(report: &VesselReport, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    let measures = &report.measures;
    wrapped(&mut out, "", &report.vessel.name, width);
    wrapped(&mut out, "teaches: ", &report.vessel.teaches, width);
    wrapped(&mut out, "source: ", &report.vessel.source, width);
    let line = format!("route to {}: {}", report.target, winding(&measures.route));
    wrapped(&mut out, "", &line, width);
    if let Some(arch) = &measures.arch {
        let line = format!(
            "arch: type {:?}, its top {:.1} mm above the innominate's origin = {:.2} diameters of the left common carotid ({:.1} mm)",
            arch.arch_type, arch.height_mm, arch.height_in_diameters, arch.left_common_carotid_mm
        );
        wrapped(&mut out, "", &line, width);
    }
    if let Some(neck) = &measures.neck {
        wrapped(&mut out, "neck: ", &winding(neck), width);
    }
    for lesion in &measures.lesions {
        let line = format!(
            "{}: {:.2} mm left; NASCET {} % (of {:.2} mm), ECST {} % (of {:.2} mm){}, area {} %",
            lesion.name,
            lesion.residual_mm,
            fixed(lesion.nascet_percent, 0),
            lesion.reference_mm,
            fixed(lesion.ecst_percent, 0),
            lesion.original_mm,
            lesion
                .common_carotid_percent
                .map_or_else(String::new, |p| format!(
                    ", {} % of the common carotid",
                    fixed(p, 0)
                )),
            fixed(lesion.area_percent, 0)
        );
        wrapped(&mut out, "", &line, width);
    }
    for clot in &report.clots {
        wrapped(&mut out, "", &lies_in(clot), width);
    }
    section(&mut out, "Branches on the route (mm, degrees)");
    let header = [
        "branch",
        "length",
        "diameter in",
        "out",
        "narrowest",
        "turning",
        "bends",
        "length/chord",
        "inflections",
        "sharpest bend (interior)",
    ];
    let mut table = Grid::new(1, &header).right(1..10);
    for s in &measures.segments {
        table.row([
            s.name.clone(),
            format!("{:.1}", s.tortuosity.length_mm),
            format!("{:.2}", s.diameter_start_mm),
            format!("{:.2}", s.diameter_end_mm),
            format!("{:.2}", s.narrowest_mm),
            fixed(s.tortuosity.turning_deg, 0),
            s.tortuosity.bends.to_string(),
            format!("{:.3}", s.tortuosity.distance_metric),
            s.tortuosity.inflections.to_string(),
            format!(
                "{:.0}{}",
                s.tortuosity.sharpest.interior_deg,
                kink(&s.tortuosity)
            ),
        ]);
    }
    out.push_str(&table.text(columns));
    // a phantom may have no landmarks, no branches and nothing that was assumed: no empty tables
    if !measures.stretches.is_empty() {
        section(&mut out, "Between landmarks (mm)");
        let mut table = Grid::new(2, &["from", "to", "length", "turning"]).right(2..4);
        for s in &measures.stretches {
            table.row([
                s.from.clone(),
                s.to.clone(),
                format!("{:.1}", s.tortuosity.length_mm),
                fixed(s.tortuosity.turning_deg, 0),
            ]);
        }
        out.push_str(&table.text(columns));
    }
    if !measures.take_offs.is_empty() {
        section(
            &mut out,
            "Take-off angles (degrees, 0 runs on with the flow)",
        );
        let mut table = Grid::new(2, &["branch", "from", "angle"]).right([2]);
        for t in &measures.take_offs {
            table.row([t.branch.clone(), t.parent.clone(), fixed(t.take_off_deg, 0)]);
        }
        out.push_str(&table.text(columns));
    }
    if !report.vessel.values.is_empty() {
        section(&mut out, "What each value rests on");
        let mut table = Grid::new(3, &["value", "", "unit", "rests on"]).right([1]);
        for v in &report.vessel.values {
            table.row([
                v.name.clone(),
                v.value.clone(),
                v.unit.clone(),
                rests_on(v.assumed_from.as_deref()),
            ]);
        }
        out.push_str(&table.text(columns));
    }
    changed_lengths(&mut out, report, columns);
    doubts(&mut out, report, width);
    match &report.for_plan {
        Some(plan) => helps_plan(&mut out, plan, columns),
        None => would_help(&mut out, report, columns),
    }
    out.push('\n');
    wrapped(&mut out, "", &report.caution, width);
    out
}

/// Measured, derived from something else, or assumed.
fn rests_on(assumed_from: Option<&str>) -> String {
    match assumed_from {
        None => "measured".into(),
        Some(source) if source.starts_with("derived") => source.into(),
        Some(source) => format!("assumed: {source}"),
    }
}

/// What is unusual about the entries.
fn doubts(out: &mut String, report: &VesselReport, width: usize) {
    if report.doubts.is_empty() {
        return;
    }
    section(out, "Look again: unusual together");
    for doubt in &report.doubts {
        wrapped(out, "- ", doubt, width);
    }
}

/// Which measurement to make next.
fn would_help(out: &mut String, report: &VesselReport, columns: u16) {
    if report.would_help.is_empty() {
        return;
    }
    section(out, "Missing measurements that would help most");
    let header = [
        "value",
        "assumed",
        "spread",
        "unit",
        "moves the route by (mm)",
    ];
    let mut table = Grid::new(1, &header).right([1, 2, 4]);
    for help in &report.would_help {
        table.row([
            help.name.clone(),
            format!("{:.1}", help.assumed),
            format!("{:.1}", help.spread),
            help.unit.clone(),
            format!("{:.1}", help.longer_mm.abs()),
        ]);
    }
    out.push_str(&table.text(columns));
    let more = "`--for SCENE` ranks them by the margins of a plan instead.";
    wrapped(out, "", more, usize::from(columns));
}

/// Which measurement to make next for a plan.
fn helps_plan(out: &mut String, helps: &HelpsPlan, columns: u16) {
    let width = usize::from(columns);
    section(out, "Missing measurements that would help the plan most");
    wrapped(out, "plan: ", &helps.plan, width);
    let Some(short) = &helps.short else {
        wrapped(out, "", "none: no margin of it rests on lengths", width);
        return;
    };
    let line = format!("something is too short in {}", short.in_words());
    wrapped(out, "", &line, width);
    if helps.causes.is_empty() {
        let line = "none of the lengths that it hangs on most is assumed";
        wrapped(out, "", line, width);
        return;
    }
    let header = [
        "length",
        "fields",
        "assumed (mm)",
        "spread",
        "too short, once measured to ± 5 mm",
    ];
    let mut table = Grid::new(1, &header).right([2, 3]);
    for cause in &helps.causes {
        let fields = cause.fields.iter().map(|f| f.field.as_str());
        table.row([
            cause.what.clone(),
            fields.collect::<Vec<_>>().join(", "),
            fixed(cause.value_mm, 0),
            fixed(cause.spread_mm, 0),
            cause.left_in_words(),
        ]);
    }
    out.push_str(&table.text(columns));
}

/// In which vessels a clot lies: one longer than its vessel runs on into the next.
fn lies_in(clot: &ClotOnRoute) -> String {
    let parts = clot
        .in_branches
        .iter()
        .map(|(branch, length_mm)| format!("{length_mm:.1} mm in {branch}"));
    let beyond_mm = clot.beyond_target_mm;
    let beyond = (beyond_mm >= 0.05).then(|| format!("{beyond_mm:.1} mm beyond the target"));
    let parts: Vec<String> = parts.chain(beyond).collect();
    format!("{}: {}", clot.name, parts.join(", running on for "))
}

/// Entered lengths that the route does not keep, where there are any.
fn changed_lengths(out: &mut String, report: &VesselReport, columns: u16) {
    if report.changed.is_empty() {
        return;
    }
    section(out, "Lengths that differ on this route (mm)");
    let mut table = Grid::new(1, &["value", "as above", "on this route"]).right(1..3);
    for length in &report.changed {
        table.row([
            length.name.clone(),
            format!("{:.1}", length.entered_mm),
            format!("{:.1}", length.on_the_route_mm),
        ]);
    }
    out.push_str(&table.text(columns));
    let why = "where a route turns off into another vessel it cuts the corner of their centre lines; all other lengths are kept to 0.1 mm";
    wrapped(out, "", why, usize::from(columns));
}

fn winding(t: &Tortuosity) -> String {
    format!(
        "{:.0} mm long, {:.0} mm straight (distance metric {:.3}), {} inflections (inflection count metric {:.2}), sum of angles {:.4} rad/mm, turning {:.0} degrees in {}, sharpest bend {:.0} degrees between its limbs{}",
        t.length_mm,
        t.chord_mm,
        t.distance_metric,
        t.inflections,
        t.inflection_count_metric,
        t.sum_of_angles_rad_per_mm,
        t.turning_deg,
        counted(t.bends, "bend"),
        t.sharpest.interior_deg,
        kink(t)
    )
}

fn counted(count: u32, what: &str) -> String {
    match count {
        1 => format!("1 {what}"),
        _ => format!("{count} {what}s"),
    }
}

fn kink(t: &Tortuosity) -> &'static str {
    match t.sharpest.grade {
        None | Some(KinkGrade::None) => "",
        Some(KinkGrade::Mild) => " (mild kink)",
        Some(KinkGrade::Moderate) => " (moderate kink)",
        Some(KinkGrade::Severe) => " (severe kink)",
    }
}
