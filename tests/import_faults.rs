//! Files that are no centre lines: refused with their row, whatever is wrong with them.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and writes its own files"
)]

use crate::support::lines::{FORMATS, imported, mm, written};
use nestline::data::{self, ImportOptions};
use nestline::output::{CentreLines, traced_vessel_text};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

#[test]
fn exact_bad_files_are_refused_with_their_row() {
    let good = "x,y,z,radius\n0,0,0,2\n0,0,5,2\n0,0,10,2\n";
    let swc = "1 0 0 0 0 2 -1\n2 0 0 0 5 2 1\n3 0 0 0 9 2 2\n";
    let vtk = "# vtk DataFile Version 3.0\nlines\nASCII\nDATASET POLYDATA\nPOINTS 3 float\n0 0 0\n0 0 5\n0 0 9\nLINES 1 4\n3 0 1 2\nPOINT_DATA 3\nSCALARS radius float 1\nLOOKUP_TABLE default\n2 2 2\n";
    let with = |text: &str, from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    };
    let cases = [
        ("a.csv", with(good, "0,0,5,2", "0,0,nan,2"), "row 3"),
        (
            "a.csv",
            with(good, "0,0,5,2", "0,0,five,2"),
            "row 3: column `z` holds `five`",
        ),
        (
            "a.csv",
            with(good, "0,0,5,2", "0,0,5"),
            "row 3: the row has 3 fields",
        ),
        (
            "a.csv",
            with(good, "0,0,5,2", "0,0,5,0"),
            "row 3: the radius is 0",
        ),
        (
            "a.csv",
            with(good, "0,0,5,2", "0,0,5,-2"),
            "row 3: the radius is -2",
        ),
        (
            "a.csv",
            with(good, "0,0,5,2", "0,0,5,200"),
            "row 3: the radius is 200.000 mm",
        ),
        (
            "a.csv",
            "x,y,z,radius\n0,0,0,2\n".into(),
            "row 2: a line has one point only",
        ),
        ("a.csv", "x,y,z,radius\n".into(), "there is no line in it"),
        (
            "a.csv",
            with(good, "radius", "size"),
            "row 1: no column is named `radius`",
        ),
        (
            "a.csv",
            with(good, "z,radius", "z_cm,radius"),
            "row 1: the column `z_cm` says cm",
        ),
        (
            "a.csv",
            with(good, "0,0,10,2", "0,0,9000,2"),
            "row 4: the lines reach over more than",
        ),
        (
            "b.swc",
            with(swc, "3 0 0 0 9 2 2", "3 0 0 0 9 2 7"),
            "row 3: its parent, 7",
        ),
        (
            "b.swc",
            with(swc, "3 0 0 0 9 2 2", "2 0 0 0 9 2 1"),
            "row 3: the number 2 is taken by row 2",
        ),
        (
            "b.swc",
            with(swc, "1 0 0 0 0 2 -1", "1 0 0 0 0 2 3"),
            "row 1: a line of parents comes back",
        ),
        (
            "b.swc",
            with(swc, "3 0 0 0 9 2 2", "3 0 0 0 9"),
            "row 3: the row has 5 fields",
        ),
        (
            "c.vtk",
            with(vtk, "3 0 1 2", "3 0 1 7"),
            "line 0 names point 7",
        ),
        (
            "c.vtk",
            with(vtk, "SCALARS radius", "SCALARS size"),
            "no array at its points is called radius",
        ),
        (
            "c.vtk",
            with(vtk, "POINTS 3", "POINTS 3000000"),
            "more than the",
        ),
        (
            "c.vtk",
            with(vtk, "2 2 2\n", "2 2\n"),
            "it ends where numbers should follow",
        ),
        (
            "c.vtk",
            with(vtk, "POLYDATA", "UNSTRUCTURED_GRID"),
            "of the kind UNSTRUCTURED_GRID",
        ),
        (
            "d.vtp",
            "<VTKFile type=\"ImageData\"></VTKFile>".into(),
            "of the type `ImageData`",
        ),
        (
            "d.vtp",
            "<VTKFile type=\"PolyData\"><PolyData>".into(),
            "it is no XML",
        ),
    ];
    for (name, text, expected) in cases {
        let error = imported(name, &text, &mm()).unwrap_err();
        let told = error.to_string();
        assert!(
            told.contains(expected) && told.contains(name),
            "{expected}: {told}"
        );
        assert!(error.help_text().is_some(), "says how to mend it: {told}");
    }
    for (unit, expected) in [
        ("", "no unit"),
        ("35", "has no unit"),
        ("furlong", "not known"),
        ("0mm", "no length above 0"),
    ] {
        let told = imported("a.csv", good, &ImportOptions::with(unit, |_| {}))
            .unwrap_err()
            .to_string();
        assert!(told.contains(expected), "{unit}: {told}");
    }
}

#[test]
fn exact_a_line_through_itself_is_refused() {
    let mut csv = String::from("x,y,z,radius\n");
    // an eight: through the middle twice
    for k in 0..400 {
        let t = f64::from(k) / 400.0 * std::f64::consts::TAU;
        csv += &format!(
            "{},{},0,2\n",
            30.0 * nestline::math::sin(t + 0.3),
            30.0 * nestline::math::sin(2.0 * t + 0.6)
        );
    }
    let told = imported("eight.csv", &csv, &mm()).unwrap_err().to_string();
    assert!(told.contains("the line passes through itself"), "{told}");
}

