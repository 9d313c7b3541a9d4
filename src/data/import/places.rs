//! Places on an imported vessel: landmarks, lesions, clots, targets, and what it is grafted into.

use super::lines::File;
use super::{ImportOptions, refused};
use crate::data::error::{DataError, Problem, choices};
use crate::data::map::RonMap;
use crate::data::source::Source;
use crate::geometry::Point;
use crate::geometry::traced::{Spot, TracedLesion, TracedOnto, TracedVessel, narrowings};
use crate::units::parse_length_mm;

/// The landmark at which a piece is grafted where nothing is said: whoever has the head only has it from there on.
const GRAFTED_AT: &str = "skull-base";
/// What the end of the route is called.
const FAR_END: &str = "far-end";

fn refuse(what: impl std::fmt::Display, help: impl std::fmt::Display) -> DataError {
    DataError::new(Problem::NotAccepted, what).with_help(help)
}

/// A name before an equals sign, if there is one.
pub(super) fn named(text: &str) -> (Option<&str>, &str) {
    match text.split_once('=') {
        Some((name, rest)) => (Some(name.trim()), rest),
        None => (None, text),
    }
}

/// `X,Y,Z` in the file's unit or `row:N`.
pub(super) fn spot(text: &str, to_mm: &impl Fn([f64; 3]) -> Point) -> Result<Spot, DataError> {
    let help = "write a point of the file as X,Y,Z in its unit, or the row it stands in as row:N";
    let wrong = || {
        refuse(
            format!("`{}` is no place", crate::data::plainly(text)),
            help,
        )
    };
    let text = text.trim();
    if let Some(row) = text
        .strip_prefix("row:")
        .or_else(|| text.strip_prefix("point:"))
    {
        return row.trim().parse().map(Spot::Row).map_err(|_| wrong());
    }
    let numbers: Vec<f64> = text
        .split(',')
        .filter_map(|n| n.trim().parse().ok())
        .collect();
    match numbers.as_slice() {
        [x, y, z] if text.split(',').count() == 3 && numbers.iter().all(|n| n.is_finite()) => {
            Ok(Spot::Point(to_mm([*x, *y, *z])))
        }
        _ => Err(wrong()),
    }
}

/// Places everything that was asked for.
pub(super) fn place_all(
    vessel: &mut TracedVessel,
    options: &ImportOptions,
    file: &File<'_>,
    to_mm: &impl Fn([f64; 3]) -> Point,
) -> Result<(), DataError> {
    for text in &options.landmarks {
        let (name, place) = with_name(text, "--landmark")?;
        let (branch, at_mm) = place_of(vessel, place, file, to_mm)?;
        vessel.landmarks.push((name, branch, at_mm));
    }
    let branches = vessel.names.len();
    for branch in 0..branches {
        let length_mm = vessel.traced.branches[branch].curve.length_mm();
        let found = narrowings(&vessel.lumen(branch), length_mm);
        vessel
            .proposed
            .extend(found.into_iter().map(|one| (branch, one)));
    }
    if options.take_narrowings {
        for (i, (branch, narrowing)) in std::mem::take(&mut vessel.proposed).into_iter().enumerate()
        {
            let name = if i == 0 {
                "lesion".to_owned()
            } else {
                format!("lesion-{}", i + 1)
            };
            vessel.take_narrowing(name, branch, &narrowing);
        }
    }
    for text in &options.lesions {
        let (name, rest) = with_name(text, "--lesion")?;
        let [place, length, percent] = parted(rest, "--lesion NAME=WHERE,LENGTH,PERCENT")?;
        let (branch, start_mm) = place_of(vessel, place, file, to_mm)?;
        let percent = percent.trim().trim_end_matches('%').trim();
        let percent: f64 = percent
            .parse()
            .ok()
            .filter(|p| (0.0..100.0).contains(p))
            .ok_or_else(|| {
                refuse(
                    format!("--lesion: `{percent}` is no percentage"),
                    "NASCET percent, 0 to below 100",
                )
            })?;
        let length_mm = length_of(length)?;
        vessel.lesions.push(TracedLesion::new(
            name, branch, start_mm, length_mm, percent,
        ));
    }
    for text in &options.clots {
        let (name, rest) = with_name(text, "--clot")?;
        let Some((place, length)) = rest.rsplit_once(',') else {
            return Err(refuse(
                "--clot: a place and a length are needed",
                "--clot NAME=WHERE,LENGTH",
            ));
        };
        let (branch, start_mm) = place_of(vessel, place, file, to_mm)?;
        vessel
            .clots
            .push((name, branch, start_mm, length_of(length)?));
    }
    targets(vessel, options, file, to_mm)?;
    vessel.onto = options
        .onto
        .as_deref()
        .map(|onto| graft_of(onto, options))
        .transpose()?;
    Ok(())
}

fn with_name<'a>(text: &'a str, option: &str) -> Result<(String, &'a str), DataError> {
    match named(text) {
        (Some(name), rest) => Ok((name.to_owned(), rest)),
        (None, _) => Err(refuse(
            format!("{option}: `{}` has no name", crate::data::plainly(text)),
            format!("write {option} NAME=WHERE, such as {option} carotid-bifurcation=row:12"),
        )),
    }
}

