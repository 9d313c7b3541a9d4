//! What film and window share: the adapter, cameras, panes that draw a scene, and the flat parts.

mod adapter;
mod camera;
mod close_up;
mod contacts;
mod drawing;
mod error;
mod labels;
mod meant;
mod overlay;
mod paint;
mod pane;
mod places;
mod ribbon;
mod scheme;
mod strip;

pub use adapter::{Adapter, find_adapter, find_adapter_and_display};
pub use camera::{Angles, View};
pub use close_up::close_up;
pub use contacts::{PressArrow, legend_arrow, mm_per_n, press_arrows};
pub(crate) use contacts::{draw_arrows, draw_legend};
pub use drawing::{Props, Shown, key_colour, least_width_px};
pub use error::ScreenError;
pub(crate) use labels::Named;
pub(crate) use meant::draw_meant;
pub use meant::meant_tip;
pub(crate) use overlay::{lines_over, view_name, widest_mm};
pub use paint::{Icon, Words, icon};
pub use pane::{Finish, Pane, Set};
pub(crate) use pane::{light_of, surface, without_shadows};
pub use places::{Place, Places, framed, vec3};
pub use ribbon::seen_through;
pub use scheme::Scheme;
pub(crate) use scheme::solid;
pub use strip::{HEAD_PX, ROW_PX, nesting_strip, strip_mm_per_px};
