//! What film and window share: the adapter, cameras, panes that draw a scene, and the flat parts.

mod adapter;
mod camera;
mod close_up;
mod drawing;
mod error;
mod scheme;
mod meant;
mod overlay;
mod paint;
mod places;
mod pane;
mod labels;
mod ribbon;
mod strip;

pub use adapter::{Adapter, find_adapter, find_adapter_and_display};
pub use camera::{Angles, View};
pub use close_up::close_up;
pub use drawing::{Props, Shown, key_colour, least_width_px};
pub use error::ScreenError;
pub use meant::meant_tip;
pub use pane::{Finish, Pane, Set};
pub use ribbon::seen_through;
pub use labels::{Label, labels_of, place_labels};
pub(crate) use pane::{light_of, surface, without_shadows};
pub use scheme::Scheme;
pub(crate) use drawing::MM_PER_N;
pub(crate) use overlay::{lines_over, view_name, widest_mm};
pub(crate) use scheme::solid;
pub use strip::{HEAD_PX, ROW_PX, nesting_strip, strip_mm_per_px};
pub use places::{Place, Places, framed, vec3};
pub use paint::{Icon, Words, icon};
