//! A comparison in words: why the first is first, and what would turn the order round.

use super::compare::CompareRow;
use super::compare_flip::{Changed, Flip, Sooner, Stretch};
use super::outcome::Verdict;
use crate::procedure::{Likelihood, spoken};

/// Minutes with one digit.
fn min(s: f64) -> String {
    format!("{:.1} min", s / 60.0)
}

/// Why the first is first: one line for itself, one for each of the others.
pub(super) fn why(rows: &[CompareRow]) -> Vec<String> {
    let Some((first, others)) = rows.split_first() else {
        return Vec::new();
    };
    let mut lines = vec![match (first.verdict, first.reperfusion) {
        (Verdict::Undecided, _) => {
            "No plan is decided: whether any of them holds is not known.".to_owned()
        }
        (Verdict::Fails, _) => {
            let (step, text) = first.breaks_at.clone().unwrap_or_default();
            format!(
                "No plan is known to hold; {} is listed first and breaks at step {step}: {text}.",
                first.name
            )
        }
        (Verdict::Passes, None) => format!(
            "{} holds, but its script never brings the clot out.",
            first.name
        ),
        (Verdict::Passes, Some(p)) => format!(
            "{} stands first: it holds{}{}, leaves the neck at {} (NASCET, an estimate), and reperfuses after {} (10 to 90 %: {} to {}).",
            first.name,
            if first.let_go.is_empty() {
                ", never lets go of access with work left".to_owned()
            } else {
                format!(", lets go of access {}", times(first.let_go.len()))
            },
            if first.bare_edges == 0 {
                ", draws no open retriever bare across a stent's edge".to_owned()
            } else {
                format!(
                    ", draws the open retriever bare across a stent's edge {}",
                    times(first.bare_edges)
                )
            },
            left(first),
            min(p.p50_s),
            min(p.p10_s),
            min(p.p90_s)
        ),
    }];
    let decided = others.iter().filter(|o| o.verdict != Verdict::Undecided);
    lines.extend(decided.map(|other| against(first, other)));
    let unknown = rows.iter().filter(|row| row.verdict == Verdict::Undecided);
    lines.extend(unknown.map(not_decided));
    lines
}

/// What is not known of a plan: it stands apart, better or worse than none.
fn not_decided(row: &CompareRow) -> String {
    let more = match row.undecided.len() {
        0 | 1 => String::new(),
        n => format!(" ({} further ones like it)", n - 1),
    };
    let (step, text) = row.undecided.first().cloned().unwrap_or_default();
    format!(
        "{} is undecided and stands apart: step {step}, {text}{more}.",
        row.name
    )
}

/// The first criterion in which another plan falls behind, and what it has for itself.
fn against(first: &CompareRow, other: &CompareRow) -> String {
    let name = &other.name;
    let ahead_s = first
        .reperfusion
        .zip(other.reperfusion)
        .map(|(a, b)| a.p50_s - b.p50_s);
    let but_sooner = match ahead_s {
        Some(s) if s > 1.0 => format!(" though it reperfuses {} sooner", min(s)),
        Some(s) if s < -1.0 => format!(" and it reperfuses {} later", min(-s)),
        _ => String::new(),
    };
    if other.verdict != first.verdict {
        let (step, text) = other.breaks_at.clone().unwrap_or_default();
        return format!("{name} does not hold: step {step}, {text}.");
    }
    if other.let_go.len() != first.let_go.len() {
        let (across, step) = other.let_go.first().cloned().unwrap_or_default();
        return format!(
            "{name} falls behind because it lets go of access across the {} at step {step} with work left{but_sooner}.",
            spoken(&across)
        );
    }
    if other.bare_edges != first.bare_edges {
        return format!(
            "{name} falls behind because the open retriever is drawn bare across a stent's edge {}{but_sooner}.",
            times(other.bare_edges)
        );
    }
    if other.neck_class() != first.neck_class() {
        return format!(
            "{name} falls behind because it leaves the neck at {} against {} (NASCET, estimates){but_sooner}.",
            left(other),
            left(first)
        );
    }
    if other.class() != first.class() {
        let likely = other.clot_stripped.map_or("unlikely", Likelihood::in_words);
        return format!(
            "{name} falls behind because that clot is stripped on its way out is {likely}{but_sooner}."
        );
    }
    if let (true, Some(own), Some(others)) = (
        first.clearly_surer(other),
        first.goes_through,
        other.goes_through,
    ) {
        return format!(
            "{name} falls behind because by lengths all goes through in {} against {}{but_sooner}.",
            others.hoped_in_words(),
            own.hoped_in_words()
        );
    }
    match ahead_s {
        Some(_) if first.clearly_sooner(other) => {
            format!(
                "{name} falls behind because it reperfuses later, by more than either varies{but_sooner}."
            )
        }
        Some(s) => format!(
            "{name} differs from {} in nothing that matters: it reperfuses {} {}, within what both vary by{}.",
            first.name,
            min(s.abs()),
            if s > 0.0 { "sooner" } else { "later" },
            but_wider(first, other)
        ),
        None => format!("{name} falls behind because its script never brings the clot out."),
    }
}

/// What is left of a stenosis.
fn left(row: &CompareRow) -> String {
    row.neck_left_percent
        .map_or_else(|| "nothing".to_owned(), |p| format!("{p:.0} %"))
}

/// What a slower plan leaves in the neck, where that is clearly less narrow (5 percentage points are
/// what two readers of an angiogram differ by; from memory).
fn but_wider(first: &CompareRow, other: &CompareRow) -> String {
    match (first.neck_left_percent, other.neck_left_percent) {
        (Some(a), Some(b)) if b < a - 5.0 => {
            format!(", but leaves the neck wider (NASCET {b:.0} % against {a:.0} %, estimates)")
        }
        _ => String::new(),
    }
}

fn times(n: usize) -> String {
    match n {
        1 => "once".into(),
        2 => "twice".into(),
        n => format!("{n} times"),
    }
}

/// One flip in words.
pub(super) fn flip(flip: &Flip) -> String {
    let (what, unit, digits) = match flip.changed {
        Changed::Dwell => ("the retriever's least wait", " min", 1),
        Changed::NeckWork => ("a factor on the handling of the neck", "", 2),
    };
    let figure = |value: f64| format!("{value:.digits$}{unit}");
    let who = |sooner: Sooner| match sooner {
        Sooner::First => format!("{} is sooner than {}", flip.first, flip.other),
        Sooner::Other => format!("{} is sooner than {}", flip.other, flip.first),
        Sooner::Equal => format!("{} and {} are equally soon", flip.first, flip.other),
    };
    let now = figure(flip.now);
    match flip.stretches.as_slice() {
        [] => String::new(),
        [Stretch { from, to, sooner }] => format!(
            "By time alone, {} for {what} anywhere from {} to {} (now {now}).",
            who(*sooner),
            figure(*from),
            figure(*to)
        ),
        [first, rest @ ..] => {
            let mut text = format!(
                "By time alone, with {what} up to {} {}",
                figure(first.to),
                who(first.sooner)
            );
            for (i, stretch) in rest.iter().enumerate() {
                // where one overtakes the other both are equal for a moment: not worth a word
                let passing = stretch.sooner == Sooner::Equal
                    && rest.get(i + 1).is_some()
                    && figure(stretch.to - stretch.from + flip.now) == now;
                if !passing {
                    text += &format!("; from {} on {}", figure(stretch.from), who(stretch.sooner));
                }
            }
            format!("{text} (now {now}).")
        }
    }
}
