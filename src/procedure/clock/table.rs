//! How long things take and who is needed: the table behind the clock.
//!
//! Every row carries where its numbers come from. None of them is a measurement of an operator: a
//! lab replaces the table by its own.

use crate::device::DeviceClass;
use crate::procedure::script::{HandSpeed, Pace, Region, Seconds, Spread, SpreadKind, read_spread};
use crate::units::text;
use serde::{Deserialize as DeserializeFields, Serialize};
use std::marker::PhantomData;

/// A number of a kind and where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize, DeserializeFields)]
#[serde(deny_unknown_fields, bound(deserialize = "K: SpreadKind"))]
pub struct Sourced<K = Seconds> {
    /// Least, usual, most.
    #[serde(deserialize_with = "read_spread::<K, _>")]
    pub value: Spread,
    #[serde(skip)]
    kind: PhantomData<K>,
    /// A publication, `common practice, no source`, `from memory` or the lab's own records.
    pub source: String,
}

/// A piece of work.
#[derive(Debug, Clone, PartialEq, Serialize, DeserializeFields)]
#[serde(deny_unknown_fields)]
pub struct Work {
    /// Seconds for everything but travel and difficulty.
    pub takes_s: Spread,
    /// Hands of the operator.
    #[serde(default, deserialize_with = "text::team")]
    pub hands: usize,
    /// Assistants.
    #[serde(default, deserialize_with = "text::team")]
    pub assistants: usize,
    /// Where the numbers come from.
    pub source: String,
}

/// A span that is known from outside, and that a table may be fitted to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, DeserializeFields)]
pub enum Known {
    /// From the retriever's opening to reperfusion: 6 to 8 min (common practice, no source).
    RetrieverOpenToReperfusion,
    /// From the puncture to the internal carotid: 24.3 min on average where the brain was reperfused,
    /// 35.6 min where not (Interv Neuroradiol 2017, doi 10.1177/1591019917729364).
    PunctureToNeck,
}

impl Known {
    /// The span in words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::RetrieverOpenToReperfusion => {
                "6 to 8 min from the retriever's opening to reperfusion, the neck part about five (common practice, no source)"
            }
            Self::PunctureToNeck => {
                "24 min from the puncture to the internal carotid (Interv Neuroradiol 2017, doi 10.1177/1591019917729364)"
            }
        }
    }
}

/// How many of everything there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, DeserializeFields)]
#[serde(deny_unknown_fields)]
pub struct Team {
    /// Hands of the operator.
    #[serde(deserialize_with = "text::team")]
    pub hands: usize,
    /// Assistants, who also prepare devices on the back table.
    #[serde(deserialize_with = "text::team")]
    pub assistants: usize,
    /// Suction pumps; a lumen on suction beyond them is drawn by a syringe, which takes an assistant.
    #[serde(deserialize_with = "text::team")]
    pub pumps: usize,
}

