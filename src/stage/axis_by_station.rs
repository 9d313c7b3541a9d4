//! How a device lies: offsets from the centre line by station, and how one such axis turns into the next.

use super::timeline::ease;
use crate::math;
use crate::mechanics::RodState;

/// Length over which the end of a shape fades where the device has not been in the other shape, mm: longer
/// than the bends by which a tip leaves its shaft's course, shorter than those of the vessel.
const FADE_MM: f64 = 15.0;

/// A device's axis by station, and how much of the device lies between the access and each station.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct AxisByStation {
    /// Stations, rising.
    station_mm: Vec<f64>,
    offset_mm: Vec<[f64; 2]>,
    path_mm: Vec<f64>,
    /// By station: how far the rods press it into the wall.
    indentation_mm: Vec<f64>,
}

fn mix(a: f64, b: f64, share: f64) -> f64 {
    a + (b - a) * share
}

impl AxisByStation {
    /// On the centre line.
    pub(super) fn centred() -> Self {
        Self {
            station_mm: vec![0.0],
            offset_mm: vec![[0.0; 2]],
            path_mm: vec![0.0],
            indentation_mm: vec![0.0],
        }
    }

    /// As a rod lies. `room_mm` gives the room of its axis at a station and a distance from its tip.
    pub(super) fn of_rod(rod: &RodState, room_mm: impl Fn(f64, f64) -> f64) -> Self {
        let path_mm = rod
            .from_tip_mm
            .iter()
            .map(|from_tip_mm| rod.path_length_mm - from_tip_mm)
            .collect();
        let indentation_mm = rod
            .station_mm
            .iter()
            .zip(&rod.offset_mm)
            .zip(&rod.from_tip_mm)
            .map(|((s, [u, v]), from_tip)| {
                (math::hypot(*u, *v) - room_mm(*s, *from_tip).max(0.0)).max(0.0)
            })
            .collect();
        Self {
            station_mm: rod.station_mm.clone(),
            offset_mm: rod.offset_mm.clone(),
            path_mm,
            indentation_mm,
        }
    }

    /// Cell and share of it; clamped to the stretch that is known.
    fn locate(&self, s_mm: f64) -> (usize, usize, f64) {
        let after = self.station_mm.partition_point(|s| *s <= s_mm);
        let last = self.station_mm.len() - 1;
        if after == 0 {
            return (0, 0, 0.0);
        }
        if after > last {
            return (last, last, 0.0);
        }
        let (a, b) = (self.station_mm[after - 1], self.station_mm[after]);
        (after - 1, after, (s_mm - a) / (b - a))
    }

    fn offset(&self, s_mm: f64) -> [f64; 2] {
        let (a, b, share) = self.locate(s_mm);
        [0, 1].map(|i| mix(self.offset_mm[a][i], self.offset_mm[b][i], share))
    }

    fn indentation(&self, s_mm: f64) -> f64 {
        let (a, b, share) = self.locate(s_mm);
        mix(self.indentation_mm[a], self.indentation_mm[b], share)
    }

    /// Length of the device between the access and a station; beyond what is known, as long as the
    /// centre line.
    fn path(&self, s_mm: f64) -> f64 {
        let (a, b, share) = self.locate(s_mm);
        let beyond_mm = (s_mm - self.last_mm()).max(0.0) + s_mm.min(0.0);
        mix(self.path_mm[a], self.path_mm[b], share) + beyond_mm
    }

    fn last_mm(&self) -> f64 {
        self.station_mm.last().copied().unwrap_or(0.0)
    }

    /// How much this shape counts at a station it may not reach.
    fn reach(&self, s_mm: f64) -> f64 {
        if self.station_mm.len() < 2 {
            return 1.0;
        }
        1.0 - ease(((s_mm - self.last_mm()) / FADE_MM).clamp(0.0, 1.0))
    }
}

