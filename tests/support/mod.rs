//! What several tests share: vessels, scenes, tubes, tables on file, and a way to say what was not run.

pub(crate) mod inside;
pub(crate) mod not_run;
pub(crate) mod rods;
pub(crate) mod staged;
pub(crate) mod straight;
pub(crate) mod table;
pub(crate) mod trees;
