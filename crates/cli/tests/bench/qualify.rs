//! Worked examples as a laboratory runs them: its own, the shipped ones, broken ones, and the protocol to sign.

use std::fs;
use std::path::Path;

use crate::program::run;

/// A folder with the case of the how-to page.
fn with_the_case_of_the_page() -> (tempfile::TempDir, String) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let page = fs::read_to_string(root.join("docs/how-to/add-your-own-worked-examples.md")).unwrap();
    let case = page.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("our-cases")).unwrap();
    fs::write(folder.path().join("our-cases/zinc-line.toml"), case).unwrap();
    (folder, page)
}

#[test]
fn every_command_of_the_how_to_page_runs_as_it_says() {
    let (folder, page) = with_the_case_of_the_page();
    let commands: Vec<&str> = page
        .split("```sh\n")
        .skip(1)
        .flat_map(|block| block.split("```").next().unwrap().lines())
        .map(|line| line.strip_prefix("darkline ").unwrap())
        .collect();
    assert_eq!(commands.len(), 4);
    for command in &commands {
        let ran = run(folder.path(), command).ends(0);
        if command.contains("--json") {
            for object in ran.json() {
                assert_eq!((object["case"].as_str(), object["agrees"].as_bool()), (Some("zinc-line"), Some(true)));
                assert!(object["key"].is_string() && object["expected"].is_number() && object["found"].is_number());
                assert_eq!(object["source"], "Millrace Laboratory, procedure P-07, worked example, page 4");
            }
        }
    }
    let pdf = fs::read(folder.path().join("protocol.pdf")).unwrap();
    assert!(pdf.starts_with(b"%PDF-"));
}

#[test]
fn own_cases_are_told_figure_by_figure_and_broken_ones_stop_no_other() {
    let (folder, _) = with_the_case_of_the_page();
    let cases = folder.path().join("our-cases");
    let write = |name: &str, text: &str| fs::write(cases.join(name), text).unwrap();
    let good = fs::read_to_string(cases.join("zinc-line.toml")).unwrap();
    write("a-misprint.toml", &good.replace("zinc-line", "a-misprint").replace("0.3996", "0.3969"));
    write("b-unknown-kind.toml", &good.replace("zinc-line", "b-unknown-kind").replace("\"line\"", "\"spline\""));
    write("c-unknown-key.toml", &good.replace("zinc-line", "c-unknown-key").replace("intercept", "interception"));
    write("d-missing-data.toml", &good.replace("y = [0.001", "z = [0.001"));
    write("e-no-toml.toml", "id = \"e\"\nkind = \n");
    write("f-no-number.toml", &good.replace("0.098", "\"much\""));
    let ran = run(folder.path(), "qualify our-cases").ends(2);
    insta::assert_snapshot!(ran.seen());
    fs::remove_file(cases.join("d-missing-data.toml")).unwrap();
    fs::remove_file(cases.join("e-no-toml.toml")).unwrap();
    fs::remove_file(cases.join("f-no-number.toml")).unwrap();
    let lines = run(folder.path(), "qualify our-cases --json").ends(1).json();
    let of =
        |case: &str, agrees: bool| lines.iter().filter(|line| line["case"] == case && line["agrees"] == agrees).count();
    assert_eq!((of("zinc-line", true), of("zinc-line", false)), (3, 0));
    assert_eq!((of("a-misprint", true), of("a-misprint", false)), (2, 1));
    assert_eq!(of("b-unknown-kind", false), 1);
    assert_eq!(of("c-unknown-key", false), 1);
}

#[test]
fn what_is_no_folder_of_cases_is_told() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("empty")).unwrap();
    fs::write(folder.path().join("rules.toml"), "[meta]\ntitle = \"rules\"\n").unwrap();
    fs::write(folder.path().join("odd.toml"), [0xff, 0xfe, 0x00]).unwrap();
    let mut text = String::new();
    for line in [
        "qualify empty",
        "qualify nowhere",
        "qualify rules.toml",
        "qualify odd.toml",
        "qualify --protocol p.pdf",
        "qualify --date 2026-11-25",
        "qualify --protocol p.pdf --date soon",
        "qualify --protocol nowhere/p.pdf --date 2026-11-25",
    ] {
        text.push_str(&run(folder.path(), line).ends(2).seen());
    }
    insta::assert_snapshot!(text);
}

#[test]
fn a_protocol_of_the_same_cases_is_the_same_file() {
    let (folder, _) = with_the_case_of_the_page();
    for name in ["one.pdf", "two.pdf"] {
        run(folder.path(), &format!("qualify our-cases --protocol {name} --date 2026-11-25")).ends(0);
    }
    let read = |name: &str| fs::read(folder.path().join(name)).unwrap();
    assert!(read("one.pdf") == read("two.pdf"));
}
