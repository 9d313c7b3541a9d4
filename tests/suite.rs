//! Every integration test of the program in one program, so that the crate is linked once; `cargo test --test suite NAME::` runs one file's.
#![allow(
    clippy::disallowed_methods,
    reason = "tests hold results against the platform's own functions, and look at files"
)]

mod acts;
mod animation;
mod bad_files;
mod bare_problems;
mod cabinet;
mod checks;
mod choose;
mod cli;
mod clock;
mod clock_network;
mod contradictions;
mod edge_scenes;
mod exports;
mod faults;
mod folders;
mod how_sure;
mod import_faults;
mod imports;
mod layers;
mod lesions;
mod library;
mod lines_of_others;
mod materials;
mod measured_forms;
mod no_screen;
mod out_of_range;
mod phrases;
mod pictures;
mod placing;
mod population;
mod practice;
mod procedure;
mod ranges;
mod readme;
mod report;
mod said_once;
mod same_bytes;
mod screens;
mod shots;
mod stage;
mod strategies;
mod support;
mod valves;
mod vary;
mod vary_shards;
mod verdicts;
mod vessel_files;
