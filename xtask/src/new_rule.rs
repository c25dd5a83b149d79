//! `cargo xtask new-rule NAME`: the first lines of a rule in the style of its neighbours.
//!
//! Writes the file, its `mod` line and its entry in the list. What is left open is written `…`, which the tidy checks
//! refuse, and the test fails until it shows a run.

use std::path::Path;

use crate::rule_page::{LIST, RULES};

/// Writes the rule and says what is left to do.
///
/// # Errors
/// The name is no rule name or taken, or a file cannot be written.
pub fn write(root: &Path, name: &str) -> Result<(), String> {
    if !is_name(name) {
        return Err(format!(
            "\"{name}\" is no name of a rule; write lower-case words joined by hyphens, like carry-over"
        ));
    }
    let module = name.replace('-', "_");
    let path = format!("{RULES}{module}.rs");
    if root.join(&path).exists() {
        return Err(format!("{path} is there already"));
    }
    let list = std::fs::read_to_string(root.join(LIST)).map_err(|fault| format!("{LIST}: {fault}"))?;
    let list = listed(&list, &module).ok_or_else(|| format!("{LIST} has no `pub mod` lines or no list `FIRST`"))?;
    for (path, text) in [(path.as_str(), rule(name)), (LIST, list)] {
        std::fs::write(root.join(path), text).map_err(|fault| format!("{path}: {fault}"))?;
        println!("{path}: written");
    }
    println!(
        "next:\n\
        1. {path}: fill in the head, `source`, `see` and `say`; let the test show a run in which the rule speaks and one in \
        which it keeps silent\n\
        2. {LIST}: move the entry to where a run meets the rule. A released edition never changes: once there is one, \
        the entry belongs in the list of the next edition\n\
        3. cargo fmt, cargo test -p darkline-quality, cargo xtask docs, cargo xtask test"
    );
    Ok(())
}

/// Lower-case words joined by single hyphens.
fn is_name(name: &str) -> bool {
    name.split('-').all(|word| !word.is_empty() && word.chars().all(|character| character.is_ascii_lowercase()))
}

/// The list with the `mod` line in its place in the alphabet and the entry at the end of `FIRST`.
fn listed(text: &str, module: &str) -> Option<String> {
    let line = format!("pub mod {module};");
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let mods: Vec<usize> =
        lines.iter().enumerate().filter(|(_, line)| line.starts_with("pub mod ")).map(|(index, _)| index).collect();
    let place = mods.iter().copied().find(|index| lines[*index] > line).or_else(|| mods.last().map(|last| last + 1))?;
    lines.insert(place, line);
    let start = lines.iter().position(|line| line.starts_with("pub const FIRST: &[Rule]"))?;
    let end = start + lines[start..].iter().position(|line| line.trim_end().ends_with("];"))?;
    if end == start {
        lines[start] = lines[start].replace("];", &format!(", {module}::RULE];")).replace("[, ", "[");
    } else {
        lines.insert(end, format!("    {module}::RULE,"));
    }
    Some(lines.join("\n") + "\n")
}

fn rule(name: &str) -> String {
    let sentence = name.replace('-', " ");
    format!(
        r#"//! {name}
//!
//! What it sees: …
//! Why it matters: …
//! What to do: …
//! Source: …

use darkline_record::decision::{{NextStep, Subject}};

use crate::flag::{{Evidence, Flag, Holds, Settled, Severity}};
use crate::rule::{{Rule, flag_id}};
use crate::view::RunView;

/// The rule.
pub const RULE: Rule = Rule {{
    name: "{name}",
    source: "…",
    see,
    say,
}};

fn see(view: &RunView<'_>) -> Vec<Flag> {{
    let unit = view.response_unit();
    let mut flags = Vec::new();
    for solution in view.solutions.iter().filter(|solution| !solution.replaced) {{
        // Here nothing is above what is allowed: say what is.
        let allowed = f64::INFINITY;
        let Some(found) = solution.mean_response.filter(|found| *found > allowed) else {{
            continue;
        }};
        let row = view.run.row_id(solution.row);
        flags.push(Flag {{
            id: flag_id(RULE.name, Subject::Row(row.clone())),
            severity: Severity::Stops,
            settled: Settled::Now,
            evidence: Evidence::default()
                .figure("found", found, unit)
                .figure("allowed", allowed, unit)
                .fact("cup", solution.name),
            holds: Holds::Rows(vec![row]),
            next: vec![NextStep::Repeat {{
                replicates: view.method.replicates.n,
            }}],
        }});
    }}
    flags
}}

fn say(evidence: &Evidence) -> String {{
    format!(
        "{{}}: {{}}, allowed is {{}}",
        evidence.words("cup"),
        evidence.told("found"),
        evidence.told("allowed")
    )
}}

#[cfg(test)]
mod tests {{
    #[test]
    fn {module}_is_seen_where_it_is_and_not_where_it_is_not() {{
        panic!("show a run with {sentence}, and one without");
    }}
}}
"#,
        module = name.replace('-', "_"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house::House;
    use crate::rule_page;

    const TEXT: &str = "//! All rules.\n\npub mod blank_above_limit;\npub mod over_range;\n\nuse crate::rule::Rule;\n\n\
        /// The rules.\npub const FIRST: &[Rule] = &[\n    over_range::RULE,\n    blank_above_limit::RULE,\n];\n";

    #[test]
    fn the_mod_line_stands_in_the_alphabet_and_the_entry_at_the_end() {
        let text = listed(TEXT, "carry_over").unwrap();
        assert!(text.contains("pub mod blank_above_limit;\npub mod carry_over;\npub mod over_range;\n"));
        assert!(text.contains("    blank_above_limit::RULE,\n    carry_over::RULE,\n];\n"));
        let text = listed(TEXT, "replicate_missing").unwrap();
        assert!(text.contains("pub mod over_range;\npub mod replicate_missing;\n\nuse "));
    }

    #[test]
    fn a_list_on_one_line_grows_too() {
        let one = "pub mod a;\npub const FIRST: &[Rule] = &[a::RULE];\n";
        assert!(listed(one, "b").unwrap().contains("&[a::RULE, b::RULE];"));
        let none = "pub mod a;\npub const FIRST: &[Rule] = &[];\n";
        assert!(listed(none, "b").unwrap().contains("&[b::RULE];"));
        assert_eq!(listed("pub mod a;\n", "b"), None);
        assert_eq!(listed("", "b"), None);
    }

    #[test]
    fn only_words_joined_by_hyphens_are_names() {
        assert!(is_name("carry-over") && is_name("drift"));
        for bad in ["", "Carry-over", "carry_over", "carry--over", "-carry", "carry-", "carry over", "carry2"] {
            assert!(!is_name(bad), "{bad}");
        }
    }

    #[test]
    fn a_new_rule_is_told_as_unfinished_by_the_tidy_checks_and_by_nothing_else() {
        let path = format!("{RULES}carry_over.rs");
        let list = listed(TEXT, "carry_over").unwrap();
        let rule = rule("carry-over");
        let house = House::made_up(&[(&path, &rule), (LIST, &list)]);
        let said: Vec<String> = rule_page::make(&house).1.into_iter().map(|finding| finding.said).collect();
        assert_eq!(said.len(), 4, "{said:?}");
        assert!(said.iter().all(|said| said.starts_with("its head does not say")));
    }
}
