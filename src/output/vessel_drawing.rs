//! A vessel drawn from the front and from the left, to be held against the images it was measured on.

use super::beside::lines_beside;
use super::projection::PROJECTIONS;
use crate::geometry::{Branch, Point, Track, Tree};
use crate::procedure::spoken;
use std::fmt::Write as _;

/// Most height of the views, in units of the drawing.
const TALLEST: f64 = 880.0;
/// Most units a mm: a head alone is no poster.
const LARGEST: f64 = 8.0;
/// Room around each view, and above and below both.
const MARGIN: f64 = 30.0;
/// Room for names beside each view.
const NAMES: f64 = 190.0;
/// Lines of names lie at least so far apart.
const LINE: f64 = 13.0;
/// Longest step along a branch, mm, and in units of the drawing.
const STEP: (f64, f64) = (2.0, 4.0);
/// Lengths of the scale, mm; the longest that is no longer than half of the drawing's height is drawn.
const SCALES_MM: [f64; 5] = [100.0, 50.0, 20.0, 10.0, 5.0];

/// What both views have in common.
struct Sheet {
    /// Units a mm.
    scale: f64,
    /// Highest place, mm.
    top_mm: f64,
    /// Height of the drawing.
    height: f64,
}

impl Sheet {
    fn of(lumens: &[(Point, f64)]) -> Self {
        let (low_mm, top_mm) = span(lumens, |p| p.z);
        let tall_mm = (top_mm - low_mm).max(1.0);
        let scale = (TALLEST / tall_mm).min(LARGEST);
        Self {
            scale,
            top_mm,
            // names need a line each wherever the vessel lies
            height: (tall_mm * scale).max(12.0 * LINE) + 2.0 * MARGIN + LINE,
        }
    }

    fn step_mm(&self) -> f64 {
        STEP.0.min(STEP.1 / self.scale)
    }

    fn down(&self, z_mm: f64) -> f64 {
        MARGIN + (self.top_mm - z_mm) * self.scale
    }
}

/// Least and most of a coordinate, lumens and all, mm.
fn span(lumens: &[(Point, f64)], of: fn(&Point) -> f64) -> (f64, f64) {
    let ends = lumens.iter().map(|(p, r)| (of(p) - r, of(p) + r));
    ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (a, b)| {
        (low.min(a), high.max(b))
    })
}

/// The drawing as an SVG file: all branches, the route dark, names where they lie on it.
#[must_use]
pub fn vessel_drawing(name: &str, tree: &Tree, track: &Track) -> String {
    let lumens = |step_mm: f64| tree.branches.iter().map(move |b| sampled(b, step_mm));
    let whole: Vec<(Point, f64)> = lumens(STEP.0).flatten().collect();
    let sheet = Sheet::of(&whole);
    let branches: Vec<Vec<(Point, f64)>> = lumens(sheet.step_mm()).collect();
    let scale = sheet.scale;
    let mut body = String::new();
    let mut left = MARGIN;
    for view in PROJECTIONS {
        let (from, to) = span(&whole, view.across);
        let wide = (to - from) * scale;
        let at = |p: &Point| (left + ((view.across)(p) - from) * scale, sheet.down(p.z));
        let _ = writeln!(
            body,
            "<text x=\"{left:.1}\" y=\"18\" class=\"t\">{} ({})</text>",
            view.title, view.sides
        );
        for branch in &branches {
            band(&mut body, branch, &at, scale, "b");
        }
        let mut route = Vec::new();
        let mut s_mm = 0.0;
        while s_mm < track.length_mm() {
            route.push((track.curve.point_at(s_mm), track.radius_at(s_mm)));
            s_mm += sheet.step_mm();
        }
        let end_mm = track.length_mm();
        route.push((track.curve.point_at(end_mm), track.radius_at(end_mm)));
        band(&mut body, &route, &at, scale, "r");
        names(&mut body, track, &at, (left + wide + 16.0, sheet.height));
        left += wide + NAMES + MARGIN;
    }
    let fits = |mm: &&f64| **mm * scale <= 0.5 * sheet.height;
    let rod_mm = SCALES_MM.iter().find(fits).copied().unwrap_or(1.0);
    let height = sheet.height;
    let _ = writeln!(
        body,
        "<path d=\"M{MARGIN},{0:.1}h{1:.1}\" class=\"s\"/><text x=\"{MARGIN}\" y=\"{2:.1}\">{rod_mm:.0} mm</text>",
        height - 8.0,
        rod_mm * scale,
        height - 13.0,
    );
    let title = escaped(name);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{left:.0}\" height=\"{height:.0}\" viewBox=\"0 0 {left:.0} {height:.0}\" \
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
fn sampled(branch: &Branch, step_mm: f64) -> Vec<(Point, f64)> {
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
        s_mm = (s_mm + step_mm).min(length_mm);
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
fn names(
    out: &mut String,
    track: &Track,
    at: &impl Fn(&Point) -> (f64, f64),
    (left, height): (f64, f64),
) {
    let mut all: Vec<((f64, f64), String)> = track
        .landmarks
        .iter()
        .map(|l| (at(&track.curve.point_at(l.s_mm)), spoken(&l.name)))
        .collect();
    all.sort_by(|a, b| a.0.1.total_cmp(&b.0.1));
    let places: Vec<f64> = all.iter().map(|((_, y), _)| *y).collect();
    let lines = lines_beside(&places, LINE, MARGIN, height - MARGIN);
    for (((x, y), name), line) in all.iter().zip(lines) {
        let _ = writeln!(
            out,
            "<path class=\"l\" d=\"M{x:.1},{y:.1}L{left:.1},{line:.1}\"/><text x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            left + 3.0,
            line + 4.0,
            escaped(name)
        );
    }
}
