//! What a plan breaks on or is weak at, the costliest first, one cause once.

use super::outcome::{FindingRow, StepRow};
use crate::procedure::{Cost, Severity, Topic};
use serde::{Deserialize, Serialize};

/// One cause with the steps at which it is met.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct WeakPoint {
    /// How grave: a note is none.
    pub severity: Severity,
    /// What it would cost in the room.
    pub cost: Cost,
    /// The step that is told: the first of a failure, else where it is worst.
    pub step: usize,
    /// All other steps with findings of the same kind, in order.
    pub also: Vec<usize>,
    /// What was found there, in plain words.
    pub text: String,
    /// What would help.
    pub help: Option<String>,
}

/// Findings of all steps gathered by kind, notes left out.
///
/// Failures come first, then what is not known, then warnings; within these what costs more, then what is more, then
/// what comes first. Of failures of one kind the first is told, of others the worst. What a step finds missing after
/// something else failed follows from that, and is left out.
pub(super) fn weak_points(steps: &[StepRow]) -> Vec<WeakPoint> {
    let mut kinds: Vec<Vec<(usize, &FindingRow)>> = Vec::new();
    let told = steps
        .iter()
        .flat_map(|s| s.findings.iter().map(move |f| (s.number, f)))
        .filter(|(_, f)| f.severity > Severity::Note);
    let misses = |f: &FindingRow| f.topic == Topic::Precondition;
    let broke = told
        .clone()
        .find(|(_, f)| f.severity == Severity::Failure && !misses(f))
        .map(|(step, _)| step);
    let told = told.filter(|(step, f)| !(misses(f) && broke.is_some_and(|b| b < *step)));
    for (step, finding) in told {
        let same = |kind: &&mut Vec<(usize, &FindingRow)>| {
            let first = kind[0].1;
            first.severity == finding.severity && first.reason.same_kind(&finding.reason)
        };
        match kinds.iter_mut().find(same) {
            Some(kind) => kind.push((step, finding)),
            None => kinds.push(vec![(step, finding)]),
        }
    }
    let mut found: Vec<(f64, WeakPoint)> = kinds.iter().map(|kind| weak_point(kind)).collect();
    found.sort_by(|(a_amount, a), (b_amount, b)| {
        let by_weight = (b.severity, b.cost).cmp(&(a.severity, a.cost));
        by_weight
            .then(b_amount.total_cmp(a_amount))
            .then(a.step.cmp(&b.step))
    });
    found.into_iter().map(|(_, point)| point).collect()
}

/// One kind, never empty.
fn weak_point(kind: &[(usize, &FindingRow)]) -> (f64, WeakPoint) {
    let worst = |a: &(usize, &FindingRow), b: &(usize, &FindingRow)| {
        let by_amount = a.1.reason.amount().total_cmp(&b.1.reason.amount());
        by_amount.then(b.0.cmp(&a.0))
    };
    let first = kind[0];
    let told = match first.1.severity {
        Severity::Failure | Severity::Undecided => first,
        _ => kind.iter().copied().max_by(worst).unwrap_or(first),
    };
    let mut also: Vec<usize> = kind.iter().map(|(step, _)| *step).collect();
    also.retain(|step| *step != told.0);
    also.dedup();
    let point = WeakPoint {
        severity: told.1.severity,
        cost: told.1.reason.cost(),
        step: told.0,
        also,
        text: told.1.text.clone(),
        help: told.1.help.clone(),
    };
    (told.1.reason.amount(), point)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::Finding;
    use crate::procedure::reason::{Access, Lesion, Narrow, Reach};

    fn step(number: usize, findings: Vec<Finding>) -> StepRow {
        StepRow {
            number,
            say: String::new(),
            performed: true,
            findings: findings.into_iter().map(FindingRow::from).collect(),
            devices: Vec::new(),
            access: Vec::new(),
            stents: Vec::new(),
            suction: Vec::new(),
        }
    }

    fn dilates(outer_mm: f64) -> Finding {
        Finding::warning(Lesion::Dilates {
            narrow: Narrow {
                device: "stent".into(),
                outer_mm,
                lesion: "neck-lesion".into(),
                residual_mm: 1.0,
            },
            needed_n: 0.1,
            needed_range_n: [0.03, 0.4],
            leaves_mm: 1.2,
        })
    }

    fn crossed_again() -> Finding {
        Finding::warning(Access::CrossedAgain {
            lesion: "neck-lesion".into(),
        })
    }

    #[test]
    fn exact_one_cause_is_told_once_where_it_is_worst() {
        let steps = [
            step(3, vec![dilates(1.2)]),
            step(4, vec![dilates(1.7)]),
            step(9, vec![dilates(1.3)]),
        ];
        let found = weak_points(&steps);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].step, found[0].also.as_slice()), (4, &[3, 9][..]));
        assert!(found[0].text.contains("1.70 mm"), "{}", found[0].text);
    }

    #[test]
    fn exact_failures_come_first_then_what_costs_more() {
        let broken = Finding::failure(Reach::RouteEnds {
            device: "wire".into(),
            short_mm: 12.0,
        });
        let steps = [
            step(1, vec![dilates(1.2)]),
            step(2, vec![crossed_again()]),
            step(3, vec![broken]),
        ];
        let order: Vec<usize> = weak_points(&steps).iter().map(|p| p.step).collect();
        assert_eq!(order, [3, 2, 1]);
    }

    #[test]
    fn exact_notes_are_no_weak_points() {
        let note = Finding::note(Access::GivenUp {
            lesion: "neck-lesion".into(),
        });
        assert!(weak_points(&[step(1, vec![note])]).is_empty());
    }
}
