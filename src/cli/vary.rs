//! The verb `vary`: a plan on many patients.

use super::plans::{DEFAULT_SCENE, load};
use super::{Stop, columns, print};
use clap::Args;
use clap::builder::RangedU64ValueParser;
use indicatif::{ProgressBar, ProgressStyle};
use nestline::data::Edit;
use nestline::output::{CaseStore, Folder, group_names, vary_folder, vary_text};
use nestline::rehearsal::vary::{Case, Group, Population};
use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

/// The folder where none is named.
const FOLDER: &str = "nestline-vary";
/// Most cases of one run: forty of them in a second, this many are a month.
const MOST_CASES: u64 = 100_000_000;
/// What the numbers drawn mean; grows when one case no longer comes to what it came to before.
const DRAWS: u32 = 1;

/// A plan on many patients.
#[derive(Debug, Clone, Args)]
pub(crate) struct VaryArguments {
    /// Scene file; the built-in default scene if left out.
    scene: Option<OsString>,
    /// Cases: every evaluation counts, those that tell which input matters too.
    #[arg(long, default_value_t = 200, value_parser = RangedU64ValueParser::<u64>::new().range(1..=MOST_CASES))]
    cases: u64,
    /// Seed of the draws.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Folder for vary.json, the report and the cases; a run that was cut off goes on there.
    #[arg(long, value_name = "DIR", default_value = FOLDER)]
    out: PathBuf,
    /// Change a value of vessel, device, script or step times for all cases; may be given several times.
    #[arg(long = "set", value_name = "PATH=VALUE")]
    set: Vec<String>,
    /// Keep a group as it is reckoned with, as if it had been measured exactly: way, arch, neck, head, diameters,
    /// stenosis, devices, hub; may be given several times.
    #[arg(long, value_name = "GROUP")]
    keep: Vec<String>,
    /// Rule lengths along the centre line: many cases at once, wrong by up to centimetres, without forces.
    #[arg(long)]
    ruler: bool,
    /// Threads; their number changes no byte. All there are if left out.
    #[arg(long, value_parser = RangedU64ValueParser::<usize>::new().range(1..=1024))]
    threads: Option<usize>,
    /// Replace files of the same names that nestline did not write, or that were changed since.
    #[arg(long)]
    force: bool,
}

pub(crate) fn vary(arguments: &VaryArguments, json: bool) -> Result<ExitCode, Stop> {
    let names = ["vary.json", "report.html", "tables/cases.csv"];
    Folder::check(&arguments.out, &names, arguments.force).map_err(Stop::Write)?;
    let kept = kept_groups(&arguments.keep)?;
    let scene = arguments.scene.as_deref().unwrap_or(DEFAULT_SCENE.as_ref());
    let edits: Vec<Edit> = arguments
        .set
        .iter()
        .map(|text| Edit::parse(text))
        .collect::<Result<_, _>>()?;
    let loaded = load(scene, &edits)?;
    let key = format!(
        "nestline {} draws {DRAWS} seed {} ruler {} keeping {kept:?}\n{:?}\n{:?}\n{:?}\n",
        env!("CARGO_PKG_VERSION"),
        arguments.seed,
        arguments.ruler,
        loaded.plan,
        loaded.vessel.measurements,
        loaded.durations,
    );
    let population = Population::new(
        loaded.plan,
        loaded.durations,
        loaded.vessel.measurements,
        loaded.scene.target,
        arguments.seed,
    )
    .by_ruler(arguments.ruler)
    .keeping(&kept);
    let store = CaseStore::open(&arguments.out, &key).map_err(Stop::Write)?;
    let cases = worked_out(&population, &store, arguments)?;
    let found = population.summary(&cases);
    let folder = vary_folder(&found, &cases)?;
    folder
        .write(&arguments.out, arguments.force)
        .map_err(Stop::Write)?;
    print(json, &found, || {
        format!(
            "{}\nReport: {}\n",
            vary_text(&found, columns()),
            arguments.out.join("report.html").display()
        )
    })?;
    Ok(ExitCode::SUCCESS)
}

fn kept_groups(names: &[String]) -> Result<Vec<Group>, Stop> {
    let group = |name: &String| {
        let found = Group::ALL.into_iter().find(|group| group.name() == name);
        found.ok_or_else(|| {
            Stop::Refused(format!(
                "no group is named `{name}`: there are {}",
                group_names()
            ))
        })
    };
    names.iter().map(group).collect()
}

/// All cases, those that are kept and those that are not yet, block by block.
fn worked_out(
    population: &Population,
    store: &CaseStore,
    arguments: &VaryArguments,
) -> Result<Vec<Case>, Stop> {
    let bar = ProgressBar::new(arguments.cases).with_style(
        ProgressStyle::with_template("{bar:30} {pos} of {len} cases, {elapsed}, {eta} left")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    let threads = arguments
        .threads
        .unwrap_or_else(nestline::threads::all_of_them);
    let mut all = Vec::new();
    for numbers in CaseStore::blocks(arguments.cases) {
        let mut cases = store.kept(&numbers);
        let known = |number: &u64| cases.iter().any(|case| case.number == *number);
        let missing: Vec<u64> = numbers.iter().copied().filter(|n| !known(n)).collect();
        bar.inc((numbers.len() - missing.len()).try_into().unwrap_or(0));
        if !missing.is_empty() {
            cases.extend(nestline::threads::in_order(&missing, threads, |number| {
                let case = population.case(*number);
                bar.inc(1);
                case
            }));
            cases.sort_by_key(|case| case.number);
            store.keep(&cases).map_err(Stop::Write)?;
        }
        all.extend(cases);
    }
    bar.finish_and_clear();
    Ok(all)
}
