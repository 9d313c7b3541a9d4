//! What a crossing of a stent's edge comes to: clearance, cover, chance, and what would help.

use super::ledge::ledge_of;
use super::passages::{EdgePassage, Meets};
use super::place::settled_at_edge;
use super::rim::rim_at;
use crate::device::LumenKind;
use crate::math;
use crate::mechanics::{Chance, Clearance, Crossing, Ledge, MechanicsError, Placement, Rim, Share};
use crate::procedure::placing::StackPlacement;
use crate::procedure::reason::Likelihood;
use crate::procedure::script::{EdgeRules, Plan};
use crate::procedure::state::State;

/// Share of the catches that something may leave and still be worth saying: what takes away less than a
/// third is lost in the spreads that are assumed.
const WORTH_SAYING: f64 = 0.67;
/// Directions round the rim for which gaps are given.
const DIRECTIONS: u32 = 12;

/// Another way to cross an edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Remedy {
    /// The covering catheter further up.
    CoverFurtherUp {
        /// Index of the catheter.
        device: usize,
        /// By how much, mm.
        by_mm: f64,
    },
    /// What it rides on kept in the middle of the vessel.
    OffTheWall,
    /// Something thicker inside as its nose: half the step.
    ThickerNose,
    /// A balloon inflated half out of its tip: no step is left.
    BalloonInTip,
}

/// What would help at an edge, and what it would bring.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeHelp {
    /// What to do.
    pub what: Remedy,
    /// Share of samples that catch then.
    pub share: Share,
}

/// A crossing judged.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeReport {
    /// Who crosses what.
    pub passage: EdgePassage,
    /// Rim, ledge and place that were put in.
    pub crossing: Crossing,
    /// Whether rods placed the device; else it was taken to lie on the wall inside the bend, or its
    /// place was given.
    pub placed_by_rods: bool,
    /// Signed clearance, everything as nominal.
    pub clearance: Clearance,
    /// Gaps of the rim at twelve even directions from the first normal on, mm.
    pub gaps_mm: Vec<f64>,
    /// Smallest distance of the covering tip beyond the edge under load, mm; none where nothing
    /// covers.
    pub under_load_mm: Option<f64>,
    /// Share of samples that catch, cover as it is.
    pub share: Share,
    /// The same with nothing covering the crossing.
    pub bare: Share,
    /// Distance of the covering tip beyond the edge at which the share falls to
    /// [`EdgeRules::named_at`](crate::procedure::EdgeRules::named_at), mm.
    pub safe_mm: f64,
    /// What would help, the most effective first; empty where little catches.
    pub helps: Vec<EdgeHelp>,
    chance: Chance,
}

impl EdgeReport {
    /// Whether something covers the crossing at every instant, under load.
    #[must_use]
    pub fn shielded(&self) -> bool {
        self.under_load_mm.is_some_and(|beyond_mm| beyond_mm >= 0.0)
    }

    /// How likely it catches.
    #[must_use]
    pub fn likelihood(&self, rules: &EdgeRules) -> Likelihood {
        Likelihood::of(&self.share, rules)
    }

    /// Share of samples that catch with the covering tip this far beyond the edge (mm; negative:
    /// short of it).
    #[must_use]
    pub fn share_at(&self, beyond_mm: f64) -> Share {
        self.chance.with_cover(Some(beyond_mm))
    }
}

/// Judges a crossing, the device placed by rods in the stretch round the edge.
///
/// `placed` is how the stack lay through the step: the covering tip's fall-back under the pull is taken
/// from it, or from the rules where lengths were ruled.
///
/// # Errors
/// [`MechanicsError`] for a crossing that cannot be posed.
pub fn judge_edge(
    plan: &Plan,
    before: &State,
    passage: &EdgePassage,
    placed: &[StackPlacement],
) -> Result<EdgeReport, MechanicsError> {
    let rim = rim_at(plan, before, passage)?;
    let ledge = ledge_of(plan, passage);
    let settled = settled_at_edge(plan, before, passage);
    let placed_by_rods = settled.is_ok();
    let mut place = settled.unwrap_or_else(|_| on_the_inside(&rim, &ledge));
    place.fall_back_mm = fall_back_mm(plan, before, passage, placed);
    let report = judge_placed(plan, passage, rim, ledge, place)?;
    Ok(EdgeReport {
        placed_by_rods,
        ..report
    })
}

/// Judges a crossing with the device's place at the edge given: offset, approach and fall-back.
///
/// # Errors
/// As [`judge_edge`].
pub fn judge_edge_at(
    plan: &Plan,
    before: &State,
    passage: &EdgePassage,
    place: Placement,
) -> Result<EdgeReport, MechanicsError> {
    let rim = rim_at(plan, before, passage)?;
    judge_placed(plan, passage, rim, ledge_of(plan, passage), place)
}

