//! One colour, and one pattern, for each device, the same in tables, plots, films, models and
//! windows, light and dark.
//!
//! # References
//! Okabe & Ito (2008), Color Universal Design, <https://jfly.uni-koeln.de/color/>: eight colours told
//! apart with every common colour vision.

use crate::device::DeviceClass;
use crate::stage::{EdgeState, Stage};
use serde::{Deserialize, Serialize};

/// A colour, 8 bits a channel, sRGB.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rgb(pub u8, pub u8, pub u8);

impl Rgb {
    /// `#rrggbb`.
    #[must_use]
    pub fn hex(self) -> String {
        format!("#{:02x}{:02x}{:02x}", self.0, self.1, self.2)
    }

    /// Channels from 0 to 1, sRGB.
    #[must_use]
    pub fn unit(self) -> [f32; 3] {
        [self.0, self.1, self.2].map(|c| f32::from(c) / 255.0)
    }

    /// Channels from 0 to 1, linear light, as three-dimensional formats want them (IEC 61966-2-1).
    #[must_use]
    pub fn linear(self) -> [f32; 3] {
        self.unit().map(|c| {
            if c <= 0.040_45 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        })
    }

    /// The colour on the way to another one; `share` from 0 to 1.
    #[must_use]
    pub fn towards(self, other: Self, share: f64) -> Self {
        let mix = |a: u8, b: u8| {
            let value = f64::from(a) + (f64::from(b) - f64::from(a)) * share.clamp(0.0, 1.0);
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "between two values of 8 bits"
            )]
            let value = value.round() as u8;
            value
        };
        Self(
            mix(self.0, other.0),
            mix(self.1, other.1),
            mix(self.2, other.2),
        )
    }
}

/// Okabe-Ito, in their order but for black.
const ORANGE: Rgb = Rgb(0xE6, 0x9F, 0x00);
const SKY_BLUE: Rgb = Rgb(0x56, 0xB4, 0xE9);
const BLUISH_GREEN: Rgb = Rgb(0x00, 0x9E, 0x73);
const YELLOW: Rgb = Rgb(0xF0, 0xE4, 0x42);
const BLUE: Rgb = Rgb(0x00, 0x72, 0xB2);
const VERMILLION: Rgb = Rgb(0xD5, 0x5E, 0x00);
const REDDISH_PURPLE: Rgb = Rgb(0xCC, 0x79, 0xA7);
const BLACK: Rgb = Rgb(0x00, 0x00, 0x00);
const WHITE: Rgb = Rgb(0xFF, 0xFF, 0xFF);
const GREY: Rgb = Rgb(0x80, 0x80, 0x80);

/// What the colours stand on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Theme {
    /// Dark on light.
    #[default]
    Light,
    /// Light on dark.
    Dark,
}

impl Theme {
    /// What everything stands on.
    #[must_use]
    pub const fn ground(self) -> Rgb {
        match self {
            Self::Light => Rgb(0xFA, 0xFA, 0xF7),
            Self::Dark => Rgb(0x15, 0x18, 0x1C),
        }
    }

    /// Text and lines.
    #[must_use]
    pub const fn ink(self) -> Rgb {
        match self {
            Self::Light => Rgb(0x1B, 0x1E, 0x22),
            Self::Dark => Rgb(0xEC, 0xEE, 0xF0),
        }
    }

    /// Text and lines of less weight; 4.5 to 1 against the ground.
    #[must_use]
    pub const fn faint_ink(self) -> Rgb {
        match self {
            Self::Light => Rgb(0x5F, 0x66, 0x6E),
            Self::Dark => Rgb(0xA3, 0xAB, 0xB3),
        }
    }

    /// The wall of the vessel, drawn see-through.
    #[must_use]
    pub const fn wall(self) -> Rgb {
        match self {
            Self::Light => Rgb(0x9A, 0xA2, 0xAB),
            Self::Dark => Rgb(0x8C, 0x95, 0x9F),
        }
    }

    /// Plaque.
    #[must_use]
    pub const fn plaque(self) -> Rgb {
        match self {
            Self::Light => Rgb(0xC9, 0xBE, 0x9B),
            Self::Dark => Rgb(0xB5, 0xA9, 0x84),
        }
    }

    /// Clot.
    #[must_use]
    pub const fn clot(self) -> Rgb {
        match self {
            Self::Light => Rgb(0x6B, 0x2B, 0x2B),
            Self::Dark => Rgb(0xA8, 0x50, 0x4A),
        }
    }

    /// Radiopaque marks.
    #[must_use]
    pub const fn mark(self) -> Rgb {
        match self {
            Self::Light => BLACK,
            Self::Dark => WHITE,
        }
    }
}

/// How good or bad something is. Never shown by its colour alone: [`State::icon`] goes with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Nothing to say.
    Quiet,
    /// Good.
    Good,
    /// A weak point.
    Weak,
    /// Fails.
    Bad,
}

impl From<EdgeState> for State {
    /// How good it is what crosses an edge does.
    fn from(edge: EdgeState) -> Self {
        match edge {
            EdgeState::Idle => Self::Quiet,
            EdgeState::Clear | EdgeState::Shielded => Self::Good,
            EdgeState::MayCatch => Self::Weak,
            EdgeState::Catches => Self::Bad,
        }
    }
}

impl State {
    /// Its colour.
    #[must_use]
    pub const fn colour(self, theme: Theme) -> Rgb {
        match self {
            Self::Quiet => theme.faint_ink(),
            Self::Good => BLUISH_GREEN,
            Self::Weak => ORANGE,
            Self::Bad => VERMILLION,
        }
    }

