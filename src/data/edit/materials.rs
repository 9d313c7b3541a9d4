//! Values of the table of materials changed from outside: a new value, or a factor (`x2`).
//!
//! A plain number is the new usual value; how well it is known does not change by that, so that least and most go along
//! in proportion. `stiffness.NAME` makes one device of the stack stiffer by a factor, its whole profile alike.

use super::{Edit, Edited, Target, replaced, value_at};
use crate::data::document::Document;
use crate::data::error::{DataError, Problem, listed, nearest};
use crate::data::map::RonMap;
use crate::data::materials_file::given_in;
use crate::procedure::Scene;

/// Groups of the table, as paths begin with them.
const GROUPS: [&str; 4] = ["friction", "plaque", "stiffness", "valves"];
/// Short names of single lines.
const SHORT: [(&str, &str); 2] = [
    ("wall", "stiffness.wall"),
    ("plaque", "plaque.stiffness_n_per_mm2"),
];
/// The group whose lines may also be devices.
const STIFFNESS: &str = "stiffness.";

/// The line of the table that a path names; none where it leads elsewhere.
fn line_of(path: &str) -> Option<&str> {
    if let Some((_, line)) = SHORT.iter().find(|(short, _)| *short == path) {
        return Some(line);
    }
    let path = path.strip_prefix("materials.").unwrap_or(path);
    let (group, rest) = path.split_once('.')?;
    let in_table = GROUPS.contains(&group) && !rest.is_empty();
    in_table.then_some(path)
}

/// The factor that a value is, where it is one: `x2`.
fn factor(value: &str) -> Option<f64> {
    let number: f64 = value.strip_prefix('x')?.trim().parse().ok()?;
    (number.is_finite() && number > 0.0).then_some(number)
}

/// A number without the dust of a product.
fn tidy(value: f64) -> String {
    // a billionth is less than any value here is known to
    format!("{}", (value * 1e9).round() / 1e9)
}

impl Edited {
    /// Makes a change to the table of materials; false where the path leads elsewhere.
    ///
    /// # Errors
    /// A [`DataError`] for a line that is not there, and for a value that it does not take.
    pub(super) fn change_materials(
        &mut self,
        scene: &Scene,
        edit: &Edit,
    ) -> Result<bool, DataError> {
        let Some(line) = line_of(&edit.path) else {
            return Ok(false);
        };
        let in_own = value_at(&self.materials, line).is_some();
        let document = match in_own {
            true => &self.materials,
            false => &self.usual_materials,
        };
        if let Some(old) = value_at(document, line) {
            edit.must_be_whole(usual_in(&old).as_deref())?;
            let changed = with_line(document, line, &old, edit)?;
            match in_own {
                true => self.materials = changed,
                false => self.usual_materials = changed,
            }
            return Ok(true);
        }
        let device = line
            .strip_prefix(STIFFNESS)
            .and_then(|name| scene.stack.iter().position(|entry| entry.name == name));
        match device {
            Some(device) => self.stiffen(device, edit).map(|()| true),
            None => Err(self.no_such_line(scene, edit)),
        }
    }

    /// Makes the bending stiffness of one device of the stack larger by a factor.
    fn stiffen(&mut self, device: usize, edit: &Edit) -> Result<(), DataError> {
        let Some(factor) = factor(&edit.value) else {
            return Err(DataError::new(
                Problem::NotAccepted,
                format!("`{}={}` is no factor", edit.path, edit.value),
            )
            .with_help(format!(
                "write by how much its bending stiffness grows or shrinks: {0}=x2, {0}=x0.5",
                edit.path
            )));
        };
        let target = Target::Device(device);
        let Some(document) = self.document(target) else {
            // a file that cannot be opened is refused by whoever reads the stack
            return Ok(());
        };
        let map = RonMap::of(&document.text);
        let lines = map.node("profile").map_or(0, |node| node.entries.len());
        if lines == 0 {
            return Err(DataError::new(
                Problem::NotAccepted,
                format!("`{}` names a part, and parts do not bend", edit.path),
            )
            .with_help("name a device of the stack"));
        }
        let mut text = document.text.clone();
        // from the end, so that places before stay where they are
        for i in (0..lines).rev() {
            let found = map.locate(&format!("profile[{i}].stiffness_n_mm2"));
            let old: Option<f64> = document
                .text
                .get(found.span.clone())
                .and_then(|old| old.parse().ok());
            if let (true, Some(old)) = (found.exact, old) {
                let new = tidy(old * factor);
                text = replaced(&text, found.span.start, found.span.end, &new).into();
            }
        }
        let document = document.with_text(text.to_string(), &edit.in_words());
        self.keep(target, document);
        Ok(())
    }

