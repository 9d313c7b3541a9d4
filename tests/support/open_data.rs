//! Open data of arteries, which lie beside the checkout or are absent.

use super::not_run::not_run;
use super::root::root;
use std::path::PathBuf;

/// Folder of the open artery data, where it does not lie beside the checkout.
pub(crate) const OPEN_DATA: &str = "NESTLINE_OPEN_DATA";

/// A file of the open artery data as text; where it is absent that is said and nothing comes back.
#[track_caller]
pub(crate) fn open_data(name: &str) -> Option<String> {
    let folder = std::env::var_os(OPEN_DATA)
        .map_or_else(|| root().join("../shared/open-data"), PathBuf::from);
    let text = std::fs::read_to_string(folder.join(name)).ok();
    if text.is_none() {
        not_run(&format!("open artery data, {name}, are absent"));
    }
    text
}
