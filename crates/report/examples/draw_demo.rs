//! Draws the pictures of the documentation from the held package of the demo: `cargo run -p darkline-report --example draw_demo`.

use std::error::Error;
use std::path::Path;

use darkline_evaluation::evaluate;
use darkline_record::decision::Decision;
use darkline_record::package::DataPackage;
use darkline_report::composing::{Issued, compose};
use serde::Deserialize;

#[derive(Deserialize)]
struct Held {
    package: DataPackage,
    decisions: Vec<Decision>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let held: Held = serde_json::from_str(&std::fs::read_to_string(root.join("corpus/millrace-lead.json"))?)?;
    let outcome = evaluate(&held.package, &held.decisions)?;
    let nobody = Issued {
        because: None,
        changes: Vec::new(),
        justified_by: Default::default(),
        report: "none".into(),
        supersedes: None,
        at: "2026-03-05T15:00:00+01:00".into(),
        signatures: Vec::new(),
        issued_by: "nobody".into(),
        size: 0,
        root: String::new(),
        laboratory: None,
        program: "draw_demo".into(),
    };
    let annex = compose(&held.package, &outcome, &nobody).annex.ok_or("a composed report has an annex")?;
    for (name, figure) in ["pulse", "calibration"].iter().zip(&annex.figures) {
        std::fs::write(root.join("docs/picture").join(format!("{name}.svg")), &figure.svg)?;
        println!("docs/picture/{name}.svg: {}", figure.description);
    }
    Ok(())
}
