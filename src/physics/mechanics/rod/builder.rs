//! A rod put together field by field, and checked when it is whole.

use super::profile::Profile;
use super::scene::{AxialLoad, End, NaturalBend, Rod, StartSupport, TubeStation};
use crate::geometry::Vector;
use crate::mechanics::error::MechanicsError;
use crate::units::Allowed;

/// Values by distance from the tip, mm.
type Knots = Vec<(f64, f64)>;

/// Puts a [`Rod`] together; [`RodBuilder::build`] checks it as a whole.
///
/// Stiffness and outer diameter must be given. All else has the value that leaves the rod alone: solid, straight,
/// clamped at its start, through the exit plane, without loads.
///
/// ```
/// use nestline_physics::mechanics::{MechanicsError, Rod};
/// let catheter = Rod::builder()
///     .stiffness_by_distance_n_mm2(&[(0.0, 10.0), (200.0, 120.0)]) // soft tip, stiff shaft
///     .outer_mm(2.0)
///     .inner_mm(1.6)
///     .build()?;
/// assert_eq!(catheter.stiffness_n_mm2.at(100.0), 65.0); // linear between
///
/// // a lumen wider than the rod: the error names field, value and range
/// let refused = Rod::builder().stiffness_n_mm2(20.0).outer_mm(2.0).inner_mm(2.4).build();
/// let Err(MechanicsError::OutOfRange { what, found, needed }) = refused else { panic!() };
/// assert_eq!((what.as_str(), found), ("inner_mm", 2.4));
/// assert_eq!(needed.most().unwrap().value, 2.0);
/// # Ok::<(), MechanicsError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct RodBuilder {
    stiffness: Knots,
    outer: Knots,
    inner: Option<Knots>,
    natural: Option<NaturalBend>,
    start: StartSupport,
    end: Result<End, MechanicsError>,
    load: AxialLoad,
    line_load_n_per_mm: Vector,
    tip_force_n: Vector,
    yields: bool,
    axial_stiffness_n: Option<f64>,
    exits_on_axis: bool,
}

impl Default for RodBuilder {
    fn default() -> Self {
        Self {
            stiffness: Vec::new(),
            outer: Vec::new(),
            inner: None,
            natural: None,
            start: StartSupport::Clamped,
            end: Ok(End::ExitPlane),
            load: AxialLoad::Frictionless(0.0),
            line_load_n_per_mm: Vector::zeros(),
            tip_force_n: Vector::zeros(),
            yields: false,
            axial_stiffness_n: None,
            exits_on_axis: false,
        }
    }
}

impl Rod {
    /// A rod put together field by field and checked at the end.
    #[must_use]
    pub fn builder() -> RodBuilder {
        RodBuilder::default()
    }
}

impl RodBuilder {
    /// Bending stiffness `E I`, N mm², > 0, the same everywhere. Must be given, here or by distance.
    #[must_use]
    pub fn stiffness_n_mm2(self, stiffness_n_mm2: f64) -> Self {
        self.stiffness_by_distance_n_mm2(&[(0.0, stiffness_n_mm2)])
    }

    /// Bending stiffness by distance from the tip: `(mm, N mm²)`, shape `[n]`, n >= 1, distances not falling,
    /// linear between, constant beyond; the same distance twice makes a step.
    #[must_use]
    pub fn stiffness_by_distance_n_mm2(mut self, from_tip: &[(f64, f64)]) -> Self {
        self.stiffness = from_tip.to_vec();
        self
    }

    /// Outer diameter, mm, > 0, the same everywhere. Must be given, here or by distance.
    #[must_use]
    pub fn outer_mm(self, outer_mm: f64) -> Self {
        self.outer_by_distance_mm(&[(0.0, outer_mm)])
    }

    /// Outer diameter by distance from the tip: `(mm, mm)`, shape `[n]`, as for stiffness.
    #[must_use]
    pub fn outer_by_distance_mm(mut self, from_tip: &[(f64, f64)]) -> Self {
        self.outer = from_tip.to_vec();
        self
    }

    /// Diameter of the lumen, mm, above 0 and below the outer one: the rod can hold others. Not given: solid.
    #[must_use]
    pub fn inner_mm(self, inner_mm: f64) -> Self {
        self.inner_by_distance_mm(&[(0.0, inner_mm)])
    }

