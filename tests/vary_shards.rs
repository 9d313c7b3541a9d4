//! Populations in parts: put together they are what one run writes, whatever was killed on the way; what is missing,
//! foreign or spoilt is named.
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and looks at files"
)]

use crate::support::root::root;
use nestline::output::{SHARD_COLUMNS, ShardHead, gather_shards, vary_folder};
use nestline::rehearsal::vary::{Case, Shard};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::LazyLock;
use std::time::Instant;

/// Two steps of a plan on a measured vessel: a case takes no time.
static SCENE: LazyLock<PathBuf> = LazyLock::new(|| {
    let file = Path::new(env!("CARGO_TARGET_TMPDIR")).join("shards-of.ron");
    fs::write(&file, crate::folders::SHORT).unwrap();
    file
});

/// Three blocks and a bit: the last of three shards has fewer.
const CASES: &str = "56";

fn nestline(out: &Path, more: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_nestline"));
    command.args(["vary", "--ruler", "--out"]).arg(out);
    command.arg(&*SCENE).args(more);
    command.stdout(Stdio::null()).stderr(Stdio::null());
    command
}

fn shard(out: &Path, which: &str, more: &[&str]) -> Option<i32> {
    let mut command = nestline(out, &["--cases", CASES, "--shard", which]);
    command.args(more).status().unwrap().code()
}

fn merge(folder: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_nestline"));
    command.args(["vary", "--merge"]).arg(folder).args(more);
    command.output().unwrap()
}

