//! The look: colours for light and dark, the rules of the plots, the page.

use crate::output::palette::{Look, Theme};
use std::fmt::Write as _;

/// Named colours: name, light, dark.
const COLOURS: [(&str, &str, &str); 16] = [
    ("ground", "#ffffff", "#14181d"),
    ("panel", "#f4f6f8", "#1c2229"),
    ("ink", "#1a1f26", "#e8ecf1"),
    ("muted", "#55606c", "#a4b0bd"),
    ("line", "#d3dae1", "#36404a"),
    ("accent", "#0b5fad", "#7cc0ff"),
    ("good", "#13683f", "#6fd6a3"),
    ("good-ground", "#e4f4ec", "#14342a"),
    ("weak", "#8a4b00", "#ffc46b"),
    ("weak-ground", "#fdf1dd", "#3a2c12"),
    ("bad", "#a3151d", "#ff9c97"),
    ("bad-ground", "#fde8e8", "#43191b"),
    ("wall", "#e9d9d4", "#4a3a38"),
    ("wall-line", "#b08d84", "#a98d86"),
    ("clot", "#7a1f2b", "#d0626f"),
    ("plaque", "#b9a66a", "#c9b67c"),
];

/// Rules of everything that is drawn, in page and picture alike.
const PLOT: &str = include_str!("plot.css");
/// Rules of the page.
const PAGE: &str = include_str!("page.css");

/// The page's style sheet.
pub(super) fn sheet(devices: &[Look]) -> String {
    let mut light = String::new();
    let mut dark = String::new();
    for (name, bright, dim) in COLOURS {
        let _ = write!(light, "--{name}:{bright};");
        let _ = write!(dark, "--{name}:{dim};");
    }
    for (i, look) in devices.iter().enumerate() {
        let _ = write!(light, "--d{i}:{};", look.colour(Theme::Light).hex());
        let _ = write!(dark, "--d{i}:{};", look.colour(Theme::Dark).hex());
    }
    let mut out = format!(
        ":root{{color-scheme:light;{light}}}\n\
         @media screen and (prefers-color-scheme:dark){{:root:not([data-look=light]){{color-scheme:dark;{dark}}}}}\n\
         @media screen{{:root[data-look=dark]{{color-scheme:dark;{dark}}}}}\n"
    );
    out.push_str(&device_rules(devices));
    out.push_str(PLOT);
    out.push_str(PAGE);
    out
}

/// Rules of a picture on its own: light colours, nothing left to be looked up.
pub(super) fn plot_rules_light(devices: &[Look]) -> String {
    let mut rules = device_rules(devices) + PLOT;
    for (name, bright, _) in COLOURS {
        rules = rules.replace(&format!("var(--{name})"), bright);
    }
    for (i, look) in devices.iter().enumerate() {
        rules = rules.replace(&format!("var(--d{i})"), &look.colour(Theme::Light).hex());
    }
    rules
}

/// Fill and stroke of each device; lines of a hue that two devices share are told apart by dashes.
fn device_rules(devices: &[Look]) -> String {
    let mut out = String::new();
    for (i, look) in devices.iter().enumerate() {
        let dashes: Vec<String> = look
            .pattern
            .dashes()
            .iter()
            .map(|d| format!("{}", 2.0 * d))
            .collect();
        let dashes = if dashes.is_empty() {
            String::new()
        } else {
            format!(".line.s{i}{{stroke-dasharray:{}}}", dashes.join(" "))
        };
        let _ = writeln!(
            out,
            ".d{i}{{fill:var(--d{i})}}.s{i}{{stroke:var(--d{i})}}.line.s{i}{{fill:none}}.key{i}{{background:var(--d{i})}}{dashes}"
        );
    }
    out
}
