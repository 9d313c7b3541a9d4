//! Centre lines and lumens of single branches.

use super::{PointEntry, PointUnit, RunEntry, Start};
use crate::data::error::Complaint;
use crate::geometry::{Curve, Frame, GeometryError, Lumen, Point, Run, Vector};

pub(super) fn no_length(path: &str) -> Complaint {
    Complaint::new(format!("{path}.length"), "the length is 0").help("give it a length above 0")
}

pub(super) fn start_frame(
    start: &Start,
    parent: Option<Frame>,
    path: &str,
) -> Result<Frame, Complaint> {
    match start {
        Start::Root {
            origin_mm,
            direction,
            normal,
        } => {
            let vector = |v: (f64, f64, f64)| Vector::new(v.0, v.1, v.2);
            let direction = vector(*direction);
            let usable = |v: &Vector| v.norm() > 0.0 && v.norm().is_finite();
            if !usable(&direction) {
                return Err(
                    Complaint::new(format!("{path}.start.direction"), "no direction")
                        .help("give a finite vector that is not all 0, such as (0, 0, 1)"),
                );
            }
            let normal = normal.map(vector);
            if let Some(normal) = &normal {
                let across = direction.normalize().cross(normal);
                // below a thousandth of a radian the direction across would be noise
                if !usable(normal) || across.norm() < 1e-3 * normal.norm() {
                    return Err(Complaint::new(
                        format!("{path}.start.normal"),
                        "the normal gives no direction across the branch",
                    )
                    .help("give a vector that is not along `direction`"));
                }
            }
            let origin = Point::new(origin_mm.0, origin_mm.1, origin_mm.2);
            if !origin.iter().all(|x| x.is_finite()) {
                return Err(Complaint::new(
                    format!("{path}.start.origin_mm"),
                    "the origin is not finite",
                )
                .help("give three numbers in mm, such as (0, 0, 0)"));
            }
            Ok(Frame::new(
                origin,
                direction,
                normal.unwrap_or_else(|| Vector::ith(direction.iamin(), 1.0)),
            ))
        }
        Start::Leaves {
            turn_deg, roll_deg, ..
        } => match parent {
            Some(frame) => Ok(frame.turned(turn_deg.to_radians(), roll_deg.to_radians())),
            None => Err(Complaint::new(
                format!("{path}.start.branch"),
                "the parent has no course",
            )),
        },
    }
}

pub(super) fn curve_of_runs(
    frame: Frame,
    runs: &[RunEntry],
    path: &str,
) -> Result<Curve, Complaint> {
    if let Some(i) = runs.iter().position(|run| run.length_mm <= 0.0) {
        return Err(no_length(&format!("{path}.runs[{i}]")));
    }
    let runs: Vec<Run> = runs
        .iter()
        .map(|run| Run {
            length_mm: run.length_mm,
            turn_rad: run.turn_deg.to_radians(),
            roll_rad: run.roll_deg.to_radians(),
            diameter_start_mm: run.lumen_mm,
            diameter_end_mm: run.lumen_end_mm.unwrap_or(run.lumen_mm),
        })
        .collect();
    Curve::from_runs(frame, &runs).map_err(|error| geometry_complaint(path, &error))
}

/// A refusal by the geometry, at the path it names below `path`.
pub(in crate::data) fn geometry_complaint(path: &str, error: &GeometryError) -> Complaint {
    match error {
        GeometryError::OutOfRange {
            what,
            found,
            needed,
        } => {
            let field = what.split(',').next().unwrap_or_default();
            Complaint::new(format!("{path}.{field}"), format!("{what} is {found}"))
                .help(needed.help())
        }
        GeometryError::Measurement {
            field,
            found,
            needed,
            mend,
        } => Complaint::new(
            format!("{path}.{field}"),
            format!("`{field}` is {found}, must be {needed}"),
        )
        .help(mend),
        GeometryError::TooFew {
            what,
            needed,
            found,
        } => Complaint::new(
            format!("{path}.{what}"),
            format!("`{what}` has {found} entries"),
        )
        .help(format!("give at least {needed}")),
        other => Complaint::of(path, other.refusal()),
    }
}

