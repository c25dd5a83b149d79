//! Holds a case of the packs: it runs through `darkline_qualification`, which asks this crate, and every figure must agree.

use darkline_qualification::{Comparison, Outcome, Source, Verdict, qualify, shipped};

/// Runs a shipped case, such as `uncertainty/gum-h1-end-gauge.toml`.
#[track_caller]
pub fn hold(path: &str) -> Vec<Comparison> {
    held(shipped::run(path, &|_, _| {}).cases, path)
}

/// Runs a case that a test writes itself.
#[track_caller]
pub fn hold_text(text: &str) -> Vec<Comparison> {
    let found = qualify(&[Source { name: "made.toml", text }], &|_, _| None, &|_, _| {});
    assert!(found.faults.is_empty(), "{:?}\n{text}", found.faults);
    held(found.cases, text)
}

#[track_caller]
fn held(cases: Vec<darkline_qualification::CaseReport>, what: &str) -> Vec<Comparison> {
    let mut all = Vec::new();
    for case in cases {
        let Outcome::Compared(comparisons) = case.outcome else { panic!("{what}: {:?}", case.outcome) };
        for comparison in comparisons {
            let known = matches!(comparison.verdict, Verdict::Agrees | Verdict::Difference(_));
            assert!(known, "{what}: {comparison:?}");
            all.push(comparison);
        }
    }
    assert!(!all.is_empty(), "{what} holds nothing");
    all
}

/// The figure found under a key.
#[track_caller]
pub fn figure(held: &[Comparison], key: &str) -> f64 {
    let found = held.iter().find(|comparison| comparison.key == key).and_then(|comparison| comparison.found.as_ref());
    found.and_then(darkline_qualification::Answer::number).unwrap_or_else(|| panic!("no figure {key}"))
}

/// The text of a shipped case with more keys asked for, each without a tolerance that could fail.
pub fn asking(path: &str, keys: &[&str]) -> String {
    let source = shipped::sources().into_iter().find(|source| source.name == path);
    let text = source.unwrap_or_else(|| panic!("{path} does not ship")).text;
    let more = |value: &str| keys.iter().map(|key| format!("{key} = {value}\n")).collect::<String>();
    text.replace("[expected]\n", &format!("[expected]\n{}", more("0.0")))
        .replace("[tolerance]\n", &format!("[tolerance]\n{}", more("inf")))
}
