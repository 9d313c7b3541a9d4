//! The verb `choose`: which stacks of a cabinet do a scene's script.

use super::plans::{DEFAULT_SCENE, code, load};
use super::{Stop, columns, laying, print};
use clap::Args;
use clap::builder::RangedU64ValueParser;
use nestline::data::{self, Edit, Source};
use nestline::output::choice_text;
use nestline::rehearsal::choose::{Asked, Choice, ChooseError, Wish, choose as among};
use nestline::units::parse_length_mm;
use std::ffi::{OsStr, OsString};
use std::path::PathBuf;
use std::process::ExitCode;

/// A scene, and what is asked of the cabinet.
#[derive(Debug, Clone, Args)]
pub(crate) struct ChooseArguments {
    /// Scene file; the built-in default scene if left out.
    scene: Option<OsString>,
    /// Folder with the device files to choose from; the built-in ones if left out.
    #[arg(long, value_name = "DIR")]
    cabinet: Option<PathBuf>,
    /// Let a device of the stack stay what the scene has; may be given several times.
    #[arg(long, value_name = "NAME")]
    keep: Vec<String>,
    /// Ask for a catheter that is long enough to reach so far beyond (-: short of) a place, whatever the script asks for:
    /// guide:stent+10mm.
    #[arg(long, value_name = "DEVICE:PLACE+LENGTH")]
    reach: Option<String>,
    /// So many of the best are told, and rehearsed with rods until as many hold.
    #[arg(long, value_name = "STACKS", default_value_t = 4, value_parser = RangedU64ValueParser::<usize>::new().range(1..=100))]
    best: usize,
    /// Rule lengths and nothing else: no stack is rehearsed with rods.
    #[arg(long)]
    ruler: bool,
    /// Change a value of vessel, device, script or step times for all stacks; may be given several times.
    #[arg(long = "set", value_name = "PATH=VALUE")]
    set: Vec<String>,
    /// Print every stack that is told apart, every reason with an example, and what may take which role.
    #[arg(long)]
    all: bool,
    /// Threads; their number changes no byte. All there are if left out.
    #[arg(long, value_parser = RangedU64ValueParser::<usize>::new().range(1..=1024))]
    threads: Option<usize>,
}

pub(crate) fn choose(arguments: &ChooseArguments, json: bool) -> Result<ExitCode, Stop> {
    let scene = arguments.scene.as_deref().unwrap_or(DEFAULT_SCENE.as_ref());
    let wish = arguments.reach.as_deref().map(wish).transpose()?;
    let edits = arguments.set.iter().map(|text| Edit::parse(text));
    let edits: Vec<Edit> = edits.collect::<Result<_, _>>()?;
    let loaded = load(scene, &edits)?;
    let cabinet = data::read_cabinet(arguments.cabinet.as_deref())?;
    let threads = arguments.threads;
    let mut asked = Asked::new(threads.unwrap_or_else(nestline::threads::all_of_them));
    asked.wish = wish;
    asked.keep.clone_from(&arguments.keep);
    asked.best = arguments.best;
    asked.ruler = arguments.ruler;
    let chosen = laying::watched("trying the stacks of the cabinet", || {
        among(&loaded.plan, &loaded.durations, &cabinet, &asked)
    });
    let choice: Choice = chosen.map_err(|error| refused(scene, &error))?;
    print(json, &choice, || {
        let told = (!arguments.all).then_some(arguments.best);
        choice_text(&choice, told, columns())
    })?;
    Ok(code(choice.verdict()))
}

fn refused(scene: &OsStr, error: &ChooseError) -> Stop {
    match error {
        ChooseError::Clock(error) => {
            data::not_rehearsed(&Source::from_argument(scene), &error.to_string()).into()
        }
        error => Stop::Refused(error.to_string()),
    }
}

/// `guide:stent+10mm`: a device, a place, and how far beyond it.
fn wish(text: &str) -> Result<Wish, Stop> {
    let refuse = |why: &str| {
        Stop::Refused(format!(
            "`--reach {text}`: {why}; write a device of the stack, a colon, a place and a length with its unit: guide:stent+10mm"
        ))
    };
    let (device, rest) = text.split_once(':').ok_or_else(|| refuse("no colon"))?;
    // names of places have hyphens of their own
    let signed = |(at, sign): &(usize, char)| {
        let length = &rest[at + 1..];
        *sign == '+' || (*sign == '-' && length.starts_with(|c: char| c.is_ascii_digit()))
    };
    let mut signs = rest.char_indices().filter(|(_, c)| matches!(c, '+' | '-'));
    let (place, by_mm) = match signs.rfind(signed) {
        None => (rest, 0.0),
        Some((at, sign)) => {
            let length = parse_length_mm(&rest[at + 1..]);
            let length = length.map_err(|error| refuse(&error.to_string()))?;
            (&rest[..at], if sign == '-' { -length } else { length })
        }
    };
    let (device, place) = (device.trim(), place.trim());
    if device.is_empty() || place.is_empty() {
        return Err(refuse("nothing before or behind the colon"));
    }
    if by_mm.is_nan() || by_mm.abs() > MOST_BEYOND_MM {
        return Err(refuse(&format!(
            "more than {MOST_BEYOND_MM} mm from the place"
        )));
    }
    Ok(Wish {
        device: device.to_owned(),
        place: place.to_owned(),
        by_mm,
    })
}

/// No route of a person is longer, mm.
const MOST_BEYOND_MM: f64 = 2000.0;
