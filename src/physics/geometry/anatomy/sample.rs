//! Random persons: every measurement drawn from its published mean and spread.

use super::super::ArchType;
use super::form::{
    Access, ClotForm, ClotPlace, LesionForm, LesionPlace, M1Shape, Measurements, NeckShape, Sex,
    SharedOrigin, Side, SiphonShape, WallDisease,
};
use super::means::{self, Mean, Who};
use crate::math;
use std::f64::consts::TAU;

/// Draws outside this many standard deviations are drawn again: a normal law has tails that no
/// vessel has, and 2.5 keeps 98.8 % of it.
const TRUNCATED_AT_SD: f64 = 2.5;
/// Least length-to-chord ratio drawn; the spread of the paper reaches below 1.
const LEAST_RATIO: f64 = 1.03;

struct Draw<'a, R: ?Sized> {
    rng: &'a mut R,
}

impl<R: rand::Rng + ?Sized> Draw<'_, R> {
    /// Uniform in `[0, 1)` from the upper 53 bits, so that a stream means the same for every
    /// version of the random-number library.
    fn unit(&mut self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "53 bits fit an f64 exactly")]
        let bits = (self.rng.next_u64() >> 11) as f64;
        bits * math::power(0.5_f64, 53)
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Truncated normal (Box and Muller, Ann Math Stat 1958;29:610, cited from memory).
    fn normal(&mut self, mean: Mean) -> f64 {
        loop {
            let radius = (-2.0 * math::ln(1.0 - self.unit())).sqrt();
            let z = radius * math::cos(TAU * self.unit());
            if z.abs() <= TRUNCATED_AT_SD {
                return mean.value + mean.sd * z;
            }
        }
    }

    fn some(&mut self, mean: Mean) -> Option<f64> {
        Some(self.normal(mean))
    }

    fn at_least(&mut self, least: f64, mean: Mean) -> Option<f64> {
        loop {
            let value = self.normal(mean);
            if value >= least {
                return Some(value);
            }
        }
    }

    /// One of several by their shares, which need not add up to 1; the last takes the rest.
    fn pick<T: Copy>(&mut self, first: T, others: &[(f64, T)]) -> T {
        let mut left = self.unit();
        for (share, value) in others {
            if left < *share {
                return *value;
            }
            left -= share;
        }
        first
    }
}

impl Measurements {
    /// Draws a person with a tandem lesion.
    ///
    /// Lengths, diameters and angles are drawn independently from truncated normal laws of the
    /// published means and spreads by sex and age band; classes from their published shares
    /// (arch types: Inanc Y et al., 288 patients; shared origins: Ann Vasc Surg 2016;30:132, 817
    /// CT; kink, loop and coil: Benson JC et al., 120 thrombectomy patients; M1 shapes: Reci V,
    /// Bexheti S, 2019). Age, access, siphon shapes, lesions and clots follow shares from memory.
    /// The draws are made in a fixed order: one stream, one person, on every run.
    ///
    /// # Validity
    /// Measurements of one person are correlated; the draws are not, so that rare combinations are
    /// more frequent here than in life. Some of them cannot be built and are refused by
    /// [`Measurements::build`] with the reason.
    #[must_use]
    pub fn sampled(rng: &mut (impl rand::Rng + ?Sized)) -> Self {
        let mut draw = Draw { rng };
        let sex = draw.pick(Sex::Male, &[(0.5, Sex::Female)]);
        // thrombectomy patients, from memory
        let age_years = draw
            .normal(means::mean(69.0, 12.0, means::source::MEMORY))
            .clamp(18.0, 110.0);
        let side = draw.pick(Side::Left, &[(0.5, Side::Right)]);
        // common practice, no source: mostly the groin; the radial of the same side
        let radial = match side {
            Side::Left => Access::RadialLeft,
            Side::Right => Access::RadialRight,
        };
        let access = draw.pick(
            Access::FemoralRight,
            &[
                (0.10, Access::FemoralLeft),
                (0.10, radial),
                (0.03, Access::DirectCarotid),
            ],
        );
        let mut form = Self::new(sex, age_years, access, side);
        let who = Who::of(&form);
        draw.torso(&mut form, who);
        draw.neck(&mut form, who);
        draw.head(&mut form);
        draw.disease(&mut form);
        form
    }
}

