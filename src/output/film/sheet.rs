//! One picture of a film: one or two views of the vessel, what is done, what it leads to.

use super::script::{Beat, Script};
use crate::output::palette::{self, State, look_of, looks_of};
use crate::output::screen::{
    Named, Scheme, Words, close_up, draw_arrows, draw_legend, draw_meant, icon, least_width_px,
    lines_over, press_arrows, solid, vec3, view_name, widest_mm,
};
use crate::output::screen::{Place, View};
use crate::procedure::Severity;
use crate::rehearsal::Verdict;
use crate::stage::{Moment, Stage, StepCard};
use egui::{
    Align2, Color32, CornerRadius, Painter, Pos2, Rect, Shape, Stroke, StrokeKind, TextureId, Vec2,
    pos2, vec2,
};

/// Design width of the column beside the views, pixels of a picture 720 high.
const COLUMN_PX: f32 = 316.0;
/// Design height of the head.
const HEAD_PX: f32 = 46.0;
/// Design height of the foot.
const FOOT_PX: f32 = 132.0;

/// Where things stand in a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Layout {
    pub(super) head: Rect,
    pub(super) views: Rect,
    pub(super) column: Rect,
    pub(super) foot: Rect,
}

impl Layout {
    pub(super) fn new(scheme: &Scheme, size: Vec2) -> Self {
        let column = scheme.px(COLUMN_PX).min(0.34 * size.x);
        let (top, bottom) = (scheme.px(HEAD_PX), size.y - scheme.px(FOOT_PX));
        // whole pixels: views are drawn at exactly this size
        let (top, bottom, split) = (top.round(), bottom.round(), (size.x - column).round());
        Self {
            head: Rect::from_min_max(Pos2::ZERO, pos2(size.x, top)),
            views: Rect::from_min_max(pos2(0.0, top), pos2(split, bottom)),
            column: Rect::from_min_max(pos2(split, top), pos2(size.x, bottom)),
            foot: Rect::from_min_max(pos2(0.0, bottom), pos2(size.x, size.y)),
        }
    }

    /// The rectangles of one or two views side by side.
    pub(super) fn views(&self, count: usize) -> Vec<Rect> {
        if count < 2 {
            return vec![self.views];
        }
        let middle = self.views.center().x.round();
        vec![
            Rect::from_min_max(self.views.min, pos2(middle, self.views.max.y)),
            Rect::from_min_max(pos2(middle, self.views.min.y), self.views.max),
        ]
    }
}

/// A view and its image.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    pub(super) rect: Rect,
    pub(super) view: View,
    pub(super) image: TextureId,
}

/// All that a picture shows.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sheet<'a> {
    pub(super) scheme: Scheme,
    pub(super) layout: Layout,
    pub(super) stage: &'a Stage,
    pub(super) moment: &'a Moment,
    pub(super) beat: &'a Beat,
    pub(super) seen: &'a [Seen],
    /// Share of the film that is over; none in a still.
    pub(super) progress: Option<f32>,
    /// Where devices press is shown.
    pub(super) contacts: bool,
}

