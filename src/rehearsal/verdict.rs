//! Whether a plan holds: three verdicts, from what its steps are told.

use super::outcome::{FindingRow, StepRow, Verdict};
use crate::procedure::Severity;

/// The first failure that stands whatever the undecided steps come to: number of the step and what is wrong.
///
/// Up to the first step whose lengths are not known every failure stands. From there on lengths are estimates,
/// and only what does not rest on them does; not even that after a step that such an estimate stopped, since
/// what it leaves undone is missed by the steps that follow.
pub(super) fn first_that_stands(steps: &[StepRow]) -> Option<(usize, &FindingRow)> {
    let (mut lengths_known, mut misled) = (true, false);
    for step in steps {
        lengths_known &= !step.findings.iter().any(|f| f.reason.loses_lengths());
        let mut failures = step
            .findings
            .iter()
            .filter(|f| f.severity == Severity::Failure);
        let stands = |f: &&FindingRow| lengths_known || !(misled || f.reason.rests_on_lengths());
        if let Some(failure) = failures.clone().find(stands) {
            return Some((step.number, failure));
        }
        misled |= !step.performed && failures.any(|f| f.reason.rests_on_lengths());
    }
    None
}

/// Steps of which it is not known whether they go, with what is not known.
pub(super) fn undecided(steps: &[StepRow]) -> impl Iterator<Item = (usize, &FindingRow)> {
    let findings = steps
        .iter()
        .flat_map(|s| s.findings.iter().map(move |f| (s.number, f)));
    findings.filter(|(_, f)| f.severity == Severity::Undecided)
}

/// Whether the plan holds.
pub(super) fn verdict(steps: &[StepRow]) -> Verdict {
    if first_that_stands(steps).is_some() {
        Verdict::Fails
    } else if undecided(steps).next().is_some() {
        Verdict::Undecided
    } else {
        Verdict::Passes
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::reason::{Fit, Force, Precondition, RailNeed, Unknown, Why, Within};
    use crate::procedure::{Finding, Spot};

    fn place() -> Spot {
        Spot {
            station_mm: 500.0,
            at: "at carotid-bifurcation".into(),
        }
    }

    fn step(number: usize, performed: bool, findings: &[Finding]) -> StepRow {
        StepRow {
            number,
            say: String::new(),
            performed,
            findings: findings.iter().cloned().map(FindingRow::from).collect(),
            devices: Vec::new(),
            access: Vec::new(),
            stents: Vec::new(),
            suction: Vec::new(),
        }
    }

    fn lost() -> Finding {
        Finding::undecided(Unknown::Step {
            why: Why::OutsideModel {
                device: "wire".into(),
                place: place(),
                angle_deg: 88.0,
            },
        })
    }

    fn pull_lost() -> Finding {
        Finding::undecided(Unknown::Pull {
            device: "guide".into(),
            why: Why::LoadsUnsettled,
        })
    }

    fn locks() -> Finding {
        Finding::failure(Force::LocksUp {
            device: "guide".into(),
            place: place(),
            hub_force_n: 101.0,
        })
    }

    fn wide() -> Finding {
        Finding::failure(Fit::DoesNotFit(Within {
            inside: vec!["retriever".into()],
            around: "microcatheter".into(),
            room: "no room".into(),
            place: None,
        }))
    }

    #[test]
    fn exact_a_plan_passes_only_where_every_step_is_known() {
        assert_eq!(verdict(&[step(1, true, &[])]), Verdict::Passes);
        for unknown in [lost(), pull_lost()] {
            let steps = [step(1, true, &[]), step(2, true, &[unknown])];
            assert_eq!(verdict(&steps), Verdict::Undecided, "{steps:?}");
        }
    }

    #[test]
    fn exact_a_failure_before_what_is_not_known_stands() {
        let steps = [step(1, true, &[locks()]), step(2, true, &[lost()])];
        assert_eq!(verdict(&steps), Verdict::Fails);
        let found = first_that_stands(&steps).map(|(step, _)| step);
        assert_eq!(found, Some(1));
    }

    #[test]
    fn exact_a_failure_by_estimated_lengths_does_not_stand() {
        let steps = [step(1, true, &[lost()]), step(2, true, &[locks()])];
        assert_eq!(verdict(&steps), Verdict::Undecided);
        // where only a pull is not known, lengths stand and so does what follows from them
        let steps = [step(1, true, &[pull_lost()]), step(2, true, &[locks()])];
        assert_eq!(verdict(&steps), Verdict::Fails);
    }

    #[test]
    fn exact_a_failure_that_rests_on_no_length_stands_anywhere() {
        let steps = [step(1, true, &[lost()]), step(2, true, &[wide()])];
        assert_eq!(verdict(&steps), Verdict::Fails);
    }

    #[test]
    fn exact_what_is_missed_after_a_step_that_an_estimate_stopped_does_not_stand() {
        let stopped = Finding::failure(RailNeed::RailVanishes {
            rail: "wire".into(),
            around: "guide".into(),
            outside_mm: 10.0,
            back_mm: 12.0,
        });
        let missed = Finding::failure(Precondition::NotInBody {
            device: "guide".into(),
        });
        let steps = [
            step(1, true, &[lost()]),
            step(2, false, &[stopped]),
            step(3, false, &[missed]),
        ];
        assert_eq!(verdict(&steps), Verdict::Undecided);
        assert_eq!(
            verdict(&steps[1..]),
            Verdict::Fails,
            "with lengths known it does"
        );
    }
}
