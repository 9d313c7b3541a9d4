//! Draws the pictures of a film without a display.

use super::reel::Picture;
use super::script::{Beat, Script};
use super::sheet::{self, Layout, Seen, Sheet};
use crate::math;
use crate::output::palette::Theme;
use crate::output::screen::{
    Adapter, Angles, Pane, Place, Places, Props, Scheme, Set, Shown, View, framed, solid, surface,
};
use crate::stage::{Moment, Span, Stage};
use egui::{LayerId, Painter, vec2};
use kiss3d::camera::FixedView3d;
use kiss3d::scene::SceneNode3d;
use kiss3d::window::OffscreenSurface;

/// The arch opens when it is seen from this far to the left, degrees (common practice, no source:
/// the left anterior oblique).
const ARCH_DEG: f32 = 35.0;
/// Time in which the camera moves from one view to the next, s.
const GLIDE_S: f64 = 0.6;

/// Draws pictures of a stage.
pub struct Studio<'a> {
    stage: &'a Stage,
    places: Places,
    scheme: Scheme,
    layout: Layout,
    props: Props,
    set: Set,
    sheet: OffscreenSurface,
    nothing: SceneNode3d,
    /// One wide pane, two narrow ones.
    panes: [Pane; 3],
    /// Grows with every change of the set.
    version: u64,
    shown: Option<(usize, u64, u64)>,
    /// Where devices press is drawn, too.
    pub contacts: bool,
    /// Its pictures stand alone: they tell no share of a film.
    pub still: bool,
    /// Pictures that were drawn, not repeated.
    pub drawn: usize,
    /// Most triangles in a picture.
    pub most_triangles: usize,
}

impl std::fmt::Debug for Studio<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Studio")
            .field("scene", &self.stage.title)
            .field("drawn", &self.drawn)
            .finish()
    }
}

/// What a picture shows.
#[derive(Debug, Clone, PartialEq)]
pub enum Shot {
    /// The title.
    Title,
    /// A moment of a beat.
    Beat {
        /// Index of the beat.
        beat: usize,
        /// Share of its motion that is done, 0 to 1.
        share: f64,
        /// Share of the camera's way from the beat before that is done, 0 to 1.
        glide: f64,
    },
    /// The verdict.
    Verdict,
}

/// The pictures of a film in order, each with the number of frames it stands.
#[must_use]
pub fn shots(script: &Script, frames_per_s: u32) -> Vec<(Shot, u32)> {
    let rate = f64::from(frames_per_s);
    let mut shots = vec![(Shot::Title, whole(script.title_s * rate))];
    let mut clock_s = script.title_s;
    let mut frames = whole(script.title_s * rate);
    for (k, beat) in script.beats.iter().enumerate() {
        let before = k.checked_sub(1).map(|b| &script.beats[b]);
        let glides =
            before.is_some_and(|b| same_layout(b.place, beat.place) && seen_differently(b, beat));
        // what glides or moves is drawn frame by frame, the rest of the beat is one picture
        let glide_s = if glides {
            GLIDE_S.min(0.5 * beat.length_s())
        } else {
            0.0
        };
        let moving = whole(beat.motion_s.max(glide_s) * rate);
        for frame in 0..moving {
            let at_s = f64::from(frame) / rate;
            let part = |of_s: f64| {
                if of_s > 0.0 {
                    (at_s / of_s).min(1.0)
                } else {
                    1.0
                }
            };
            shots.push((
                Shot::Beat {
                    beat: k,
                    share: part(beat.motion_s),
                    glide: part(glide_s),
                },
                1,
            ));
        }
        frames += moving;
        clock_s += beat.length_s();
        let until = whole(clock_s * rate);
        let still = until.saturating_sub(frames).max(1);
        frames += still;
        shots.push((
            Shot::Beat {
                beat: k,
                share: 1.0,
                glide: 1.0,
            },
            still,
        ));
    }
    shots.push((Shot::Verdict, whole(script.verdict_s * rate).max(1)));
    shots
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "frames of a film: positive and few"
)]
fn whole(frames: f64) -> u32 {
    frames.round() as u32
}

/// How many views show a place.
fn views_of(place: Place) -> usize {
    match place {
        Place::Route | Place::Arch => 1,
        Place::Neck | Place::Edge | Place::Tip | Place::Head => 2,
    }
}

fn same_layout(a: Place, b: Place) -> bool {
    views_of(a) == views_of(b)
}

