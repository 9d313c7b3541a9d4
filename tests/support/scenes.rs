//! The names of the scenes.

/// Every scene of the program, by name.
pub(crate) const SCENES: [&str; 8] = [
    "left-tandem-retriever-first",
    "dissection",
    "kinked-neck-type-3",
    "right-radial",
    "guide-below-stent",
    "too-short",
    "full-shaft-beside-pusher",
    "pusher-too-thick",
];
