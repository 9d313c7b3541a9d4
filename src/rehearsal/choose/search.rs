//! All stacks walked through the script at once.
//!
//! Stacks are told apart from the step on at which the script first names the role they differ in: a stack that breaks before
//! breaks with whatever takes the roles still to come, and all of these are counted. What a step comes to is found once for all stacks that
//! stand alike and have the same devices in play.

use super::super::how_sure::{Entry, Fed, Form, Inputs, MarginKind};
use super::ChooseError;
use super::edges::Judged;
use super::reach::{Wished, stack_of};
use super::rejected::{Rejected, Why};
use super::roles::{Role, with_choices};
use super::step::{At, Node, Print, Record};
use crate::procedure::{Action, Likelihood, Plan, State};
use std::collections::BTreeMap;

/// Stacks that are kept apart at most: two hundred bytes each.
const MOST_STACKS: usize = 4_000_000;

/// By role the number of its choice; none where the script has not named it yet.
pub(super) type Chosen = Vec<Option<u16>>;

/// A kind of margin of one device that rests on the same lengths.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Slot {
    pub(super) kind: MarginKind,
    pub(super) device: usize,
    pub(super) form: Form,
    /// The one that was asked for beside the script.
    pub(super) wished: bool,
}

/// A stack on its way.
#[derive(Debug, Clone)]
struct Stack {
    chosen: Chosen,
    node: usize,
    margins: usize,
    time: usize,
    bare_edges: usize,
    stripped: Likelihood,
    /// The most it has had to spare at the place that was asked for, mm, and the slot of that.
    wish: Option<(f64, usize)>,
}

/// A stack that came to the end.
#[derive(Debug, Clone)]
pub(super) struct Passing {
    pub(super) chosen: Chosen,
    /// Index into [`Found::margins`].
    pub(super) margins: usize,
    /// Stacks with the same number take the same times.
    pub(super) time: usize,
    /// Index into [`Found::ends`].
    pub(super) end: usize,
    pub(super) bare_edges: usize,
    pub(super) stripped: Likelihood,
}

/// What became of all stacks.
#[derive(Debug, Default)]
pub(super) struct Found {
    pub(super) stacks: u64,
    pub(super) passing: Vec<Passing>,
    pub(super) slots: Vec<Slot>,
    /// By set of margins, by slot: the least, mm; infinite where there is none.
    pub(super) margins: Vec<Vec<f64>>,
    /// States after the last step.
    pub(super) ends: Vec<State>,
    pub(super) rejected: Vec<Rejected>,
}

/// Numbers for things, in the order in which they come.
#[derive(Debug)]
struct Numbers<K>(BTreeMap<K, usize>);

impl<K: Ord> Numbers<K> {
    const fn new() -> Self {
        Self(BTreeMap::new())
    }

    /// The number of a thing, and whether it is new.
    fn of(&mut self, key: K) -> (usize, bool) {
        let next = self.0.len();
        let number = *self.0.entry(key).or_insert(next);
        (number, number == next)
    }
}

struct Search<'a> {
    plan: &'a Plan,
    roles: &'a [Role],
    found: Found,
    rejected: BTreeMap<(bool, Why), Rejected>,
    known_margins: Numbers<Vec<u64>>,
}

/// Walks all stacks through the script.
pub(super) fn search(
    plan: &Plan,
    roles: &[Role],
    wish: Option<&Wished>,
    threads: usize,
) -> Result<Found, ChooseError> {
    let mut search = Search {
        plan,
        roles,
        found: Found {
            stacks: product(roles.iter()),
            ..Found::default()
        },
        rejected: BTreeMap::new(),
        known_margins: Numbers::new(),
    };
    let start = Node {
        state: State::start(plan),
        fed: Fed::start(plan, &Inputs::of(plan)),
    };
    let mut nodes = vec![start];
    let mut stacks = vec![Stack {
        chosen: vec![None; roles.len()],
        node: 0,
        margins: search.number_of_margins(Vec::new()),
        time: 0,
        bare_edges: 0,
        stripped: Likelihood::Unlikely,
        wish: None,
    }];
    let mut judged = Judged::default();
    for number in 1..=plan.script.len() {
        let named = named(plan, number);
        stacks = search.branch(stacks, &named, number)?;
        let at = At {
            number,
            wish,
            threads,
        };
        (stacks, nodes) = search.step(&at, stacks, &nodes, &named, &mut judged);
    }
    search.end(stacks, nodes, wish)
}

fn product<'a>(roles: impl Iterator<Item = &'a Role>) -> u64 {
    roles.fold(1_u64, |all, role| {
        let choices = u64::try_from(role.choices.len()).unwrap_or(u64::MAX);
        all.saturating_mul(choices)
    })
}