/// The last two of what commas part, and the rest in front.
fn parted<'a>(text: &'a str, form: &str) -> Result<[&'a str; 3], DataError> {
    let mut parts = text.rsplitn(3, ',');
    match (parts.next(), parts.next(), parts.next()) {
        (Some(last), Some(middle), Some(first)) => Ok([first, middle, last]),
        _ => Err(refuse(
            format!("`{}` is not whole", crate::data::plainly(text)),
            form,
        )),
    }
}

fn length_of(text: &str) -> Result<f64, DataError> {
    let mm = parse_length_mm(text)
        .map_err(|error| refuse(error.to_string(), "a length such as 18mm"))?;
    if mm > 0.0 {
        Ok(mm)
    } else {
        Err(refuse(format!("the length is {mm} mm"), "a length above 0"))
    }
}

/// Branch and arc length of a place: a spot, `BRANCH@35mm`, or a landmark with or without a length.
fn place_of(
    vessel: &TracedVessel,
    text: &str,
    file: &File<'_>,
    to_mm: &impl Fn([f64; 3]) -> Point,
) -> Result<(usize, f64), DataError> {
    let text = text.trim();
    if let Some((name, at)) = text.split_once('@') {
        let names = || vessel.names.iter().map(String::as_str);
        let found = vessel.names.iter().position(|n| n == name.trim());
        let branch = found.ok_or_else(|| {
            refuse(
                format!("no branch is named `{name}`"),
                choices(name, names()),
            )
        })?;
        let length_mm = vessel.traced.branches[branch].curve.length_mm();
        let at_mm = if at.trim() == "end" {
            length_mm
        } else {
            parse_length_mm(at).unwrap_or(f64::NAN)
        };
        return within(vessel, branch, at_mm, text);
    }
    let known = |name: &str| vessel.landmarks.iter().find(|l| l.0 == name);
    let (name, off) = match [" + ", "+", " - "]
        .iter()
        .find_map(|sign| text.split_once(sign).map(|p| (p, *sign)))
    {
        Some(((name, off), sign)) if known(name.trim()).is_some() => {
            let off_mm = parse_length_mm(off)
                .map_err(|error| refuse(error.to_string(), "a length such as 3mm"))?;
            (name.trim(), if sign == " - " { -off_mm } else { off_mm })
        }
        _ => (text, 0.0),
    };
    if let Some((_, branch, at_mm)) = known(name) {
        return within(vessel, *branch, at_mm + off, text);
    }
    let spot = spot(text, to_mm)?;
    vessel
        .traced
        .place(spot)
        .map_err(|fault| refused(file, &fault))
}

fn within(
    vessel: &TracedVessel,
    branch: usize,
    at_mm: f64,
    text: &str,
) -> Result<(usize, f64), DataError> {
    let length_mm = vessel.traced.branches[branch].curve.length_mm();
    if (0.0..=length_mm + 1e-9).contains(&at_mm) {
        return Ok((branch, at_mm.min(length_mm)));
    }
    let name = &vessel.names[branch];
    Err(refuse(
        format!(
            "`{}` does not lie on `{name}`, which goes from 0 to {length_mm:.1} mm",
            crate::data::plainly(text)
        ),
        "give a length along the branch, such as trunk@35mm, or its end: trunk@end",
    ))
}

fn targets(
    vessel: &mut TracedVessel,
    options: &ImportOptions,
    file: &File<'_>,
    to_mm: &impl Fn([f64; 3]) -> Point,
) -> Result<(), DataError> {
    let first = match &options.target {
        Some(text) => {
            let (name, place) = named(text);
            let (branch, at_mm) = place_of(vessel, place, file, to_mm)?;
            (name.unwrap_or("target").to_owned(), branch, at_mm)
        }
        None => (
            FAR_END.to_owned(),
            0,
            vessel.traced.branches[0].curve.length_mm(),
        ),
    };
    let others = vessel
        .landmarks
        .iter()
        .filter(|l| l.1 == 0 && l.2 > 0.0 && l.0 != first.0)
        .cloned();
    let others: Vec<_> = others.collect();
    vessel.targets.push(first);
    vessel.targets.extend(others);
    Ok(())
}

/// The measurements of another vessel file, as they stand there.
fn graft_of(onto: &str, options: &ImportOptions) -> Result<TracedOnto, DataError> {
    let source = Source::from_argument(onto);
    let vessel = super::super::read_vessel(&source)?;
    let text = source.read()?;
    let map = RonMap::of(&text);
    let form = map.node("form").filter(|_| vessel.measurements.is_some());
    let inner = form.and_then(|form| form.entries.first());
    let Some(inner) = inner else {
        return Err(refuse(
            format!("`{source}` is not a measured vessel"),
            "graft onto a vessel with a measured form: `nestline measure --new` writes one, embedded:vessels/left-tandem-type-2.ron is one",
        ));
    };
    let from = options
        .from
        .clone()
        .unwrap_or_else(|| GRAFTED_AT.to_owned());
    let names = || vessel.tree.landmarks.iter().map(|l| l.name.as_str());
    for name in [Some(&from), options.go_on_at.as_ref()]
        .into_iter()
        .flatten()
    {
        if !names().any(|known| known == name) {
            return Err(refuse(
                format!("`{source}` has no landmark `{name}`"),
                choices(name, names()),
            ));
        }
    }
    let mut graft = TracedOnto::new(map.words(&inner.value.span).to_owned(), from);
    graft.go_on_at.clone_from(&options.go_on_at);
    graft.roll_deg = options.roll_deg;
    Ok(graft)
}
