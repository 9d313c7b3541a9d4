//! The verb `import`: centre lines of another program as a vessel file.

use super::{Stop, columns, print};
use clap::Args;
use nestline::data::{self, Columns, ImportOptions};
use nestline::output::{refuse_existing, traced_text, traced_vessel_text, write_text};
use std::path::PathBuf;
use std::process::ExitCode;

/// What the help ends with.
pub(crate) const IMPORT_EXAMPLE: &str = "Examples:
  nestline import neck.vtp --unit mm --landmark carotid-bifurcation=row:12 -o mine.ron
  nestline import head.swc --unit 0.35mm --onto embedded:vessels/left-tandem-type-2.ron -o mine.ron";

/// What is imported, and how.
#[derive(Debug, Clone, Args)]
pub(crate) struct ImportArguments {
    /// CSV with named columns, legacy VTK or XML polydata (VTP), or SWC.
    file: PathBuf,
    /// Unit of coordinates and radii: mm, cm, m, in, or a length for one of the file, such as 0.35mm. Never guessed.
    #[arg(long, value_name = "UNIT")]
    unit: String,
    /// Vessel file to write; printed if left out.
    #[arg(short, long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace the file if it exists.
    #[arg(long, visible_alias = "force")]
    replace: bool,
    /// Where the file's axes point, a letter each of L or R, A or P, S or I: LPS if left out, as vessels here are.
    #[arg(long, value_name = "LETTERS")]
    axes: Option<String>,
    /// Array or column that holds the radius; the one that is called so if left out.
    #[arg(long, value_name = "NAME")]
    radius: Option<String>,
    /// Columns of a table: x=NAME,y=NAME,z=NAME,radius=NAME,line=NAME.
    #[arg(long, value_name = "LIST", value_parser = Columns::parse, default_value = "")]
    columns: Columns,
    /// The end that flow comes in by, X,Y,Z in the file's unit or row:N; the widest end if left out.
    #[arg(long, value_name = "PLACE", allow_hyphen_values = true)]
    root: Option<String>,
    /// Where the route leads, [NAME=]PLACE; the end farthest from the root if left out.
    #[arg(long, value_name = "PLACE", allow_hyphen_values = true)]
    target: Option<String>,
    /// Join ends to lines as near as this; to those in whose lumen they lie if left out.
    #[arg(long, value_name = "LENGTH")]
    join: Option<String>,
    /// Strength of the smoothing; found by cross-validation if left out, 0mm hardly smooths.
    #[arg(long, value_name = "LENGTH")]
    smooth: Option<String>,
    /// A named place: NAME=X,Y,Z, NAME=row:N or NAME=BRANCH@35mm; may be given several times.
    #[arg(long = "landmark", value_name = "NAME=PLACE")]
    landmarks: Vec<String>,
    /// A lesion: NAME=WHERE,LENGTH,PERCENT, where it starts at a place or a landmark (+ 3mm).
    #[arg(long = "lesion", value_name = "NAME=WHERE,LENGTH,PERCENT")]
    lesions: Vec<String>,
    /// Make lesions of the narrowings that the radii show, instead of only telling them.
    #[arg(long)]
    take_narrowings: bool,
    /// A clot: NAME=WHERE,LENGTH.
    #[arg(long = "clot", value_name = "NAME=WHERE,LENGTH")]
    clots: Vec<String>,
    /// What the vessel is called; as its file if left out.
    #[arg(long)]
    name: Option<String>,
    /// Graft it into this measured vessel, so that a route from the groin or the wrist leads to it.
    #[arg(long, value_name = "VESSEL")]
    onto: Option<String>,
    /// Landmark of that vessel at which the piece begins; skull-base if left out.
    #[arg(long, value_name = "LANDMARK", requires = "onto")]
    from: Option<String>,
    /// Landmark from which that vessel goes on behind the piece.
    #[arg(long, value_name = "LANDMARK", requires = "onto")]
    go_on_at: Option<String>,
    /// Turn the piece about the vessel's direction at the joint, degrees.
    #[arg(
        long,
        value_name = "DEGREES",
        requires = "onto",
        default_value_t = 0.0,
        allow_hyphen_values = true
    )]
    roll: f64,
}

impl ImportArguments {
    fn options(&self) -> ImportOptions {
        ImportOptions::with(self.unit.clone(), |o| {
            o.axes.clone_from(&self.axes);
            o.radius.clone_from(&self.radius);
            o.columns.clone_from(&self.columns);
            o.root.clone_from(&self.root);
            o.target.clone_from(&self.target);
            o.join.clone_from(&self.join);
            o.smooth.clone_from(&self.smooth);
            o.landmarks.clone_from(&self.landmarks);
            o.lesions.clone_from(&self.lesions);
            o.take_narrowings = self.take_narrowings;
            o.clots.clone_from(&self.clots);
            o.name.clone_from(&self.name);
            o.onto.clone_from(&self.onto);
            o.from.clone_from(&self.from);
            o.go_on_at.clone_from(&self.go_on_at);
            o.roll_deg = self.roll;
        })
    }
}

pub(crate) fn import(arguments: &ImportArguments, json: bool) -> Result<ExitCode, Stop> {
    if let Some(out) = &arguments.out {
        refuse_existing(out, arguments.replace)?;
    }
    let vessel = data::import(&arguments.file, &arguments.options())?;
    let text = traced_vessel_text(&vessel);
    // what is written is read again before it is: nobody finds out later that it makes no vessel
    data::check_vessel_text(&text, "the vessel made of it")?;
    let written = arguments
        .out
        .as_ref()
        .map(|path| path.display().to_string());
    if let Some(out) = &arguments.out {
        write_text(out, &text, arguments.replace)?;
    }
    let branches = vessel.traced.branches.iter().zip(&vessel.names);
    let rows: Vec<_> = branches
        .map(|(branch, name)| serde_json::json!({ "name": name, "smoothing": branch.smoothing }))
        .collect();
    let report = serde_json::json!({
        "schema": "nestline.import", "version": 1, "written": written, "branches": rows,
        "told": vessel.traced.told, "vessel": text,
        "proposed": vessel.proposed.iter().map(|(branch, narrowing)| {
            serde_json::json!({ "branch": vessel.names[*branch], "narrowing": narrowing })
        }).collect::<Vec<_>>(),
    });
    print(json, &report, || match &written {
        Some(path) => format!("{}\nwritten: {path}", traced_text(&vessel, columns())),
        None => text,
    })?;
    Ok(ExitCode::SUCCESS)
}
