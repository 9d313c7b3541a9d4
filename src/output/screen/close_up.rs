//! The stent's edge from within: a cross section with rim, gap and what passes.

use super::Scheme;
use super::paint::{Words, icon};
use super::scheme::solid;
use crate::output::palette::{Look, State, Theme};
use crate::stage::{EdgeBand, Section};
use egui::{Align2, Color32, Mesh, Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};
use std::f32::consts::{PI, TAU};

/// Corners of a circle.
const CORNERS: u16 = 64;

/// Draws a cross section into a square of `rect` and what it means below it.
pub fn close_up(
    painter: &Painter,
    scheme: &Scheme,
    rect: Rect,
    section: &Section,
    band: Option<&EdgeBand>,
    looks: &[Look],
) {
    let words_px = scheme.px(46.0);
    let side = rect.width().min(rect.height() - words_px);
    let square = Rect::from_center_size(
        pos2(rect.center().x, rect.top() + 0.5 * side),
        Vec2::splat(side),
    );
    let reach_mm = single(section.wall_mm.max(section.lumen_mm)) * 1.18;
    let plot = Plot {
        middle: square.center(),
        px_per_mm: 0.5 * side / reach_mm,
    };
    plot.vessel(painter, scheme, section);
    if let Some((outer_mm, strut_mm)) = section.stent_mm {
        plot.rim(painter, scheme, (single(outer_mm), single(strut_mm)), band);
    }
    for device in &section.devices {
        let look = looks.get(device.device);
        let colour = look.map_or(scheme.ink(), |l| solid(l.colour(scheme.theme)));
        plot.device(painter, scheme, device, colour);
    }
    for struts in &section.struts {
        let look = looks.get(struts.device);
        let colour = look.map_or(scheme.ink(), |l| solid(l.colour(scheme.theme)));
        let radius_px = (single(struts.radius_mm) * plot.px_per_mm).max(scheme.px(2.5));
        for [x_mm, y_mm] in &struts.at_mm {
            let at = plot.at(single(*x_mm), single(*y_mm));
            let outline = Stroke::new(scheme.px(1.2), scheme.ink());
            painter.circle(at, radius_px, colour, outline);
        }
    }
    let corner = |text: &str, turn: f32, r_mm: f32, below: bool| {
        let to = plot.at(r_mm * turn.cos(), r_mm * turn.sin());
        let (y, anchor) = if below {
            (square.bottom() - scheme.px(2.0), Align2::LEFT_BOTTOM)
        } else {
            (square.top() + scheme.px(2.0), Align2::LEFT_TOP)
        };
        let words = Words::line(text, scheme.px(13.0), scheme.faint());
        let wide = words.size(painter).x + scheme.px(6.0);
        let left = (square.left() - wide).max(rect.left());
        let drawn = words.draw(painter, pos2(left, y), anchor);
        let from = if below {
            drawn.center_top()
        } else {
            drawn.center_bottom()
        };
        painter.line_segment([from, to], Stroke::new(scheme.px(1.0), scheme.faint()));
    };
    corner("vessel wall", 0.75 * PI, single(section.wall_mm), false);
    if let Some((outer_mm, _)) = section.stent_mm {
        corner("stent rim", 1.25 * PI, single(outer_mm), true);
    }
    scale_bar(
        painter,
        scheme,
        rect.right(),
        square.bottom(),
        plot.px_per_mm,
    );
    if let Some(band) = band {
        let (colour, sign) = scheme.state(State::from(band.state));
        let top = square.bottom() + scheme.px(8.0);
        let size = scheme.px(16.0);
        icon(
            painter,
            pos2(rect.left() + size * 0.7, top + 0.6 * size),
            size,
            sign,
            colour,
            scheme.panel(),
        );
        Words::line(&band.words, scheme.px(14.0), scheme.ink())
            .within(rect.width() - 1.8 * size, 2)
            .draw(
                painter,
                pos2(rect.left() + 1.7 * size, top),
                Align2::LEFT_TOP,
            );
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a cross section in millimetres, drawn in pixels"
)]
fn single(mm: f64) -> f32 {
    mm as f32
}

/// A cross section's place in a picture.
struct Plot {
    middle: Pos2,
    px_per_mm: f32,
}

impl Plot {
    /// First normal to the right, second normal up.
    fn at(&self, x_mm: f32, y_mm: f32) -> Pos2 {
        self.middle + vec2(x_mm, -y_mm) * self.px_per_mm
    }

