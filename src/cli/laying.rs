//! Walking through a script the way the command asks for, with progress on a terminal.

use super::Stop;
use indicatif::{ProgressBar, ProgressStyle};
use nestline::data::{self, Source};
use nestline::mechanics::MechanicsError;
use nestline::procedure::{Laid, Lay, Motion, Passed, Plan, Rods, Ruler, State, Wish};
use nestline::rehearsal::walk_through;
use std::time::Duration;

/// Time between looks of the moving sign.
const TICK: Duration = Duration::from_millis(120);

/// Rods, and how far they are.
struct Watched {
    rods: Rods,
    bar: ProgressBar,
}

impl Lay for Watched {
    fn lay(
        &mut self,
        plan: &Plan,
        state: &State,
        wishes: &[(usize, Wish)],
        motion: Motion,
    ) -> Result<Laid, MechanicsError> {
        self.bar.inc(1);
        self.rods.lay(plan, state, wishes, motion)
    }
}

/// Walks through the script of `scene`: along the centre line, or every device as a rod.
pub(super) fn walk(scene: &str, plan: &Plan, ruler: bool) -> Result<Vec<Passed>, Stop> {
    let passed = if ruler {
        walk_through(plan, &mut Ruler)
    } else {
        // silent where nobody looks: shown on a terminal only
        let bar = ProgressBar::new_spinner().with_style(
            ProgressStyle::with_template(
                "{spinner} laying the devices as rods: move {pos}, {elapsed}",
            )
            .unwrap_or_else(|_| ProgressStyle::default_spinner()),
        );
        bar.enable_steady_tick(TICK);
        let mut watched = Watched {
            rods: Rods::default(),
            bar,
        };
        let passed = walk_through(plan, &mut watched);
        watched.bar.finish_and_clear();
        passed
    };
    passed.map_err(|fault| {
        data::not_rehearsed(&Source::from_argument(scene), &fault.to_string()).into()
    })
}
