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
    /// The better ranked plan.
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

/// How two plans, the better ranked one first, compare in time to reperfusion while one value changes and all
/// others stay: the mean course of each.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flip {
    /// The better ranked plan.
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
            Self::Dwell => table.dwell_s.value.mean() / 60.0,
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

/// Every pair of plans that hold and reperfuse: those with the first one, and of the others those
/// whose order by time changes within the range.
pub(super) fn flips(judged: &[Judged<'_>]) -> Result<Vec<Flip>, NetworkError> {
    let hold: Vec<&Judged<'_>> = judged
        .iter()
        .filter(|j| j.row.verdict == Verdict::Passes && j.row.expected.reperfusion_s.is_some())
        .collect();
    let mut found = Vec::new();
    for changed in [Changed::Dwell, Changed::NeckWork] {
        let tried = hold
            .iter()
            .map(|j| tried(j, changed))
            .collect::<Result<Vec<_>, _>>()?;
        for a in 0..hold.len() {
            for b in a + 1..hold.len() {
                let stretches = stretches((hold[a], &tried[a]), (hold[b], &tried[b]), changed)?;
                if a == 0 || stretches.len() > 1 {
                    found.push(Flip {
                        first: hold[a].row.name.clone(),
                        other: hold[b].row.name.clone(),
                        changed,
                        now: changed.now(&hold[a].candidate.durations),
                        stretches,
                    });
                }
            }
        }
    }
    Ok(found)
}

/// The values tried, evenly over the range.
fn value(changed: Changed, i: u32) -> f64 {
    let (from, to) = changed.range();
    from + (to - from) * f64::from(i) / f64::from(TRIED)
}

/// Time to reperfusion at every value tried, s.
fn tried(judged: &Judged<'_>, changed: Changed) -> Result<Vec<f64>, NetworkError> {
    (0..=TRIED)
        .map(|i| reperfusion_s(judged, changed, value(changed, i)))
        .collect()
}

fn sooner(first_s: f64, other_s: f64) -> Sooner {
    if other_s - first_s > EQUAL_S {
        Sooner::First
    } else if first_s - other_s > EQUAL_S {
        Sooner::Other
    } else {
        Sooner::Equal
    }
}

fn stretches(
    (first, first_s): (&Judged<'_>, &[f64]),
    (other, other_s): (&Judged<'_>, &[f64]),
    changed: Changed,
) -> Result<Vec<Stretch>, NetworkError> {
    let mut stretches: Vec<Stretch> = Vec::new();
    let tried = (0..=TRIED).zip(first_s.iter().zip(other_s));
    for (i, (first_s, other_s)) in tried {
        let (to, here) = (value(changed, i), sooner(*first_s, *other_s));
        let Some(last) = stretches.last_mut() else {
            stretches.push(Stretch {
                from: to,
                to,
                sooner: here,
            });
            continue;
        };
        if here == last.sooner {
            last.to = to;
            continue;
        }
        let (mut below, mut above) = (last.to, to);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(below, above);
            let there = sooner(
                reperfusion_s(first, changed, middle)?,
                reperfusion_s(other, changed, middle)?,
            );
            if there == last.sooner {
                below = middle;
            } else {
                above = middle;
            }
        }
        last.to = below;
        stretches.push(Stretch {
            from: above,
            to,
            sooner: here,
        });
    }
    Ok(stretches)
}

fn reperfusion_s(judged: &Judged<'_>, changed: Changed, value: f64) -> Result<f64, NetworkError> {
    let candidate = judged.candidate;
    let table = changed.apply(&candidate.durations, value);
    let clock = Clock::new(&candidate.plan, &table, &judged.loads, &judged.passed)?;
    let times = clock.times(&clock.expected());
    Ok(times.reperfusion_s.unwrap_or(f64::INFINITY))
}
