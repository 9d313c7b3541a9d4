//! Printed surfaces close, keep diameters and are what another library takes them for.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a test may stop where it stands, and shows what was measured"
)]
#![expect(
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and reads and writes files of its own"
)]

use crate::support::not_run::not_run;
use nestline::data::{Source, read_vessel};
use nestline::geometry::{Branch, Curve, Frame, Lumen, Point, Run, Tree, Vector};
use nestline::output::stl::{Phantom, StlSettings, phantom};
use std::process::Command;

/// A vessel of one branch.
fn one_branch(turn_rad: f64, length_mm: f64, diameter_mm: f64) -> Tree {
    let start = Frame::new(
        Point::new(3.0, -7.0, 11.0),
        Vector::new(0.3, 0.5, 0.8),
        Vector::x(),
    );
    let run = Run {
        length_mm,
        turn_rad,
        roll_rad: 0.4,
        diameter_start_mm: diameter_mm,
        diameter_end_mm: diameter_mm,
    };
    Tree {
        branches: vec![Branch {
            name: "tube".into(),
            ostium: None,
            curve: Curve::from_runs(start, &[run]).unwrap(),
            lumen: Lumen::uniform(diameter_mm),
            wall_stiffness_n_per_mm2: 1.0,
        }],
        landmarks: Vec::new(),
        lesions: Vec::new(),
        clots: Vec::new(),
    }
}

#[test]
fn exact_volume_of_straight_and_bent_tubes() {
    // Pappus: the section's area times the way of its middle, bent or not
    for (turn_rad, length_mm, diameter_mm) in [(0.0, 60.0, 5.0), (3.0, 90.0, 6.0), (2.0, 15.0, 2.4)]
    {
        let tree = one_branch(turn_rad, length_mm, diameter_mm);
        for facet in [0.3, 0.45] {
            let settings = StlSettings {
                facet,
                ..StlSettings::default()
            };
            let found = phantom(&tree, &settings).unwrap();
            let exact = 0.25 * std::f64::consts::PI * diameter_mm.powi(2) * length_mm;
            let off = found.volume_mm3 / exact - 1.0;
            assert!(
                off.abs() < 0.005,
                "turn {turn_rad}, facet {facet}: {:.3} %",
                100.0 * off
            );
        }
        let wall = StlSettings {
            wall_mm: Some(1.5),
            ..StlSettings::default()
        };
        let found = phantom(&tree, &wall).unwrap();
        let area =
            0.25 * std::f64::consts::PI * ((diameter_mm + 3.0).powi(2) - diameter_mm.powi(2));
        let off = found.volume_mm3 / (area * length_mm) - 1.0;
        // a tube with open ends has the topology of a ring: as many edges and facets as corners
        let (corners, facets) = (found.corners_mm.len(), found.facets.len());
        assert_eq!(2 * corners, facets, "a ring");
        assert!(
            off.abs() < 0.005,
            "wall, turn {turn_rad}: {:.3} %",
            100.0 * off
        );
    }
}

/// Runs the program; its exit code and what it prints.
fn nestline(arguments: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .args(arguments)
        .output()
        .unwrap();
    let text = [output.stdout, output.stderr].concat();
    (output.status.code(), String::from_utf8(text).unwrap())
}

/// A tube of two branches that join, as a vessel file.
const FORK: &str = r#"Vessel(
    name: "Fork", source: "invented", teaches: "Joints.",
    form: Branches((
        wall_stiffness_n_per_mm2: 0.1,
        branches: [
            (name: "trunk", course: Runs(start: Root(direction: (0, 0, 1)),
                runs: [(length: "40 mm", lumen: "8 mm")])),
            (name: "arm", course: Runs(start: Leaves(branch: "trunk", at: "20 mm", turn_deg: 50, roll_deg: 30),
                runs: [(length: "30 mm", lumen: "5 mm", lumen_end: "4 mm")])),
        ],
        landmarks: [], access: (branch: "trunk", at: "1 mm"),
        targets: [(name: "far", branch: "arm", at: "end")],
    )),
)"#;

