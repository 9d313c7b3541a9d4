//! Makes a film or a still of a stage.

use super::error::FilmError;
use super::frames::write_still;
use super::reel::{Format, Pace, Picture, Reel};
use super::script::Script;
use super::studio::{Shot, Studio, shots};
use crate::output::palette::Theme;
use crate::output::screen::{Adapter, Place};
use crate::stage::Stage;
use std::path::Path;

/// Pictures from which a GIF takes its palette.
const PALETTE_SAMPLES: usize = 6;

/// How a film is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FilmSettings {
    /// Size and frame rate. Default 1280 × 720 at 12 frames a second: smooth enough for what is
    /// moved by hand, and a third of the pictures of 30.
    pub pace: Pace,
    /// Length, s. Default 32.
    pub length_s: f64,
    /// Light or dark.
    pub theme: Theme,
    /// Numbers of the first and the last step it shows; none: all, up to where the plan breaks.
    pub steps: Option<(usize, usize)>,
    /// What every step is seen at; none: each where it happens.
    pub shot: Option<Place>,
    /// Where devices press is shown, with its force. Default: not.
    pub contacts: bool,
}

impl Default for FilmSettings {
    fn default() -> Self {
        Self {
            pace: Pace {
                width: 1280,
                height: 720,
                frames_per_s: 12,
            },
            length_s: 32.0,
            theme: Theme::Light,
            steps: None,
            shot: None,
            contacts: false,
        }
    }
}

/// What a film came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FilmReport {
    /// Frames.
    pub frames: u32,
    /// Pictures that were drawn for them; the others repeat one.
    pub drawn: usize,
    /// Most triangles in a picture.
    pub most_triangles: usize,
}

impl FilmSettings {
    /// Indices of the first and last step.
    fn range(&self, stage: &Stage) -> Result<(usize, usize), FilmError> {
        let count = stage.steps.len();
        let ends = stage.breaks_at.map_or(count, |step| step + 1);
        let (first, last) = self.steps.unwrap_or((1, ends));
        if first < 1 || last < first || last > count {
            return Err(FilmError::OutOfRange {
                what: "range of steps",
                found: format!("{first}-{last}"),
                needed: "two numbers of steps of the scene, the smaller one first",
            });
        }
        Ok((first - 1, last - 1))
    }

    fn check(&self) -> Result<(), FilmError> {
        self.pace.check()?;
        if !(5.0..=1800.0).contains(&self.length_s) {
            return Err(FilmError::OutOfRange {
                what: "length",
                found: format!("{} s", self.length_s),
                needed: "from 5 to 1800 s",
            });
        }
        Ok(())
    }

    /// Which steps the film dwells on.
    ///
    /// # Errors
    /// [`FilmError::OutOfRange`] for steps the scene has not, and settings out of range;
    /// [`FilmError::NoShot`] where none of them has what is to be shown.
    pub fn script(&self, stage: &Stage) -> Result<Script, FilmError> {
        self.check()?;
        let (first, last) = self.range(stage)?;
        let mut script = Script::new(stage, (first, last), self.length_s);
        let seen = self.shot.is_none_or(|shot| script.show_only(stage, shot));
        match self.shot {
            Some(shot) if !seen => Err(FilmError::NoShot {
                shot: shot.name(),
                first: first + 1,
                last: last + 1,
                lacks: if shot == Place::Edge {
                    "no stent is out"
                } else {
                    "no device moves"
                },
            }),
            _ => Ok(script),
        }
    }
}

/// Makes a film. `progress` is told how many pictures of how many are done.
///
/// # Errors
/// [`FilmError`] for settings out of range, a place that is taken, encoder and file system; nothing
/// is left behind then.
pub fn make_film(
    stage: &Stage,
    settings: &FilmSettings,
    adapter: &Adapter,
    path: &Path,
    replace: bool,
    progress: &mut dyn FnMut(usize, usize),
) -> Result<FilmReport, FilmError> {
    let script = settings.script(stage)?;
    let format = Format::of(path)?;
    Reel::free(path, format, replace)?;
    // what cannot be written is told before the work is done
    let begin = |samples: &[Picture]| Reel::begin(path, format, settings.pace, samples, replace);
    let early = match format {
        Format::Gif => None,
        Format::Mp4 | Format::Frames => Some(begin(&[])?),
    };
    let shots = shots(&script, settings.pace.frames_per_s);
    let size = (settings.pace.width, settings.pace.height);
    let mut studio = Studio::new(stage, adapter, settings.theme, size);
    studio.contacts = settings.contacts;
    let mut samples = Vec::new();
    if format == Format::Gif {
        let step = (shots.len() / PALETTE_SAMPLES).max(1);
        for (shot, _) in shots.iter().step_by(step) {
            samples.push(studio.draw(&script, shot));
        }
    }
    let mut reel = match early {
        Some(reel) => reel,
        None => begin(&samples)?,
    };
    let mut frames = 0;
    for (k, (shot, count)) in shots.iter().enumerate() {
        progress(k, shots.len());
        reel.add(&studio.draw(&script, shot), *count)?;
        frames += count;
    }
    reel.finish()?;
    progress(shots.len(), shots.len());
    Ok(FilmReport {
        frames,
        drawn: studio.drawn,
        most_triangles: studio.most_triangles,
    })
}

/// Writes one picture of the film: the end of the step with that number.
///
/// # Errors
/// [`FilmError`] for a step the scene has not, settings out of range, a place that is taken and those
/// of the file system.
pub fn make_still(
    stage: &Stage,
    settings: &FilmSettings,
    adapter: &Adapter,
    step: usize,
    path: &Path,
    replace: bool,
) -> Result<(), FilmError> {
    if !(1..=stage.steps.len()).contains(&step) {
        return Err(FilmError::OutOfRange {
            what: "step",
            found: step.to_string(),
            needed: "the number of a step of the scene",
        });
    }
    if path
        .extension()
        .is_none_or(|e| !e.eq_ignore_ascii_case("png"))
    {
        return Err(FilmError::Still {
            path: path.to_owned(),
        });
    }
    let only = FilmSettings {
        steps: Some((step, step)),
        ..*settings
    };
    let script = only.script(stage)?;
    let size = (settings.pace.width, settings.pace.height);
    let mut studio = Studio::new(stage, adapter, settings.theme, size);
    studio.contacts = settings.contacts;
    studio.still = true;
    let shot = Shot::Beat {
        beat: 0,
        share: 1.0,
        glide: 1.0,
    };
    write_still(path, &studio.draw(&script, &shot), replace)
}
