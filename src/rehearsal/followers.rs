//! Steps that cannot be done because an earlier one was not: the cause is told, the others hang on it.

use crate::procedure::reason::{Precondition, Reason};
use crate::procedure::{Action, Finding, Passed, Plan, Severity};
use std::collections::BTreeMap;

/// Tells one cause once: a failure of a step that was not done, because of an earlier one that was not,
/// becomes a note that names that step; the cause is told which steps hang on it.
///
/// A step hangs on an earlier one if it deals with a device or part that the earlier one was to handle, or
/// that both miss in the body, and no step in between handled it after all.
pub(super) fn tell_followers(plan: &Plan, passed: &mut [Passed]) {
    // devices and parts that wait for a step that was not done, with that step's index
    let mut hanging: BTreeMap<&str, usize> = BTreeMap::new();
    let mut held_up: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (i, (step, done)) in plan.script.iter().zip(passed.iter_mut()).enumerate() {
        let handled = handled(&step.act);
        if done.effect.performed {
            for name in handled {
                hanging.remove(name);
            }
            continue;
        }
        let missing = missing(plan, &done.effect.findings);
        let others = dealt_with(plan, &step.act);
        let mut named = handled.iter().chain(&missing).chain(&others);
        let cause = named.find_map(|name| hanging.get(name).copied());
        for name in handled.into_iter().chain(missing) {
            hanging.entry(name).or_insert(cause.unwrap_or(i));
        }
        if let Some(cause) = cause {
            held_up.entry(cause).or_default().push(i + 1);
            follow(&mut done.effect.findings, cause + 1);
        }
    }
    for (cause, steps) in held_up {
        let note = Finding::note(Precondition::HoldsUp { steps });
        passed[cause].effect.findings.push(note);
    }
}

/// Failures become notes that name their cause.
fn follow(findings: &mut [Finding], cause: usize) {
    for finding in findings {
        if finding.severity == Severity::Failure {
            *finding = Finding::note(Precondition::Follows {
                step: cause,
                say: finding.in_words(),
            });
        }
    }
}

/// Devices that a step misses in the body.
fn missing<'a>(plan: &'a Plan, findings: &[Finding]) -> Vec<&'a str> {
    let not_there = findings.iter().filter_map(|f| match &f.reason {
        Reason::Precondition(Precondition::NotInBody { device }) => plan.device_index(device),
        _ => None,
    });
    not_there.map(|k| plan.devices[k].name.as_str()).collect()
}

/// A run that a plane shows, as a thing that a later step needs; no device or part is named so.
const RUN: &str = " run";

/// What a step moves or changes.
fn handled(act: &Action) -> Vec<&str> {
    match act {
        Action::Insert { device, .. }
        | Action::Advance { device, .. }
        | Action::Withdraw { device, .. }
        | Action::Remove { device }
        | Action::DeployStent { device }
        | Action::Inflate { device, .. }
        | Action::Deflate { device }
        | Action::SuctionOn { device }
        | Action::SuctionOff { device }
        | Action::Engage { device, .. } => vec![device],
        Action::LoadRetriever { retriever, .. } | Action::Unsheathe { retriever } => {
            vec![retriever]
        }
        Action::WithdrawTogether { devices, .. } | Action::AdvanceTogether { devices, .. } => {
            devices.iter().map(String::as_str).collect()
        }
        Action::Attach { part, .. } | Action::Detach { part } => vec![part],
        Action::Contrast { .. } => vec![RUN],
        Action::Watch { .. }
        | Action::Roadmap { .. }
        | Action::CheckMarkers { .. }
        | Action::Flush { .. }
        | Action::Wait { .. } => Vec::new(),
    }
}

/// What else it names: catheters, rails, places.
fn dealt_with<'a>(plan: &'a Plan, act: &'a Action) -> Vec<&'a str> {
    let mut names: Vec<&str> = Vec::new();
    match act {
        Action::Insert { through, over, .. } => {
            names.extend(through.iter().chain(over).map(String::as_str));
        }
        Action::Advance { nose, .. } => names.extend(nose.as_deref()),
        Action::LoadRetriever { through, .. } | Action::Contrast { through, .. } => {
            names.push(through);
        }
        Action::Attach { rail, .. } => names.push(rail),
        Action::Roadmap { .. } => names.push(RUN),
        Action::CheckMarkers { retriever } => names.push(retriever),
        Action::Flush { device, .. } => names.push(device),
        _ => {}
    }
    if let Some((owner, _)) = act.place().and_then(|place| plan.device_end(place)) {
        names.push(&plan.devices[owner].name);
    }
    names
}
