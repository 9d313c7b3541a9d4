//! What a room goes through beforehand: the moments to watch, and the questions to be answered.

use super::outcome::{Outcome, StepRow, Verdict};
use crate::device::{DeviceClass, Verdict as FitVerdict};
use crate::procedure::reason::Lesion;
use crate::procedure::{
    Action, Direction, Likelihood, Plan, Plane, Reason, Region, ValueRow, Where,
};
use crate::units::fixed;
use serde::Serialize;

/// Moments and questions at most: what a team keeps in mind.
const MOST: usize = 5;

/// A step that everybody looks up for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MomentToWatch {
    /// Its number, from 1.
    pub step: usize,
    /// What is done.
    pub say: String,
    /// What to look at meanwhile.
    pub watch: String,
}

/// What is talked over before anybody stands at the table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Briefing {
    /// At most five, in the order of the script.
    pub moments: Vec<MomentToWatch>,
    /// At most five, the weightiest first.
    pub questions: Vec<String>,
}

impl Briefing {
    /// Of a plan and what came of it.
    #[must_use]
    pub fn of(plan: &Plan, outcome: &Outcome) -> Self {
        let mut moments = moments(plan, outcome);
        moments.truncate(MOST);
        moments.sort_by_key(|m| m.step);
        let mut questions: Vec<String> = [
            what_instead(outcome),
            way_in(plan, outcome),
            nobody_holds(outcome),
            catches(outcome),
            shelf(outcome),
            narrow(outcome),
        ]
        .into_iter()
        .flatten()
        .collect();
        questions.truncate(MOST);
        Self { moments, questions }
    }
}

/// Moments by weight: where the plan breaks, the way back, where nobody holds the rail, what is opened, the guide past
/// the stent. A step is told once.
fn moments(plan: &Plan, outcome: &Outcome) -> Vec<MomentToWatch> {
    let mut found: Vec<MomentToWatch> = Vec::new();
    let mut add = |step: usize, watch: String| {
        let Some(row) = outcome.steps.iter().find(|s| s.number == step) else {
            return;
        };
        if found.iter().all(|m| m.step != step) {
            found.push(MomentToWatch {
                step,
                say: row.say.clone(),
                watch,
            });
        }
    };
    if let Some((step, _)) = outcome.breaks() {
        let words = match outcome.verdict {
            Verdict::Undecided => "from here on it is not known whether the plan holds",
            _ => "here the plan breaks",
        };
        add(step, words.to_owned());
    }
    let looked = Looks::of(plan);
    for wanted in [Act::Back, Act::Stent, Act::Opens, Act::GuideBeyond] {
        let Some(step) = first_step(plan, wanted) else {
            continue;
        };
        add(
            step,
            format!("{}{}", wanted.watch(), looked.at(step, wanted)),
        );
        if let (Act::Back, Some(row)) = (wanted, outcome.longest_blind()) {
            add(
                row.step,
                format!(
                    "the far end of the {}: nobody holds it for {} cm",
                    row.rail,
                    fixed(0.1 * row.blind_mm, 0)
                ),
            );
        }
    }
    found
}

/// What happens in a step, as far as it is watched for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Act {
    /// The open retriever comes back.
    Back,
    /// A stent is released.
    Stent,
    /// The retriever opens.
    Opens,
    /// A guide goes beyond a stent.
    GuideBeyond,
}

impl Act {
    const fn watch(self) -> &'static str {
        match self {
            Self::Back => {
                "the retriever at the stent's edge and in the guide's mouth, the suction's flow"
            }
            Self::Stent => "both ends of the stent against the lesion, the retriever's markers",
            Self::Opens => {
                "the markers part; from here on the retriever is not to be sheathed again"
            }
            Self::GuideBeyond => {
                "the guide's tip against the stent's upper edge, before the retriever moves"
            }
        }
    }

    const fn region(self) -> Region {
        match self {
            Self::Opens => Region::Head,
            Self::Back | Self::Stent | Self::GuideBeyond => Region::Neck,
        }
    }
}

/// The first step of a kind, from 1.
fn first_step(plan: &Plan, wanted: Act) -> Option<usize> {
    let class = |name: &str| {
        let k = plan.device_index(name)?;
        Some(plan.devices[k].device.class)
    };
    let mut open = false;
    plan.script
        .iter()
        .position(|step| match (&step.act, wanted) {
            (Action::Unsheathe { .. }, Act::Opens) => true,
            (Action::Unsheathe { .. }, Act::Back) => {
                open = true;
                false
            }
            (Action::DeployStent { .. }, Act::Stent) => true,
            (Action::Advance { device, to, .. }, Act::GuideBeyond) => {
                let guide = matches!(
                    class(device),
                    Some(DeviceClass::Guide | DeviceClass::BalloonGuide)
                );
                let past = |name: &str| {
                    name.split_once('.').is_some_and(|(of, end)| {
                        end == "distal" && class(of) == Some(DeviceClass::CarotidStent)
                    })
                };
                guide && matches!(to, Where::Past(name, _) if past(name))
            }
            (act @ (Action::Withdraw { .. } | Action::WithdrawTogether { .. }), Act::Back) => {
                let devices = act.devices();
                let mut classes = devices.iter().filter_map(|name| class(name));
                open && classes.any(|class| class == DeviceClass::Retriever)
            }
            _ => false,
        })
        .map(|i| i + 1)
}

