//! What the window shows, and what every wish changes about it.

use super::hand::Hand;
use super::keys::Wish;
use super::play::Play;
use crate::output::palette::Theme;
use crate::output::screen::{Angles, Place, Places, Shown, View, framed, vec3};
use crate::procedure::Region;
use crate::stage::{Moment, Stage};

/// Height of a picture round a landmark or a tip, mm.
const AROUND_MM: f32 = 60.0;
/// One press turns by this, design pixels of a drag.
const TURN_PX: f32 = 40.0;
/// One press brings nearer by this factor.
const NEARER: f32 = 0.8;
/// Sizes of letters, as a factor.
const SIZES: [f32; 7] = [0.8, 0.9, 1.0, 1.2, 1.5, 2.0, 2.5];

/// Everything the window shows beside the stage itself.
#[derive(Debug)]
pub struct Desk {
    /// The clock.
    pub play: Play,
    /// Light or dark.
    pub theme: Theme,
    /// Place in [`SIZES`].
    size: usize,
    /// Somebody has chosen it.
    size_chosen: bool,
    /// Planes A and B side by side, else one free view.
    pub planes: bool,
    /// Planes follow what the script lets them watch.
    pub linked: bool,
    /// The free view, plane A, plane B.
    pub views: [View; 3],
    /// The view that keys act on.
    pub active: usize,
    /// As a radiograph.
    pub radiograph: bool,
    /// Device whose tip is followed.
    pub follow: Option<usize>,
    /// What is drawn.
    pub shown: Shown,
    /// Names in the picture.
    pub names: bool,
    /// Close-up of the stent's edge.
    pub close_up: bool,
    /// Strip of lengths.
    pub strip: bool,
    /// Help.
    pub help: bool,
    /// The device in hand, and what it was dragged to.
    pub hand: Hand,
    /// Told at the bottom until the next wish.
    pub message: Option<String>,
    /// The window is to close.
    pub closing: bool,
    /// A picture of the window is to be written.
    pub screenshot: bool,
    landmark: Option<usize>,
    places: Places,
    watched: [Option<Region>; 2],
}

impl Desk {
    /// At the step to look at first, in two planes.
    #[must_use]
    pub fn new(stage: &Stage, theme: Theme) -> Self {
        let places = Places::of(&stage.plan().track);
        let whole = whole(stage, &places);
        let side = |from: Angles| {
            let stretch = places.stretch_mm(Place::Neck, None);
            framed(&stage.plan().track, stretch, from, 0.8)
        };
        let mut play = Play::default();
        play.to_step(&stage.timeline, stage.telling);
        Self {
            play,
            theme,
            size: 2,
            size_chosen: false,
            planes: true,
            linked: true,
            views: [whole, side(Angles::FRONTAL), side(Angles::LATERAL)],
            active: 0,
            radiograph: false,
            follow: None,
            shown: Shown::default(),
            names: true,
            close_up: true,
            strip: true,
            help: false,
            hand: Hand::default(),
            message: None,
            closing: false,
            screenshot: false,
            landmark: None,
            places,
            watched: [None; 2],
        }
    }

    /// Letters as a factor of their ordinary size.
    #[must_use]
    pub fn letters(&self) -> f32 {
        SIZES[self.size]
    }

    /// Letters that suit a window of that height, in points, unless somebody has chosen others.
    pub fn suit(&mut self, height: f32) {
        if self.size_chosen {
            return;
        }
        self.size = match height {
            h if h > 1900.0 => 5,
            h if h > 1250.0 => 4,
            h if h > 950.0 => 3,
            _ => 2,
        };
    }

