//! Every integration test of the physics in one program that knows nothing else of nestline, so that it is built soon after a
//! change there: `cargo test -p nestline-physics --test physics NAME::` runs one file's.
#![allow(
    clippy::disallowed_methods,
    reason = "tests hold results against the platform's own functions, and look at files"
)]

mod anatomy;
mod apposition;
mod benches_of_others;
mod bundles;
mod closed_form;
mod contract;
mod edge;
mod elastica;
mod flow;
mod load;
mod nested_rods;
mod nesting;
mod paths;
mod property;
mod published;
mod reference_rods;
mod rod_properties;
mod shapes;
mod squeeze;
mod stent;
mod support {
    //! What several tests share: vessels, tubes, tables on file, and a way to say what was not run.

    pub(crate) mod anatomies;
    pub(crate) mod materials;
    pub(crate) mod not_run;
    pub(crate) mod open_data;
    pub(crate) mod rods;
    pub(crate) mod root;
    pub(crate) mod table;
    pub(crate) mod trees;
}
mod tree_faults;
