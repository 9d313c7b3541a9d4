//! A stack on a straight route, where every length is known, and a rehearsal in the making on it.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and reads the cabinet's files"
)]

use nestline::data::usual_materials;
use nestline::device::{Accessory, Device};
use nestline::geometry::{
    Branch, Clot, Curve, Frame, Landmark, Lesion, LesionKind, Lumen, Place, Point, Run, Tree,
    Vector,
};
use nestline::procedure::{
    Action, Equipment, Plan, Plane, Reason, Region, Rules, Scene, Severity, StackEntry, State,
    Step, StepEffect, Supplied, VesselInfo, Where, perform,
};

pub(crate) const STANDOFF_MM: f64 = 30.0;

/// Name of a reason, as programs read it.
pub(crate) fn name_of(reason: &Reason) -> String {
    let json = serde_json::to_value(reason).unwrap();
    json["name"].as_str().unwrap().to_owned()
}

/// A straight vessel of 1100 mm, 8 mm wide, with a lesion from 760 to 780 and a clot from 950 to 960.
pub(crate) fn tree(kind: LesionKind, rigid: bool, nascet_percent: f64) -> Tree {
    let run = Run {
        length_mm: 1100.0,
        turn_rad: 0.0,
        roll_rad: 0.0,
        diameter_start_mm: 8.0,
        diameter_end_mm: 8.0,
    };
    let place = |at_mm| Place { branch: 0, at_mm };
    let landmark = |name: &str, at_mm| Landmark {
        name: name.into(),
        place: place(at_mm),
    };
    Tree {
        branches: vec![Branch {
            name: "route".into(),
            ostium: None,
            curve: Curve::from_runs(
                Frame::new(Point::origin(), Vector::x(), Vector::y()),
                &[run],
            )
            .unwrap(),
            lumen: Lumen {
                knots_mm: vec![(0.0, 8.0)],
            },
            wall_stiffness_n_per_mm2: 5.0,
        }],
        landmarks: vec![
            landmark("common-carotid-origin", 600.0),
            landmark("carotid-bifurcation", 740.0),
            landmark("skull-base", 840.0),
        ],
        lesions: vec![Lesion {
            name: "neck-lesion".into(),
            kind,
            branch: 0,
            start_mm: 760.0,
            length_mm: 20.0,
            nascet_percent,
            reference_mm: 5.0,
            false_lumen_mm: (kind != LesionKind::Plaque).then_some(3.0),
            rigid,
        }],
        clots: vec![Clot {
            name: "clot".into(),
            branch: 0,
            start_mm: 950.0,
            length_mm: 10.0,
        }],
    }
}

fn equipment(file: &str) -> Equipment {
    let path = format!("{}/scenes/devices/{file}.ron", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    let options =
        ron::Options::default().with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME);
    match options.from_str::<Device>(&text) {
        Ok(device) => Equipment::Device(Box::new(device)),
        Err(_) => Equipment::Accessory(options.from_str::<Accessory>(&text).unwrap()),
    }
}

const STACK: [(&str, &str, bool); 14] = [
    ("sheath", "access-sheath-8f-11", false),
    ("guide", "guide-8f-90", true),
    ("microcatheter", "microcatheter-021-155", false),
    ("wire", "wire-014-200-soft", false),
    ("retriever", "retriever-4x20-pusher-0145", false),
    ("thick-retriever", "retriever-5x33-pusher-018", false),
    ("stent", "stent-braided-8x40-5f-rx", false),
    (
        "full-shaft-stent",
        "stent-cut-open-9x40-6f-full-shaft-rx",
        false,
    ),
    ("balloon", "balloon-4.5x20-rx", false),
    ("aspiration", "aspiration-071-132", true),
    ("clip", "torque-clip-014", false),
    ("insertion-tool", "insertion-tool", false),
    ("extension", "extension-014", false),
    ("balloon-guide", "balloon-guide-8f-95", true),
];

