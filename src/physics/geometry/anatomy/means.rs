//! Published means that stand in for what was not measured, by sex, age band and side.
//!
//! Where a paper splits by side and by sex separately, the side's mean is shifted by half the
//! difference between the sexes. The age bands split at 60 years, as the carotid lengths do.
//! Spreads that no paper gives say so in the comment beside them; sampling uses them.

use super::super::ArchType;
use super::form::{Measurements, NeckShape, Sex, SharedOrigin, Side, SiphonShape};

/// A mean with the standard deviation that sampling draws from, mm or degrees.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mean {
    pub(super) value: f64,
    pub(super) sd: f64,
    pub(super) source: &'static str,
}

pub(super) const fn mean(value: f64, sd: f64, source: &'static str) -> Mean {
    Mean { value, sd, source }
}

/// A value without published spread, which sampling leaves alone.
pub(super) const fn fixed(value: f64, source: &'static str) -> Mean {
    Mean {
        value,
        sd: 0.0,
        source,
    }
}

/// Who a published mean and its spread are of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Population {
    /// How many people.
    pub(super) people: f64,
    /// Who they were, as in `100 elderly CTs`; none where the mean is from memory.
    pub(super) whom: Option<&'static str>,
}

/// Sources, as cited in notes.
pub(super) mod source {
    use super::Population;

