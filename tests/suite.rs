//! Every integration test in one program, so that the crate is linked once; `cargo test --test suite NAME::` runs one file's.
#![allow(
    clippy::disallowed_methods,
    reason = "tests hold results against the platform's own functions, and look at files"
)]

mod anatomy;
mod apposition;
mod bad_files;
mod bare_problems;
mod bundles;
mod cabinet;
mod checks;
mod cli;
mod clock;
mod clock_network;
mod closed_form;
mod common;
mod contract;
mod contradictions;
mod edge;
mod edge_scenes;
mod elastica;
mod exports;
mod faults;
mod flow;
mod folders;
mod inside;
mod layers;
mod load;
mod nested_rods;
mod nesting;
mod no_screen;
mod out_of_range;
mod pictures;
mod population;
mod procedure;
mod property;
mod published;
mod readme;
mod reference_rods;
mod report;
mod rod_properties;
mod rods;
mod same_bytes;
mod shots;
mod stage;
#[cfg(feature = "viewer")]
mod staged;
mod stent;
mod strategies;
mod verdicts;
mod vessel_files;
