//! Benches of others: published forces held against stacks posed with one set of parameters. Misses are printed and kept.
//!
//! Devices are those of the cabinet, friction is that of the table; where a source gives no geometry, one was assumed before
//! the force was known and two others show what that is worth.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests stop where they stand and show what was measured"
)]

mod catheters;
mod devices;
mod pose;
mod qualities;
mod reach;
mod retrievers;
mod row;

use nestline_physics::device::Coating;
use nestline_physics::mechanics::BENCH_RATIO;
use pose::{Known, Parameters};
use row::{Bench, Kind, Row};

/// Published over ours as they stand, and which of them are missed by more than half of the published band's ends.
const STANDS: [(&str, f64, bool); 14] = [
    ("0.014 in wire, push, N", 3.61, true),
    ("microcatheter over a 0.014 in wire, push, N", 2.19, false),
    ("retriever out of the most tortuous model, N", 1.87, false),
    ("retriever begins to move, N", 0.54, true),
    ("retriever, most on its way, N", 1.12, true),
    ("coronary delivery system, mean track force, N", 10.3, false),
    ("the same: hub over tip force at 4 N", 2.18, false),
    ("folded stent in a microcatheter, most of 4, N", 1.61, false),
    ("tip force of a 5F class (0.060 in), N", 1.00, true),
    ("tip force of a 6F class (0.071 in), N", 1.41, true),
    ("pull-off force of a 0.068 in class, N", 1.26, true),
    ("pull-off force of an 8F guide (0.088 in), N", 1.22, true),
    ("guide fed to the neck, men, cm", 1.04, true),
    ("guide fed to the neck, women, cm", 0.98, true),
];
/// By how much a ratio may move unnoticed.
const MOVES: f64 = 0.05;

fn benches() -> Vec<Bench> {
    let mut all = catheters::carotid_path();
    all.extend(retrievers::retrievers());
    all.extend(catheters::delivery());
    all.extend(catheters::passage());
    all.extend(reach::suction());
    all.extend(reach::guides());
    all
}

#[test]
fn published_forces_of_benches() {
    let rows: Vec<Row> = benches().iter().map(Bench::row).collect();
    println!(
        "{:<45} published    ours (least-most) shapes      ratio",
        "bench"
    );
    for row in &rows {
        row.print();
    }
    let counted = rows.iter().filter(|row| row.kind != Kind::SetBy);
    for (row, (what, ratio, inside)) in counted.zip(STANDS) {
        assert_eq!(row.what, what, "the order of the table");
        assert!(
            (row.ratio() / ratio - 1.0).abs() < MOVES,
            "{what}: {} instead of {ratio}",
            row.ratio()
        );
        assert_eq!(row.inside(), inside, "{what}: off by {:.2}", row.off());
    }
    let forces: Vec<&Row> = rows.iter().filter(|row| row.kind == Kind::Force).collect();
    assert_eq!(
        u32::try_from(forces.len()),
        Ok(BENCH_RATIO.benches),
        "forces of the table"
    );
    let n = f64::from(BENCH_RATIO.benches);
    let ln = || forces.iter().map(|row| row.ratio().ln());
    let mean = ln().sum::<f64>() / n;
    let sd = (ln().map(|ln| (ln - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let [least, most] = BENCH_RATIO.factors();
    println!(
        "published over ours, {n} forces: ln {mean:.3} +- {sd:.3}, so {least:.2} to {most:.2} times"
    );
    assert!((mean - BENCH_RATIO.mean_ln).abs() < 0.02, "{mean}");
    assert!((sd - BENCH_RATIO.sd_ln).abs() < 0.02, "{sd}");
    // a published force lies within what the ranges of friction and stiffness allow
    let beyond = forces.iter().filter(|row| !row.in_range());
    let beyond: Vec<&str> = beyond.map(|row| row.what).collect();
    println!("beyond our ranges: {beyond:?}");
}

/// Single parameters within their ranges, one at a time.
fn single_parameters() -> [(&'static str, Parameters); 7] {
    let usual = Parameters::USUAL;
    let most = Known::Most;
    let wetted = |wetted: Coating| Parameters { wetted, ..usual };
    let stiffer = |stiffness_factor: f64| Parameters {
        stiffness_factor,
        ..usual
    };
    [
        ("usual", usual),
        (
            "hydrophilic at its most",
            Parameters {
                hydrophilic: most,
                ..usual
            },
        ),
        ("PTFE for hydrophilic", wetted(Coating::Ptfe)),
        ("polymer for hydrophilic", wetted(Coating::Polymer)),
        ("stiffness x 2", stiffer(2.0)),
        ("stiffness x 3", stiffer(3.0)),
        (
            "outward force x 2",
            Parameters {
                outward_factor: 2.0,
                ..usual
            },
        ),
    ]
}

#[test]
fn published_misses_by_single_parameters() {
    // what single parameter would explain a miss, and what it does to the others
    for bench in benches() {
        if !matches!(bench.kind, Kind::Force | Kind::Below) {
            continue;
        }
        let start = std::time::Instant::now();
        print!("{:<45}", bench.what);
        for (name, with) in single_parameters() {
            print!(" {name} {:.2};", bench.ratio(with));
        }
        println!(" {:.1}", start.elapsed().as_secs_f64());
    }
}