    pub(in super::super) const MEMORY: &str = "from memory: right range, no publication looked up";
    pub(in super::super) const MODEL: &str =
        "choice of the model: common anatomy, drawn from memory";
    pub(in super::super) const ZONES_YOUNG: &str =
        "Wang NC et al., Academic Surgical Congress 2017, abstract 86.09 (1,769 CT, 18-50 years)";
    pub(in super::super) const FEMORAL: &str =
        "100 CT of elderly patients, Sci Rep 2020, doi 10.1038/s41598-020-70364-9";
    pub(in super::super) const FEMORAL_SIDE: &str = "derived from 100 CT, Sci Rep 2020, doi 10.1038/s41598-020-70364-9, and the 7 mm longer right side of World J Emerg Surg 2024;19:29, doi 10.1186/s13017-024-00557-4";
    pub(in super::super) const THORACIC_AORTA: &str = "Hager A et al., J Thorac Cardiovasc Surg 2002;123:1060 (70 CT); proximal and distal arch taken as the left carotid and subclavian origins";
    pub(in super::super) const HEALTHY_ARCH: &str =
        "Girsowicz E et al., Anatomical study of healthy aortic arches (61 CT, mean age 51)";
    pub(in super::super) const ABDOMINAL: &str =
        "Ann Vasc Surg 2019, doi 10.1016/j.avsg.2019.05.030 (1,340 CT)";
    pub(in super::super) const ILIAC: &str =
        "Mirza A, congress poster 2022 (112 CT, mean age 38; abstract only)";
    pub(in super::super) const ILIAC_LENGTH: &str =
        "anatomy note without primary source; usual range 40-60 mm";
    pub(in super::super) const ELDERLY_ARCH: &str =
        "anatomical study of the arch in 120 elderly patients, doi 10.1177/0218492312449637";
    pub(in super::super) const OSTIA: &str =
        "arch morphology on 217 CT angiograms, 2017 (read in a secondary page)";
    pub(in super::super) const TAKEOFF: &str =
        "Neurointervention 2010;5:79 (25 cadaver arches); read as the angle to the aorta's flow";
    pub(in super::super) const TAKEOFF_BY_TYPE: &str = "derived from the mean of Neurointervention 2010;5:79 (25 cadaver arches; read as the angle to the aorta's flow) and the shares of arch types of Inanc Y et al., Neuropsychiatr Dis Treat: the deeper an origin, the steeper the aorta there; vessels follow four tenths of that (assumed)";
    pub(in super::super) const ARCH_TYPES: &str =
        "Inanc Y et al., Neuropsychiatr Dis Treat (288 patients): type I is the most frequent";
    pub(in super::super) const ARCH_RULE: &str = "derived from the arch type and the left common carotid diameter: 0.5, 1.5 or 2.5 diameters (rule: I below 1, II 1-2, III above 2 diameters, teaching page)";
    pub(in super::super) const SHARED: &str =
        "Ann Vasc Surg 2016;30:132, doi 10.1016/j.avsg.2015.05.008 (817 CT): own origin in 68.9 %";
    pub(in super::super) const CAROTID_LENGTH: &str = "derived from the means by side and by sex of Vascular geometry of the extracranial carotid arteries, J NeuroIntervent Surg 2016";
    pub(in super::super) const RIGHT_CAROTID_LENGTH: &str = "derived from the means by side and by sex of Vascular geometry of the extracranial carotid arteries, J NeuroIntervent Surg 2016 (right taken from the arch), less the innominate, Neurointervention 2010;5:79";
    pub(in super::super) const CAROTID_RATIO: &str =
        "Vascular geometry of the extracranial carotid arteries, J NeuroIntervent Surg 2016";
    pub(in super::super) const CAROTID_DIAMETER: &str =
        "Krejza J et al., Stroke 2006;37:1103-5 (500 ultrasound)";
    pub(in super::super) const CAROTID_CTA: &str = "Baz RA et al., Medicina 2021;57:832";
    pub(in super::super) const NECK_ANGLE: &str =
        "from memory; straight below 15 degrees after Nagata T et al.";
    pub(in super::super) const NECK_CLASS: &str =
        "derived from the age: tortuous from 60 years, straight below; no source for the split";
    pub(in super::super) const LOOP_CLASS: &str = "derived from the class: two bends below 90 degrees, Benson JC et al. (120 thrombectomy patients, PMC7507229)";
    pub(in super::super) const COIL_LENGTH: &str = "derived from the means by side and by sex of Vascular geometry of the extracranial carotid arteries, J NeuroIntervent Surg 2016, plus the circumference of the turn";
    pub(in super::super) const PETROUS: &str = "Keshelava G et al., Neuroanatomy 2009";
    pub(in super::super) const ANTERIOR_CIRCULATION: &str =
        "Rai AT et al., J NeuroIntervent Surg 2013;5:371";
    pub(in super::super) const SIPHON_CLASS: &str = "derived from the shape class, J Korean Neurosurg Soc 65(6) cover text; angle inside the class from memory";
    pub(in super::super) const SIPHON_RADIUS: &str = "from memory, 3-6 mm, scaled with siphon.length and at least 1.25 lumen radii; 20 MR angiograms give a mean of 2.9 mm (Chueh JY et al., AJNR 2009;30:1159)";
    pub(in super::super) const M1_SHAPE: &str =
        "Reci V, Bexheti S, 2019 (50 arteries): arch in 64 %";
    pub(in super::super) const M2_RATIO: &str = "derived from a mean of 2.4 mm, Rai AT et al., J NeuroIntervent Surg 2013;5:371, and a ratio of 1.3, inside 1.5 +/- 0.4 of Neurosurg Rev 2013;36:437; the inferior trunk taken as the larger";
    pub(in super::super) const M2_ANGLE: &str =
        "Song J et al., Neurosurgery 2017, doi 10.1093/neuros/nyx093";
    pub(in super::super) const M2_SHARE: &str = "derived from the diameters: the wider trunk bends off less, by the angles of least work of Murray CD, J Gen Physiol 1926;9:835 (from memory)";
    pub(in super::super) const M2_PLANE: &str = "median of PMC4146742; spread from memory";
    pub(in super::super) const RADIAL: &str = "Dharma S et al. (1,706 transradial patients)";
    pub(in super::super) const RADIAL_LENGTH: &str =
        "from memory: middle of the usual range; spread a quarter of it";
    pub(in super::super) const NETWORK: &str =
        "arterial network after Boileau et al. 2015 (journal not looked up)";
    pub(in super::super) const COW_NETWORK: &str =
        "arterial network after Alastruey et al. 2007 (journal not looked up)";
    /// The people behind a mean: whoever is not listed was told from memory, or by papers whose number of people was
    /// not read.
    pub(in super::super) fn population(source: &str) -> Population {
        let (people, whom) = match source {
            FEMORAL | FEMORAL_SIDE => (100.0, Some("100 elderly CTs")),
            ZONES_YOUNG => (1769.0, Some("1,769 CTs of the young")),
            ELDERLY_ARCH => (120.0, Some("120 elderly arches")),
            HEALTHY_ARCH => (61.0, Some("61 healthy arches")),
            TAKEOFF => (25.0, Some("25 cadavers")),
            MEMORY | RADIAL_LENGTH | MODEL => (FROM_MEMORY, None),
            _ => (NOT_READ, Some("a published series")),
        };
        Population { people, whom }
    }

    /// A spread from memory is trusted as that of so few people (assumed): it is known to a quarter of itself.
    const FROM_MEMORY: f64 = 10.0;
    /// So many people are taken to stand behind a paper whose abstract does not tell how many (assumed).
    const NOT_READ: f64 = 30.0;

    pub(in super::super) const WALL: &str = "derived: 4/3 E w / h, the squeeze of a wall of thickness h on a rigid bed under a device that touches a strip of width w (plane strain, incompressible); E of the arterial network after Alastruey et al. 2007, w and h from memory. Order of magnitude only";
}
use source::*;