fn seen_differently(a: &Beat, b: &Beat) -> bool {
    a.place != b.place || a.at_mm != b.at_mm
}

impl<'a> Studio<'a> {
    /// A studio for pictures of that size, pixels. `adapter` says that something draws.
    #[must_use]
    pub fn new(
        stage: &'a Stage,
        adapter: &Adapter,
        theme: Theme,
        (width, height): (u32, u32),
    ) -> Self {
        let scheme = Scheme::new(theme, height as f32);
        let layout = Layout::new(&scheme, vec2(width as f32, height as f32));
        let sheet = surface(width, height, false);
        let pane = |rect: egui::Rect| {
            Pane::new(pixels(rect.width()), pixels(rect.height()), adapter.smooth)
        };
        let pair = layout.views(2);
        Self {
            stage,
            places: Places::of(&stage.plan().track),
            scheme,
            layout,
            props: Props::new(stage),
            set: Set::default(),
            sheet,
            nothing: SceneNode3d::empty(),
            panes: [pane(layout.views), pane(pair[0]), pane(pair[1])],
            version: 0,
            shown: None,
            contacts: false,
            still: false,
            drawn: 0,
            most_triangles: 0,
        }
    }

    /// Where the views of a beat stand in its picture, pixels, and what they are.
    #[must_use]
    pub fn seen(&self, beat: &Beat) -> Vec<(egui::Rect, View)> {
        let views = self.views(beat);
        self.layout
            .views(views.len())
            .into_iter()
            .zip(views)
            .collect()
    }

    /// The views of a beat.
    #[must_use]
    pub fn views(&self, beat: &Beat) -> Vec<View> {
        let track = &self.stage.plan().track;
        let stretch = self.places.stretch_mm(beat.place, beat.at_mm);
        let rects = self.layout.views(views_of(beat.place));
        let aspect = rects[0].width() / rects[0].height();
        match beat.place {
            Place::Route => vec![framed(track, stretch, Angles::FRONTAL, aspect)],
            Place::Arch => {
                let opened = Angles {
                    left_deg: ARCH_DEG,
                    head_deg: 0.0,
                };
                vec![framed(track, stretch, opened, aspect)]
            }
            _ => {
                let middle_mm = f64::midpoint(stretch.0, stretch.1);
                // from the side the vessel lies on, so that nothing stands before it
                let left_deg = if track.frame_at(middle_mm).origin_mm.x >= 0.0 {
                    90.0
                } else {
                    -90.0
                };
                let lateral = Angles {
                    left_deg,
                    head_deg: 0.0,
                };
                vec![
                    framed(track, stretch, Angles::FRONTAL, aspect),
                    framed(track, stretch, lateral, aspect),
                ]
            }
        }
    }

    /// Draws a picture of a film.
    pub fn draw(&mut self, script: &Script, shot: &Shot) -> Picture {
        self.drawn += 1;
        let (scheme, stage) = (self.scheme, self.stage);
        let size = vec2(self.sheet.width() as f32, self.sheet.height() as f32);
        match shot {
            Shot::Title => self.flat(|painter| sheet::title(painter, &scheme, size, stage, script)),
            Shot::Verdict => self.flat(|painter| sheet::verdict(painter, &scheme, size, stage)),
            Shot::Beat { beat, share, glide } => {
                let index = *beat;
                let beat = &script.beats[index];
                let moment = beat_at(stage, beat, *share);
                let views = self.glided(script, index, *glide);
                let done = script.title_s
                    + script.beats[..index]
                        .iter()
                        .map(Beat::length_s)
                        .sum::<f64>()
                    + share * beat.length_s();
                #[expect(clippy::cast_possible_truncation, reason = "a share between 0 and 1")]
                let progress = (done / script.length_s()) as f32;
                self.moment(beat, &moment, &views, progress)
            }
        }
    }

    /// The views on the way from the beat before.
    fn glided(&self, script: &Script, index: usize, glide: f64) -> Vec<View> {
        let views = self.views(&script.beats[index]);
        let before = index.checked_sub(1).map(|b| self.views(&script.beats[b]));
        match before {
            Some(before) if glide < 1.0 && before.len() == views.len() => {
                #[expect(clippy::cast_possible_truncation, reason = "a share between 0 and 1")]
                let eased = (glide * glide * (3.0 - 2.0 * glide)) as f32;
                before
                    .iter()
                    .zip(&views)
                    .map(|(from, to)| from.towards(to, eased))
                    .collect()
            }
            _ => views,
        }
    }