impl Sheet<'_> {
    pub(super) fn draw(&self, painter: &Painter) {
        for seen in self.seen {
            self.view(painter, seen);
        }
        if let [left, _] = self.seen {
            let x = left.rect.right();
            painter.line_segment(
                [pos2(x, left.rect.top()), pos2(x, left.rect.bottom())],
                Stroke::new(self.scheme.px(2.0), self.scheme.rule()),
            );
        }
        self.head(painter);
        self.column(painter);
        self.foot(painter);
    }

    fn view(&self, painter: &Painter, seen: &Seen) {
        let whole = Rect::from_min_max(Pos2::ZERO, pos2(1.0, 1.0));
        painter.image(seen.image, seen.rect, whole, Color32::WHITE);
        let inside = painter.with_clip_rect(seen.rect);
        let widened = lines_over(
            &inside,
            &self.scheme,
            self.stage,
            self.moment,
            seen.rect,
            &seen.view,
        );
        draw_meant(
            &inside,
            &self.scheme,
            self.stage,
            self.moment,
            (seen.rect, &seen.view),
        );
        let arrows = (self.contacts).then(|| press_arrows(self.moment, seen.rect, &seen.view));
        draw_arrows(&inside, &self.scheme, arrows.as_deref().unwrap_or_default());
        let name = self.beat.place.in_words();
        let named = Named {
            stage: self.stage,
            moment: self.moment,
            place: self.beat.place,
            name,
            rect: seen.rect,
            view: &seen.view,
            arrows: arrows.as_deref(),
            written: None,
        };
        named.draw(&inside, &self.scheme);
        view_name(&inside, &self.scheme, seen.rect, &seen.view, name, widened);
        if self.contacts {
            draw_legend(&inside, &self.scheme, seen.rect, &seen.view);
        }
    }

    fn head(&self, painter: &Painter) {
        let (scheme, rect) = (&self.scheme, self.layout.head);
        painter.rect_filled(rect, CornerRadius::ZERO, scheme.panel());
        rule_below(painter, scheme, rect);
        let steps = self.stage.steps.len();
        let step = self.moment.step + 1;
        let count = match self.failed_before() {
            Some(failed) => format!("step {failed} failed before · step {step} of {steps}"),
            None => format!("step {step} of {steps}"),
        };
        let counted = Words::line(&count, scheme.px(17.0), scheme.faint()).draw(
            painter,
            pos2(rect.right() - scheme.px(18.0), rect.center().y),
            Align2::RIGHT_CENTER,
        );
        Words::line(&self.stage.title, scheme.px(19.0), scheme.ink())
            .within(counted.left() - scheme.px(40.0), 1)
            .heavy()
            .draw(
                painter,
                pos2(rect.left() + scheme.px(18.0), rect.center().y),
                Align2::LEFT_CENTER,
            );
    }

    /// Number of the first step before this one that failed: what follows is shown as if it had gone, or as
    /// far as it went.
    fn failed_before(&self) -> Option<usize> {
        let before = &self.stage.steps[..self.moment.step.min(self.stage.steps.len())];
        let failed = |c: &StepCard| c.row.worst() == Some(Severity::Failure);
        before.iter().position(failed).map(|k| k + 1)
    }

    /// Devices in the body, and the edge or the place on the route.
    fn column(&self, painter: &Painter) {
        let (scheme, rect) = (&self.scheme, self.layout.column);
        painter.rect_filled(rect, CornerRadius::ZERO, scheme.panel());
        painter.line_segment(
            [rect.left_top(), rect.left_bottom()],
            Stroke::new(scheme.px(1.0), scheme.rule()),
        );
        let mut y = rect.top() + scheme.px(10.0);
        let left = rect.left() + scheme.px(16.0);
        let title = |text: &str, y: f32| {
            Words::line(text, scheme.px(14.0), scheme.faint()).draw(
                painter,
                pos2(left, y),
                Align2::LEFT_TOP,
            )
        };
        let title_box = title("In the body", y);
        y = title_box.bottom() + scheme.px(4.0);
        y = self.device_rows(painter, y);
        let rest = Rect::from_min_max(
            pos2(left, y + scheme.px(8.0)),
            pos2(
                rect.right() - scheme.px(16.0),
                rect.bottom() - scheme.px(10.0),
            ),
        );
        let edge_mm = self.beat.at_mm.filter(|_| self.beat.place == Place::Edge);
        let band = edge_mm.and_then(|edge_mm| {
            self.moment.bands.iter().min_by(|a, b| {
                let far = |b: &crate::stage::EdgeBand| (b.station_mm - edge_mm).abs();
                far(a).total_cmp(&far(b))
            })
        });
        if let Some(band) = band {
            title(
                if band.upper {
                    "Upper edge of the stent, cut across"
                } else {
                    "Lower edge of the stent, cut across"
                },
                rest.top(),
            );
            let section = self.stage.section(self.moment.time_s, band.station_mm);
            let looks: Vec<palette::Look> = looks_of(self.stage);
            let plot = Rect::from_min_max(rest.min + vec2(0.0, scheme.px(24.0)), rest.max);
            close_up(painter, scheme, plot, &section, Some(band), &looks);
        } else if self.beat.place != Place::Route && rest.height() > scheme.px(110.0) {
            title("Where this is", rest.top());
            let map = Rect::from_min_max(rest.min + vec2(0.0, scheme.px(22.0)), rest.max);
            whereabouts(painter, scheme, map, self.stage, self.moment, self.seen);
        }
    }

    /// Whether something has caught, and stands.
    fn stopped(&self) -> bool {
        let beat = self.beat;
        beat.stops_at < 1.0
            && self.moment.step == beat.told
            && self.moment.share > beat.stops_at - 1e-3
    }

    /// One row for each device: colour, name, where its tip is. Returns where the rows end.
    fn device_rows(&self, painter: &Painter, top: f32) -> f32 {
        let (scheme, rect) = (&self.scheme, self.layout.column);
        let left = rect.left() + scheme.px(16.0);
        let row_px = scheme.px(38.0);
        let card = &self.stage.steps[self.moment.step];
        let mut y = top;
        if self.moment.devices.is_empty() {
            Words::line("nothing", scheme.px(15.0), scheme.ink()).draw(
                painter,
                pos2(left, y),
                Align2::LEFT_TOP,
            );
            return y + scheme.px(24.0);
        }
        for device in &self.moment.devices {
            let described = &self.stage.devices[device.device];
            let colour = solid(look_of(self.stage, device.device).colour(scheme.theme));
            let swatch = Rect::from_min_size(
                pos2(left, y + scheme.px(4.0)),
                vec2(scheme.px(22.0), scheme.px(9.0)),
            );
            painter.rect_filled(swatch, CornerRadius::same(2), colour);
            let x = swatch.right() + scheme.px(10.0);
            let name = described.name.replace('-', " ");
            let words = Words::line(&name, scheme.px(16.0), scheme.ink());
            let words = if device.moving { words.heavy() } else { words };
            let named = words.draw(painter, pos2(x, y - scheme.px(2.0)), Align2::LEFT_TOP);
            if device.suction {
                Words::line("suction", scheme.px(13.0), scheme.accent()).draw(
                    painter,
                    pos2(named.right() + scheme.px(8.0), named.center().y),
                    Align2::LEFT_CENTER,
                );
            }
            // rows of the table tell the step's end; on the way there they would be wrong
            let row = card.row.devices.iter().find(|r| r.name == described.name);
            let at = match row {
                _ if device.moving && self.stopped() => "stopped on its way".to_owned(),
                _ if device.moving && self.moment.share < 1.0 => "on its way".to_owned(),
                Some(row) => format!("tip {}", self.stage.told_place(&row.tip_at)),
                None => String::new(),
            };
            Words::line(&at, scheme.px(13.0), scheme.faint())
                .within(rect.right() - x - scheme.px(8.0), 1)
                .draw(painter, pos2(x, named.bottom()), Align2::LEFT_TOP);
            y += row_px;
        }
        y
    }

    /// What is done, what it is told, how far the film is.
    fn foot(&self, painter: &Painter) {
        let (scheme, rect) = (&self.scheme, self.layout.foot);
        painter.rect_filled(rect, CornerRadius::ZERO, scheme.panel());
        let bar = Rect::from_min_size(rect.min, vec2(rect.width(), scheme.px(4.0)));
        painter.rect_filled(bar, CornerRadius::ZERO, scheme.inset());
        if let Some(over) = self.progress {
            let done = Rect::from_min_size(rect.min, vec2(rect.width() * over, bar.height()));
            painter.rect_filled(done, CornerRadius::ZERO, scheme.accent());
        }
        let left = rect.left() + scheme.px(18.0);
        let width = rect.width() - scheme.px(36.0);
        let told = &self.stage.steps[self.beat.told];
        let said = Words::line(&told.row.say, scheme.px(25.0), scheme.ink())
            .within(width, 1)
            .heavy()
            .draw(
                painter,
                pos2(left, rect.top() + scheme.px(14.0)),
                Align2::LEFT_TOP,
            );
        let mut y = said.bottom() + scheme.px(6.0);
        // the gravest come first; where there is nothing grave, what is worth knowing
        let grave = told.row.findings.iter().take(1);
        for finding in grave {
            let (colour, sign) = scheme.severity(finding.severity);
            let size = scheme.px(18.0);
            icon(
                painter,
                pos2(left + 0.5 * size, y + 0.6 * size),
                size,
                sign,
                colour,
                scheme.panel(),
            );
            let x = left + 1.6 * size;
            let drawn = Words::line(&finding.text, scheme.px(16.5), scheme.ink())
                .within(rect.right() - x - scheme.px(18.0), 2)
                .draw(painter, pos2(x, y), Align2::LEFT_TOP);
            y = drawn.bottom();
        }
        caution_line(painter, scheme, rect, self.stage);
    }
}

