//! Which steps a film of a given length dwells on, and from where each is seen.

use crate::device::DeviceClass;
use crate::output::screen::{Place, Places, meant_tip};
use crate::procedure::{Action, Region, Severity};
use crate::stage::{Stage, StepCard};

/// Time the title stands, s: two lines and the caution; less in short films.
const TITLE_S: f64 = 5.0;
/// Time the verdict stands, s: its first lines can be read, for the others one stops the film; less in short
/// films.
const VERDICT_S: f64 = 12.0;
/// Largest share of a film that both take together.
const CARDS_SHARE: f64 = 0.3;
/// Time to notice a caption, s. With [`READ_S_PER_CHARACTER`] it makes about the twenty
/// characters a second at which subtitles are set (common practice, no source).
const NOTICE_S: f64 = 0.7;
/// Time to read one character, s.
const READ_S_PER_CHARACTER: f64 = 0.045;
/// Longest time a caption asks for, s.
const LONGEST_READ_S: f64 = 4.2;
/// Share of a beat's time in which something moves; the rest is still.
const MOVING_SHARE: f64 = 0.55;
/// Longest motion of a beat, s: longer ones only delay what comes.
const LONGEST_MOTION_S: f64 = 3.0;

/// A stretch of the film that shows one or several steps under one caption.
#[derive(Debug, Clone, PartialEq)]
pub struct Beat {
    /// Index of its first step.
    pub first: usize,
    /// Indices of the steps before the last that can be seen from where one looks; the others have
    /// happened when it begins.
    pub lead: Vec<usize>,
    /// Index of the step whose words are the caption, and at whose end the picture stands still.
    pub told: usize,
    /// Share of that step's motion at which the film stops: 1, or less where something catches.
    pub stops_at: f64,
    /// What is shown.
    pub place: Place,
    /// Station of the edge or tip looked at, mm, where it is one.
    pub at_mm: Option<f64>,
    /// Time in which the steps happen, s.
    pub motion_s: f64,
    /// Stillness after it, s.
    pub hold_s: f64,
}

impl Beat {
    /// Length, s.
    #[must_use]
    pub fn length_s(&self) -> f64 {
        self.motion_s + self.hold_s
    }
}

/// The whole film.
#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    /// Indices of the first and the last step it covers.
    pub steps: (usize, usize),
    /// Time the title stands, s.
    pub title_s: f64,
    /// What is shown, in order.
    pub beats: Vec<Beat>,
    /// Time the verdict stands, s.
    pub verdict_s: f64,
}

impl Script {
    /// A film of `length_s` seconds about the steps from index `first` to `last`.
    ///
    /// Steps that matter get a beat of their own; the others are joined with their neighbours until
    /// every caption can be read in the time there is. Phases are not joined while steps of one can be.
    #[must_use]
    pub fn new(stage: &Stage, (first, last): (usize, usize), length_s: f64) -> Self {
        let places = Places::of(&stage.plan().track);
        let steps: Vec<Weighed> = (first..=last.min(stage.steps.len().saturating_sub(1)))
            .map(|i| Weighed::of(stage, &places, i))
            .collect();
        let shrink = (CARDS_SHARE * length_s / (TITLE_S + VERDICT_S)).min(1.0);
        let (title_s, verdict_s) = (TITLE_S * shrink, VERDICT_S * shrink);
        let room_s = (length_s - title_s - verdict_s).max(0.0);
        let mut groups: Vec<Vec<Weighed>> = steps.into_iter().map(|s| vec![s]).collect();
        while groups.len() > 1 && groups.iter().map(|g| reading_s(g)).sum::<f64>() > room_s {
            join_least(&mut groups);
        }
        let wanted_s: f64 = groups.iter().map(|g| reading_s(g)).sum();
        let stretch = if wanted_s > 0.0 {
            room_s / wanted_s
        } else {
            1.0
        };
        let mut beats: Vec<Beat> = groups
            .iter()
            .map(|group| beat(group, reading_s(group) * stretch))
            .collect();
        settle_places(&mut beats, &groups);
        Self {
            steps: (first, last),
            title_s,
            beats,
            verdict_s,
        }
    }

