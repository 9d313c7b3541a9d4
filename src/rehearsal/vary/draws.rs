//! Numbers that depend on what they are drawn for alone: the seed, the row, the input. Nothing is kept from one draw to
//! the next, so that cases can be worked out in any order, by any number of hands, and once more.

/// A share from 0 to 1, never either, from 53 mixed bits.
pub(super) fn share(seed: u64, row: u64, stream: u64, input: u64) -> f64 {
    let mut bits = seed;
    for word in [row, stream, input] {
        bits = mixed(bits.wrapping_add(GOLDEN) ^ mixed(word.wrapping_add(GOLDEN)));
    }
    let upper = u32::try_from(mixed(bits) >> 38).unwrap_or(0);
    let lower = u32::try_from((mixed(bits.wrapping_add(GOLDEN)) >> 37) & LOWER).unwrap_or(0);
    (f64::from(upper) + (f64::from(lower) + 0.5) / f64::from(1_u32 << 27)) / f64::from(1_u32 << 26)
}

/// A whole number below `end` (at least 1), of the same.
pub(super) fn below(end: usize, seed: u64, row: u64, stream: u64, input: u64) -> usize {
    let scaled =
        share(seed, row, stream, input) * f64::from(u32::try_from(end).unwrap_or(u32::MAX));
    let mut found = 0;
    // halves rather than a cast: shares are below one, so the end is never met
    let (mut low, mut high) = (0, end);
    while low < high {
        let middle = low + (high - low) / 2;
        if f64::from(u32::try_from(middle).unwrap_or(u32::MAX)) <= scaled {
            found = middle;
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    found
}

const LOWER: u64 = (1 << 27) - 1;

/// What one state of the mixer is apart from the next: 2^64 over the golden ratio.
const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;

/// The mixer of Steele, Lea and Flood, Proc. OOPSLA 2014, with the constants of its later variant (from memory).
fn mixed(word: u64) -> u64 {
    let word = (word ^ (word >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let word = (word ^ (word >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    word ^ (word >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_shares_fill_their_range_and_are_independent() {
        let n = 20_000_u32;
        let at = |stream: u64, input: u64| {
            let of = move |i: u32| share(7, u64::from(i), stream, input);
            (0..n).map(of).collect::<Vec<f64>>()
        };
        let (a, b) = (at(0, 3), at(1, 3));
        for values in [&a, &b] {
            let mean = values.iter().sum::<f64>() / f64::from(n);
            // the mean of n shares lies within four of its deviations
            assert!(
                (mean - 0.5).abs() < 4.0 * (1.0 / 12.0 / f64::from(n)).sqrt(),
                "{mean}"
            );
            assert!(values.iter().all(|u| *u > 0.0 && *u < 1.0));
        }
        let product = a.iter().zip(&b).map(|(a, b)| (a - 0.5) * (b - 0.5));
        let correlation = 12.0 * product.sum::<f64>() / f64::from(n);
        assert!(
            correlation.abs() < 4.0 / f64::from(n).sqrt(),
            "{correlation}"
        );
        let fifths = (0..n).map(|i| below(5, 7, u64::from(i), 2, 0));
        let mut counted = [0_u32; 5];
        fifths.for_each(|i| counted[i] += 1);
        assert!(
            counted
                .iter()
                .all(|c| (f64::from(*c) - 4000.0).abs() < 250.0),
            "{counted:?}"
        );
    }
}
