//! All parts of a population, put together.

use super::{ShardHead, named, read};
use crate::output::file::told;
use crate::rehearsal::vary::{Case, Design, Shard};
use std::collections::BTreeSet;
use std::io::{self, ErrorKind};
use std::path::Path;

fn refused(text: String) -> io::Error {
    told(ErrorKind::InvalidData, text)
}

/// The cases of all shards that lie in a folder, in order, and what they are told of.
///
/// # Errors
/// [`ErrorKind::InvalidData`] where a shard is missing (with how to repeat it), spoilt, or of another population than
/// the others; those of the file system.
pub fn gather_shards(folder: &Path) -> io::Result<(Design, Vec<Case>)> {
    let shards = all_there(folder)?;
    let mut first: Option<(Shard, ShardHead)> = None;
    let mut all = Vec::new();
    for shard in shards {
        let (head, cases) = read(&folder.join(name(shard)))?;
        match &first {
            None => first = Some((shard, head)),
            Some((of, first)) => {
                if let Some(what) = first.differs_from(&head) {
                    return Err(foreign(folder, shard, *of, &what));
                }
            }
        }
        all.extend(cases);
    }
    all.sort_by_key(|case| case.number);
    let design = first.map(|(_, head)| head.design);
    design
        .map(|design| (design, all))
        .ok_or_else(|| none(folder))
}

fn name(shard: Shard) -> String {
    super::name_of(shard.number(), shard.of())
}

/// The shards of a folder; none of them missing, and none of another number of them.
fn all_there(folder: &Path) -> io::Result<BTreeSet<Shard>> {
    let unread = |error: io::Error| {
        refused(format!(
            "`{}` cannot be looked into, {error}: name the folder that the shards lie in",
            folder.display()
        ))
    };
    let mut found = BTreeSet::new();
    for entry in std::fs::read_dir(folder).map_err(unread)? {
        found.extend(named(&entry.map_err(unread)?.file_name().to_string_lossy()));
    }
    let Some(any) = found.first().copied() else {
        return Err(none(folder));
    };
    if let Some(other) = found.iter().find(|shard| shard.of() != any.of()) {
        return Err(refused(format!(
            "`{}` holds shards of {} and of {}: move one kind elsewhere",
            folder.display(),
            any.of(),
            other.of()
        )));
    }
    let missing: Vec<u64> = (1..=any.of())
        .filter(|number| Shard::new(*number, any.of()).is_some_and(|s| !found.contains(&s)))
        .collect();
    match missing.is_empty() {
        true => Ok(found),
        false => Err(lacks(folder, &missing, any)),
    }
}

fn none(folder: &Path) -> io::Error {
    refused(format!(
        "`{}` holds no shards (shard-1-of-3.parquet and so on): write them with `nestline vary SCENE --shard 1/3 --out {}`",
        folder.display(),
        folder.display()
    ))
}

fn lacks(folder: &Path, missing: &[u64], any: Shard) -> io::Error {
    let which = stretches(missing);
    let (first, of) = (missing.first().copied().unwrap_or(1), any.of());
    refused(format!(
        "`{}` lacks {} {which} of {of}: repeat what wrote the others with `--shard {first}/{of}`{}; in a Slurm array `sbatch --array={which}`",
        folder.display(),
        if missing.len() == 1 {
            "shard"
        } else {
            "shards"
        },
        if missing.len() == 1 { "" } else { " and so on" },
    ))
}

fn foreign(folder: &Path, shard: Shard, first: Shard, what: &str) -> io::Error {
    refused(format!(
        "`{}` is of another population than `{}` ({what}): remove the one that does not belong here, and repeat that shard",
        folder.join(name(shard)).display(),
        name(first)
    ))
}

/// `2,5-7`: numbers in order as a job array takes them.
fn stretches(numbers: &[u64]) -> String {
    let together = numbers.chunk_by(|a, b| a + 1 == *b);
    let told = together.map(|run| match run {
        [first, .., last] => format!("{first}-{last}"),
        [only] => only.to_string(),
        [] => String::new(),
    });
    told.collect::<Vec<_>>().join(",")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_stretches_as_an_array_takes_them() {
        for (numbers, told) in [
            (&[2][..], "2"),
            (&[1, 2], "1-2"),
            (&[2, 5, 6, 7, 9], "2,5-7,9"),
        ] {
            assert_eq!(stretches(numbers), told);
        }
    }
}
