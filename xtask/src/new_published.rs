//! `cargo xtask new-published CRATE NAME`: the first lines of a check against literature, and of the data it reads.
//!
//! Writes a test, its `mod` line and a reference file; a reference file that is there already is taken as it is. What is
//! left open is written `…`, which the tidy checks refuse, and the test fails until it compares something.

use std::path::Path;

/// The pack of `reference/` that a crate is checked against unless NAME says another one (`physics/dip`).
const PACKS: &[(&str, &str)] = &[
    ("audit_trail", "records"),
    ("exchange", "records"),
    ("laboratory", "records"),
    ("metrology", "uncertainty"),
    ("preparation", "uncertainty"),
    ("record", "records"),
    ("report", "records"),
    ("signal", "physics"),
    ("simulator", "physics"),
];

/// Writes the test and the reference file and says what is left to do.
///
/// # Errors
/// There is no such crate, the name is none, the test is there already, or a file cannot be written.
pub fn write(root: &Path, in_crate: &str, name: &str) -> Result<(), String> {
    let folder = format!("crates/{in_crate}");
    if !root.join(&folder).join("Cargo.toml").exists() {
        return Err(format!("there is no {folder}"));
    }
    let (pack, name) = name.split_once('/').unwrap_or_else(|| (pack_of(in_crate), name));
    if !is_name(pack) || !is_name(name) {
        return Err(format!(
            "\"{name}\" is no name of a check; write lower-case words joined by hyphens, like iso-ts-28037"
        ));
    }
    let module = name.replace('-', "_");
    let test_path = format!("{folder}/tests/published/{module}.rs");
    let main_path = format!("{folder}/tests/published/main.rs");
    let data_path = format!("reference/{pack}/{name}.toml");
    if root.join(&test_path).exists() {
        return Err(format!("{test_path} is there already"));
    }
    let main = std::fs::read_to_string(root.join(&main_path))
        .unwrap_or_else(|_| "//! Checks against literature, one file per publication.\n".to_owned());
    let mut files = vec![(test_path.as_str(), test(pack, name)), (main_path.as_str(), with_mod(&main, &module))];
    if root.join(&data_path).exists() {
        println!("{data_path}: is there already, left as it is");
    } else {
        files.push((data_path.as_str(), data(name)));
    }
    for (path, text) in &files {
        let path_on_disk = root.join(path);
        std::fs::create_dir_all(path_on_disk.parent().expect("a file lies in a folder"))
            .and_then(|()| std::fs::write(&path_on_disk, text))
            .map_err(|fault| format!("{path}: {fault}"))?;
        println!("{path}: written");
    }
    let manifest = std::fs::read_to_string(root.join(&folder).join("Cargo.toml")).unwrap_or_default();
    if !manifest.contains("toml.workspace") {
        println!("{folder}/Cargo.toml: under [dev-dependencies], add toml.workspace = true");
    }
    println!(
        "next:\n\
        1. {data_path}: write what the publication gives and prints, its source and its provenance\n\
        2. {test_path}: compute each figure from `given`; where the crate has a door for its cases already, go through it\n\
        3. name the check in the `# Source` of the formula; cargo fmt, cargo test -p darkline-{package}, cargo xtask test",
        package = in_crate.replace('_', "-")
    );
    Ok(())
}

fn pack_of(in_crate: &str) -> &str {
    PACKS.iter().find(|(name, _)| *name == in_crate).map_or(in_crate, |(_, pack)| pack)
}

/// Lower-case words and numbers joined by hyphens; underscores as the packs have them.
fn is_name(name: &str) -> bool {
    name.split(['-', '_']).all(|word| {
        !word.is_empty() && word.chars().all(|character| character.is_ascii_lowercase() || character.is_ascii_digit())
    })
}

/// The text with the `mod` line after the others, which stand in reading order.
fn with_mod(text: &str, module: &str) -> String {
    let line = format!("mod {module};");
    let mut lines: Vec<&str> = text.lines().collect();
    match lines.iter().rposition(|line| line.starts_with("mod ") && line.ends_with(';')) {
        Some(last) => lines.insert(last + 1, &line),
        None => lines.extend(["", &line]),
    }
    lines.join("\n") + "\n"
}

fn test(pack: &str, name: &str) -> String {
    format!(
        r#"//! `{pack}/{name}.toml`: …

use std::path::Path;

use toml::{{Table, Value}};

/// … (publication, section, table or page, as `source` of the cases gives it).
#[test]
fn {module}() {{
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference/{pack}/{name}.toml");
    let text = std::fs::read_to_string(path).expect("the reference file is part of the repository");
    let file: Table = text.parse().expect("reference files are TOML");
    for case in file["case"].as_array().expect("a list of cases") {{
        for (key, expected) in case["expected"].as_table().expect("figures by name") {{
            let expected = expected.as_float().expect("a number");
            let within = case["tolerance"][key].as_float().expect("a number");
            let found = compute(case, key);
            assert!(
                (found - expected).abs() <= within,
                "{{}}: {{key}} is {{found}}, expected {{expected}} within {{within}}",
                case["name"]
            );
        }}
    }}
}}

/// What the crate gives for a figure of a case.
fn compute(case: &Value, key: &str) -> f64 {{
    panic!(
        "{{}}: nobody computes {{key}} from {{}}",
        case["name"], case["given"]
    )
}}
"#,
        module = name.replace('-', "_"),
    )
}

fn data(name: &str) -> String {
    format!(
        "# {name}: …\n\n[[case]]\nname = \"…\"\nsource = \"…\"\n\
        provenance = \"…\"            # verified | recomputed | memory | constructed | common practice\n\
        given = {{ x = 0.0 }}\nexpected = {{ y = 0.0 }}\ntolerance = {{ y = 0.0 }}   # half the last digit printed\n"
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::house::House;
    use crate::tidy::{claimed_references, heads, provenance};

    #[test]
    fn the_mod_line_goes_after_the_others() {
        assert_eq!(
            with_mod("//! A.\n\nmod case;\nmod noise;\n\nfn a() {}\n", "dip"),
            "//! A.\n\nmod case;\nmod noise;\nmod dip;\n\nfn a() {}\n"
        );
        assert_eq!(with_mod("//! A.\n", "dip"), "//! A.\n\nmod dip;\n");
    }

    #[test]
    fn what_is_written_is_claimed_but_told_as_unfinished() {
        let (test, data) = (test("physics", "iso-9"), data("iso-9"));
        let house = House::made_up(&[
            ("crates/signal/tests/published/iso_9.rs", &test),
            ("reference/physics/iso-9.toml", &data),
            // The folders that are read whole have their reader.
            ("crates/qualification/build.rs", "//! Reads the packs.\n"),
        ]);
        assert_eq!(heads::check(&house), []);
        assert_eq!(claimed_references::check(&house), []);
        assert_eq!(provenance::check(&house).len(), 2);
    }

    #[test]
    fn a_crate_has_its_pack() {
        assert_eq!(pack_of("signal"), "physics");
        assert_eq!(pack_of("calibration"), "calibration");
    }

    #[test]
    fn names_are_words_joined_by_hyphens() {
        assert!(is_name("iso-ts-28037") && is_name("stray_light"));
        assert!(!is_name("ISO-28037") && !is_name("") && !is_name("a--b") && !is_name("../a"));
    }
}