    /// Shows every beat at one place, as far as it has it: an edge once a stent is out, a tip where a
    /// device moves; false where none has it, and nothing is changed.
    pub fn show_only(&mut self, stage: &Stage, place: Place) -> bool {
        let at = |beat: &Beat| match place {
            Place::Edge => edge_of(stage, beat).map(Some),
            Place::Tip => tip_of(stage, beat).map(Some),
            _ => Some(None),
        };
        let mut any = false;
        for beat in &mut self.beats {
            if let Some(at_mm) = at(beat) {
                (beat.place, beat.at_mm) = (place, at_mm);
                any = true;
            }
        }
        any
    }

    /// Length of the film, s.
    #[must_use]
    pub fn length_s(&self) -> f64 {
        let beats: f64 = self.beats.iter().map(Beat::length_s).sum();
        self.title_s + beats + self.verdict_s
    }
}

/// The edge that a beat looks at, or else the upper one of the stent that is out, mm.
fn edge_of(stage: &Stage, beat: &Beat) -> Option<f64> {
    let own = beat.at_mm.filter(|_| beat.place == Place::Edge);
    own.or_else(|| {
        let moment = stage.at_step(beat.told, beat.stops_at);
        let upper = moment.bands.iter().find(|b| b.upper);
        upper.or(moment.bands.first()).map(|b| b.station_mm)
    })
}

/// Where the tip that moves in a beat ends, mm; half way to where it should be where it does not reach.
fn tip_of(stage: &Stage, beat: &Beat) -> Option<f64> {
    let own = beat.at_mm.filter(|_| beat.place == Place::Tip);
    own.or_else(|| {
        let moved = stage.steps.get(beat.told)?.stretch_mm?;
        Some(moved.1.max(0.0))
    })
}

/// A step and how much it matters.
#[derive(Debug, Clone)]
struct Weighed {
    step: usize,
    /// 0: nothing to see; 1: a device moves; 3 and more: what the film is about.
    weight: f64,
    moves: bool,
    place: Option<Place>,
    at_mm: Option<f64>,
    stops_at: f64,
    characters: usize,
    /// Index of the phase it belongs to.
    phase: Option<usize>,
}

