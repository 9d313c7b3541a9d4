//! Device classes in plain words.

use super::DeviceClass;

impl DeviceClass {
    /// The class as the trade says it.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::AccessSheath => "access sheath",
            Self::Dilator => "dilator",
            Self::LongSheath => "long sheath",
            Self::Guide => "guide catheter",
            Self::BalloonGuide => "balloon-tip guide",
            Self::Selector => "selector catheter",
            Self::Aspiration => "aspiration catheter",
            Self::Microcatheter => "microcatheter",
            Self::Wire => "guidewire",
            Self::Retriever => "stent retriever",
            Self::CarotidStent => "carotid stent system",
            Self::Balloon => "balloon catheter",
            Self::Filter => "distal filter",
        }
    }
}
