//! A rectangle that shows a scene: drawn off screen, put into a picture or window as an image.

use super::View;
use super::camera::Eye;
use crate::output::palette::Rgb;
use crate::stage::Mesh;
use egui::{Color32, TextureId};
use kiss3d::camera::FixedView3d;
use kiss3d::color::Color;
use kiss3d::glamx::{Vec2, Vec3};
use kiss3d::light::Light;
use kiss3d::post_processing::Tonemap;
use kiss3d::resource::GpuMesh3d;
use kiss3d::scene::SceneNode3d;
use kiss3d::window::{CanvasSetup, NumSamples, OffscreenSurface, Window};
use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::rc::Rc;
use std::sync::Arc;

/// Light from everywhere, as a share of the given colour.
const AMBIENT: f32 = 0.6;
/// Light of the lamp, which stands beside the viewer's left shoulder.
const LAMP: f32 = 1.6;

/// Share of the light that plastic throws back straight on, as the drawing library counts it.
const REFLECTANCE: f32 = 0.5;

/// How a surface looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finish {
    /// Colour; its opacity lets what lies behind shine through.
    pub colour: Color32,
    /// The colour as it is, lit by nothing: to find it again in a picture.
    pub flat: bool,
    /// Both sides are drawn.
    pub both_sides: bool,
}

struct Part {
    node: SceneNode3d,
    mesh: Arc<Mesh>,
    finish: Finish,
}

/// The scene that panes show: surfaces by name.
#[derive(Default)]
pub struct Set {
    root: Option<SceneNode3d>,
    lamp: Option<SceneNode3d>,
    parts: BTreeMap<String, Part>,
}

impl std::fmt::Debug for Set {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Set")
            .field("parts", &self.parts.keys().collect::<Vec<_>>())
            .finish()
    }
}

impl Set {
    /// Shows these surfaces and no others. What is the same as before is left alone.
    pub fn show<'a>(&mut self, solids: impl IntoIterator<Item = (&'a str, Arc<Mesh>, Finish)>) {
        let mut kept = BTreeMap::new();
        for (name, mesh, finish) in solids {
            let part = match self.parts.remove(name) {
                Some(mut part) => {
                    if !Arc::ptr_eq(&part.mesh, &mesh) && part.mesh != mesh {
                        reshape(&mut part.node, &mesh);
                    }
                    part.mesh = mesh;
                    if part.finish != finish {
                        dress(&mut part.node, finish);
                        part.finish = finish;
                    }
                    part
                }
                None => self.build(mesh, finish),
            };
            kept.insert(name.to_owned(), part);
        }
        for part in self.parts.values_mut() {
            part.node.remove();
        }
        self.parts = kept;
    }

    fn build(&mut self, mesh: Arc<Mesh>, finish: Finish) -> Part {
        let drawn = GpuMesh3d::new(
            vectors(&mesh.positions),
            mesh.triangles.clone(),
            Some(vectors(&mesh.normals)),
            None,
            true,
        );
        let mut node = self
            .root()
            .add_mesh(Rc::new(RefCell::new(drawn)), Vec3::ONE);
        dress(&mut node, finish);
        Part { node, mesh, finish }
    }

    fn root(&mut self) -> &mut SceneNode3d {
        self.root.get_or_insert_with(SceneNode3d::empty)
    }

    /// Puts the lamp where it stands for a viewer.
    fn light(&mut self, view: &View) {
        let (right, up) = view.axes();
        let inward = -view.from.outward();
        let direction = inward + right * 0.45 - up * 0.55;
        let light = Light::directional(direction.normalize())
            .with_intensity(LAMP)
            .with_casts_shadows(false);
        if let Some(lamp) = &mut self.lamp {
            lamp.set_light(Some(light));
        } else {
            self.lamp = Some(self.root().add_light(light));
        }
    }
}

fn vectors(points: &[[f32; 3]]) -> Vec<Vec3> {
    points.iter().map(|p| Vec3::from_array(*p)).collect()
}

fn reshape(node: &mut SceneNode3d, mesh: &Mesh) {
    node.apply_to_object_mut(&mut |object| {
        let drawn = object.mesh().borrow_mut();
        // a lock is poisoned only by a panic while drawing, after which nothing is drawn any more
        if let Ok(mut points) = drawn.coords().write() {
            *points.data_mut() = Some(vectors(&mesh.positions));
        }
        if let Ok(mut normals) = drawn.normals().write() {
            *normals.data_mut() = Some(vectors(&mesh.normals));
        }
        if let Ok(mut places) = drawn.uvs().write() {
            *places.data_mut() = Some(vec![Vec2::ZERO; mesh.positions.len()]);
        }
        if let Ok(mut triangles) = drawn.faces().write() {
            *triangles.data_mut() = Some(mesh.triangles.clone());
        }
    });
}