impl Weighed {
    fn of(stage: &Stage, places: &Places, step: usize) -> Self {
        let card = &stage.steps[step];
        let act = &stage.plan().script[step].act;
        // an edge matters where an open retriever or something that may catch meets it
        let edge_mm = card
            .barest_edge()
            .filter(|e| e.probability > 0.2 || !e.sweep.is_empty())
            .map(|e| e.station_mm);
        let acts: f64 = match act {
            Action::DeployStent { .. } | Action::Unsheathe { .. } | Action::Inflate { .. } => 4.5,
            Action::WithdrawTogether { .. } => 3.2,
            Action::Engage { .. } => 3.0,
            Action::AdvanceTogether { .. } => 2.0,
            Action::CheckMarkers { .. } => 0.6,
            Action::SuctionOn { .. } | Action::LoadRetriever { .. } => 0.6,
            Action::Insert { device, .. } | Action::Advance { device, .. } => {
                if guides(stage, device) { 2.0 } else { 1.0 }
            }
            Action::Withdraw { .. } | Action::Deflate { .. } => 0.8,
            Action::Remove { .. } => 0.5,
            Action::Contrast { .. } => 0.3,
            _ => 0.1,
        };
        let told: f64 = match card.row.worst() {
            Some(Severity::Failure) => 8.0,
            Some(Severity::Undecided) => 6.0,
            Some(Severity::Warning) => 1.2,
            _ => 0.0,
        };
        let before = step.checked_sub(1).map(|b| &stage.steps[b]);
        let crosses = first_crossings(card, before);
        // where the tip ends on the way in and starts on the way out, or where something opens
        let acting = acting(act).and_then(|name| card.row.devices.iter().find(|d| d.name == name));
        let station_mm = card
            .stretch_mm
            .map(|s| s.1)
            .or(acting.map(|device| device.tip_mm));
        let deep = station_mm.is_some_and(|s| s > places.arch_mm.1);
        let region = match act {
            Action::Contrast { region, .. } | Action::Watch { region, .. } => {
                Some(place_of(*region))
            }
            _ => None,
        };
        let arrives = arrives(stage, places, act, card);
        let short = meant_tip(stage, step)
            .zip(station_mm)
            .map(|((_, meant_mm), is_mm)| places.showing_both(is_mm, meant_mm));
        // half way between where a tip is and where it should be
        let short_mm = short.and_then(|(_, middle_mm)| middle_mm);
        let place = if edge_mm.is_some() {
            Some(Place::Edge)
        } else if let Some((place, _)) = short {
            Some(place)
        } else if arrives {
            Some(Place::Route)
        } else {
            region.or(station_mm.map(|s| places.showing(s)))
        };
        let weight = acts
            + told
            + if edge_mm.is_some() { 1.0 } else { 0.0 }
            + if crosses { 2.0 } else { 0.0 }
            + if arrives { 2.5 } else { 0.0 }
            + if deep { 0.3 } else { 0.0 };
        Self {
            step,
            weight,
            moves: card.stretch_mm.is_some() || acts >= 4.0,
            place,
            at_mm: edge_mm.or(short_mm),
            phase: stage
                .phases
                .iter()
                .position(|(_, from, to)| (*from..=*to).contains(&step)),
            stops_at: stage.stops_at(step),
            characters: card.row.say.chars().count()
                + card
                    .row
                    .findings
                    .first()
                    .filter(|f| f.severity > Severity::Note)
                    .map_or(0, |f| f.text.chars().count() / 2),
        }
    }
}

/// The device that something happens to where it stands.
fn acting(act: &Action) -> Option<&str> {
    match act {
        Action::DeployStent { device }
        | Action::Inflate { device, .. }
        | Action::Deflate { device }
        | Action::SuctionOn { device }
        | Action::SuctionOff { device }
        | Action::Flush { device, .. }
        | Action::CheckMarkers { retriever: device } => Some(device),
        _ => None,
    }
}

/// Whether it is the catheter through which the others go.
fn guides(stage: &Stage, device: &str) -> bool {
    let found = stage.devices.iter().find(|d| d.name == device);
    found.is_some_and(|d| matches!(d.class, DeviceClass::Guide | DeviceClass::BalloonGuide))
}

/// Whether the guide comes through the arch: the way from the access to the neck is seen as a whole then.
fn arrives(stage: &Stage, places: &Places, act: &Action, card: &StepCard) -> bool {
    let (Action::Insert { device, .. } | Action::Advance { device, .. }) = act else {
        return false;
    };
    let through =
        |(from_mm, to_mm): (f64, f64)| from_mm < places.origin_mm && to_mm >= places.origin_mm;
    guides(stage, device) && card.stretch_mm.is_some_and(through)
}

/// Whether something crosses a lesion for the first time.
fn first_crossings(card: &StepCard, before: Option<&StepCard>) -> bool {
    card.row.access.iter().enumerate().any(|(k, lesion)| {
        let was = before.and_then(|b| b.row.access.get(k));
        lesion.crossings > 0 && was.is_none_or(|w| w.crossings == 0)
    })
}

fn place_of(region: Region) -> Place {
    match region {
        Region::Access => Place::Arch,
        Region::Neck => Place::Neck,
        Region::Head => Place::Head,
    }
}

fn reading_s(group: &[Weighed]) -> f64 {
    let told = told(group).map_or(0, |w| w.characters);
    let told = f64::from(u32::try_from(told).unwrap_or(u32::MAX));
    let motion_s = if group.iter().any(|w| w.moves) {
        0.6
    } else {
        0.0
    };
    (NOTICE_S + motion_s + READ_S_PER_CHARACTER * told).min(LONGEST_READ_S)
}

