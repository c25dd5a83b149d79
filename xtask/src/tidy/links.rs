//! Links: what a document points to within the repository is there, the heading included.
//!
//! Looked for in the Markdown files outside `reference/`, whose READMEs came with their packs. Addresses elsewhere are
//! not followed; text in fences and between back ticks is no link.

use crate::finding::Finding;
use crate::house::House;

/// Tells links that lead nowhere.
pub fn check(house: &House) -> Vec<Finding> {
    let mut findings = Vec::new();
    let documents = house.texts_in("", ".md").filter(|(path, _)| !path.starts_with("reference/"));
    for (path, text) in documents {
        for (line, target) in links(text) {
            let (file, heading) = target.split_once('#').unwrap_or((target, ""));
            let aim = if file.is_empty() { Some(path.to_owned()) } else { resolved(path, file) };
            let Some(aim) = aim.filter(|aim| stands(house, aim)) else {
                findings.push(Finding::on(path, line, format!("points to {file}, which is not there")));
                continue;
            };
            let has_heading = |text: &str| headings(text).iter().any(|known| known == heading);
            if !heading.is_empty() && !house.text(&aim).is_some_and(has_heading) {
                findings.push(Finding::on(
                    path,
                    line,
                    format!("points to #{heading}, a heading that {aim} does not have"),
                ));
            }
        }
    }
    findings
}

/// Targets of links within the repository with their lines.
fn links(text: &str) -> Vec<(usize, &str)> {
    let mut found = Vec::new();
    let mut in_fence = false;
    for (index, line) in text.lines().enumerate() {
        if line.trim_start().starts_with("```") {
            in_fence = !in_fence;
        }
        if in_fence {
            continue;
        }
        for (place, _) in line.match_indices("](") {
            let in_code = line[..place].matches('`').count() % 2 == 1;
            let target = line[place + 2..].split([')', ' ']).next().unwrap_or_default();
            let is_elsewhere = target.contains("://") || target.starts_with("mailto:");
            if !in_code && !is_elsewhere && !target.is_empty() {
                found.push((index + 1, target));
            }
        }
    }
    found
}

/// A target seen from the document that names it; `None` where it leaves the repository.
fn resolved(from: &str, target: &str) -> Option<String> {
    let mut parts: Vec<&str> = from.split('/').collect();
    parts.pop();
    for part in target.trim_end_matches('/').split('/') {
        match part {
            "." => {}
            ".." => {
                parts.pop()?;
            }
            _ => parts.push(part),
        }
    }
    Some(parts.join("/"))
}

/// Whether a file or a folder stands there.
fn stands(house: &House, path: &str) -> bool {
    let within = format!("{path}/");
    path.is_empty() || house.paths().any(|known| known == path || known.starts_with(&within))
}

/// The anchors of the headings: small letters, hyphens for spaces, other marks left out.
fn headings(text: &str) -> Vec<String> {
    let mut in_fence = false;
    text.lines()
        .filter(|line| {
            in_fence ^= line.trim_start().starts_with("```");
            !in_fence && line.starts_with('#')
        })
        .map(|line| {
            let words = line.trim_start_matches('#').trim().to_lowercase();
            words
                .chars()
                .filter(|character| character.is_alphanumeric() || matches!(character, ' ' | '-' | '_'))
                .map(|character| if character == ' ' { '-' } else { character })
                .collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str) -> Vec<String> {
        let house = House::made_up(&[
            ("docs/how-to/a.md", text),
            ("docs/reference/rules.md", "# Rules\n\n## blank-above-limit\n\n## `demo`, and more!\n"),
            ("README.md", "# Darkline\n"),
        ]);
        check(&house).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn links_to_files_folders_and_headings_are_followed() {
        let good = "# A b\n[a](../reference/rules.md) [b](../reference/) [c](../../README.md#darkline)\n\
            [d](../reference/rules.md#blank-above-limit) [e](#a-b) [f](https://example.org/x) [g](../..)\n\
            [h](../reference/rules.md#demo-and-more)\n";
        assert_eq!(told(good), Vec::<String>::new());
    }

    #[test]
    fn a_link_that_leads_nowhere_is_told_with_its_line() {
        assert_eq!(told("\n[a](rules.md)\n"), ["docs/how-to/a.md:2: points to rules.md, which is not there"]);
        assert_eq!(told("[a](../../../b.md)\n").len(), 1);
        assert_eq!(
            told("[a](../reference/rules.md#carry-over)\n"),
            ["docs/how-to/a.md:1: points to #carry-over, a heading that docs/reference/rules.md does not have"]
        );
    }

    #[test]
    fn code_is_no_link() {
        assert_eq!(told("`[a](b.md)`\n```sh\n[a](b.md)\n```\n"), Vec::<String>::new());
    }
}
