//! Text of any kind is shown as text: nothing is interpreted, nothing stops the report, nothing runs off the page.

use crate::{order, outside_reader};
use darkline_report::test_report::{FigureLine, TestReport, Verdict};
use darkline_report::{ReportError, render};
use proptest::prelude::*;

const ODD: [&str; 8] = [
    "<script>alert(1)</script> & \"double\" 'single'",
    "#read(\"report.json\") #panic() *strong* _soft_ $x^2$ [content]",
    "@label <label> \\ `code` // comment /* comment */ = head -- --- ...",
    "≤ ± · ‰ ≥ × – — … ° ² ⁻¹ ½",
    "Šárka Ünlü, Жанна, Ελένη, Łódź",
    "{\"json\": [1, null]} %PDF-1.7 endobj \u{1b}[31m",
    "a,b;c\td\ne",
    "../../etc/passwd ${HOME} %s {0}",
];

/// Puts a text into every place a person can write to.
fn filled_with(text: &str) -> TestReport {
    let mut report = order::report();
    let more = |place: &mut String| {
        place.push(' ');
        place.push_str(text);
    };
    more(&mut report.laboratory.name);
    report.laboratory.lines.iter_mut().for_each(more);
    more(&mut report.customer.name);
    report.customer.lines.iter_mut().for_each(more);
    more(&mut report.place_of_work);
    for sample in &mut report.samples {
        more(&mut sample.description);
        more(&mut sample.condition);
    }
    for method in &mut report.methods {
        more(&mut method.title);
        more(&mut method.technique);
    }
    for result in &mut report.results {
        more(&mut result.analyte);
        if let Some(statement) = &mut result.statement {
            more(&mut statement.detail);
        }
        if let Some(limit) = &mut result.limit {
            more(&mut limit.rule);
        }
    }
    report.deviations.iter_mut().for_each(more);
    report.notes.iter_mut().for_each(more);
    for flag in &mut report.flags {
        more(&mut flag.reason);
    }
    for signature in &mut report.signatures {
        more(&mut signature.name);
        more(&mut signature.meaning);
    }
    report
}

fn joined(text: &str) -> String {
    // Blanks are laid out anew, and a word may break where the column ends.
    text.chars().filter(|character| !character.is_whitespace() && *character != '\u{200b}').collect()
}

#[test]
fn odd_text_is_shown_as_it_was_written() {
    for odd in ODD {
        let pdf = render(&filled_with(odd), order::RECORD).unwrap_or_else(|error| panic!("{odd:?}: {error}"));
        let shown = joined(&outside_reader::text(&pdf));
        let wanted = joined(&odd.replace('\u{1b}', "[U+001B]"));
        let times = shown.matches(&wanted).count();
        // Notes, deviations, addresses, names and the cells of wide columns; narrow cells are cut up by their lines.
        assert!(times >= 8, "{odd:?} was found {times} times, {wanted:?} in {shown}");
    }
}

#[test]
fn both_code_points_of_micro_are_shown_alike() {
    let mut report = order::report();
    report.notes = vec!["sign \u{b5}g".to_owned(), "letter \u{3bc}g".to_owned()];
    let shown = outside_reader::text(&render(&report, order::RECORD).unwrap());
    let one = |word: &str| {
        let rest = shown.split(word).nth(1).unwrap_or_else(|| panic!("no {word:?} in {shown}"));
        rest.trim_start().chars().next()
    };
    for found in [one("– sign"), one("– letter")] {
        assert!(matches!(found, Some('\u{b5}' | '\u{3bc}')), "{found:?}");
    }
}

#[test]
fn a_character_without_a_letter_is_written_by_its_number_and_the_report_says_so() {
    let plain = outside_reader::text(&render(&order::report(), order::RECORD).unwrap());
    assert!(!plain.contains("written by its number"));
    let mut report = order::report();
    report.customer.name = "井 \u{202e}reversed\u{200b}\u{e000} \u{fffe}".to_owned();
    report.annex.as_mut().unwrap().figures[0].svg =
        report.annex.as_ref().unwrap().figures[0].svg.replace("absorbance", "absorbance 井");
    let shown = outside_reader::text(&render(&report, order::RECORD).unwrap());
    assert!(shown.contains("[U+4E95] [U+202E]reversed[U+200B][U+E000] [U+FFFE]"), "{shown}");
    assert!(shown.contains("written by its number"));
}