/// A device on its way from one axis to the next. Where both have it, offsets are blended, so that it stays
/// in the lumen: a disc is convex. Where only one has it, it takes that one's.
#[derive(Debug, Clone, Copy)]
pub(super) struct Between<'a> {
    pub(super) before: Option<&'a AxisByStation>,
    pub(super) after: Option<&'a AxisByStation>,
    pub(super) share: f64,
}

impl Between<'_> {
    /// Weights of both at a station.
    fn weights(&self, s_mm: f64) -> (f64, f64) {
        match (self.before, self.after) {
            (Some(before), Some(after)) => {
                let a = (1.0 - self.share) * before.reach(s_mm);
                let b = self.share * after.reach(s_mm);
                if a + b > 1e-9 {
                    (a / (a + b), b / (a + b))
                } else {
                    (1.0 - self.share, self.share)
                }
            }
            (Some(_), None) => (1.0, 0.0),
            (None, _) => (0.0, 1.0),
        }
    }

    fn blend(&self, s_mm: f64, value: impl Fn(&AxisByStation) -> f64) -> f64 {
        let (a, b) = self.weights(s_mm);
        a * self.before.map_or(0.0, &value) + b * self.after.map_or(0.0, &value)
    }

    pub(super) fn offset(&self, s_mm: f64) -> [f64; 2] {
        let (a, b) = self.weights(s_mm);
        let of = |axis: Option<&AxisByStation>| axis.map_or([0.0; 2], |l| l.offset(s_mm));
        let (before, after) = (of(self.before), of(self.after));
        [0, 1].map(|i| a * before[i] + b * after[i])
    }

    pub(super) fn indentation(&self, s_mm: f64) -> f64 {
        self.blend(s_mm, |l| l.indentation(s_mm))
    }

    /// Length between the access and a station.
    pub(super) fn path(&self, s_mm: f64) -> f64 {
        match (self.before, self.after) {
            (Some(a), Some(b)) => mix(a.path(s_mm), b.path(s_mm), self.share),
            (Some(one), None) | (None, Some(one)) => one.path(s_mm),
            (None, None) => s_mm,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis(stations: usize, u: f64) -> AxisByStation {
        let station_mm: Vec<f64> = (0..=stations)
            .map(|i| f64::from(u32::try_from(i).unwrap()))
            .collect();
        AxisByStation {
            offset_mm: vec![[u, 0.0]; stations + 1],
            path_mm: station_mm.iter().map(|s| 0.9 * s).collect(),
            indentation_mm: vec![0.0; stations + 1],
            station_mm,
        }
    }

    #[test]
    fn exact_blend_where_both_reach() {
        let (a, b) = (axis(100, 1.0), axis(200, -1.0));
        let way = |share| Between {
            before: Some(&a),
            after: Some(&b),
            share,
        };
        assert!(
            (way(0.25).offset(50.0)[0] - 0.5).abs() < 1e-12,
            "a quarter of the way"
        );
        assert!(
            (way(0.25).offset(150.0)[0] + 1.0).abs() < 1e-12,
            "newly reached"
        );
        assert!(
            (way(0.0).offset(100.0)[0] - 1.0).abs() < 1e-12,
            "at the start"
        );
        assert!(
            (way(1.0).offset(100.0)[0] + 1.0).abs() < 1e-12,
            "at the end"
        );
        assert!((way(0.5).path(50.0) - 45.0).abs() < 1e-12, "its own length");
    }

    #[test]
    fn property_no_jump_along_the_device() {
        let (a, b) = (axis(100, 1.0), axis(200, -1.0));
        for share in [0.0, 0.1, 0.5, 0.9] {
            let way = Between {
                before: Some(&a),
                after: Some(&b),
                share,
            };
            for i in 0..1000 {
                let s = 90.0 + 0.05 * f64::from(i);
                let step = (way.offset(s + 0.05)[0] - way.offset(s)[0]).abs();
                assert!(step < 0.05, "share {share}, station {s}: {step}");
            }
        }
    }
}
