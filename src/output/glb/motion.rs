//! Motion of joints: sampled along the film, then thinned to the keys that straight lines between them need.

use crate::geometry::{Frame, Point, Vector};
use crate::math;
use crate::stage::Stage;
use nalgebra::{Quaternion, Rotation3, UnitQuaternion};

/// Where a joint is: place in m, turn, width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pose {
    pub(super) at: [f32; 3],
    pub(super) turn: [f32; 4],
    /// Width over the width it is bound with.
    pub(super) width: f32,
}

/// Millimetres of the patient to metres of the file: x to the left stays, the head is up (y), the front is
/// towards the viewer (z).
pub(super) fn place(p: Point) -> [f32; 3] {
    single([p.x, p.z, -p.y].map(|x| 1e-3 * x))
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "single precision resolves a vessel to 1e-4 mm"
)]
pub(super) fn single(v: [f64; 3]) -> [f32; 3] {
    v.map(|x| x as f32)
}

pub(super) fn way(v: Vector) -> Vector {
    Vector::new(v.x, v.z, -v.y)
}

impl Pose {
    /// A joint whose third axis runs along `along` and whose first along `across`.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "turns and widths need no more than single precision"
    )]
    pub(super) fn new(at: Point, along: Vector, across: Vector, width: f64) -> Self {
        let frame = Frame::new(at, way(along), way(across));
        let turn = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(
            nalgebra::Matrix3::from_columns(&[frame.n1, frame.n2, frame.tangent]),
        ));
        let q = turn.into_inner().coords;
        Self {
            at: place(at),
            turn: [q.x as f32, q.y as f32, q.z as f32, q.w as f32],
            width: width.max(1e-4) as f32,
        }
    }

    fn quaternion(&self) -> UnitQuaternion<f32> {
        let [x, y, z, w] = self.turn;
        UnitQuaternion::new_normalize(Quaternion::new(w, x, y, z))
    }

    /// The shorter way round from the turn before.
    fn turned_like(mut self, before: &Self) -> Self {
        let dot: f32 = self.turn.iter().zip(before.turn).map(|(a, b)| a * b).sum();
        if dot < 0.0 {
            self.turn = self.turn.map(|x| -x);
        }
        self
    }
}

/// How far lines between keys may leave the samples.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tolerance {
    pub(super) place_m: f32,
    pub(super) turn_rad: f32,
    pub(super) width: f32,
}

/// One joint over the film.
#[derive(Debug, Clone, Default)]
pub(super) struct Motion {
    samples: Vec<(f32, Pose)>,
}

impl Motion {
    pub(super) fn is_empty(&self) -> bool {
        self.samples.is_empty()
    }

    pub(super) fn last(&self) -> Option<Pose> {
        self.samples.last().map(|s| s.1)
    }

    pub(super) fn add(&mut self, time_s: f32, pose: Pose) {
        let pose = match self.samples.last() {
            Some((_, before)) => pose.turned_like(before),
            None => pose,
        };
        let n = self.samples.len();
        // at rest the last sample only runs on
        if n >= 2 && self.samples[n - 1].1 == pose && self.samples[n - 2].1 == pose {
            self.samples[n - 1].0 = time_s;
        } else if n > 0 && self.samples[n - 1].0 >= time_s {
            self.samples[n - 1].1 = pose;
        } else {
            self.samples.push((time_s, pose));
        }
    }

    /// The keys needed (Ramer 1972, Douglas & Peucker 1973, in time).
    pub(super) fn keys(&self, within: &Tolerance) -> Vec<(f32, Pose)> {
        let n = self.samples.len();
        if n > 0 && self.samples.iter().all(|s| s.1 == self.samples[0].1) {
            return self.samples[..1].to_vec();
        }
        if n < 3 {
            return self.samples.clone();
        }
        let mut keep = vec![false; n];
        keep[0] = true;
        keep[n - 1] = true;
        let mut open = vec![(0, n - 1)];
        while let Some((a, b)) = open.pop() {
            let worst = (a + 1..b)
                .map(|i| (i, self.miss(a, b, i, within)))
                .max_by(|x, y| x.1.total_cmp(&y.1));
            if let Some((i, miss)) = worst
                && miss > 1.0
            {
                keep[i] = true;
                open.push((a, i));
                open.push((i, b));
            }
        }
        let kept = self.samples.iter().zip(&keep).filter(|(_, keep)| **keep);
        kept.map(|(sample, _)| *sample).collect()
    }

