//! The shipped cases with something changed in them: whatever stands there, every case has an answer in finite time.

use std::time::{Duration, Instant};

use darkline_qualification::{Source, qualify, shipped};

/// What takes the place of a value.
const ODD: &[&str] = &[
    "nan",
    "inf",
    "-inf",
    "0",
    "0.0",
    "-1",
    "-1.5",
    "1e308",
    "-1e308",
    "5e-324",
    "1e18",
    "9223372036854775807",
    "99999999999999999999",
    "1e400",
    "true",
    "\"\"",
    "\"words\"",
    "[]",
    "[1]",
    "[nan, 1e308]",
    "{}",
    "[{}]",
    "1979-05-27",
];

/// A sequence of choices that is the same in every run.
struct Choice(u64);

impl Choice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % n.max(1)
    }
}

/// A text with one line changed.
fn changed(text: &str, choice: &mut Choice) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let with_value: Vec<usize> =
        lines.iter().enumerate().filter(|(_, line)| line.contains(" = ")).map(|(place, _)| place).collect();
    let place = with_value[choice.below(with_value.len())];
    let (key, value) = lines[place].split_once(" = ").expect("the line has a value");
    let (key, value) = (key.to_owned(), value.to_owned());
    match choice.below(6) {
        0 => {
            lines.remove(place);
        }
        1 => lines[place] = format!("odd_{key} = {value}"),
        2 => lines.truncate(place),
        // One element of a list on the line.
        3 if value.starts_with('[') && value.ends_with(']') => {
            let inner = &value[1..value.len() - 1];
            let mut parts: Vec<&str> = inner.split(", ").collect();
            let at = choice.below(parts.len());
            parts[at] = ODD[choice.below(12)];
            lines[place] = format!("{key} = [{}]", parts.join(", "));
        }
        _ => lines[place] = format!("{key} = {}", ODD[choice.below(ODD.len())]),
    }
    lines.join("\n")
}

/// Cases that take their time in the development build and have their own answer to odd figures.
fn is_slow(source: &Source<'_>) -> bool {
    [
        "mcm",
        "argon2",
        "number_stream",
        "noise_sd",
        "heating_rate",
        "range_over",
        "kind = \"tietjen",
        "kind = \"grubbs_range",
    ]
    .iter()
    .any(|word| source.text.contains(word))
        || source.name.starts_with("handbook/")
}

#[test]
fn whatever_is_changed_in_a_case_it_has_an_answer() {
    let mut choice = Choice(2026);
    let mut told = Vec::new();
    for source in shipped::sources().iter().filter(|source| !is_slow(source)) {
        for _ in 0..4 {
            let text = changed(source.text, &mut choice);
            let began = Instant::now();
            let found = qualify(&[Source { name: source.name, text: &text }], &shipped::beside, &|_, _| {});
            let ended = found.all_faults().find(|fault| fault.what.contains("ended the computation"));
            if ended.is_some() || began.elapsed() > Duration::from_secs(20) {
                told.push(format!("{} after {:?}: {ended:?}\n{text}", source.name, began.elapsed()));
            }
        }
    }
    assert!(told.is_empty(), "{} cases:\n{}", told.len(), told.join("\n\n"));
}

#[test]
fn files_that_are_anything_but_cases_are_told_or_left_out() {
    for text in [
        "",
        "x = 1",
        "kind = 3",
        "kind = \"line\"",
        "[[case]]",
        "case = 3",
        "case = [1]",
        "[[odd_case]]\nx = 1",
        "\u{feff}id = 1",
    ] {
        let found = qualify(&[Source { name: "odd.toml", text }], &|_, _| None, &|_, _| {});
        let counts = found.counts();
        assert!(
            counts.agree == 0 && counts.faults + counts.unknown + found.without_cases.len() == 1,
            "{text:?}: {found:?}"
        );
    }
}
