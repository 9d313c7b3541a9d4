//! The table of materials: how surfaces rub, how walls, plaque and devices resist.

use super::friction::{Surface, line_of};
use super::group::{group, part_way};
use super::ranged::{Level, Ranged};
use crate::device::Coating;
use crate::mechanics::closed_forms::retriever::Sliding;
use crate::mechanics::stent::deploy::PlaqueLaw;
use crate::units::Refusal;
use serde::{Deserialize, Serialize};

group! {
    /// Coefficients of friction.
    Frictions, GivenFrictions, FrictionValues {
        /// Hydrophilic device on the wall of a vessel.
        hydrophilic_on_vessel: 0.0 to 2.0, level;
        /// Uncoated polymer on the wall of a vessel.
        polymer_on_vessel: 0.0 to 2.0, level;
        /// Bare metal on the wall of a vessel.
        metal_on_vessel: 0.0 to 2.0, level;
        /// PTFE on the wall of a vessel.
        ptfe_on_vessel: 0.0 to 2.0, level;
        /// Hydrophilic device on plaque.
        hydrophilic_on_plaque: 0.0 to 2.0, level;
        /// Uncoated polymer on plaque.
        polymer_on_plaque: 0.0 to 2.0, level;
        /// Bare metal on plaque.
        metal_on_plaque: 0.0 to 2.0, level;
        /// PTFE on plaque.
        ptfe_on_plaque: 0.0 to 2.0, level;
        /// Any device on PTFE, or one of PTFE on any, unless one is hydrophilic.
        on_ptfe: 0.0 to 2.0, level;
        /// Two devices of which one is hydrophilic.
        hydrophilic_pair: 0.0 to 2.0, level;
        /// Two devices of bare polymer or metal.
        bare_pair: 0.0 to 2.0, level;
        /// Struts of an open retriever on the wall.
        struts_on_wall: 0.0 to 2.0, level;
        /// Clot on the wall, where struts press on the clot.
        clot_on_wall: 0.0 to 2.0, level;
    }
}

group! {
    /// How plaque and artery resist being widened.
    Plaque, GivenPlaque, PlaqueValues {
        /// Force per length of lesion for each mm that its lumen is widened, N/mm2.
        stiffness_n_per_mm2: 0.001 to 100.0, level;
        /// Share of a balloon's widening that plaque in a stent keeps when the balloon is let down.
        kept: 0.0 to 1.0, usual;
        /// The same without a stent.
        kept_bare: 0.0 to 1.0, usual;
        /// Modulus times thickness of a healthy artery, N/mm.
        artery_n_per_mm: 0.001 to 100.0, level;
    }
}

group! {
    /// What is known of stiffness, as factors on what vessel and device files say.
    Stiffness, GivenStiffness, StiffnessValues {
        /// On the bending stiffness of every device.
        all: 0.01 to 100.0, level;
        /// On the stiffness of the walls against a device that bears on them from one side.
        wall: 0.01 to 100.0, level;
    }
}

group! {
    /// How haemostatic valves hold back what slides in them, by how tight they are.
    Valves, GivenValves, ValveValues {
        /// Open, N for each mm of diameter.
        open_n_per_mm: 0.0 to 10.0, level;
        /// Snug, N for each mm of diameter.
        snug_n_per_mm: 0.0 to 10.0, level;
        /// Closed, N for each mm of diameter.
        closed_n_per_mm: 0.0 to 10.0, level;
    }
}

/// A table of materials with ranges and sources.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Materials {
    /// Whose table it is.
    pub name: String,
    /// Coefficients of friction.
    pub friction: Frictions,
    /// Plaque and artery.
    pub plaque: Plaque,
    /// Factors on stiffness.
    pub stiffness: Stiffness,
    /// Haemostatic valves.
    pub valves: Valves,
}

/// A table of materials as a file gives it: whatever is left out is taken from another one.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename = "Materials")]
#[non_exhaustive]
pub struct GivenMaterials {
    /// Whose table it is.
    pub name: String,
    /// Coefficients of friction.
    #[serde(default)]
    pub friction: GivenFrictions,
    /// Plaque and artery.
    #[serde(default)]
    pub plaque: GivenPlaque,
    /// Factors on stiffness.
    #[serde(default)]
    pub stiffness: GivenStiffness,
    /// Haemostatic valves.
    #[serde(default)]
    pub valves: GivenValves,
}

/// Materials as plain numbers, at one end of what is known of them.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct MaterialValues {
    /// Coefficients of friction.
    pub friction: FrictionValues,
    /// Plaque and artery.
    pub plaque: PlaqueValues,
    /// Factors on stiffness.
    pub stiffness: StiffnessValues,
    /// Haemostatic valves.
    pub valves: ValveValues,
}