fn dress(node: &mut SceneNode3d, finish: Finish) {
    let colour = light_of(finish.colour);
    if finish.flat {
        node.set_color(Color::new(0.0, 0.0, 0.0, colour.a));
        node.set_emissive(colour);
    } else {
        node.set_color(colour);
        node.set_emissive(Color::new(0.0, 0.0, 0.0, 1.0));
    }
    // what is flat reflects no lamp either
    node.set_light_layers(if finish.flat { 0 } else { u32::MAX });
    node.apply_to_object_mut(&mut |object| {
        object.set_reflectance(if finish.flat { 0.0 } else { REFLECTANCE });
    });
    node.set_metallic(0.0);
    node.set_roughness(0.55);
    node.set_casts_shadows(false);
    node.enable_backface_culling(!finish.both_sides);
}

/// A colour as the drawing library takes it: in linear light, opacity apart.
pub(crate) fn light_of(colour: Color32) -> Color {
    let [r, g, b, a] = colour.to_srgba_unmultiplied();
    let [r, g, b] = Rgb(r, g, b).linear();
    Color::new(r, g, b, f32::from(a) / 255.0)
}

/// A rectangle of pixels into which a [`Set`] is drawn.
pub struct Pane {
    surface: OffscreenSurface,
    texture: Option<TextureId>,
    /// What the picture shows, to leave it alone when nothing changed.
    drawn: Option<(View, Color32, u64)>,
}

impl std::fmt::Debug for Pane {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Pane").field("drawn", &self.drawn).finish()
    }
}

impl Pane {
    /// A pane of that size, pixels. An adapter must have been found before.
    #[must_use]
    pub fn new(width: u32, height: u32, smooth: bool) -> Self {
        let surface = surface(width, height, smooth);
        Self {
            surface,
            texture: None,
            drawn: None,
        }
    }

    /// Width and height, pixels.
    #[must_use]
    pub fn size(&self) -> (u32, u32) {
        (self.surface.width(), self.surface.height())
    }

    /// Draws the set as seen by the view, unless that is what the pane shows already; `version`
    /// tells what the set holds. True where it was drawn.
    pub fn draw(&mut self, set: &mut Set, version: u64, view: &View, ground: Color32) -> bool {
        if self.drawn == Some((*view, ground, version)) {
            return false;
        }
        set.light(view);
        self.surface.set_background_color(light_of(ground));
        let mut eye = Eye::new(*view);
        pollster::block_on(self.surface.render_3d(set.root(), &mut eye));
        self.drawn = Some((*view, ground, version));
        true
    }

    /// The image for the flat parts of a window or picture.
    pub fn texture(&mut self, window: &mut Window) -> TextureId {
        if let Some(texture) = self.texture {
            return texture;
        }
        let view = self.surface.output_view();
        let texture = window.register_egui_texture(&view, wgpu::FilterMode::Nearest);
        self.texture = Some(texture);
        texture
    }

    /// Gives the pane another size; nothing happens where it has it.
    pub fn resize(&mut self, window: &mut Window, width: u32, height: u32) {
        if (width, height) == self.size() || width == 0 || height == 0 {
            return;
        }
        self.surface.resize(width, height);
        if let Some(texture) = self.texture.take() {
            window.unregister_egui_texture(texture);
        }
        self.drawn = None;
    }

    /// The pixels: red, green and blue, row by row from the top.
    #[must_use]
    pub fn pixels(&self) -> Vec<u8> {
        self.surface.snap_image().into_raw()
    }
}

/// No shadows, and no room kept for them: hundreds of megabytes a surface otherwise.
pub(crate) fn without_shadows(window: &mut Window) {
    /// Smallest map and fewest layers that can be asked for.
    const SMALLEST: u32 = 16;
    window.set_shadows_enabled(false);
    window.set_shadow_resolution(SMALLEST);
    window.set_shadow_atlas_layers(1);
}

/// A surface without shadows and without a change of the given colours.
pub(crate) fn surface(width: u32, height: u32, smooth: bool) -> OffscreenSurface {
    let setup = CanvasSetup {
        vsync: false,
        samples: if smooth {
            NumSamples::Four
        } else {
            NumSamples::One
        },
        ..CanvasSetup::default()
    };
    let mut surface = pollster::block_on(OffscreenSurface::with_setup(width, height, setup));
    without_shadows(surface.window_mut());
    surface.set_tonemap(Tonemap::None);
    surface.set_ambient(AMBIENT);
    warm_up(&mut surface);
    surface
}

/// Draws once on every thread: a surface that goes before anything was drawn ends the program inside the
/// drawing library.
fn warm_up(surface: &mut OffscreenSurface) {
    thread_local! {
        static WARM: Cell<bool> = const { Cell::new(false) };
    }
    if !WARM.replace(true) {
        let mut camera = FixedView3d::default();
        pollster::block_on(surface.render_3d(&mut SceneNode3d::empty(), &mut camera));
    }
}
