//! Rule pages: each rule has a complete head, stands in the list, and has its section in the reference page.

use crate::finding::Finding;
use crate::house::House;
use crate::rule_page;

/// Tells what keeps the page from being made, and a page that is not up to date.
pub fn check(house: &House) -> Vec<Finding> {
    if !rule_page::has_rules(house) {
        return Vec::new();
    }
    let (page, mut findings) = rule_page::make(house);
    if findings.is_empty() && house.text(rule_page::PAGE) != Some(page.as_str()) {
        findings.push(Finding::at(rule_page::PAGE, "is not up to date; run `cargo xtask docs`"));
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_that_is_missing_or_old_is_told() {
        let rule = "//! over-range\n//!\n//! What it sees: a.\n//! Why it matters: b.\n//! What to do: c.\n//! Source: d.\n\
            const RULE: Rule = Rule { name: \"over-range\" };\nlet a = Severity::Stops;\n";
        let list = "const FIRST: &[Rule] = &[over_range::RULE];\n";
        let with = |page: &str| {
            let house = House::made_up(&[
                ("crates/quality/src/rules/over_range.rs", rule),
                (rule_page::LIST, list),
                (rule_page::PAGE, page),
            ]);
            (check(&house).len(), rule_page::make(&house).0)
        };
        let (n_findings, page) = with("# Rules\n");
        assert_eq!(n_findings, 1);
        assert_eq!(with(&page).0, 0);
        assert_eq!(check(&House::made_up(&[])), []);
    }
}
