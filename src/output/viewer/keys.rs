//! What each key does.

use kiss3d::event::Key;

/// What can be asked of the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wish {
    /// Start or stop.
    PlayPause,
    /// To the end of the next step.
    Forward,
    /// To the end of the step before.
    Back,
    /// To the first step.
    First,
    /// To the last step.
    Last,
    /// The next faster speed.
    Faster,
    /// The next slower speed.
    Slower,
    /// Seen from the front.
    Frontal,
    /// Seen from the patient's left.
    Left,
    /// Seen from 35 degrees to the left, where the arch opens.
    LeftOblique,
    /// Seen from 35 degrees to the right.
    RightOblique,
    /// One free view, or planes A and B side by side.
    Planes,
    /// Planes follow what the script lets them watch.
    Linked,
    /// As a radiograph.
    Radiograph,
    /// The next device's tip is followed; after the last none.
    Follow,
    /// To the next landmark.
    Landmark,
    /// All of the route.
    Whole,
    /// Turn to the left.
    TurnLeft,
    /// Turn to the right.
    TurnRight,
    /// Turn up.
    TurnUp,
    /// Turn down.
    TurnDown,
    /// Nearer.
    Nearer,
    /// Farther.
    Farther,
    /// Wall on or off.
    Wall,
    /// Other branches on or off.
    Context,
    /// Contacts on or off.
    Contacts,
    /// Names on or off.
    Names,
    /// Close-up of the stent's edge on or off.
    CloseUp,
    /// Strip of lengths on or off.
    Strip,
    /// The next device is taken in hand; after the last none.
    Take,
    /// The device in hand 1 mm in.
    Feed,
    /// The device in hand 1 mm out.
    Draw,
    /// The device in hand 10 mm in.
    FeedFar,
    /// The device in hand 10 mm out.
    DrawFar,
    /// Let go: back to the script.
    LetGo,
    /// Light or dark.
    Theme,
    /// Letters larger.
    Larger,
    /// Letters smaller.
    Smaller,
    /// Picture of the window to a file.
    Screenshot,
    /// Help on or off.
    Help,
    /// Close.
    Close,
}

/// A key, whether Shift is held with it, and what it does.
pub const KEYS: [(Key, bool, Wish, &str, &str); 39] = [
    (Key::Space, false, Wish::PlayPause, "Space", "play, pause"),
    (Key::Right, false, Wish::Forward, "→", "next step"),
    (Key::Left, false, Wish::Back, "←", "step before"),
    (Key::Home, false, Wish::First, "Home", "first step"),
    (Key::End, false, Wish::Last, "End", "last step"),
    (Key::Period, false, Wish::Faster, ".", "faster"),
    (Key::Comma, false, Wish::Slower, ",", "slower"),
    (Key::Key1, false, Wish::Frontal, "1", "from the front"),
    (Key::Key2, false, Wish::Left, "2", "from the left"),
    (Key::Key3, false, Wish::LeftOblique, "3", "35° to the left"),
    (
        Key::Key4,
        false,
        Wish::RightOblique,
        "4",
        "35° to the right",
    ),
    (
        Key::V,
        false,
        Wish::Planes,
        "V",
        "one view, or planes A and B",
    ),
    (Key::L, false, Wish::Linked, "L", "planes follow the script"),
    (Key::R, false, Wish::Radiograph, "R", "as a radiograph"),
    (Key::F, false, Wish::Follow, "F", "follow the next tip"),
    (
        Key::G,
        false,
        Wish::Landmark,
        "G",
        "go to the next landmark",
    ),
    (Key::Z, false, Wish::Whole, "Z", "whole route"),
    (
        Key::Left,
        true,
        Wish::TurnLeft,
        "Shift ←",
        "turn to the left",
    ),
    (
        Key::Right,
        true,
        Wish::TurnRight,
        "Shift →",
        "turn to the right",
    ),
    (Key::Up, true, Wish::TurnUp, "Shift ↑", "turn up"),
    (Key::Down, true, Wish::TurnDown, "Shift ↓", "turn down"),
    (Key::PageUp, false, Wish::Nearer, "Page up", "nearer"),
    (Key::PageDown, false, Wish::Farther, "Page down", "farther"),
    (Key::W, false, Wish::Wall, "W", "wall"),
    (Key::B, false, Wish::Context, "B", "other branches"),
    (Key::P, false, Wish::Contacts, "P", "where devices press"),
    (Key::N, false, Wish::Names, "N", "names"),
    (Key::E, false, Wish::CloseUp, "E", "stent edge close up"),
    (Key::I, false, Wish::Strip, "I", "strip of lengths"),
    (
        Key::Tab,
        false,
        Wish::Take,
        "Tab",
        "take the next device in hand",
    ),
    (Key::Up, false, Wish::Feed, "↑", "feed it 1 mm"),
    (Key::Down, false, Wish::Draw, "↓", "draw it back 1 mm"),
    (Key::A, false, Wish::FeedFar, "A", "feed it 10 mm"),
    (Key::Y, false, Wish::DrawFar, "Y", "draw it back 10 mm"),
    (
        Key::Back,
        false,
        Wish::LetGo,
        "Backspace",
        "let go, back to the script",
    ),
    (Key::D, false, Wish::Theme, "D", "light or dark"),
    (Key::S, false, Wish::Screenshot, "S", "picture to a file"),
    (Key::H, false, Wish::Help, "H", "this help"),
    (Key::Q, false, Wish::Close, "Q", "close"),
];

/// Keys beside those of the table: on some keyboards they are easier to reach.
const OTHERS: [(Key, bool, Wish); 6] = [
    (Key::F1, false, Wish::Help),
    (Key::Escape, false, Wish::Close),
    (Key::Equals, false, Wish::Larger),
    (Key::Add, false, Wish::Larger),
    (Key::Minus, false, Wish::Smaller),
    (Key::Subtract, false, Wish::Smaller),
];

/// What a key asks for.
#[must_use]
pub fn wish_of(key: Key, shift: bool) -> Option<Wish> {
    let named = KEYS
        .iter()
        .map(|(key, shift, wish, ..)| (*key, *shift, *wish));
    let mut all = named.chain(OTHERS);
    all.find(|(k, s, _)| *k == key && *s == shift)
        .map(|(.., wish)| wish)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_no_key_means_two_things() {
        let mut all: Vec<(Key, bool)> = KEYS.iter().map(|k| (k.0, k.1)).collect();
        all.extend(OTHERS.iter().map(|k| (k.0, k.1)));
        for (k, one) in all.iter().enumerate() {
            assert!(!all[k + 1..].contains(one), "{one:?} twice");
        }
        assert_eq!(wish_of(Key::Left, true), Some(Wish::TurnLeft));
        assert_eq!(wish_of(Key::F2, false), None);
    }
}
