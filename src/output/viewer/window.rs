//! The window's loop: events, clock, drawing.

use super::desk::Desk;
use super::keys::wish_of;
use super::views::Frame;
use super::{panels, side, views};
use crate::output::film::{Picture, write_still};
use crate::output::palette::Theme;
use crate::output::screen::{
    Adapter, Pane, Props, Scheme, ScreenError, Set, Shown, light_of, without_shadows,
};
use crate::stage::{Moment, Stage};
use egui::{Id, LayerId, Margin, Rect, Ui, UiBuilder, pos2, vec2};
use kiss3d::camera::FixedView3d;
use kiss3d::event::{Action, Key, Modifiers, WindowEvent};
use kiss3d::scene::SceneNode3d;
use kiss3d::window::{CanvasSetup, NumSamples, Window};
use std::panic;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::{Duration, Instant};

/// Size at the start, pixels.
const SIZE: (u32, u32) = (1280, 720);
/// Rest between frames in which nothing happens, so that an idle window takes no whole core.
const REST: Duration = Duration::from_millis(12);
/// Design sizes: head, column.
const HEAD_PX: f32 = 40.0;
const COLUMN_PX: f32 = 392.0;

/// Opens the window and stays until it is closed. An adapter and a display must have been found.
///
/// `settled` may send a stage of the same scene later, whose rods have settled meanwhile; it takes the
/// place of the first one.
///
/// # Errors
/// [`ScreenError::NoWindow`] where the display is there and the window does not come.
pub fn open(
    stage: Stage,
    settled: Option<Receiver<Stage>>,
    adapter: &Adapter,
    theme: Theme,
) -> Result<(), ScreenError> {
    let window = opened(&format!("nestline: {}", stage.title))?;
    pollster::block_on(run(window, stage, settled, adapter, theme));
    Ok(())
}

/// The drawing library gives no error where a window does not come, it panics; its words are caught and
/// told in one line.
fn opened(title: &str) -> Result<Window, ScreenError> {
    let setup = CanvasSetup {
        vsync: true,
        samples: NumSamples::One,
        ..CanvasSetup::default()
    };
    let told = panic::take_hook();
    panic::set_hook(Box::new(|_| {}));
    let window = panic::catch_unwind(|| {
        pollster::block_on(Window::new_with_setup(title, SIZE.0, SIZE.1, setup))
    });
    panic::set_hook(told);
    window.map_err(|payload| {
        let words = payload.downcast_ref::<String>().map(String::as_str);
        let words = words.or_else(|| payload.downcast_ref::<&str>().copied());
        let reason = words.and_then(|w| w.lines().next());
        ScreenError::NoWindow {
            reason: reason.map_or_else(|| "the drawing library gave no reason".to_owned(), brief),
        }
    })
}

/// The library's words without the place in its source that it puts into them: what failed, and the innermost
/// cause.
fn brief(words: &str) -> String {
    let Some((what, cause)) = words.split_once("OsError {") else {
        return words.to_owned();
    };
    let what = what.trim_end_matches("Os(").trim_end_matches([':', ' ']);
    let cause = cause.split_once("error: ").map_or("", |(_, cause)| cause);
    let quoted = cause.split('"').nth(1);
    let innermost = cause.trim_end_matches([' ', ')', '}']).rsplit('(').next();
    match quoted.or(innermost) {
        Some(cause) if !cause.is_empty() => format!("{what}: {cause}"),
        _ => what.to_owned(),
    }
}

struct Screen {
    stage: Arc<Stage>,
    settled: Option<Receiver<Stage>>,
    desk: Desk,
    props: Props,
    set: Set,
    version: u64,
    /// What the set holds.
    filled: Option<(Moment, Theme, Shown, u64)>,
    panes: Vec<Pane>,
    /// Rectangles of the views in the frame before, points.
    rects: [Rect; 3],
}

