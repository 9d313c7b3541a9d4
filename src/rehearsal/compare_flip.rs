//! Under what change one plan overtakes another on the clock.

use super::compare::Judged;
use super::outcome::Verdict;
use crate::procedure::{Clock, Durations, NetworkError, Spread};
use serde::{Deserialize, Serialize};

/// Times closer than this are equal, s: no clock in a suite tells them apart.
const EQUAL_S: f64 = 1.0;
/// Values tried over a range before the border between two of them is halved: borders closer
/// together than a sixtieth of the range are not told apart.
const TRIED: u32 = 60;
/// Halvings of a border: 2^-20 of a sixtieth of the range, far below a second.
const HALVINGS: u32 = 20;

/// What is changed to see whether the order turns round.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Changed {
    /// The least time the open retriever stays, min.
    Dwell,
    /// A factor on the handling of the neck: loading and removing by a side port, stent, balloon.
    NeckWork,
}

/// Who is sooner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sooner {
    /// The plan ranked first.
    First,
    /// Both within a second.
    Equal,
    /// The other one.
    Other,
}

/// One stretch of values over which the same plan is sooner.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stretch {
    /// From this value.
    pub from: f64,
    /// To this one.
    pub to: f64,
    /// Who is sooner meanwhile.
    pub sooner: Sooner,
}

/// How the first and another plan compare in time to reperfusion while one value changes and all
/// others stay: the usual course of each.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flip {
    /// The plan ranked first.
    pub first: String,
    /// The other plan.
    pub other: String,
    /// What changes.
    pub changed: Changed,
    /// Its value now.
    pub now: f64,
    /// Stretches of the range looked at, in order.
    pub stretches: Vec<Stretch>,
}

impl Changed {
    /// Range looked at: 0 to 15 min (a wait that long is unheard of), a quarter to four times.
    const fn range(self) -> (f64, f64) {
        match self {
            Self::Dwell => (0.0, 15.0),
            Self::NeckWork => (0.25, 4.0),
        }
    }

    fn now(self, table: &Durations) -> f64 {
        match self {
            Self::Dwell => table.dwell_s.value.usual() / 60.0,
            Self::NeckWork => 1.0,
        }
    }

    /// The table with the value changed; ranges hold no value that a spread refuses.
    fn apply(self, table: &Durations, value: f64) -> Durations {
        let mut table = table.clone();
        match self {
            Self::Dwell => {
                if let Some(dwell_s) = Spread::fixed(60.0 * value) {
                    table.dwell_s.value = dwell_s;
                }
            }
            Self::NeckWork => {
                let h = &mut table.handling;
                for work in [
                    &mut h.load_rapid,
                    &mut h.remove,
                    &mut h.deploy_stent,
                    &mut h.inflate,
                    &mut h.deflate,
                ] {
                    let (least, usual, most) = work.takes_s.into();
                    if let Ok(takes_s) =
                        Spread::try_from((value * least, value * usual, value * most))
                    {
                        work.takes_s = takes_s;
                    }
                }
            }
        }
        table
    }
}

/// The first plan against every other that holds and reperfuses.
pub(super) fn flips(judged: &[Judged<'_>]) -> Result<Vec<Flip>, NetworkError> {
    let Some((first, others)) = judged.split_first() else {
        return Ok(Vec::new());
    };
    let mut found = Vec::new();
    if first.row.usual.reperfusion_s.is_none() {
        return Ok(found);
    }
    for other in others {
        if other.row.verdict == Verdict::Fails || other.row.usual.reperfusion_s.is_none() {
            continue;
        }
        for changed in [Changed::Dwell, Changed::NeckWork] {
            found.push(Flip {
                first: first.row.name.clone(),
                other: other.row.name.clone(),
                changed,
                now: changed.now(&first.candidate.durations),
                stretches: stretches(first, other, changed)?,
            });
        }
    }
    Ok(found)
}

fn stretches(
    first: &Judged<'_>,
    other: &Judged<'_>,
    changed: Changed,
) -> Result<Vec<Stretch>, NetworkError> {
    let (from, to) = changed.range();
    let sooner = |value: f64| -> Result<Sooner, NetworkError> {
        let ahead_s = reperfusion_s(other, changed, value)? - reperfusion_s(first, changed, value)?;
        Ok(if ahead_s > EQUAL_S {
            Sooner::First
        } else if ahead_s < -EQUAL_S {
            Sooner::Other
        } else {
            Sooner::Equal
        })
    };
    let mut stretches = vec![Stretch {
        from,
        to: from,
        sooner: sooner(from)?,
    }];
    for i in 1..=TRIED {
        let value = from + (to - from) * f64::from(i) / f64::from(TRIED);
        let here = sooner(value)?;
        let Some(last) = stretches.last_mut() else {
            break;
        };
        if here == last.sooner {
            last.to = value;
            continue;
        }
        let (mut below, mut above) = (last.to, value);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(below, above);
            if sooner(middle)? == last.sooner {
                below = middle;
            } else {
                above = middle;
            }
        }
        last.to = below;
        stretches.push(Stretch {
            from: above,
            to: value,
            sooner: here,
        });
    }
    Ok(stretches)
}

fn reperfusion_s(judged: &Judged<'_>, changed: Changed, value: f64) -> Result<f64, NetworkError> {
    let candidate = judged.candidate;
    let table = changed.apply(&candidate.durations, value);
    let clock = Clock::of(&candidate.plan, &table, &candidate.loads, &judged.passed)?;
    let times = clock.times(&clock.usual());
    Ok(times.reperfusion_s.unwrap_or(f64::INFINITY))
}
