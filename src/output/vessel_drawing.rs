//! A vessel drawn from the front and from the left, to be held against the images it was measured on.

use super::projection::PROJECTIONS;
use crate::geometry::{Branch, Point, Track, Tree};
use std::fmt::Write as _;

/// Height of the drawing, in its own units.
const HEIGHT: f64 = 960.0;
/// Room around each view.
const MARGIN: f64 = 30.0;
/// Room for names beside each view.
const NAMES: f64 = 190.0;
/// Lines of names lie at least so far apart.
const LINE: f64 = 13.0;
/// Steps along a branch, mm.
const STEP_MM: f64 = 2.0;

/// The drawing as an SVG file: all branches, the route dark, names where they lie on it.
#[must_use]
pub fn vessel_drawing(name: &str, tree: &Tree, track: &Track) -> String {
    let points: Vec<Point> = tree
        .branches
        .iter()
        .flat_map(|b| sampled(b).into_iter().map(|s| s.0))
        .collect();
    let span = |of: fn(&Point) -> f64| {
        let low = points.iter().map(of).fold(f64::INFINITY, f64::min);
        let high = points.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        (low, high)
    };
    let (low, high) = span(|p| p.z);
    let tall_mm = (high - low).max(1.0);
    let scale = (HEIGHT - 2.0 * MARGIN) / tall_mm;
    let mut body = String::new();
    let mut left = MARGIN;
    for view in PROJECTIONS {
        let (from, to) = span(view.across);
        let wide = (to - from) * scale;
        let at = |p: &Point| {
            (
                left + ((view.across)(p) - from) * scale,
                MARGIN + (high - p.z) * scale,
            )
        };
        let _ = writeln!(
            body,
            "<text x=\"{left:.1}\" y=\"18\" class=\"t\">{} ({})</text>",
            view.title, view.sides
        );
        for branch in &tree.branches {
            band(&mut body, &sampled(branch), &at, scale, "b");
        }
        let mut route = Vec::new();
        let mut s_mm = 0.0;
        while s_mm < track.length_mm() {
            route.push((track.curve.point_at(s_mm), track.radius_at(s_mm)));
            s_mm += STEP_MM;
        }
        band(&mut body, &route, &at, scale, "r");
        names(&mut body, track, &at, left + wide + 16.0);
        left += wide + NAMES + MARGIN;
    }
    let rod = 100.0_f64.min(tall_mm) * scale;
    let _ = writeln!(
        body,
        "<path d=\"M{MARGIN},{0:.1}h{rod:.1}\" class=\"s\"/><text x=\"{MARGIN}\" y=\"{1:.1}\">{2:.0} mm</text>",
        HEIGHT - 8.0,
        HEIGHT - 12.0,
        rod / scale
    );
    let title = escaped(name);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{left:.0}\" height=\"{HEIGHT}\" viewBox=\"0 0 {left:.0} {HEIGHT}\" \
         font-family=\"DejaVu Sans, Liberation Sans, Arial, sans-serif\" font-size=\"11\">\n<title>{title}</title>\n\
         <style>path{{fill:none;stroke-linecap:round}}.b{{stroke:#d9b8b0}}.r{{stroke:#a8443a}}.l{{stroke:#888;stroke-width:.6}}\
         .s{{stroke:#222;stroke-width:2}}.t{{font-weight:bold}}text{{fill:#222}}rect{{fill:#fff}}</style>\n\
         <rect width=\"100%\" height=\"100%\"/>\n{body}</svg>\n"
    )
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// Points of a branch with their radii.
fn sampled(branch: &Branch) -> Vec<(Point, f64)> {
    let length_mm = branch.curve.length_mm();
    let mut all = Vec::new();
    let mut s_mm = 0.0;
    loop {
        all.push((
            branch.curve.point_at(s_mm),
            0.5 * branch.lumen.diameter_at(s_mm),
        ));
        if s_mm >= length_mm {
            return all;
        }
        s_mm = (s_mm + STEP_MM).min(length_mm);
    }
}

/// The lumen as strokes of its width.
fn band(
    out: &mut String,
    points: &[(Point, f64)],
    at: &impl Fn(&Point) -> (f64, f64),
    scale: f64,
    class: &str,
) {
    for pair in points.windows(2) {
        let ((x, y), (u, v)) = (at(&pair[0].0), at(&pair[1].0));
        let wide = ((pair[0].1 + pair[1].1) * scale).max(0.8);
        let _ = writeln!(
            out,
            "<path class=\"{class}\" stroke-width=\"{wide:.2}\" d=\"M{x:.1},{y:.1}L{u:.1},{v:.1}\"/>"
        );
    }
}

/// Names beside the view, each led to its place.
fn names(out: &mut String, track: &Track, at: &impl Fn(&Point) -> (f64, f64), left: f64) {
    let mut all: Vec<((f64, f64), &str)> = track
        .landmarks
        .iter()
        .map(|l| (at(&track.curve.point_at(l.s_mm)), l.name.as_str()))
        .collect();
    all.sort_by(|a, b| a.0.1.total_cmp(&b.0.1));
    let mut next = MARGIN;
    let mut left_over = all.len();
    for ((x, y), name) in all {
        // as many lines as are still to come have room below
        let lowest = HEIGHT - MARGIN - LINE * count(left_over);
        left_over -= 1;
        let line = y.max(next).min(lowest.max(next));
        next = line + LINE;
        let _ = writeln!(
            out,
            "<path class=\"l\" d=\"M{x:.1},{y:.1}L{left:.1},{line:.1}\"/><text x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            left + 3.0,
            line + 4.0,
            escaped(name)
        );
    }
}

/// A count as a number.
fn count(of: usize) -> f64 {
    u32::try_from(of).map_or(f64::from(u32::MAX), f64::from)
}