#[test]
fn exact_branches_join_in_one_closed_surface() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("fork.ron");
    std::fs::write(&path, FORK).unwrap();
    let vessel = read_vessel(&Source::from_argument(path.to_str().unwrap())).unwrap();
    let lumen = phantom(&vessel.tree, &StlSettings::default()).unwrap();
    // of a ball's topology: corners less edges plus facets is 2
    let euler = |p: &Phantom| p.corners_mm.len() as f64 - 0.5 * p.facets.len() as f64;
    assert!((euler(&lumen) - 2.0).abs() < 1e-9, "{}", euler(&lumen));
    let trunk_only = StlSettings {
        branches: vec!["trunk".into()],
        ..StlSettings::default()
    };
    let trunk = phantom(&vessel.tree, &trunk_only).unwrap();
    let exact = 0.25 * std::f64::consts::PI * 64.0 * 40.0;
    assert!(
        (trunk.volume_mm3 / exact - 1.0).abs() < 5e-3,
        "{}",
        trunk.volume_mm3
    );
    assert!(
        lumen.volume_mm3 > trunk.volume_mm3 + 300.0,
        "the arm stands out"
    );
    // three open ends: a wall of genus 2
    let wall = StlSettings {
        wall_mm: Some(1.0),
        ..StlSettings::default()
    };
    let wall = phantom(&vessel.tree, &wall).unwrap();
    assert!((euler(&wall) + 2.0).abs() < 1e-9, "{}", euler(&wall));
    let unknown = StlSettings {
        branches: vec!["tronk".into()],
        ..StlSettings::default()
    };
    let refused = phantom(&vessel.tree, &unknown).unwrap_err().to_string();
    assert!(refused.contains("trunk"), "{refused}");
}

/// Corners less edges plus facets: 2 for each body, less 2 for each hole through one.
fn euler(phantom: &Phantom) -> isize {
    let [corners, facets] = [phantom.corners_mm.len(), phantom.facets.len()]
        .map(|count| isize::try_from(count).unwrap());
    corners - facets / 2
}

/// How many openings branches that hang together have; those that leave what is not made at one place share one.
fn open_ends(tree: &Tree, made: &[bool]) -> isize {
    let leads_on = |own: usize, at_mm: f64| {
        let near_mm = 0.5 * tree.branches[own].lumen.diameter_at(at_mm);
        let leaves = |child: &Branch| {
            child
                .ostium
                .is_some_and(|o| o.branch == own && (o.at_mm - at_mm).abs() < near_mm)
        };
        let mut children = tree.branches.iter().zip(made);
        children.any(|(child, made)| *made && leaves(child))
    };
    let mut open = 0;
    let mut left_mm: Vec<(usize, f64)> = Vec::new();
    for (own, branch) in tree.branches.iter().enumerate().filter(|(i, _)| made[*i]) {
        let mut joins = branch.ostium.is_some_and(|o| made[o.branch]);
        if let Some(ostium) = branch.ostium {
            let one_place =
                |(b, at): &(usize, f64)| *b == ostium.branch && (at - ostium.at_mm).abs() < 0.1;
            joins |= left_mm.iter().any(one_place);
            left_mm.push((ostium.branch, ostium.at_mm));
        }
        open += isize::from(!joins && !leads_on(own, 0.0));
        open += isize::from(!leads_on(own, branch.curve.length_mm()));
    }
    open
}