/// Of a row of steps the last is told, unless an earlier one outweighs it by this factor.
const OUTWEIGHS: f64 = 2.0;

/// The step that a group tells: its last one that matters.
fn told(group: &[Weighed]) -> Option<&Weighed> {
    let most = group.iter().map(|w| w.weight).fold(0.0, f64::max);
    let mattering = |w: &&Weighed| w.weight * OUTWEIGHS >= most;
    group.iter().rev().find(mattering)
}

/// Joins the group that is missed least with what comes after it: what leads up to a step is run
/// through, and the picture stands still where that step has ended.
fn join_least(groups: &mut Vec<Vec<Weighed>>) {
    /// The last steps that are seen at one place matter more than those on the way to them.
    const CHANGE_OF_PLACE: f64 = 1.5;
    /// More than any step weighs: every phase of the procedure is seen.
    const CHANGE_OF_PHASE: f64 = 100.0;
    let place = |g: &[Weighed]| told(g).and_then(|w| w.place);
    let weight = |g: &[Weighed]| told(g).map_or(0.0, |w| w.weight);
    let loss = |pair: &[Vec<Weighed>]| {
        // what is told of both afterwards is not missed
        let (first, second) = (weight(&pair[0]), weight(&pair[1]));
        let missed = if second * OUTWEIGHS >= first {
            first
        } else {
            second
        };
        let changes = match (place(&pair[0]), place(&pair[1])) {
            (Some(a), Some(b)) => a != b,
            _ => false,
        };
        let phase = |g: &[Weighed]| told(g).and_then(|w| w.phase);
        let leaves = phase(&pair[0]) != phase(&pair[1]);
        // of equals the shorter row goes first
        let row: f64 = pair[0].iter().map(|w| w.weight).sum();
        missed
            + 0.05 * row
            + if leaves { CHANGE_OF_PHASE } else { 0.0 }
            + if changes && missed >= 1.0 {
                CHANGE_OF_PLACE
            } else {
                0.0
            }
    };
    let least = (0..groups.len() - 1)
        .min_by(|a, b| loss(&groups[*a..*a + 2]).total_cmp(&loss(&groups[*b..*b + 2])));
    if let Some(k) = least {
        let next = groups.remove(k + 1);
        groups[k].extend(next);
    }
}

fn beat(group: &[Weighed], length_s: f64) -> Beat {
    let told = told(group);
    let motion_s = if group.iter().any(|w| w.moves) {
        (MOVING_SHARE * length_s).min(LONGEST_MOTION_S)
    } else {
        0.0
    };
    let place = told.and_then(|w| w.place);
    let seen = |w: &&Weighed| {
        let here = w.place == place || place == Some(Place::Route);
        w.moves && (here || matches!(w.place, Some(Place::Edge | Place::Tip)))
    };
    Beat {
        first: group.first().map_or(0, |w| w.step),
        lead: group
            .iter()
            .take_while(|w| told.is_some_and(|t| w.step < t.step))
            .filter(seen)
            .map(|w| w.step)
            .collect(),
        told: told.map_or(0, |w| w.step),
        stops_at: told.map_or(1.0, |w| w.stops_at),
        place: place.unwrap_or(Place::Route),
        at_mm: told.and_then(|w| w.at_mm),
        motion_s,
        hold_s: length_s - motion_s,
    }
}

/// Steps without a place of their own are seen where the step before was.
fn settle_places(beats: &mut [Beat], groups: &[Vec<Weighed>]) {
    let mut place = Place::Route;
    for (beat, group) in beats.iter_mut().zip(groups) {
        if told(group).and_then(|w| w.place).is_some() {
            place = beat.place;
        } else {
            beat.place = if matches!(place, Place::Edge | Place::Tip) {
                Place::Neck
            } else {
                place
            };
        }
    }
}
