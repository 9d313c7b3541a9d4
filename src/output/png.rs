//! Plots as pictures of points.

use super::report::Plot;
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};
use std::io;
use std::sync::{Arc, OnceLock};

/// Points for each unit of a drawing: sharp on a slide.
const ZOOM: f32 = 2.0;

/// The machine's fonts, read once: a second and more where there are many.
fn fonts() -> Arc<fontdb::Database> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    Arc::clone(FONTS.get_or_init(|| {
        let mut fonts = fontdb::Database::new();
        fonts.load_system_fonts();
        // any face is better than a plot without letters
        let family = fonts
            .faces()
            .find(|f| f.families.iter().any(|(name, _)| name.contains("Sans")))
            .or_else(|| fonts.faces().next())
            .and_then(|f| f.families.first())
            .map(|(name, _)| name.clone());
        if let Some(family) = family {
            fonts.set_sans_serif_family(family);
        }
        Arc::new(fonts)
    }))
}

impl Plot {
    /// The plot as PNG, twice its size in points.
    ///
    /// # Errors
    /// [`io::Error`] where the machine has no font.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a plot is some thousand points wide"
    )]
    pub fn png(&self) -> io::Result<Vec<u8>> {
        let fonts = fonts();
        if fonts.is_empty() {
            return Err(io::Error::other(
                "plots as PNG need a font on this machine: install one (Debian: fonts-dejavu-core), or leave out --png",
            ));
        }
        let options = Options {
            fontdb: fonts,
            font_family: "sans-serif".into(),
            ..Options::default()
        };
        let tree = Tree::from_str(&self.svg, &options).map_err(io::Error::other)?;
        let size = tree.size();
        let (width, height) = (size.width() * ZOOM, size.height() * ZOOM);
        let mut points = Pixmap::new(width.ceil() as u32, height.ceil() as u32)
            .ok_or_else(|| io::Error::other("a plot without extent"))?;
        resvg::render(
            &tree,
            Transform::from_scale(ZOOM, ZOOM),
            &mut points.as_mut(),
        );
        points.encode_png().map_err(io::Error::other)
    }
}
