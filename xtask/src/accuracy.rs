//! `cargo xtask accuracy`: long studies of how good the figures are, written to `docs/reference/accuracy.md`.
//!
//! Each study is a file of `accuracy/` that hands over one [`Section`]; [`SECTIONS`] lists them in the order of the page.
//! They take minutes in release, so that no test run contains them. The feature `accuracy` builds them in: without it this
//! program stands on no crate of the house and is built in a moment, and calls itself with it.

#[cfg(feature = "accuracy")]
mod batches;
#[cfg(feature = "accuracy")]
mod certified;
#[cfg(feature = "accuracy")]
mod coverage;
#[cfg(feature = "accuracy")]
mod page;

use std::path::Path;

/// The page that is written.
#[cfg(feature = "accuracy")]
const PAGE: &str = "docs/reference/accuracy.md";

/// One section of the page.
#[cfg(feature = "accuracy")]
pub struct Section {
    /// What it is called on the command line.
    pub name: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// Does the study in the repository given; what stands below the heading, as Markdown without further headings of
    /// its level.
    pub write: fn(&Path) -> Result<String, String>,
}

/// The sections in the order of the page. A new one is a file and a line here.
#[cfg(feature = "accuracy")]
const SECTIONS: &[Section] = &[certified::SECTION, coverage::SECTION, batches::SECTION];

/// Does the studies named, all where none is, and writes their sections; those of the others stay as they are.
///
/// # Errors
/// A name that is no section, a study that fails, or a page that cannot be read or written.
#[cfg(feature = "accuracy")]
pub fn write(root: &Path, names: &[&str]) -> Result<(), String> {
    if let Some(unknown) = names.iter().find(|name| !SECTIONS.iter().any(|section| section.name == **name)) {
        let known: Vec<&str> = SECTIONS.iter().map(|section| section.name).collect();
        return Err(format!("{unknown} is no section of {PAGE}; there are: {}", known.join(", ")));
    }
    let path = root.join(PAGE);
    let before = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(fault) if fault.kind() == std::io::ErrorKind::NotFound => String::new(),
        Err(fault) => return Err(format!("{PAGE}: {fault}")),
    };
    let mut bodies = Vec::new();
    for section in SECTIONS {
        let kept =
            page::body_of(&before, section.title).filter(|_| !names.is_empty() && !names.contains(&section.name));
        let body = match kept {
            Some(body) => body.to_owned(),
            None => {
                println!("{}: under study", section.name);
                (section.write)(root)?
            }
        };
        bodies.push((section.title, body));
    }
    std::fs::write(&path, page::make(&bodies)).map_err(|fault| format!("{PAGE}: {fault}"))?;
    println!("{PAGE}: written");
    Ok(())
}

/// Calls this program again, built in release with the studies.
///
/// # Errors
/// cargo does not start, or the studies fail.
#[cfg(not(feature = "accuracy"))]
pub fn write(root: &Path, names: &[&str]) -> Result<(), String> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let asked = ["run", "--release", "--locked", "--quiet", "--package", "xtask", "--features", "accuracy", "--"];
    let mut command = std::process::Command::new(cargo);
    command.args(asked).arg("accuracy").args(names).current_dir(root);
    match command.status() {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(format!("the studies ended with {status}")),
        Err(fault) => Err(format!("cargo does not start: {fault}")),
    }
}