impl PointUnit {
    pub(super) fn mm(self) -> f64 {
        match self {
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
        }
    }
}

/// Farthest that a branch of points may start from its parent's centre line, mm.
const MOST_GAP_MM: f64 = 0.1;

/// How a first point that lies off the parent's centre line comes onto it: by the station it lies
/// next to, if it lies on the parent there, or by one point more.
fn nearest_start(unit: PointUnit, parent: &Curve, leaves_mm: Point, first: &Point) -> String {
    let p = leaves_mm / unit.mm();
    let in_front = format!(
        "put the place it leaves from in front: ({:.3}, {:.3}, {:.3}, radius)",
        p.x, p.y, p.z
    );
    let (nearest_mm, off_mm) = parent.closest(first);
    let length_mm = parent.length_mm();
    let written = if length_mm - nearest_mm < MOST_GAP_MM {
        "at: \"end\"".to_owned()
    } else {
        format!("at: \"{nearest_mm:.2} mm\"")
    };
    if off_mm <= MOST_GAP_MM {
        format!(
            "the parent passes that point at {nearest_mm:.2} mm: write `{written}` in `leaves`; or {in_front}"
        )
    } else {
        format!(
            "{in_front}; or mend `leaves`: the parent comes nearest, to {off_mm:.2} mm, at `{written}`"
        )
    }
}

pub(super) fn curve_of_points(
    unit: PointUnit,
    points: &[PointEntry],
    parent: Option<(&Curve, f64)>,
    names: (&str, &str),
    path: &str,
) -> Result<Curve, Complaint> {
    // the radii a lumen may have: half of the diameters of `units::text::lumen_mm`
    const RADII_MM: std::ops::RangeInclusive<f64> = 0.1..=30.0;
    for (i, point) in points.iter().enumerate() {
        let radius_mm = point.radius_mm(unit);
        if !RADII_MM.contains(&radius_mm) {
            return Err(Complaint::new(
                format!("{path}.points[{i}][3]"),
                format!(
                    "the lumen radius is {radius_mm} mm, must be {} to {} mm",
                    RADII_MM.start(),
                    RADII_MM.end()
                ),
            )
            .help("points are (x, y, z, radius), all in the `unit` of the branch"));
        }
    }
    let at: Vec<Point> = points.iter().map(|p| p.at_mm(unit)).collect();
    if let (Some((parent, at_mm)), Some(first)) = (parent, at.first()) {
        let leaves_mm = parent.point_at(at_mm);
        let gap_mm = (first - leaves_mm).norm();
        // coordinates printed with two decimals are off by less; a real gap is a vessel's radius
        if gap_mm > MOST_GAP_MM {
            let (branch, parent_name) = names;
            return Err(Complaint::new(
                format!("{path}.points[0]"),
                format!(
                    "`{branch}` starts {gap_mm:.2} mm from where it leaves `{parent_name}`, {at_mm:.1} mm along its centre line"
                ),
            )
            .help(nearest_start(unit, parent, leaves_mm, first)));
        }
    }
    Curve::through_points(&at).map_err(|error| geometry_complaint(path, &error))
}

/// Lumen knots at the points, by the arc length at which the curve passes through them.
pub(super) fn lumen_of_points(unit: PointUnit, points: &[PointEntry], curve: &Curve) -> Lumen {
    let at: Vec<Point> = points.iter().map(|p| p.at_mm(unit)).collect();
    let diameters = points.iter().map(|p| 2.0 * p.radius_mm(unit));
    Lumen {
        knots_mm: curve.passes(&at).into_iter().zip(diameters).collect(),
    }
}
