//! Where each value of a RON text stands.
//!
//! ron decodes into types and forgets where values came from; checks across fields come later and
//! know only a path such as `branches[2].lumen`. [`RonMap`] walks the same text without types,
//! takes whatever it finds, never fails, and so also serves to say which bracket is left open in a
//! text that ron refuses. It is not a validator: what it accepts may still be wrong.

use std::ops::Range;

/// Nesting that is followed; ron itself stops at 128, so deeper text is refused anyway, and the
/// walk cannot exhaust the stack.
const DEEPEST: usize = 160;

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Node {
    /// Bytes from the first to behind the last character, name and brackets included.
    pub(super) span: Range<usize>,
    /// Name in front of the parentheses, or a bare word.
    pub(super) name: Option<Range<usize>>,
    /// Its outer form.
    pub(super) shape: Shape,
    /// What is inside.
    pub(super) entries: Vec<Entry>,
}

/// The outer form of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// Number, text, bare word.
    Scalar,
    /// `( )`
    Group,
    /// `[ ]`
    List,
    /// `{ }`
    Map,
}

/// One entry of a group, list or map.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Entry {
    /// Bytes of the field's name or the map's key.
    pub(super) key: Option<Range<usize>>,
    /// The value.
    pub(super) value: Node,
}

/// The values of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct RonMap<'a> {
    text: &'a str,
    /// The outermost value.
    pub(super) root: Option<Node>,
    /// Opening brackets that nothing closes.
    pub(super) unclosed: Vec<usize>,
    /// Closing brackets that nothing opened.
    pub(super) stray: Vec<usize>,
}

/// What a path leads to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Found {
    /// Bytes of the value, or of the innermost value on the way that exists.
    pub(super) span: Range<usize>,
    /// Whether the whole path exists.
    pub(super) exact: bool,
}

impl Found {
    /// The part of the value worth underlining: all of it on one line, else its first line.
    pub(super) fn label(&self, text: &str) -> Range<usize> {
        head(text, &self.span)
    }
}

/// The first line of a span, without white space behind it.
pub(super) fn head(text: &str, span: &Range<usize>) -> Range<usize> {
    let words = text.get(span.clone()).unwrap_or("");
    let first = words.lines().next().unwrap_or("").trim_end();
    span.start..span.start + first.len()
}

enum Step<'p> {
    Field(&'p str),
    Index(usize),
}

/// Splits `script[3].act.to`; a piece that is no number in brackets is taken as a name.
fn steps(path: &str) -> impl Iterator<Item = Step<'_>> {
    path.split(['.', '['])
        .map(|piece| piece.trim_end_matches(']'))
        .filter(|piece| !piece.is_empty())
        .map(|piece| piece.parse().map_or(Step::Field(piece), Step::Index))
}

impl<'a> RonMap<'a> {
    /// Walks a text.
    pub(super) fn of(text: &'a str) -> Self {
        let mut walker = Walker {
            text,
            at: 0,
            open: Vec::new(),
            unclosed: Vec::new(),
            stray: Vec::new(),
        };
        walker.skip_attributes();
        let root = walker.value();
        walker.skip_blank();
        if let Some(')' | ']' | '}') = walker.peek() {
            walker.stray.push(walker.at);
        }
        Self {
            text,
            root,
            unclosed: walker.unclosed,
            stray: walker.stray,
        }
    }