pub(crate) fn plan_of(tree: &Tree) -> Plan {
    let entry = |(name, file, _): &(&str, &str, bool)| StackEntry {
        name: (*name).into(),
        file: (*file).into(),
        valves: Vec::new(),
    };
    let scene = Scene {
        name: "straight".into(),
        about: "every length is known".into(),
        vessel: String::new(),
        target: String::new(),
        hub_standoff_mm: STANDOFF_MM,
        stack: STACK.iter().map(entry).collect(),
        rules: Rules::default(),
        durations: None,
        materials: None,
        script: vec![Step::new(Action::Wait { minutes: 1.0 })],
    };
    let supplied = STACK.iter().map(|(_, file, valve)| Supplied {
        equipment: equipment(file),
        valves: valve
            .then(|| match equipment("valve-rotating-y") {
                Equipment::Accessory(valve) => valve,
                Equipment::Device(_) => panic!("a valve is no device"),
            })
            .into_iter()
            .collect(),
    });
    let place = |at_mm| Place { branch: 0, at_mm };
    let track = tree.track(place(0.0), place(1100.0), 1.0).unwrap();
    let materials = usual_materials().unwrap();
    Plan::new(
        &scene,
        supplied.collect(),
        VesselInfo::default(),
        track,
        materials,
    )
    .unwrap()
}

pub(crate) fn plan() -> Plan {
    plan_of(&tree(LesionKind::Plaque, false, 70.0))
}

pub(crate) fn at(name: &str) -> Where {
    Where::At(name.into())
}

pub(crate) fn insert(device: &str, through: Option<&str>, over: Option<&str>, to: Where) -> Action {
    Action::Insert {
        device: device.into(),
        through: through.map(Into::into),
        over: over.map(Into::into),
        to,
    }
}

/// A rehearsal in the making.
pub(crate) struct Table {
    pub(crate) plan: Plan,
    pub(crate) state: State,
}

impl Table {
    pub(crate) fn new(plan: Plan) -> Self {
        let mut table = Self {
            state: State::start(&plan),
            plan,
        };
        for (plane, region) in [(Plane::A, Region::Neck), (Plane::B, Region::Head)] {
            table.good(&Action::Watch { plane, region });
        }
        table
    }

    pub(crate) fn perform(&mut self, act: &Action) -> StepEffect {
        let (state, effect) = perform(&self.plan, &self.state, act);
        self.state = state;
        effect
    }

    /// A step that has to work.
    pub(crate) fn good(&mut self, act: &Action) -> StepEffect {
        let effect = self.perform(act);
        let failed = effect
            .findings
            .iter()
            .find(|f| f.severity == Severity::Failure);
        assert!(
            effect.performed && failed.is_none(),
            "{act:?}: {:?}",
            effect.findings
        );
        effect
    }

    /// A step that a precondition stops, for the reason of this name.
    pub(crate) fn refused(&mut self, act: &Action, name: &str) -> Reason {
        let before = self.state.clone();
        let effect = self.perform(act);
        assert!(!effect.performed, "{act:?} was performed");
        let told = effect.findings.last().unwrap();
        assert_eq!(name_of(&told.reason), name, "{act:?}: {:?}", told.reason);
        assert!(told.help().is_some(), "{act:?}: says what would help");
        assert!(self.state == before, "{act:?} left a trace");
        told.reason.clone()
    }

    pub(crate) fn index(&self, name: &str) -> usize {
        self.plan.device_index(name).unwrap()
    }

    pub(crate) fn outside_mm(&self, name: &str) -> f64 {
        self.state.outside_mm(&self.plan, self.index(name)).unwrap()
    }

    /// Sheath and guide in place, the guide fed to a station.
    pub(crate) fn with_guide_at(mut self, station_mm: f64) -> Self {
        self.good(&insert("sheath", None, None, Where::Hub));
        self.good(&insert(
            "guide",
            Some("sheath"),
            None,
            Where::Past("common-carotid-origin".into(), station_mm - 600.0),
        ));
        self
    }

    /// A microcatheter at the station, the retriever open at its tip, the microcatheter off again.
    pub(crate) fn with_retriever_at(mut self, tip_mm: f64, retriever: &str) -> Self {
        let tip = Where::Past("common-carotid-origin".into(), tip_mm - 600.0);
        self.good(&insert("microcatheter", Some("guide"), None, tip));
        self.good(&Action::LoadRetriever {
            retriever: retriever.into(),
            through: "microcatheter".into(),
        });
        self.good(&Action::Unsheathe {
            retriever: retriever.into(),
        });
        self
    }
}
