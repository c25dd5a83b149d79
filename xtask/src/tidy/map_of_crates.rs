//! The map of the crates: each crate stands in ARCHITECTURE.md.

use crate::finding::Finding;
use crate::house::House;

const MAP: &str = "ARCHITECTURE.md";

/// Tells crates that a reader of the map would not find.
pub fn check(house: &House) -> Vec<Finding> {
    let Some(text) = house.text(MAP) else {
        return vec![Finding::at(MAP, "is missing")];
    };
    house
        .crates()
        .into_iter()
        .filter(|name| !text.contains(&format!("`{name}`")) && !text.contains(&format!("crates/{name}")))
        .map(|name| Finding::at(MAP, format!("does not show `{name}`; say what crates/{name} knows and never knows")))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_crate_that_the_map_does_not_show_is_told() {
        let with = |map: &str| {
            let house =
                House::made_up(&[(MAP, map), ("crates/signal/Cargo.toml", ""), ("crates/record/Cargo.toml", "")]);
            check(&house).len()
        };
        assert_eq!(with("| 1 | `signal` | a pulse |\nsee crates/record/src"), 0);
        assert_eq!(with("| 1 | `signal` | a pulse |\nthe record"), 1);
        assert_eq!(check(&House::made_up(&[])).len(), 1);
    }
}