    /// The words of a span.
    pub(super) fn words(&self, span: &Range<usize>) -> &'a str {
        self.text.get(span.clone()).unwrap_or("")
    }

    /// The name in front of the outermost parentheses.
    pub(super) fn root_name(&self) -> Option<&'a str> {
        Some(self.words(self.root.as_ref()?.name.as_ref()?))
    }

    /// Follows a path of field names and indices from the root.
    ///
    /// Parentheses that only wrap (`Some(…)`, `Measured((…))`) are passed through, and the name of
    /// an enum's variant may stand in the path or be left out.
    pub(super) fn locate(&self, path: &str) -> Found {
        let Some(mut node) = self.root.as_ref() else {
            return Found {
                span: 0..0,
                exact: path.is_empty(),
            };
        };
        for step in steps(path) {
            match self.follow(node, &step) {
                Some(next) => node = next,
                None => {
                    return Found {
                        span: node.span.clone(),
                        exact: false,
                    };
                }
            }
        }
        Found {
            span: node.span.clone(),
            exact: true,
        }
    }

    /// The value a path leads to, if all of it exists.
    pub(super) fn node(&self, path: &str) -> Option<&Node> {
        let mut node = self.root.as_ref()?;
        for step in steps(path) {
            node = self.follow(node, &step)?;
        }
        Some(node)
    }

    /// Paths of all values that have fields or stand alone, brackets that only wrap left out.
    pub(super) fn paths(&self) -> Vec<String> {
        let mut found = Vec::new();
        let mut pending: Vec<(String, &Node)> =
            self.root.iter().map(|node| (String::new(), node)).collect();
        while let Some((path, node)) = pending.pop() {
            if let Some(inner) = wrapped(node) {
                pending.push((path, inner));
                continue;
            }
            for (i, entry) in node.entries.iter().enumerate() {
                let path = match &entry.key {
                    Some(key) if path.is_empty() => self.words(key).to_owned(),
                    Some(key) => format!("{path}.{}", self.words(key)),
                    None => format!("{path}[{i}]"),
                };
                pending.push((path, &entry.value));
            }
            if !path.is_empty() {
                found.push(path);
            }
        }
        found.sort();
        found
    }

    /// Values at a path, an entry of a list standing for all of them.
    pub(super) fn alike(&self, path: &str) -> Vec<&Node> {
        let mut found: Vec<&Node> = self.root.iter().collect();
        for step in steps(path) {
            found = match step {
                Step::Field(_) => found
                    .into_iter()
                    .filter_map(|node| self.follow(node, &step))
                    .collect(),
                Step::Index(_) => found
                    .into_iter()
                    .flat_map(|node| (0..).map_while(|i| self.follow(node, &Step::Index(i))))
                    .collect(),
            };
        }
        found
    }

    /// A field of a value, brackets that only wrap passed through.
    pub(super) fn field<'n>(&self, node: &'n Node, name: &str) -> Option<&'n Node> {
        self.follow(node, &Step::Field(name))
    }

    /// The smallest value around `at`, one that starts there before one that ends there.
    pub(super) fn value_at(&self, at: usize) -> Option<Range<usize>> {
        let mut best: Option<Range<usize>> = None;
        self.visit(&mut |node, _| {
            let span = &node.span;
            let better = match &best {
                None => true,
                Some(b) => (span.start == at, b.len()) > (b.start == at, span.len()),
            };
            if span.start <= at && at <= span.end && better {
                best = Some(span.clone());
            }
        });
        best
    }

    fn follow<'n>(&self, mut node: &'n Node, step: &Step<'_>) -> Option<&'n Node> {
        loop {
            match *step {
                Step::Field(name) => {
                    let field = node.entries.iter().find(|entry| {
                        entry.key.as_ref().is_some_and(|key| {
                            let key = self.words(key);
                            key.strip_prefix("r#").unwrap_or(key).trim_matches('"') == name
                        })
                    });
                    if let Some(entry) = field {
                        return Some(&entry.value);
                    }
                    if node.name.as_ref().is_some_and(|n| self.words(n) == name) {
                        return Some(node);
                    }
                }
                Step::Index(index) => {
                    let wraps = wrapped(node).is_some_and(|inner| inner.shape != Shape::Scalar);
                    if let (Some(entry), false) = (node.entries.get(index), wraps) {
                        return Some(&entry.value);
                    }
                }
            }
            node = wrapped(node)?;
        }
    }

    /// The smallest value, key or name that ends at `at`, or else that contains it.
    pub(super) fn ending_at(&self, at: usize) -> Option<Range<usize>> {
        let mut best: Option<Range<usize>> = None;
        let mut take = |span: &Range<usize>| {
            let better = match &best {
                None => true,
                Some(b) => (span.end == at, b.len()) > (b.end == at, span.len()),
            };
            if span.start <= at && at <= span.end && better {
                best = Some(span.clone());
            }
        };
        self.visit(&mut |node, key| {
            take(&node.span);
            for word in [key, node.name.as_ref()].into_iter().flatten() {
                take(word);
            }
        });
        best
    }

    /// Path of the innermost value around `at`, and that value. With `inside` only brackets count
    /// that `at` stands between; without it also a value that ends there.
    pub(super) fn around(&self, at: usize, inside: bool) -> Option<(String, &Node)> {
        let mut path = String::new();
        let mut node = self.root.as_ref()?;
        loop {
            let next = node.entries.iter().enumerate().find(|(_, entry)| {
                let span = &entry.value.span;
                if inside {
                    entry.value.shape != Shape::Scalar && span.start < at && at < span.end
                } else {
                    span.start <= at && at <= span.end
                }
            });
            let Some((i, entry)) = next else {
                return Some((path, node));
            };
            match &entry.key {
                Some(key) if path.is_empty() => path.push_str(self.words(key).trim_matches('"')),
                Some(key) => {
                    path.push('.');
                    path.push_str(self.words(key).trim_matches('"'));
                }
                None if wrapped(node).is_some() => {}
                None => path.push_str(&format!("[{i}]")),
            }
            node = &entry.value;
        }
    }

    /// The value of the entry `name: "…"` with that name, or any text that reads so.
    pub(super) fn named(&self, name: &str) -> Option<Range<usize>> {
        let quoted = |span: &Range<usize>| {
            let words = self.words(span);
            words.starts_with('"') && words.trim_matches('"') == name
        };
        let (mut named, mut any) = (None, None);
        self.visit(&mut |node, key| {
            if node.shape == Shape::Scalar && quoted(&node.span) {
                let first = |old: &Option<Range<usize>>| {
                    old.as_ref().is_none_or(|old| node.span.start < old.start)
                };
                if key.is_some_and(|key| self.words(key) == "name") && first(&named) {
                    named = Some(node.span.clone());
                }
                if first(&any) {
                    any = Some(node.span.clone());
                }
            }
        });
        named.or(any)
    }

    /// The first text literal that runs over the end of its line and starts before `at`: most often
    /// one whose closing quote was forgotten.
    pub(super) fn broken_text(&self, at: usize) -> Option<Range<usize>> {
        let mut found: Option<Range<usize>> = None;
        self.visit(&mut |node, _| {
            let earlier = found.as_ref().is_none_or(|old| node.span.start < old.start);
            if node.shape == Shape::Scalar
                && node.span.start < at
                && earlier
                && self.words(&node.span).starts_with('"')
                && self.words(&node.span).contains('\n')
            {
                found = Some(node.span.clone());
            }
        });
        found
    }

    /// The value whose closing bracket stands at `at`.
    pub(super) fn closing_at(&self, at: usize) -> Option<Node> {
        let mut found = None;
        self.visit(&mut |node, _| {
            if node.shape != Shape::Scalar && node.span.end == at + 1 {
                found = Some(node.clone());
            }
        });
        found
    }

    fn visit(&self, each: &mut dyn FnMut(&Node, Option<&Range<usize>>)) {
        let mut pending: Vec<(&Node, Option<&Range<usize>>)> =
            self.root.iter().map(|node| (node, None)).collect();
        while let Some((node, key)) = pending.pop() {
            each(node, key);
            pending.extend(node.entries.iter().map(|e| (&e.value, e.key.as_ref())));
        }
    }
}

