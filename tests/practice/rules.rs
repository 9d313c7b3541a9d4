//! The rules, each from a script that was walked through to what breaks it.

use nestline::device::{DeviceClass, LumenKind, Payload, Tip};
use nestline::procedure::{Action, Passed, Plan, Region, State};

/// A script walked through.
pub(super) struct Case {
    pub(super) name: String,
    pub(super) plan: Plan,
    pub(super) passed: Vec<Passed>,
}

/// A rule: what it asks for, and what breaks it, by index of the step.
pub(super) struct Rule {
    pub(super) asks: &'static str,
    broken: fn(&Case) -> Vec<(usize, String)>,
}

/// How far a wire may run beyond an ostium with no catheter in it, mm: its soft end.
const UNENGAGED_MM: f64 = 50.0;
/// A catheter this far short of an ostium still sits in it, mm.
const IN_OSTIUM_MM: f64 = 5.0;
/// How far a guide may come into the access artery over a wire alone, mm: with what tapers at its tip.
const ENTERS_MM: f64 = 20.0;

pub(super) const RULES: [Rule; 14] = [
    Rule {
        asks: "no wire runs more than 50 mm beyond an ostium that no catheter sits in",
        broken: wires_engaged,
    },
    Rule {
        asks: "a guide goes up over a catheter that tapers and a wire, never over nothing or over a bare wire",
        broken: guides_led,
    },
    Rule {
        asks: "a shaped catheter goes up over a wire, or is turned into an ostium",
        broken: selectors_led,
    },
    Rule {
        asks: "neck and head are seen before anything crosses",
        broken: baseline,
    },
    Rule {
        asks: "a run after each deployment, before the next one",
        broken: run_after_deployment,
    },
    Rule {
        asks: "a plane looks where something is deployed",
        broken: watched,
    },
    Rule {
        asks: "the true lumen is held until the last run",
        broken: held_to_the_last_run,
    },
    Rule {
        asks: "the retriever's markers are looked at after each exchange with its pusher out of hand",
        broken: markers_after_blind_exchange,
    },
    Rule {
        asks: "the flow is stopped or suction on while the neck is worked on, or its lack is told",
        broken: protected_or_told,
    },
    Rule {
        asks: "a reverse curve where the arch is of type III or origins are shared",
        broken: curve_suits_arch,
    },
    Rule {
        asks: "a puff of contrast between a catheter's seat in the ostium and the wire beyond",
        broken: puff_before_wire,
    },
    Rule {
        asks: "it is told from where on the retriever cannot be sheathed again",
        broken: no_way_back_told,
    },
    Rule {
        asks: "the stent is looked at once more after a wait, with something still across it",
        broken: delayed_control,
    },
    Rule {
        asks: "the script ends with everything out",
        broken: closed,
    },
];

impl Case {
    /// What breaks any rule, in words.
    pub(super) fn broken(&self) -> Vec<String> {
        let of = |rule: &Rule| -> Vec<String> {
            let found = (rule.broken)(self).into_iter();
            found
                .map(|(i, what)| format!("{}, step {}: {what} ({})", self.name, i + 1, rule.asks))
                .collect()
        };
        RULES.iter().flat_map(of).collect()
    }

    fn class(&self, k: usize) -> DeviceClass {
        self.plan.devices[k].device.class
    }

    fn name_of(&self, k: usize) -> &str {
        &self.plan.devices[k].name
    }

    fn guides(&self, k: usize) -> bool {
        matches!(
            self.class(k),
            DeviceClass::Guide | DeviceClass::BalloonGuide | DeviceClass::LongSheath
        )
    }

    fn devices(&self) -> std::ops::Range<usize> {
        0..self.plan.devices.len()
    }