fn rule_below(painter: &Painter, scheme: &Scheme, rect: Rect) {
    painter.line_segment(
        [rect.left_bottom(), rect.right_bottom()],
        Stroke::new(scheme.px(1.0), scheme.rule()),
    );
}

/// The first sentence of the caution, and where shapes come from, in one line at the bottom.
fn caution_line(painter: &Painter, scheme: &Scheme, rect: Rect, stage: &Stage) {
    let caution = stage.caution.split(". ").next().unwrap_or_default();
    let line = format!("{caution}. {}", stage.shapes.in_words());
    Words::line(&line, scheme.px(12.5), scheme.faint())
        .within(rect.width() - scheme.px(36.0), 1)
        .draw(
            painter,
            pos2(
                rect.left() + scheme.px(18.0),
                rect.bottom() - scheme.px(7.0),
            ),
            Align2::LEFT_BOTTOM,
        );
}

/// The route as a line from the front, tips on it, and what the views show.
fn whereabouts(
    painter: &Painter,
    scheme: &Scheme,
    rect: Rect,
    stage: &Stage,
    moment: &Moment,
    seen: &[Seen],
) {
    let points: Vec<(f64, f64)> = stage.wall.iter().map(|n| (n.at.x, n.at.z)).collect();
    let span = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
            (a.min(v), b.max(v))
        })
    };
    let (x0, x1) = span(&mut points.iter().map(|p| p.0));
    let (z0, z1) = span(&mut points.iter().map(|p| p.1));
    #[expect(
        clippy::cast_possible_truncation,
        reason = "millimetres of a body, drawn in pixels"
    )]
    let (wide_mm, tall_mm, middle) = (
        (x1 - x0) as f32,
        (z1 - z0) as f32,
        (0.5 * (x0 + x1) as f32, 0.5 * (z0 + z1) as f32),
    );
    let inner = rect.shrink(scheme.px(8.0));
    let px_per_mm = (inner.height() / tall_mm.max(1.0)).min(inner.width() / wide_mm.max(1.0));
    let to = |x: f32, z: f32| inner.center() + vec2(x - middle.0, middle.1 - z) * px_per_mm;
    #[expect(
        clippy::cast_possible_truncation,
        reason = "millimetres of a body, drawn in pixels"
    )]
    let line: Vec<Pos2> = points.iter().map(|p| to(p.0 as f32, p.1 as f32)).collect();
    painter.add(Shape::line(
        line,
        Stroke::new(
            scheme.px(5.0),
            solid(scheme.theme.wall()).gamma_multiply(0.6),
        ),
    ));
    let mut devices: Vec<_> = moment.devices.iter().map(|d| (d, widest_mm(d))).collect();
    devices.sort_by(|a, b| b.1.total_cmp(&a.1));
    for (device, outer_mm) in devices {
        let colour = solid(look_of(stage, device.device).colour(scheme.theme));
        let line: Vec<Pos2> = device
            .nodes
            .iter()
            .map(|n| vec3(&n.at))
            .map(|p| to(p.x, p.z))
            .collect();
        let wide = scheme.px(0.7 * least_width_px(outer_mm));
        painter.add(Shape::line(line, Stroke::new(wide, colour)));
    }
    // the first view's rectangle as a box; seen from the side it stands for the same heights
    if let Some(first) = seen.first() {
        let half = vec2(
            0.5 * first.view.height_mm * first.rect.width() / first.rect.height(),
            0.5 * first.view.height_mm,
        ) * px_per_mm;
        let middle = to(first.view.at_mm.x, first.view.at_mm.z);
        let shown = Rect::from_center_size(middle, 2.0 * half).intersect(rect);
        painter.rect_stroke(
            shown,
            CornerRadius::same(3),
            Stroke::new(scheme.px(2.0), scheme.accent()),
            StrokeKind::Inside,
        );
    }
}

