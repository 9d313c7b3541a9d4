//! How far what is drawn stands out of the lumen.
#![expect(clippy::unwrap_used, reason = "a test may stop where it stands")]

use nestline::geometry::{Point, Track};
use nestline::stage::Moment;

/// Station of the foot of the perpendicular from a point on the centre line, and the distance.
pub(crate) fn foot(track: &Track, point: Point, near_mm: f64) -> (f64, f64) {
    let mut s_mm = near_mm;
    for _ in 0..20 {
        let frame = track.frame_at(s_mm);
        let off = point - frame.origin_mm;
        let step = off.dot(&frame.tangent);
        s_mm = (s_mm + step).clamp(0.0, track.length_mm());
        if step.abs() < 1e-9 {
            break;
        }
    }
    (s_mm, (point - track.frame_at(s_mm).origin_mm).norm())
}

/// The station nearest to a point within 80 mm of another one.
fn nearest(track: &Track, point: Point, about_mm: f64) -> f64 {
    let near = track
        .stations
        .iter()
        .filter(|s| (s.s_mm - about_mm).abs() < 80.0);
    near.min_by(|a, b| {
        let [a, b] = [a, b].map(|s| (s.frame.origin_mm - point).norm());
        a.total_cmp(&b)
    })
    .map_or(about_mm, |s| s.s_mm)
}

/// How far everything in the body stands out of the lumen at a moment, mm, beyond what the rods press the
/// wall in; and the largest such indentation.
pub(crate) fn outside(track: &Track, moment: &Moment) -> (f64, f64) {
    let mut bed = track.clone();
    for (i, plaque) in moment.plaques.iter().enumerate() {
        bed.set_residual(i, plaque.residual_mm).unwrap();
    }
    // what is wider than a lesion dilates it: the drawn lumen counts there
    let lumen_mm = |s_mm: f64| {
        let drawn = moment.plaques.iter().filter_map(|plaque| {
            let after = plaque.inner.iter().position(|n| n.station_mm >= s_mm)?;
            let (a, b) = (&plaque.inner[after.checked_sub(1)?], &plaque.inner[after]);
            let part = (s_mm - a.station_mm) / (b.station_mm - a.station_mm);
            Some(a.radius_mm + (b.radius_mm - a.radius_mm) * part)
        });
        drawn.fold(bed.radius_at(s_mm), f64::max)
    };
    let mut worst_mm = f64::NEG_INFINITY;
    let mut pressed_mm: f64 = 0.0;
    let mut look = |point: Point, near_mm: f64, indentation_mm: f64| {
        let (s_mm, distance_mm) = foot(track, point, near_mm);
        // the plane of the access is open
        if s_mm > 0.0 && s_mm < track.length_mm() {
            worst_mm = worst_mm.max(distance_mm - lumen_mm(s_mm) - indentation_mm);
        }
    };
    for device in &moment.devices {
        let tubes = [Some(&device.nodes), device.balloon.as_ref()];
        for node in tubes.into_iter().flatten().flatten() {
            if node.station_mm < node.radius_mm {
                continue;
            }
            pressed_mm = pressed_mm.max(node.indentation_mm);
            for corner in 0..12 {
                let point = node.at + node.around(corner, 12) * node.radius_mm;
                look(point, node.station_mm, node.indentation_mm);
            }
        }
        for wire in device.struts.iter().flat_map(|s| &s.wires) {
            for point in wire {
                let near_mm = nearest(track, *point, device.tip_mm);
                look(*point, near_mm, -device.struts.as_ref().unwrap().radius_mm);
            }
        }
    }
    for stent in &moment.stents {
        for point in stent.struts.wires.iter().flatten() {
            let near_mm = nearest(track, *point, 0.5 * (stent.proximal_mm + stent.distal_mm));
            look(*point, near_mm, -stent.struts.radius_mm);
        }
    }
    (worst_mm, pressed_mm)
}