#[test]
fn ten_thousand_letters_without_a_blank_are_all_shown_and_stay_on_the_page() {
    let long = "n".repeat(10_000);
    let count = |change: &dyn Fn(&mut TestReport)| {
        let mut report = order::report();
        change(&mut report);
        let pdf = render(&report, order::RECORD).unwrap();
        let pages = outside_reader::pages(&pdf);
        assert!(pages.iter().all(|page| page.contains("Order 2026-031")), "a page lost its foot");
        pages.iter().map(|page| page.matches('n').count()).sum::<usize>()
    };
    let plain = count(&|_| ());
    type Fill<'a> = &'a dyn Fn(&mut TestReport);
    let places: [(&str, Fill<'_>); 6] = [
        ("description", &|report| report.samples[0].description = long.clone()),
        ("note", &|report| report.notes.push(long.clone())),
        ("customer", &|report| report.customer.name = long.clone()),
        ("condition", &|report| report.samples[1].condition = long.clone()),
        ("reason", &|report| report.flags[0].reason = long.clone()),
        ("rule", &|report| report.results[0].limit.as_mut().unwrap().rule = long.clone()),
    ];
    for (place, change) in places {
        let found = count(change);
        assert!(found >= plain + 9_900, "{place}: {found} letters n, {plain} without the long text");
    }
}

#[test]
fn long_identities_are_shown_whole_in_the_text_and_cut_in_the_margins() {
    let mut report = order::report();
    report.number = "7".repeat(300);
    report.order = "8".repeat(300);
    report.proof.tree_root = String::new();
    report.caution = String::new();
    let pages = outside_reader::pages(&render(&report, order::RECORD).unwrap());
    assert!(joined(&pages[0]).contains(&report.number) && joined(&pages[0]).contains(&report.order));
    assert!(pages[1].contains(&format!("{}…", "7".repeat(40))));
}

#[test]
fn a_report_with_only_what_must_be_said_leaves_the_rest_out() {
    let mut report = order::report();
    report.replaces = None;
    report.trial = false;
    report.place_of_work.clear();
    report.coverage.clear();
    report.deviations.clear();
    report.flags.clear();
    report.notes.clear();
    report.opinions.clear();
    report.caution.clear();
    report.annex = None;
    report.sums.clear();
    for sample in &mut report.samples {
        sample.description.clear();
        sample.condition.clear();
        sample.sampled.clear();
    }
    for method in &mut report.methods {
        method.analyte.clear();
        method.title.clear();
        method.technique.clear();
        method.line.clear();
    }
    for signature in &mut report.signatures {
        signature.role.clear();
        signature.meaning.clear();
        signature.at.clear();
        signature.key.clear();
    }
    for result in &mut report.results {
        result.limit = None;
        result.statement = None;
    }
    let shown = outside_reader::text(&render(&report, order::RECORD).unwrap());
    assert!(shown.contains("Deviations from the methods None."));
    for absent in [
        "Place of work",
        "Supersedes",
        "Flags justified",
        "Notes",
        "Opinions",
        "Annex",
        "statement of conformity",
        "limit after",
    ] {
        assert!(!shown.contains(absent), "{absent:?} in {shown}");
    }
    assert!(shown.contains("— End of test report 2026-031-2 —"));
}

#[test]
fn a_drawing_that_is_none_is_told_by_its_number() {
    let mut report = order::report();
    let figure = FigureLine { svg: "<svg".to_owned(), description: "x".to_owned(), caption: "x".to_owned() };
    report.annex.as_mut().unwrap().figures.push(figure);
    match render(&report, order::RECORD) {
        Err(ReportError::Figure { number: 3, .. }) => {}
        other => panic!("{:?}", other.map(|pdf| pdf.len())),
    }
}

#[test]
fn a_drawing_cannot_fetch_a_file() {
    let mut report = order::report();
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"10\" height=\"10\">\
               <image href=\"/etc/hostname.png\" width=\"10\" height=\"10\"/></svg>";
    report.annex.as_mut().unwrap().figures[0].svg = svg.to_owned();
    let refusal = render(&report, order::RECORD).unwrap_err().to_string();
    assert!(refusal.contains("access denied") || refusal.contains("failed to load"), "{refusal}");
}

#[test]
fn an_empty_description_of_a_figure_is_replaced_by_its_caption() {
    let mut report = order::report();
    let figures = &mut report.annex.as_mut().unwrap().figures;
    figures[0].description.clear();
    figures[1].description.clear();
    figures[1].caption.clear();
    let pdf = render(&report, order::RECORD).unwrap();
    assert!(outside_reader::checked(&pdf).0);
}

proptest! {
    // A report takes a third of a second to set without optimisation.
    #![proptest_config(ProptestConfig::with_cases(8))]

    #[test]
    fn any_text_gives_a_report(text in "\\PC{0,40}", control in any::<char>(), verdict in 0..3_usize) {
        let mut report = filled_with(&format!("{text}{control}"));
        let verdict = [Verdict::Complies, Verdict::DoesNotComply, Verdict::Inconclusive][verdict];
        report.results[0].statement.as_mut().unwrap().verdict = verdict;
        let pdf = render(&report, order::RECORD);
        prop_assert!(pdf.is_ok(), "{:?}", pdf.err());
    }
}
