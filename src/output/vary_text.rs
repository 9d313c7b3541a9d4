//! A plan on many patients, as text.

use super::table::{long_section, section, wrapped};
use crate::rehearsal::vary::{Group, LevelRow, Matters, Vary};

/// A population for a terminal of `columns` characters: how often it fails, by what, and what matters most.
#[must_use]
pub fn vary_text(vary: &Vary, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    wrapped(&mut out, "", &vary.scene, width);
    wrapped(&mut out, "vessel: ", &vary.vessel, width);
    let by = if vary.by_ruler { ", by ruler" } else { "" };
    let line = format!("{} cases, seed {}{by}", vary.cases, vary.seed);
    wrapped(&mut out, "", &line, width);
    out.push('\n');
    wrapped(&mut out, "  ", &vary.headline().unwrap_or_default(), width);
    for level in &vary.levels {
        level_text(&mut out, level, width);
    }
    for matters in &vary.matters {
        matters_text(&mut out, matters, width);
    }
    section(&mut out, "How this was had");
    wrapped(&mut out, "  ", &vary.method, width);
    out.push('\n');
    wrapped(&mut out, "", &vary.caution, width);
    out
}

fn level_text(out: &mut String, level: &LevelRow, width: usize) {
    long_section(out, &format!("With {}", level.materials_in_words()), width);
    let mut line = |text: &str| wrapped(out, "  - ", text, width);
    line(&format!("passes: {}", level.passes.in_words()));
    line(&format!("fails: {}", level.fails.in_words()));
    for row in level.breaks.iter().filter(|row| row.share.count > 0) {
        line(&format!(
            "{}: {}",
            row.what.in_words(),
            row.share.in_words()
        ));
    }
    if level.undecided.count > 0 {
        line(&format!("undecided: {}", level.undecided.in_words()));
    }
    let numbers = [
        ("to spare", &level.spare_mm, 1.0, 0, "mm"),
        ("largest force at a hub", &level.hub_force_n, 1.0, 1, "N"),
        (
            "likeliest catch, of 100 samples",
            &level.catch_share,
            100.0,
            0,
            "",
        ),
        (
            "puncture to reperfusion",
            &level.reperfusion_s,
            1.0 / 60.0,
            0,
            "min",
        ),
    ];
    for (what, found, times, digits, unit) in numbers {
        if let Some(found) = found {
            line(&format!("{what}: {}", found.in_words(times, digits, unit)));
        }
    }
    if level.nobody > 0 {
        line(&format!(
            "{} draws of which nobody can be built count nowhere",
            level.nobody
        ));
    }
}

fn matters_text(out: &mut String, matters: &Matters, width: usize) {
    long_section(out, &title(matters), width);
    if matters.groups.is_empty() {
        wrapped(
            out,
            "  ",
            "it never varies, or there are too few cases",
            width,
        );
    }
    for group in &matters.groups {
        let line = format!(
            "{}: with others {}, by itself {}",
            group.group_in_words(),
            group.total.in_words(),
            group.first.in_words()
        );
        wrapped(out, "  - ", &line, width);
    }
}

/// What a table of indices is about.
pub(super) fn title(matters: &Matters) -> String {
    let result = match matters.result.as_str() {
        "spare_mm" => "what is to spare",
        _ => "whether the plan fails",
    };
    format!(
        "What matters for {result} (share of its variance; {} rows)",
        matters.rows
    )
}

/// Names of groups, for help and messages.
#[must_use]
pub fn group_names() -> String {
    let names: Vec<&str> = Group::ALL.into_iter().map(Group::name).collect();
    names.join(", ")
}
