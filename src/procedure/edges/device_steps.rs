//! Where along a device its thickness changes so fast that an edge can hold it.

use crate::device::Device;

/// Length over which a diameter must change to be a step and not a taper that rides over, mm (assumed:
/// about the spacing of a stent's crowns, so that a longer cone meets the next crown before it has passed
/// this one).
const STEP_LENGTH_MM: f64 = 2.5;
/// Height below which nobody measures a step on a catheter, mm of radius.
pub(in crate::procedure) const LEAST_STEP_MM: f64 = 0.005;

/// A step behind a device's tip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeviceStep {
    /// Its thick side, mm from the tip.
    pub from_tip_mm: f64,
    /// Radius of the thick side, mm.
    pub outer_radius_mm: f64,
    /// Radius of the thin side, mm.
    pub inner_radius_mm: f64,
    /// Whether the thin side lies towards the tip: what goes forward meets with it, else what comes
    /// back.
    pub faces_forward: bool,
}

impl DeviceStep {
    /// Height, mm.
    #[must_use]
    pub fn height_mm(&self) -> f64 {
        self.outer_radius_mm - self.inner_radius_mm
    }
}

/// Every step behind a device's tip, from the tip on: neighbouring changes in one direction within
/// `STEP_LENGTH_MM` are one step. The tip itself is none of them.
#[must_use]
pub fn device_steps(device: &Device) -> Vec<DeviceStep> {
    let mut steps = Vec::new();
    let mut run: Option<[(f64, f64); 2]> = None;
    let mut close = |run: &mut Option<[(f64, f64); 2]>| {
        if let Some([thin_or_thick, end]) = run.take() {
            steps.extend(step_between(thin_or_thick, end));
        }
    };
    for pair in device.profile.windows(2) {
        let [from, to] = [0, 1].map(|i| (pair[i].from_tip_mm, 0.5 * pair[i].outer_mm));
        let change = to.1 - from.1;
        if change == 0.0 || to.0 - from.0 > STEP_LENGTH_MM {
            close(&mut run);
            continue;
        }
        let same = |[start, end]: &[(f64, f64); 2]| {
            (end.1 - start.1) * change > 0.0 && to.0 - start.0 <= STEP_LENGTH_MM
        };
        match &mut run {
            Some(known) if same(known) => known[1] = to,
            _ => {
                close(&mut run);
                run = Some([from, to]);
            }
        }
    }
    close(&mut run);
    steps
}

fn step_between(front: (f64, f64), rear: (f64, f64)) -> Option<DeviceStep> {
    let faces_forward = rear.1 > front.1;
    let (thick, thin) = if faces_forward {
        (rear, front)
    } else {
        (front, rear)
    };
    (thick.1 - thin.1 >= LEAST_STEP_MM).then_some(DeviceStep {
        from_tip_mm: thick.0,
        outer_radius_mm: thick.1,
        inner_radius_mm: thin.1,
        faces_forward,
    })
}