#[expect(
    clippy::disallowed_methods,
    reason = "a window runs by the clock; nothing that is computed depends on it"
)]
async fn run(
    mut window: Window,
    stage: Stage,
    settled: Option<Receiver<Stage>>,
    adapter: &Adapter,
    theme: Theme,
) {
    without_shadows(&mut window);
    // Escape closes help first
    window.rebind_close_key(None);
    let mut nothing = SceneNode3d::empty();
    let mut camera = FixedView3d::default();
    let smooth = adapter.smooth && !adapter.software;
    let mut screen = Screen {
        desk: Desk::new(&stage, theme),
        props: Props::new(&stage),
        stage: Arc::new(stage),
        settled,
        set: Set::default(),
        version: 0,
        filled: None,
        panes: (0..3).map(|_| Pane::new(64, 64, smooth)).collect(),
        rects: [Rect::NOTHING; 3],
    };
    let mut before = Instant::now();
    while window.render_3d(&mut nothing, &mut camera).await {
        let now = Instant::now();
        let height = window.height() as f32 / scale_of(&window);
        if height > 0.0 {
            screen.desk.suit(height);
        }
        let touched = screen.events(&window);
        screen.desk.play.tick(
            &screen.stage.timeline,
            now.duration_since(before).as_secs_f64(),
        );
        before = now;
        screen.take_settled();
        screen.desk.hand.take_over(&screen.stage);
        screen.frame(&mut window);
        if screen.desk.closing {
            break;
        }
        if screen.desk.screenshot {
            screen.desk.screenshot = false;
            screen.desk.message = Some(screenshot(&window, &screen.stage, &screen.desk));
        }
        if !touched && !screen.desk.play.running {
            std::thread::sleep(REST);
        }
    }
}

impl Screen {
    /// Goes over to the stage whose rods have settled.
    fn take_settled(&mut self) {
        let Some(arrives) = &self.settled else { return };
        match arrives.try_recv() {
            Ok(stage) => {
                self.stage = Arc::new(stage);
                self.filled = None;
                self.settled = None;
                self.desk.message = Some("the rods have settled".to_owned());
            }
            Err(TryRecvError::Disconnected) => self.settled = None,
            Err(TryRecvError::Empty) => {
                if self.desk.message.is_none() {
                    self.desk.message =
                        Some("rods are settling, devices lie on the centre line yet".to_owned());
                }
            }
        }
    }

    /// Grants what keys ask for; true where anything happened.
    fn events(&mut self, window: &Window) -> bool {
        let mut wishes = Vec::new();
        let mut any = false;
        for event in window.events().iter() {
            any = true;
            if let WindowEvent::Key(key, Action::Press, modifiers) = event.value
                && !matches!(key, Key::LShift | Key::RShift)
            {
                let shift = modifiers.contains(Modifiers::Shift);
                wishes.extend(wish_of(key, shift));
            }
        }
        for wish in wishes {
            self.desk.grant(&self.stage, wish);
        }
        any
    }

    fn frame(&mut self, window: &mut Window) {
        let moment = self.desk.moment(&self.stage);
        self.desk.follow_up(&self.stage, &moment);
        let images = self.draw_views(window, &moment);
        let points = vec2(window.width() as f32, window.height() as f32) / scale_of(window);
        let mut scheme = Scheme::new(self.desk.theme, 720.0);
        scheme.scale = self.desk.letters();
        window.set_background_color(light_of(scheme.panel()));
        let (desk, stage) = (&mut self.desk, &*self.stage);
        let rects = &mut self.rects;
        window.draw_ui(|ctx| {
            scheme.dress(ctx);
            // keys are ours: no widget is to take Tab, the space bar or arrows for itself
            ctx.memory_mut(|memory| {
                if let Some(widget) = memory.focused() {
                    memory.surrender_focus(widget);
                }
            });
            *rects = lay_out(ctx, &scheme, desk, stage, &moment, points, images);
            if desk.help {
                panels::help(ctx, &scheme, desk);
            }
        });
    }

    /// Draws the scene into the panes at the size they had in the frame before.
    fn draw_views(&mut self, window: &mut Window, moment: &Moment) -> [Option<egui::TextureId>; 3] {
        let mut images = [None; 3];
        if self.desk.radiograph {
            return images;
        }
        let on_screen = self.desk.on_screen().iter();
        let least_mm = on_screen
            .map(|k| self.desk.views[*k].least_mm(self.rects[*k].height().max(1.0)))
            .fold(0.0, f64::max);
        let wanted = (moment, self.desk.theme, self.desk.shown, least_mm.to_bits());
        let same = self
            .filled
            .as_ref()
            .is_some_and(|(m, t, s, l)| (m, *t, *s, *l) == wanted);
        if !same {
            self.props.fill(
                &mut self.set,
                &self.stage,
                moment,
                self.desk.theme,
                &self.desk.shown,
                least_mm,
            );
            self.version += 1;
            self.filled = Some((
                moment.clone(),
                self.desk.theme,
                self.desk.shown,
                least_mm.to_bits(),
            ));
        }
        let scale = scale_of(window);
        let ground = views::ground(&self.desk);
        for k in self.desk.on_screen() {
            let rect = self.rects[*k];
            if !rect.is_positive() {
                continue;
            }
            let (width, height) = (pixels(rect.width() * scale), pixels(rect.height() * scale));
            let pane = &mut self.panes[*k];
            pane.resize(window, width, height);
            pane.draw(&mut self.set, self.version, &self.desk.views[*k], ground);
            images[*k] = Some(pane.texture(window));
        }
        images
    }
}

