//! Walking through a script the way the command asks for, with progress on a terminal.

use super::Stop;
use indicatif::{ProgressBar, ProgressStyle};
use nestline::data::{self, Source};
use nestline::mechanics::MechanicsError;
use nestline::procedure::{
    CentreLine, DepthTarget, Motion, Passed, Placer, Plan, Rods, StackPlacement, State,
};
use nestline::rehearsal::{follow_ranges, walk_through};
use std::ffi::OsStr;
use std::time::Duration;

/// Time between looks of the moving sign.
const TICK: Duration = Duration::from_millis(120);

/// Rods, and how far they are.
struct Watched {
    rods: Rods,
    bar: ProgressBar,
}

impl Placer for Watched {
    fn place(
        &mut self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        motion: Motion,
    ) -> Result<StackPlacement, MechanicsError> {
        self.bar.inc(1);
        self.rods.place(plan, state, targets, motion)
    }

    fn place_by_share(
        &mut self,
        plan: &Plan,
        state: &State,
        targets: &[(usize, DepthTarget)],
        motion: Motion,
        share: f64,
    ) -> Result<StackPlacement, MechanicsError> {
        self.bar.inc(1);
        (self.rods).place_by_share(plan, state, targets, motion, share)
    }
}

/// Does some work with a moving sign on a terminal; silent where nobody looks.
pub(super) fn watched<T>(words: &str, work: impl FnOnce() -> T) -> T {
    let bar = sign(&format!("{{spinner}} {words}, {{elapsed}}"));
    let done = work();
    bar.finish_and_clear();
    done
}

fn sign(template: &str) -> ProgressBar {
    let style =
        ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_spinner());
    let bar = ProgressBar::new_spinner().with_style(style);
    bar.enable_steady_tick(TICK);
    bar
}

/// Walks through the script of `scene`: along the centre line, or every device as a rod.
pub(super) fn walk(scene: &OsStr, plan: &Plan, ruler: bool) -> Result<Vec<Passed>, Stop> {
    let passed = if ruler {
        walk_through(plan, &mut CentreLine)
    } else {
        // silent where nobody looks: shown on a terminal only
        let mut watched = Watched {
            rods: Rods::default(),
            bar: sign("{spinner} laying the devices as rods: move {pos}, {elapsed}"),
        };
        let passed = walk_through(plan, &mut watched);
        watched.bar.finish_and_clear();
        passed
    };
    passed.map_err(|fault| {
        data::not_rehearsed(&Source::from_argument(scene), &fault.to_string()).into()
    })
}

/// The same, with the forces of rods at the least and the most known of friction and stiffness where `ranges` are asked for.
pub(super) fn walk_with_ranges(
    scene: &OsStr,
    plan: &Plan,
    ruler: bool,
    ranges: bool,
) -> Result<Vec<Passed>, Stop> {
    let mut passed = walk(scene, plan, ruler)?;
    if ranges && !ruler {
        let words = "following the script at both ends of friction and stiffness";
        watched(words, || follow_ranges(plan, &mut passed));
    }
    Ok(passed)
}
