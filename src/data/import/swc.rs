//! Centre lines as SWC: a point a row, `number kind x y z radius parent`.

use super::lines::{File, RawLines, RawPoint, number};
use crate::data::error::DataError;
use std::collections::BTreeMap;

struct Node {
    point: RawPoint,
    /// Index of its parent.
    parent: Option<usize>,
    children: Vec<usize>,
}

/// Reads chains and trees of points.
pub(super) fn read(text: &str, file: &File<'_>) -> Result<RawLines, DataError> {
    let mut nodes: Vec<Node> = Vec::new();
    let mut parents: Vec<(i64, usize)> = Vec::new();
    let mut by_number: BTreeMap<i64, usize> = BTreeMap::new();
    for (i, line) in text.lines().enumerate() {
        let row = i + 1;
        let line = line.split('#').next().unwrap_or_default().trim();
        if line.is_empty() {
            continue;
        }
        let (own, parent, point) = node(line, row, file)?;
        if let Some(other) = by_number.insert(own, nodes.len()) {
            return Err(file.refuse_row(
                row,
                format!(
                    "the number {own} is taken by row {}",
                    nodes[other].point.row
                ),
                "give every point a number of its own",
            ));
        }
        parents.push((parent, row));
        nodes.push(Node {
            point,
            parent: None,
            children: Vec::new(),
        });
    }
    for (i, (parent, row)) in parents.into_iter().enumerate() {
        if parent < 0 {
            continue;
        }
        let Some(&parent) = by_number.get(&parent) else {
            return Err(file.refuse_row(
                row,
                format!("its parent, {parent}, is nowhere in the file"),
                "name the number of another point, or -1 where a line starts",
            ));
        };
        nodes[i].parent = Some(parent);
        nodes[parent].children.push(i);
    }
    let lines = chains(&nodes);
    let mut reached = vec![false; nodes.len()];
    for &i in lines.iter().flatten() {
        reached[i] = true;
    }
    if reached.contains(&false) {
        return Err(circle(&nodes, file));
    }
    Ok(RawLines {
        lines: lines
            .into_iter()
            .map(|line| line.into_iter().map(|i| nodes[i].point).collect())
            .collect(),
    })
}

fn node(line: &str, row: usize, file: &File<'_>) -> Result<(i64, i64, RawPoint), DataError> {
    let fields: Vec<&str> = line.split_whitespace().collect();
    let expected = "a row is: number kind x y z radius parent";
    if fields.len() < 7 {
        return Err(file.refuse_row(
            row,
            format!("the row has {} fields, needed are 7", fields.len()),
            expected,
        ));
    }
    let value = |i: usize, what: &str| {
        number(fields[i]).ok_or_else(|| {
            file.refuse_row(
                row,
                format!("{what} is `{}`, which is no number", fields[i]),
                expected,
            )
        })
    };
    let whole = |i: usize, what: &str| {
        fields[i].parse::<i64>().map_err(|_| {
            file.refuse_row(
                row,
                format!("{what} is `{}`, which is no whole number", fields[i]),
                expected,
            )
        })
    };
    let point = RawPoint {
        at: [value(2, "x")?, value(3, "y")?, value(4, "z")?],
        radius: value(5, "the radius")?,
        row,
    };
    Ok((whole(0, "its number")?, whole(6, "its parent")?, point))
}

/// Lines from every root and every division to the next division or end.
fn chains(nodes: &[Node]) -> Vec<Vec<usize>> {
    let mut lines = Vec::new();
    let roots = (0..nodes.len()).filter(|i| nodes[*i].parent.is_none());
    let mut open: Vec<Vec<usize>> = roots.map(|i| vec![i]).collect();
    open.reverse();
    while let Some(mut line) = open.pop() {
        while let Some(&last) = line.last() {
            match nodes[last].children.as_slice() {
                [only] => line.push(*only),
                [] => break,
                several => {
                    open.extend(several.iter().rev().map(|child| vec![last, *child]));
                    break;
                }
            }
        }
        // a root that divides at once starts no line of its own
        if line.len() > 1 || nodes[line[0]].children.is_empty() {
            lines.push(line);
        }
    }
    lines
}

fn circle(nodes: &[Node], file: &File<'_>) -> DataError {
    // whoever is not below a root hangs on itself: the first that is its own ancestor
    let own_ancestor = |start: usize| {
        let mut at = nodes[start].parent;
        for _ in 0..nodes.len() {
            match at {
                Some(i) if i == start => return true,
                Some(i) => at = nodes[i].parent,
                None => return false,
            }
        }
        false
    };
    // looking at all of a large file would take the square of its length
    let row = (0..nodes.len())
        .take(1000)
        .find(|i| own_ancestor(*i))
        .map_or(1, |i| nodes[i].point.row);
    file.refuse_row(
        row,
        "a line of parents comes back to where it began",
        "a vessel is a tree: give one of them another parent, or -1",
    )
}
