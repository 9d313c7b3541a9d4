//! Commands about single files: measure, check.

use super::{Stop, columns, complain, say};
use nestline::data::{self, Source};
use nestline::output::{measures_text, to_json};
use std::process::ExitCode;

pub(crate) fn measure(vessel: &str, target: Option<&str>, json: bool) -> Result<ExitCode, Stop> {
    let report = data::measure_vessel(&Source::from_argument(vessel), target)?;
    if json {
        say(&to_json(&report).map_err(std::io::Error::other)?)?;
    } else {
        say(&measures_text(&report, columns()))?;
    }
    Ok(ExitCode::SUCCESS)
}

pub(crate) fn check(files: &[String], json: bool) -> Result<ExitCode, Stop> {
    let mut all_good = true;
    let mut rows = Vec::new();
    for file in files {
        match data::check_file(&Source::from_argument(file)) {
            Ok(kind) => rows
                .push(serde_json::json!({ "file": file, "kind": kind.in_words(), "good": true })),
            Err(error) => {
                all_good = false;
                complain(&error);
                rows.push(
                    serde_json::json!({ "file": file, "good": false, "error": error.to_string() }),
                );
            }
        }
    }
    if json {
        let report = serde_json::json!({ "schema": "nestline.check", "version": 1, "files": rows });
        say(&to_json(&report).map_err(std::io::Error::other)?)?;
    } else {
        for row in rows.iter().filter(|r| r["good"] == true) {
            say(&format!(
                "good  {} is {}",
                row["file"].as_str().unwrap_or(""),
                row["kind"].as_str().unwrap_or("")
            ))?;
        }
    }
    Ok(if all_good {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(2)
    })
}