/// Choices of branches that hang together: all, each alone, the neck, the head with and without what carries it,
/// the arch, the way to a target.
fn choices(tree: &Tree) -> Vec<(String, Vec<String>)> {
    let there = |names: &[&str]| -> Vec<String> {
        let known = names.iter().filter(|name| tree.branch(name).is_ok());
        known.map(|name| (*name).to_owned()).collect()
    };
    let mut found = vec![("whole".to_owned(), Vec::new())];
    let alone = tree
        .branches
        .iter()
        .map(|b| (b.name.clone(), vec![b.name.clone()]));
    found.extend(alone);
    let Ok(own) = tree.branch("internal-carotid") else {
        // a phantom drawn branch by branch
        return found;
    };
    let common = tree.branches[own].ostium.unwrap().branch;
    let common = tree.branches[common].name.as_str();
    let neck = [common, "internal-carotid", "external-carotid"];
    found.push(("neck".into(), there(&neck)));
    let head = [
        "internal-carotid",
        "anterior-cerebral",
        "m1",
        "m2-superior",
        "m2-inferior",
    ];
    found.push(("head".into(), there(&head)));
    // branches whose cut starts meet where they leave what is not made
    found.push(("head without carotid".into(), there(&head[1..])));
    found.push((
        "both carotids".into(),
        there(&["internal-carotid", "external-carotid"]),
    ));
    found.push(("m2 pair".into(), there(&["m2-superior", "m2-inferior"])));
    let arch = [
        "aorta",
        "innominate",
        "right-subclavian",
        "left-subclavian",
        "right-common-carotid",
        "left-common-carotid",
    ];
    found.push(("arch".into(), there(&arch)));
    let mut route = Vec::new();
    let mut at = tree.branch("m2-inferior").ok();
    while let Some(i) = at {
        route.push(tree.branches[i].name.clone());
        at = tree.branches[i].ostium.map(|o| o.branch);
    }
    found.push(("way to m2-inferior".into(), route));
    found
}

fn vessels() -> Vec<(String, Tree)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/vessels");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    let read = |path: std::path::PathBuf| {
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let source = Source::from_argument(path.to_str().unwrap());
        (name, read_vessel(&source).unwrap().tree)
    };
    files.into_iter().map(read).collect()
}

/// Makes a choice; its refusal, or whether it has the holes that its open ends make.
fn made_of(tree: &Tree, branches: &[String], wall_mm: Option<f64>, facet: f64) -> Phantom {
    let settings = StlSettings {
        branches: branches.to_vec(),
        wall_mm,
        facet,
    };
    let made: Vec<bool> = tree
        .branches
        .iter()
        .map(|b| branches.is_empty() || branches.contains(&b.name))
        .collect();
    let found =
        phantom(tree, &settings).unwrap_or_else(|e| panic!("{branches:?} {wall_mm:?}: {e}"));
    match wall_mm {
        None => assert_eq!(euler(&found), 2, "{branches:?}: a body without holes"),
        // walls of neighbours that merge make more
        Some(w) => {
            let least = 4 - 2 * open_ends(tree, &made);
            let about = format!("{branches:?}, wall {w}: {} against {least}", euler(&found));
            assert!(euler(&found) <= least, "{about}");
            assert_eq!(euler(&found) % 2, 0, "{about}");
            assert!(w > 1.0 || euler(&found) > least - 8, "{about}");
        }
    }
    assert!(found.volume_mm3 > 0.0, "{branches:?}");
    found
}

#[test]
fn property_every_vessel_closes_as_lumen_and_as_wall() {
    let vessels = vessels();
    assert!(vessels.len() > 16, "all of them");
    for (i, (name, tree)) in vessels.iter().enumerate() {
        made_of(tree, &[], None, StlSettings::default().facet);
        let wall_mm = [0.5, 1.0, 1.5, 2.0, 3.0][i % 5];
        let all = choices(tree);
        let neck = all.iter().find(|(choice, _)| choice == "neck");
        let branches = neck.map_or(Vec::new(), |(_, branches)| branches.clone());
        let found = made_of(tree, &branches, Some(wall_mm), 0.45);
        eprintln!("{name}: wall {wall_mm}, {} facets", found.facets.len());
    }
}

/// A tree of tubes has no handle; the only one that could be there is a ring of the anatomy itself, and none is.
#[test]
fn property_lumens_have_no_handles() {
    let touching = [
        "head without carotid",
        "both carotids",
        "m2 pair",
        "left-common-carotid",
        "right-common-carotid",
    ];
    for (name, tree) in vessels() {
        for (choice, branches) in choices(&tree) {
            if touching.contains(&choice.as_str()) {
                let found = made_of(&tree, &branches, None, 0.45);
                eprintln!("{name} | {choice} | Euler {}", euler(&found));
            }
        }
    }
}

