//! Stents, their edges, pulls and suction of a rehearsal, as plain data.

use super::edge_findings::edge_finding;
use crate::geometry::{ecst_percent, nascet_percent};
use crate::mechanics::{MechanicsError, PUMP_KPA};
use crate::procedure::reason::{Retrieving, StentEdge, Unknown};
use crate::procedure::{
    EdgeKind, EdgeReport, Finding, Likelihood, Meets, Passed, Plan, State, StepEffect,
    edge_passages, judge_edge, lumen_flow, pulls, rim_gap_mm, samples,
};
use crate::threads::{all_of_them, in_order};
use crate::units::fixed;
use serde::{Deserialize, Serialize};

/// What goes with every probability at an edge.
pub const EDGE_CAUTION: &str = "Shares of samples compare plans with each other. What is drawn at random are assumed spreads \
of gap, rotation, strut, offset, rounding, tolerance and fall-back; the one published rate found is of another device class (catheters that retrieve \
filters: 1 of 20 protected stentings, J Invasive Cardiol 2016;28:334), so they are no clinical rate.";

/// Distances of the covering tip beyond the edge at which the sweep is sampled, mm.
const SWEEP_MM: [f64; 13] = [
    -20.0, -10.0, -5.0, -2.0, 0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0,
];

/// One crossing of one edge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct EdgeRow {
    /// Step.
    pub step: usize,
    /// Device that crosses.
    pub device: String,
    /// Stent.
    pub stent: String,
    /// Which edge.
    pub edge: EdgeKind,
    /// Station of the edge, mm.
    pub station_mm: f64,
    /// The same in words.
    pub at: String,
    /// Away from the access.
    pub forward: bool,
    /// Whether the edge looks towards what arrives.
    pub faces: bool,
    /// What of the device meets it.
    pub meets: Meets,
    /// What the device rides on.
    pub riding_on: Option<String>,
    /// Height of the step that arrives, mm.
    pub step_mm: f64,
    /// How far behind the device's tip it lies, mm.
    pub behind_tip_mm: f64,
    /// Whether rods placed the device there; else it was taken to lie on the wall inside the bend.
    pub placed_by_rods: bool,
    /// Offset of the device from the middle of the vessel, on the first and second normal, mm.
    pub offset_mm: [f64; 2],
    /// Room it has there, mm.
    pub room_mm: f64,
    /// Angle between device and vessel, degrees.
    pub approach_deg: f64,
    /// Largest gap of the rim, mm.
    pub rim_gap_mm: f64,
    /// Gap of the rim at twelve even directions from the first normal on, mm.
    pub rim_gaps_mm: Vec<f64>,
    /// Thickness of its struts, mm.
    pub strut_mm: f64,
    /// Signed clearance, mm: negative is interference.
    pub clearance_mm: f64,
    /// Depth that the rounded ledge rides over, mm.
    pub rides_over_mm: f64,
    /// Whether a catheter covers the crossing at every instant, under load.
    pub shielded: bool,
    /// The catheter that covers it, or comes nearest to it.
    pub covered_by: Option<String>,
    /// Smallest distance of that tip beyond the edge, mm, before it falls back.
    pub cover_mm: Option<f64>,
    /// The same under load.
    pub cover_under_load_mm: Option<f64>,
    /// Fall-back of that tip, mm.
    pub fall_back_mm: f64,
    /// Share of samples that catch, 0 to 1.
    pub probability: f64,
    /// Its 95 % interval.
    pub interval: [f64; 2],
    /// How likely it catches.
    pub likelihood: Likelihood,
    /// The same with nothing covering the crossing.
    pub probability_bare: f64,
    /// Samples drawn.
    pub samples: u32,
    /// Seed.
    pub seed: u64,
    /// Distance of the covering tip beyond the edge from which at most one sample in a hundred
    /// catches, mm.
    pub safe_cover_mm: f64,
    /// What would help, with the share of samples that catch then.
    pub helps: Vec<(String, f64)>,
    /// Share of samples that catch by distance of the covering tip beyond the edge (mm), with its
    /// interval; only for open retrievers.
    pub sweep: Vec<SweepPoint>,
}

/// One point of a sweep.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct SweepPoint {
    /// Distance of the covering tip beyond the edge, mm; negative short of it.
    pub cover_mm: f64,
    /// Share of samples that catch.
    pub probability: f64,
    /// Its 95 % interval.
    pub interval: [f64; 2],
}

