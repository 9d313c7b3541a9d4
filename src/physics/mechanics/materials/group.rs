//! One group of a table of materials: its lines with their ranges, as they are given, and as plain numbers.

use crate::math;

/// Writes the three structs of a group: with ranges, as a file gives it (any line may be left out), and as
/// plain numbers at one end of the ranges.
///
/// A line is `name: least allowed to most allowed, level`; the last says which end a [`Level`](super::Level) takes: `level` its own, or
/// `Level::Usual` for a value that pushes forces neither up nor down.
macro_rules! group {
    (
        $(#[$doc:meta])*
        $ranged:ident, $given:ident, $values:ident {
            $($(#[$line_doc:meta])* $line:ident: $least:literal to $most:literal, $at:ident;)*
        }
    ) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, serde::Serialize)]
        #[non_exhaustive]
        pub struct $ranged {
            $($(#[$line_doc])* pub $line: Ranged,)*
        }

        $(#[$doc])*
        ///
        /// As a file gives it: lines may be left out.
        #[derive(Debug, Clone, Default, PartialEq, serde::Deserialize)]
        #[serde(deny_unknown_fields, default)]
        #[non_exhaustive]
        pub struct $given {
            $($(#[$line_doc])* pub $line: Option<Ranged>,)*
        }

        $(#[$doc])*
        ///
        /// As plain numbers.
        #[derive(Debug, Clone, Copy, PartialEq)]
        #[non_exhaustive]
        pub struct $values {
            $($(#[$line_doc])* pub $line: f64,)*
        }

        impl $ranged {
            /// Plain numbers at one end of the ranges.
            #[must_use]
            pub const fn at(&self, level: Level) -> $values {
                $values { $($line: self.$line.at(group!(@ $at level)),)* }
            }

            /// The lines by their names, in order.
            #[must_use]
            pub fn lines(&self) -> Vec<(&'static str, &Ranged)> {
                vec![$((stringify!($line), &self.$line),)*]
            }
        }

        impl $values {
            /// The values a share (0 to 1) of the way to others, by equal factors.
            #[must_use]
            pub(super) fn towards(&self, others: &Self, share: f64) -> Self {
                Self { $($line: part_way(self.$line, others.$line, share),)* }
            }
        }

        impl $given {
            /// The group with what is left out taken from another one.
            #[must_use]
            pub fn over(self, other: &$ranged) -> $ranged {
                $ranged { $($line: self.$line.unwrap_or_else(|| other.$line.clone()),)* }
            }

            /// The group where every line is given.
            ///
            /// # Errors
            /// The name of the first line that is missing.
            pub fn whole(self) -> Result<$ranged, &'static str> {
                Ok($ranged { $($line: self.$line.ok_or(stringify!($line))?,)* })
            }

            /// Lines that reach further than can be: name, what is found, and the limits.
            pub(super) fn beyond(&self) -> Vec<(&'static str, f64, [f64; 2])> {
                let lines = [$((stringify!($line), self.$line.as_ref(), [$least, $most]),)*];
                let wrong = lines.into_iter().filter_map(|(name, line, [least, most])| {
                    let mut ends = [Level::Least, Level::Most].map(|level| line.map(|l| l.at(level))).into_iter().flatten();
                    let found = ends.find(|found| !(least..=most).contains(found))?;
                    Some((name, found, [least, most]))
                });
                wrong.collect()
            }
        }
    };
    (@ level $level:ident) => { $level };
    (@ usual $level:ident) => { Level::Usual };
}
pub(super) use group;

/// A share of the way from one value to another, by equal factors where there are such.
pub(super) fn part_way(from: f64, to: f64, share: f64) -> f64 {
    match from > 0.0 && to > 0.0 {
        true => from * math::pow(to / from, share),
        false => from + share * (to - from),
    }
}
