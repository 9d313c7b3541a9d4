//! Colours and sizes of everything that is drawn flat: panels, text, icons.

use super::paint::Icon;
use crate::output::palette::{Rgb, State, Theme};
use crate::procedure::Severity;
use egui::Color32;

/// Height for which sizes are given, pixels; everything grows with the picture.
const DESIGN_HEIGHT_PX: f32 = 720.0;

/// Colours and scale of a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scheme {
    /// Light or dark.
    pub theme: Theme,
    /// Pixels a design pixel takes.
    pub scale: f32,
}

impl Scheme {
    /// For a picture of that height.
    #[must_use]
    pub fn new(theme: Theme, height_px: f32) -> Self {
        Self {
            theme,
            scale: height_px / DESIGN_HEIGHT_PX,
        }
    }

    /// A size given for a picture 720 pixels high.
    #[must_use]
    pub fn px(&self, design_px: f32) -> f32 {
        design_px * self.scale
    }

    fn pick(&self, light: [u8; 3], dark: [u8; 3]) -> Color32 {
        let [r, g, b] = match self.theme {
            Theme::Light => light,
            Theme::Dark => dark,
        };
        Color32::from_rgb(r, g, b)
    }

    /// Behind the vessel.
    #[must_use]
    pub fn ground(&self) -> Color32 {
        solid(self.theme.ground())
    }

    /// Of panels.
    #[must_use]
    pub fn panel(&self) -> Color32 {
        self.pick([255, 255, 255], [29, 34, 40])
    }

    /// Of what in a panel is set off: a row, a track, a button.
    #[must_use]
    pub fn inset(&self) -> Color32 {
        self.pick([236, 238, 240], [42, 49, 57])
    }

    /// Thin lines between panels.
    #[must_use]
    pub fn rule(&self) -> Color32 {
        self.pick([210, 214, 218], [60, 68, 77])
    }

    /// Text.
    #[must_use]
    pub fn ink(&self) -> Color32 {
        solid(self.theme.ink())
    }

    /// Text of less weight.
    #[must_use]
    pub fn faint(&self) -> Color32 {
        solid(self.theme.faint_ink())
    }

    /// What is chosen or at work.
    #[must_use]
    pub fn accent(&self) -> Color32 {
        self.pick([0, 95, 150], [86, 180, 233])
    }

    /// Colour and sign of a state; never the colour alone.
    #[must_use]
    pub fn state(&self, state: State) -> (Color32, Icon) {
        let icon = match state {
            State::Good => Icon::Tick,
            State::Weak => Icon::Warning,
            State::Bad => Icon::Cross,
            State::Quiet => Icon::Note,
        };
        (solid(state.colour(self.theme)), icon)
    }

    /// The same for a finding.
    #[must_use]
    pub fn severity(&self, severity: Severity) -> (Color32, Icon) {
        self.state(match severity {
            Severity::Failure => State::Bad,
            Severity::Undecided | Severity::Warning => State::Weak,
            Severity::Note => State::Quiet,
        })
    }

    /// Hands the colours to the widgets.
    pub(crate) fn dress(&self, ctx: &egui::Context) {
        let mut style = egui::Style {
            visuals: match self.theme {
                Theme::Light => egui::Visuals::light(),
                Theme::Dark => egui::Visuals::dark(),
            },
            ..egui::Style::default()
        };
        let visuals = &mut style.visuals;
        visuals.override_text_color = Some(self.ink());
        visuals.panel_fill = self.panel();
        visuals.window_fill = self.panel();
        visuals.extreme_bg_color = self.inset();
        visuals.selection.bg_fill = self.accent().gamma_multiply(0.35);
        for font in style.text_styles.values_mut() {
            font.size = self.px(font.size.max(13.0) * 1.08);
        }
        let spacing = &mut style.spacing;
        spacing.item_spacing *= self.scale;
        spacing.button_padding *= self.scale;
        spacing.interact_size *= self.scale;
        spacing.slider_width *= self.scale;
        spacing.icon_width *= self.scale;
        spacing.icon_width_inner *= self.scale;
        spacing.icon_spacing *= self.scale;
        spacing.combo_width *= self.scale;
        // a still must not depend on when it was taken
        style.animation_time = 0.0;
        ctx.all_styles_mut(|s| *s = style.clone());
    }
}

/// A colour without transparency.
pub(crate) fn solid(Rgb(r, g, b): Rgb) -> Color32 {
    Color32::from_rgb(r, g, b)
}