    fn moment(&mut self, beat: &Beat, moment: &Moment, views: &[View], progress: f32) -> Picture {
        let view_px = self.layout.views.height();
        let least_mm = views
            .iter()
            .map(|v| v.least_mm(view_px))
            .fold(0.0, f64::max);
        let key = (moment.step, moment.share.to_bits(), least_mm.to_bits());
        if self.shown != Some(key) {
            let triangles = self.props.fill(
                &mut self.set,
                self.stage,
                moment,
                self.scheme.theme,
                &Shown::default(),
                least_mm,
            );
            self.most_triangles = self.most_triangles.max(triangles);
            self.version += 1;
            self.shown = Some(key);
        }
        let rects = self.layout.views(views.len());
        let panes = if views.len() == 1 {
            &mut self.panes[..1]
        } else {
            &mut self.panes[1..]
        };
        let ground = solid(self.scheme.theme.ground());
        let mut seen = Vec::new();
        for ((pane, view), rect) in panes.iter_mut().zip(views).zip(rects) {
            pane.draw(&mut self.set, self.version, view, ground);
            let image = pane.texture(self.sheet.window_mut());
            seen.push(Seen {
                rect,
                view: *view,
                image,
            });
        }
        let sheet = Sheet {
            scheme: self.scheme,
            layout: self.layout,
            stage: self.stage,
            moment,
            beat,
            seen: &seen,
            progress: (!self.still).then_some(progress),
            contacts: self.contacts,
        };
        self.flat(|painter| sheet.draw(painter))
    }

    /// A picture of flat parts alone.
    fn flat(&mut self, draw: impl FnOnce(&Painter)) -> Picture {
        self.sheet
            .draw_ui(|ctx| draw(&ctx.layer_painter(LayerId::background())));
        let mut camera = FixedView3d::default();
        pollster::block_on(self.sheet.render_3d(&mut self.nothing, &mut camera));
        let image = self.sheet.snap_image();
        Picture {
            width: image.width(),
            height: image.height(),
            rgb: image.into_raw(),
        }
    }
}

/// Share of a beat's motion in which the steps that lead up to its last one are run through.
const LEAD_SHARE: f64 = 0.4;

/// What a shot shows of the stage; none for title and verdict.
#[must_use]
pub fn moment_of(stage: &Stage, script: &Script, shot: &Shot) -> Option<Moment> {
    match shot {
        Shot::Beat { beat, share, .. } => {
            let beat = script.beats.get(*beat)?;
            Some(beat_at(stage, beat, *share))
        }
        Shot::Title | Shot::Verdict => None,
    }
}

/// The moment of the stage at a share of a beat's motion: what leads up to it quickly, one step after
/// the other without the stillness between them, then its last step.
fn beat_at(stage: &Stage, beat: &Beat, share: f64) -> Moment {
    let lead: Vec<&Span> = beat
        .lead
        .iter()
        .filter_map(|k| stage.timeline.steps.get(*k))
        .filter(|s| s.moved_s > s.start_s)
        .collect();
    let lead_share = if lead.is_empty() { 0.0 } else { LEAD_SHARE };
    if share < lead_share {
        // by the root of their lengths: a long way does not eat up the short ones
        let length = |s: &Span| (s.moved_s - s.start_s).sqrt();
        let total: f64 = lead.iter().map(|s| length(s)).sum();
        let mut left = share / lead_share * total;
        for span in lead {
            let own = length(span);
            if left < own {
                return stage.at(span.start_s + (span.moved_s - span.start_s) * left / own);
            }
            left -= own;
        }
    }
    let own = ((share - lead_share) / (1.0 - lead_share)).clamp(0.0, 1.0);
    let eased = own * own * (3.0 - 2.0 * own);
    let Some(span) = stage.timeline.steps.get(beat.told) else {
        return stage.at_step(beat.told, 1.0);
    };
    // the stage eases by itself: the time at which it has come as far as is wanted here
    let wanted = eased * beat.stops_at;
    let part = 0.5 - math::sin(math::asin((1.0 - 2.0 * wanted).clamp(-1.0, 1.0)) / 3.0);
    stage.at(span.start_s + (span.moved_s - span.start_s) * part)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the size of a view in whole pixels"
)]
fn pixels(length: f32) -> u32 {
    length.round().max(1.0) as u32
}
