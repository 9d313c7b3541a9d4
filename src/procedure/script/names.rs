//! Every name in a script: there, and of the right kind.

use super::plan::Plan;
use super::scene::{Action, Where};
use crate::device::{Device, DeviceClass, Payload};
use crate::procedure::error::{ProcedureError, nearest};

impl Plan {
    pub(super) fn check_names(&self, path: &str, act: &Action, errors: &mut Vec<ProcedureError>) {
        let mut device =
            |field: &str, name: &str, needed: &'static str, fits: &dyn Fn(&Device) -> bool| {
                let path = format!("{path}.{field}");
                match self.device_index(name) {
                    None => errors.push(self.unknown(path, name)),
                    Some(i) if !fits(&self.devices[i].device) => {
                        errors.push(ProcedureError::WrongKind {
                            path,
                            name: name.to_owned(),
                            found: format!("a {}", self.devices[i].device.class.in_words()),
                            needed,
                        })
                    }
                    Some(_) => {}
                }
            };
        let any = |_: &Device| true;
        let catheter = |d: &Device| d.hub_length_mm > 0.0;
        let rail = |d: &Device| d.hub_length_mm <= 0.0;
        let retriever = |d: &Device| d.class == DeviceClass::Retriever;
        let balloon = |d: &Device| {
            matches!(
                d.payload,
                Some(Payload::Balloon(_) | Payload::OcclusionBalloon(_))
            )
        };
        let stent = |d: &Device| matches!(d.payload, Some(Payload::Stent(_)));
        match act {
            Action::Insert {
                device: d,
                through,
                over,
                ..
            } => {
                device("device", d, "a device", &any);
                if let Some(through) = through {
                    device("through", through, "a catheter with a hub", &catheter);
                }
                if let Some(over) = over {
                    device("over", over, "a wire or pusher without a hub", &rail);
                }
            }
            Action::Advance {
                device: d, nose, ..
            } => {
                device("device", d, "a device", &any);
                if let Some(nose) = nose {
                    device("nose", nose, "a catheter or balloon", &catheter);
                }
            }
            Action::Withdraw { device: d, .. } | Action::Remove { device: d } => {
                device("device", d, "a device", &any);
            }
            Action::WithdrawTogether { devices, .. } => {
                for (i, d) in devices.iter().enumerate() {
                    device(&format!("devices[{i}]"), d, "a device", &any);
                }
                if devices.is_empty() {
                    errors.push(ProcedureError::EmptyUnit {
                        path: format!("{path}.devices"),
                    });
                }
            }
            Action::LoadRetriever {
                retriever: r,
                through,
            } => {
                device("retriever", r, "a stent retriever", &retriever);
                device("through", through, "a microcatheter", &catheter);
            }
            Action::Unsheathe { retriever: r } => {
                device("retriever", r, "a stent retriever", &retriever)
            }
            Action::DeployStent { device: d } => device("device", d, "a stent system", &stent),
            Action::Inflate { device: d, .. } | Action::Deflate { device: d } => {
                device("device", d, "a balloon or a balloon guide", &balloon);
            }
            Action::SuctionOn { device: d } | Action::SuctionOff { device: d } => {
                device("device", d, "a catheter", &catheter);
            }
            Action::Contrast { through, .. } => device("through", through, "a catheter", &catheter),
            Action::Attach { rail: r, .. } => {
                device("rail", r, "a wire or pusher without a hub", &rail)
            }
            Action::Detach { .. } | Action::Watch { .. } | Action::Wait { .. } => {}
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
                    needed: "a torque clip or an insertion tool",
                }
            } else {
                self.unknown(path, part)
            });
        }
        if let Action::Insert { to, .. }
        | Action::Advance { to, .. }
        | Action::Withdraw { to, .. }
        | Action::WithdrawTogether { to, .. } = act
            && let Where::At(name) | Where::Past(name, _) | Where::Short(name, _) = to
        {
            self.check_place(format!("{path}.to"), name, errors);
        }
    }

    /// Names of the places a script may use that belong to devices.
    fn device_places(&self) -> impl Iterator<Item = String> + '_ {
        self.devices.iter().enumerate().flat_map(|(k, d)| {
            let ends = self.ends_of(k);
            ends.map(|end| format!("{}.{}", d.name, end.name()))
        })
    }

    fn check_place(&self, path: String, name: &str, errors: &mut Vec<ProcedureError>) {
        if self.track.landmark(name).is_ok() || self.device_end(name).is_some() {
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
