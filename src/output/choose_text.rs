//! The stacks of a cabinet, as text.

use super::grid::Grid;
use super::table::{long_section, section, wrapped};
use crate::procedure::Likelihood;
use crate::rehearsal::Verdict;
use crate::rehearsal::choose::{ByRods, Choice, Chosen, Rejected, Shortest, StackOf, Why, Wish};
use crate::units::fixed;

/// Reasons that are told where not all are asked for.
const REASONS: usize = 7;

/// A choice for a terminal of `columns` characters: the best `told` stacks (none: all of them), why the others do not do it, which guide is
/// long enough.
#[must_use]
pub fn choice_text(choice: &Choice, told: Option<usize>, columns: u16) -> String {
    let mut out = String::new();
    let width = usize::from(columns);
    wrapped(&mut out, "", &choice.scene, width);
    wrapped(&mut out, "vessel: ", &choice.vessel, width);
    wrapped(&mut out, "", &headline(choice), width);
    if let Some(wish) = &choice.wish {
        wrapped(
            &mut out,
            "asked for beside the script: ",
            &wished(wish),
            width,
        );
    }
    if told.is_none() {
        roles(&mut out, choice, width);
    }
    best(&mut out, choice, told, columns);
    rejected(&mut out, choice, told, width);
    if let Some(shortest) = &choice.shortest {
        which_guide(&mut out, shortest, told.is_none(), width);
    }
    section(&mut out, "How this was had");
    wrapped(&mut out, "  ", &choice.method, width);
    if told.is_some() {
        let line = "Everything: --all; for machines: --json; a stack in full: `run --set stack[0].file=cabinet:NAME`.";
        wrapped(&mut out, "  ", line, width);
    }
    out.push('\n');
    wrapped(&mut out, "", &choice.caution, width);
    out
}

/// `17,280 stacks`.
fn stacks(count: u64) -> String {
    let digits = count.to_string();
    let mut told = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            told.push(',');
        }
        told.push(digit);
    }
    match count {
        1 => "1 stack".to_owned(),
        _ => format!("{told} stacks"),
    }
}

fn headline(choice: &Choice) -> String {
    let all = stacks(choice.stacks);
    match choice.doing {
        0 => format!("{all} of the cabinet were tried, and none does this by ruler."),
        doing => format!(
            "{all} of the cabinet were tried: by ruler {} do this, {} do not.",
            stacks(doing),
            stacks(choice.stacks.saturating_sub(doing))
        ),
    }
}

fn wished(wish: &Wish) -> String {
    let by = match wish.by_mm {
        mm if mm < 0.0 => format!("{} mm short of", fixed(-mm, 0)),
        mm if mm > 0.0 => format!("{} mm beyond", fixed(mm, 0)),
        _ => "as far as".to_owned(),
    };
    format!(
        "the {} reaches {by} {}, by its length",
        wish.device, wish.place
    )
}

fn roles(out: &mut String, choice: &Choice, width: usize) {
    section(out, "What may take which role");
    for role in choice.roles.iter().filter(|role| role.devices.len() > 1) {
        let line = format!("{}: {}", role.role, role.devices.join(", "));
        wrapped(out, "  - ", &line, width);
    }
}

fn best(out: &mut String, choice: &Choice, told: Option<usize>, columns: u16) {
    if choice.ranked.is_empty() {
        return;
    }
    let width = usize::from(columns);
    long_section(out, "The best of them, and how sure", width);
    let header = [
        "",
        "goes through, of 100",
        "to spare, mm",
        "bare edges",
        "neck left, %",
        "min to reperfusion",
        "equal to it",
    ];
    let mut table = Grid::new(1, &header).right([3, 4, 5, 6]);
    let rows = &choice.ranked[..told.unwrap_or(usize::MAX).min(choice.ranked.len())];
    for (i, row) in rows.iter().enumerate() {
        table.row(cells(i + 1, row));
    }
    out.push_str(&table.text(columns));
    let alike = rows
        .iter()
        .all(|row| row.clot_stripped == rows[0].clot_stripped);
    for (i, row) in rows.iter().enumerate() {
        let changes = match row.changes.is_empty() {
            true => "as the scene has it".to_owned(),
            false => format!("the scene, but {}", devices(&row.changes)),
        };
        let mut line = format!("{}: {changes}", i + 1);
        if let Some(wish) = &row.wish {
            line.push_str(&format!(
                "; what was asked for has {} mm to spare and suffices in {}",
                fixed(wish.spare_mm, 0),
                wish.suffices.hoped_in_words()
            ));
        }
        if !alike {
            line.push_str(&format!("; {}", clot(row)));
        }
        if let Some(rods) = &row.by_rods {
            line.push_str(&format!(". {}", by_rods(rods)));
        }
        wrapped(out, "  ", &line, width);
        if told.is_none() && !row.alike.is_empty() {
            let roles = row.alike.iter();
            let roles: Vec<String> = roles
                .map(|role| format!("{} {}", role.role, role.devices.join(" or ")))
                .collect();
            wrapped(
                out,
                "    ",
                &format!("equal to it with {}", roles.join("; ")),
                width,
            );
        }
    }
    if alike {
        wrapped(
            out,
            "  ",
            &format!("In all of these {}.", clot(&rows[0])),
            width,
        );
    }
    if rows.len() < choice.ranked.len() {
        let more = choice.ranked.len() - rows.len();
        let line = format!("{more} further ones that differ in this are told by --all.");
        wrapped(out, "  ", &line, width);
    }
    wrapped(out, "  ", &choice.order, width);
}