    /// Indices of the views on screen.
    #[must_use]
    pub fn on_screen(&self) -> &'static [usize] {
        if self.planes { &[1, 2] } else { &[0] }
    }

    /// What is to be drawn now: what the hand holds, else the film.
    #[must_use]
    pub fn moment(&self, stage: &Stage) -> Moment {
        match self.hand.moment() {
            Some(moment) => moment.clone(),
            None => stage.at(self.play.at_s),
        }
    }

    /// Follows a tip and what the planes watch.
    pub fn follow_up(&mut self, stage: &Stage, moment: &Moment) {
        if let Some(device) = self.follow {
            if let Some(drawn) = moment.device(device) {
                for k in self.on_screen() {
                    self.views[*k].at_mm = vec3(&drawn.tip);
                }
            }
        } else if self.planes && self.linked && self.watched != moment.watching {
            for (plane, region) in moment.watching.iter().enumerate() {
                let Some(region) = region else { continue };
                let place = match region {
                    Region::Access => Place::Arch,
                    Region::Neck => Place::Neck,
                    Region::Head => Place::Head,
                };
                let view = &mut self.views[plane + 1];
                let stretch = self.places.stretch_mm(place, None);
                *view = framed(&stage.plan().track, stretch, view.from, 0.8);
            }
            self.watched = moment.watching;
        }
    }

    /// Turns the active view to these angles.
    pub fn look_from(&mut self, from: Angles) {
        self.view().from = from;
    }

    fn view(&mut self) -> &mut View {
        if !self.on_screen().contains(&self.active) {
            self.active = self.on_screen()[0];
        }
        &mut self.views[self.active]
    }

    /// Shows a landmark, by index, in the active view.
    pub fn go_to(&mut self, stage: &Stage, landmark: usize) {
        if let Some(mark) = stage.landmarks.get(landmark) {
            self.follow = None;
            self.landmark = Some(landmark);
            let view = self.view();
            view.at_mm = vec3(&mark.at);
            view.height_mm = AROUND_MM;
            self.message = Some(format!("at {}", mark.words));
        }
    }

    /// Shows a place in the active view.
    pub fn show_place(&mut self, stage: &Stage, place: Place, edge_mm: Option<f64>) {
        self.follow = None;
        let stretch = self.places.stretch_mm(place, edge_mm);
        let from = self.view().from;
        *self.view() = framed(&stage.plan().track, stretch, from, 1.0);
    }

    /// Does what was asked for.
    pub fn grant(&mut self, stage: &Stage, wish: Wish) {
        self.message = None;
        let timeline = &stage.timeline;
        match wish {
            Wish::PlayPause | Wish::Forward | Wish::Back | Wish::First | Wish::Last => {
                self.hand.let_go();
                match wish {
                    Wish::PlayPause => self.play.toggle(timeline),
                    Wish::Forward => self.play.forward(timeline),
                    Wish::Back => self.play.back(timeline),
                    Wish::First => self.play.to_step(timeline, 0),
                    _ => self.play.to_step(timeline, usize::MAX),
                }
            }
            Wish::Faster => self.play.faster(),
            Wish::Slower => self.play.slower(),
            Wish::Frontal => self.look_from(Angles::FRONTAL),
            Wish::Left => self.look_from(Angles::LATERAL),
            Wish::LeftOblique => self.look_from(oblique(35.0)),
            Wish::RightOblique => self.look_from(oblique(-35.0)),
            Wish::Planes => {
                self.planes = !self.planes;
                self.active = self.on_screen()[0];
                self.watched = [None; 2];
            }
            Wish::Linked => {
                self.linked = !self.linked;
                self.watched = [None; 2];
            }
            Wish::Radiograph => self.radiograph = !self.radiograph,
            Wish::Follow => self.follow_next(stage),
            Wish::Landmark => {
                let next = self.landmark.map_or(0, |l| l + 1);
                let count = stage.landmarks.len().max(1);
                self.go_to(stage, next % count);
            }
            Wish::Whole => self.show_place(stage, Place::Route, None),
            Wish::TurnLeft => self.turn(TURN_PX, 0.0),
            Wish::TurnRight => self.turn(-TURN_PX, 0.0),
            Wish::TurnUp => self.turn(0.0, TURN_PX),
            Wish::TurnDown => self.turn(0.0, -TURN_PX),
            Wish::Nearer => *self.view() = self.view().scaled(NEARER),
            Wish::Farther => *self.view() = self.view().scaled(1.0 / NEARER),
            Wish::Take => self.take_next(stage),
            Wish::Feed => self.pull(stage, 1.0),
            Wish::Draw => self.pull(stage, -1.0),
            Wish::FeedFar => self.pull(stage, 10.0),
            Wish::DrawFar => self.pull(stage, -10.0),
            Wish::LetGo => self.hand.let_go(),
            other => self.switch(other),
        }
    }

    fn switch(&mut self, wish: Wish) {
        match wish {
            Wish::Wall => self.shown.wall = !self.shown.wall,
            Wish::Context => self.shown.context = !self.shown.context,
            Wish::Contacts => self.shown.contacts = !self.shown.contacts,
            Wish::Names => self.names = !self.names,
            Wish::CloseUp => self.close_up = !self.close_up,
            Wish::Strip => self.strip = !self.strip,
            Wish::Theme => {
                self.theme = match self.theme {
                    Theme::Light => Theme::Dark,
                    Theme::Dark => Theme::Light,
                }
            }
            Wish::Larger => self.choose_size((self.size + 1).min(SIZES.len() - 1)),
            Wish::Smaller => self.choose_size(self.size.saturating_sub(1)),
            Wish::Screenshot => self.screenshot = true,
            Wish::Help => self.help = !self.help,
            Wish::Close if self.help => self.help = false,
            Wish::Close => self.closing = true,
            _ => {}
        }
    }

    fn choose_size(&mut self, size: usize) {
        self.size = size;
        self.size_chosen = true;
    }

    fn turn(&mut self, dx_px: f32, dy_px: f32) {
        *self.view() = self.view().turned(dx_px, dy_px);
    }

    fn follow_next(&mut self, stage: &Stage) {
        let moment = self.moment(stage);
        self.follow = next_of(&moment, self.follow);
        self.message = Some(match self.follow {
            Some(device) => {
                for k in self.on_screen() {
                    self.views[*k].height_mm = self.views[*k].height_mm.min(AROUND_MM);
                }
                format!("following the {}", stage.devices[device].name)
            }
            None => "following nothing".to_owned(),
        });
    }

    fn take_next(&mut self, stage: &Stage) {
        let moment = self.moment(stage);
        self.hand.device = next_of(&moment, self.hand.device);
        self.message = Some(match self.hand.device {
            Some(device) => format!("the {} is in hand", stage.devices[device].name),
            None => "nothing is in hand".to_owned(),
        });
    }

    /// Feeds the device in hand by so much, mm; negative: draws it back.
    pub fn pull(&mut self, stage: &Stage, by_mm: f64) {
        if self.hand.device.is_none() {
            self.message = Some("take a device in hand first: Tab, or its bar below".to_owned());
            return;
        }
        self.play.running = false;
        let moment = self.moment(stage);
        self.hand.pull(stage, &moment, by_mm);
    }
}

fn oblique(left_deg: f32) -> Angles {
    Angles {
        left_deg,
        head_deg: 0.0,
    }
}

fn whole(stage: &Stage, places: &Places) -> View {
    let stretch = places.stretch_mm(Place::Route, None);
    framed(&stage.plan().track, stretch, Angles::FRONTAL, 1.4)
}

/// The next device in the body; after the last one none.
fn next_of(moment: &Moment, now: Option<usize>) -> Option<usize> {
    let mut devices = moment.devices.iter().map(|d| d.device);
    match now {
        None => devices.next(),
        Some(now) => devices.find(|d| *d > now),
    }
}
