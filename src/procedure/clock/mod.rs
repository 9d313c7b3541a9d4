//! The script in time: how long its activities take, which of them wait for each other, and when milestones come.

mod chances;
mod footprint;
mod network;
mod search;
mod table;
mod times;
mod timetable;
mod work;

pub use chances::Disturbed;
pub use network::{Activity, CriticalPath, Need, Network, Resource, Schedule, Slack};
pub use search::{SearchStatus, Shortest};
pub use table::{
    Chance, Chances, Difficulty, Durations, Handling, Known, Sourced, Speeds, Team, Work,
};
pub use times::{Percentiles, Sampling, SpreadOfTimes, Times};
pub use timetable::{Clock, ClockActivity};
pub use work::{Lane, Load, Parts};
