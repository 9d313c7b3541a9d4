//! Small parts of which every plot is made: figures, scales, ticks, axes.

use super::style;
use crate::math;
use crate::output::palette::Look;
use maud::{Markup, PreEscaped, html};

/// Width of a plot's drawing area, in its own units: at this width letters keep their size on a
/// page of A4 and on a laptop.
pub(super) const WIDTH: f64 = 920.0;
/// Width of a letter of the plots' type, a generous mean.
const LETTER: f64 = 6.3;

/// One plot.
#[derive(Debug, Clone)]
pub(super) struct Figure {
    /// Name of its file, without ending.
    pub(super) name: String,
    /// Heading.
    pub(super) title: String,
    /// What is to be seen, for those who do not see it.
    pub(super) words: String,
    /// Width and height of the drawing.
    pub(super) size: (f64, f64),
    /// Its parts.
    pub(super) body: Markup,
}

impl Figure {
    /// The drawing within a page.
    pub(super) fn inline(&self) -> Markup {
        let id = format!("fig-{}", self.name);
        let (width, height) = self.size;
        html! {
            div.scroll tabindex="0" role="region" aria-label=(self.title) {
                svg.plot id=(id) role="img" aria-labelledby={ (id) "-t " (id) "-d" }
                    viewBox={ "0 0 " (num(width)) " " (num(height)) }
                    style={ "min-width:" (num(width.min(WIDTH) * 0.8)) "px;max-width:" (num(width * 1.25)) "px" } {
                    title id={ (id) "-t" } { (self.title) }
                    desc id={ (id) "-d" } { (self.words) }
                    (self.body)
                }
            }
        }
    }

    /// The drawing as a file of its own, in the light colours.
    pub(super) fn standalone(&self, devices: &[Look]) -> String {
        let (width, height) = self.size;
        let markup = html! {
            svg xmlns="http://www.w3.org/2000/svg" width=(num(width)) height=(num(height + 26.0))
                viewBox={ "0 -26 " (num(width)) " " (num(height + 26.0)) } font-family="DejaVu Sans, Liberation Sans, Arial, sans-serif" font-size="12" {
                title { (self.title) }
                desc { (self.words) }
                style { (PreEscaped(style::plot_rules_light(devices))) }
                rect.ground x="0" y="-26" width=(num(width)) height=(num(height + 26.0)) {}
                text.h x="4" y="-8" { (self.title) }
                (self.body)
            }
        };
        markup.into_string()
    }
}

/// Names at the left that stay in sight where the plot is wider than the screen; drawn last, on their own
/// ground of `width`.
pub(super) fn staying(width: f64, top: f64, bottom: f64, names: &Markup) -> Markup {
    html! {
        g.stay {
            rect.ground x="0" y=(num(top)) width=(num(width)) height=(num(bottom - top)) {}
            (names)
        }
    }
}

/// A number as SVG likes it: two digits, no more.
pub(super) fn num(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// Estimated width of a text in the plots' type.
#[expect(clippy::cast_precision_loss, reason = "a label has some dozen letters")]
pub(super) fn width_of(text: &str) -> f64 {
    LETTER * text.chars().count() as f64
}

/// A text cut to a width, with an ellipsis where it was cut.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a label has some dozen letters"
)]
pub(super) fn cut(text: &str, width: f64) -> String {
    let most = (width / LETTER).max(4.0) as usize;
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most - 1).collect();
    format!("{}…", kept.trim_end())
}

/// A linear scale from values to places.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    /// Values at both ends.
    pub(super) values: (f64, f64),
    /// Places of both ends.
    pub(super) places: (f64, f64),
}

impl Scale {
    pub(super) const fn new(values: (f64, f64), places: (f64, f64)) -> Self {
        Self { values, places }
    }

    /// Place of a value, beyond the ends too.
    pub(super) fn at(&self, value: f64) -> f64 {
        let span = self.values.1 - self.values.0;
        let share = if span.abs() > 0.0 {
            (value - self.values.0) / span
        } else {
            0.5
        };
        self.places.0 + share * (self.places.1 - self.places.0)
    }

    /// Place of a value, kept between the ends.
    pub(super) fn within(&self, value: f64) -> f64 {
        let (low, high) = (
            self.places.0.min(self.places.1),
            self.places.0.max(self.places.1),
        );
        self.at(value).clamp(low, high)
    }

    /// Whether a value lies between the ends.
    pub(super) fn holds(&self, value: f64) -> bool {
        value >= self.values.0.min(self.values.1) && value <= self.values.0.max(self.values.1)
    }
}

/// Round values within a range, about `wished` of them.
pub(super) fn ticks(low: f64, high: f64, wished: f64) -> Vec<f64> {
    let span = high - low;
    if !(span.is_finite() && span > 0.0) {
        return vec![low];
    }
    let rough = span / wished.max(1.0);
    let power = math::pow(10.0_f64, math::log10(rough).floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|s| *s >= rough)
        .unwrap_or(10.0 * power);
    let mut found = Vec::new();
    let mut value = (low / step).ceil() * step;
    while value <= high + 1e-9 * span {
        found.push(if value.abs() < 1e-9 * step {
            0.0
        } else {
            value
        });
        value += step;
    }
    found
}

/// Points as SVG takes them.
pub(super) fn points(at: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut text = String::new();
    for (x, y) in at {
        if !text.is_empty() {
            text.push(' ');
        }
        text.push_str(&num(x));
        text.push(',');
        text.push_str(&num(y));
    }
    text
}

/// Horizontal axis of lengths in mm: grid lines up to `top`, figures below `bottom`.
pub(super) fn length_axis(scale: &Scale, top: f64, bottom: f64, wished: f64) -> Markup {
    let ticks = ticks(scale.values.0, scale.values.1, wished);
    html! {
        @for tick in ticks {
            @let x = num(scale.at(tick));
            line.grid x1=(x) y1=(num(top)) x2=(x) y2=(num(bottom)) {}
            text.t.mid x=(x) y=(num(bottom + 15.0)) data-mm=(num(tick)) data-bare="l" { (num(tick)) }
        }
    }
}

/// Horizontal axis of step numbers.
#[expect(clippy::cast_precision_loss, reason = "a script has some dozen steps")]
pub(super) fn step_axis(scale: &Scale, steps: usize, top: f64, bottom: f64) -> Markup {
    let every = [1, 2, 5, 10, 20, 50, 100]
        .into_iter()
        .find(|e| steps / e <= 25)
        .unwrap_or(200);
    html! {
        @for step in 1..=steps {
            @if step == 1 || step % every == 0 {
                @let x = num(scale.at(step as f64));
                line.grid x1=(x) y1=(num(top)) x2=(x) y2=(num(bottom)) {}
                text.t.mid x=(x) y=(num(bottom + 15.0)) { (step) }
            }
        }
        line.cursor data-from=(num(scale.at(1.0))) data-pitch=(num(scale.at(2.0) - scale.at(1.0)))
            x1=(num(scale.at(1.0))) x2=(num(scale.at(1.0))) y1=(num(top)) y2=(num(bottom)) {}
    }
}
