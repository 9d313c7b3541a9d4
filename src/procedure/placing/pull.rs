//! Pulling an open retriever: what it takes, and what covers it on the way.

use super::placer::StackPlacement;
use super::retriever_hold::retriever_holds_n;
use crate::mechanics::{BendContact, Direction, MechanicsError, Surface, capstan_factor};
use crate::procedure::script::Plan;
use crate::procedure::state::{Move, State};

/// One moment of a pull.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoverMoment {
    /// How far the retriever has come back, mm.
    pub moved_mm: f64,
    /// Station of its near end, mm.
    pub near_mm: f64,
    /// Length of it that a catheter covers, mm.
    pub covered_mm: f64,
    /// Length of it that lies open, mm.
    pub bare_mm: f64,
    /// The catheter that covers most of it.
    pub covered_by: Option<usize>,
}

/// A pull of an open retriever.
#[derive(Debug, Clone, PartialEq)]
pub struct Pull {
    /// Its index.
    pub retriever: usize,
    /// Pull at the retriever from friction on the bare wall as it starts, N.
    pub on_wall_n: f64,
    /// The same on clot, N.
    pub on_clot_n: f64,
    /// Hub force over that, from turning and friction of the bends below alone.
    pub capstan_factor: f64,
    /// Hub force as rods find it, N, stiffness and all; none where lengths are ruled.
    pub by_rods_n: Option<f64>,
    /// What covers it at each moment, from start to end.
    pub cover: Vec<CoverMoment>,
}

impl Pull {
    /// Pull at the hub, N, before suction and a clot that sticks: that of the rods, else that of a limp
    /// string in the bends below.
    #[must_use]
    pub fn at_hub_n(&self) -> f64 {
        let limp_n = (self.on_wall_n + self.on_clot_n) * self.capstan_factor;
        self.by_rods_n.unwrap_or(limp_n)
    }
}

/// The pulls of a step: open retrievers that it draws back.
///
/// # Errors
/// As [`retriever_holds_n`].
pub fn pulls(
    plan: &Plan,
    before: &State,
    moves: &[Move],
    placed: &[StackPlacement],
) -> Result<Vec<Pull>, MechanicsError> {
    // an eleventh of a pull is millimetres to centimetres: enough to see what is swallowed when
    const MOMENTS: u32 = 10;
    let mut found = Vec::new();
    for moved in moves {
        let retriever = moved.device;
        if !before.open[retriever] || moved.to_mm >= moved.from_mm {
            continue;
        }
        let [on_wall_n, on_clot_n] = retriever_holds_n(plan, before, retriever)?;
        if on_wall_n + on_clot_n <= 0.0 {
            // all of it is covered: nothing slides on the vessel
            continue;
        }
        let near_mm = before.retriever_proximal_mm(plan, retriever).unwrap_or(0.0);
        let mut cover: Vec<CoverMoment> = Vec::new();
        for i in 0..=MOMENTS {
            let share = f64::from(i) / f64::from(MOMENTS);
            cover.push(moment(plan, before, moves, moved, share));
            if cover.last().is_some_and(|c| c.bare_mm <= 0.0) {
                break;
            }
        }
        found.push(Pull {
            retriever,
            on_wall_n,
            on_clot_n,
            capstan_factor: capstan_below(plan, before, retriever, near_mm),
            by_rods_n: placed
                .iter()
                .flat_map(|l| &l.loads)
                .find(|l| l.device == retriever && l.direction == Direction::Pull)
                .map(|l| l.hub_force_n),
            cover,
        });
    }
    Ok(found)
}

fn moment(plan: &Plan, before: &State, moves: &[Move], pulled: &Move, share: f64) -> CoverMoment {
    let mut state = before.clone();
    for m in moves {
        if let Some(at) = &mut state.in_place[m.device] {
            at.tip_mm = m.from_mm + share * (m.to_mm - m.from_mm);
        }
    }
    let open = state.open_profile(plan, pulled.device);
    let length = |by: Option<usize>| -> f64 {
        let part = open.iter().filter(|o| o.covered_by == by);
        // a sum of nothing would be a negative zero
        part.map(|o| o.length_mm).fold(0.0, |sum, mm| sum + mm)
    };
    let bare_mm = length(None);
    let mut covers: Vec<usize> = open.iter().filter_map(|o| o.covered_by).collect();
    covers.sort_unstable();
    covers.dedup();
    CoverMoment {
        moved_mm: share * (pulled.from_mm - pulled.to_mm),
        near_mm: state
            .retriever_proximal_mm(plan, pulled.device)
            .unwrap_or(0.0),
        covered_mm: open.iter().map(|o| o.length_mm).sum::<f64>() - bare_mm,
        bare_mm,
        covered_by: covers
            .into_iter()
            .max_by(|a, b| length(Some(*a)).total_cmp(&length(Some(*b)))),
    }
}

/// Hub force over the force at a station from the bends below it, with the friction of what the
/// device lies in.
fn capstan_below(plan: &Plan, state: &State, device: usize, from_mm: f64) -> f64 {
    let shaft = &plan.devices[device].device;
    let cells = plan
        .track
        .stations
        .windows(2)
        .take_while(|c| c[1].s_mm <= from_mm);
    capstan_factor(cells.map(|c| {
        let middle_mm = f64::midpoint(c[0].s_mm, c[1].s_mm);
        let against = state
            .container_at(plan, device, middle_mm)
            .map_or(Surface::Vessel, |j| {
                let outer = &plan.devices[j].device;
                Surface::Device(outer.inner_surface.unwrap_or(outer.outer_surface))
            });
        BendContact {
            turning_rad: c[1].turning_rad - c[0].turning_rad,
            friction_coefficient: plan.values.friction.of(shaft.outer_surface, against),
        }
    }))
}
