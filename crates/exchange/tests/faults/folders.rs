//! Whole folders: the example, the demonstration, and faults between documents.

use std::path::{Path, PathBuf};

use darkline_exchange::folder::read_folder;
use darkline_exchange::{readings, text_file};

pub fn in_repository(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(path)
}

#[test]
fn the_example_and_the_demonstration_are_read_without_a_fault() {
    for folder in ["examples/cadmium-release", "demo"] {
        let documents = read_folder(&in_repository(folder)).unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(documents.warnings, [], "{folder}");
        let text = std::fs::read_to_string(in_repository(folder).join("order.toml")).unwrap();
        assert_eq!(documents.order.text, text);
    }
}

#[test]
fn the_readings_of_the_example_are_read() {
    let documents = read_folder(&in_repository("examples/cadmium-release")).unwrap();
    let run = documents.runs[0].run();
    let text = text_file::read(&in_repository("examples/cadmium-release/readings.csv")).unwrap();
    let rows = readings::read("readings.csv", &text, &run, &documents.methods[0].document.response).unwrap();
    assert_eq!(rows.len(), 17);
    assert_eq!(readings::write(&rows, documents.methods[0].document.response.kind), text);
}