/// Handling by kind of work.
#[derive(Debug, Clone, PartialEq, Serialize, DeserializeFields)]
#[serde(deny_unknown_fields)]
pub struct Handling {
    /// Puncture and the first sheath or guide through the skin.
    pub puncture: Work,
    /// A device into a hub, over nothing.
    pub insert: Work,
    /// A device loaded over a rail by its side port.
    pub load_rapid: Work,
    /// A device loaded over a rail by its whole length.
    pub load_whole: Work,
    /// Anything pushed on from where it is.
    pub advance: Work,
    /// Several devices pushed on as one.
    pub advance_together: Work,
    /// A shaped tip turned in an ostium, besides finding it.
    pub engage: Work,
    /// The last run laid over the picture.
    pub roadmap: Work,
    /// A look at the retriever's markers.
    pub check_markers: Work,
    /// A syringe on a hub, and saline pressed through.
    pub flush: Work,
    /// Anything drawn back.
    pub withdraw: Work,
    /// Retriever and clot drawn back as a unit.
    pub pull: Work,
    /// A device off a rail by its side port, or out of a hub on its own.
    pub remove: Work,
    /// A device off a rail by its whole length.
    pub remove_whole: Work,
    /// Finding the way from the arch into the carotid, where nothing leads there yet.
    pub find_carotid: Work,
    /// Finding the way through a lesion with nothing across it.
    pub cross_lesion: Work,
    /// Finding the way past the clot.
    pub cross_clot: Work,
    /// Folded retriever into its microcatheter.
    pub load_retriever: Work,
    /// Opening the retriever.
    pub unsheathe: Work,
    /// Releasing a stent.
    pub deploy_stent: Work,
    /// Balloon up and held.
    pub inflate: Work,
    /// Balloon down.
    pub deflate: Work,
    /// Suction on.
    pub suction_on: Work,
    /// Suction off.
    pub suction_off: Work,
    /// A contrast run and a look at it.
    pub contrast: Work,
    /// A clip or tool on a rail, or off it.
    pub clip: Work,
    /// An image plane moved to another region.
    pub watch: Work,
    /// What the script's `Wait` occupies; its minutes stand in the script.
    pub wait: Work,
    /// Unpacking and flushing a microcatheter, aspiration catheter, retriever or filter.
    pub prepare_catheter: Work,
    /// Unpacking and flushing a stent system or a balloon.
    pub prepare_treatment: Work,
}

/// Hand speeds, mm/s.
#[derive(Debug, Clone, PartialEq, Serialize, DeserializeFields)]
#[serde(deny_unknown_fields)]
pub struct Speeds {
    /// Inside another catheter, either way.
    pub covered: Sourced<HandSpeed>,
    /// Bare between access and arch.
    pub access: Sourced<HandSpeed>,
    /// Bare in the neck, over something that leads.
    pub neck: Sourced<HandSpeed>,
    /// Bare in the head, over something that leads.
    pub head: Sourced<HandSpeed>,
    /// Leading bare in the neck.
    pub neck_leading: Sourced<HandSpeed>,
    /// Leading bare in the head.
    pub head_leading: Sourced<HandSpeed>,
    /// Drawn back bare.
    pub back: Sourced<HandSpeed>,
    /// The open retriever drawn back with the clot.
    pub pull: Sourced<HandSpeed>,
}

/// What makes a movement slow beyond its length.
#[derive(Debug, Clone, PartialEq, Serialize, DeserializeFields)]
#[serde(deny_unknown_fields)]
pub struct Difficulty {
    /// Seconds for every right angle that a tip turns through bare, going forward.
    pub s_per_right_angle: Sourced,
    /// The same for the device that leads.
    pub s_per_right_angle_leading: Sourced,
    /// Seconds for every newton at the hub, where the force is known.
    pub s_per_newton: Sourced,
    /// Seconds for every 100 mm that a rail travels out of hand.
    pub s_per_100_mm_blind: Sourced,
}

/// A chance and where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize, DeserializeFields)]
#[serde(deny_unknown_fields)]
pub struct Chance {
    /// 0 to 1.
    #[serde(deserialize_with = "text::share")]
    pub share: f64,
    /// A publication, `common practice, no source`, `from memory` or the lab's own records.
    pub source: String,
}

/// What may go wrong and is then done again.
#[derive(Debug, Clone, PartialEq, Serialize, DeserializeFields)]
#[serde(deny_unknown_fields)]
pub struct Chances {
    /// A pass of a retriever brings the clot.
    pub retriever_pass: Chance,
    /// A pass of suction alone brings it.
    pub suction_pass: Chance,
    /// Most passes that are made; the last one is taken to be the end of it.
    #[serde(deserialize_with = "text::team")]
    pub most_passes: usize,
    /// A stent system does not go through a lesion that no balloon has opened.
    pub stent_needs_balloon: Chance,
    /// The way from the groin is given up for another access.
    pub groin_given_up: Chance,
}

