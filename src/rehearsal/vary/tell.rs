//! What many cases come to, in words.

use super::indices::Index;
use super::shares::Share;
use super::summary::{Distribution, LevelRow, Vary};
use super::{Group, Importance};
use crate::units::fixed;

impl Share {
    /// `about 21 of 100 (15–29)`: whole hundredths, and none where none was seen.
    #[must_use]
    pub fn in_words(&self) -> String {
        let hundredths = |share: f64| fixed(100.0 * share, 0);
        let range = format!("{}–{}", hundredths(self.from), hundredths(self.to));
        match self.count {
            0 => format!("none of {} (0–{} of 100)", self.of, hundredths(self.to)),
            count if count == self.of => format!("all of {count} ({range} of 100)"),
            count => format!(
                "{} of 100 ({range}; {count} of {})",
                hundredths(self.share),
                self.of
            ),
        }
    }
}

impl Index {
    /// `0.84 (0.80–0.88)`, or that it is not resolved.
    #[must_use]
    pub fn in_words(&self) -> String {
        let told = |value: f64| fixed(value.max(0.0), 2);
        match self.resolved {
            true => format!(
                "{} ({}–{})",
                told(self.value),
                told(self.from),
                told(self.to)
            ),
            false => format!("not resolved ({}–{})", told(self.from), told(self.to)),
        }
    }
}

impl Importance {
    /// The group in words.
    #[must_use]
    pub fn group_in_words(&self) -> &'static str {
        let groups = Group::ALL.into_iter();
        let mut found = groups.filter(|group| group.name() == self.input);
        found.next().map_or("another input", Group::in_words)
    }
}

impl Distribution {
    /// `37 (5 of 100 below -36, 5 above 101)`.
    #[must_use]
    pub fn in_words(&self, times: f64, digits: usize, unit: &str) -> String {
        let told = |value: f64| fixed(times * value, digits);
        format!(
            "{} {unit} (5 of 100 below {}, 5 above {})",
            told(self.p50),
            told(self.p5),
            told(self.p95)
        )
    }
}

impl LevelRow {
    /// What its materials are.
    #[must_use]
    pub fn materials_in_words(&self) -> &'static str {
        match self.level.as_str() {
            "least" => "friction and stiffness all at their least",
            "most" => "friction and stiffness all at their most",
            _ => "friction and stiffness as usual",
        }
    }
}

impl Vary {
    /// The level of usual materials.
    #[must_use]
    pub fn usual(&self) -> Option<&LevelRow> {
        self.levels.iter().find(|row| row.level == "usual")
    }

    /// How often the plan fails, as usual and from least to most.
    #[must_use]
    pub fn headline(&self) -> Option<String> {
        let usual = self.usual()?;
        let others = self.levels.iter().filter(|row| row.level != "usual");
        let others: Vec<String> = others
            .map(|row| format!("{} with {}", row.fails.in_words(), row.materials_in_words()))
            .collect();
        let others = match others.is_empty() {
            true => String::new(),
            false => format!("; {}", others.join("; ")),
        };
        Some(format!(
            "Of patients like this one the plan fails in {}{others}.",
            usual.fails.in_words()
        ))
    }
}
