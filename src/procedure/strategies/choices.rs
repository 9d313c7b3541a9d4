//! Strategies: the same vessel and stack, worked through in another order.

use crate::procedure::error::{StrategyError, nearest};
use serde::{Deserialize, Serialize};

/// What comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Order {
    /// The retriever opens in the clot, the neck is treated over its pusher while it waits.
    RetrieverFirst,
    /// The neck is opened, the guide goes up through it, then the clot is taken.
    NeckFirst,
    /// The clot is taken through the untreated neck, which is treated afterwards.
    ClotFirst,
}

/// What takes the clot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ClotBy {
    /// A retriever, drawn into an aspiration catheter.
    Retriever,
    /// An aspiration catheter alone.
    Suction,
}

/// What opens the neck.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NeckBy {
    /// A stent, then a balloon inside it.
    StentAndBalloon,
    /// A stent alone.
    StentAlone,
    /// A balloon alone; a stent is left for later.
    BalloonAlone,
}

/// The choices a strategy is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Choices {
    /// What comes first.
    pub order: Order,
    /// What takes the clot.
    pub clot_by: ClotBy,
    /// What opens the neck.
    pub neck_by: NeckBy,
}

impl Choices {
    /// The strategies that are compared unless others are asked for, with their names.
    pub const NAMED: [(&'static str, Self); 5] = [
        (
            "retriever-first",
            Self::new(
                Order::RetrieverFirst,
                ClotBy::Retriever,
                NeckBy::StentAndBalloon,
            ),
        ),
        (
            "neck-first",
            Self::new(Order::NeckFirst, ClotBy::Retriever, NeckBy::StentAndBalloon),
        ),
        (
            "clot-first",
            Self::new(Order::ClotFirst, ClotBy::Retriever, NeckBy::StentAndBalloon),
        ),
        (
            "balloon-only",
            Self::new(
                Order::RetrieverFirst,
                ClotBy::Retriever,
                NeckBy::BalloonAlone,
            ),
        ),
        (
            "suction-first",
            Self::new(Order::ClotFirst, ClotBy::Suction, NeckBy::StentAndBalloon),
        ),
    ];

    /// Three choices.
    #[must_use]
    pub const fn new(order: Order, clot_by: ClotBy, neck_by: NeckBy) -> Self {
        Self {
            order,
            clot_by,
            neck_by,
        }
    }

    /// The choices behind a name.
    ///
    /// # Errors
    /// [`StrategyError::Unknown`] with the nearest name.
    pub fn named(name: &str) -> Result<Self, StrategyError> {
        let found = Self::NAMED.iter().find(|(known, _)| *known == name);
        found.map(|(_, choices)| *choices).ok_or_else(|| {
            let known: Vec<&'static str> = Self::NAMED.iter().map(|(known, _)| *known).collect();
            StrategyError::Unknown {
                name: name.to_owned(),
                suggestion: nearest(name, known.iter().copied()),
                known,
            }
        })
    }

    /// Its name, or the choices one by one where it has none.
    #[must_use]
    pub fn name(&self) -> String {
        let found = Self::NAMED.iter().find(|(_, choices)| choices == self);
        found.map_or_else(
            || {
                format!(
                    "{}, {}, {}",
                    self.order.in_words(),
                    self.clot_by.in_words(),
                    self.neck_by.in_words()
                )
            },
            |(name, _)| (*name).to_owned(),
        )
    }

    /// What it does, in a sentence.
    #[must_use]
    pub fn about(&self) -> String {
        let neck = self.neck_by.in_words();
        match (self.order, self.clot_by) {
            (Order::RetrieverFirst, _) => format!(
                "The retriever opens in the clot first; while it beds in, the neck is opened over its pusher by {neck}."
            ),
            (Order::NeckFirst, by) => format!(
                "The neck is opened first by {neck} and the guide brought up through it; then the clot is taken by {}.",
                by.in_words()
            ),
            (Order::ClotFirst, by) => format!(
                "The clot is taken by {} through the untreated neck, which is opened afterwards by {neck}.",
                by.in_words()
            ),
        }
    }
}

impl Order {
    const fn in_words(self) -> &'static str {
        match self {
            Self::RetrieverFirst => "retriever first",
            Self::NeckFirst => "neck first",
            Self::ClotFirst => "clot first",
        }
    }
}

impl ClotBy {
    const fn in_words(self) -> &'static str {
        match self {
            Self::Retriever => "a retriever",
            Self::Suction => "suction alone",
        }
    }
}

impl NeckBy {
    const fn in_words(self) -> &'static str {
        match self {
            Self::StentAndBalloon => "a stent and a balloon",
            Self::StentAlone => "a stent alone",
            Self::BalloonAlone => "a balloon alone",
        }
    }
}
