//! Numbers of a fixed size in bytes, as every dialect of polydata writes them.

/// What a number is written as. Points are far fewer than the whole numbers that are exact as `f64`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Number {
    F32,
    F64,
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    I64,
}

impl Number {
    /// Bytes of one.
    pub(super) const fn size(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::F32 | Self::I32 | Self::U32 => 4,
            Self::F64 | Self::I64 => 8,
        }
    }

    /// The numbers in a row of bytes, the highest byte of each first or last; bytes too few for one are left.
    pub(super) fn all_in(self, bytes: &[u8], highest_first: bool) -> Vec<f64> {
        let size = self.size();
        let chunks = bytes.chunks_exact(size);
        chunks
            .map(|chunk| {
                let mut ordered = [0; 8];
                ordered[..size].copy_from_slice(chunk);
                if highest_first {
                    ordered[..size].reverse();
                }
                self.value(ordered)
            })
            .collect()
    }

    /// The value of its bytes, the lowest first.
    fn value(self, bytes: [u8; 8]) -> f64 {
        fn first<const N: usize>(bytes: [u8; 8]) -> [u8; N] {
            bytes[..N].try_into().unwrap_or([0; N])
        }
        #[expect(
            clippy::cast_precision_loss,
            reason = "numbers of points are far below what is exact"
        )]
        fn wide(value: i64) -> f64 {
            value as f64
        }
        match self {
            Self::F32 => f64::from(f32::from_le_bytes(first(bytes))),
            Self::F64 => f64::from_le_bytes(bytes),
            Self::I8 => f64::from(i8::from_le_bytes(first(bytes))),
            Self::U8 => f64::from(bytes[0]),
            Self::I16 => f64::from(i16::from_le_bytes(first(bytes))),
            Self::U16 => f64::from(u16::from_le_bytes(first(bytes))),
            Self::I32 => f64::from(i32::from_le_bytes(first(bytes))),
            Self::U32 => f64::from(u32::from_le_bytes(first(bytes))),
            Self::I64 => wide(i64::from_le_bytes(bytes)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Number;

    #[test]
    fn exact_numbers_in_both_orders() {
        assert_eq!(Number::F32.all_in(&1.5_f32.to_be_bytes(), true), [1.5]);
        assert_eq!(
            Number::F64.all_in(&(-2.25_f64).to_le_bytes(), false),
            [-2.25]
        );
        assert_eq!(
            Number::I16.all_in(&[0xff, 0xfe, 0x01, 0x00, 0x07], true),
            [-2.0, 256.0]
        );
        assert_eq!(Number::U16.all_in(&[0xfe, 0xff], false), [65534.0]);
        assert_eq!(Number::I64.all_in(&(-3_i64).to_be_bytes(), true), [-3.0]);
        assert_eq!(Number::I8.all_in(&[0x80], true), [-128.0]);
    }
}
