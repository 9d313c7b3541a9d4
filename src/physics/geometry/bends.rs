//! How many bends a curve has.

use super::Vector;

/// A cell between samples of a curve: its turn and the normal of its plane, as long as the sine of the turn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    pub(super) turn_rad: f64,
    pub(super) normal: Vector,
}

/// What parts bends.
#[derive(Debug, Clone, Copy)]
pub(super) struct Parting {
    /// Share of the lower of two peaks that curvature falls below between them.
    pub(super) valley_share: f64,
    /// Bends that turn by less are not counted, rad.
    pub(super) least_rad: f64,
    /// A cell that turns by less is straight, rad.
    pub(super) straight_rad: f64,
}

/// Cosine of the angle by which a bend may leave its plane: 60 degrees, as for an inflection
/// (Bullitt et al. 2003). Beyond, another bend begins.
const ONE_PLANE: f64 = 0.5;

/// A bend while it is walked along: its peak of curvature and the least since, as turns of a cell, rad.
#[derive(Debug, Clone, Copy)]
struct Bend {
    peak_rad: f64,
    valley_rad: f64,
    /// Cell of the valley.
    valley: usize,
    /// Sum of the cells' normals: the plane, as long as what was turned.
    plane: Vector,
}

/// Bends of a curve cut into equal cells.
///
/// A bend ends where curvature has fallen below a share of its peak and of the next one, or where its plane has turned
/// by more than 60 degrees.
///
/// # Validity
/// How many bends an artery has depends on how finely it was traced: on one internal carotid detectors found 3 to
/// 33 (`BioMed Eng OnLine` 2021, doi 10.1186/s12938-021-00957-6); 6 to 7 are what anatomy names.
pub(super) fn count(cells: &[Cell], parting: &Parting) -> u32 {
    let turned = |from: usize, to: usize| cells[from..to].iter().map(|c| c.turn_rad).sum::<f64>();
    let mut count = 0;
    let mut start = 0;
    let mut bend = begun(cells, 0, 0);
    for (i, cell) in cells.iter().enumerate() {
        if cell.turn_rad < bend.valley_rad {
            (bend.valley_rad, bend.valley) = (cell.turn_rad, i);
        }
        let parts = bend.valley_rad < parting.valley_share * bend.peak_rad.min(cell.turn_rad);
        let in_plane =
            bend.plane.dot(&cell.normal) > ONE_PLANE * bend.plane.norm() * cell.normal.norm();
        // what hardly bends has no plane to leave
        let leaves = !in_plane
            && cell.turn_rad > parting.straight_rad
            && bend.plane.norm() > parting.least_rad;
        if parts || leaves {
            let end = if parts { bend.valley } else { i };
            count += u32::from(turned(start, end) >= parting.least_rad);
            start = end;
            bend = begun(cells, end, i);
        } else if cell.turn_rad > bend.peak_rad {
            bend = Bend {
                peak_rad: cell.turn_rad,
                valley_rad: cell.turn_rad,
                valley: i,
                ..bend
            };
        }
        bend.plane += cell.normal;
    }
    count + u32::from(turned(start, cells.len()) >= parting.least_rad)
}

/// A bend that begins at a cell and is seen from another one on.
fn begun(cells: &[Cell], from: usize, at: usize) -> Bend {
    let turn_rad = cells.get(at).map_or(0.0, |c| c.turn_rad);
    Bend {
        peak_rad: turn_rad,
        valley_rad: turn_rad,
        valley: at,
        plane: cells[from..at].iter().map(|c| c.normal).sum(),
    }
}
