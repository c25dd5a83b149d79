//! Drawers: no file or folder for leftovers. What has no home goes to the thing it serves.

use crate::finding::Finding;
use crate::house::House;

const DRAWERS: &[&str] = &["common", "core2", "helper", "helpers", "misc", "stuff", "util", "utils"];

/// Tells files and folders with the name of a drawer.
pub fn check(house: &House) -> Vec<Finding> {
    house
        .paths()
        .filter(|path| path.split('/').any(|part| DRAWERS.contains(&part.split('.').next().unwrap_or(part))))
        .map(|path| Finding::at(path, "is a drawer by its name; put what is in it beside the thing it serves"))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drawer_is_told_as_file_and_as_folder() {
        let house = House::made_up(&[
            ("crates/signal/src/utils.rs", ""),
            ("crates/signal/tests/common/mod.rs", ""),
            ("crates/signal/src/commonness.rs", ""),
            ("crates/signal/src/window.rs", ""),
        ]);
        let found: Vec<String> = check(&house).into_iter().map(|finding| finding.place).collect();
        assert_eq!(found, ["crates/signal/src/utils.rs", "crates/signal/tests/common/mod.rs"]);
    }
}