/// What the means depend on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Who {
    pub(super) sex: Sex,
    pub(super) aged: bool,
}

impl Who {
    pub(super) fn of(form: &Measurements) -> Self {
        Self {
            sex: form.sex,
            aged: form.age_years >= 60.0,
        }
    }

    fn by_sex(self, male: f64, female: f64) -> f64 {
        match self.sex {
            Sex::Male => male,
            Sex::Female => female,
        }
    }

    fn by_age(self, aged: Mean, younger: Mean) -> Mean {
        if self.aged { aged } else { younger }
    }

    // --- groin to arch -------------------------------------------------------------------------

    /// Puncture to aortic bifurcation. The spread of the younger is the interquartile range of
    /// about 20 mm over 1.349.
    pub(super) fn puncture_to_bifurcation(self, side: Side) -> Mean {
        let younger = match side {
            Side::Right => self.by_sex(200.7, 198.6),
            Side::Left => self.by_sex(195.8, 193.0),
        };
        self.by_age(
            mean(210.0 + 3.5 * -side.sign(), 21.0, FEMORAL_SIDE),
            mean(younger, 14.5, ZONES_YOUNG),
        )
    }

    /// The spread is what is left when the cumulative spreads of the paper (21, 23 mm) are taken
    /// as sums of independent stretches; likewise for the two that follow.
    pub(super) fn bifurcation_to_renal(self) -> Mean {
        self.by_age(mean(100.0, 9.4, FEMORAL), mean(87.0, 14.8, ZONES_YOUNG))
    }

    pub(super) fn renal_to_coeliac(self) -> Mean {
        self.by_age(mean(50.0, 9.8, FEMORAL), mean(40.0, 8.0, MEMORY))
    }

    pub(super) fn coeliac_to_left_subclavian(self) -> Mean {
        self.by_age(mean(240.0, 32.5, FEMORAL), mean(223.7, 20.0, ZONES_YOUNG))
    }

    pub(super) fn common_iliac_diameter(self) -> Mean {
        mean(self.by_sex(9.75, 8.55), self.by_sex(1.8, 1.3), ABDOMINAL)
    }

    // --- aorta and arch ------------------------------------------------------------------------

    pub(super) fn ascending_diameter(self) -> Mean {
        self.by_age(
            mean(30.9, 4.1, THORACIC_AORTA),
            mean(29.5, 3.9, HEALTHY_ARCH),
        )
    }

    pub(super) fn innominate_aorta_diameter(self) -> Mean {
        self.by_age(
            mean(29.4, 4.2, THORACIC_AORTA),
            mean(28.6, 3.9, HEALTHY_ARCH),
        )
    }

    pub(super) fn left_carotid_aorta_diameter(self) -> Mean {
        self.by_age(
            mean(27.7, 3.7, THORACIC_AORTA),
            mean(27.1, 3.2, HEALTHY_ARCH),
        )
    }

    pub(super) fn left_subclavian_aorta_diameter(self) -> Mean {
        self.by_age(
            mean(26.1, 4.1, THORACIC_AORTA),
            mean(25.3, 3.0, HEALTHY_ARCH),
        )
    }

    pub(super) fn descending_diameter(self) -> Mean {
        self.by_age(
            mean(24.3, 3.5, THORACIC_AORTA),
            mean(23.9, 3.3, HEALTHY_ARCH),
        )
    }

    pub(super) fn infrarenal_diameter(self) -> Mean {
        mean(self.by_sex(16.5, 14.5), self.by_sex(2.1, 1.7), ABDOMINAL)
    }

    pub(super) fn arch_width(self) -> Mean {
        self.by_age(mean(80.0, 8.0, MEMORY), mean(70.0, 8.0, MEMORY))
    }

    /// The younger's spread from the 95 % interval of the mean, 3.1 mm wide, of 61 patients.
    pub(super) fn innominate_to_left_carotid(self) -> Mean {
        self.by_age(mean(12.0, 5.6, ELDERLY_ARCH), mean(21.8, 6.2, HEALTHY_ARCH))
    }

    /// The younger's spread from the 95 % interval of the mean, 2.6 mm wide, of 61 patients.
    pub(super) fn left_carotid_to_left_subclavian(self) -> Mean {
        self.by_age(mean(18.7, 5.6, ELDERLY_ARCH), mean(14.3, 5.2, HEALTHY_ARCH))
    }

    // --- neck ----------------------------------------------------------------------------------

