//! The width of vectors, where it is not left to the processor.

use super::Stop;
use nestline::mechanics::Lanes;

/// Names how many numbers vector code takes at once; results do not depend on it.
const VARIABLE: &str = "NESTLINE_LANES";

/// Takes over what the environment asks for.
pub(crate) fn choose_lanes() -> Result<(), Stop> {
    let Some(wished) = std::env::var_os(VARIABLE) else {
        return Ok(());
    };
    let lanes = match wished.to_str() {
        Some("2") => Lanes::Two,
        Some("4") => Lanes::Four,
        Some("8") => Lanes::Eight,
        _ => {
            return Err(Stop::Refused(format!(
                "{VARIABLE} is `{}`; it may be 2, 4 or 8, or not set, which leaves it to the processor",
                wished.to_string_lossy().escape_debug()
            )));
        }
    };
    lanes.choose();
    Ok(())
}