/// A stent after the last step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct StentRow {
    /// Its name in the stack.
    pub name: String,
    /// Near end, mm.
    pub proximal_mm: f64,
    /// The same in words.
    pub proximal_at: String,
    /// Far end, mm.
    pub distal_mm: f64,
    /// The same in words.
    pub distal_at: String,
    /// Length, mm.
    pub length_mm: f64,
    /// Length at rest, mm.
    pub free_length_mm: f64,
    /// How far the near end lies below the bifurcation (positive) or above it, mm, where the route
    /// has one.
    pub below_bifurcation_mm: Option<f64>,
    /// By lesion it lies in: what it covers on each side, and what it leaves.
    pub covers: Vec<CoverRow>,
    /// Station (mm), diameter held (mm) and artery round it (mm), from the far end to the near one.
    pub profile: Vec<[f64; 3]>,
}

/// A lesion in a stent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct CoverRow {
    /// The lesion.
    pub lesion: String,
    /// Wall covered below it, mm; negative leaves it bare.
    pub below_mm: f64,
    /// Wall covered above it, mm.
    pub above_mm: f64,
    /// Lumen before, mm, with NASCET and ECST percent.
    pub before: [f64; 3],
    /// The same with the stent alone.
    pub stent_alone: [f64; 3],
    /// The same after the last step.
    pub after: [f64; 3],
}

/// A lumen on suction during a step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct SuctionRow {
    /// Step.
    pub step: usize,
    /// The catheter.
    pub device: String,
    /// What lies in it.
    pub occupants: Vec<String>,
    /// Share of the free flow left with what lies in it in the middle, 0 to 1.
    pub least_share: f64,
    /// The same with it on the wall.
    pub most_share: f64,
    /// Pull on a clot that closes the tip, N, of an ideal seal.
    pub tip_force_n: f64,
    /// Suction it is computed for, kPa.
    pub pump_kpa: f64,
}

/// A pull of an open retriever.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct PullRow {
    /// Step.
    pub step: usize,
    /// The retriever.
    pub retriever: String,
    /// Pull at the retriever, N: friction of its outward force on the wall.
    pub on_wall_n: f64,
    /// The same on clot, N.
    pub on_clot_n: f64,
    /// Hub force over both, from the bends below.
    pub capstan_factor: f64,
    /// Pull at the hub, N.
    pub at_hub_n: f64,
    /// Whether rods found it, stiffness and all; else it is that of a limp string in the bends below.
    pub by_rods: bool,
    /// All that in one sentence.
    pub say: String,
    /// Moments of the pull: how far it has come back, length covered, length bare (mm), and what
    /// covers it.
    pub cover: Vec<(f64, f64, f64, Option<String>)>,
}

/// What is gathered of stents, edges, pulls and suction.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct EdgeRows {
    pub(super) edges: Vec<EdgeRow>,
    pub(super) pulls: Vec<PullRow>,
    pub(super) suction: Vec<SuctionRow>,
    pub(super) counterfactuals: Vec<String>,
}

/// The crossings of a step, judged.
pub(super) type Crossings = Vec<Result<EdgeReport, MechanicsError>>;

/// Judges every crossing of a stent's edge, step by step, on all cores: each is thousands of samples.
pub(super) fn crossings(plan: &Plan, passed: &[Passed]) -> Vec<Crossings> {
    let passages = passed.iter().enumerate().flat_map(|(step, done)| {
        let crossed = edge_passages(plan, &done.before, &done.after, &done.effect.moves);
        crossed.into_iter().map(move |passage| (step, passage))
    });
    let passages: Vec<_> = passages.collect();
    let judged = in_order(&passages, all_of_them(), |(step, passage)| {
        let done = &passed[*step];
        judge_edge(plan, &done.before, passage, &done.effect.placements)
    });
    let mut by_step: Vec<Crossings> = passed.iter().map(|_| Vec::new()).collect();
    for ((step, _), report) in passages.iter().zip(judged) {
        by_step[*step].push(report);
    }
    by_step
}