/// The whole table.
#[derive(Debug, Clone, PartialEq, Serialize, DeserializeFields)]
#[serde(deny_unknown_fields, rename = "Durations")]
pub struct Durations {
    /// Whose table it is.
    pub name: String,
    /// What its numbers were fitted to; an agreement with that is no validation then.
    #[serde(default)]
    pub calibrated_to: Vec<Known>,
    /// Who and what is there.
    pub team: Team,
    /// Least time the open retriever stays in the clot before it is pulled, s.
    pub dwell_s: Sourced,
    /// Factor on all handling and travel of a case: one operator is slower than another in all he
    /// does.
    pub pace: Sourced<Pace>,
    /// Handling.
    pub handling: Handling,
    /// Hand speeds.
    pub speed_mm_per_s: Speeds,
    /// Difficulty.
    pub difficulty: Difficulty,
    /// What may go wrong and is done again; left out, only undisturbed courses are told.
    #[serde(default)]
    pub chances: Option<Chances>,
}

impl Durations {
    /// What is wrong across fields: path of the field and what to say about it.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut wrong = Vec::new();
        for (path, work) in self.handling.rows() {
            for (what, needed, there) in [
                ("hands", work.hands, self.team.hands),
                ("assistants", work.assistants, self.team.assistants),
            ] {
                if needed > there {
                    wrong.push((
                        format!("handling.{path}.{what}"),
                        format!("`{path}` needs {needed} {what}, the team has {there}"),
                    ));
                }
            }
        }
        wrong
    }

    /// Preparation of a device on the back table; none for what lies ready before the puncture
    /// (sheaths, guides, selectors and wires: common practice, no source).
    #[must_use]
    pub const fn preparation(&self, class: DeviceClass) -> Option<&Work> {
        match class {
            DeviceClass::CarotidStent | DeviceClass::Balloon => {
                Some(&self.handling.prepare_treatment)
            }
            DeviceClass::Microcatheter
            | DeviceClass::Aspiration
            | DeviceClass::Retriever
            | DeviceClass::Filter => Some(&self.handling.prepare_catheter),
            DeviceClass::AccessSheath
            | DeviceClass::Dilator
            | DeviceClass::LongSheath
            | DeviceClass::Guide
            | DeviceClass::BalloonGuide
            | DeviceClass::Selector
            | DeviceClass::Wire => None,
        }
    }
}

impl Handling {
    /// Every row with its name.
    fn rows(&self) -> [(&'static str, &Work); 30] {
        [
            ("puncture", &self.puncture),
            ("insert", &self.insert),
            ("load_rapid", &self.load_rapid),
            ("load_whole", &self.load_whole),
            ("advance", &self.advance),
            ("advance_together", &self.advance_together),
            ("engage", &self.engage),
            ("roadmap", &self.roadmap),
            ("check_markers", &self.check_markers),
            ("flush", &self.flush),
            ("withdraw", &self.withdraw),
            ("pull", &self.pull),
            ("remove", &self.remove),
            ("remove_whole", &self.remove_whole),
            ("find_carotid", &self.find_carotid),
            ("cross_lesion", &self.cross_lesion),
            ("cross_clot", &self.cross_clot),
            ("load_retriever", &self.load_retriever),
            ("unsheathe", &self.unsheathe),
            ("deploy_stent", &self.deploy_stent),
            ("inflate", &self.inflate),
            ("deflate", &self.deflate),
            ("suction_on", &self.suction_on),
            ("suction_off", &self.suction_off),
            ("contrast", &self.contrast),
            ("clip", &self.clip),
            ("watch", &self.watch),
            ("wait", &self.wait),
            ("prepare_catheter", &self.prepare_catheter),
            ("prepare_treatment", &self.prepare_treatment),
        ]
    }
}

impl Speeds {
    /// Bare speed in a region, going forward.
    #[must_use]
    pub const fn bare(&self, region: Region, leading: bool) -> &Sourced<HandSpeed> {
        match (region, leading) {
            (Region::Access, _) => &self.access,
            (Region::Neck, false) => &self.neck,
            (Region::Neck, true) => &self.neck_leading,
            (Region::Head, false) => &self.head,
            (Region::Head, true) => &self.head_leading,
        }
    }
}
