use super::*;
use proptest::prelude::*;

/// A value of a file, and how to write it.
#[derive(Debug, Clone)]
enum Value {
    Scalar(String),
    List(Vec<Self>),
    Fields(Option<String>, Vec<(String, Self)>),
    Tuple(String, Vec<Self>),
    Map(Vec<(String, Self)>),
    Wrapped(String, Box<Self>),
}

/// Words between tokens: what a careless or a wordy author may put there.
const GAPS: [&str; 6] = [
    "",
    " ",
    "\n\t",
    " // a ) comment: [ \"\n",
    "/* nested /* ) */ ] */",
    "\r\n  ",
];

struct Writer {
    text: String,
    gaps: Vec<usize>,
    next: usize,
    written: Vec<(String, Range<usize>)>,
}

impl Writer {
    fn gap(&mut self) {
        self.next += 1;
        let gap = GAPS[self.gaps[self.next % self.gaps.len()]];
        self.text.push_str(gap);
    }

    fn bracketed(
        &mut self,
        path: &str,
        brackets: (&str, &str),
        entries: Vec<(String, String, &Value)>,
    ) {
        self.text.push_str(brackets.0);
        for (i, (head, step, value)) in entries.into_iter().enumerate() {
            if i > 0 {
                self.gap();
                self.text.push(',');
            }
            self.gap();
            if !head.is_empty() {
                self.text.push_str(&head);
                self.gap();
                self.text.push(':');
                self.gap();
            }
            self.value(&format!("{path}{step}"), value);
        }
        self.gap();
        self.text.push_str(brackets.1);
    }

    fn value(&mut self, path: &str, value: &Value) {
        let start = self.text.len();
        match value {
            Value::Scalar(words) => self.text.push_str(words),
            Value::List(values) => {
                let entries = indexed(values);
                self.bracketed(path, ("[", "]"), entries);
            }
            Value::Tuple(name, values) => {
                self.text.push_str(name);
                self.gap();
                let entries = indexed(values);
                self.bracketed(path, ("(", ")"), entries);
            }
            Value::Fields(name, fields) => {
                if let Some(name) = name {
                    self.text.push_str(name);
                    self.gap();
                }
                let entries = fields
                    .iter()
                    .map(|(key, v)| (key.clone(), format!(".{key}"), v))
                    .collect();
                self.bracketed(path, ("(", ")"), entries);
            }
            Value::Map(fields) => {
                let entries = fields
                    .iter()
                    .map(|(key, v)| (format!("\"{key}\""), format!(".{key}"), v))
                    .collect();
                self.bracketed(path, ("{", "}"), entries);
            }
            Value::Wrapped(name, inner) => {
                self.text.push_str(name);
                self.text.push('(');
                self.gap();
                // the wrapping has no step of its own: the path is that of the whole
                let before = self.written.len();
                self.value(path, inner);
                self.written.retain({
                    let mut i = 0;
                    move |(p, _)| {
                        i += 1;
                        i <= before || p != path
                    }
                });
                self.gap();
                self.text.push(')');
            }
        }
        self.written.push((path.to_owned(), start..self.text.len()));
    }
}

fn indexed(values: &[Value]) -> Vec<(String, String, &Value)> {
    values
        .iter()
        .enumerate()
        .map(|(i, v)| (String::new(), format!("[{i}]"), v))
        .collect()
}

fn scalar() -> impl Strategy<Value = Value> {
    prop_oneof![
        Just("12"),
        Just("-0.5e-3"),
        Just("true"),
        Just("Plaque"),
        Just("\"8 Fr\""),
        Just("\"with \\\" quote, ( and : inside // no comment\""),
        Just("r#\"raw \" [ text\"#"),
        Just("'\\''"),
        Just("\"µ °\""),
    ]
    .prop_map(|s| Value::Scalar(s.to_owned()))
}

/// Field names from a list that holds no two alike, in order.
fn keys(values: Vec<Value>) -> Vec<(String, Value)> {
    let names = ["length", "turn_deg", "r_2", "name", "über", "from"];
    names.iter().map(|n| (*n).to_owned()).zip(values).collect()
}