    fn vessel(&self, painter: &Painter, scheme: &Scheme, section: &Section) {
        let wall = solid(scheme.theme.wall());
        let wall_px = single(section.wall_mm) * self.px_per_mm;
        let lumen_px = single(section.lumen_mm) * self.px_per_mm;
        painter.circle(
            self.middle,
            wall_px,
            solid(scheme.theme.plaque()),
            Stroke::new(scheme.px(4.0), wall),
        );
        let blood = match scheme.theme {
            Theme::Light => Color32::from_rgb(252, 238, 236),
            Theme::Dark => Color32::from_rgb(52, 28, 30),
        };
        painter.circle_filled(self.middle, lumen_px, blood);
        if wall_px - lumen_px < scheme.px(3.0) {
            painter.circle_stroke(self.middle, wall_px, Stroke::new(scheme.px(4.0), wall));
        }
    }

    /// The stent's rim, standing off the wall by its gap where that is known.
    fn rim(
        &self,
        painter: &Painter,
        scheme: &Scheme,
        (outer_mm, strut_mm): (f32, f32),
        band: Option<&EdgeBand>,
    ) {
        let gaps: Vec<f32> = band
            .and_then(|b| b.crossing.as_ref())
            .map(|c| c.rim_gaps_mm.iter().map(|g| single(*g)).collect())
            .unwrap_or_default();
        let gap_at = |turn: f32| -> f32 {
            let Ok(count) = u16::try_from(gaps.len()) else {
                return 0.0;
            };
            if count == 0 {
                return 0.0;
            }
            let place = turn / TAU * f32::from(count);
            let low = place.floor();
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a whole number between 0 and the number of directions"
            )]
            let index = low as usize;
            let (a, b) = (gaps[index % gaps.len()], gaps[(index + 1) % gaps.len()]);
            a + (b - a) * (place - low)
        };
        let (colour, _) = band.map_or((scheme.ink(), ()), |b| {
            (scheme.state(State::from(b.state)).0, ())
        });
        let mut mesh = Mesh::default();
        for corner in 0..=CORNERS {
            let turn = TAU * f32::from(corner % CORNERS) / f32::from(CORNERS);
            let outer = outer_mm - gap_at(turn);
            let inner = outer - strut_mm.max(1.5 / self.px_per_mm);
            for r_mm in [outer, inner] {
                mesh.colored_vertex(self.at(r_mm * turn.cos(), r_mm * turn.sin()), colour);
            }
        }
        for k in 0..u32::from(CORNERS) {
            let a = 2 * k;
            mesh.add_triangle(a, a + 1, a + 2);
            mesh.add_triangle(a + 1, a + 3, a + 2);
        }
        painter.add(Shape::mesh(mesh));
    }

    fn device(
        &self,
        painter: &Painter,
        scheme: &Scheme,
        device: &crate::stage::SectionDevice,
        colour: Color32,
    ) {
        let middle = self.at(single(device.offset_mm[0]), single(device.offset_mm[1]));
        let outer_px = single(device.outer_mm) * self.px_per_mm;
        let outline = Stroke::new(scheme.px(1.2), scheme.ink());
        match device.lumen_mm {
            Some(lumen_mm) => {
                let lumen_px = single(lumen_mm) * self.px_per_mm;
                let wall_px = (outer_px - lumen_px).max(1.5);
                painter.circle_stroke(
                    middle,
                    outer_px - 0.5 * wall_px,
                    Stroke::new(wall_px, colour),
                );
                painter.circle_stroke(middle, outer_px, outline);
            }
            None => {
                painter.circle(middle, outer_px.max(2.0), colour, outline);
            }
        }
    }
}

/// One millimetre, for scale.
fn scale_bar(painter: &Painter, scheme: &Scheme, right: f32, bottom: f32, px_per_mm: f32) {
    let right = right - scheme.px(4.0);
    let y = bottom - scheme.px(4.0);
    let line = Stroke::new(scheme.px(2.0), scheme.ink());
    painter.line_segment([pos2(right - px_per_mm, y), pos2(right, y)], line);
    Words::line("1 mm", scheme.px(13.0), scheme.ink()).draw(
        painter,
        pos2(right, y - scheme.px(3.0)),
        Align2::RIGHT_BOTTOM,
    );
}
