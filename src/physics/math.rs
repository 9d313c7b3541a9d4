//! Elementary functions, the same to the last bit on every machine.
//!
//! The platform's own differ in the last digit from one C library, processor and compiler setting to the
//! next, and so would everything computed with them. These are the `libm` crate's, whose code is part of
//! the program; what it takes from the processor (square roots, fused products) is rounded exactly
//! everywhere. `.clippy.toml` forbids the platform's.

/// Sine of an angle in radians.
#[must_use]
pub fn sin(angle_rad: f64) -> f64 {
    libm::sin(angle_rad)
}

/// Cosine of an angle in radians.
#[must_use]
pub fn cos(angle_rad: f64) -> f64 {
    libm::cos(angle_rad)
}

/// Sine and cosine of an angle in radians.
#[must_use]
pub fn sin_cos(angle_rad: f64) -> (f64, f64) {
    libm::sincos(angle_rad)
}

/// Tangent of an angle in radians.
#[must_use]
pub fn tan(angle_rad: f64) -> f64 {
    libm::tan(angle_rad)
}

/// Angle in radians whose sine is `x`; not a number beyond -1 to 1.
#[must_use]
pub fn asin(x: f64) -> f64 {
    libm::asin(x)
}

/// Angle in radians whose cosine is `x`; not a number beyond -1 to 1.
#[must_use]
pub fn acos(x: f64) -> f64 {
    libm::acos(x)
}

/// Angle in radians whose tangent is `x`.
#[must_use]
pub fn atan(x: f64) -> f64 {
    libm::atan(x)
}

/// Angle in radians of the point `(x, y)` seen from the origin, from -π to π.
#[must_use]
pub fn atan2(y: f64, x: f64) -> f64 {
    libm::atan2(y, x)
}

/// Number whose hyperbolic tangent is `x`.
#[must_use]
pub fn atanh(x: f64) -> f64 {
    libm::atanh(x)
}

/// Length of the vector `(x, y)`.
#[must_use]
pub fn hypot(x: f64, y: f64) -> f64 {
    libm::hypot(x, y)
}

/// e to the power of `x`.
#[must_use]
pub fn exp(x: f64) -> f64 {
    libm::exp(x)
}

/// Natural logarithm.
#[must_use]
pub fn ln(x: f64) -> f64 {
    libm::log(x)
}

/// Logarithm to the base of ten.
#[must_use]
pub fn log10(x: f64) -> f64 {
    libm::log10(x)
}

/// Share of a normal law of mean 0 and deviation 1 that lies below `z`.
#[must_use]
pub fn normal_share(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// Value of a normal law of mean 0 and deviation 1 below which a share lies; shares nearer to 0 or 1 than 1e-16 are
/// taken as that. Newton's method on [`normal_share`], which is convex on either side of its middle: from the middle
/// it comes to the value from one side.
#[must_use]
pub fn normal_quantile(share: f64) -> f64 {
    // in the tail far from one, where no digits are lost
    let tail = share.min(1.0 - share).max(1e-16);
    let mut z = 0.0_f64;
    for _ in 0..60 {
        let density = exp(-0.5 * z * z) / (2.0 * std::f64::consts::PI).sqrt();
        let step = (normal_share(z) - tail) / density;
        z -= step;
        if step.abs() < 1e-14 * (1.0 + z.abs()) {
            break;
        }
    }
    if share < 0.5 { z } else { -z }
}

/// `x` to any power.
#[must_use]
pub fn pow(x: f64, exponent: f64) -> f64 {
    libm::pow(x, exponent)
}

/// `x` to a whole power, one product after the other from the left: compilers choose the order of
/// `f64::powi` anew in every build.
#[inline]
#[must_use]
pub fn power(x: f64, exponent: u32) -> f64 {
    (1..exponent).fold(if exponent == 0 { 1.0 } else { x }, |product, _| {
        product * x
    })
}
