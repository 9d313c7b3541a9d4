//! One step of the script for all stacks that share it.

use super::super::how_sure::{Entry, Fed, Form, Inputs};
use super::super::outcome::FindingRow;
use super::super::run::step_alone;
use super::super::verdict::{first_that_stands, undecided};
use super::edges::{Judged, Met, met};
use super::reach::Wished;
use crate::procedure::reason::Retrieving;
use crate::procedure::{Likelihood, Meets, Passed, Plan, Reason, State, perform};
use crate::threads::in_order;
use std::collections::BTreeSet;
use std::fmt::{Debug, Write};
use std::hash::{DefaultHasher, Hasher};

/// What tells one value from another: its text with every digit, in 128 bits.
pub(super) type Print = [u64; 2];

struct Prints([DefaultHasher; 2]);

impl Write for Prints {
    fn write_str(&mut self, text: &str) -> std::fmt::Result {
        for hasher in &mut self.0 {
            hasher.write(text.as_bytes());
        }
        Ok(())
    }
}

/// The print of a value. Numbers are written with as many digits as tell them from all others, so that equal prints are
/// equal values but for one chance in 10^38.
pub(super) fn print_of(value: &impl Debug) -> Print {
    let mut prints = Prints([DefaultHasher::new(), DefaultHasher::new()]);
    prints.0[1].write_u8(1);
    // writing into a hasher does not fail
    let _ = write!(prints, "{value:?}");
    prints.0.map(|hasher| hasher.finish())
}

/// Where everything stands between two steps, and which lengths are in it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Node {
    pub(super) state: State,
    pub(super) fed: Fed,
}

/// What a step comes to.
#[derive(Debug, Clone)]
pub(super) struct Record {
    pub(super) after: Node,
    pub(super) print: Print,
    /// Why the stack breaks here.
    pub(super) breaks: Option<FindingRow>,
    /// Margins that a plan breaks by.
    pub(super) margins: Vec<Entry>,
    /// What would be to spare at the place that was asked for.
    pub(super) wish: Option<(f64, Form)>,
    /// Of everything that takes time.
    pub(super) time: Print,
    pub(super) bare_edges: usize,
    pub(super) stripped: Likelihood,
}

/// One step done by itself, not yet judged.
struct Done {
    passed: Passed,
    met: Vec<Met>,
}

/// A step of the script, its number from 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct At<'a> {
    pub(super) number: usize,
    pub(super) wish: Option<&'a Wished>,
    pub(super) threads: usize,
}

impl At<'_> {
    /// Does the step from every one of some nodes, each with a plan of its own (made by `plan_of`), in their order.
    pub(super) fn done<K: Sync>(
        &self,
        keys: &[(K, &Node)],
        plan_of: &(impl Fn(&K) -> Plan + Sync),
        judged: &mut Judged,
    ) -> Vec<Record> {
        let done = in_order(keys, self.threads, |(key, node)| {
            self.perform(&plan_of(key), node)
        });
        self.judge(keys, plan_of, &done, judged);
        let all: Vec<usize> = (0..keys.len()).collect();
        let judged = &*judged;
        in_order(&all, self.threads, |i| {
            let (key, node) = &keys[*i];
            self.record(&plan_of(key), node, &done[*i], judged)
        })
    }

    fn perform(&self, plan: &Plan, node: &Node) -> Done {
        let act = &plan.script[self.number - 1].act;
        let (after, effect) = perform(plan, &node.state, act);
        let passed = Passed {
            before: node.state.clone(),
            after,
            effect,
        };
        Done {
            met: met(plan, &passed),
            passed,
        }
    }

    /// Judges what is crossed and was not judged before, each once.
    fn judge<K: Sync>(
        &self,
        keys: &[(K, &Node)],
        plan_of: &(impl Fn(&K) -> Plan + Sync),
        done: &[Done],
        judged: &mut Judged,
    ) {
        let mut seen = BTreeSet::new();
        let mut new: Vec<(usize, &Met)> = Vec::new();
        for (i, done) in done.iter().enumerate() {
            for met in done.met.iter().filter(|met| !judged.knows(met)) {
                if seen.insert(met.print) {
                    new.push((i, met));
                }
            }
        }
        let reports = in_order(&new, self.threads, |(i, met)| {
            met.judge(&plan_of(&keys[*i].0), &done[*i].passed)
        });
        for ((_, met), report) in new.into_iter().zip(reports) {
            judged.keep(met, report);
        }
    }

    fn record(&self, plan: &Plan, node: &Node, done: &Done, judged: &Judged) -> Record {
        let passed = &done.passed;
        let (rows, edges) = step_alone(plan, self.number, passed, judged.reports(&done.met));
        let breaks = first_that_stands(&rows).or_else(|| undecided(&rows).next());
        let inputs = Inputs::of(plan);
        let (fed, mut margins) = node.fed.clone().after(plan, &inputs, self.number, passed);
        margins.retain(|entry| entry.kind.breaks());
        let wish = self.wish.and_then(|wish| {
            let spare = wish.spare(plan, &inputs, &passed.after, &fed);
            spare.filter(|_| passed.effect.performed)
        });
        let stripped = rows.iter().flat_map(|row| &row.findings);
        let stripped = stripped.filter_map(|finding| match &finding.reason {
            Reason::Retrieving(Retrieving::ClotThroughNarrow { stripped, .. }) => Some(*stripped),
            _ => None,
        });
        let bare = |edge: &&super::super::EdgeRow| edge.meets == Meets::Struts && !edge.shielded;
        let after = Node {
            state: passed.after.clone(),
            fed,
        };
        Record {
            print: print_of(&after),
            after,
            breaks: breaks.map(|(_, finding)| finding.clone()),
            margins,
            wish,
            time: time_of(plan, passed),
            bare_edges: edges.iter().filter(bare).count(),
            stripped: stripped.max().unwrap_or(Likelihood::Unlikely),
        }
    }
}

/// What of a step its duration hangs on: how far tips go, what is loaded and unloaded, and by which port. By ruler no force
/// is known.
fn time_of(plan: &Plan, passed: &Passed) -> Print {
    let effect = &passed.effect;
    let ports = effect.exchanges.iter();
    let ports: Vec<_> = ports
        .map(|exchange| plan.devices[exchange.device].device.port_from_tip_mm())
        .collect();
    print_of(&(effect.performed, &effect.moves, &effect.exchanges, ports))
}
