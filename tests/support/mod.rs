//! What several tests share: scenes, tubes, tables on file, and a way to say what was not run.

pub(crate) mod inside;
pub(crate) mod lines;
pub(crate) mod not_run;
pub(crate) mod open_data;
pub(crate) mod rods;
pub(crate) mod root;
pub(crate) mod scenes;
pub(crate) mod staged;
pub(crate) mod straight;
pub(crate) mod table;
