//! The book of lengths: which lengths lie between the hub and each tip, step by step, and what margins are made of.
//!
//! What the script asks for is a place; a device fed to a place has as much of the vessel in it as lies before the
//! place, and a place that follows another device's end has what that device has in it. Devices that move as one are
//! fed alike, and those that are not moved keep what they have.

use super::inputs::{Form, Inputs};
use crate::device::Payload;
use crate::procedure::reason::Reach;
use crate::procedure::{Action, DeviceEnd, Passed, Place, Plan, Reason, State, Where};
use serde::{Deserialize, Serialize};

/// What runs short where a margin falls below zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MarginKind {
    /// A catheter, between its hub and what its hub runs up against.
    Reach,
    /// A wire or pusher, by what a hand needs to hold.
    Hold,
    /// The rail of a rapid exchange, by what it needs outside.
    Exchange,
    /// A stent, by how far it covers the lesion on the side it covers less.
    Landing,
    /// An open retriever over the clot: short, it is told as a weak point and breaks no plan.
    Overlap,
}

impl MarginKind {
    /// Whether a plan breaks where it falls below zero.
    pub(in super::super) const fn breaks(self) -> bool {
        !matches!(self, Self::Overlap)
    }
}

/// A margin after one step, and by how much it grows with each input.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct Entry {
    pub(in super::super) kind: MarginKind,
    pub(in super::super) device: usize,
    pub(super) step: usize,
    pub(in super::super) margin_mm: f64,
    pub(in super::super) form: Form,
}

/// The lengths in every device, by input, between two steps.
#[derive(Debug, Clone, PartialEq)]
pub(in super::super) struct Fed {
    /// By device: its fed length.
    fed: Vec<Form>,
    /// By device: it stopped short of where it was to go.
    stopped: Vec<bool>,
    /// Stents that were released: near and far end.
    stents: Vec<(usize, [Form; 2])>,
}

impl Fed {
    /// Everything outside.
    pub(in super::super) fn start(plan: &Plan, inputs: &Inputs) -> Self {
        Self {
            fed: vec![inputs.nothing(); plan.devices.len()],
            stopped: vec![false; plan.devices.len()],
            stents: Vec::new(),
        }
    }

    /// The same after one more step (its number from 1), with the margins that it leaves.
    pub(in super::super) fn after(
        self,
        plan: &Plan,
        inputs: &Inputs,
        step: usize,
        done: &Passed,
    ) -> (Self, Vec<Entry>) {
        let mut book = Book {
            plan,
            inputs,
            lengths: self,
            entries: Vec::new(),
        };
        if done.effect.performed {
            book.exchanges(step, done);
            book.take(&plan.script[step - 1].act, step, done);
            book.outside(step, done);
        }
        (book.lengths, book.entries)
    }

    /// What a catheter in place would leave outside if its tip lay so far beyond a place; none while either is
    /// nowhere.
    pub(in super::super) fn if_at(
        &self,
        plan: &Plan,
        inputs: &Inputs,
        device: usize,
        place: &str,
        after: &State,
    ) -> Option<Form> {
        let book = Book {
            plan,
            inputs,
            lengths: self.clone(),
            entries: Vec::new(),
        };
        let through = after.in_place[device]?.through;
        let fed = book.station(place)? + &inputs.standoff();
        Some(book.most_fed(device, through) - &fed)
    }
}

/// One step of the book.
struct Book<'a> {
    plan: &'a Plan,
    inputs: &'a Inputs,
    lengths: Fed,
    entries: Vec<Entry>,
}

/// The margins of a script that has been walked through.
pub(super) fn entries(plan: &Plan, inputs: &Inputs, passed: &[Passed]) -> Vec<Entry> {
    let mut lengths = Fed::start(plan, inputs);
    let mut all = Vec::new();
    for (i, done) in passed.iter().enumerate().take(plan.script.len()) {
        let (then, entries) = lengths.after(plan, inputs, i + 1, done);
        lengths = then;
        all.extend(entries);
    }
    all
}

