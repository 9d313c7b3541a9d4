//! What is shown: tables in plain words, JSON for machines, the scene model of all pictures.

mod beside;
mod centre_lines;
mod choose_text;
mod compare;
mod csv_tables;
mod edges;
mod everything;
mod file;
#[cfg(feature = "viewer")]
pub mod film;
mod first_screen;
mod folder;
mod gantt;
pub mod glb;
mod grid;
mod handout_pdf;
mod json;
mod measure_form;
mod measures;
pub mod palette;
#[cfg(feature = "png")]
mod png;
#[cfg(not(feature = "png"))]
mod png_left_out;
mod problem;
mod projection;
mod report;
mod report_folder;
mod scene_text;
#[cfg(feature = "viewer")]
pub mod screen;
mod shards;
pub mod stl;
mod table;
mod vary_folder;
mod vary_text;
mod vessel_drawing;
mod vessel_text;
#[cfg(feature = "viewer")]
pub mod viewer;

pub use centre_lines::{CentreLines, LineFormat};
pub use choose_text::choice_text;
pub use compare::{comparison_text, ledger_text, what_if_text};
pub use csv_tables::{CsvTable, case_table, comparison_tables};
pub use everything::{
    BasisRow, Drawn, DrawnStep, DrawnTip, EVERYTHING_VERSION, Everything, RouteRow,
};
pub use file::{refuse_existing, write_bytes, write_files, write_text};
pub use first_screen::first_screen;
pub use folder::Folder;
pub use gantt::clock_text;
pub use handout_pdf::print_pdf;
pub use json::to_json;
pub use measure_form::blank_form;
pub use measures::measures_text;
pub use problem::problem_text;
pub use report::{
    GENERATOR, Plot, Report, comparison_html, comparison_plots, vary_html, vary_plots,
};
pub use report_folder::comparison_folder;
pub use scene_text::script_text;
pub use shards::{SHARD_COLUMNS, ShardHead, ShardTold, Stands, gather_shards, shard_text};
pub use table::{Parts, closing_text, rehearsal_text};
pub use vary_folder::{CaseStore, vary_folder};
pub use vary_text::{group_names, vary_text};
pub use vessel_drawing::vessel_drawing;
pub use vessel_text::{traced_text, traced_vessel_text};