/// Small files of every form, those of bytes among them.
fn small_files() -> Vec<(&'static str, Vec<u8>)> {
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let mut lines = String::from("x,y,z,radius,line\n");
    for (name, across) in [("a", 0.0), ("b", 1.0), ("c", -1.0)] {
        for k in 0..25 {
            let t = 2.0 * f64::from(k);
            lines += &format!(
                "{},{},{t},{},{name}\n",
                across * t,
                random.random::<f64>(),
                2.0 - 0.02 * t
            );
        }
    }
    let traced = imported("small.csv", &lines, &mm()).unwrap();
    let small = CentreLines::of_tree(&written(&traced).tree);
    let mut all = Vec::new();
    for (ending, format) in FORMATS {
        all.push((ending, small.text(format).into_bytes()));
    }
    // bytes: three points of a line with its radii
    let floats = |values: &[f32], big: bool| -> Vec<u8> {
        values
            .iter()
            .flat_map(|v| {
                if big {
                    v.to_be_bytes()
                } else {
                    v.to_le_bytes()
                }
            })
            .collect()
    };
    let (points, radii) = (
        [0.0, 0.0, 0.0, 0.0, 1.0, 9.0, 0.0, 0.0, 20.0],
        [2.0, 2.1, 1.9],
    );
    let mut legacy =
        b"# vtk DataFile Version 3.0\nlines\nBINARY\nDATASET POLYDATA\nPOINTS 3 float\n".to_vec();
    legacy.extend(floats(&points, true));
    legacy.extend(b"\nLINES 1 4\n");
    legacy.extend([3_i32, 0, 1, 2].iter().flat_map(|i| i.to_be_bytes()));
    legacy.extend(b"\nPOINT_DATA 3\nFIELD FieldData 1\nradius 1 3 float\n");
    legacy.extend(floats(&radii, true));
    all.push(("vtk", legacy));
    let mut raw = b"<VTKFile type=\"PolyData\" byte_order=\"LittleEndian\" header_type=\"UInt32\"><PolyData><Piece NumberOfPoints=\"3\" NumberOfLines=\"1\"><PointData><DataArray type=\"Float32\" Name=\"radius\" format=\"appended\" offset=\"0\"/></PointData><Points><DataArray type=\"Float32\" NumberOfComponents=\"3\" format=\"appended\" offset=\"16\"/></Points><Lines><DataArray type=\"Int32\" Name=\"connectivity\" format=\"appended\" offset=\"56\"/><DataArray type=\"Int32\" Name=\"offsets\" format=\"appended\" offset=\"72\"/></Lines></Piece></PolyData><AppendedData encoding=\"raw\">_".to_vec();
    for block in [
        floats(&radii, false),
        floats(&points, false),
        [0_i32, 1, 2].iter().flat_map(|i| i.to_le_bytes()).collect(),
        3_i32.to_le_bytes().to_vec(),
    ] {
        raw.extend(u32::try_from(block.len()).unwrap().to_le_bytes());
        raw.extend(block);
    }
    raw.extend(b"</AppendedData></VTKFile>");
    all.push(("vtp", raw));
    all
}

/// One or several wrong places: bytes changed, taken away, doubled, numbers out of all proportion.
fn spoilt(bytes: &[u8], random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    let words: [&[u8]; 12] = [
        b"-1",
        b"nan",
        b"1e308",
        b"99999999999",
        b"4294967295",
        b"0",
        b"\n",
        b",",
        b"<",
        b"=",
        b"\xff",
        b"inf",
    ];
    for _ in 0..random.random_range(1..4) {
        let at = random.random_range(0..=bytes.len());
        let end = (at + random.random_range(0..40)).min(bytes.len());
        match random.random_range(0..5) {
            0 => {
                if let Some(byte) = bytes.get_mut(at) {
                    *byte = random.random();
                }
            }
            1 => drop(bytes.drain(at..end)),
            2 => {
                let part = bytes[at..end].to_vec();
                drop(bytes.splice(at..at, part));
            }
            3 => bytes.truncate(at.max(8)),
            _ => {
                let word = words[random.random_range(0..words.len())].to_vec();
                let end = (at + word.len()).min(bytes.len());
                drop(bytes.splice(at..end, word));
            }
        }
    }
    bytes
}

#[test]
fn property_spoilt_files_are_read_or_refused() {
    // more of them where that is asked for
    let rounds = std::env::var("NESTLINE_SPOILT")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(150);
    let mut random = ChaCha8Rng::seed_from_u64(29);
    let folder = tempfile::tempdir().unwrap();
    let files = small_files();
    let mut outcomes = std::collections::BTreeMap::new();
    for round in 0..rounds {
        for (ending, whole) in &files {
            let bytes = spoilt(whole, &mut random);
            let path = folder.path().join(format!("spoilt.{ending}"));
            std::fs::write(&path, &bytes).unwrap();
            let outcome = match data::import(&path, &mm()) {
                Ok(traced) => {
                    assert!(traced_vessel_text(&traced).len() > 100, "{round}");
                    "read"
                }
                Err(error) => {
                    assert!(
                        error.to_string().contains(ending) && error.help_text().is_some(),
                        "{error}"
                    );
                    "refused"
                }
            };
            *outcomes.entry((*ending, outcome)).or_insert(0) += 1;
        }
    }
    assert!(
        outcomes.len() == 8,
        "every format is read and refused: {outcomes:?}"
    );
    if rounds > 1000 {
        eprintln!("{outcomes:?}");
    }
}