    pub(super) fn common_carotid_length(self, side: Side) -> Mean {
        let sex = self.by_sex(6.5, -6.5);
        match side {
            Side::Left => mean(124.0 + sex, 14.0, CAROTID_LENGTH),
            Side::Right => mean(
                136.0 - INNOMINATE_LENGTH.value + sex,
                12.0,
                RIGHT_CAROTID_LENGTH,
            ),
        }
    }

    pub(super) fn common_carotid_diameter(self) -> Mean {
        mean(
            self.by_sex(6.52, 6.10),
            self.by_sex(0.98, 0.80),
            CAROTID_DIAMETER,
        )
    }

    pub(super) fn common_carotid_ratio(self) -> Mean {
        self.by_age(mean(1.2, 0.2, CAROTID_RATIO), mean(1.1, 0.1, CAROTID_RATIO))
    }

    pub(super) fn cervical_ica_length(self, side: Side) -> Mean {
        let sex = self.by_sex(3.5, -3.5);
        let mm = match side {
            Side::Left => 84.0,
            Side::Right => 86.0,
        };
        mean(mm + sex, 14.0, CAROTID_LENGTH)
    }

    pub(super) fn cervical_ica_diameter(self) -> Mean {
        mean(
            self.by_sex(5.11, 4.66),
            self.by_sex(0.87, 0.78),
            CAROTID_DIAMETER,
        )
    }

    pub(super) fn cervical_ica_ratio(self) -> Mean {
        self.by_age(mean(1.3, 0.1, CAROTID_RATIO), mean(1.1, 0.1, CAROTID_RATIO))
    }

    pub(super) fn neck_shape(self) -> (NeckShape, &'static str) {
        let shape = if self.aged {
            NeckShape::Tortuous { turn_deg: None }
        } else {
            NeckShape::Straight
        };
        (shape, NECK_CLASS)
    }

    // --- arm -----------------------------------------------------------------------------------

    /// Spread from the interquartile range of about 0.7 mm over 1.349.
    pub(super) fn radial_diameter(self) -> Mean {
        mean(self.by_sex(2.8, 2.6), 0.5, RADIAL)
    }
}

pub(super) const EXTERNAL_ILIAC_DIAMETER: Mean = mean(7.5, 0.8, ILIAC); // spread from memory
pub(super) const COMMON_FEMORAL_DIAMETER: Mean = mean(7.3, 0.8, ILIAC); // spread from memory

pub(super) fn common_iliac_length(side: Side) -> Mean {
    match side {
        Side::Left => fixed(44.0, ILIAC_LENGTH),
        Side::Right => fixed(41.0, ILIAC_LENGTH),
    }
}

pub(super) const ASCENDING_LENGTH: Mean = mean(80.0, 6.0, MEMORY);
pub(super) const ARCH_PLANE_DEG: Mean = mean(62.2, 8.0, TAKEOFF); // spread from memory
pub(super) const INNOMINATE_LENGTH: Mean = mean(32.5, 5.0, TAKEOFF); // spread from memory
pub(super) const INNOMINATE_DIAMETER: Mean = mean(12.5, 2.0, OSTIA);
pub(super) const LEFT_SUBCLAVIAN_DIAMETER: Mean = mean(10.4, 2.2, OSTIA);

/// How a take-off angle differs from the mean over all arches, degrees. At a radius of 40 mm the aorta rises by
/// 23, 41 and 53 degrees where the innominate leaves arches of type I, II and III, which is 8 below, 10 and 23
/// above the mean over the shares 0.607, 0.343 and 0.048; four tenths of that is left to the vessel.
const fn by_type_deg(kind: ArchType) -> f64 {
    match kind {
        ArchType::I => 3.0,
        ArchType::II => -4.0,
        ArchType::III => -9.0,
    }
}

// spreads of the take-off angles from memory
pub(super) fn innominate_takeoff_deg(kind: ArchType) -> Mean {
    mean(65.3 + by_type_deg(kind), 10.0, TAKEOFF_BY_TYPE)
}

pub(super) fn left_carotid_takeoff_deg(kind: ArchType) -> Mean {
    mean(46.9 + by_type_deg(kind), 10.0, TAKEOFF_BY_TYPE)
}

pub(super) fn left_subclavian_takeoff_deg(kind: ArchType) -> Mean {
    mean(63.8 + by_type_deg(kind), 10.0, TAKEOFF_BY_TYPE)
}

pub(super) const ARCH_TYPE: (ArchType, &str) = (ArchType::I, ARCH_TYPES);
pub(super) const SHARED_ORIGIN: (SharedOrigin, &str) = (SharedOrigin::None, SHARED);

