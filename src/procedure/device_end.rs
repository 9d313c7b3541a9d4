//! Ends of devices as places of a script: `guide.tip`, `stent.distal`.

use super::Plan;
use crate::device::Payload;

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

    /// The device and its end that a place of the script stands for; none for a landmark, and for a name
    /// that nothing bears.
    #[must_use]
    pub fn device_end(&self, place: &str) -> Option<(usize, DeviceEnd)> {
        let (owner, end) = place.rsplit_once('.')?;
        let device = self.device_index(owner)?;
        let end = self.ends_of(device).find(|e| e.name() == end)?;
        Some((device, end))
    }
}
