//! Every integration test in one program, so that the crate is linked once; `cargo test --test suite NAME::` runs one file's.
#![allow(
    clippy::disallowed_methods,
    reason = "tests hold results against the platform's own functions, and look at files"
)]

mod acts;
mod anatomy;
mod animation;
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
mod contract;
mod contradictions;
mod edge;
mod edge_scenes;
mod elastica;
mod exports;
mod faults;
mod flow;
mod folders;
mod layers;
mod library;
mod load;
mod nested_rods;
mod nesting;
mod no_screen;
mod out_of_range;
mod pictures;
mod placing;
mod population;
mod practice;
mod procedure;
mod property;
mod published;
mod readme;
mod reference_rods;
mod report;
mod rod_properties;
mod said_once;
mod same_bytes;
mod shapes;
mod shots;
mod stage;
mod stent;
mod strategies;
mod support;
mod tree_faults;
mod verdicts;
mod vessel_files;