/// Which plane looks where, step by step.
struct Looks(Vec<[Option<Region>; 2]>);

impl Looks {
    fn of(plan: &Plan) -> Self {
        let mut now = [None; 2];
        let after = plan.script.iter().map(|step| {
            if let Action::Watch { plane, region } = &step.act {
                now[plane.index()] = Some(*region);
            }
            now
        });
        Self(after.collect())
    }

    /// The plane that shows what counts in a step, in words; that there is none, where planes are pointed at all.
    fn at(&self, step: usize, act: Act) -> String {
        let Some(now) = self.0.get(step.saturating_sub(1)) else {
            return String::new();
        };
        let shows = [Plane::A, Plane::B]
            .into_iter()
            .find(|plane| now[plane.index()] == Some(act.region()));
        match shows {
            Some(plane) => format!(" (plane {})", plane.in_words()),
            None if now.iter().all(Option::is_none) => String::new(),
            None => format!(" (no plane is on the {})", act.region().in_words()),
        }
    }
}

fn what_instead(outcome: &Outcome) -> Option<String> {
    let (step, _) = outcome.breaks()?;
    Some(match outcome.verdict {
        Verdict::Undecided => {
            format!("How is step {step} tried out first, of which nothing is known?")
        }
        _ => format!("The plan breaks at step {step}: what is done instead?"),
    })
}

/// The way from the puncture to the neck decides who is short, and is seldom measured.
fn way_in(plan: &Plan, outcome: &Outcome) -> Option<String> {
    let values = &plan.vessel.values;
    let access = values.iter().find(|v| v.name == "access")?;
    let prefix = format!("{}.", access.value.rsplit(' ').next()?);
    let assumed_length = |v: &ValueRow| {
        v.name.starts_with(&prefix)
            && v.unit == "mm"
            && v.assumed_from.is_some()
            && !v.name.contains("diameter")
    };
    if !values.iter().any(assumed_length) {
        return None;
    }
    let least = outcome.reach.first()?;
    let way_mm = plan.track.landmark("common-carotid-origin").ok()?;
    let sure = outcome.sure.reach(&least.device);
    let spread = sure.map_or_else(String::new, |m| format!(" ± {}", fixed(m.spread_mm, 0)));
    let spare = match least.margin_mm {
        m if m >= 0.5 => format!("has {} mm{spread} to spare", fixed(m, 0)),
        m if m > -0.5 => "has nothing to spare".to_owned(),
        m => format!("is {} mm{spread} short", fixed(-m, 0)),
    };
    let chance = outcome.sure.chance_in_words();
    let chance = chance.map_or_else(String::new, |words| format!("; {words}"));
    Some(format!(
        "How long is the way from the puncture to the origin of the common carotid? {} mm are reckoned with, of which much is assumed; the {} {spare}{chance}.",
        fixed(way_mm, 0),
        least.device
    ))
}

fn nobody_holds(outcome: &Outcome) -> Option<String> {
    let row = outcome.longest_blind()?;
    let goes = match row.direction {
        Direction::Loading => "goes on",
        Direction::Removal => "comes off",
    };
    Some(format!(
        "Who watches the far end of the {} while the {} {goes} (step {}), and is an extension or a flush with saline at hand?",
        row.rail, row.device, row.step
    ))
}

fn catches(outcome: &Outcome) -> Option<String> {
    let may = outcome.edges.iter();
    let may = may.filter(|e| e.likelihood > Likelihood::Unlikely);
    let worst = may.max_by(|a, b| a.probability.total_cmp(&b.probability))?;
    Some(format!(
        "What is done if the {} catches at the {} of the {} (step {})?",
        worst.device,
        worst.edge.in_words(),
        worst.stent,
        worst.step
    ))
}

/// Fits that rest on a few hundredths of a millimetre.
fn shelf(outcome: &Outcome) -> Option<String> {
    let tight = outcome.fits.first()?;
    (tight.verdict != FitVerdict::Fits).then(|| {
        format!(
            "Does the {} run in the {} as they lie on the shelf? Their files leave {} mm.",
            tight.inside.join(" beside the "),
            tight.around,
            fixed(tight.clearance_mm, 2)
        )
    })
}

fn narrow(outcome: &Outcome) -> Option<String> {
    let told = |step: &StepRow| {
        step.findings.iter().find_map(|f| match &f.reason {
            Reason::Lesion(Lesion::Dilates { narrow, .. }) => Some(narrow.clone()),
            _ => None,
        })
    };
    let narrow = outcome.steps.iter().find_map(told)?;
    Some(format!(
        "Which balloon opens the lesion first if the {} ({} mm) does not pass the {} mm it leaves?",
        narrow.device,
        fixed(narrow.outer_mm, 2),
        fixed(narrow.residual_mm, 2)
    ))
}
