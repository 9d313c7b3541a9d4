//! What would help at a stent's edge, in plain words.

use crate::procedure::edges::Remedy;
use crate::procedure::script::Plan;

impl Remedy {
    /// What to do.
    #[must_use]
    pub fn in_words(&self, plan: &Plan) -> String {
        match self {
            Self::CoverFurtherUp { device, by_mm } => {
                format!(
                    "the {} {by_mm:.0} mm further up",
                    plan.devices[*device].name
                )
            }
            Self::OffTheWall => {
                "what it rides on kept in the middle of the vessel, off the wall".into()
            }
            Self::ThickerNose => "something thicker inside as its nose: half the step".into(),
            Self::BalloonInTip => {
                "a balloon inflated half out of its tip, so that no step is left".into()
            }
        }
    }
}
