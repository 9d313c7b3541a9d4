//! Every name in a script: there, and of the right kind.

use super::plan::Plan;
use super::scene::Action;
use crate::device::{Device, DeviceClass, Payload, Tip};
use crate::procedure::error::{ProcedureError, nearest};

/// A device that an action names, and what it has to be.
struct Named<'a> {
    field: String,
    name: &'a str,
    needed: &'static str,
    fits: fn(&Device) -> bool,
}

/// Any device.
const fn any(_: &Device) -> bool {
    true
}

fn catheter(device: &Device) -> bool {
    device.hub_length_mm > 0.0
}

fn rail(device: &Device) -> bool {
    device.hub_length_mm <= 0.0
}

fn retriever(device: &Device) -> bool {
    device.class == DeviceClass::Retriever
}

fn balloon(device: &Device) -> bool {
    let payload = device.payload.as_ref();
    payload.is_some_and(|p| matches!(p, Payload::Balloon(_) | Payload::OcclusionBalloon(_)))
}

fn shaped(device: &Device) -> bool {
    catheter(device) && matches!(device.tip, Tip::Curved { .. })
}

const fn stent(device: &Device) -> bool {
    matches!(device.payload, Some(Payload::Stent(_)))
}

/// The devices that an action names.
fn named(act: &Action) -> Vec<Named<'_>> {
    let of = |field: &str, name, needed, fits| Named {
        field: field.to_owned(),
        name,
        needed,
        fits,
    };
    let device = |name| of("device", name, "a device", any as fn(&Device) -> bool);
    match act {
        Action::Insert {
            device: d,
            through,
            over,
            ..
        } => {
            let through = through.as_deref();
            let over = over.as_deref();
            [
                Some(device(d)),
                through.map(|name| of("through", name, "a catheter with a hub", catheter)),
                over.map(|name| of("over", name, "a wire or pusher without a hub", rail)),
            ]
            .into_iter()
            .flatten()
            .collect()
        }
        Action::Advance {
            device: d, nose, ..
        } => {
            let nose = nose.as_deref();
            let nose = nose.map(|name| of("nose", name, "a catheter or balloon", catheter));
            [Some(device(d)), nose].into_iter().flatten().collect()
        }
        Action::Withdraw { device: d, .. } | Action::Remove { device: d } => vec![device(d)],
        Action::WithdrawTogether { devices, .. } | Action::AdvanceTogether { devices, .. } => {
            let unit = devices.iter().enumerate();
            unit.map(|(i, d)| of(&format!("devices[{i}]"), d, "a device", any))
                .collect()
        }
        Action::LoadRetriever {
            retriever: r,
            through,
        } => vec![
            of("retriever", r, "a stent retriever", retriever),
            of("through", through, "a microcatheter", catheter),
        ],
        Action::Engage { device: d, .. } => vec![of("device", d, "a shaped catheter", shaped)],
        Action::Flush { device: d, .. } => vec![of("device", d, "a catheter", catheter)],
        Action::Unsheathe { retriever: r } | Action::CheckMarkers { retriever: r } => {
            vec![of("retriever", r, "a stent retriever", retriever)]
        }
        Action::DeployStent { device: d } => vec![of("device", d, "a stent system", stent)],
        Action::Inflate { device: d, .. } | Action::Deflate { device: d } => {
            vec![of("device", d, "a balloon or a balloon guide", balloon)]
        }
        Action::SuctionOn { device: d } | Action::SuctionOff { device: d } => {
            vec![of("device", d, "a catheter", catheter)]
        }
        Action::Contrast { through, .. } => vec![of("through", through, "a catheter", catheter)],
        Action::Attach { rail: r, .. } => {
            vec![of("rail", r, "a wire or pusher without a hub", rail)]
        }
        Action::Detach { .. }
        | Action::Watch { .. }
        | Action::Roadmap { .. }
        | Action::Wait { .. } => Vec::new(),
    }
}

impl Plan {
    /// Every name of an action that is unknown or of the wrong kind, with the path of its field.
    pub(super) fn check_names(&self, path: &str, act: &Action, errors: &mut Vec<ProcedureError>) {
        for Named {
            field,
            name,
            needed,
            fits,
        } in named(act)
        {
            let path = format!("{path}.{field}");
            match self.device_index(name) {
                None => errors.push(self.unknown(path, name)),
                Some(i) if !fits(&self.devices[i].device) => {
                    errors.push(ProcedureError::WrongKind {
                        path,
                        name: name.to_owned(),
                        found: format!("a {}", self.devices[i].device.class.in_words()),
                        needed,
                    });
                }
                Some(_) => {}
            }
        }
        if matches!(
            act,
            Action::WithdrawTogether { devices, .. } | Action::AdvanceTogether { devices, .. }
                if devices.is_empty()
        ) {
            errors.push(ProcedureError::EmptyUnit {
                path: format!("{path}.devices"),
            });
        }
        if let Action::Attach { part, .. } | Action::Detach { part } = act
            && !self.parts.iter().any(|p| p.name == *part)
        {
            let path = format!("{path}.part");
            errors.push(if self.device_index(part).is_some() {
                ProcedureError::WrongKind {
                    path,
                    name: part.clone(),
                    found: "a device".into(),
                    needed: "a torque clip, an insertion tool or an extension",
                }
            } else {
                self.unknown(path, part)
            });
        }
        if let Some(name) = act.place() {
            let field = match act {
                Action::Engage { .. } => "ostium",
                _ => "to",
            };
            self.check_place(format!("{path}.{field}"), name, errors);
        }
    }

    /// Names of the places a script may use that belong to devices.
    fn device_places(&self) -> impl Iterator<Item = String> + '_ {
        self.devices.iter().enumerate().flat_map(|(k, d)| {
            let ends = self.ends_of(k);
            ends.map(|end| end.of(&d.name))
        })
    }

    fn check_place(&self, path: String, name: &str, errors: &mut Vec<ProcedureError>) {
        if self.place(name).is_some() {
            return;
        }
        let of_devices: Vec<String> = self.device_places().collect();
        let names = self.track.landmarks.iter().map(|l| l.name.as_str());
        errors.push(ProcedureError::UnknownPlace {
            path,
            name: name.to_owned(),
            suggestion: nearest(name, names.chain(of_devices.iter().map(String::as_str))),
        });
    }

    fn unknown(&self, path: String, name: &str) -> ProcedureError {
        let names = self.devices.iter().map(|d| d.name.as_str());
        ProcedureError::UnknownDevice {
            path,
            name: name.to_owned(),
            suggestion: nearest(
                name,
                names.chain(self.parts.iter().map(|p| p.name.as_str())),
            ),
        }
    }
}