    /// Moves forward: index of the step, device, tip before and after, mm.
    fn forward(&self) -> impl Iterator<Item = (usize, usize, f64, f64)> + '_ {
        let steps = self.passed.iter().enumerate();
        steps.flat_map(|(i, p)| {
            let forward = p.effect.moves.iter().filter(|m| m.to_mm > m.from_mm);
            forward.map(move |m| (i, m.device, m.from_mm, m.to_mm))
        })
    }

    /// Landmarks of the route at which it leaves one vessel through the side of another, mm.
    fn ostia_mm(&self) -> Vec<f64> {
        let names = ["innominate-ostium", "common-carotid-origin"].into_iter();
        names
            .filter_map(|name| self.plan.track.landmark(name).ok())
            .filter(|s| *s > 0.0)
            .collect()
    }

    fn runs(&self, region: Region) -> impl Iterator<Item = usize> + '_ {
        let steps = self.plan.script.iter().enumerate();
        steps.filter_map(move |(i, step)| match &step.act {
            Action::Contrast { region: seen, .. }
                if *seen == region && self.passed[i].effect.performed =>
            {
                Some(i)
            }
            _ => None,
        })
    }

    /// Steps that deploy something, and where.
    fn deployments(&self) -> Vec<(usize, Region)> {
        let steps = self.plan.script.iter().enumerate();
        steps
            .filter(|(i, _)| self.passed[*i].effect.performed)
            .filter_map(|(i, step)| match &step.act {
                Action::Unsheathe { .. } => Some((i, Region::Head)),
                Action::DeployStent { .. } => Some((i, Region::Neck)),
                Action::Inflate { device, .. } => {
                    let k = self.plan.device_index(device)?;
                    let dilates = matches!(
                        self.plan.devices[k].device.payload,
                        Some(Payload::Balloon(_))
                    );
                    dilates.then_some((i, Region::Neck))
                }
                _ => None,
            })
            .collect()
    }

    fn told(&self, i: usize, name: &str) -> bool {
        let mut findings = self.passed[i].effect.findings.iter();
        findings.any(|f| crate::support::straight::name_of(&f.reason) == name)
    }
}

/// A catheter's tip lies at or beyond a station.
fn seated(case: &Case, state: &State, s_mm: f64) -> bool {
    case.devices().any(|k| {
        !matches!(case.plan.devices[k].device.lumen, LumenKind::Solid)
            && state
                .tip_mm(k)
                .is_some_and(|tip| tip >= s_mm - IN_OSTIUM_MM)
    })
}

fn wires_engaged(case: &Case) -> Vec<(usize, String)> {
    let wires = case
        .forward()
        .filter(|m| case.class(m.1) == DeviceClass::Wire);
    wires
        .flat_map(|(i, k, _, to_mm)| {
            let after = &case.passed[i].after;
            let far = case
                .ostia_mm()
                .into_iter()
                .filter(move |s| to_mm > s + UNENGAGED_MM);
            let bare = far.filter(move |s| !seated(case, after, *s));
            bare.map(move |s| {
                (
                    i,
                    format!("the {} runs {:.0} mm beyond", case.name_of(k), to_mm - s),
                )
            })
        })
        .collect()
}

fn guides_led(case: &Case) -> Vec<(usize, String)> {
    let sheath_mm = |state: &State| -> f64 {
        let sheaths = case
            .devices()
            .filter(|k| case.class(*k) == DeviceClass::AccessSheath);
        sheaths.filter_map(|k| state.tip_mm(k)).fold(0.0, f64::max)
    };
    let guides = case.forward().filter(|m| case.guides(m.1));
    guides
        .filter(|(i, _, _, to_mm)| *to_mm > sheath_mm(&case.passed[*i].after) + ENTERS_MM)
        .filter(|(i, k, _, to_mm)| {
            let after = &case.passed[*i].after;
            let leads = |j: usize| {
                after.hubs_passed(j).contains(k)
                    && after.tip_mm(j).is_some_and(|tip| tip >= to_mm - 1.0)
            };
            // a catheter or a balloon that tapers
            !case
                .devices()
                .any(|j| leads(j) && !case.plan.devices[j].is_rail())
        })
        .map(|(i, k, ..)| {
            (
                i,
                format!("nothing that tapers leads the {}", case.name_of(k)),
            )
        })
        .collect()
}

