//! The procedure: a device stack, a script of steps, and what each step needs.

mod scene;

pub use scene::{Action, Plane, Region, Rules, Scene, StackEntry, Step, Where};
