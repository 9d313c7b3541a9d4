//! Names of regions, edges and likelihoods.

use crate::procedure::reason::Likelihood;
use crate::procedure::script::{Plane, Region};
use crate::procedure::state::EdgeKind;

impl Region {
    /// The region in words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Access => "access route",
            Self::Neck => "neck",
            Self::Head => "head",
        }
    }
}

impl Plane {
    /// The plane in words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::B => "B",
        }
    }
}

impl EdgeKind {
    /// In words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Upper => "upper edge",
            Self::Lower => "lower edge",
            Self::Cells => "open cells",
        }
    }
}

impl Likelihood {
    /// In words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Unlikely => "unlikely",
            Self::Possible => "possible",
            Self::Likely => "likely",
        }
    }
}