fn selectors_led(case: &Case) -> Vec<(usize, String)> {
    let selectors = case
        .forward()
        .filter(|m| case.class(m.1) == DeviceClass::Selector);
    selectors
        .filter(|(i, ..)| !matches!(case.plan.script[*i].act, Action::Engage { .. }))
        .filter(|(i, k, _, to_mm)| {
            let after = &case.passed[*i].after;
            let around_mm = after
                .hubs_passed(*k)
                .into_iter()
                .filter_map(|j| after.tip_mm(j))
                .fold(0.0, f64::max);
            let led = case
                .devices()
                .any(|j| after.hubs_passed(j).contains(k) && after.tip_mm(j) >= Some(*to_mm));
            *to_mm > around_mm + IN_OSTIUM_MM && !led
        })
        .map(|(i, k, ..)| (i, format!("no wire leads the {}", case.name_of(k))))
        .collect()
}

/// First step after which something lies across a lesion or a clot.
fn first_crossing(case: &Case) -> Option<usize> {
    let mut steps = case.passed.iter();
    steps.position(|p| {
        let track = &case.plan.track;
        let ends = track
            .lesions
            .iter()
            .map(|l| l.end_mm)
            .chain(track.clots.iter().map(|c| c.end_mm));
        let nearest_mm = ends.fold(f64::INFINITY, f64::min);
        case.devices()
            .any(|k| p.after.tip_mm(k).is_some_and(|tip| tip >= nearest_mm))
    })
}

fn baseline(case: &Case) -> Vec<(usize, String)> {
    let Some(crossed) = first_crossing(case) else {
        return Vec::new();
    };
    let unseen = [Region::Neck, Region::Head].into_iter();
    unseen
        .filter(|region| !case.runs(*region).any(|i| i < crossed))
        .map(|region| {
            (
                crossed,
                format!("no run of the {} before", region.in_words()),
            )
        })
        .collect()
}

fn run_after_deployment(case: &Case) -> Vec<(usize, String)> {
    let deployments = case.deployments();
    let followed = deployments.iter().enumerate();
    followed
        .filter(|(n, (i, region))| {
            let next = deployments.get(n + 1).map_or(case.passed.len(), |d| d.0);
            !case.runs(*region).any(|run| run > *i && run < next)
        })
        .map(|(_, (i, region))| (*i, format!("no run of the {} after it", region.in_words())))
        .collect()
}

fn watched(case: &Case) -> Vec<(usize, String)> {
    let deployments = case.deployments().into_iter();
    deployments
        .filter(|(i, region)| !case.passed[*i].before.watching.contains(&Some(*region)))
        .map(|(i, region)| (i, format!("no plane on the {}", region.in_words())))
        .collect()
}

fn held_to_the_last_run(case: &Case) -> Vec<(usize, String)> {
    let last = case.runs(Region::Neck).chain(case.runs(Region::Head)).max();
    let lesions = 0..case.plan.track.lesions.len();
    lesions
        .filter_map(|lesion| {
            let held = |i: usize| {
                case.passed[i]
                    .after
                    .across(&case.plan, lesion)
                    .next()
                    .is_some()
            };
            let first = (0..case.passed.len()).find(|i| held(*i))?;
            let lost = (first..=last?).find(|i| !held(*i))?;
            Some((lost, "nothing holds it any more".to_owned()))
        })
        .collect()
}

fn markers_after_blind_exchange(case: &Case) -> Vec<(usize, String)> {
    let steps = case.passed.iter().enumerate();
    steps
        .filter(|(_, p)| {
            p.effect
                .exchanges
                .iter()
                .any(|e| e.blind_mm > 0.0 && p.before.open[e.rail])
        })
        .filter(|(i, _)| {
            let mut later = (i + 1..case.passed.len())
                .filter(|j| !matches!(case.plan.script[*j].act, Action::Watch { .. }));
            let next = later.next();
            !next.is_some_and(|j| matches!(case.plan.script[j].act, Action::CheckMarkers { .. }))
        })
        .map(|(i, _)| (i, "nobody looks at the markers".to_owned()))
        .collect()
}

fn protected_or_told(case: &Case) -> Vec<(usize, String)> {
    let kept = nestline::procedure::ledger(&case.plan, &case.passed);
    let work = kept.neck_work.iter();
    work.filter(|work| work.suction.is_empty() && work.flow_stopped_by.is_empty())
        .map(|work| work.step - 1)
        // told once, at the first such step
        .filter(|i| !(0..=*i).any(|j| case.told(j, "neck-unprotected")))
        .map(|i| (i, "neither, and not told".to_owned()))
        .collect()
}