fn judge_placed(
    plan: &Plan,
    passage: &EdgePassage,
    rim: Rim,
    ledge: Ledge,
    place: Placement,
) -> Result<EdgeReport, MechanicsError> {
    let rules = &plan.rules.edge;
    // a retriever wider than its vessel opens to the wall
    let outer_radius_mm = ledge.outer_radius_mm.min(rim.wall_radius_mm);
    let crossing = Crossing {
        rim,
        ledge: Ledge {
            outer_radius_mm,
            inner_radius_mm: ledge.inner_radius_mm.min(outer_radius_mm),
            ..ledge
        },
        place,
        faces: passage.faces,
        cover_mm: passage.cover.map(|c| c.beyond_mm),
    };
    let chance = crossing.chance(&rules.spread, &rules.sampling)?;
    let mut report = EdgeReport {
        passage: *passage,
        placed_by_rods: false,
        clearance: crossing.clearance()?,
        gaps_mm: rim.gaps_mm(DIRECTIONS),
        under_load_mm: crossing.cover_mm.map(|c| c - place.fall_back_mm),
        share: chance.with_cover(crossing.cover_mm),
        bare: chance.with_cover(None),
        safe_mm: chance.cover_for_mm(rules.named_at),
        helps: Vec::new(),
        crossing,
        chance,
    };
    report.helps = helps(plan, &report)?;
    Ok(report)
}

/// Against the wall on the inside of the bend: where a device that no rod solve placed is taken to be.
fn on_the_inside(rim: &Rim, ledge: &Ledge) -> Placement {
    let room_mm = (rim.wall_radius_mm - ledge.outer_radius_mm).max(0.0);
    let (sin, cos) = math::sin_cos(rim.inside_rad);
    Placement {
        offset_mm: [room_mm * cos, room_mm * sin],
        ..Placement::default()
    }
}

/// How far the covering tip comes back under the pull, mm.
fn fall_back_mm(
    plan: &Plan,
    before: &State,
    passage: &EdgePassage,
    placed: &[StackPlacement],
) -> f64 {
    let Some(cover) = passage.cover else {
        return 0.0;
    };
    if cover.withdrawn {
        // where it lies is part of the move already
        return 0.0;
    }
    let Some(tip_mm) = before.tip_mm(cover.device) else {
        return 0.0;
    };
    let loaded = placed
        .iter()
        .filter(|l| l.shape.is_some())
        .filter_map(|l| l.loaded_tip_mm.get(cover.device).copied().flatten())
        .min_by(f64::total_cmp);
    loaded.map_or(plan.rules.edge.guide_fall_back_mm, |loaded_mm| {
        (tip_mm - loaded_mm).max(0.0)
    })
}

/// Other ways to cross, each sampled with the same draws.
fn helps(plan: &Plan, report: &EdgeReport) -> Result<Vec<EdgeHelp>, MechanicsError> {
    let rules = &plan.rules.edge;
    if report.share.probability < rules.warns_at {
        return Ok(Vec::new());
    }
    let passage = &report.passage;
    let mut found = Vec::new();
    if passage.meets == Meets::Struts
        && let Some(cover) = passage.cover
    {
        found.push(EdgeHelp {
            what: Remedy::CoverFurtherUp {
                device: cover.device,
                by_mm: (report.safe_mm - cover.beyond_mm).max(0.0).ceil(),
            },
            share: report.chance.with_cover(Some(report.safe_mm)),
        });
    }
    let mut vary = |what: Remedy, change: &dyn Fn(&mut Crossing)| {
        let mut crossing = report.crossing;
        change(&mut crossing);
        crossing
            .chance(&rules.spread, &rules.sampling)
            .map(|chance| {
                found.push(EdgeHelp {
                    what,
                    share: chance.with_cover(crossing.cover_mm),
                });
            })
    };
    vary(Remedy::OffTheWall, &|c| {
        c.place.offset_mm = [0.0; 2];
    })?;
    if passage.meets == Meets::Nose && passage.step.is_none() {
        let half = |c: &mut Crossing| {
            let half_mm = 0.5 * c.ledge.height_mm();
            c.ledge.inner_radius_mm = c.ledge.outer_radius_mm - half_mm;
        };
        vary(Remedy::ThickerNose, &half)?;
        if matches!(plan.devices[passage.device].device.lumen, LumenKind::Full) {
            vary(Remedy::BalloonInTip, &|c| {
                c.ledge.inner_radius_mm = c.ledge.outer_radius_mm;
            })?;
        }
    }
    found.retain(|h| h.share.probability < WORTH_SAYING * report.share.probability);
    found.sort_by(|a, b| a.share.probability.total_cmp(&b.share.probability));
    Ok(found)
}