impl<R: rand::Rng + ?Sized> Draw<'_, R> {
    fn torso(&mut self, form: &mut Measurements, who: Who) {
        let puncture_side = match form.access {
            Access::FemoralLeft => Side::Left,
            _ => Side::Right,
        };
        let route = &mut form.femoral;
        route.puncture_to_bifurcation = self.some(who.puncture_to_bifurcation(puncture_side));
        route.bifurcation_to_renal = self.some(who.bifurcation_to_renal());
        route.renal_to_coeliac = self.some(who.renal_to_coeliac());
        route.coeliac_to_left_subclavian = self.some(who.coeliac_to_left_subclavian());
        route.common_iliac_diameter = self.some(who.common_iliac_diameter());
        route.external_iliac_diameter = self.some(means::EXTERNAL_ILIAC_DIAMETER);
        route.common_femoral_diameter = self.some(means::COMMON_FEMORAL_DIAMETER);
        if form.access.radial_side().is_some() {
            form.radial.radial_length = self.some(means::RADIAL_LENGTH_MM);
            form.radial.brachial_length = self.some(means::BRACHIAL_LENGTH_MM);
            form.radial.axillary_length = self.some(means::AXILLARY_LENGTH_MM);
            form.radial.subclavian_length = self.some(means::SUBCLAVIAN_LENGTH_MM);
            // 1.8 mm: narrower arteries are not punctured, from memory
            form.radial.radial_diameter = self.at_least(1.8, who.radial_diameter());
            form.radial.brachial_diameter = self.some(means::BRACHIAL_DIAMETER);
        }
        let aorta = &mut form.aorta;
        aorta.ascending_length = self.some(means::ASCENDING_LENGTH);
        aorta.ascending_diameter = self.some(who.ascending_diameter());
        aorta.innominate_diameter = self.some(who.innominate_aorta_diameter());
        aorta.left_carotid_diameter = self.some(who.left_carotid_aorta_diameter());
        aorta.left_subclavian_diameter = self.some(who.left_subclavian_aorta_diameter());
        aorta.descending_diameter = self.some(who.descending_diameter());
        aorta.infrarenal_diameter = self.some(who.infrarenal_diameter());
        let arch = &mut form.arch;
        let kind = self.pick(
            ArchType::I,
            &[(0.343, ArchType::II), (0.048, ArchType::III)],
        );
        arch.kind = Some(kind);
        let shared = self.pick(
            SharedOrigin::None,
            &[
                (0.149, SharedOrigin::CommonOrigin),
                (0.162, SharedOrigin::FromInnominate),
            ],
        );
        arch.shared_origin = Some(shared);
        arch.width = self.some(who.arch_width());
        arch.plane_deg = self.some(means::ARCH_PLANE_DEG);
        let distance = match shared {
            SharedOrigin::None => who.innominate_to_left_carotid(),
            _ => means::shared_origin_distance(shared),
        };
        arch.innominate_to_left_carotid = self.at_least(0.5, distance);
        // origins touch where their distance falls below the sum of two ostial radii, 9 mm
        arch.left_carotid_to_left_subclavian =
            self.at_least(9.0, who.left_carotid_to_left_subclavian());
        arch.innominate_takeoff_deg = self.some(means::innominate_takeoff_deg(kind));
        arch.left_carotid_takeoff_deg = self.some(means::left_carotid_takeoff_deg(kind));
        arch.left_subclavian_takeoff_deg = self.some(means::left_subclavian_takeoff_deg(kind));
        form.innominate.length = self.some(means::INNOMINATE_LENGTH);
        form.innominate.diameter = self.some(means::INNOMINATE_DIAMETER);
    }

    fn neck(&mut self, form: &mut Measurements, who: Who) {
        let common = &mut form.common_carotid;
        common.length = self.some(who.common_carotid_length(form.side));
        common.diameter = self.some(who.common_carotid_diameter());
        common.length_to_chord = self.at_least(LEAST_RATIO, who.common_carotid_ratio());
        form.bifurcation.bulb_diameter = self.some(means::BULB_DIAMETER);
        form.bifurcation.bulb_length = self.some(means::BULB_LENGTH);
        let neck = &mut form.cervical_ica;
        neck.diameter = self.some(who.cervical_ica_diameter());
        let length_mm = self.normal(who.cervical_ica_length(form.side));
        // what kinks, loops and coils leave is straight or tortuous by age, as where it is assumed
        let shape = self.pick(
            who.neck_shape().0,
            &[
                (
                    0.233,
                    NeckShape::Kink {
                        interior_angle_deg: 60.0,
                        at: None,
                        bend_radius: None,
                    },
                ),
                (
                    0.167,
                    NeckShape::Loop {
                        interior_angle_deg: None,
                        bend_radius: None,
                    },
                ),
                (
                    0.067,
                    NeckShape::Coil {
                        turn_diameter: None,
                    },
                ),
            ],
        );
        neck.length = Some(length_mm);
        match shape {
            NeckShape::Tortuous { .. } => {
                neck.length_to_chord = self.at_least(LEAST_RATIO, who.cervical_ica_ratio());
            }
            NeckShape::Coil { .. } => neck.length = None,
            _ => {}
        }
        neck.shape = Some(match shape {
            // the kink grades span 0 to 90 degrees; below 20 the limbs touch
            NeckShape::Kink { .. } => NeckShape::Kink {
                interior_angle_deg: self.between(20.0, 90.0),
                at: Some(length_mm * self.between(0.45, 0.7)),
                bend_radius: None,
            },
            NeckShape::Loop { .. } => NeckShape::Loop {
                interior_angle_deg: Some(self.between(40.0, 89.0)),
                bend_radius: None,
            },
            other => other,
        });
    }

    fn head(&mut self, form: &mut Measurements) {
        form.petrous.vertical_length = self.some(means::PETROUS_VERTICAL);
        form.petrous.horizontal_length = self.some(means::PETROUS_HORIZONTAL);
        form.petrous.interior_angle_deg = self.some(means::PETROUS_ANGLE_DEG);
        let siphon = &mut form.siphon;
        siphon.length = self.some(means::SIPHON_LENGTH);
        // shares from memory: C about half
        siphon.shape = Some(self.pick(
            SiphonShape::C,
            &[
                (0.15, SiphonShape::V),
                (0.25, SiphonShape::U),
                (0.08, SiphonShape::S),
            ],
        ));
        siphon.posterior_turn_deg = self.some(means::POSTERIOR_TURN_DEG);
        siphon.proximal_diameter = self.some(means::SIPHON_PROXIMAL_DIAMETER);
        siphon.terminus_diameter = self.some(means::TERMINUS_DIAMETER);
        // 5 mm: shorter ones count as early divisions, review in Anat Cell Biol 2024;57:481
        form.m1.length = self.at_least(5.0, means::M1_LENGTH);
        form.m1.diameter = self.some(means::M1_DIAMETER);
        form.m1.shape = Some(self.pick(
            M1Shape::Arch,
            &[(0.24, M1Shape::S), (0.12, M1Shape::Straight)],
        ));
        form.m2.superior_diameter = self.some(means::M2_SUPERIOR_DIAMETER);
        form.m2.inferior_diameter = self.some(means::M2_INFERIOR_DIAMETER);
        form.m2.superior_length = self.some(means::M2_SUPERIOR_LENGTH);
        form.m2.inferior_length = self.some(means::M2_INFERIOR_LENGTH);
        form.m2.angle_deg = self.some(means::M2_ANGLE_DEG);
        form.m2.out_of_plane_deg = self.at_least(0.0, means::M2_OUT_OF_PLANE_DEG);
    }

    /// Lesion and clot; shares and ranges from memory.
    fn disease(&mut self, form: &mut Measurements) {
        let occluded = self.unit() < 0.25;
        let torn = self.unit() < 0.15;
        let bulb_mm = form
            .bifurcation
            .bulb_diameter
            .unwrap_or(means::BULB_DIAMETER.value);
        form.lesions = vec![LesionForm {
            name: None,
            kind: if torn {
                WallDisease::Dissection
            } else {
                WallDisease::Plaque
            },
            place: LesionPlace::Neck {
                above_bifurcation: self.between(0.0, 8.0),
            },
            length: self.between(10.0, 25.0),
            nascet_percent: if occluded {
                100.0
            } else {
                self.between(70.0, 99.0)
            },
            reference: form.cervical_ica.diameter,
            near_occlusion: false,
            false_lumen: torn.then_some(0.5 * bulb_mm),
            calcified_ring: false,
        }];
        let m1_mm = form.m1.length.unwrap_or(means::M1_LENGTH.value);
        form.clot = Some(ClotForm {
            place: ClotPlace::M1 {
                beyond_terminus: 0.7 * m1_mm * self.unit(),
            },
            length: self.between(5.0, 20.0),
        });
    }
}