/// Roles that a step names, as what it works with or as a place.
fn named(plan: &Plan, number: usize) -> Vec<usize> {
    let act: &Action = &plan.script[number - 1].act;
    let devices = act.devices();
    let owner = act.place().and_then(|place| plan.device_end(place));
    let mut named: Vec<usize> = devices
        .into_iter()
        .filter_map(|name| plan.device_index(name))
        .chain(owner.map(|(device, _)| device))
        .collect();
    named.sort_unstable();
    named.dedup();
    named
}

/// Roles that a step may hang on: those it names, those in the body, those whose stents lie there.
fn in_play(state: &State, named: &[usize]) -> Vec<usize> {
    let lying = |k: usize| state.stents.iter().any(|stent| stent.device == k);
    let held = |k: usize| state.attached.iter().any(|(_, rail)| *rail == k);
    (0..state.in_place.len())
        .filter(|k| state.in_place[*k].is_some() || lying(*k) || held(*k) || named.contains(k))
        .collect()
}

impl Search<'_> {
    /// Tells stacks apart in the roles that a step names for the first time.
    fn branch(
        &self,
        mut stacks: Vec<Stack>,
        named: &[usize],
        step: usize,
    ) -> Result<Vec<Stack>, ChooseError> {
        for &role in named {
            // all of them or none have this role filled
            if stacks
                .first()
                .is_none_or(|stack| stack.chosen[role].is_some())
            {
                continue;
            }
            let choices = self.roles[role].choices.len();
            let all = stacks.len().saturating_mul(choices);
            if all > MOST_STACKS {
                return Err(ChooseError::TooMany {
                    stacks: all,
                    step,
                    most: MOST_STACKS,
                });
            }
            let with = |stack: &Stack, choice: usize| {
                let mut stack = stack.clone();
                stack.chosen[role] = u16::try_from(choice).ok();
                stack
            };
            stacks = stacks
                .iter()
                .flat_map(|stack| (0..choices).map(move |choice| with(stack, choice)))
                .collect();
        }
        Ok(stacks)
    }

    /// Does a step for all stacks; those that break leave.
    fn step(
        &mut self,
        at: &At<'_>,
        stacks: Vec<Stack>,
        nodes: &[Node],
        named: &[usize],
        judged: &mut Judged,
    ) -> (Vec<Stack>, Vec<Node>) {
        let in_play: Vec<Vec<usize>> = nodes
            .iter()
            .map(|node| in_play(&node.state, named))
            .collect();
        let mut numbers: Numbers<(usize, Chosen)> = Numbers::new();
        let mut keys: Vec<(Chosen, &Node)> = Vec::new();
        let mut record_of = Vec::with_capacity(stacks.len());
        for stack in &stacks {
            let mut chosen: Chosen = vec![None; self.roles.len()];
            for &role in &in_play[stack.node] {
                chosen[role] = stack.chosen[role];
            }
            let (number, new) = numbers.of((stack.node, chosen.clone()));
            if new {
                keys.push((chosen, &nodes[stack.node]));
            }
            record_of.push(number);
        }
        let (plan, roles) = (self.plan, self.roles);
        let plan_of = |chosen: &Chosen| with_choices(plan, roles, chosen);
        let records = at.done(&keys, &plan_of, judged);
        self.follow(at.number, stacks, &record_of, &records)
    }

    /// Every stack to where its record leaves it.
    fn follow(
        &mut self,
        step: usize,
        stacks: Vec<Stack>,
        record_of: &[usize],
        records: &[Record],
    ) -> (Vec<Stack>, Vec<Node>) {
        let mut nodes: Vec<Node> = Vec::new();
        let mut prints: Numbers<Print> = Numbers::new();
        let mut node_of = Vec::with_capacity(records.len());
        let mut slots_of = Vec::with_capacity(records.len());
        for record in records {
            let (number, new) = prints.of(record.print);
            if new {
                nodes.push(record.after.clone());
            }
            node_of.push(number);
            let margins = record.margins.iter();
            let slots: Vec<(usize, f64)> = margins.map(|entry| self.slot_of(entry)).collect();
            let wish = record
                .wish
                .as_ref()
                .map(|(mm, form)| (*mm, self.wish_slot(form)));
            slots_of.push((slots, wish));
        }
        let mut times: Numbers<(usize, Print)> = Numbers::new();
        let mut sums: BTreeMap<(usize, usize), usize> = BTreeMap::new();
        let mut kept = Vec::with_capacity(stacks.len());
        for (mut stack, &number) in stacks.into_iter().zip(record_of) {
            let record = &records[number];
            if record.breaks.is_some() {
                self.reject(step, &stack, record);
                continue;
            }
            let (slots, wish) = &slots_of[number];
            stack.margins = match sums.get(&(stack.margins, number)) {
                Some(known) => *known,
                None => {
                    let sum = self.with_margins(stack.margins, slots);
                    sums.insert((stack.margins, number), sum);
                    sum
                }
            };
            stack.node = node_of[number];
            stack.time = times.of((stack.time, record.time)).0;
            stack.bare_edges += record.bare_edges;
            stack.stripped = stack.stripped.max(record.stripped);
            if let Some(wish) = wish
                && stack.wish.is_none_or(|known| known.0 < wish.0)
            {
                stack.wish = Some(*wish);
            }
            kept.push(stack);
        }
        (kept, nodes)
    }

    fn reject(&mut self, step: usize, stack: &Stack, record: &Record) {
        let Some(finding) = &record.breaks else {
            return;
        };
        let open = self.roles.iter().zip(&stack.chosen);
        let open = open.filter(|(_, choice)| choice.is_none());
        let stacks = product(open.map(|(role, _)| role));
        let told = Rejected::new(step, finding, Vec::new());
        let row = self.rejected.entry((told.undecided, told.why.clone()));
        let row = row.or_insert_with(|| Rejected {
            stack: known_of(self.roles, &stack.chosen),
            ..told
        });
        row.stacks = row.stacks.saturating_add(stacks);
    }

    fn slot_of(&mut self, entry: &Entry) -> (usize, f64) {
        let slot = Slot {
            kind: entry.kind,
            device: entry.device,
            form: entry.form.clone(),
            wished: false,
        };
        (self.number_of_slot(slot), entry.margin_mm)
    }

    fn wish_slot(&mut self, form: &Form) -> usize {
        // found by its form; the device is put in where the search ends
        self.number_of_slot(Slot {
            kind: MarginKind::Reach,
            device: usize::MAX,
            form: form.clone(),
            wished: true,
        })
    }

    fn number_of_slot(&mut self, slot: Slot) -> usize {
        let known = self.found.slots.iter().position(|known| *known == slot);
        known.unwrap_or_else(|| {
            self.found.slots.push(slot);
            self.found.slots.len() - 1
        })
    }

    /// The number of a set of margins with some more.
    fn with_margins(&mut self, number: usize, more: &[(usize, f64)]) -> usize {
        if more.is_empty() {
            return number;
        }
        let mut margins = self.found.margins[number].clone();
        margins.resize(self.found.slots.len().max(margins.len()), f64::INFINITY);
        for (slot, mm) in more {
            margins[*slot] = margins[*slot].min(*mm);
        }
        while margins.last().is_some_and(|mm| mm.is_infinite()) {
            margins.pop();
        }
        self.number_of_margins(margins)
    }

    fn number_of_margins(&mut self, margins: Vec<f64>) -> usize {
        let bits = margins.iter().map(|mm| mm.to_bits()).collect();
        let (number, new) = self.known_margins.of(bits);
        if new {
            self.found.margins.push(margins);
        }
        number
    }

    /// What came to the end, with the place that was asked for.
    fn end(
        mut self,
        stacks: Vec<Stack>,
        nodes: Vec<Node>,
        wish: Option<&Wished>,
    ) -> Result<Found, ChooseError> {
        if let Some(wish) = wish {
            if !stacks.is_empty() && stacks.iter().all(|stack| stack.wish.is_none()) {
                return Err(wish.never_there());
            }
            for slot in self.found.slots.iter_mut().filter(|slot| slot.wished) {
                slot.device = wish.device;
            }
        }
        for stack in stacks {
            let margins = match (wish, stack.wish) {
                (Some(wish), None | Some((..0.0, _))) => {
                    self.does_not_reach(wish, &stack);
                    continue;
                }
                (_, Some((mm, slot))) => self.with_margins(stack.margins, &[(slot, mm)]),
                (None, None) => stack.margins,
            };
            self.found.passing.push(Passing {
                chosen: stack.chosen,
                margins,
                time: stack.time,
                end: stack.node,
                bare_edges: stack.bare_edges,
                stripped: stack.stripped,
            });
        }
        self.found.ends = nodes.into_iter().map(|node| node.state).collect();
        self.found.rejected = self.rejected.into_values().collect();
        self.found
            .rejected
            .sort_by_key(|row| std::cmp::Reverse(row.stacks));
        Ok(self.found)
    }

    fn does_not_reach(&mut self, wish: &Wished, stack: &Stack) {
        let device = wish.wish.device.clone();
        let short_mm = stack.wish.map_or(0.0, |(mm, _)| -mm);
        let why = Why::DoesNotReach {
            device: device.clone(),
        };
        let roles = self.roles;
        let row = self.rejected.entry((false, why.clone()));
        let row =
            row.or_insert_with(|| Rejected::by_wish(why, short_mm, known_of(roles, &stack.chosen)));
        row.stacks += 1;
    }
}

/// The devices of roles that are filled.
fn known_of(roles: &[Role], chosen: &[Option<u16>]) -> Vec<super::StackOf> {
    let all = stack_of(roles, chosen).into_iter().zip(chosen);
    all.filter(|(_, choice)| choice.is_some())
        .map(|(row, _)| row)
        .collect()
}