/// The only content of parentheses that merely wrap it.
fn wrapped(node: &Node) -> Option<&Node> {
    match node.entries.as_slice() {
        [only] if node.shape == Shape::Group && only.key.is_none() => Some(&only.value),
        _ => None,
    }
}

struct Walker<'a> {
    text: &'a str,
    at: usize,
    open: Vec<char>,
    unclosed: Vec<usize>,
    stray: Vec<usize>,
}

impl Walker<'_> {
    fn rest(&self) -> &str {
        &self.text[self.at..]
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn take_while(&mut self, keep: impl Fn(char) -> bool) {
        let rest = self.rest();
        self.at += rest.find(|c| !keep(c)).unwrap_or(rest.len());
    }

    /// White space (ron's set) and comments.
    fn skip_blank(&mut self) {
        loop {
            self.take_while(|c| c.is_whitespace() || matches!(c, '\u{200E}' | '\u{200F}'));
            if self.rest().starts_with("//") {
                self.take_while(|c| c != '\n');
            } else if self.rest().starts_with("/*") {
                self.skip_block_comment();
            } else {
                return;
            }
        }
    }

    fn skip_block_comment(&mut self) {
        let mut depth = 0_usize;
        loop {
            if self.rest().starts_with("/*") {
                depth += 1;
                self.at += 2;
            } else if self.rest().starts_with("*/") {
                depth -= 1;
                self.at += 2;
                if depth == 0 {
                    return;
                }
            } else if let Some(c) = self.peek() {
                self.at += c.len_utf8();
            } else {
                return;
            }
        }
    }

    fn skip_attributes(&mut self) {
        self.skip_blank();
        while self.rest().starts_with("#!") {
            self.take_while(|c| c != ']');
            self.take_while(|c| c == ']');
            self.skip_blank();
        }
    }

    /// Length of a plain or raw identifier here.
    fn word_length(&self) -> usize {
        let rest = self.rest();
        let raw = if rest.starts_with("r#") { 2 } else { 0 };
        let body = &rest[raw..];
        if !body.starts_with(|c: char| c == '_' || c.is_alphabetic()) {
            return 0;
        }
        let tail =
            |c: char| c == '_' || c.is_alphanumeric() || (raw > 0 && matches!(c, '.' | '+' | '-'));
        raw + body.find(|c| !tail(c)).unwrap_or(body.len())
    }

    /// Length of a text literal here, its quotes included; to the end where it is not closed.
    fn quoted_length(&self) -> Option<usize> {
        let rest = self.rest();
        let body = rest.strip_prefix('b').unwrap_or(rest);
        let before = rest.len() - body.len();
        if let Some(raw) = body.strip_prefix('r') {
            let hashes = raw.len() - raw.trim_start_matches('#').len();
            let inside = raw[hashes..].strip_prefix('"')?;
            let end = format!("\"{}", "#".repeat(hashes));
            let close = inside.find(&end).map_or(inside.len(), |i| i + end.len());
            return Some(before + 1 + hashes + 1 + close);
        }
        let quote = body.chars().next().filter(|c| matches!(c, '"' | '\''))?;
        let mut escaped = false;
        for (i, c) in body.char_indices().skip(1) {
            match c {
                _ if escaped => escaped = false,
                '\\' => escaped = true,
                _ if c == quote => return Some(before + i + 1),
                _ => {}
            }
        }
        Some(rest.len())
    }

    fn value(&mut self) -> Option<Node> {
        self.skip_blank();
        let start = self.at;
        if let Some(length) = self.quoted_length() {
            self.at += length;
            return Some(self.scalar(start, None));
        }
        match self.peek()? {
            ')' | ']' | '}' | ',' | ':' => None,
            '(' => Some(self.bracketed(start, None, Shape::Group, ')')),
            '[' => Some(self.bracketed(start, None, Shape::List, ']')),
            '{' => Some(self.bracketed(start, None, Shape::Map, '}')),
            first => {
                let word = self.word_length();
                if word == 0 {
                    self.at += first.len_utf8();
                    self.take_while(|c| {
                        !c.is_whitespace()
                            && !matches!(c, ',' | ':' | '(' | ')' | '[' | ']' | '{' | '}' | '/')
                    });
                    return Some(self.scalar(start, None));
                }
                self.at += word;
                let name = start..self.at;
                self.skip_blank();
                if self.peek() == Some('(') {
                    Some(self.bracketed(start, Some(name), Shape::Group, ')'))
                } else {
                    self.at = name.end;
                    Some(self.scalar(start, Some(name)))
                }
            }
        }
    }

    fn scalar(&self, start: usize, name: Option<Range<usize>>) -> Node {
        Node {
            span: start..self.at,
            name,
            shape: Shape::Scalar,
            entries: Vec::new(),
        }
    }

    fn bracketed(
        &mut self,
        start: usize,
        name: Option<Range<usize>>,
        shape: Shape,
        close: char,
    ) -> Node {
        let opening = self.at;
        self.at += 1;
        let mut entries = Vec::new();
        if self.open.len() >= DEEPEST {
            self.at = self.text.len();
            return self.node(start, name, shape, entries);
        }
        self.open.push(close);
        loop {
            self.skip_blank();
            match self.peek() {
                None => {
                    self.unclosed.push(opening);
                    break;
                }
                Some(c) if c == close => {
                    self.at += 1;
                    break;
                }
                Some(',' | ':') => self.at += 1,
                Some(c @ (')' | ']' | '}')) => {
                    if self.open.contains(&c) {
                        // belongs to a bracket further out: ours was forgotten
                        self.unclosed.push(opening);
                        break;
                    }
                    self.stray.push(self.at);
                    self.at += 1;
                }
                Some(_) => {
                    let before = self.at;
                    entries.extend(self.entry(shape));
                    if self.at == before {
                        self.at = self.text.len();
                    }
                }
            }
        }
        self.open.pop();
        self.node(start, name, shape, entries)
    }

    fn node(
        &self,
        start: usize,
        name: Option<Range<usize>>,
        shape: Shape,
        entries: Vec<Entry>,
    ) -> Node {
        Node {
            span: start..self.at,
            name,
            shape,
            entries,
        }
    }

    fn entry(&mut self, shape: Shape) -> Option<Entry> {
        let first = self.value()?;
        let end = self.at;
        self.skip_blank();
        let keyed = match shape {
            Shape::Group => first.shape == Shape::Scalar && first.name.is_some(),
            Shape::Map => true,
            _ => false,
        };
        if keyed && self.peek() == Some(':') {
            self.at += 1;
            let key = first.span;
            if let Some(value) = self.value() {
                return Some(Entry {
                    key: Some(key),
                    value,
                });
            }
            // a key without value: keep its place
            let value = Node {
                span: key.clone(),
                name: None,
                shape: Shape::Scalar,
                entries: Vec::new(),
            };
            return Some(Entry {
                key: Some(key),
                value,
            });
        }
        self.at = end;
        Some(Entry {
            key: None,
            value: first,
        })
    }
}

#[cfg(test)]
mod tests;
