//! Machine output.

use serde::Serialize;

/// Pretty JSON of anything whose schema carries its own name and version.
///
/// # Errors
/// Those of the serializer; plain data of finite numbers has none.
pub fn to_json(value: &impl Serialize) -> Result<String, serde_json::Error> {
    serde_json::to_string_pretty(value)
}
