//! The reference page of all rules, made from the heads of the rule files.
//!
//! A rule file starts with its name and four paragraphs; the page gives each rule a section in the order of the list
//! `FIRST`, in which a run meets them. What is missing or does not fit together is told as a finding.

use std::fmt::Write as _;

use crate::finding::Finding;
use crate::house::House;
use crate::rust_text::RustText;

/// Where the page lies.
pub const PAGE: &str = "docs/reference/rules.md";

/// Where the rules lie.
pub const RULES: &str = "crates/quality/src/rules/";

/// Where they are listed.
pub const LIST: &str = "crates/quality/src/rules/mod.rs";

/// The four paragraphs of a head, in order.
const PARAGRAPHS: &[&str] = &["What it sees", "Why it matters", "What to do", "Source"];

/// A rule as its file tells it.
struct Rule<'a> {
    path: &'a str,
    module: &'a str,
    name: String,
    paragraphs: Vec<String>,
    severity: &'static str,
}

/// Whether the repository has rules already.
pub fn has_rules(house: &House) -> bool {
    house.text(LIST).is_some()
}

/// The page, and what does not fit together.
pub fn make(house: &House) -> (String, Vec<Finding>) {
    let mut findings = Vec::new();
    let mut rules: Vec<Rule<'_>> = house
        .texts_in(RULES, ".rs")
        .filter(|(path, _)| *path != LIST)
        .filter_map(|(path, text)| read(path, text, &mut findings))
        .collect();
    let listed = house.text(LIST).map(listed).unwrap_or_default();
    for rule in rules.iter().filter(|rule| !listed.iter().any(|module| module == rule.module)) {
        findings.push(Finding::at(
            rule.path,
            format!("is not in the list of rules; write {}::RULE into {LIST}", rule.module),
        ));
    }
    rules.sort_by_key(|rule| listed.iter().position(|module| module == rule.module).unwrap_or(listed.len()));
    (page(&rules), findings)
}

/// The rules of all lists in `mod.rs`, in order: `blank_above_limit::RULE` is `blank_above_limit`.
fn listed(text: &str) -> Vec<String> {
    let mut listed = Vec::new();
    for (_, code) in RustText::read(text).code_lines() {
        for (place, _) in code.match_indices("::RULE") {
            let is_outside = |character: char| !character.is_alphanumeric() && character != '_';
            listed.extend(code[..place].rsplit(is_outside).next().map(str::to_owned));
        }
    }
    listed
}

fn read<'a>(path: &'a str, text: &str, findings: &mut Vec<Finding>) -> Option<Rule<'a>> {
    let module = path.strip_prefix(RULES)?.strip_suffix(".rs")?;
    let name = module.replace('_', "-");
    let rust = RustText::read(text);
    let head = rust.head();
    if head.first() != Some(&name.as_str()) {
        findings.push(Finding::on(path, 1, format!("starts without the name of the rule; write `//! {name}`")));
    }
    if !rust.spoken().any(|piece| piece.text == name) {
        findings.push(Finding::at(path, format!("names its rule otherwise than its file; write `name: \"{name}\"`")));
    }
    let mut paragraphs = Vec::new();
    for title in PARAGRAPHS {
        let paragraph = paragraph(&head, title);
        if paragraph.is_empty() || paragraph.contains('…') {
            findings.push(Finding::on(path, 1, format!("its head does not say `{title}:`")));
        }
        paragraphs.push(paragraph);
    }
    let code: String = rust.code_lines().map(|(_, code)| code).collect();
    let severity = match (code.contains("Severity::Stops"), code.contains("Severity::Tells")) {
        (true, false) => "Stops the report until it is settled.",
        (false, true) => "Is told, and stops nothing.",
        (true, true) => "Stops the report or is only told, as the evidence demands.",
        (false, false) => {
            findings.push(Finding::at(path, "raises no flag of its own severity; a rule says what it stops"));
            ""
        }
    };
    Some(Rule { path, module, name, paragraphs, severity })
}

