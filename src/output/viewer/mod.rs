//! The window: the stage in three dimensions, its clock, its numbers, and a device in hand.

mod desk;
mod hand;
mod keys;
mod panels;
mod play;
mod side;
mod views;
mod window;

pub use desk::Desk;
pub use hand::Hand;
pub use keys::{KEYS, Wish, wish_of};
pub use play::Play;
pub use window::open;