    /// One character that every font has.
    #[must_use]
    pub const fn icon(self) -> &'static str {
        match self {
            Self::Quiet => "-",
            Self::Good => "+",
            Self::Weak => "!",
            Self::Bad => "x",
        }
    }
}

/// How a line or a bar of a device is drawn where its colour is not enough: in grey, or where two
/// devices of a class are in one stack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pattern {
    /// Drawn through.
    Solid,
    /// Long dashes.
    Dashed,
    /// Dots.
    Dotted,
    /// Dashes and dots in turn.
    DashDotted,
}

impl Pattern {
    const ALL: [Self; 4] = [Self::Solid, Self::Dashed, Self::Dotted, Self::DashDotted];

    /// Lengths drawn and left out in turn, in line widths, as SVG wants them; empty: drawn through.
    #[must_use]
    pub const fn dashes(self) -> &'static [f32] {
        match self {
            Self::Solid => &[],
            Self::Dashed => &[6.0, 2.0],
            Self::Dotted => &[1.5, 1.5],
            Self::DashDotted => &[6.0, 2.0, 1.5, 2.0],
        }
    }
}

/// What a device looks like everywhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Look {
    /// Its colour on a light ground.
    pub light: Rgb,
    /// Its colour on a dark ground.
    pub dark: Rgb,
    /// Its pattern.
    pub pattern: Pattern,
}

impl Look {
    /// Its colour on a ground.
    #[must_use]
    pub const fn colour(&self, theme: Theme) -> Rgb {
        match theme {
            Theme::Light => self.light,
            Theme::Dark => self.dark,
        }
    }
}

/// Colour of a class on a light and on a dark ground, and which of the classes that share a hue it is.
const fn of_class(class: DeviceClass) -> (Rgb, usize) {
    match class {
        DeviceClass::AccessSheath => (GREY, 0),
        DeviceClass::LongSheath => (GREY, 1),
        DeviceClass::Dilator => (GREY, 2),
        DeviceClass::Guide => (BLUE, 0),
        DeviceClass::BalloonGuide => (BLUE, 1),
        DeviceClass::Selector => (SKY_BLUE, 0),
        DeviceClass::Aspiration => (VERMILLION, 0),
        DeviceClass::Microcatheter => (BLUISH_GREEN, 0),
        DeviceClass::Filter => (BLUISH_GREEN, 1),
        DeviceClass::Wire => (ORANGE, 0),
        DeviceClass::Retriever => (REDDISH_PURPLE, 0),
        DeviceClass::CarotidStent => (BLACK, 0),
        DeviceClass::Balloon => (YELLOW, 0),
    }
}

/// Looks of the devices of a stack, in its order.
///
/// A class has its hue; the second device of one hue is darker on light and lighter on dark ground, with
/// another pattern, and so on.
///
/// ```
/// use nestline::device::DeviceClass;
/// use nestline::output::palette::{Theme, looks};
/// let looks = looks([DeviceClass::Guide, DeviceClass::Wire, DeviceClass::Wire]);
/// assert_eq!(looks[0].colour(Theme::Light).hex(), "#0072b2");
/// assert_ne!(looks[1], looks[2]);
/// ```
#[must_use]
pub fn looks(stack: impl IntoIterator<Item = DeviceClass>) -> Vec<Look> {
    /// Share of the way to the ink that each further device of a hue goes.
    const SHADE: f64 = 0.3;
    let mut taken: Vec<(Rgb, usize)> = Vec::new();
    stack
        .into_iter()
        .map(|class| {
            let (hue, rank) = of_class(class);
            let mut place = rank;
            while taken.contains(&(hue, place)) {
                place += 1;
            }
            taken.push((hue, place));
            let steps = i32::try_from(place).map_or(2.0, f64::from).min(2.0);
            let shaded = |from: Rgb, to: Rgb| from.towards(to, SHADE * steps);
            // yellow on white and black on black are lost
            let light = if hue == YELLOW {
                YELLOW.towards(BLACK, 0.22)
            } else {
                hue
            };
            let dark = match hue {
                BLACK => WHITE,
                BLUE => BLUE.towards(WHITE, 0.25),
                other => other,
            };
            Look {
                light: shaded(light, if hue == BLACK { WHITE } else { BLACK }),
                dark: shaded(dark, if hue == BLACK { BLACK } else { WHITE }),
                pattern: Pattern::ALL[place % Pattern::ALL.len()],
            }
        })
        .collect()
}

/// Looks of the devices on a stage, in the order of its stack.
#[must_use]
pub fn looks_of(stage: &Stage) -> Vec<Look> {
    looks(stage.devices.iter().map(|d| d.class))
}

/// What one device on a stage looks like, by its index.
#[must_use]
pub fn look_of(stage: &Stage, device: usize) -> Look {
    looks_of(stage)[device]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn look_devices_of_a_stack_are_told_apart() {
        use DeviceClass::{AccessSheath, Guide, LongSheath, Microcatheter, Wire};
        let looks = looks([
            AccessSheath,
            LongSheath,
            Guide,
            Microcatheter,
            Wire,
            Wire,
            Wire,
        ]);
        for (i, a) in looks.iter().enumerate() {
            for b in &looks[i + 1..] {
                assert!(
                    a.light != b.light || a.pattern != b.pattern,
                    "{a:?} and {b:?}"
                );
                assert!(
                    a.dark != b.dark || a.pattern != b.pattern,
                    "{a:?} and {b:?}"
                );
            }
        }
    }

    #[test]
    fn exact_linear_light() {
        // middle grey of sRGB is 21.4 % of white's light
        let [r, _, _] = Rgb(127, 127, 127).linear();
        assert!((r - 0.2122).abs() < 1e-3, "{r}");
        assert!(
            Rgb(255, 0, 10).linear()[1].abs() < 1e-12,
            "black stays black"
        );
    }
}