/// The title: what the film is about.
pub(super) fn title(
    painter: &Painter,
    scheme: &Scheme,
    size: Vec2,
    stage: &Stage,
    script: &Script,
) {
    let rect = Rect::from_min_size(Pos2::ZERO, size);
    painter.rect_filled(rect, CornerRadius::ZERO, scheme.panel());
    let left = scheme.px(96.0);
    let width = size.x - 2.0 * left;
    let mut y = 0.26 * size.y;
    let drawn = Words::line(&stage.title, scheme.px(44.0), scheme.ink())
        .within(width, 2)
        .heavy()
        .draw(painter, pos2(left, y), Align2::LEFT_TOP);
    y = drawn.bottom() + scheme.px(20.0);
    let drawn = Words::line(&stage.about, scheme.px(24.0), scheme.ink())
        .within(width, 4)
        .draw(painter, pos2(left, y), Align2::LEFT_TOP);
    y = drawn.bottom() + scheme.px(14.0);
    let (first, last) = script.steps;
    let count = stage.steps.len();
    let vessel = &stage.plan().vessel.name;
    let steps = if last + 1 - first < count {
        format!("{vessel} · steps {} to {} of {count}", first + 1, last + 1)
    } else {
        format!("{vessel} · {count} steps")
    };
    Words::line(&steps, scheme.px(19.0), scheme.faint()).draw(
        painter,
        pos2(left, y),
        Align2::LEFT_TOP,
    );
    caution_box(painter, scheme, size, stage);
}

