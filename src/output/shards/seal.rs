//! Whether a file is as it was written: a checksum of all its bytes, which lies in it among what it says of itself.
//!
//! The format has checksums of pages at most, and its footer has none. Whoever reads a sealed file knows before it is
//! taken apart that no bit of it was changed by accident.

use std::io;

/// What stands before the sum.
const BEFORE: &[u8] = b"crc32:";
/// Hexadecimal digits of a sum.
const DIGITS: usize = 8;
/// What is written first, to be replaced.
pub(super) const OPEN: &str = "crc32:00000000";

/// Where the digits lie: the last that can be meant, since nothing that somebody could choose stands behind it.
fn digits(bytes: &[u8]) -> Option<usize> {
    let mut windows = bytes.windows(OPEN.len());
    windows
        .rposition(|window| window.starts_with(BEFORE))
        .map(|at| at + BEFORE.len())
}

/// The sum of everything, its own digits taken as noughts.
fn sum(bytes: &[u8], digits: usize) -> String {
    let mut hasher = crc32fast::Hasher::new();
    hasher.update(&bytes[..digits]);
    hasher.update(&[b'0'; DIGITS]);
    hasher.update(&bytes[digits + DIGITS..]);
    format!("{:08x}", hasher.finalize())
}

/// The bytes with their sum in the place of [`OPEN`].
///
/// # Errors
/// [`io::ErrorKind::Other`] where they have no such place.
pub(super) fn sealed(mut bytes: Vec<u8>) -> io::Result<Vec<u8>> {
    let at = digits(&bytes).ok_or_else(|| io::Error::other("a shard has no place for its sum"))?;
    let sum = sum(&bytes, at);
    bytes[at..at + DIGITS].copy_from_slice(sum.as_bytes());
    Ok(bytes)
}

/// Whether bytes are as they were sealed.
pub(super) fn is_whole(bytes: &[u8]) -> bool {
    digits(bytes).is_some_and(|at| bytes[at..at + DIGITS] == *sum(bytes, at).as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_no_changed_bit_goes_unnoticed() {
        let text = format!("some crc32: {}, and what comes after", "crc32:00000000");
        let whole = sealed(text.into_bytes()).unwrap();
        assert!(is_whole(&whole));
        for bit in 0..8 * whole.len() {
            let mut spoilt = whole.clone();
            spoilt[bit / 8] ^= 1 << (bit % 8);
            assert!(!is_whole(&spoilt), "bit {bit}");
        }
        for length in 0..whole.len() {
            assert!(!is_whole(&whole[..length]), "{length} bytes of it");
        }
        assert!(sealed(b"no place".to_vec()).is_err());
    }
}