    /// A line that the table does not have, with those it has.
    fn no_such_line(&self, scene: &Scene, edit: &Edit) -> DataError {
        let known = self.known_materials(scene);
        let path = edit.path.strip_prefix("materials.").unwrap_or(&edit.path);
        let group = path.split('.').next().unwrap_or(path);
        let of_group = known.iter().filter(|name| {
            name.strip_prefix(group)
                .is_some_and(|rest| rest.starts_with('.'))
        });
        let there = listed(of_group.map(String::as_str));
        let help = match nearest(path, known.iter().map(String::as_str)) {
            Some(near) => format!("did you mean `{near}`? There are {there}"),
            None => format!("there are {there}"),
        };
        DataError::new(
            Problem::NotAccepted,
            format!("no value has the path `{}`", edit.path),
        )
        .with_help(help)
    }

    /// Every line of the table, and every device whose stiffness may be scaled.
    pub(super) fn known_materials(&self, scene: &Scene) -> Vec<String> {
        let map = RonMap::of(&self.usual_materials.text);
        let is_line = |path: &String| {
            let (group, line) = path.split_once('.').unwrap_or((path, ""));
            GROUPS.contains(&group) && !line.is_empty() && !line.contains(['.', '['])
        };
        let mut known: Vec<String> = map.paths().into_iter().filter(is_line).collect();
        let devices = scene.stack.iter().zip(&self.devices);
        known.extend(devices.filter_map(|(entry, document)| {
            let map = RonMap::of(&document.as_ref()?.text);
            map.node("profile")?;
            Some(format!("{STIFFNESS}{}", entry.name))
        }));
        known
    }
}

/// The three numbers of a line as it is written, and its basis with the quotes.
fn parts(line: &str) -> Option<([f64; 3], String)> {
    let map = RonMap::of(line);
    let entries = &map.root.as_ref()?.entries;
    let word = |i: usize| Some(map.words(&entries.get(i)?.value.span));
    let number = |i: usize| word(i)?.parse::<f64>().ok();
    let basis = word(3).unwrap_or("\"\"").to_owned();
    Some(([number(0)?, number(1)?, number(2)?], basis))
}

/// The usual value of a line.
fn usual_in(line: &str) -> Option<String> {
    let ([_, usual, _], _) = parts(line)?;
    Some(format!("{usual}"))
}

/// The table with another value in one line.
fn with_line(
    document: &Document,
    line: &str,
    old: &str,
    edit: &Edit,
) -> Result<Document, DataError> {
    let new = new_line(old, edit);
    let whole = edit.value.starts_with('(').then(|| edit.value.clone());
    let new = new.or(whole).ok_or_else(|| {
        DataError::new(
            Problem::NotAccepted,
            format!(
                "`{}={}` is no number, no factor and no range",
                edit.path, edit.value
            ),
        )
        .with_help(format!(
            "write {0}=0.06, {0}=x2 or {0}=(least, usual, most)",
            edit.path
        ))
    })?;
    let span = RonMap::of(&document.text).locate(line).span;
    let text = replaced(&document.text, span.start, span.end, &new);
    let changed = document.with_text(text, &edit.in_words());
    // refused here, where the change is known, as it would be in the file
    given_in(&changed).map(|_| changed)
}

/// How a line is written after a change; none where what it becomes is no number, no factor and no range.
fn new_line(old: &str, edit: &Edit) -> Option<String> {
    let (values, basis) = parts(old)?;
    let scaled = |factor: f64, basis: &str| {
        let [least, usual, most] = values.map(|value| tidy(value * factor));
        format!("({least}, {usual}, {most}, {basis})")
    };
    if let Some(factor) = factor(&edit.value) {
        let basis = format!("\"set to {} times: ", tidy(factor)) + basis.trim_start_matches('"');
        return Some(scaled(factor, &basis));
    }
    let basis = "\"set for this run, known as well as before\"";
    if let Ok(value) = edit.value.parse::<f64>() {
        let [.., usual, _] = values;
        return Some(match usual > 0.0 && value > 0.0 && value.is_finite() {
            true => scaled(value / usual, basis),
            false => format!("({value}, {value}, {value}, {basis})"),
        });
    }
    let range = edit.value.strip_prefix('(')?.strip_suffix(')')?;
    let numbers = range.split(',').map(|n| n.trim().parse::<f64>().ok());
    let numbers: Option<Vec<f64>> = numbers.collect();
    let [least, usual, most] = numbers?.try_into().ok()?;
    Some(format!("({least}, {usual}, {most}, \"set for this run\")"))
}
