//! A sentence without its capital and full stop, and what would help.

pub(super) use crate::procedure::script::spoken;
use crate::units::fixed;

/// A sentence, and what would help.
pub(super) type Said = (String, Option<String>);

pub(super) fn note(text: String) -> Said {
    (text, None)
}

pub(super) fn with(text: String, help: impl Into<String>) -> Said {
    (text, Some(help.into()))
}

/// A lesion, an ostium or another place as it is spoken: scripts join the words of a name by hyphens.
pub(super) fn the(name: &str) -> String {
    format!("the {}", spoken(name))
}

/// What is left of a flow, in per cent: two digits where it is little.
pub(super) fn per_cent(share: f64) -> String {
    let percent = 100.0 * share;
    let digits = match percent {
        p if p >= 10.0 || p <= 0.0 => 0,
        p if p >= 1.0 => 1,
        _ => 2,
    };
    format!("{} %", fixed(percent, digits))
}

/// Several devices, after "the".
pub(super) fn and_the(devices: &[String]) -> String {
    devices.join(" and the ")
}

/// A length to the millimetre.
pub(super) fn mm(value_mm: f64) -> String {
    fixed(value_mm, 0)
}

/// A long way to the centimetre, in centimetres.
pub(super) fn cm(value_mm: f64) -> String {
    fixed(0.1 * value_mm, 0)
}

/// By how much something lies on one side of a place or on the other one, never by a negative length.
pub(super) fn beside(by_mm: f64, positive: &str, negative: &str) -> String {
    let side = if by_mm < 0.0 { negative } else { positive };
    let by_mm = by_mm.abs();
    if by_mm < 0.5 {
        format!("less than 1 mm {side}")
    } else {
        format!("{} mm {side}", mm(by_mm))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_shares_of_a_flow() {
        for (share, told) in [
            (0.0, "0 %"),
            (0.0002, "0.02 %"),
            (0.034, "3.4 %"),
            (0.12, "12 %"),
        ] {
            assert_eq!(per_cent(share), told);
        }
    }

    #[test]
    fn exact_sides_of_a_place() {
        for (by_mm, told) in [
            (17.3, "17 mm beyond"),
            (-1.2, "1 mm short of"),
            (0.4, "less than 1 mm beyond"),
            (-0.4, "less than 1 mm short of"),
        ] {
            assert_eq!(beside(by_mm, "beyond", "short of"), told);
        }
    }
}