/// Height of the arch in left common carotid diameters: the middle of the type's range.
pub(super) fn arch_height_in_diameters(kind: ArchType) -> f64 {
    match kind {
        ArchType::I => 0.5,
        ArchType::II => 1.5,
        ArchType::III => 2.5,
    }
}

/// Distance of the left carotid from the innominate's ostium, along the innominate.
pub(super) fn shared_origin_distance(origin: SharedOrigin) -> Mean {
    match origin {
        SharedOrigin::FromInnominate => mean(12.0, 3.0, MEMORY),
        SharedOrigin::None | SharedOrigin::CommonOrigin => mean(3.0, 1.0, MEMORY),
    }
}

pub(super) const BULB_DIAMETER: Mean = mean(7.59, 1.00, CAROTID_CTA);
pub(super) const BULB_LENGTH: Mean = mean(20.0, 3.0, MEMORY);

pub(super) fn internal_takeoff_deg(shape: NeckShape) -> Mean {
    match shape {
        NeckShape::Straight => fixed(10.0, NECK_ANGLE),
        _ => fixed(20.0, NECK_ANGLE),
    }
}

pub(super) const PETROUS_VERTICAL: Mean = mean(12.0, 1.2, PETROUS); // range 10-15 as 4 SD
pub(super) const PETROUS_HORIZONTAL: Mean = mean(20.0, 1.0, PETROUS); // range 18-22 as 4 SD
pub(super) const PETROUS_ANGLE_DEG: Mean = mean(105.0, 4.0, PETROUS); // range 95-110 as 4 SD
pub(super) const LACERUM_LENGTH: Mean = fixed(7.0, MEMORY);

pub(super) const SIPHON_LENGTH: Mean = mean(33.1, 6.1, ANTERIOR_CIRCULATION);
pub(super) const SIPHON_PROXIMAL_DIAMETER: Mean = mean(5.0, 0.6, ANTERIOR_CIRCULATION);
pub(super) const TERMINUS_DIAMETER: Mean = mean(3.6, 0.4, ANTERIOR_CIRCULATION);
pub(super) const POSTERIOR_TURN_DEG: Mean = mean(100.0, 10.0, MEMORY);
pub(super) const POSTERIOR_BEND_RADIUS: Mean = fixed(4.0, SIPHON_RADIUS);
pub(super) const SIPHON_SHAPE: (SiphonShape, &str) =
    (SiphonShape::C, "from memory: the most frequent class");

/// Angle between the limbs and radius of the anterior bend.
pub(super) fn anterior_bend(shape: SiphonShape) -> (Mean, Mean) {
    let (limbs_deg, radius_mm) = match shape {
        SiphonShape::C => (40.0, 4.0),
        SiphonShape::V => (12.0, 2.9),
        SiphonShape::U => (0.0, 3.5),
        SiphonShape::S => (-25.0, 3.5),
    };
    (
        fixed(limbs_deg, SIPHON_CLASS),
        fixed(radius_mm, SIPHON_RADIUS),
    )
}

pub(super) const M1_LENGTH: Mean = mean(22.5, 8.1, ANTERIOR_CIRCULATION);
pub(super) const M1_DIAMETER: Mean = mean(3.1, 0.4, ANTERIOR_CIRCULATION);
pub(super) const M2_SUPERIOR_DIAMETER: Mean = mean(2.09, 0.35, M2_RATIO);
pub(super) const M2_INFERIOR_DIAMETER: Mean = mean(2.71, 0.4, M2_RATIO);
/// The trunk that feeds the parietal and temporal lobes runs further to its end than the one to the frontal.
pub(super) const M2_SUPERIOR_LENGTH: Mean = mean(37.0, 5.0, MEMORY);
pub(super) const M2_INFERIOR_LENGTH: Mean = mean(43.0, 5.0, MEMORY);
pub(super) const M2_ANGLE_DEG: Mean = mean(99.0, 19.2, M2_ANGLE);
pub(super) const M2_OUT_OF_PLANE_DEG: Mean = mean(15.4, 8.0, M2_PLANE);

pub(super) const RADIAL_LENGTH_MM: Mean = mean(240.0, 10.0, RADIAL_LENGTH);
pub(super) const BRACHIAL_LENGTH_MM: Mean = mean(250.0, 15.0, RADIAL_LENGTH);
pub(super) const AXILLARY_LENGTH_MM: Mean = mean(115.0, 7.5, RADIAL_LENGTH);
pub(super) const SUBCLAVIAN_LENGTH_MM: Mean = mean(90.0, 5.0, RADIAL_LENGTH);
pub(super) const BRACHIAL_DIAMETER: Mean = mean(4.0, 0.5, NETWORK); // spread from memory