/// The verdict: whether the plan holds, and the reasons.
pub(super) fn verdict(painter: &Painter, scheme: &Scheme, size: Vec2, stage: &Stage) {
    let rect = Rect::from_min_size(Pos2::ZERO, size);
    painter.rect_filled(rect, CornerRadius::ZERO, scheme.panel());
    let left = scheme.px(96.0);
    let (words, state) = match stage.verdict {
        Verdict::Passes => ("The plan passes", State::Good),
        Verdict::Fails => ("The plan fails", State::Bad),
        Verdict::Undecided => ("Not decided", State::Weak),
    };
    let (colour, sign) = scheme.state(state);
    let top = 0.13 * size.y;
    let big = scheme.px(46.0);
    icon(
        painter,
        pos2(left + 0.5 * big, top + 0.6 * big),
        big,
        sign,
        colour,
        scheme.panel(),
    );
    let drawn = Words::line(words, scheme.px(44.0), scheme.ink())
        .heavy()
        .draw(painter, pos2(left + 1.4 * big, top), Align2::LEFT_TOP);
    let mut y = drawn.bottom() + scheme.px(18.0);
    let bottom = size.y - scheme.px(118.0);
    for line in &stage.headline {
        let words = Words::line(line, scheme.px(19.0), scheme.ink())
            .within(size.x - 2.0 * left - scheme.px(20.0), 3);
        if y + words.size(painter).y > bottom {
            break;
        }
        painter.circle_filled(
            pos2(left + scheme.px(5.0), y + scheme.px(12.0)),
            scheme.px(3.0),
            scheme.accent(),
        );
        let drawn = words.draw(painter, pos2(left + scheme.px(20.0), y), Align2::LEFT_TOP);
        y = drawn.bottom() + scheme.px(8.0);
    }
    caution_box(painter, scheme, size, stage);
}

fn caution_box(painter: &Painter, scheme: &Scheme, size: Vec2, stage: &Stage) {
    let rect = Rect::from_min_max(
        pos2(scheme.px(96.0), size.y - scheme.px(104.0)),
        pos2(size.x - scheme.px(96.0), size.y - scheme.px(32.0)),
    );
    painter.rect_filled(rect, CornerRadius::same(6), scheme.inset());
    let (colour, sign) = scheme.state(State::Weak);
    let size_px = scheme.px(26.0);
    icon(
        painter,
        pos2(rect.left() + scheme.px(28.0), rect.center().y),
        size_px,
        sign,
        colour,
        scheme.inset(),
    );
    Words::line(&stage.caution, scheme.px(17.0), scheme.ink())
        .within(rect.width() - scheme.px(72.0), 3)
        .draw(
            painter,
            pos2(rect.left() + scheme.px(56.0), rect.center().y),
            Align2::LEFT_CENTER,
        );
}