fn curve_suits_arch(case: &Case) -> Vec<(usize, String)> {
    let of = |name: &str| {
        let mut rows = case.plan.vessel.values.iter();
        rows.find(|v| v.name == name)
            .map_or("", |v| v.value.as_str())
    };
    let passes_arch = case.plan.track.landmark("left-subclavian-origin").is_ok();
    let hard = passes_arch && (of("arch.type") == "III" || of("arch.shared_origin") != "none");
    if !hard {
        return Vec::new();
    }
    let selectors = case
        .forward()
        .filter(|m| case.class(m.1) == DeviceClass::Selector);
    let simple = |k: usize| !matches!(case.plan.devices[k].device.tip, Tip::Curved { angle_deg, .. } if angle_deg > 150.0);
    let mut found: Vec<(usize, String)> = selectors
        .filter(|m| simple(m.1))
        .map(|(i, k, ..)| (i, format!("the {} has a simple curve", case.name_of(k))))
        .collect();
    found.truncate(1);
    found
}

fn puff_before_wire(case: &Case) -> Vec<(usize, String)> {
    let Some(ostium_mm) = case.ostia_mm().into_iter().reduce(f64::max) else {
        return Vec::new();
    };
    let wires = case
        .forward()
        .filter(|m| case.class(m.1) == DeviceClass::Wire);
    let Some((i, ..)) = wires.filter(|m| m.3 > ostium_mm).min_by_key(|m| m.0) else {
        return Vec::new();
    };
    let puffs = |j: usize| match &case.plan.script[j].act {
        Action::Contrast { through, .. } => case.plan.device_index(through).is_some_and(|k| {
            let before = &case.passed[j].before;
            before
                .tip_mm(k)
                .is_some_and(|tip| tip >= ostium_mm - IN_OSTIUM_MM)
        }),
        _ => false,
    };
    if (0..i).any(puffs) {
        Vec::new()
    } else {
        vec![(i, "no puff before".to_owned())]
    }
}

fn no_way_back_told(case: &Case) -> Vec<(usize, String)> {
    let steps = case.passed.iter().enumerate();
    let bared = steps.filter(|(_, p)| {
        let microcatheter =
            |e: &nestline::procedure::Exchange| case.class(e.device) == DeviceClass::Microcatheter;
        p.effect
            .exchanges
            .iter()
            .any(|e| microcatheter(e) && p.before.open[e.rail])
    });
    bared
        .filter(|(i, _)| !case.told(*i, "no-way-back"))
        .map(|(i, _)| (i, "not told".to_owned()))
        .collect()
}

fn delayed_control(case: &Case) -> Vec<(usize, String)> {
    let stented = case
        .passed
        .iter()
        .position(|p| p.after.stents.len() > p.before.stents.len());
    let Some(stented) = stented else {
        return Vec::new();
    };
    let treated = case
        .deployments()
        .into_iter()
        .filter(|d| d.1 == Region::Neck)
        .map(|d| d.0)
        .max();
    let waits =
        |i: &usize| matches!(case.plan.script[*i].act, Action::Wait { minutes } if minutes >= 5.0);
    let waited = (treated.unwrap_or(stented)..case.passed.len()).find(waits);
    let held = |i: usize| {
        (0..case.plan.track.lesions.len())
            .all(|l| case.passed[i].before.across(&case.plan, l).next().is_some())
    };
    let seen = waited.is_some_and(|w| case.runs(Region::Neck).any(|i| i > w && held(i)));
    if seen {
        Vec::new()
    } else {
        vec![(stented, "no run of the neck after a wait".to_owned())]
    }
}

fn closed(case: &Case) -> Vec<(usize, String)> {
    let last = case.passed.len() - 1;
    let left = case
        .devices()
        .filter(|k| case.passed[last].after.in_place[*k].is_some());
    left.map(|k| (last, format!("the {} is left in", case.name_of(k))))
        .collect()
}
