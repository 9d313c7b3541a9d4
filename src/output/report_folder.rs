//! What goes into the folder of a report.

use super::csv_tables::{CsvTable, comparison_tables};
use super::everything::Everything;
use super::folder::Folder;
use super::report::{Plot, Report, comparison_html, comparison_plots};
use super::to_json;
use crate::rehearsal::Comparison;
use std::io;

impl Report<'_> {
    /// `report.html`, `report.json`, `tables/*.csv`, `plots/*.svg` and, on request, `plots/*.png`.
    ///
    /// # Errors
    /// Those of the writers of these formats; plots as PNG need a font on the machine.
    pub fn folder(&self, png: bool) -> io::Result<Folder> {
        let mut folder = Folder::default();
        folder.add("report.html", self.html());
        folder.add(
            "report.json",
            to_json(&Everything::of(self)).map_err(io::Error::other)?,
        );
        fill(&mut folder, &self.tables(), &self.plots(), png)?;
        Ok(folder)
    }
}

/// The same of a comparison; `vessel` names what the plans share.
///
/// # Errors
/// As [`Report::folder`].
pub fn comparison_folder(comparison: &Comparison, vessel: &str, png: bool) -> io::Result<Folder> {
    let mut folder = Folder::default();
    folder.add("report.html", comparison_html(comparison, vessel));
    folder.add(
        "report.json",
        to_json(comparison).map_err(io::Error::other)?,
    );
    fill(
        &mut folder,
        &comparison_tables(comparison),
        &comparison_plots(comparison),
        png,
    )?;
    Ok(folder)
}

fn fill(folder: &mut Folder, tables: &[CsvTable], plots: &[Plot], png: bool) -> io::Result<()> {
    for table in tables.iter().filter(|t| !t.is_empty()) {
        folder.add(format!("tables/{}.csv", table.name), table.text()?);
    }
    for plot in plots {
        folder.add(format!("plots/{}.svg", plot.name), plot.svg.as_str());
        if png {
            folder.add(format!("plots/{}.png", plot.name), plot.png()?);
        }
    }
    Ok(())
}