impl EdgeRows {
    /// Takes over a step's crossings and judges its pulls; returns what the step is told.
    pub(super) fn step(
        &mut self,
        plan: &Plan,
        step: usize,
        [before, after]: [&State; 2],
        effect: &StepEffect,
        crossings: Crossings,
    ) -> Vec<Finding> {
        let mut findings = rims(plan, before, after);
        for judged in crossings {
            let report = match judged {
                Ok(report) => report,
                Err(error) => {
                    let what = error.to_string();
                    findings.push(Finding::undecided(Unknown::Crossing { what }));
                    continue;
                }
            };
            findings.push(edge_finding(plan, before, &report));
            // one is enough: a pull in two steps crosses the same edge twice
            if self.counterfactuals.is_empty() {
                self.counterfactuals
                    .extend(below_the_stent(plan, before, &report));
            }
            self.edges.push(edge_row(plan, before, step, &report));
        }
        let pulled =
            pulls(plan, before, &effect.moves, &effect.placements).unwrap_or_else(|error| {
                let what = error.to_string();
                findings.push(Finding::undecided(Unknown::Sliding { what }));
                Vec::new()
            });
        for pull in pulled {
            let name = |k: usize| plan.devices[k].name.clone();
            let at_hub_n = pull.at_hub_n();
            let slides = Finding::note(Retrieving::RetrieverSlides {
                device: name(pull.retriever),
                on_wall_n: pull.on_wall_n,
                on_clot_n: pull.on_clot_n,
                at_hub_n,
                by_rods: pull.by_rods_n.is_some(),
            });
            self.pulls.push(PullRow {
                step,
                retriever: name(pull.retriever),
                on_wall_n: pull.on_wall_n,
                on_clot_n: pull.on_clot_n,
                capstan_factor: pull.capstan_factor,
                at_hub_n,
                by_rods: pull.by_rods_n.is_some(),
                say: slides.in_words(),
                cover: pull
                    .cover
                    .iter()
                    .map(|m| (m.moved_mm, m.covered_mm, m.bare_mm, m.covered_by.map(name)))
                    .collect(),
            });
            findings.push(slides);
        }
        findings
    }

    /// Records what is on suction after a step.
    pub(super) fn suction(&mut self, plan: &Plan, step: usize, after: &State) {
        for device in (0..plan.devices.len()).filter(|k| after.suction[*k]) {
            let flow = lumen_flow(plan, after, device);
            let occupants = flow.occupants.iter();
            self.suction.push(SuctionRow {
                step,
                device: plan.devices[device].name.clone(),
                occupants: occupants.map(|k| plan.devices[*k].name.clone()).collect(),
                least_share: flow.least_share,
                most_share: flow.most_share,
                tip_force_n: flow.tip_force_n,
                pump_kpa: PUMP_KPA,
            });
        }
    }
}

/// Rims that stand off the wall, of stents that this step has laid down or widened.
fn rims(plan: &Plan, before: &State, after: &State) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (stent, lies) in after.stents.iter().enumerate() {
        if before.stents.get(stent).is_some_and(|was| was == lies) {
            continue;
        }
        for edge in [EdgeKind::Lower, EdgeKind::Upper] {
            match rim_gap_mm(plan, after, stent, edge) {
                Ok(gap_mm) if gap_mm >= plan.rules.edge.rim_stands_off_mm => {
                    findings.push(Finding::warning(StentEdge::RimStandsOff {
                        stent: plan.devices[lies.device].name.clone(),
                        edge,
                        gap_mm,
                    }));
                }
                Ok(_) => {}
                Err(error) => {
                    let what = error.to_string();
                    findings.push(Finding::undecided(Unknown::Crossing { what }));
                }
            }
        }
    }
    findings
}

