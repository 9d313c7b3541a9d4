//! Centre lines written by an independent library are read, in every encoding; ours are read by it.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and writes its own files"
)]

use crate::support::not_run::not_run;
use nestline::data::{self, ImportOptions, Source};
use nestline::output::{CentreLines, LineFormat};
use std::path::Path;
use std::process::Command;

/// What the library says; nothing where it is absent.
#[track_caller]
fn library(arguments: &[&str]) -> Option<String> {
    let python = std::env::var("NESTLINE_PYTHON").unwrap_or_else(|_| "python3".into());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/check_lines.py");
    let output = match Command::new(python).arg(script).args(arguments).output() {
        Ok(output) => output,
        Err(error) => {
            not_run(&format!("no Python ({error})"));
            return None;
        }
    };
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    if output.status.code() == Some(77) {
        not_run(&said);
        return None;
    }
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}{errors}");
    Some(said)
}

fn lines() -> CentreLines {
    let vessel = data::read_vessel(&Source::from_argument(
        "embedded:vessels/left-tandem-type-2.ron",
    ));
    CentreLines::of_tree(&vessel.unwrap().tree)
}

fn written(folder: &Path, ending: &str, format: LineFormat) -> String {
    let path = folder.join(format!("ours.{ending}"));
    std::fs::write(&path, lines().text(format)).unwrap();
    path.to_str().unwrap().to_owned()
}

#[test]
fn reference_lines_of_an_independent_library_are_read_in_every_encoding() {
    let folder = tempfile::tempdir().unwrap();
    let ours = written(folder.path(), "vtp", LineFormat::Vtp);
    let Some(names) = library(&["write", &ours, folder.path().to_str().unwrap()]) else {
        return;
    };
    let options = ImportOptions::with("mm", |_| {});
    let expected = data::import(Path::new(&ours), &options).unwrap().traced;
    let mut read = 0;
    for name in names.lines() {
        let found = data::import(&folder.path().join(name), &options);
        let found = found.unwrap_or_else(|e| panic!("{name}: {e}")).traced;
        assert_eq!(found.branches.len(), expected.branches.len(), "{name}");
        for (a, b) in found.branches.iter().zip(&expected.branches) {
            // single precision, and text of some digits
            let off_mm = (a.curve.end().origin_mm - b.curve.end().origin_mm).norm();
            let longer_mm = (a.curve.length_mm() - b.curve.length_mm()).abs();
            let wider_mm = (a.radii_mm[0] - b.radii_mm[0]).abs();
            assert!(
                off_mm < 0.02 && longer_mm < 0.02 && wider_mm < 0.01,
                "{name}: {off_mm}, {longer_mm}, {wider_mm}"
            );
        }
        read += 1;
    }
    assert_eq!(read, 36, "{names}");
}

#[test]
fn reference_our_lines_are_read_by_an_independent_library() {
    let folder = tempfile::tempdir().unwrap();
    // points, lines, and sums of radii and coordinates, off our own table
    let text = lines().text(LineFormat::Csv);
    let rows = text
        .lines()
        .skip(1)
        .map(|row| row.split(',').map(str::to_owned).collect::<Vec<_>>());
    let rows: Vec<Vec<String>> = rows.collect();
    let number = |text: &str| text.parse::<f64>().unwrap();
    let radii: f64 = rows.iter().map(|r| number(&r[3])).sum();
    let sum: f64 = rows
        .iter()
        .map(|r| r[..3].iter().map(|x| number(x)).sum::<f64>())
        .sum();
    let mut names: Vec<&str> = rows.iter().map(|r| r[4].as_str()).collect();
    names.dedup();
    for (ending, format) in [("vtk", LineFormat::Vtk), ("vtp", LineFormat::Vtp)] {
        let path = written(folder.path(), ending, format);
        let Some(said) = library(&["describe", &path]) else {
            return;
        };
        let said: Vec<f64> = said.split_whitespace().map(number).collect();
        assert!(
            (said[0] - f64::from(u32::try_from(rows.len()).unwrap())).abs() < 0.5,
            "{ending}: {said:?}"
        );
        assert!(
            (said[1] - f64::from(u32::try_from(names.len()).unwrap())).abs() < 0.5,
            "{ending}: {said:?}"
        );
        assert!(
            (said[2] - radii).abs() < 1e-6 * radii,
            "{ending}: {said:?}, {radii}"
        );
        assert!(
            (said[3] - sum).abs() < 1e-6 * sum.abs(),
            "{ending}: {said:?}, {sum}"
        );
    }
}
