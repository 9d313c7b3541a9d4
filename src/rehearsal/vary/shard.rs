//! A population in parts that are worked out apart.

use std::fmt;
use std::ops::Range;
use std::str::FromStr;

/// Cases that are worked out and kept together.
pub const CASES_TOGETHER: u64 = 16;
/// Most parts of a population: a job array of a large cluster has no more (assumed).
pub const MOST_SHARDS: u64 = 100_000;

/// One part of so many: which cases are its own follows from a case's number and from how many parts there are. Sixteen
/// cases go to the first, the next sixteen to the second, and round again, so that a population that grows leaves every
/// case where it is, and what takes long is spread over all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Shard {
    number: u64,
    of: u64,
}

impl Shard {
    /// The whole population.
    pub const WHOLE: Self = Self { number: 1, of: 1 };

    /// The part of a number from 1; none where there is no such part, or there are more than [`MOST_SHARDS`].
    #[must_use]
    pub const fn new(number: u64, of: u64) -> Option<Self> {
        match number >= 1 && number <= of && of <= MOST_SHARDS {
            true => Some(Self { number, of }),
            false => None,
        }
    }

    /// Its number, from 1.
    #[must_use]
    pub const fn number(self) -> u64 {
        self.number
    }

    /// How many there are.
    #[must_use]
    pub const fn of(self) -> u64 {
        self.of
    }

    /// Whether a case is its own.
    #[must_use]
    pub const fn holds(self, case: u64) -> bool {
        (case / CASES_TOGETHER) % self.of == self.number - 1
    }

    /// Its cases below a number, in stretches that are kept together.
    pub fn blocks(self, cases: u64) -> impl Iterator<Item = Range<u64>> + use<> {
        let first = (self.number - 1) * CASES_TOGETHER;
        let step = usize::try_from(self.of * CASES_TOGETHER).unwrap_or(usize::MAX);
        let starts = (first..cases).step_by(step);
        starts.map(move |from| from..(from + CASES_TOGETHER).min(cases))
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts = text.split_once('/');
        let parts = parts.and_then(|(number, of)| Some((number.parse().ok()?, of.parse().ok()?)));
        parts
            .and_then(|(number, of)| Self::new(number, of))
            .ok_or_else(|| {
                format!("a part and how many there are, as `2/3`: from 1 on, at most {MOST_SHARDS}")
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_every_case_lies_in_one_shard_and_stays_there() {
        for of in [1, 2, 3, 7, 40] {
            for cases in [1, 15, 16, 17, 480, 1003] {
                let mut all: Vec<u64> = Vec::new();
                for number in 1..=of {
                    let shard = Shard::new(number, of).unwrap();
                    let own: Vec<u64> = shard.blocks(cases).flatten().collect();
                    assert!(own.iter().all(|case| shard.holds(*case)));
                    let longer: Vec<u64> = shard.blocks(2000).flatten().collect();
                    assert!(longer.starts_with(&own), "{shard} of {cases}");
                    all.extend(own);
                }
                all.sort_unstable();
                assert!(all.into_iter().eq(0..cases), "{cases} in {of}");
            }
        }
    }

    #[test]
    fn exact_shards_are_read_as_they_are_told() {
        assert_eq!("2/3".parse(), Ok(Shard { number: 2, of: 3 }));
        assert_eq!(Shard { number: 2, of: 3 }.to_string(), "2/3");
        for wrong in [
            "0/3", "4/3", "2", "2/", "-1/3", "2/3/4", "1/100001", "a/b", "",
        ] {
            assert!(wrong.parse::<Shard>().is_err(), "{wrong}");
        }
    }
}
