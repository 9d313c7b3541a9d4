//! Elastic rods that slide in one another in a tube: tubes and trees of vessels, devices and what fits, equilibria and
//! the forces it takes to push and pull.
//!
//! A crate of its own, so that what is computed most is compiled once and alone, and so that it *cannot* know a file or a
//! screen. `nestline` shows all of its modules as its own, with a tour at the top; begin there.
//!
//! ```text
//! { units, math, threads } ← geometry ← device ← mechanics
//! ```

pub mod device;
pub mod geometry;
pub mod math;
pub mod mechanics;
pub mod threads;
pub mod units;