impl FrictionValues {
    /// Coefficient of friction of a device's surface on what it slides on.
    #[must_use]
    pub const fn of(&self, on_device: Coating, against: Surface) -> f64 {
        *line_of!(self, on_device, against)
    }

    /// How an open retriever slides.
    #[must_use]
    pub const fn sliding(&self) -> Sliding {
        Sliding {
            wall_friction: self.struts_on_wall,
            clot_friction: self.clot_on_wall,
        }
    }
}

impl Materials {
    /// Plain numbers at one end of the ranges: frictions and stiffnesses go there together; what a balloon leaves
    /// stays usual, since it makes forces neither larger nor smaller by itself.
    #[must_use]
    pub const fn at(&self, level: Level) -> MaterialValues {
        MaterialValues {
            friction: self.friction.at(level),
            plaque: self.plaque.at(level),
            stiffness: self.stiffness.at(level),
            valves: self.valves.at(level),
        }
    }

    /// The line that gives the friction of a device's surface on what it slides on.
    #[must_use]
    pub const fn friction_of(&self, on_device: Coating, against: Surface) -> &Ranged {
        line_of!(&self.friction, on_device, against)
    }

    /// Every line by its group and name, in order.
    #[must_use]
    pub fn lines(&self) -> Vec<(&'static str, &'static str, &Ranged)> {
        let groups = [
            ("friction", self.friction.lines()),
            ("plaque", self.plaque.lines()),
            ("stiffness", self.stiffness.lines()),
            ("valves", self.valves.lines()),
        ];
        let lines = groups.into_iter().flat_map(|(group, lines)| {
            let in_group = move |(name, value)| (group, name, value);
            lines.into_iter().map(in_group)
        });
        lines.collect()
    }
}

impl GivenMaterials {
    /// The table with what is left out taken from another one.
    #[must_use]
    pub fn over(self, other: &Materials) -> Materials {
        Materials {
            name: self.name,
            friction: self.friction.over(&other.friction),
            plaque: self.plaque.over(&other.plaque),
            stiffness: self.stiffness.over(&other.stiffness),
            valves: self.valves.over(&other.valves),
        }
    }

    /// The table where every line is given.
    ///
    /// # Errors
    /// Group and name of a line that is missing.
    pub fn whole(self) -> Result<Materials, (&'static str, &'static str)> {
        let of = |group: &'static str| move |line: &'static str| (group, line);
        Ok(Materials {
            name: self.name,
            friction: self.friction.whole().map_err(of("friction"))?,
            plaque: self.plaque.whole().map_err(of("plaque"))?,
            stiffness: self.stiffness.whole().map_err(of("stiffness"))?,
            valves: self.valves.whole().map_err(of("valves"))?,
        })
    }

    /// What is smaller or larger than it can be, each with its path.
    #[must_use]
    pub fn check(&self) -> Vec<(String, Refusal)> {
        let groups = [
            ("friction", self.friction.beyond()),
            ("plaque", self.plaque.beyond()),
            ("stiffness", self.stiffness.beyond()),
            ("valves", self.valves.beyond()),
        ];
        let wrong = groups.into_iter().flat_map(|(group, lines)| {
            lines.into_iter().map(move |(line, found, [least, most])| {
                let path = format!("{group}.{line}");
                let what = format!("`{path}` reaches {found}, outside {least} to {most}");
                (path, Refusal::new(what, format!("give {least} to {most}")))
            })
        });
        wrong.collect()
    }
}

impl MaterialValues {
    /// The values a share (0 to 1) of the way to others, by equal factors: half of the way to nine times as much is three
    /// times as much. For whoever seeks what is far from usual by way of what is nearer.
    #[must_use]
    pub fn towards(&self, others: &Self, share: f64) -> Self {
        Self {
            friction: self.friction.towards(&others.friction, share),
            plaque: self.plaque.towards(&others.plaque, share),
            stiffness: self.stiffness.towards(&others.stiffness, share),
            valves: self.valves.towards(&others.valves, share),
        }
    }

    /// How plaque and artery resist stent and balloon.
    #[must_use]
    pub const fn plaque_law(&self) -> PlaqueLaw {
        PlaqueLaw {
            stiffness_n_per_mm2: self.plaque.stiffness_n_per_mm2,
            kept: self.plaque.kept,
            kept_bare: self.plaque.kept_bare,
            artery_n_per_mm: self.plaque.artery_n_per_mm,
        }
    }
}