    /// Diameter of the lumen by distance from the tip: `(mm, mm)`, shape `[n]`, as for stiffness.
    #[must_use]
    pub fn inner_by_distance_mm(mut self, from_tip: &[(f64, f64)]) -> Self {
        self.inner = Some(from_tip.to_vec());
        self
    }

    /// A pre-shaped bend at the tip. Not given: straight at rest.
    #[must_use]
    pub fn natural_bend(mut self, bend: NaturalBend) -> Self {
        self.natural = Some(bend);
        self
    }

    /// How it is held at station 0. Not given: [`StartSupport::Clamped`].
    #[must_use]
    pub fn start(mut self, start: StartSupport) -> Self {
        self.start = start;
        self
    }

    /// A free tip at an arc length of the tube's centre line, mm, within the tube. Not given: the rod runs through
    /// the exit plane. In a [`StackProblem`](crate::mechanics::StackProblem) the
    /// [`Drive`](crate::mechanics::Drive) decides instead.
    #[must_use]
    pub fn tip_at_mm(mut self, tube: &[TubeStation], s_mm: f64) -> Self {
        let (first_mm, last_mm) = match tube {
            [first, .., last] => (first.s_mm, last.s_mm),
            _ => (0.0, 0.0),
        };
        let needed = Allowed::in_words("inside the tube")
            .above(first_mm)
            .at_most(last_mm);
        self.end = match TubeStation::at(tube, s_mm) {
            Some(tip) if needed.allows(s_mm) => Ok(End::Tip(tip)),
            _ => Err(MechanicsError::OutOfRange {
                what: "tip_at_mm".into(),
                found: s_mm,
                needed,
            }),
        };
        self
    }

    /// Its axial load. Not given: none, and no friction.
    #[must_use]
    pub fn load(mut self, load: AxialLoad) -> Self {
        self.load = load;
        self
    }

    /// Load across it, N per mm of its length, fixed in space: its weight, say. Not given: none.
    #[must_use]
    pub fn line_load_n_per_mm(mut self, load: Vector) -> Self {
        self.line_load_n_per_mm = load;
        self
    }

    /// Dead load on its last node, N, fixed in space. Not given: none.
    #[must_use]
    pub fn tip_force_n(mut self, force: Vector) -> Self {
        self.tip_force_n = force;
        self
    }

    /// It gives way to a lumen that is narrower, as an open mesh does, and lies in the middle of it. Not given:
    /// such a lumen is refused.
    #[must_use]
    pub fn yields(mut self) -> Self {
        self.yields = true;
        self
    }

    /// Axial stiffness `EA`, N, > 0. Not given: it does not stretch.
    #[must_use]
    pub fn axial_stiffness_n(mut self, axial_stiffness_n: f64) -> Self {
        self.axial_stiffness_n = Some(axial_stiffness_n);
        self
    }

    /// Where it runs through the exit plane it is held on the centre line there, free to turn. Not given: nothing holds
    /// it.
    #[must_use]
    pub fn exits_on_axis(mut self) -> Self {
        self.exits_on_axis = true;
        self
    }

    /// The rod, in the vessel ([`nest`](crate::mechanics::nest) puts it into others).
    ///
    /// # Errors
    /// [`MechanicsError::OutOfRange`], with the field's name, what was found and its range: a stiffness or outer
    /// diameter that was not given, a value that is not finite and positive, falling distances, a lumen that is not
    /// narrower than the rod, a tip outside the tube, a load that is not finite. What depends on the tube or on other
    /// rods is checked when they are solved.
    pub fn build(self) -> Result<Rod, MechanicsError> {
        let outer_mm = Profile::new("outer_mm", &self.outer)?;
        let inner_mm = match &self.inner {
            Some(knots) => Some(Profile::new("inner_mm", knots)?),
            None => None,
        };
        if let Some(inner_mm) = &inner_mm {
            refuse_wide(inner_mm, &outer_mm)?;
        }
        for (what, load) in [
            ("line_load_n_per_mm", self.line_load_n_per_mm),
            ("tip_force_n", self.tip_force_n),
        ] {
            if let Some(bad) = load.iter().find(|x| !x.is_finite()) {
                return Err(MechanicsError::OutOfRange {
                    what: what.into(),
                    found: *bad,
                    needed: Allowed::FINITE,
                });
            }
        }
        Ok(Rod {
            stiffness_n_mm2: Profile::new("stiffness_n_mm2", &self.stiffness)?,
            outer_mm,
            inner_mm,
            natural: self.natural,
            start: self.start,
            end: self.end?,
            load: self.load,
            line_load_n_per_mm: self.line_load_n_per_mm,
            tip_force_n: self.tip_force_n,
            yields: self.yields,
            axial_stiffness_n: self.axial_stiffness_n,
            exits_on_axis: self.exits_on_axis,
            containers: Vec::new(),
        })
    }
}