/// A paragraph of the head: what follows its title, up to the next title or an empty line.
fn paragraph(head: &[&str], title: &str) -> String {
    let begins = |line: &str| PARAGRAPHS.iter().any(|title| line.starts_with(&format!("{title}:")));
    let mut lines = head.iter().skip_while(|line| !line.starts_with(&format!("{title}:")));
    let Some(first) = lines.next() else {
        return String::new();
    };
    let mut words = vec![first[title.len() + 1..].trim()];
    words.extend(lines.take_while(|line| !line.is_empty() && !begins(line)).map(|line| line.trim()));
    words.join(" ").trim().to_owned()
}

fn page(rules: &[Rule<'_>]) -> String {
    let mut out = String::from(
        "# Rules\n\n\
        <!-- Written by `cargo xtask docs` from the heads of crates/quality/src/rules/*.rs; change it there. -->\n\n\
        A rule looks at a run and raises a flag where it sees what its name says. They stand in the order in which a run \
        meets them.\n\n\
        | rule | what it sees |\n|---|---|\n",
    );
    // Writing to a String cannot fail.
    for rule in rules {
        let _ = writeln!(out, "| [`{0}`](#{0}) | {1} |", rule.name, rule.paragraphs[0].replace('|', "\\|"));
    }
    for rule in rules {
        let _ = write!(out, "\n## {}\n", rule.name);
        for (title, paragraph) in PARAGRAPHS.iter().zip(&rule.paragraphs) {
            let _ = write!(out, "\n**{title}:** {paragraph}\n");
            if *title == "What to do" {
                let _ = write!(out, "\n**How serious:** {}\n", rule.severity);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const BLANK: &str = "//! blank-above-limit\n//!\n//! What it sees: a blank\n//! that is high.\n//! Why it matters: b.\n\
        //! What to do: c.\n//! Source: d.\n\nconst RULE: Rule = Rule { name: \"blank-above-limit\" };\nlet a = Severity::Stops;\n";

    const MOD: &str = "//! All rules.\npub const FIRST: &[Rule] = &[over_range::RULE, blank_above_limit::RULE];\n";

    fn over_range() -> String {
        BLANK.replace("blank-above-limit", "over-range").replace("Severity::Stops", "Severity::Tells")
    }

    #[test]
    fn each_rule_has_a_section_in_the_order_of_the_list() {
        let over_range = over_range();
        let house = House::made_up(&[
            ("crates/quality/src/rules/blank_above_limit.rs", BLANK),
            ("crates/quality/src/rules/over_range.rs", &over_range),
            (LIST, MOD),
        ]);
        let (page, findings) = make(&house);
        assert_eq!(findings, []);
        assert!(page.find("## over-range").unwrap() < page.find("## blank-above-limit").unwrap());
        assert!(page.contains("**What it sees:** a blank that is high.\n"));
        assert!(page.contains("**How serious:** Stops the report until it is settled.\n"));
        assert!(page.contains("| [`over-range`](#over-range) | a blank that is high. |"));
    }

    fn told(path: &str, text: &str) -> Vec<String> {
        make(&House::made_up(&[(path, text), (LIST, MOD)])).1.into_iter().map(|finding| finding.said).collect()
    }

    #[test]
    fn a_rule_that_no_list_names_is_told() {
        let text = BLANK.replace("blank-above-limit", "carry-over");
        let said = told("crates/quality/src/rules/carry_over.rs", &text);
        assert_eq!(said, [format!("is not in the list of rules; write carry_over::RULE into {LIST}")]);
    }

    #[test]
    fn a_paragraph_left_out_or_left_open_is_told() {
        let path = "crates/quality/src/rules/blank_above_limit.rs";
        assert_eq!(
            told(path, &BLANK.replace("//! Why it matters: b.\n", "")),
            ["its head does not say `Why it matters:`"]
        );
        assert_eq!(told(path, &BLANK.replace("//! Source: d.", "//! Source: …")), ["its head does not say `Source:`"]);
    }

    #[test]
    fn a_file_and_its_rule_have_one_name() {
        let path = "crates/quality/src/rules/over_range.rs";
        assert_eq!(told(path, BLANK).len(), 2);
    }
}
