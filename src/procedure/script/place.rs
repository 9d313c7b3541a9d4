//! Places on the route: stations, landmarks, and ends of devices such as `guide.tip` and `stent.distal`.

use super::plan::Plan;
use super::scene::Region;
use crate::device::Payload;
use serde::{Deserialize, Serialize};

/// A place on the route.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Spot {
    /// Station, mm from the access.
    pub station_mm: f64,
    /// The same in words: the nearest landmark and how far past or short of it.
    pub at: String,
}

/// An end of a device that a script may name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DeviceEnd {
    /// Its far end, wherever it lies.
    Tip,
    /// The near end of its stent once released, or of its retriever once open.
    Proximal,
    /// The far end of the same.
    Distal,
}

impl DeviceEnd {
    const ALL: [Self; 3] = [Self::Tip, Self::Proximal, Self::Distal];

    /// The name behind the dot.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Tip => "tip",
            Self::Proximal => "proximal",
            Self::Distal => "distal",
        }
    }

    /// The place of a script that this end of a device of the stack is: `guide.tip`.
    #[must_use]
    pub fn of(self, device: &str) -> String {
        format!("{device}.{}", self.name())
    }
}

/// What the name of a place stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// A landmark of the route: its station, mm.
    Landmark(f64),
    /// An end of a device of the stack, by the device's index; it lies wherever the device is.
    End(usize, DeviceEnd),
}

impl Plan {
    /// The ends a device of the stack has.
    pub fn ends_of(&self, device: usize) -> impl Iterator<Item = DeviceEnd> + '_ {
        let acts = matches!(
            self.devices[device].device.payload,
            Some(Payload::Stent(_) | Payload::Retriever(_))
        );
        let ends = DeviceEnd::ALL.into_iter();
        ends.filter(move |end| acts || *end == DeviceEnd::Tip)
    }

    /// What the name of a place stands for, landmarks before ends of devices; none for a name that nothing
    /// bears.
    #[must_use]
    pub fn place(&self, name: &str) -> Option<Place> {
        let landmark = self.track.landmark(name).ok().map(Place::Landmark);
        landmark.or_else(|| {
            let (device, end) = self.device_end(name)?;
            Some(Place::End(device, end))
        })
    }

    /// The device and its end that a place of the script stands for; none for a landmark, and for a name
    /// that nothing bears.
    #[must_use]
    pub fn device_end(&self, place: &str) -> Option<(usize, DeviceEnd)> {
        let (owner, end) = place.rsplit_once('.')?;
        let device = self.device_index(owner)?;
        let end = self.ends_of(device).find(|e| e.name() == end)?;
        Some((device, end))
    }

    /// The region of the route a station lies in.
    ///
    /// Head begins at the landmark `skull-base`, neck at the origin of the carotid; a route
    /// without them is all access.
    #[must_use]
    pub fn region_of(&self, s_mm: f64) -> Region {
        let from = |name: &str| self.track.landmark(name).is_ok_and(|at| s_mm >= at);
        if from("skull-base") {
            Region::Head
        } else if from("common-carotid-origin") {
            Region::Neck
        } else {
            Region::Access
        }
    }

    /// A station in words: the nearest landmark and how far past or short of it.
    #[must_use]
    pub fn place_in_words(&self, s_mm: f64) -> String {
        let nearest = self
            .track
            .landmarks
            .iter()
            .min_by(|a, b| (a.s_mm - s_mm).abs().total_cmp(&(b.s_mm - s_mm).abs()));
        let Some(mark) = nearest else {
            return format!("{s_mm:.0} mm from the access");
        };
        let off_mm = s_mm - mark.s_mm;
        if s_mm < 0.0 {
            format!("{:.0} mm outside the access", -s_mm)
        } else if off_mm.abs() < 0.5 {
            format!("at the {}", spoken(&mark.name))
        } else if off_mm > 0.0 {
            format!("{off_mm:.0} mm past the {}", spoken(&mark.name))
        } else {
            format!("{:.0} mm short of the {}", -off_mm, spoken(&mark.name))
        }
    }

    /// A station as a place that can be told.
    #[must_use]
    pub fn spot(&self, station_mm: f64) -> Spot {
        Spot {
            station_mm,
            at: self.place_in_words(station_mm),
        }
    }
}

/// The name of a landmark, a lesion or a clot as it is spoken: scripts join its words by hyphens.
///
/// # Example
/// ```
/// assert_eq!(nestline::procedure::spoken("m1-end"), "M1 end");
/// ```
#[must_use]
pub fn spoken(name: &str) -> String {
    if name == "common-carotid-origin" {
        return "CCA origin".to_owned();
    }
    let words = name.split('-').map(|word| match word {
        "ica" => "ICA",
        "m1" => "M1",
        "m2" => "M2",
        word => word,
    });
    words.collect::<Vec<_>>().join(" ")
}
