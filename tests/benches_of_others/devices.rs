//! Devices of the cabinet as rods: the same files that scenes use, read as far as benches need them.

use crate::support::root::root;
use nestline_physics::device::Coating;
use nestline_physics::mechanics::Rod;

/// A line of a device's profile: distance from the tip, outer diameter, lumen, mm, stiffness, N mm².
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    pub(super) from_tip_mm: f64,
    pub(super) outer_mm: f64,
    pub(super) inner_mm: Option<f64>,
    pub(super) stiffness_n_mm2: f64,
}

/// A device as far as it rubs and bends.
#[derive(Debug, Clone)]
pub(super) struct BenchDevice {
    pub(super) profile: Vec<Line>,
    pub(super) outside: Coating,
    pub(super) inside: Coating,
}

/// A length as device files write it, mm.
fn length_mm(text: &str) -> f64 {
    let (number, unit) = text.trim().split_once(' ').unwrap();
    let mm = match unit {
        "mm" => 1.0,
        "cm" => 10.0,
        "in" => 25.4,
        _ => panic!("{text}: a unit that no device file uses"),
    };
    mm * number.parse::<f64>().unwrap()
}

/// What stands behind a field's name on a line, without quotes.
fn field<'a>(line: &'a str, name: &str) -> Option<&'a str> {
    let (_, after) = line.split_once(&format!("{name}: "))?;
    let end = after.find([',', ')']).unwrap_or(after.len());
    Some(after[..end].trim_matches('"'))
}

fn coating(text: &str, name: &str) -> Option<Coating> {
    let found = text.lines().find_map(|line| field(line.trim(), name))?;
    Some(match found {
        "Hydrophilic" => Coating::Hydrophilic,
        "Ptfe" => Coating::Ptfe,
        "Polymer" => Coating::Polymer,
        "Metal" => Coating::Metal,
        _ => panic!("{found}: a surface that the table of friction does not know"),
    })
}

impl BenchDevice {
    /// The device of this file of the cabinet.
    pub(super) fn of_cabinet(name: &str) -> Self {
        let path = root().join(format!("scenes/devices/{name}.ron"));
        let text = std::fs::read_to_string(&path).unwrap();
        let profile = text.lines().filter_map(|line| {
            let from_tip_mm = length_mm(field(line, "(from_tip")?);
            Some(Line {
                from_tip_mm,
                outer_mm: length_mm(field(line, "outer")?),
                inner_mm: field(line, "inner").map(length_mm),
                stiffness_n_mm2: field(line, "stiffness_n_mm2")?.parse().unwrap(),
            })
        });
        let outside = coating(&text, "outer_surface").unwrap();
        Self {
            profile: profile.collect(),
            outside,
            inside: coating(&text, "inner_surface").unwrap_or(outside),
        }
    }

    /// The same with its first millimetres of another diameter and stiffness.
    pub(super) fn with_front(
        mut self,
        length_mm: f64,
        outer_mm: f64,
        stiffness_n_mm2: f64,
    ) -> Self {
        let behind = self.at(length_mm);
        let front = |from_tip_mm| Line {
            from_tip_mm,
            outer_mm,
            stiffness_n_mm2,
            ..behind
        };
        self.profile.retain(|line| line.from_tip_mm > length_mm);
        let new = [front(0.0), front(length_mm), behind];
        self.profile.splice(0..0, new);
        self
    }

    /// Its profile at a distance from the tip, mm; what lies between two lines is like the one behind.
    pub(super) fn at(&self, from_tip_mm: f64) -> Line {
        let mut lines = self.profile.iter();
        let behind = lines.find(|line| line.from_tip_mm >= from_tip_mm);
        Line {
            from_tip_mm,
            ..*behind.unwrap_or(&self.profile[self.profile.len() - 1])
        }
    }

    /// Its rod with stiffnesses times `factor`.
    pub(super) fn rod(&self, factor: f64) -> Rod {
        let by = |value: &dyn Fn(&Line) -> f64| -> Vec<(f64, f64)> {
            self.profile
                .iter()
                .map(|line| (line.from_tip_mm, value(line)))
                .collect()
        };
        let rod = Rod::builder()
            .stiffness_by_distance_n_mm2(&by(&|line| factor * line.stiffness_n_mm2))
            .outer_by_distance_mm(&by(&|line| line.outer_mm));
        let lumens: Vec<(f64, f64)> = (self.profile.iter())
            .filter_map(|line| Some((line.from_tip_mm, line.inner_mm?)))
            .collect();
        match lumens.is_empty() {
            true => rod.build().unwrap(),
            false => rod.inner_by_distance_mm(&lumens).build().unwrap(),
        }
    }
}