impl Book<'_> {
    fn index(&self, name: &str) -> Option<usize> {
        self.plan.device_index(name)
    }

    /// The station of a tip.
    fn tip(&self, k: usize) -> Form {
        self.lengths.fed[k].clone() - &self.inputs.standoff()
    }

    /// The station of a place of the script.
    fn station(&self, name: &str) -> Option<Form> {
        Some(match self.plan.place(name)? {
            Place::Landmark(_) => self.inputs.landmark(self.plan, name),
            Place::End(k, DeviceEnd::Tip) => self.tip(k),
            Place::End(k, end) => {
                let stent = self.lengths.stents.iter().rev().find(|(of, _)| *of == k);
                match (stent, end) {
                    (Some((_, [near, _])), DeviceEnd::Proximal) => near.clone(),
                    (Some((_, [_, far])), _) => far.clone(),
                    (None, _) => self.tip(k),
                }
            }
        })
    }

    /// The fed length that brings a tip to a place.
    fn fed_to(&self, to: &Where, k: usize, through: Option<usize>) -> Form {
        let there = to.place().and_then(|name| self.station(name));
        match (to, there) {
            (_, Some(station)) => station + &self.inputs.standoff(),
            (Where::Hub, _) => self.most_fed(k, through),
            _ => self.lengths.fed[k].clone(),
        }
    }

    /// What of a catheter, its hub and its valves lies outside.
    fn hub_offset(&self, through: Option<usize>) -> Form {
        match through {
            Some(j) => self.inputs.device(j) + &self.inputs.hub(j) - &self.lengths.fed[j],
            None => self.inputs.nothing(),
        }
    }

    fn most_fed(&self, k: usize, through: Option<usize>) -> Form {
        self.inputs.device(k) - &self.hub_offset(through)
    }

    /// Takes over what a step moves.
    fn take(&mut self, act: &Action, step: usize, done: &Passed) {
        let through = |k: usize| {
            let at = done.after.in_place[k].or(done.before.in_place[k]);
            at.and_then(|at| at.through)
        };
        match act {
            Action::Insert { device, to, .. }
            | Action::Advance { device, to, .. }
            | Action::Withdraw { device, to } => {
                if let Some(k) = self.index(device) {
                    let wished = self.fed_to(to, k, through(k));
                    self.feed(k, &wished, step, done);
                }
            }
            Action::Engage { device, ostium } => {
                let station = self.station(ostium);
                if let (Some(k), Some(station)) = (self.index(device), station) {
                    self.feed(k, &(station + &self.inputs.standoff()), step, done);
                }
            }
            Action::AdvanceTogether { devices, to } | Action::WithdrawTogether { devices, to } => {
                self.feed_together(devices, to, step, done);
            }
            Action::LoadRetriever {
                retriever,
                through: outer,
            } => {
                if let (Some(k), Some(j)) = (self.index(retriever), self.index(outer)) {
                    let wished = self.lengths.fed[j].clone();
                    self.feed(k, &wished, step, done);
                }
            }
            Action::Unsheathe { retriever } => {
                if let Some(k) = self.index(retriever) {
                    if let Some(j) = done.before.in_place[k].and_then(|at| at.through) {
                        self.lengths.fed[j] = self.lengths.fed[k].clone();
                    }
                    self.overlap(k, step, &done.after);
                }
            }
            Action::DeployStent { device } => {
                if let Some(k) = self.index(device) {
                    self.land(k, step, &done.after);
                }
            }
            _ => {}
        }
    }

    /// A device is fed to a place; where it is too short it stays where its hub stops it, by what it is short.
    fn feed(&mut self, k: usize, wished: &Form, step: usize, done: &Passed) {
        self.lengths.stopped[k] = false;
        let name = &self.plan.devices[k].name;
        let told = done.effect.findings.iter();
        let short_mm = told.into_iter().find_map(|finding| match &finding.reason {
            Reason::Reach(Reach::TooShort {
                device, short_mm, ..
            }) if device == name => Some(*short_mm),
            _ => None,
        });
        let Some(short_mm) = short_mm else {
            self.lengths.fed[k] = wished.clone();
            return;
        };
        let through = done.after.in_place[k].and_then(|at| at.through);
        let most = self.most_fed(k, through);
        let rail = self.plan.devices[k].is_rail();
        self.entries.push(Entry {
            kind: if rail {
                MarginKind::Hold
            } else {
                MarginKind::Reach
            },
            device: k,
            step,
            margin_mm: -short_mm,
            form: most.clone() - wished,
        });
        self.lengths.fed[k] = most;
        self.lengths.stopped[k] = true;
    }

    /// All are fed by the length that brings the first to its place.
    fn feed_together(&mut self, names: &[String], to: &Where, step: usize, done: &Passed) {
        let unit: Vec<usize> = names.iter().filter_map(|name| self.index(name)).collect();
        let Some(&lead) = unit.first() else {
            return;
        };
        let through = done.before.in_place[lead].and_then(|at| at.through);
        let by = self.fed_to(to, lead, through) - &self.lengths.fed[lead];
        let before = self.lengths.fed.clone();
        for &k in &unit {
            let wished = before[k].clone() + &by;
            self.feed(k, &wished, step, done);
        }
        // the one that is too short stops them all
        let shortest = unit.iter().copied().find(|k| self.lengths.stopped[*k]);
        if let Some(shortest) = shortest {
            let by = self.lengths.fed[shortest].clone() - &before[shortest];
            for &k in &unit {
                self.lengths.fed[k] = before[k].clone() + &by;
                self.lengths.stopped[k] = true;
            }
        }
    }

    /// What is left outside of every device after a step.
    fn outside(&mut self, step: usize, done: &Passed) {
        for k in 0..self.plan.devices.len() {
            let stacked = &self.plan.devices[k];
            let (Some(at), Some(outside_mm)) =
                (done.after.in_place[k], done.after.outside_mm(self.plan, k))
            else {
                continue;
            };
            let forward = |m: &crate::procedure::Move| m.device == k && m.to_mm > m.from_mm;
            let moved = done.effect.moves.iter().any(forward);
            // a rail is held while it is pushed; what then goes over it is told by its exchange
            if self.lengths.stopped[k]
                || self.plan.goes_to_hub(&stacked.name)
                || (stacked.is_rail() && !moved)
            {
                continue;
            }
            self.entries.push(Entry {
                kind: if stacked.is_rail() {
                    MarginKind::Hold
                } else {
                    MarginKind::Reach
                },
                device: k,
                step,
                margin_mm: outside_mm - stacked.grip_mm(&self.plan.rules),
                form: self.most_fed(k, at.through) - &self.lengths.fed[k],
            });
        }
    }

    /// Rails of rapid exchanges, by what they need outside.
    fn exchanges(&mut self, step: usize, done: &Passed) {
        for exchange in done.effect.exchanges.iter().filter(|e| e.rapid) {
            let rail = exchange.rail;
            if self.lengths.stopped[rail] {
                continue;
            }
            let through = done.before.in_place[rail].and_then(|at| at.through);
            self.entries.push(Entry {
                kind: MarginKind::Exchange,
                device: rail,
                step,
                margin_mm: exchange.rail_outside_mm - exchange.needed_mm,
                form: self.most_fed(rail, through) - &self.lengths.fed[rail],
            });
        }
    }

    /// A stent is released: how far it covers the lesions it lies in.
    fn land(&mut self, k: usize, step: usize, after: &State) {
        let far = self.tip(k);
        let near = far.clone() - &self.inputs.stent(k);
        self.lengths.stents.push((k, [near.clone(), far.clone()]));
        let Some(stent) = after.stents.iter().rev().find(|s| s.device == k) else {
            return;
        };
        for lesion in &self.plan.track.lesions {
            if stent.proximal_mm >= lesion.end_mm || stent.distal_mm <= lesion.start_mm {
                continue;
            }
            let mark = |end: &str| {
                self.inputs
                    .landmark(self.plan, &format!("{}-{end}", lesion.name))
            };
            for (margin_mm, form) in [
                (lesion.start_mm - stent.proximal_mm, mark("start") - &near),
                (stent.distal_mm - lesion.end_mm, far.clone() - &mark("end")),
            ] {
                self.entries.push(Entry {
                    kind: MarginKind::Landing,
                    device: k,
                    step,
                    margin_mm,
                    form,
                });
            }
        }
    }

    /// A retriever opens: how far it reaches beyond the clot on either side.
    fn overlap(&mut self, k: usize, step: usize, after: &State) {
        let Some(Payload::Retriever(spec)) = &self.plan.devices[k].device.payload else {
            return;
        };
        let (Some(tip_mm), Some(far_mm)) = (after.tip_mm(k), after.distal_end_mm(self.plan, k))
        else {
            return;
        };
        let near_mm = tip_mm - spec.folded_length_mm;
        for clot in &self.plan.track.clots {
            let mark = |end: &str| {
                self.inputs
                    .landmark(self.plan, &format!("{}-{end}", clot.name))
            };
            let tip = self.tip(k);
            for (margin_mm, form) in [
                (clot.start_mm - near_mm, mark("start") - &tip),
                (far_mm - clot.end_mm, tip.clone() - &mark("end")),
            ] {
                self.entries.push(Entry {
                    kind: MarginKind::Overlap,
                    device: k,
                    step,
                    margin_mm,
                    form,
                });
            }
        }
    }
}
