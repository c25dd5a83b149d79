//! `cargo xtask docs`: writes the generated pages of `docs/reference/`, or checks that they are up to date.

use std::path::Path;

use crate::house::House;
use crate::{clause_page, command_page, role_page, rule_page};

/// A generated page.
struct Page {
    path: &'static str,
    text: String,
}

/// Writes every generated page that is not as it should be, and says which.
///
/// # Errors
/// A rule head is not complete, the program does not print its commands, or a page cannot be written.
pub fn write(root: &Path) -> Result<(), String> {
    let house = House::open(root).map_err(|fault| fault.to_string())?;
    for page in pages(root, &house)? {
        if house.text(page.path) == Some(page.text.as_str()) {
            println!("{}: up to date", page.path);
            continue;
        }
        let path = root.join(page.path);
        let folder = path.parent().expect("a page lies in a folder");
        std::fs::create_dir_all(folder)
            .and_then(|()| std::fs::write(&path, &page.text))
            .map_err(|fault| format!("{}: {fault}", page.path))?;
        println!("{}: written", page.path);
    }
    Ok(())
}

/// Checks that every generated page is as it would be written.
///
/// # Errors
/// Names the pages that are not.
pub fn check(root: &Path) -> Result<(), String> {
    let house = House::open(root).map_err(|fault| fault.to_string())?;
    let mut stale = Vec::new();
    for page in pages(root, &house)? {
        let fits = house.text(page.path) == Some(page.text.as_str());
        println!("{}: {}", page.path, if fits { "up to date" } else { "not up to date" });
        if !fits {
            stale.push(page.path);
        }
    }
    if stale.is_empty() { Ok(()) } else { Err(format!("run `cargo xtask docs` and commit {}", stale.join(", "))) }
}

fn pages(root: &Path, house: &House) -> Result<Vec<Page>, String> {
    let mut pages = Vec::new();
    if rule_page::has_rules(house) {
        let (text, findings) = rule_page::make(house);
        if !findings.is_empty() {
            return Err(findings.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"));
        }
        pages.push(Page { path: rule_page::PAGE, text });
    }
    if command_page::is_offered(house) {
        pages.push(Page { path: command_page::PAGE, text: command_page::make(root)? });
        pages.push(Page { path: role_page::PAGE, text: role_page::make(root)? });
    } else {
        println!("{}: not made, the program does not offer `help-reference` yet", command_page::PAGE);
    }
    if clause_page::is_offered(house) {
        let (text, findings) = clause_page::make(house);
        if !findings.is_empty() {
            return Err(findings.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"));
        }
        pages.push(Page { path: clause_page::PAGE, text });
    }
    Ok(pages)
}