/// What a command that was refused says, on one line.
fn refused(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    let said = String::from_utf8(output.stderr.clone()).unwrap();
    said.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What a population's folder tells.
fn told(folder: &Path) -> Vec<Vec<u8>> {
    ["vary.json", "report.html", "tables/cases.csv"]
        .map(|name| fs::read(folder.join(name)).unwrap())
        .to_vec()
}

/// What one run tells of them.
static ONE_RUN: LazyLock<Vec<Vec<u8>>> = LazyLock::new(|| {
    let place = tempfile::tempdir().unwrap();
    let out = place.path().join("one");
    let done = nestline(&out, &["--cases", CASES]).status().unwrap();
    assert!(done.success(), "the other program ends well");
    told(&out)
});

fn file(folder: &Path, number: u32) -> PathBuf {
    folder.join(format!("shard-{number}-of-3.parquet"))
}

/// All three of them, in a folder of their own.
fn three(place: &Path) -> PathBuf {
    let out = place.join("many");
    for which in ["2/3", "3/3", "1/3"] {
        assert_eq!(shard(&out, which, &[]), Some(0), "shard {which}");
    }
    out
}

#[test]
fn cli_shards_put_together_are_one_run() {
    let place = tempfile::tempdir().unwrap();
    let out = three(place.path());
    let again = place.path().join("again");
    for (number, threads) in [(1, "1"), (2, "2"), (3, "3")] {
        let which = format!("{number}/3");
        assert_eq!(shard(&again, &which, &["--threads", threads]), Some(0));
        let (one, other) = (file(&out, number), file(&again, number));
        assert!(
            fs::read(one).unwrap() == fs::read(other).unwrap(),
            "{which}"
        );
    }
    let merged = merge(&out, &["--json"]);
    assert_eq!(merged.status.code(), Some(0), "{merged:?}");
    assert!(told(&out) == *ONE_RUN, "other bytes");
    // nothing else is left, and nothing is done twice
    assert!(!out.join("cases-1-of-3").exists());
    let written = fs::metadata(file(&out, 2)).unwrap().modified().unwrap();
    assert_eq!(shard(&out, "2/3", &[]), Some(0));
    assert_eq!(
        fs::metadata(file(&out, 2)).unwrap().modified().unwrap(),
        written
    );
    assert_eq!(merge(&out, &[]).status.code(), Some(0), "once more");
    // more shards than there are cases for
    let few = place.path().join("few");
    for which in ["1/2", "2/2"] {
        let asked = ["--cases", "10", "--shard", which];
        assert!(nestline(&few, &asked).status().unwrap().success());
    }
    assert_eq!(merge(&few, &[]).status.code(), Some(0));
    assert_eq!(gather_shards(&few).unwrap().1.len(), 10);
}

/// How often runs are killed: a few times, or as often as the variable says.
fn how_often() -> u64 {
    std::env::var("NESTLINE_KILLS").map_or(4, |n| n.parse().unwrap())
}

#[test]
fn cli_shards_killed_at_any_moment_end_with_the_same_bytes() {
    let place = tempfile::tempdir().unwrap();
    let begun = Instant::now();
    let whole = three(place.path());
    let takes = begun.elapsed() / 3;
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let mut unfinished = 0;
    for kill in 0..how_often() {
        let out = place.path().join(format!("cut-{kill}"));
        for number in 1..=3 {
            let which = format!("{number}/3");
            let asked = ["--cases", CASES, "--threads", "2", "--shard", &which];
            let mut run = nestline(&out, &asked).spawn().unwrap();
            std::thread::sleep(takes.mul_f64(rng.random_range(0.0..1.1)));
            // it may have ended by itself
            let _ = run.kill();
            run.wait().unwrap();
            // what stands there is whole
            match fs::read(file(&out, number)) {
                Ok(bytes) => assert!(bytes == fs::read(file(&whole, number)).unwrap()),
                Err(_) => unfinished += 1,
            }
        }
        for which in ["1/3", "2/3", "3/3"] {
            assert_eq!(
                shard(&out, which, &["--threads", "1"]),
                Some(0),
                "kill {kill}"
            );
        }
        assert_eq!(merge(&out, &[]).status.code(), Some(0), "kill {kill}");
        assert!(told(&out) == *ONE_RUN, "kill {kill}: other bytes");
        fs::remove_dir_all(out).unwrap();
    }
    println!(
        "{unfinished} of {} killed before their end",
        3 * how_often()
    );
    assert!(unfinished > 0, "none was killed on its way");
}

/// Two runs of one shard at once, as where a job is sent out twice, do not hinder each other.
#[test]
fn cli_one_shard_sent_out_twice_is_written_once() {
    let place = tempfile::tempdir().unwrap();
    let out = place.path().join("many");
    let asked = ["--cases", CASES, "--shard", "1/3"];
    let mut both = [(), ()].map(|()| nestline(&out, &asked).spawn().unwrap());
    for run in &mut both {
        assert_eq!(run.wait().unwrap().code(), Some(0));
    }
    assert!(file(&out, 1).exists() && !out.join("cases-1-of-3").exists());
}

#[test]
fn cli_what_is_missing_foreign_or_spoilt_is_named() {
    let place = tempfile::tempdir().unwrap();
    let out = three(place.path());
    let says = |told: &Output, words: &[&str]| {
        let said = refused(told);
        for word in words {
            assert!(said.contains(word), "no `{word}` in: {said}");
        }
    };
    let aside = place.path().join("aside");
    fs::rename(file(&out, 2), &aside).unwrap();
    says(
        &merge(&out, &[]),
        &["lacks shard 2 of 3", "`--shard 2/3`", "sbatch --array=2`"],
    );
    // of another seed
    assert_eq!(shard(&out, "2/3", &["--seed", "2"]), Some(0));
    says(
        &merge(&out, &[]),
        &[
            "shard-2-of-3.parquet` is of another population",
            "seed 2, not 1",
        ],
    );
    // the right one is not written over it
    let mut right = nestline(&out, &["--cases", CASES, "--shard", "2/3"]);
    let told = right.stderr(Stdio::piped()).output().unwrap();
    says(
        &told,
        &["is a shard of something else (seed 2, not 1)", "--force"],
    );
    assert_eq!(shard(&out, "2/3", &["--force"]), Some(0));
    assert!(fs::read(file(&out, 2)).unwrap() == fs::read(&aside).unwrap());
    // of another number of cases, of another scene's values
    for (more, words) in [
        (["--cases", "60"], "cases 56, not 60"),
        (
            ["--set", "hub_standoff=40mm"],
            "another vessel, stack, change",
        ),
    ] {
        let mut asked = nestline(&out, &["--shard", "2/3"]);
        if more[0] != "--cases" {
            asked.args(["--cases", CASES]);
        }
        says(
            &asked.args(more).stderr(Stdio::piped()).output().unwrap(),
            &[words],
        );
    }
    // under another's name
    fs::rename(file(&out, 2), &aside).unwrap();
    fs::copy(file(&out, 1), file(&out, 2)).unwrap();
    says(
        &merge(&out, &[]),
        &["is shard 1 of 3 by what it says, and not by its name"],
    );
    // of another number of shards
    fs::rename(&aside, file(&out, 2)).unwrap();
    fs::copy(file(&out, 1), out.join("shard-1-of-4.parquet")).unwrap();
    says(&merge(&out, &[]), &["holds shards of 3 and of 4"]);
    says(&merge(place.path(), &[]), &["holds no shards"]);
    says(
        &merge(&place.path().join("nowhere"), &[]),
        &["cannot be looked into"],
    );
    for wrong in ["0/3", "4/3", "2"] {
        assert_eq!(shard(&out, wrong, &[]), Some(2), "{wrong}");
    }
    says(&merge(&out, &["--cases", "3"]), &["cannot be used with"]);
    let mut large = nestline(&out, &["--cases", "30000000", "--shard", "1/2"]);
    let told = large.stderr(Stdio::piped()).output().unwrap();
    says(&told, &["too large to be put together", "--shard 1/3"]);
}

/// A file with any bit changed, cut off anywhere, or of something else is told as spoilt: never taken apart, never
/// taken for what it was.
#[test]
fn property_spoilt_shards_are_refused() {
    let place = tempfile::tempdir().unwrap();
    let out = three(place.path());
    let whole = fs::read(file(&out, 2)).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    for _ in 0..400 {
        let mut spoilt = whole.clone();
        let at = rng.random_range(0..spoilt.len());
        if rng.random_bool(0.7) {
            spoilt[at] ^= 1 << rng.random_range(0..8_u32);
        } else {
            spoilt.truncate(at);
        }
        fs::write(file(&out, 2), &spoilt).unwrap();
        let error = gather_shards(&out).unwrap_err().to_string();
        assert!(
            error.contains("shard-2-of-3.parquet` is no shard"),
            "{error}"
        );
        assert!(error.contains("remove it and repeat"), "{error}");
    }
    let told = refused(&merge(&out, &[]));
    assert!(
        told.contains("is spoilt: remove it and repeat that shard"),
        "{told}"
    );
    let mut again = nestline(&out, &["--cases", CASES, "--shard", "2/3"]);
    assert_eq!(again.status().unwrap().code(), Some(2), "not written over");
    fs::remove_file(file(&out, 2)).unwrap();
    assert_eq!(shard(&out, "2/3", &[]), Some(0));
    assert!(fs::read(file(&out, 2)).unwrap() == whole);
}

/// A million cases: some rehearsed, the others made of them with other numbers, in ten shards. Tells bytes, seconds and
/// memory.
#[test]
#[ignore = "a minute: a million cases made up"]
fn property_a_million_cases_are_put_together() {
    const MANY: u64 = 1_000_000;
    let population = crate::vary::population(crate::support::scenes::SCENES[0]);
    let some: Vec<Case> = (0..40).map(|number| population.case(number)).collect();
    let made_up = |number: u64| {
        let mut case = some[usize::try_from(number % 40).unwrap()].clone();
        let share = f64::from(u32::try_from(number).unwrap()) / 1e6;
        case.number = number;
        case.spare_mm = case.spare_mm.map(|mm| mm + share.sin());
        case.hub_force_n = Some(0.5 + share.cos());
        case.reperfusion_s = case.reperfusion_s.map(|s| s + share);
        case
    };
    let place = tempfile::tempdir().unwrap();
    let (mut bytes, begun) = (0, Instant::now());
    for number in 1..=10 {
        let shard = Shard::new(number, 10).unwrap();
        let cases: Vec<Case> = shard.blocks(MANY).flatten().map(made_up).collect();
        let head = ShardHead::new(shard, MANY, "made up", population.design());
        head.write(place.path(), &cases, false).unwrap();
        bytes += fs::metadata(head.path(place.path())).unwrap().len();
    }
    let (written, begun) = (begun.elapsed(), Instant::now());
    let (design, cases) = gather_shards(place.path()).unwrap();
    let (read, begun) = (begun.elapsed(), Instant::now());
    let found = design.summary(&cases);
    let (summed, begun) = (begun.elapsed(), Instant::now());
    let folder = vary_folder(&found, &cases).unwrap();
    folder.write(&place.path().join("told"), false).unwrap();
    let told = begun.elapsed();
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let most = status.lines().find(|line| line.starts_with("VmHWM"));
    println!(
        "{} bytes a case; written in {written:.1?}, read in {read:.1?}, summed up in {summed:.1?}, told in {told:.1?}; {}",
        bytes / MANY,
        most.unwrap_or_default()
    );
    assert!(cases.len() == 1_000_000 && found.cases == cases.len());
    let fails = |case: &&Case| case.ends == some[0].ends;
    assert!(cases.iter().filter(fails).count() >= 25_000);
}

#[test]
fn layer_the_readme_has_every_column_of_a_shard() {
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    for (name, holds) in SHARD_COLUMNS {
        let row = format!("| `{name}` | {holds} |");
        assert!(readme.contains(&row), "put this into the README:\n{row}");
    }
}