/// Every vessel, wall and choice: an hour of work.
#[test]
#[ignore = "minutes to an hour; run with --ignored after changes to surfaces"]
fn property_every_choice_of_every_vessel_closes_with_every_wall() {
    for (name, tree) in vessels() {
        for (choice, branches) in choices(&tree) {
            for wall_mm in [None, Some(0.5), Some(1.0), Some(1.5), Some(2.0), Some(3.0)] {
                let found = made_of(&tree, &branches, wall_mm, 0.45);
                eprintln!(
                    "{name} | {choice} | {} | {} facets | Euler {}",
                    wall_mm.unwrap_or(0.0),
                    found.facets.len(),
                    euler(&found)
                );
            }
        }
    }
}

#[test]
fn exact_a_lumen_keeps_its_diameter() {
    let source = Source::from_argument("embedded:vessels/left-tandem-type-2.ron");
    let tree = read_vessel(&source).unwrap().tree;
    let own = tree.branch("internal-carotid").unwrap();
    let (branch, lesion) = (&tree.branches[own], &tree.lesions[0]);
    assert_eq!(lesion.branch, own, "the lesion is there");
    let radius_mm = |s_mm: f64| {
        let healthy_mm = branch.lumen.diameter_at(s_mm);
        let share = ((s_mm - lesion.start_mm) / lesion.length_mm).clamp(0.0, 1.0);
        let depth = 0.5 * (1.0 - (std::f64::consts::TAU * share).cos());
        0.5 * (healthy_mm + (lesion.residual_mm() - healthy_mm) * depth)
    };
    for wall_mm in [None, Some(0.5), Some(2.0)] {
        let found = made_of(&tree, &["internal-carotid".into()], wall_mm, 0.45);
        let (mut area, mut off, mut narrowest_mm) = (0.0, 0.0, f64::INFINITY);
        for facet in found.facets.iter().step_by(7) {
            let [a, b, c] = facet.map(|i| Point::from(found.corners_mm[i as usize]));
            let middle = Point::from((a.coords + b.coords + c.coords) / 3.0);
            let (s_mm, away_mm) = branch.curve.closest(&middle);
            let wanted_mm = radius_mm(s_mm);
            let at_an_end = s_mm < 2.0 || s_mm > branch.curve.length_mm() - 1.0;
            let outer = wall_mm.is_some_and(|w| away_mm - wanted_mm > 0.5 * w);
            if at_an_end || outer {
                continue;
            }
            let by = away_mm / wanted_mm - 1.0;
            assert!(
                by.abs() < 0.06,
                "{wall_mm:?}, {s_mm:.1} mm: {away_mm} for {wanted_mm}"
            );
            let weight = (b - a).cross(&(c - a)).norm();
            area += weight;
            off += weight * by;
            narrowest_mm = f64::min(narrowest_mm, away_mm);
        }
        assert!((off / area).abs() < 0.002, "{wall_mm:?}: {}", off / area);
        let throat_mm = 0.5 * lesion.residual_mm();
        assert!(
            (narrowest_mm / throat_mm - 1.0).abs() < 0.05,
            "{narrowest_mm}"
        );
    }
}

#[test]
fn exact_a_shut_lumen_is_made_three_tenths_wide() {
    let source = Source::from_argument("embedded:vessels/left-near-occlusion-type-2.ron");
    let mut tree = read_vessel(&source).unwrap().tree;
    tree.lesions[0].nascet_percent = 100.0;
    let own = tree.lesions[0].branch;
    let middle_mm = tree.lesions[0].start_mm + 0.5 * tree.lesions[0].length_mm;
    let found = made_of(&tree, &[tree.branches[own].name.clone()], None, 0.45);
    let curve = &tree.branches[own].curve;
    let near: Vec<f64> = found
        .corners_mm
        .iter()
        .map(|corner| curve.closest(&Point::from(*corner)))
        .filter(|(s_mm, _)| (s_mm - middle_mm).abs() < 0.1)
        .map(|(_, away_mm)| 2.0 * away_mm)
        .collect();
    assert!(!near.is_empty(), "the lumen goes on");
    for diameter_mm in near {
        assert!((diameter_mm - 0.3).abs() < 0.03, "{diameter_mm}");
    }
}