fn edge_row(plan: &Plan, before: &State, step: usize, report: &EdgeReport) -> EdgeRow {
    let name = |k: usize| plan.devices[k].name.clone();
    let (passage, crossing) = (&report.passage, &report.crossing);
    let point = |cover_mm: f64| {
        let share = report.share_at(cover_mm);
        SweepPoint {
            cover_mm,
            probability: share.probability,
            interval: [share.low, share.high],
        }
    };
    EdgeRow {
        step,
        device: name(passage.device),
        stent: name(before.stents[passage.stent].device),
        edge: passage.kind,
        station_mm: passage.station_mm,
        at: plan.place_in_words(passage.station_mm),
        forward: passage.forward,
        faces: passage.faces,
        meets: passage.meets,
        riding_on: passage.riding_on.map(name),
        step_mm: crossing.ledge.height_mm(),
        behind_tip_mm: passage.tip_mm() - passage.station_mm,
        placed_by_rods: report.placed_by_rods,
        offset_mm: crossing.place.offset_mm,
        room_mm: (crossing.rim.wall_radius_mm - crossing.ledge.outer_radius_mm).max(0.0),
        approach_deg: crossing.place.approach_rad.to_degrees(),
        rim_gap_mm: crossing.rim.worst_gap().0,
        rim_gaps_mm: report.gaps_mm.clone(),
        strut_mm: crossing.rim.thickness_mm,
        clearance_mm: report.clearance.clearance_mm,
        rides_over_mm: report.clearance.rides_over_mm,
        shielded: report.shielded(),
        covered_by: passage.cover.map(|c| name(c.device)),
        cover_mm: crossing.cover_mm,
        cover_under_load_mm: report.under_load_mm,
        fall_back_mm: crossing.place.fall_back_mm,
        probability: report.share.probability,
        interval: [report.share.low, report.share.high],
        likelihood: report.likelihood(&plan.rules.edge),
        probability_bare: report.bare.probability,
        samples: plan.rules.edge.sampling.samples,
        seed: plan.rules.edge.sampling.seed,
        safe_cover_mm: report.safe_mm,
        helps: report
            .helps
            .iter()
            .map(|h| (h.what.in_words(plan), h.share.probability))
            .collect(),
        sweep: if passage.meets == Meets::Struts {
            SWEEP_MM.map(point).to_vec()
        } else {
            Vec::new()
        },
    }
}

/// What the covered crossing of an upper edge would be with the guide below the stent.
fn below_the_stent(plan: &Plan, before: &State, report: &EdgeReport) -> Option<String> {
    let passage = &report.passage;
    let cover = passage.cover.filter(|_| report.shielded())?;
    if passage.meets != Meets::Struts || passage.kind != EdgeKind::Upper {
        return None;
    }
    let name = |k: usize| plan.devices[k].name.as_str();
    let bare = Likelihood::of(&report.bare, &plan.rules.edge);
    Some(format!(
        "With the {} below the stent it is {} that the open {} catches at the {}'s upper edge ({:.0} % of samples, inside the {} {}); from {} mm beyond the edge on it is at most {:.0} %.",
        name(cover.device),
        bare.in_words(),
        name(passage.device),
        name(before.stents[passage.stent].device),
        100.0 * report.bare.probability,
        name(cover.device),
        samples(report.share.probability),
        fixed(report.safe_mm.ceil(), 0),
        100.0 * plan.rules.edge.named_at
    ))
}

/// Stents as they lie after the last step.
pub(super) fn stent_rows(plan: &Plan, state: &State) -> Vec<StentRow> {
    let stents = state.stents.iter();
    stents
        .map(|stent| {
            let length_mm = stent.distal_mm - stent.proximal_mm;
            let free_length_mm = match &plan.devices[stent.device].device.payload {
                Some(crate::device::Payload::Stent(spec)) => spec.free_length_mm,
                _ => length_mm,
            };
            let covers = plan.track.lesions.iter().enumerate();
            let covers = covers.filter_map(|(i, lesion)| {
                let alone_mm = stent.alone.iter().find(|a| a.0 == i)?.1;
                let original_mm = plan.track.healthy_diameter_at(lesion.middle_mm());
                let measures = |lumen_mm: f64| {
                    [
                        lumen_mm,
                        nascet_percent(lumen_mm, lesion.reference_mm),
                        ecst_percent(lumen_mm, original_mm),
                    ]
                };
                Some(CoverRow {
                    lesion: lesion.name.clone(),
                    below_mm: lesion.start_mm - stent.proximal_mm,
                    above_mm: stent.distal_mm - lesion.end_mm,
                    before: measures(lesion.residual_mm),
                    stent_alone: measures(alone_mm),
                    after: measures(state.residual_mm[i]),
                })
            });
            StentRow {
                name: plan.devices[stent.device].name.clone(),
                proximal_mm: stent.proximal_mm,
                proximal_at: plan.place_in_words(stent.proximal_mm),
                distal_mm: stent.distal_mm,
                distal_at: plan.place_in_words(stent.distal_mm),
                length_mm,
                free_length_mm,
                below_bifurcation_mm: plan
                    .track
                    .landmark("carotid-bifurcation")
                    .ok()
                    .map(|at_mm| at_mm - stent.proximal_mm),
                covers: covers.collect(),
                profile: stent
                    .profile
                    .iter()
                    .map(|p| [p.s_mm, p.diameter_mm, p.wall_mm])
                    .collect(),
            }
        })
        .collect()
}