fn cells(number: usize, row: &Chosen) -> [String; 7] {
    let star = if row.front { "*" } else { "" };
    let spare = row.spare.as_ref();
    let neck = row
        .neck_left_percent
        .map_or_else(String::new, |p| fixed(p, 0));
    let minutes = row
        .reperfusion_s
        .map_or_else(|| "never".to_owned(), |s| fixed(s / 60.0, 0));
    [
        format!("{number}{star}"),
        row.goes_through.hoped_in_words().replace(" of 100", ""),
        spare.map_or_else(String::new, |spare| {
            format!("{} ({})", fixed(spare.margin_mm, 0), spare.device)
        }),
        row.bare_edges.to_string(),
        neck,
        minutes,
        stacks(row.stacks)
            .replace(" stacks", "")
            .replace(" stack", ""),
    ]
}

const fn clot(row: &Chosen) -> &'static str {
    match row.clot_stripped {
        Likelihood::Unlikely => "clot is hardly stripped on its way out",
        Likelihood::Possible => "clot may be stripped on its way out",
        Likelihood::Likely => "clot is likely stripped on its way out",
    }
}

fn devices(stack: &[StackOf]) -> String {
    let each = stack
        .iter()
        .map(|row| format!("{} {}", row.role, row.device));
    each.collect::<Vec<_>>().join(", ")
}

fn by_rods(rods: &ByRods) -> String {
    let mut words = match (rods.verdict, &rods.breaks_at) {
        (Verdict::Passes, _) => "With rods it passes".to_owned(),
        (Verdict::Fails, Some((step, why))) => format!("With rods it FAILS at step {step}: {why}"),
        (Verdict::Undecided, Some((step, why))) => {
            format!("With rods it is UNDECIDED at step {step}: {why}")
        }
        (verdict, None) => format!("With rods it {}", verdict.in_words()),
    };
    if let Some(goes) = &rods.goes_through {
        words.push_str(&format!(", goes through in {}", goes.hoped_in_words()));
    }
    if let Some(spare) = &rods.spare {
        words.push_str(&format!(
            ", {} mm to spare ({})",
            fixed(spare.margin_mm, 0),
            spare.device
        ));
    }
    let [least, usual, most] = rods.hub_force_n;
    if let Some(usual) = usual {
        words.push_str(&format!(", up to {} N at a hub", fixed(usual, 1)));
        if let (Some(least), Some(most)) = (least, most) {
            words.push_str(&format!(" ({} to {})", fixed(least, 1), fixed(most, 1)));
        }
    }
    words
}

fn rejected(out: &mut String, choice: &Choice, told: Option<usize>, width: usize) {
    if choice.rejected.is_empty() {
        return;
    }
    section(out, "Why the others do not, by their first reason");
    let most = told.map_or(usize::MAX, |_| REASONS);
    for row in choice.rejected.iter().take(most) {
        let mut line = format!("{}: {}", stacks(row.stacks), why(row));
        if told.is_none() {
            line.push_str(&format!(
                "; the first: {} ({})",
                row.example,
                devices(&row.stack)
            ));
        }
        wrapped(out, "  - ", &line, width);
    }
    if let Some(rest) = choice.rejected.get(most..).filter(|rest| !rest.is_empty()) {
        let left: u64 = rest.iter().map(|row| row.stacks).sum();
        let line = format!(
            "{}: further reasons ({}, told by --all)",
            stacks(left),
            rest.len()
        );
        wrapped(out, "  - ", &line, width);
    }
}

fn why(row: &Rejected) -> String {
    let step = row
        .step
        .map_or_else(String::new, |step| format!(" (as at step {step})"));
    match &row.why {
        Why::DoesNotFit { inside, around } => {
            let all: Vec<String> = inside.iter().map(|name| format!("the {name}")).collect();
            match all.as_slice() {
                [one] => format!("{one} does not fit the {around}"),
                several => format!("{} do not fit the {around} together", several.join(" and ")),
            }
        }
        Why::TooShort { device } => format!("the {device} is too short{step}"),
        Why::Catches { device } => format!("the {device} catches at the stent's edge{step}"),
        Why::DoesNotReach { device } => format!("the {device} does not reach what was asked for"),
        Why::Other { .. } if row.undecided => format!("not known{step}: {}", row.example),
        Why::Other { step, .. } => format!("step {step}, as in: {}", row.example),
    }
}

fn which_guide(out: &mut String, shortest: &Shortest, all: bool, width: usize) {
    let of_100 = fixed(100.0 * shortest.wished, 0);
    section(
        out,
        &format!(
            "The shortest {} that reaches in {of_100} of 100",
            shortest.role
        ),
    );
    let reaches = |row: &crate::rehearsal::choose::ReachOf| {
        format!(
            "{}, {} cm: {}",
            row.device,
            fixed(row.usable_length_mm / 10.0, 0),
            row.reaches.hoped_in_words()
        )
    };
    let mut line = match (&shortest.found, shortest.all.last()) {
        (Some(found), _) => reaches(found),
        (None, Some(longest)) => {
            format!("none of the cabinet; the longest is {}", reaches(longest))
        }
        (None, None) => return,
    };
    if let Some(needed_mm) = shortest.needed_mm {
        line.push_str(&format!(
            ". {} cm would be enough",
            fixed((needed_mm / 10.0).ceil(), 0)
        ));
    }
    wrapped(out, "  - ", &line, width);
    if all {
        for row in &shortest.all {
            wrapped(out, "  - ", &reaches(row), width);
        }
    }
}
