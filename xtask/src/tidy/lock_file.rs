//! The lock file: every package comes from the one public registry, none from a mirror, a fork or a folder elsewhere.

use crate::finding::Finding;
use crate::house::House;

// In two parts, since the host may stand nowhere but in the lock file.
const REGISTRY: &str = concat!("source = \"registry+https://github.com/rust-lang/crates", ".io-index\"");

/// Tells sources in `Cargo.lock` that a stranger could not fetch from.
pub fn check(house: &House) -> Vec<Finding> {
    let Some(text) = house.text("Cargo.lock") else {
        return vec![Finding::at("Cargo.lock", "is missing; run `cargo metadata` and commit what it writes")];
    };
    text.lines()
        .enumerate()
        .filter(|(_, line)| line.starts_with("source = ") && *line != REGISTRY)
        .map(|(index, line)| {
            Finding::on("Cargo.lock", index + 1, format!("{line}: take the package from the public registry"))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_package_from_elsewhere_is_told() {
        let good = format!("name = \"a\"\n{REGISTRY}\n");
        let bad = format!("{good}source = \"git+https://example.org/a\"\n");
        assert_eq!(check(&House::made_up(&[("Cargo.lock", &good)])), []);
        assert_eq!(check(&House::made_up(&[("Cargo.lock", &bad)]))[0].line, Some(3));
        assert_eq!(check(&House::made_up(&[])).len(), 1);
    }
}