fn tree() -> impl Strategy<Value = Value> {
    scalar().prop_recursive(5, 60, 5, |inner| {
        let many = prop::collection::vec(inner.clone(), 0..6);
        prop_oneof![
            many.clone().prop_map(Value::List),
            (any::<bool>(), many.clone())
                .prop_map(|(named, v)| Value::Fields(named.then(|| "Run".to_owned()), keys(v))),
            prop::collection::vec(inner.clone(), 2..5)
                .prop_map(|v| Value::Tuple("Past".to_owned(), v)),
            many.clone().prop_map(|v| Value::Map(keys(v))),
            // what shows through a wrapping: fields and lists
            (any::<bool>(), many).prop_map(|(list, v)| {
                let inner = if list {
                    Value::List(v)
                } else {
                    Value::Fields(None, keys(v))
                };
                Value::Wrapped("Measured".to_owned(), Box::new(inner))
            }),
        ]
    })
}

proptest! {
    #[test]
    fn property_every_written_value_is_found(
        value in tree(),
        gaps in prop::collection::vec(0..GAPS.len(), 1..20),
    ) {
        let mut writer = Writer { text: String::new(), gaps, next: 0, written: Vec::new() };
        writer.gap();
        writer.value("", &value);
        writer.gap();
        let map = RonMap::of(&writer.text);
        prop_assert!(map.unclosed.is_empty() && map.stray.is_empty(), "{map:?}");
        for (path, span) in &writer.written {
            let path = path.trim_start_matches('.');
            let found = map.locate(path);
            prop_assert!(found.exact, "no {path} in {}", writer.text);
            prop_assert_eq!(&found.span, span, "{} in {}", path, writer.text);
        }
    }

    #[test]
    fn property_any_text_is_walked_without_harm(text in "[ -~\n\"'(\\[{}\\])/:,*r#µ]{0,200}") {
        let map = RonMap::of(&text);
        let found = map.locate("a.b[3].c");
        prop_assert!(text.get(found.label(&text)).is_some(), "label off in {text:?}");
        for at in 0..=text.len() {
            if let Some(span) = map.ending_at(at) {
                prop_assert!(text.get(span).is_some(), "span off in {text:?}");
            }
        }
    }
}

const SCENE: &str = r#"// a scene
#![enable(implicit_some)]
Scene(
    form: Measured((lesions: [(nascet_percent: 70)], clots: [])),
    script: [
        (act: Hold),
        (act: Advance(device: "guide", to: Past("arch", "3 cm"))),
        (act: Some(Wait(minutes: 5))),
    ],
)"#;

#[test]
fn exact_paths_of_our_files() {
    let map = RonMap::of(SCENE);
    assert_eq!(map.root_name(), Some("Scene"));
    for (path, words) in [
        ("form.lesions[0].nascet_percent", "70"),
        ("form.Measured.lesions[0].nascet_percent", "70"),
        ("form.clots", "[]"),
        ("script[0].act", "Hold"),
        ("script[1].act.to", r#"Past("arch", "3 cm")"#),
        ("script[1].act.Advance.to[1]", r#""3 cm""#),
        ("script[2].act.minutes", "5"),
    ] {
        let found = map.locate(path);
        assert!(found.exact, "{path} not found");
        assert_eq!(map.words(&found.span), words, "{path}");
    }
}

#[test]
fn exact_missing_value_leads_to_what_should_hold_it() {
    let map = RonMap::of(SCENE);
    let found = map.locate("script[1].act.nose");
    assert!(!found.exact, "there is no nose");
    assert!(
        map.words(&found.span).starts_with("Advance("),
        "{:?}",
        map.words(&found.span)
    );
    let found = map.locate("script[7].act");
    assert!(!found.exact, "there is no eighth step");
    assert_eq!(found.label(SCENE).len(), 1, "only the line of the bracket");
}

#[test]
fn exact_brackets_left_open() {
    for (text, unclosed, stray) in [
        ("A(b: [1, 2)", vec![5], vec![]),
        ("A(b: [(c: 1, (d: 2)])", vec![6], vec![]),
        ("A(b: 1))", vec![], vec![7]),
        ("A(b: [1, 2}, 3])", vec![], vec![10]),
        ("A(b: \"never closed)", vec![1], vec![]),
    ] {
        let map = RonMap::of(text);
        assert_eq!((map.unclosed, map.stray), (unclosed, stray), "{text}");
    }
}

#[test]
fn exact_deep_nesting_does_not_exhaust_the_stack() {
    let text = "(".repeat(1_000_000);
    let map = RonMap::of(&text);
    assert!(map.root.is_some(), "the outermost value is there");
}
