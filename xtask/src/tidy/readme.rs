//! README: one command runs the thing, one command checks it.

use crate::finding::Finding;
use crate::house::House;

const README: &str = "README.md";

/// The headings that hold one command each.
const ONE_COMMAND: &[&str] = &["## Run it", "## Check it"];

/// Tells a README without the two headings, or with another number of commands below them.
pub fn check(house: &House) -> Vec<Finding> {
    let Some(text) = house.text(README) else {
        return vec![Finding::at(README, "is missing")];
    };
    let mut findings = Vec::new();
    for heading in ONE_COMMAND {
        match text.lines().filter(|line| line == heading).count() {
            1 => {
                let blocks = blocks_below(text, heading);
                if blocks.len() != 1 || blocks[0].len() != 1 {
                    let said =
                        format!("\"{heading}\" holds one `sh` block with one command, and nothing else in fences");
                    findings.push(Finding::at(README, said));
                }
            }
            n => findings.push(Finding::at(README, format!("has \"{heading}\" {n} times, wanted once"))),
        }
    }
    findings
}

/// The fenced blocks below a heading, each as its lines; a block in another language has none.
fn blocks_below<'a>(text: &'a str, heading: &str) -> Vec<Vec<&'a str>> {
    let mut blocks = Vec::new();
    let mut lines = text.lines().skip_while(|line| line != &heading).skip(1).peekable();
    while let Some(line) = lines.next() {
        if line.starts_with("## ") || line.starts_with("# ") {
            break;
        }
        if let Some(language) = line.strip_prefix("```") {
            let block: Vec<&str> = lines.by_ref().take_while(|line| !line.starts_with("```")).collect();
            blocks.push(if language == "sh" { block } else { Vec::new() });
        }
    }
    blocks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str) -> usize {
        check(&House::made_up(&[(README, text)])).len()
    }

    #[test]
    fn two_headings_with_one_command_each_are_in_order() {
        assert_eq!(
            told(
                "# A\n## Run it\n\n```sh\nrun\n```\ntext\n## Check it\n```sh\n# not a heading\n```\n## More\n```sh\na\nb\n```\n"
            ),
            0
        );
    }

    #[test]
    fn a_missing_or_double_heading_is_told() {
        assert_eq!(told("## Run it\n```sh\nrun\n```\n"), 1);
        assert_eq!(told("## Run it\n```sh\nrun\n```\n## Run it\n## Check it\n```sh\na\n```\n"), 1);
        assert_eq!(check(&House::made_up(&[])).len(), 1);
    }

    #[test]
    fn two_commands_two_blocks_or_another_language_are_told() {
        let check_it = "## Check it\n```sh\na\n```\n";
        assert_eq!(told(&format!("## Run it\n```sh\na\nb\n```\n{check_it}")), 1);
        assert_eq!(told(&format!("## Run it\n```sh\na\n```\n```sh\nb\n```\n{check_it}")), 1);
        assert_eq!(told(&format!("## Run it\n```console\na\n```\n{check_it}")), 1);
        assert_eq!(told(&format!("## Run it\nrun\n{check_it}")), 1);
    }
}