    /// By how many tolerances a sample lies beside the line between two others.
    fn miss(&self, a: usize, b: usize, i: usize, within: &Tolerance) -> f32 {
        let ((ta, pa), (tb, pb), (t, p)) = (self.samples[a], self.samples[b], self.samples[i]);
        let share = if tb > ta { (t - ta) / (tb - ta) } else { 0.0 };
        let mut off = 0.0;
        for c in 0..3 {
            let aside = pa.at[c] + (pb.at[c] - pa.at[c]) * share - p.at[c];
            off += aside * aside;
        }
        let width = (pa.width + (pb.width - pa.width) * share - p.width).abs();
        let turn = pa
            .quaternion()
            .try_slerp(&pb.quaternion(), share, 1e-6)
            .map_or(0.0, |line| line.angle_to(&p.quaternion()));
        (off.sqrt() / within.place_m)
            .max(width / within.width)
            .max(turn / within.turn_rad)
    }
}

/// Steps of the film with the shares of their motion at which it is looked at, and the time of each, s.
pub(super) fn looks(stage: &Stage, travel_mm: f64) -> Vec<(usize, f64, f64)> {
    /// Looks at something that opens or closes.
    const EVENT: f64 = 24.0;
    let mut found = Vec::new();
    for (step, span) in stage.timeline.steps.iter().enumerate() {
        let length_s = span.moved_s - span.start_s;
        if length_s > 0.0 {
            let (from, to) = (stage.at_step(step, 0.0), stage.at_step(step, 1.0));
            let tip = |moment: &crate::stage::Moment, k: usize| {
                moment
                    .device(k)
                    .map_or(stage.plan().hub_station_mm(), |d| d.tip_mm)
            };
            let longest_mm = (0..stage.devices.len())
                .map(|k| (tip(&from, k) - tip(&to, k)).abs())
                .fold(0.0, f64::max);
            let cells = (longest_mm / travel_mm).ceil().max(EVENT);
            let mut i = 0.0;
            while i < cells {
                let share: f64 = i / cells;
                // when the eased motion has come that far
                let part = 0.5 - math::sin(math::asin(1.0 - 2.0 * share) / 3.0);
                found.push((step, share, span.start_s + part * length_s));
                i += 1.0;
            }
        }
        found.push((step, 1.0, span.moved_s));
        if span.end_s > span.moved_s {
            found.push((step, 1.0, span.end_s));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const WITHIN: Tolerance = Tolerance {
        place_m: 1e-4,
        turn_rad: 0.1,
        width: 0.02,
    };

    fn pose(x: f64) -> Pose {
        Pose::new(Point::new(1e3 * x, 0.0, 0.0), Vector::z(), Vector::x(), 1.0)
    }

    #[test]
    fn exact_keys_of_a_kinked_line() {
        let mut motion = Motion::default();
        for i in 0..=20_u8 {
            let t = f64::from(i);
            motion.add(f32::from(i), pose(if t < 10.0 { t } else { 20.0 - t }));
        }
        let keys = motion.keys(&WITHIN);
        let times: Vec<f32> = keys.iter().map(|k| k.0).collect();
        assert_eq!(times, vec![0.0, 10.0, 20.0], "both ends and the kink");
    }

    #[test]
    fn exact_what_rests_is_one_key() {
        let mut motion = Motion::default();
        for i in 0..9_u8 {
            motion.add(f32::from(i), pose(0.5));
        }
        assert_eq!(motion.keys(&WITHIN).len(), 1, "a single key");
    }

    #[test]
    fn exact_axes() {
        // the head up, the front towards the viewer
        for (found, axis) in place(Point::new(1e3, 2e3, 3e3))
            .iter()
            .zip([1.0, 3.0, -2.0])
        {
            assert!(
                (found - axis).abs() < 1e-6,
                "{found} along an axis, not {axis}"
            );
        }
        let pose = Pose::new(Point::origin(), Vector::z(), Vector::x(), 1.0);
        let turned = pose.quaternion() * nalgebra::Vector3::<f32>::z();
        assert!(
            (turned.y - 1.0).abs() < 1e-6,
            "the third axis runs along the tube: {turned}"
        );
    }
}
