//! Stretches of the route that a picture shows, and the picture that shows them.

use super::{Angles, View};
use crate::geometry::{Point, Track};
use crate::procedure::nearest;
use kiss3d::glamx::Vec3;

/// Around what is looked at, as a share of its size: nothing touches the frame.
const MARGIN: f32 = 0.12;
/// Points per stretch that decide how large it is in a picture.
const SAMPLES: u32 = 60;
/// Shown on either side of a tip, mm: what it lacks, and the next landmark.
const BESIDE_TIP_MM: f64 = 32.0;
/// Smallest height of a picture, mm: nearer, a catheter fills it.
const LEAST_HEIGHT_MM: f32 = 16.0;

/// What a picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// All of it, from the access to the target.
    Route,
    /// The aortic arch and the way into the carotid.
    Arch,
    /// The carotid in the neck.
    Neck,
    /// A stent's edge.
    Edge,
    /// Where a tip ends.
    Tip,
    /// From the skull base to the target.
    Head,
}

impl Place {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Route,
        Self::Arch,
        Self::Neck,
        Self::Edge,
        Self::Tip,
        Self::Head,
    ];

    /// The name it is asked for by.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Route => "route",
            Self::Arch => "arch",
            Self::Neck => "neck",
            Self::Edge => "edge",
            Self::Tip => "tip",
            Self::Head => "head",
        }
    }

    /// The place of that name.
    ///
    /// # Errors
    /// Says what is meant, or all there are.
    pub fn named(name: &str) -> Result<Self, String> {
        let names = || Self::ALL.iter().map(|p| p.name());
        Self::ALL
            .into_iter()
            .find(|p| p.name() == name)
            .ok_or_else(|| {
                let meant = nearest(name, names()).map(|n| format!(": did you mean `{n}`?"));
                let all: Vec<&str> = names().collect();
                format!(
                    "no shot is named `{name}`; there are {}{}",
                    all.join(", "),
                    meant.unwrap_or_default()
                )
            })
    }

    /// In words.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::Route => "whole route",
            Self::Arch => "aortic arch",
            Self::Neck => "neck",
            Self::Edge => "stent edge",
            Self::Tip => "where the tip ends",
            Self::Head => "head",
        }
    }
}

/// Where on the route the places lie, mm along it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Places {
    /// End of the route.
    pub end_mm: f64,
    /// Where the route leaves the arch.
    pub origin_mm: f64,
    /// The arch, from the descending aorta into the common carotid.
    pub arch_mm: (f64, f64),
    /// The neck, from below the bifurcation to the skull base.
    pub neck_mm: (f64, f64),
    /// The head, from the skull base on.
    pub head_mm: (f64, f64),
}

impl Places {
    /// From the landmarks of a route; where one is missing, its lesions and thirds of its length
    /// stand in.
    #[must_use]
    pub fn of(track: &Track) -> Self {
        let end_mm = track.stations.last().map_or(0.0, |s| s.s_mm);
        let landmark = |name: &str| {
            let found = track.landmarks.iter().find(|l| l.name == name);
            found.map(|l| l.s_mm)
        };
        let clot_mm = track.clots.first().map(|c| c.start_mm);
        let lesion_mm = track.lesions.first().map(|l| (l.start_mm, l.end_mm));
        let bifurcation_mm = landmark("carotid-bifurcation")
            .or(lesion_mm.map(|l| l.0))
            .unwrap_or(0.6 * end_mm);
        let skull_mm = landmark("skull-base")
            .or(clot_mm.map(|c| c - 40.0))
            .or(lesion_mm.map(|l| l.1 + 40.0))
            .unwrap_or(0.8 * end_mm)
            .clamp(bifurcation_mm, end_mm);
        let origin_mm = landmark("common-carotid-origin")
            .or(landmark("innominate-origin"))
            .or(landmark("arch-top"))
            .unwrap_or(0.5 * bifurcation_mm);
        let before = |s_mm: f64, by_mm: f64| (s_mm - by_mm).max(0.0);
        Self {
            end_mm,
            origin_mm,
            arch_mm: (before(origin_mm, 130.0), before(bifurcation_mm, 20.0)),
            neck_mm: (before(bifurcation_mm, 55.0), skull_mm),
            head_mm: (before(skull_mm, 15.0), end_mm),
        }
    }

