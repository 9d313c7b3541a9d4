//! Parts of a population, one Parquet file each: whole or not at all, the same bytes for the same cases, put together
//! by whoever has all of them.

mod columns;
mod gather;
mod seal;

pub use columns::SHARD_COLUMNS;
pub use gather::gather_shards;

use super::file::{bytes_of, told, write_bytes};
use crate::rehearsal::vary::{Case, Design, Shard};
use bytes::Bytes;
use parquet::errors::ParquetError;
use serde::{Deserialize, Serialize};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// Schema of what a file says of itself, beside its cases.
const SCHEMA: &str = "nestline.shard";
/// Version of that, and of the columns.
const VERSION: u32 = 1;

/// What a part of a population says of itself: which part, and of what.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShardHead {
    schema: String,
    version: u32,
    shard: u64,
    shards: u64,
    cases: u64,
    /// All that a case depends on but its number, as a fingerprint.
    of: String,
    design: Design,
}

/// A part that is written, as it is told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShardTold {
    /// `nestline.shard`.
    pub schema: String,
    /// Version of the schema.
    pub version: u32,
    /// Its number, from 1.
    pub shard: u64,
    /// How many there are.
    pub shards: u64,
    /// Cases of the population.
    pub cases: u64,
    /// Cases of the part.
    pub own_cases: u64,
    /// The file.
    pub file: String,
    /// It was there already.
    pub was_there: bool,
}

/// A part that is written, in words.
#[must_use]
pub fn shard_text(told: &ShardTold) -> String {
    format!(
        "{}: {} of {} cases, shard {} of {}{}\nWith all {} in one folder: nestline vary --merge DIR\n",
        told.file,
        told.own_cases,
        told.cases,
        told.shard,
        told.shards,
        if told.was_there {
            ", there already"
        } else {
            ""
        },
        told.shards,
    )
}

/// What stands where a part is to be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// Nothing, or what may be replaced.
    Nothing,
    /// The part itself, whole.
    Whole,
}

impl ShardHead {
    /// Of a part of so many cases. `key` says all that a case depends on but its number.
    #[must_use]
    pub fn new(shard: Shard, cases: u64, key: &str, design: Design) -> Self {
        Self {
            schema: SCHEMA.into(),
            version: VERSION,
            shard: shard.number(),
            shards: shard.of(),
            cases,
            of: fingerprint(key),
            design,
        }
    }

    /// Where it lies in a folder.
    #[must_use]
    pub fn path(&self, folder: &Path) -> PathBuf {
        folder.join(name_of(self.shard, self.shards))
    }

    /// The part as it is told once it lies in a folder.
    #[must_use]
    pub fn told(&self, folder: &Path, was_there: bool) -> ShardTold {
        let shard = Shard::new(self.shard, self.shards).into_iter();
        let blocks = shard.flat_map(|shard| shard.blocks(self.cases));
        ShardTold {
            schema: SCHEMA.into(),
            version: VERSION,
            shard: self.shard,
            shards: self.shards,
            cases: self.cases,
            own_cases: blocks.map(|block| block.end - block.start).sum(),
            file: self.path(folder).display().to_string(),
            was_there,
        }
    }

    /// What stands in a folder under its name. What is not this part is refused, unless it may be replaced.
    ///
    /// # Errors
    /// [`ErrorKind::AlreadyExists`] where it is a part of something else, [`ErrorKind::InvalidData`] where it is spoilt
    /// or no part at all.
    pub fn stands_in(&self, folder: &Path, replace: bool) -> io::Result<Stands> {
        let path = self.path(folder);
        if std::fs::symlink_metadata(&path).is_err() {
            return Ok(Stands::Nothing);
        }
        let found = read(&path);
        let refused = match found {
            Ok((head, _)) => match self.differs_from(&head) {
                None => return Ok(Stands::Whole),
                Some(what) => told(
                    ErrorKind::AlreadyExists,
                    format!(
                        "`{}` is a shard of something else ({what}): name another folder (--out DIR), or let it be replaced (--force)",
                        path.display()
                    ),
                ),
            },
            Err(error) => error,
        };
        match replace {
            true => Ok(Stands::Nothing),
            false => Err(refused),
        }
    }

    /// Writes the part with its cases, whole or not at all.
    ///
    /// # Errors
    /// Those of the file system; [`ErrorKind::AlreadyExists`] where something stands there and may not be replaced.
    pub fn write(&self, folder: &Path, cases: &[Case], replace: bool) -> io::Result<()> {
        let head = serde_json::to_string(self).map_err(io::Error::other)?;
        let bytes = columns::write(&head, cases, &self.design.stands_for()).map_err(unwritten)?;
        write_bytes(&self.path(folder), &seal::sealed(bytes)?, replace)
    }

