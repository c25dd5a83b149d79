//! Heads: every Rust file starts by saying what it is, in a `//!` text.

use crate::finding::Finding;
use crate::house::House;

/// Tells files whose first line is not `//! ` and a text.
pub fn check(house: &House) -> Vec<Finding> {
    ["crates/", "xtask/", "fuzz/"]
        .into_iter()
        .flat_map(|folder| house.texts_in(folder, ".rs"))
        .filter(|(_, text)| text.strip_prefix("//! ").is_none_or(|rest| rest.starts_with(char::is_whitespace)))
        .map(|(path, _)| Finding::on(path, 1, "starts without `//! ` and a sentence that says what the file is"))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_starts_by_saying_what_it_is() {
        let house = House::made_up(&[
            ("crates/signal/src/window.rs", "//! The window of integration.\n"),
            ("crates/signal/src/late.rs", "\n//! Too late.\n"),
            ("crates/signal/src/blank.rs", "//! \nuse a;\n"),
            ("xtask/src/none.rs", "fn main() {}\n"),
            ("demo/other.rs", "fn main() {}\n"),
        ]);
        let found: Vec<String> = check(&house).into_iter().map(|finding| finding.place).collect();
        assert_eq!(found, ["crates/signal/src/blank.rs", "crates/signal/src/late.rs", "xtask/src/none.rs"]);
    }
}