/// All panels; returns the rectangles of the views.
fn lay_out(
    ctx: &egui::Context,
    scheme: &Scheme,
    desk: &mut Desk,
    stage: &Stage,
    moment: &Moment,
    size: egui::Vec2,
    images: [Option<egui::TextureId>; 3],
) -> [Rect; 3] {
    let whole = Rect::from_min_size(pos2(0.0, 0.0), size);
    // views keep their height while devices come and go
    let rows = stage.most_devices().max(moment.devices.len());
    let rows = u16::try_from(rows).map_or(0.0, f32::from);
    let strip_px = if desk.strip { 26.0 + 17.0 * rows } else { 0.0 };
    let head_px = scheme.px(HEAD_PX);
    let foot_px = scheme.px(112.0 + strip_px).min(0.6 * size.y);
    let head = Rect::from_min_max(whole.min, pos2(size.x, head_px));
    let foot = Rect::from_min_max(pos2(0.0, (size.y - foot_px).round()), whole.max);
    let middle = Rect::from_min_max(pos2(0.0, head_px.round()), pos2(size.x, foot.top()));
    let (shown, column) = side::cut(middle, scheme.px(COLUMN_PX).min(0.42 * size.x));
    let part = |name: &str, rect: Rect, margin: i8| {
        let inner = rect - Margin::same(margin);
        let builder = UiBuilder::new()
            .layer_id(LayerId::background())
            .max_rect(inner);
        let mut ui = Ui::new(ctx.clone(), Id::new(name), builder);
        ui.set_clip_rect(rect);
        ui.painter().rect_filled(rect, 0, scheme.panel());
        ui
    };
    let mut ui = part("head", head, 4);
    panels::head(&mut ui, scheme, desk, stage, moment);
    let mut rects = [Rect::NOTHING; 3];
    let on_screen = desk.on_screen();
    let mut ui = part("views", shown, 0);
    for (place, k) in on_screen.iter().enumerate() {
        let wide = shown.width() / on_screen.len() as f32;
        let left = shown.left() + wide * place as f32;
        let rect = Rect::from_min_max(
            pos2(left.round(), shown.top()),
            pos2((left + wide).round(), shown.bottom()),
        );
        rects[*k] = rect;
        let frame = Frame {
            view: *k,
            rect,
            image: images[*k],
        };
        views::view(&mut ui, scheme, desk, stage, moment, frame);
    }
    let mut ui = part("column", column, 10);
    side::column(&mut ui, scheme, desk, stage, moment);
    let mut ui = part("foot", foot, 2);
    panels::foot(&mut ui, scheme, desk, stage, moment);
    rects
}

/// Writes what the window shows to a file of its own in the present folder; what came of it in words.
fn screenshot(window: &Window, stage: &Stage, desk: &Desk) -> String {
    let image = window.snap_image();
    let picture = Picture {
        width: image.width(),
        height: image.height(),
        rgb: image.into_raw(),
    };
    let step = desk.play.step(&stage.timeline) + 1;
    let free = (1..1000)
        .map(|k| PathBuf::from(format!("nestline-step-{step}-{k}.png")))
        .find(|path| !path.exists());
    let Some(path) = free else {
        return "a thousand pictures of this step lie here already".to_owned();
    };
    match write_still(&path, &picture, false) {
        Ok(()) => format!("written to {}", path.display()),
        Err(error) => error.to_string(),
    }
}

/// Pixels to a point, as the desktop wishes.
#[expect(clippy::cast_possible_truncation, reason = "a factor between 1 and 4")]
fn scale_of(window: &Window) -> f32 {
    window.scale_factor() as f32
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the size of a view in whole pixels"
)]
fn pixels(length: f32) -> u32 {
    length.round().max(0.0) as u32
}

#[cfg(test)]
mod tests {
    use super::brief;

    #[test]
    fn exact_reasons_name_no_files_of_the_machine_that_built_us() {
        let dump = r#"Failed to create event loop: Os(OsError { line: 788, file: "/a/b.rs", error: XNotSupported(XOpenDisplayFailed) })"#;
        assert_eq!(
            brief(dump),
            "Failed to create event loop: XOpenDisplayFailed"
        );
        let library = r#"Failed to create event loop: Os(OsError { line: 7, file: "/a/b.rs", error: XNotSupported(LibraryOpenError(OpenError { kind: Library, detail: "opening library failed (libX11.so.6)" })) })"#;
        assert_eq!(
            brief(library),
            "Failed to create event loop: opening library failed (libX11.so.6)"
        );
        let plain = "Failed to create a surface and find an adapter for it";
        assert_eq!(brief(plain), plain);
    }
}