    /// The stretch of a place; `at_mm` is the station of the edge or tip that is looked at.
    #[must_use]
    pub fn stretch_mm(&self, place: Place, at_mm: Option<f64>) -> (f64, f64) {
        /// On either side of an edge, mm: two stent diameters.
        const BESIDE_EDGE_MM: f64 = 16.0;
        let beside = |by_mm: f64| {
            at_mm.map_or(self.neck_mm, |at| {
                ((at - by_mm).max(0.0), (at + by_mm).min(self.end_mm))
            })
        };
        match place {
            Place::Route => (0.0, self.end_mm),
            Place::Arch => self.arch_mm,
            Place::Neck => self.neck_mm,
            Place::Head => self.head_mm,
            Place::Edge => beside(BESIDE_EDGE_MM),
            Place::Tip => beside(BESIDE_TIP_MM),
        }
    }

    /// The closest place that shows both of two stations, and, where it is one of its own, its middle.
    #[must_use]
    pub fn showing_both(&self, a_mm: f64, b_mm: f64) -> (Place, Option<f64>) {
        let (from_mm, to_mm) = (a_mm.min(b_mm), a_mm.max(b_mm));
        if to_mm - from_mm < BESIDE_TIP_MM {
            return (Place::Tip, Some(f64::midpoint(a_mm, b_mm)));
        }
        let shows = |place: &Place| {
            let (first, last) = self.stretch_mm(*place, None);
            first <= from_mm && to_mm <= last
        };
        let closest = [Place::Head, Place::Neck, Place::Arch]
            .into_iter()
            .find(shows);
        (closest.unwrap_or(Place::Route), None)
    }

    /// The closest place that shows a station.
    #[must_use]
    pub fn showing(&self, s_mm: f64) -> Place {
        match s_mm {
            s if s >= self.head_mm.0 + 15.0 => Place::Head,
            s if s > self.arch_mm.1 => Place::Neck,
            s if s >= self.arch_mm.0 => Place::Arch,
            _ => Place::Route,
        }
    }
}

/// A point of the model as the drawing library takes it.
#[expect(
    clippy::cast_possible_truncation,
    reason = "single precision resolves a vessel to 1e-4 mm"
)]
pub fn vec3(point: &Point) -> Vec3 {
    Vec3::new(point.x as f32, point.y as f32, point.z as f32)
}

/// A view from these angles that shows a stretch of the route whole in a picture `aspect` times as
/// wide as high.
#[must_use]
pub fn framed(track: &Track, (from_mm, to_mm): (f64, f64), from: Angles, aspect: f32) -> View {
    let mut view = View {
        at_mm: Vec3::ZERO,
        from,
        height_mm: 1.0,
        parallel: true,
    };
    let (right, up) = view.axes();
    let inward = -from.outward();
    let mut low = Vec3::splat(f32::INFINITY);
    let mut high = Vec3::splat(f32::NEG_INFINITY);
    for k in 0..=SAMPLES {
        let s_mm = from_mm + (to_mm - from_mm) * f64::from(k) / f64::from(SAMPLES);
        let point = vec3(&track.curve.frame_at(s_mm).origin_mm);
        let seen = Vec3::new(point.dot(right), point.dot(up), point.dot(inward));
        low = low.min(seen);
        high = high.max(seen);
    }
    let middle = 0.5 * (low + high);
    view.at_mm = right * middle.x + up * middle.y + inward * middle.z;
    let size = high - low;
    // vessels lie around the centre line, which alone is measured here
    let around_mm = 8.0;
    let tall = (size.y + around_mm).max((size.x + around_mm) / aspect);
    view.height_mm = (tall * (1.0 + 2.0 * MARGIN)).max(LEAST_HEIGHT_MM);
    view
}
