//! A script as the text of a scene file.

use crate::procedure::{Action, Region, Spread, Step, Where};
use std::fmt::Write as _;

/// The steps as a list in RON, brackets included, one step a line.
#[must_use]
pub fn script_text(script: &[Step]) -> String {
    let mut out = String::from("[\n");
    for step in script {
        let mut fields = Vec::new();
        fields.extend(step.say.as_ref().map(|s| format!("say: {s:?}")));
        fields.extend(step.label.as_ref().map(|s| format!("label: {s:?}")));
        if !step.after.is_empty() {
            let labels: Vec<String> = step.after.iter().map(|l| format!("{l:?}")).collect();
            fields.push(format!("after: [{}]", labels.join(", ")));
        }
        fields.extend(step.takes_s.map(|s| format!("takes_s: {}", spread(s))));
        fields.extend(step.valves.map(|tight| format!("valves: {tight:?}")));
        fields.push(format!("act: {}", act(&step.act)));
        let _ = writeln!(out, "        ({}),", fields.join(", "));
    }
    out.push_str("    ]");
    out
}

fn spread(spread: Spread) -> String {
    let (least, usual, most) = spread.into();
    format!("({least}, {usual}, {most})")
}

fn act(act: &Action) -> String {
    let one = |kind: &str, field: &str, name: &str| format!("{kind}({field}: {name:?})");
    match act {
        Action::Insert {
            device,
            through,
            over,
            to,
        } => {
            let mut text = format!("Insert(device: {device:?}");
            for (field, name) in [("through", through), ("over", over)] {
                if let Some(name) = name {
                    let _ = write!(text, ", {field}: {name:?}");
                }
            }
            format!("{text}, to: {})", place(to))
        }
        Action::Advance { device, to, nose } => {
            let nose = nose
                .as_ref()
                .map_or_else(String::new, |n| format!(", nose: {n:?}"));
            format!("Advance(device: {device:?}, to: {}{nose})", place(to))
        }
        Action::Withdraw { device, to } => {
            format!("Withdraw(device: {device:?}, to: {})", place(to))
        }
        Action::WithdrawTogether { devices, to } => {
            let names: Vec<String> = devices.iter().map(|d| format!("{d:?}")).collect();
            format!(
                "WithdrawTogether(devices: [{}], to: {})",
                names.join(", "),
                place(to)
            )
        }
        Action::AdvanceTogether { devices, to } => {
            let names: Vec<String> = devices.iter().map(|d| format!("{d:?}")).collect();
            format!(
                "AdvanceTogether(devices: [{}], to: {})",
                names.join(", "),
                place(to)
            )
        }
        Action::Engage { device, ostium } => {
            format!("Engage(device: {device:?}, ostium: {ostium:?})")
        }
        Action::Roadmap { plane } => format!("Roadmap(plane: {})", plane.in_words()),
        Action::CheckMarkers { retriever } => one("CheckMarkers", "retriever", retriever),
        Action::Flush {
            device,
            pressure_atm: Some(atm),
        } => format!("Flush(device: {device:?}, pressure_atm: {atm:?})"),
        Action::Flush { device, .. } => one("Flush", "device", device),
        Action::Remove { device } => one("Remove", "device", device),
        Action::LoadRetriever { retriever, through } => {
            format!("LoadRetriever(retriever: {retriever:?}, through: {through:?})")
        }
        Action::Unsheathe { retriever } => one("Unsheathe", "retriever", retriever),
        Action::DeployStent { device } => one("DeployStent", "device", device),
        Action::Inflate {
            device,
            pressure_atm: Some(atm),
        } => format!("Inflate(device: {device:?}, pressure_atm: {atm:?})"),
        Action::Inflate { device, .. } => one("Inflate", "device", device),
        Action::Deflate { device } => one("Deflate", "device", device),
        Action::SuctionOn { device } => one("SuctionOn", "device", device),
        Action::SuctionOff { device } => one("SuctionOff", "device", device),
        Action::Contrast { through, region } => {
            format!("Contrast(through: {through:?}, region: {})", word(*region))
        }
        Action::Attach { part, rail } => format!("Attach(part: {part:?}, rail: {rail:?})"),
        Action::Detach { part } => one("Detach", "part", part),
        Action::Watch { plane, region } => format!(
            "Watch(plane: {}, region: {})",
            plane.in_words(),
            word(*region)
        ),
        Action::Wait { minutes } => format!("Wait(minutes: {minutes:?})"),
    }
}

const fn word(region: Region) -> &'static str {
    match region {
        Region::Access => "Access",
        Region::Neck => "Neck",
        Region::Head => "Head",
    }
}

fn place(to: &Where) -> String {
    match to {
        Where::At(name) => format!("At({name:?})"),
        Where::Past(name, mm) => format!("Past({name:?}, \"{mm} mm\")"),
        Where::Short(name, mm) => format!("Short({name:?}, \"{mm} mm\")"),
        Where::By(mm) => format!("By(\"{mm} mm\")"),
        Where::Hub => "Hub".into(),
        Where::Out => "Out".into(),
    }
}
