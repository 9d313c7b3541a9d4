//! How built-in files write a field: values to show, and to try, where a file leaves one out.

use super::map::{Node, RonMap};
use super::source::Source;

/// What a built-in file of the same kind has where `field` of `holder`, at `path`, is missing.
pub(super) fn example(
    map: &RonMap<'_>,
    path: &str,
    holder: &Node,
    field: &str,
) -> Option<&'static str> {
    let name = holder.name.as_ref().map(|name| map.words(name));
    Source::embedded().find_map(|(_, text)| {
        let known = RonMap::of(text);
        if known.root_name() != map.root_name() {
            return None;
        }
        let alike = known.alike(path).into_iter().find_map(|node| {
            let same = name.is_none() || node.name.as_ref().map(|n| known.words(n)) == name;
            let value = known.field(node, field).filter(|_| same)?;
            Some(value.span.clone())
        })?;
        text.get(alike)
    })
}
