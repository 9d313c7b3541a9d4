//! Every sentence the program can say of a step stands in a table, `tests/data/phrases.jsonl`, and is read there as an
//! operator would read it.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test may stop where it stands, and reads its table"
)]

use crate::support::root::root;
use nestline::procedure::reason::{
    Access, Ballooning, Exchange, Fit, Force, Image, Lesion, Lumen, LumenNeed, PartNeed,
    PayloadNeed, Precondition, RailNeed, Reach, RetrieverNeed, Retrieving, StentEdge, Stenting,
    Unknown, Vessel,
};
use nestline::procedure::{Finding, Reason, Severity};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// A finding and the words it is told in.
#[derive(Debug, Serialize, Deserialize)]
struct Phrase {
    severity: Severity,
    reason: Reason,
    #[serde(default)]
    text: String,
    #[serde(default)]
    help: Option<String>,
}

impl Phrase {
    fn name(&self) -> String {
        let value = serde_json::to_value(&self.reason).unwrap();
        value["name"].as_str().unwrap().to_owned()
    }
}

fn table() -> Vec<Phrase> {
    let text = std::fs::read_to_string(root().join("tests/data/phrases.jsonl")).unwrap();
    let lines = text.lines();
    lines
        .map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}")))
        .collect()
}

/// The names that an enumeration of reasons knows, from its own complaint about one it does not.
fn names<T: for<'a> Deserialize<'a>>() -> Vec<String> {
    let found = serde_json::from_str::<T>(r#"{"name":"no such reason"}"#);
    let complaint = found.err().unwrap().to_string();
    let listed = complaint.split("expected ").nth(1).unwrap();
    let names = listed.split('`').skip(1).step_by(2);
    names.map(str::to_owned).collect()
}

fn all_names() -> Vec<String> {
    [
        names::<Reach>(),
        names::<Fit>(),
        names::<Vessel>(),
        names::<Lesion>(),
        names::<Exchange>(),
        names::<Precondition>(),
        names::<LumenNeed>(),
        names::<RailNeed>(),
        names::<PartNeed>(),
        names::<PayloadNeed>(),
        names::<RetrieverNeed>(),
        names::<Access>(),
        names::<Stenting>(),
        names::<Ballooning>(),
        names::<Retrieving>(),
        names::<StentEdge>(),
        names::<Force>(),
        names::<Unknown>(),
        names::<Lumen>(),
        names::<Image>(),
    ]
    .concat()
}

#[test]
fn exact_every_reason_has_its_sentence_in_the_table() {
    let told: BTreeSet<String> = table().iter().map(Phrase::name).collect();
    let known = all_names();
    assert!(known.len() > 100, "{known:?}");
    for name in &known {
        assert!(told.contains(name), "`{name}` is not in the table");
    }
    assert_eq!(told.len(), known.len(), "a reason that there is no more");
}

#[test]
fn exact_sentences_are_those_of_the_table() {
    let mut wrong = String::new();
    for mut phrase in table() {
        let finding = Finding {
            severity: phrase.severity,
            reason: phrase.reason.clone(),
        };
        let (text, help) = (finding.in_words(), finding.help());
        if text != phrase.text || help != phrase.help {
            (phrase.text, phrase.help) = (text, help);
            wrong += &serde_json::to_string(&phrase).unwrap();
            wrong.push('\n');
        }
    }
    assert!(wrong.is_empty(), "write into the table:\n{wrong}");
}

#[test]
fn look_sentences_are_plain_words() {
    // pictures that only those who wrote the program understand
    const NOT_PLAIN: [&str; 14] = [
        "looks away",
        "rides over",
        "bias",
        "capstan",
        "out of hand",
        "abreast",
        "corner",
        "vertex",
        "residual",
        "converge",
        "Newton step",
        "NaN",
        "rods[",
        "--",
    ];
    for phrase in table() {
        let said = format!(
            "{} {}",
            phrase.text,
            phrase.help.clone().unwrap_or_default()
        );
        for word in NOT_PLAIN {
            assert!(
                !said.contains(word),
                "{}: `{word}` in: {said}",
                phrase.name()
            );
        }
        let first = phrase.text.chars().next().unwrap();
        assert!(!phrase.text.ends_with('.'), "{}: {said}", phrase.name());
        assert!(
            first.is_lowercase() || first.is_ascii_digit() || first == '`',
            "{}: {said}",
            phrase.name()
        );
        // told on a line of its own, with its step: more than that nobody reads
        assert!(
            phrase.text.chars().count() <= 300,
            "{}: {said}",
            phrase.name()
        );
    }
}
