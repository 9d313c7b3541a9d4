//! A device in hand: its fed length changes, the rods follow roughly beside the window's loop and settle when
//! the hand rests.

use crate::procedure::{Plan, Shape, State};
use crate::stage::{FollowingRods, Moment, PictureRods, Section, Stage};
use std::fmt::Display;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

/// A hand that asks for nothing this long rests.
const REST: Duration = Duration::from_millis(150);

/// What came of settling.
struct Settled {
    state: State,
    shape: Result<Option<Arc<Shape>>, String>,
    took_ms: f64,
    /// The hand moves on: this is a rough shape.
    rough: bool,
}

/// Settles rods on a thread of its own, always the state that was asked for last: roughly at once, for the
/// picture when nothing further is asked for.
struct Settler {
    wishes: Sender<State>,
    results: Receiver<Settled>,
}

impl Settler {
    /// None where the machine gives no further thread.
    fn start(plan: &Plan) -> Option<Self> {
        let (wishes, asked) = channel::<State>();
        let (told, results) = channel();
        let plan = plan.clone();
        let work = move || {
            let mut following = FollowingRods::new(&plan);
            let mut fine = PictureRods::default();
            let mut next = asked.recv().ok();
            while let Some(state) = next.take() {
                // what was overtaken by a later wish is not settled any more
                let state = asked.try_iter().last().unwrap_or(state);
                let rough = timed(&state, true, |s| following.settle(s));
                if told.send(rough).is_err() {
                    return;
                }
                next = match asked.recv_timeout(REST) {
                    Ok(later) => Some(later),
                    Err(RecvTimeoutError::Disconnected) => None,
                    Err(RecvTimeoutError::Timeout) => {
                        let settled = timed(&state, false, |s| fine.settle(&plan, s));
                        if told.send(settled).is_err() {
                            return;
                        }
                        asked.recv().ok()
                    }
                };
            }
        };
        std::thread::Builder::new()
            .name("settling".to_owned())
            .spawn(work)
            .ok()?;
        Some(Self { wishes, results })
    }
}

#[expect(
    clippy::disallowed_methods,
    reason = "the window tells how long settling took; nothing depends on it"
)]
fn timed<E: Display>(
    state: &State,
    rough: bool,
    settle: impl FnOnce(&State) -> Result<Option<Arc<Shape>>, E>,
) -> Settled {
    let start = Instant::now();
    let shape = settle(state).map_err(|e| e.to_string());
    Settled {
        state: state.clone(),
        shape,
        took_ms: start.elapsed().as_secs_f64() * 1e3,
        rough,
    }
}

/// What a device was dragged to.
struct Dragged {
    step: usize,
    state: State,
    /// The last shape that settled.
    shape: Option<Arc<Shape>>,
    moment: Moment,
}

/// What is in hand and what came of it.
#[derive(Default)]
pub struct Hand {
    /// The device.
    pub device: Option<usize>,
    dragged: Option<Dragged>,
    settler: Option<Settler>,
    /// Rods are being settled.
    pub settling: bool,
    /// Time they took, ms.
    pub settled_ms: Option<f64>,
    /// Time they took to follow the last move roughly, ms.
    pub followed_ms: Option<f64>,
    /// Why they did not settle.
    pub unsettled: Option<String>,
}

impl std::fmt::Debug for Hand {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Hand")
            .field("device", &self.device)
            .field("dragged", &self.dragged.is_some())
            .finish()
    }
}

impl Hand {
    /// What is to be drawn instead of the film.
    #[must_use]
    pub fn moment(&self) -> Option<&Moment> {
        self.dragged.as_ref().map(|d| &d.moment)
    }

    /// The cross section at a station, mm, of what the hand holds.
    #[must_use]
    pub fn section(&self, stage: &Stage, station_mm: f64) -> Option<Section> {
        let held = self.dragged.as_ref()?;
        Some(stage.posed_section(held.step, &held.state, held.shape.as_ref(), station_mm))
    }

    /// Back to the film.
    pub fn let_go(&mut self) {
        self.dragged = None;
        self.settling = false;
        self.settled_ms = None;
        self.followed_ms = None;
        self.unsettled = None;
    }

    /// Moves the device in hand by so much, mm, as far as the route and its own length go. It is drawn
    /// there at once; the rods follow when they have settled.
    pub fn pull(&mut self, stage: &Stage, moment: &Moment, by_mm: f64) {
        let Some(device) = self.device else { return };
        let plan = stage.plan();
        let (step, mut state, shape) = match self.dragged.take() {
            Some(dragged) => (dragged.step, dragged.state, dragged.shape),
            None => (moment.step, moment.state.clone(), None),
        };
        let Some(place) = state.in_place.get(device).copied().flatten() else {
            return;
        };
        let end_mm = plan.track.length_mm();
        // no further in than its hub lets it, no further out than the access
        let spare_mm = state
            .outside_mm(plan, device)
            .unwrap_or(f64::INFINITY)
            .max(0.0);
        let by_mm = by_mm
            .min(spare_mm)
            .min(end_mm - place.tip_mm)
            .max(1.0 - place.tip_mm);
        if let Some(place) = &mut state.in_place[device] {
            place.tip_mm += by_mm;
            place.fed_mm += by_mm;
        }
        if self.settler.is_none() {
            self.settler = Settler::start(plan);
        }
        if let Some(settler) = &self.settler {
            self.settling = settler.wishes.send(state.clone()).is_ok();
        }
        let moment = stage.posed(step, &state, shape.as_ref());
        self.dragged = Some(Dragged {
            step,
            state,
            shape,
            moment,
        });
    }

    /// Takes over what has settled meanwhile; true where the picture changed.
    pub fn take_over(&mut self, stage: &Stage) -> bool {
        let Some(settler) = &self.settler else {
            return false;
        };
        let mut changed = false;
        for settled in settler.results.try_iter() {
            let Some(dragged) = &mut self.dragged else {
                continue;
            };
            if settled.rough {
                self.followed_ms = Some(settled.took_ms);
            } else {
                self.settled_ms = Some(settled.took_ms);
                self.settling = settled.state != dragged.state;
            }
            match settled.shape {
                Ok(shape) => {
                    self.unsettled = None;
                    dragged.shape = shape;
                    changed = true;
                }
                // a rough shape that does not come is not missed
                Err(_) if settled.rough => {}
                Err(reason) => self.unsettled = Some(reason),
            }
        }
        if let Some(dragged) = self.dragged.as_mut().filter(|_| changed) {
            dragged.moment = stage.posed(dragged.step, &dragged.state, dragged.shape.as_ref());
        }
        changed
    }
}