    /// What another part says of the population that this one does not; none where both are of one.
    fn differs_from(&self, other: &Self) -> Option<String> {
        let numbers = [
            ("cases", self.cases, other.cases),
            ("seed", self.design.seed, other.design.seed),
        ];
        let mut told = numbers.iter().filter(|(_, own, others)| own != others);
        if let Some((what, own, others)) = told.next() {
            return Some(format!("{what} {others}, not {own}"));
        }
        if self.design.scene != other.design.scene {
            let (others, own) = (&other.design.scene, &self.design.scene);
            return Some(format!("scene `{others}`, not `{own}`"));
        }
        let same = self.of == other.of && self.design == other.design;
        (!same).then(|| {
            "the same scene with another vessel, stack, change, table, ruler or version".to_owned()
        })
    }
}

/// The name of a part.
fn name_of(number: u64, of: u64) -> String {
    format!("shard-{number}-of-{of}.parquet")
}

/// The part of a name.
fn named(name: &str) -> Option<Shard> {
    let numbers = name.strip_prefix("shard-")?.strip_suffix(".parquet")?;
    let (number, of) = numbers.split_once("-of-")?;
    let shard = Shard::new(number.parse().ok()?, of.parse().ok()?)?;
    (name == name_of(shard.number(), shard.of())).then_some(shard)
}

/// A part that is whole, of its own name, with all of its cases in order.
fn read(path: &Path) -> io::Result<(ShardHead, Vec<Case>)> {
    let wrong = |what: &str| {
        let help = "remove it and repeat that shard (--shard)";
        told(
            ErrorKind::InvalidData,
            format!("`{}` {what}: {help}", path.display()),
        )
    };
    let bytes = bytes_of(path).map_err(|error| match error.kind() {
        ErrorKind::InvalidInput => wrong("is no file that could be a shard"),
        _ => wrong(&format!("cannot be read, {error}")),
    })?;
    if !seal::is_whole(&bytes) {
        return Err(wrong("is no shard of nestline, or is spoilt"));
    }
    let (head, cases) = columns::read(Bytes::from(bytes))
        .map_err(|error| wrong(&format!("holds other columns than a shard ({error})")))?;
    let head: ShardHead = serde_json::from_str(&head)
        .map_err(|error| wrong(&format!("does not say what it is a shard of ({error})")))?;
    if head.version != VERSION || head.schema != SCHEMA {
        return Err(wrong("was written by another version of nestline"));
    }
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let shard =
        named(&name).filter(|shard| (shard.number(), shard.of()) == (head.shard, head.shards));
    let Some(shard) = shard else {
        let is = format!("is shard {} of {} by what it says", head.shard, head.shards);
        return Err(wrong(&format!("{is}, and not by its name")));
    };
    let numbers = shard.blocks(head.cases).flatten();
    if !cases.iter().map(|case| case.number).eq(numbers) {
        return Err(wrong("holds other cases than its own"));
    }
    Ok((head, cases))
}

fn unwritten(error: ParquetError) -> io::Error {
    io::Error::other(format!("a shard cannot be written: {error}"))
}

/// What tells two texts apart: FNV-1a of 128 bits (Fowler, Noll and Vo; its two constants from memory). It keeps nothing
/// secret, and nobody can be kept from making two texts of one fingerprint.
fn fingerprint(text: &str) -> String {
    let mut bits: u128 = 0x6c62_272e_07bb_0142_62b8_2175_6295_c58d;
    for byte in text.bytes() {
        bits = (bits ^ u128::from(byte)).wrapping_mul(0x0100_0000_0000_0000_0000_013b);
    }
    format!("{bits:032x}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of nothing it is the constant that it begins with; of one letter one step by hand, done here with whole numbers
    /// of 64 bits.
    #[test]
    fn exact_fingerprint_of_one_letter() {
        assert_eq!(fingerprint(""), "6c62272e07bb014262b821756295c58d");
        let (high, low) = (0x6c62_272e_07bb_0142_u64, 0x62b8_2175_6295_c58d_u64 ^ 0x61);
        // (high 2^64 + low) (2^88 + 315) modulo 2^128
        let carried = u64::try_from((u128::from(low) * 315) >> 64).unwrap();
        let up = high
            .wrapping_mul(315)
            .wrapping_add(carried)
            .wrapping_add(low.wrapping_shl(24));
        let by_hand = format!("{up:016x}{:016x}", low.wrapping_mul(315));
        assert_eq!(fingerprint("a"), by_hand);
        assert_ne!(fingerprint("ab"), fingerprint("ba"));
    }

    #[test]
    fn exact_names_are_read_as_they_are_written() {
        assert_eq!(named("shard-2-of-3.parquet"), Shard::new(2, 3));
        for wrong in [
            "shard-02-of-3.parquet",
            "shard-4-of-3.parquet",
            "shard-1-of-3.parquet.part",
            ".nestline-x",
            "vary.json",
        ] {
            assert_eq!(named(wrong), None, "{wrong}");
        }
    }
}
