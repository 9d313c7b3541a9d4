//! A comparison in words: why the first is first, and what would turn the order round.

use super::compare::CompareRow;
use super::compare_flip::{Changed, Flip, Sooner, Stretch};
use super::outcome::Verdict;

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
        (Verdict::Fails, _) => {
            let (step, text) = first.breaks_at.clone().unwrap_or_default();
            format!(
                "No plan holds; {} is listed first and breaks at step {step}: {text}.",
                first.name
            )
        }
        (Verdict::Passes, None) => format!(
            "{} holds, but its script never brings the clot out.",
            first.name
        ),
        (Verdict::Passes, Some(p)) => format!(
            "{} comes first: it holds{}{}, and reperfuses after {} (10 to 90 %: {} to {}).",
            first.name,
            if first.let_go.is_empty() {
                ", never lets go of access with work left".to_owned()
            } else {
                format!(", lets go of access {}", times(first.let_go.len()))
            },
            if first.bare_edges == 0 {
                ", draws no open retriever bare across a stent's edge".to_owned()
            } else {
                format!(", draws the open retriever bare across a stent's edge {}", times(first.bare_edges))
            },
            min(p.p50_s),
            min(p.p10_s),
            min(p.p90_s)
        ),
    }];
    lines.extend(others.iter().map(|other| against(first, other)));
    lines
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
            "{name} falls behind because it lets go of access across {across} at step {step} with work left{but_sooner}."
        );
    }
    if other.bare_edges != first.bare_edges {
        return format!(
            "{name} falls behind because the open retriever is drawn bare across a stent's edge {}{but_sooner}.",
            times(other.bare_edges)
        );
    }
    match ahead_s {
        Some(s) if s < -1.0 => format!("{name} falls behind because it reperfuses {} later.", min(-s)),
        Some(_) => format!("{name} is as good within a second; it stands behind by order of naming."),
        None => format!("{name} falls behind because its script never brings the clot out."),
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
    let (what, unit) = match flip.changed {
        Changed::Dwell => ("the retriever's least wait", " min"),
        Changed::NeckWork => ("a factor on the handling of the neck", ""),
    };
    let who = |sooner: Sooner| match sooner {
        Sooner::First => format!("{} is sooner than {}", flip.first, flip.other),
        Sooner::Other => format!("{} is sooner than {}", flip.other, flip.first),
        Sooner::Equal => format!("{} and {} are equally soon", flip.first, flip.other),
    };
    match flip.stretches.as_slice() {
        [] => String::new(),
        [Stretch { from, to, sooner }] => format!(
            "By time alone, {} whatever {what} between {from:.1} and {to:.1}{unit} (now {:.1}).",
            who(*sooner),
            flip.now
        ),
        [first, rest @ ..] => {
            let mut text = format!(
                "By time alone, with {what} up to {:.1}{unit} {}",
                first.to,
                who(first.sooner)
            );
            for stretch in rest {
                text += &format!("; from {:.1}{unit} on {}", stretch.from, who(stretch.sooner));
            }
            format!("{text} (now {:.1}{unit}).", flip.now)
        }
    }
}
