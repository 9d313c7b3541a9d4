//! Text, signs and marks on the flat.

use egui::text::{LayoutJob, TextFormat};
use egui::{Align2, Color32, FontId, Painter, Pos2, Rect, Shape, Stroke, pos2, vec2};

/// A sign that goes with a colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Icon {
    /// It holds.
    Tick,
    /// Scheme out.
    Warning,
    /// It fails.
    Cross,
    /// Worth knowing.
    Note,
}

/// Draws a sign, `size` pixels across, in the middle of `at`.
pub fn icon(painter: &Painter, at: Pos2, size: f32, icon: Icon, colour: Color32, on: Color32) {
    let r = 0.5 * size;
    let line = Stroke::new(0.13 * size, on);
    let to = |x: f32, y: f32| pos2(at.x + x * r, at.y + y * r);
    match icon {
        Icon::Tick => {
            painter.circle_filled(at, r, colour);
            painter.line(vec![to(-0.45, 0.05), to(-0.12, 0.4), to(0.48, -0.38)], line);
        }
        Icon::Warning => {
            let points = vec![to(0.0, -1.0), to(1.05, 0.85), to(-1.05, 0.85)];
            painter.add(Shape::convex_polygon(points, colour, Stroke::NONE));
            painter.line_segment([to(0.0, -0.35), to(0.0, 0.28)], line);
            painter.circle_filled(to(0.0, 0.58), 0.08 * size, on);
        }
        Icon::Cross => {
            let corner = 0.42;
            let points = [
                (-corner, -1.0),
                (corner, -1.0),
                (1.0, -corner),
                (1.0, corner),
                (corner, 1.0),
                (-corner, 1.0),
                (-1.0, corner),
                (-1.0, -corner),
            ];
            let points = points.iter().map(|(x, y)| to(*x, *y)).collect();
            painter.add(Shape::convex_polygon(points, colour, Stroke::NONE));
            painter.line_segment([to(-0.4, -0.4), to(0.4, 0.4)], line);
            painter.line_segment([to(0.4, -0.4), to(-0.4, 0.4)], line);
        }
        Icon::Note => {
            painter.circle_filled(at, r, colour);
            painter.circle_filled(to(0.0, -0.45), 0.08 * size, on);
            painter.line_segment([to(0.0, -0.1), to(0.0, 0.5)], line);
        }
    }
}

/// Text on one or more lines.
#[derive(Debug, Clone, Copy)]
pub struct Words<'a> {
    /// The words.
    pub text: &'a str,
    /// Height of the letters, pixels.
    pub size: f32,
    /// Colour.
    pub colour: Color32,
    /// Width at which a line ends, pixels.
    pub width: f32,
    /// Lines at most; what is beyond ends in dots.
    pub lines: usize,
    /// Heavier letters.
    pub heavy: bool,
}

impl<'a> Words<'a> {
    /// One line.
    #[must_use]
    pub fn line(text: &'a str, size: f32, colour: Color32) -> Self {
        Self {
            text,
            size,
            colour,
            width: f32::INFINITY,
            lines: 1,
            heavy: false,
        }
    }

    /// Broken at this width into so many lines at most.
    #[must_use]
    pub fn within(mut self, width: f32, lines: usize) -> Self {
        self.width = width;
        self.lines = lines;
        self
    }

    /// In heavier letters.
    #[must_use]
    pub fn heavy(mut self) -> Self {
        self.heavy = true;
        self
    }

    fn laid(&self, painter: &Painter) -> std::sync::Arc<egui::Galley> {
        let format = TextFormat {
            font_id: FontId::proportional(self.size),
            color: self.colour,
            ..TextFormat::default()
        };
        let mut job = LayoutJob::single_section(self.text.to_owned(), format);
        job.wrap.max_width = self.width;
        job.wrap.max_rows = self.lines;
        job.wrap.break_anywhere = false;
        painter.layout_job(job)
    }

    /// Size the words take, pixels.
    #[must_use]
    pub fn size(&self, painter: &Painter) -> egui::Vec2 {
        self.laid(painter).size()
    }

    /// Draws the words with their anchor at `at`; returns what they cover.
    pub fn draw(&self, painter: &Painter, at: Pos2, anchor: Align2) -> Rect {
        let galley = self.laid(painter);
        let rect = anchor.anchor_size(at, galley.size());
        if self.heavy {
            // the built-in letters come in one weight; a second strike beside the first adds some
            let shift = vec2(0.028 * self.size, 0.0);
            painter.galley(rect.min + shift, galley.clone(), self.colour);
        }
        painter.galley(rect.min, galley, self.colour);
        rect
    }
}
