//! How sure a rehearsal is, in words: chances in so many of a hundred, with two digits only where they are known.

use super::{Cause, Chance, HowSure, MarginKind, RestsOn, SureMargin};
use crate::units::fixed;

/// Chances below are not told as a number: one of a hundred is as fine as any of this is known.
const LEAST: f64 = 0.01;
/// From here on a chance is told as one of so few.
const ONE_OF_FEW: f64 = 0.095;
/// Shares as they are spoken, and up to where each is said.
const SPOKEN: [(f64, &str); 11] = [
    (0.111, "1 of 10"),
    (0.145, "1 of 8"),
    (0.183, "1 of 6"),
    (0.225, "1 of 5"),
    (0.29, "1 of 4"),
    (0.415, "1 of 3"),
    (0.58, "1 of 2"),
    (0.71, "2 of 3"),
    (0.775, "3 of 4"),
    (0.85, "4 of 5"),
    (0.945, "9 of 10"),
];

impl Chance {
    /// `about 1 of 5 (17–29 of 100)`.
    #[must_use]
    pub fn in_words(&self) -> String {
        let range = format!("{}–{} of 100", hundredths(self.from), hundredths(self.to));
        if self.to < LEAST {
            return "fewer than 1 of 100".to_owned();
        }
        if self.from > 1.0 - LEAST {
            return "more than 99 of 100".to_owned();
        }
        match self.usual {
            usual if usual < ONE_OF_FEW => format!("about {} of 100 ({range})", count(usual)),
            usual => {
                let spoken = SPOKEN.iter().find(|(up_to, _)| usual <= *up_to);
                let spoken = spoken.map_or("nearly all", |(_, words)| words);
                format!("about {spoken} ({range})")
            }
        }
    }

    /// The same of something that is hoped for: `> 99 of 100` where nothing is known against it.
    #[must_use]
    pub fn hoped_in_words(&self) -> String {
        match self.from > 1.0 - LEAST {
            true => "> 99 of 100".to_owned(),
            false => self.range_in_words(),
        }
    }

    /// `17–29 of 100`, for a line of a table.
    #[must_use]
    pub fn range_in_words(&self) -> String {
        match (hundredths(self.from), hundredths(self.to)) {
            (_, to) if self.to < LEAST => format!("< {} of 100", to.max(1)),
            (from, to) if from == to => format!("{from} of 100"),
            (from, to) => format!("{from}–{to} of 100"),
        }
    }
}

fn hundredths(share: f64) -> u32 {
    let mut counted = 0;
    while counted < 100 && f64::from(counted) + 0.5 <= 100.0 * share {
        counted += 1;
    }
    counted
}

/// At least one of a hundred: none is never known.
fn count(share: f64) -> u32 {
    hundredths(share).max(1)
}

impl Cause {
    /// What it is in as few words as a line leaves.
    fn in_short(&self) -> &str {
        let what = self.what.strip_suffix(" as measured").unwrap_or(&self.what);
        what.strip_prefix("the ").unwrap_or(what)
    }

    /// Under which condition a chance holds: `if the groin-to-arch length is like that of 100 elderly CTs`.
    #[must_use]
    pub fn condition(&self) -> String {
        match &self.rests_on {
            RestsOn::Assumed {
                whom: Some(whom), ..
            } => format!("if {} is like that of {whom}", self.what),
            RestsOn::Assumed { whom: None, .. } => {
                format!("if {} is as usual (from memory)", self.what)
            }
            RestsOn::Measured => format!("by {}", self.what),
            RestsOn::Made | RestsOn::Habit => {
                format!(
                    "by {} (± {} mm, from memory)",
                    self.what,
                    fixed(self.spread_mm, 0)
                )
            }
        }
    }

    /// What a measurement would leave: `measured to ± 5 mm: 3 of 100`; nothing where it cannot be measured beforehand or would
    /// change nothing that is told.
    #[must_use]
    pub fn settled(&self, now: &Chance) -> Option<String> {
        let helps = hundredths(self.short_if_measured) < hundredths(now.usual);
        let measurable = matches!(self.rests_on, RestsOn::Assumed { .. });
        (helps && measurable).then(|| {
            let to = fixed(self.measured_to_mm, 0);
            format!("measured to ± {to} mm: {}", self.left_in_words())
        })
    }

    /// Chance to be short that a measurement would leave: `3 of 100`.
    #[must_use]
    pub fn left_in_words(&self) -> String {
        match self.short_if_measured < LEAST {
            true => "fewer than 1 of 100".to_owned(),
            false => format!("{} of 100", count(self.short_if_measured)),
        }
    }
}

impl Cause {
    /// What is reckoned with, what that rests on, and what a measurement would leave.
    #[must_use]
    pub fn in_words(&self, now: &Chance) -> String {
        let rests_on = match &self.rests_on {
            RestsOn::Measured => "the error of a reading, from memory".to_owned(),
            RestsOn::Assumed {
                whom: Some(whom), ..
            } => format!("assumed, as of {whom}"),
            RestsOn::Assumed { whom: None, .. } => "assumed, from memory".to_owned(),
            RestsOn::Made => "what makers promise, from memory".to_owned(),
            RestsOn::Habit => "from memory".to_owned(),
        };
        let settled = self.settled(now);
        let settled = settled.map_or_else(String::new, |words| format!("; {words}"));
        format!(
            "{}: {} ± {} mm ({rests_on}){settled}",
            self.what,
            fixed(self.value_mm, 0),
            fixed(self.spread_mm, 0)
        )
    }
}

impl SureMargin {
    /// What runs short, as it is called in a line of its own.
    #[must_use]
    pub fn called(&self) -> String {
        let of = &self.device;
        match self.kind {
            MarginKind::Reach => of.clone(),
            MarginKind::Hold => format!("{of} in hand"),
            MarginKind::Exchange => format!("{of} as a rail"),
            MarginKind::Landing => format!("{of}'s landing"),
            MarginKind::Overlap => format!("{of} over clot"),
        }
    }

    /// `34 mm to spare ± 45`.
    #[must_use]
    pub fn spare_in_words(&self) -> String {
        let spread = fixed(self.spread_mm, 0);
        match self.margin_mm {
            mm if mm > -0.5 => format!("{} mm to spare ± {spread}", fixed(mm, 0)),
            mm => format!("{} mm short ± {spread}", fixed(-mm, 0)),
        }
    }

    /// The whole on one line: `34 mm to spare ± 45; short in 17–29 of 100: groin-to-arch length`. No chance is told
    /// below 1 of 100.
    #[must_use]
    pub fn line(&self) -> String {
        let spare = self.spare_in_words();
        let Some(cause) = self.causes.first().map(Cause::in_short) else {
            return spare;
        };
        if self.short.to < LEAST {
            return format!("{spare}, mostly by {cause}");
        }
        format!("{spare}; short in {}: {cause}", self.short.range_in_words())
    }
}

impl HowSure {
    /// How likely the plan is short of anything, under which condition, and what would settle it.
    #[must_use]
    pub fn chance_in_words(&self) -> Option<String> {
        let short = self.short?;
        let mut words = format!("short in {}", short.in_words());
        if short.to < LEAST {
            return Some(words);
        }
        if let Some(cause) = self.causes.first() {
            words.push_str(&format!(" {}", cause.condition()));
            if let Some(settled) = cause.settled(&short) {
                words.push_str(&format!("; {settled}"));
            }
        }
        Some(words)
    }
}