/// Refuses a lumen that is not narrower than the rod around it: both are linear between their knots, so that
/// it is enough to look there.
fn refuse_wide(inner: &Profile, outer: &Profile) -> Result<(), MechanicsError> {
    let places = inner.distances_mm().chain(outer.distances_mm());
    for from_tip_mm in places {
        // at a step both sides count, and the one further in is a breath away
        for at_mm in [from_tip_mm, from_tip_mm + 1e-9] {
            let (lumen_mm, around_mm) = (inner.at(at_mm), outer.at(at_mm));
            if lumen_mm >= around_mm {
                return Err(MechanicsError::OutOfRange {
                    what: "inner_mm".into(),
                    found: lumen_mm,
                    needed: Allowed::in_words("smaller than outer_mm")
                        .above(0.0)
                        .below(around_mm),
                });
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(rod: RodBuilder) -> (String, f64, Allowed) {
        match rod.build() {
            Err(MechanicsError::OutOfRange {
                what,
                found,
                needed,
            }) => (what, found, needed),
            other => unreachable!("{other:?}"),
        }
    }

    #[test]
    fn exact_a_plain_rod_is_the_uniform_one() {
        let built = Rod::builder().stiffness_n_mm2(20.0).outer_mm(1.0).build();
        assert_eq!(built, Ok(Rod::uniform(20.0, 1.0)), "the same defaults");
    }

    #[test]
    fn exact_refusals_name_field_value_and_range() {
        let rod = || Rod::builder().stiffness_n_mm2(20.0).outer_mm(1.0);
        let (what, found, needed) = refused(rod().stiffness_n_mm2(-3.0));
        assert_eq!(what, "stiffness_n_mm2[0]", "the field");
        assert!(found < 0.0 && !needed.allows(found), "{found} {needed:?}");
        let (what, ..) = refused(Rod::builder().stiffness_n_mm2(1.0));
        assert_eq!(what, "outer_mm[0]", "left out");
        let force = Vector::new(0.0, f64::NAN, 0.0);
        assert_eq!(
            refused(rod().tip_force_n(force)).0,
            "tip_force_n",
            "no number"
        );
        let (what, found, _) = refused(rod().tip_at_mm(&[], 5.0));
        assert_eq!(
            (what.as_str(), found.round()),
            ("tip_at_mm", 5.0),
            "no tube"
        );
    }

    #[test]
    fn exact_a_lumen_must_be_narrower_at_every_knot() {
        // outer 2 mm at the tip, 1 mm from 100 mm on; a lumen of 1.5 mm breaks through at 50 mm
        let tapered = Rod::builder()
            .stiffness_n_mm2(20.0)
            .outer_by_distance_mm(&[(0.0, 2.0), (100.0, 1.0)]);
        let (what, _, needed) = refused(tapered.clone().inner_mm(1.5));
        assert_eq!(what, "inner_mm", "the field");
        assert!(
            (needed.most().unwrap().value - 1.0).abs() < 1e-9,
            "{needed:?}"
        );
        assert!(tapered.inner_mm(0.9).build().is_ok(), "narrower everywhere");
        let stepped = Rod::builder()
            .stiffness_n_mm2(20.0)
            .outer_mm(1.0)
            .inner_by_distance_mm(&[(0.0, 0.5), (10.0, 0.5), (10.0, 1.2)]);
        assert_eq!(refused(stepped).0, "inner_mm", "behind a step");
    }
}