#[test]
fn exact_open_ends_are_cut_flat() {
    let tree = one_branch(0.7, 25.0, 4.0);
    for wall_mm in [None, Some(1.5)] {
        let settings = StlSettings {
            wall_mm,
            ..StlSettings::default()
        };
        let found = phantom(&tree, &settings).unwrap();
        let end = tree.branches[0].curve.end();
        let outer_mm = 2.0 + wall_mm.unwrap_or(0.0);
        let (mut flat, mut beyond_mm) = (0.0, 0.0_f64);
        for facet in &found.facets {
            let corners = facet.map(|i| Point::from(found.corners_mm[i as usize]) - end.origin_mm);
            let along = corners.map(|c| c.dot(&end.tangent));
            beyond_mm = along.into_iter().fold(beyond_mm, f64::max);
            if along.iter().all(|a| a.abs() < 0.02) {
                let [a, b, c] = corners;
                flat += 0.5 * (b - a).cross(&(c - a)).norm();
            }
        }
        let inner_mm = wall_mm.map_or(0.0, |_| 2.0);
        let exact = std::f64::consts::PI * (outer_mm * outer_mm - inner_mm * inner_mm);
        assert!(beyond_mm < 0.02, "{beyond_mm}");
        assert!(
            (flat / exact - 1.0).abs() < 0.03,
            "{wall_mm:?}: {flat} of {exact}"
        );
    }
}

#[test]
fn cli_the_command_of_the_readme_makes_a_wall() {
    let readme =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).unwrap();
    let line = readme
        .lines()
        .find(|line| line.starts_with("nestline export --stl"))
        .unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("neck.stl");
    let arguments: Vec<&str> = line
        .split_whitespace()
        .skip(1)
        .map(|word| {
            if word == "neck.stl" {
                path.to_str().unwrap()
            } else {
                word
            }
        })
        .collect();
    let (code, text) = nestline(&arguments);
    assert_eq!(code, Some(0), "{text}");
    assert!(path.is_file(), "{text}");
}

#[test]
fn exact_stl_bytes_are_what_the_format_says() {
    let made = phantom(&one_branch(0.0, 10.0, 4.0), &StlSettings::default()).unwrap();
    let bytes = made.stl();
    let count = u32::from_le_bytes(bytes[80..84].try_into().unwrap()) as usize;
    assert_eq!(count, made.facets.len(), "count");
    assert_eq!(bytes.len(), 84 + 50 * count, "size");
    let value = |i: usize| f32::from_le_bytes(bytes[84 + 4 * i..88 + 4 * i].try_into().unwrap());
    let normal = [value(0), value(1), value(2)];
    let length: f32 = normal.iter().map(|x| x * x).sum();
    assert!((length - 1.0).abs() < 1e-4, "unit normal: {length}");
}

/// An independent library looks at what is written: straight and bent tubes, their walls, joints; said
/// where it is not installed.
#[test]
fn reference_another_library_finds_the_surface_closed() {
    let folder = tempfile::tempdir().unwrap();
    for (turn_rad, wall_mm) in [(0.0, None), (3.0, None), (0.0, Some(1.5)), (3.0, Some(1.5))] {
        let (length_mm, diameter_mm) = (60.0, 4.0_f64);
        let settings = StlSettings {
            wall_mm,
            ..StlSettings::default()
        };
        let made = phantom(&one_branch(turn_rad, length_mm, diameter_mm), &settings).unwrap();
        let outer_mm = diameter_mm + 2.0 * wall_mm.unwrap_or(0.0);
        let inner_mm = wall_mm.map_or(0.0, |_| diameter_mm);
        // Pappus: bent or not
        let exact = 0.25 * std::f64::consts::PI * (outer_mm.powi(2) - inner_mm.powi(2)) * length_mm;
        // a tube with a wall has one hole
        let holes = u32::from(wall_mm.is_some());
        look(folder.path(), &made, Some(exact), holes);
    }
    let fork = folder.path().join("fork.ron");
    std::fs::write(&fork, FORK).unwrap();
    let vessel = read_vessel(&Source::from_argument(fork.to_str().unwrap())).unwrap();
    for wall_mm in [None, Some(1.0)] {
        let settings = StlSettings {
            wall_mm,
            ..StlSettings::default()
        };
        look(
            folder.path(),
            &phantom(&vessel.tree, &settings).unwrap(),
            None,
            // three open ends: two holes through the wall
            if wall_mm.is_some() { 2 } else { 0 },
        );
    }
    let source = Source::from_argument("embedded:vessels/left-tandem-type-2.ron");
    let tree = read_vessel(&source).unwrap().tree;
    let neck = [
        "left-common-carotid",
        "internal-carotid",
        "external-carotid",
    ];
    let made = made_of(&tree, &neck.map(String::from), Some(1.5), 0.45);
    look(folder.path(), &made, None, 2);
}

