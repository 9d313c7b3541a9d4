//! The verb `vary`: a plan on many patients.

use super::plans::{DEFAULT_SCENE, load};
use super::{Stop, columns, print};
use clap::Args;
use clap::builder::RangedU64ValueParser;
use indicatif::{ProgressBar, ProgressStyle};
use nestline::data::Edit;
use nestline::output::{
    CaseStore, Folder, ShardHead, Stands, gather_shards, group_names, shard_text, vary_folder,
    vary_text,
};
use nestline::rehearsal::vary::{Case, Group, Population, Shard, Vary};
use std::ffi::OsString;
use std::io::{Error, ErrorKind};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// The folder where none is named.
const FOLDER: &str = "nestline-vary";
/// Most cases of one run: forty of them in a second, this many are a month.
const MOST_CASES: u64 = 100_000_000;
/// Most cases of one shard: a third of a gigabyte, read at once.
const MOST_OF_A_SHARD: u64 = 10_000_000;
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
    /// Work out one part of so many, and write nothing but its cases: DIR/shard-2-of-3.parquet, whole or not at all. What
    /// is there already is left as it is.
    #[arg(long, value_name = "2/3")]
    shard: Option<Shard>,
    /// Put all shards of a folder together: vary.json and the report there, as one run writes them. Everything else is
    /// what the shards say.
    #[arg(long, value_name = "DIR", conflicts_with_all = ["scene", "cases", "seed", "shard", "out", "set", "keep", "ruler", "threads"])]
    merge: Option<PathBuf>,
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

/// A population to be worked out.
struct Asked {
    population: Population,
    /// All that a case depends on but its number.
    key: String,
}

pub(crate) fn vary(arguments: &VaryArguments, json: bool) -> Result<ExitCode, Stop> {
    if let Some(folder) = &arguments.merge {
        check(folder, arguments.force)?;
        let (design, cases) = gather_shards(folder).map_err(refused)?;
        return tell(
            &design.summary(&cases),
            &cases,
            folder,
            arguments.force,
            json,
        );
    }
    if let Some(shard) = arguments.shard {
        return one_shard(&asked(arguments)?, shard, arguments, json);
    }
    check(&arguments.out, arguments.force)?;
    let asked = asked(arguments)?;
    let store = CaseStore::open(&arguments.out, None, &asked.key).map_err(Stop::Write)?;
    let cases = worked_out(&asked.population, &store, Shard::WHOLE, arguments)?;
    let found = asked.population.summary(&cases);
    tell(&found, &cases, &arguments.out, arguments.force, json)
}

fn refused(error: Error) -> Stop {
    match error.kind() {
        ErrorKind::InvalidData | ErrorKind::AlreadyExists => Stop::Refused(error.to_string()),
        _ => Stop::Write(error),
    }
}

fn check(folder: &Path, force: bool) -> Result<(), Stop> {
    let names = ["vary.json", "report.html", "tables/cases.csv"];
    Folder::check(folder, &names, force).map_err(Stop::Write)
}

fn asked(arguments: &VaryArguments) -> Result<Asked, Stop> {
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
    Ok(Asked { population, key })
}

/// Writes the folder of a population and prints what it comes to.
fn tell(
    found: &Vary,
    cases: &[Case],
    into: &Path,
    force: bool,
    json: bool,
) -> Result<ExitCode, Stop> {
    let folder = vary_folder(found, cases)?;
    folder.write(into, force).map_err(Stop::Write)?;
    print(json, found, || {
        format!(
            "{}\nReport: {}\n",
            vary_text(found, columns()),
            into.join("report.html").display()
        )
    })?;
    Ok(ExitCode::SUCCESS)
}

/// One part of a population into its own file, unless it is there already.
fn one_shard(
    asked: &Asked,
    shard: Shard,
    arguments: &VaryArguments,
    json: bool,
) -> Result<ExitCode, Stop> {
    let (out, force) = (&arguments.out, arguments.force);
    let design = asked.population.design();
    if arguments.cases / shard.of() > MOST_OF_A_SHARD {
        return Err(Stop::Refused(format!(
            "a shard of more than {MOST_OF_A_SHARD} cases makes a file too large to be put together: ask for more of them (--shard {}/{})",
            shard.number(),
            shard.of().max(arguments.cases.div_ceil(MOST_OF_A_SHARD))
        )));
    }
    let head = ShardHead::new(shard, arguments.cases, &asked.key, design);
    let there = || head.stands_in(out, force).map_err(refused);
    let written = || -> Result<CaseStore, Stop> {
        let store = CaseStore::open(out, Some(shard), &asked.key).map_err(Stop::Write)?;
        let cases = worked_out(&asked.population, &store, shard, arguments)?;
        head.write(out, &cases, force).map_err(Stop::Write)?;
        Ok(store)
    };
    let before = there()? == Stands::Whole;
    if !before {
        match written() {
            Ok(store) => store.remove(),
            // another run of the same part may have come to its end first, and taken away what both had kept
            Err(stop) => match there() {
                Ok(Stands::Whole) => {}
                _ => return Err(stop),
            },
        }
    } else if let Ok(store) = CaseStore::open(out, Some(shard), &asked.key) {
        // kept by a run that was cut off at its very end
        store.remove();
    }
    let told = head.told(out, before);
    print(json, &told, || shard_text(&told))?;
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
    shard: Shard,
    arguments: &VaryArguments,
) -> Result<Vec<Case>, Stop> {
    let blocks = shard.blocks(arguments.cases);
    let own = blocks.map(|block| block.end - block.start).sum();
    let bar = ProgressBar::new(own).with_style(
        ProgressStyle::with_template("{bar:30} {pos} of {len} cases, {elapsed}, {eta} left")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    let threads = arguments
        .threads
        .unwrap_or_else(nestline::threads::all_of_them);
    let mut all = Vec::new();
    for block in shard.blocks(arguments.cases) {
        let numbers: Vec<u64> = block.collect();
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
