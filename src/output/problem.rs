//! A solved rod-in-tube problem as text.

use super::grid::Grid;
use super::table::{section, wrapped};
use crate::mechanics::Direction;
use crate::mechanics::problem::{FrictionReport, PathReport, ProblemReport};

/// The report for a terminal of `columns` characters.
#[must_use]
pub fn problem_text(report: &ProblemReport, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    let line = format!(
        "{:?}: bending energy {:.9} N mm, residual {:.1e} N, {} Newton steps, {} stations {:.4} mm apart{}",
        report.status,
        report.energy_n_mm,
        report.residual_n,
        report.newton_steps,
        report.stations,
        report.spacing_mm,
        report
            .milliseconds
            .map_or_else(String::new, |ms| format!(", {ms:.2} ms"))
    );
    wrapped(&mut out, "", &line, width);
    for flag in &report.flags {
        wrapped(&mut out, "note: ", &format!("{flag:?}"), width);
    }
    section(&mut out, "Rods");
    let header = [
        "rod",
        "bending energy N mm",
        "path mm",
        "centre line mm",
        "largest curvature 1/mm",
        "at mm",
    ];
    let mut table = Grid::new(2, &header).right(1..6);
    for rod in &report.rods {
        table.row([
            rod.name.clone(),
            format!("{:.9}", rod.bending_energy_n_mm),
            format!("{:.6}", rod.path_length_mm),
            format!("{:.6}", rod.centre_line_mm),
            format!("{:.6}", rod.largest_curvature_per_mm),
            format!("{:.2}", rod.largest_curvature_at_mm),
        ]);
    }
    out.push_str(&table.text(columns));
    section(&mut out, "Contacts");
    let mut table = Grid::new(
        2,
        &[
            "rod",
            "against",
            "from mm",
            "to mm",
            "centre mm",
            "resultant N",
        ],
    )
    .right(2..6);
    for contact in &report.contacts {
        table.row([
            contact.rod.clone(),
            contact.against.clone(),
            format!("{:.2}", contact.from_mm),
            format!("{:.2}", contact.to_mm),
            format!("{:.2}", contact.station_mm),
            format!("{:.6}", contact.resultant_n),
        ]);
    }
    out.push_str(&table.text(columns));
    if let Some(friction) = &report.friction {
        tell_friction(&mut out, friction, columns);
    }
    if let Some(path) = &report.path {
        tell_path(&mut out, path, columns);
    }
    out
}

/// How a path went, increment by increment.
fn tell_path(out: &mut String, path: &PathReport, columns: u16) {
    section(out, "Path");
    let line = format!(
        "{}, fed and drawn back in increments; work of the hub less what went out, since the start",
        path.rod
    );
    wrapped(out, "", &line, usize::from(columns));
    let header = [
        "leg",
        "fed mm",
        "hub pushes N",
        "held back N",
        "path mm",
        "work N mm",
        "stored",
        "friction",
        "set free",
    ];
    let mut table = Grid::new(1, &header).right(0..9);
    for point in &path.points {
        table.row([
            point.leg.to_string(),
            format!("{:.4}", point.fed_mm),
            format!("{:.6}", point.hub_push_n),
            format!("{:.4}", point.held_back_n),
            format!("{:.4}", point.path_length_mm),
            format!("{:.4}", point.work_n_mm),
            format!("{:.4}", point.stored_n_mm),
            format!("{:.4}", point.dissipated_n_mm),
            format!("{:.4}", point.released_n_mm),
        ]);
    }
    out.push_str(&table.text(columns));
}

/// What a move takes, and where that is lost.
fn tell_friction(out: &mut String, friction: &FrictionReport, columns: u16) {
    section(out, "Friction");
    let direction = match friction.direction {
        Direction::Push => "push",
        Direction::Pull => "pull",
    };
    let line = format!(
        "{} of {}: {:.9} N at the start, {:.9} N at its end; a limp string would multiply by {:.9}; {} rounds",
        direction,
        friction.rod,
        friction.hub_force_n,
        friction.end_force_n,
        friction.string_factor,
        friction.rounds
    );
    wrapped(out, "", &line, usize::from(columns));
    let mut table = Grid::new(1, &["against", "from mm", "to mm", "friction N"]).right(1..4);
    for loss in &friction.losses {
        table.row([
            loss.against.clone(),
            format!("{:.2}", loss.from_mm),
            format!("{:.2}", loss.to_mm),
            format!("{:.9}", loss.friction_n),
        ]);
    }
    out.push_str(&table.text(columns));
}