fn look(folder: &std::path::Path, made: &Phantom, volume_mm3: Option<f64>, holes: u32) {
    let path = folder.join("looked-at.stl");
    std::fs::write(&path, made.stl()).unwrap();
    let named = std::env::var("NESTLINE_PYTHON");
    let looked = Command::new(named.as_deref().unwrap_or("python3"))
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/check_stl.py"))
        .arg(&path)
        .arg(holes.to_string())
        .args(volume_mm3.map(|v| v.to_string()))
        .output();
    match looked {
        // whoever names a Python means it
        Ok(output) if output.status.code() == Some(77) && named.is_err() => {
            not_run(&String::from_utf8_lossy(&output.stdout));
        }
        Ok(output) => {
            let said = String::from_utf8_lossy(&output.stdout);
            assert!(
                output.status.success(),
                "{said}{}",
                String::from_utf8_lossy(&output.stderr)
            );
            eprint!("{said}");
        }
        Err(error) => {
            assert!(named.is_err(), "NESTLINE_PYTHON: {error}");
            not_run(&format!("no Python ({error})"));
        }
    }
}

#[test]
fn cli_export_writes_whole_files_and_replaces_none_unasked() {
    let folder = tempfile::tempdir().unwrap();
    let stl = folder.path().join("m1.stl");
    let stl = stl.to_str().unwrap();
    let (code, text) = nestline(&["export", "--stl", stl, "--branch", "m1", "--wall", "1mm"]);
    assert_eq!(code, Some(0), "{text}");
    let written = std::fs::read(stl).unwrap();
    let (code, text) = nestline(&["export", "--stl", stl, "--branch", "m1"]);
    assert_eq!(code, Some(2), "{text}");
    assert!(text.contains("exists already"), "{text}");
    assert_eq!(std::fs::read(stl).unwrap(), written, "left as it was");
    let (code, text) = nestline(&[
        "export", "--stl", stl, "--branch", "m1", "--force", "--json",
    ]);
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("nestline.export"), "{text}");
    assert_ne!(std::fs::read(stl).unwrap(), written, "replaced");
    let names: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
    assert_eq!(names.len(), 1, "nothing half-written is left");
}

#[test]
fn cli_export_refuses_what_it_cannot_do() {
    for (arguments, told) in [
        (vec!["export"], "--glb or --stl"),
        (vec!["export", "--stl", "x.stl", "--wall", "1.5"], "no unit"),
        (vec!["export", "--stl", "x.stl", "--branch", "m9"], "m9"),
        (
            vec!["export", "--stl", "x.stl", "--facet", "3"],
            "between 0.1 and 1",
        ),
        (
            vec!["export", "--glb", "x.glb", "--seconds", "0"],
            "seconds",
        ),
        (
            vec!["export", "--glb", "/no/such/folder/x.glb", "--ruler"],
            "cannot be written",
        ),
    ] {
        let (code, text) = nestline(&arguments);
        assert_eq!(code, Some(2), "{arguments:?}: {text}");
        assert!(text.contains(told), "{arguments:?}: {text}");
    }
}
