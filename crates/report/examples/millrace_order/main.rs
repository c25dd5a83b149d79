//! Writes the test report of an invented order, and its figures, for looking at.
//!
//! ```console
//! $ cargo run -p darkline-report --example millrace_order -- FOLDER
//! ```

mod order;

use darkline_report::{figure::Medium, render};
use std::{env, error::Error, fs, path::PathBuf};

fn main() -> Result<(), Box<dyn Error>> {
    let folder = PathBuf::from(env::args_os().nth(1).unwrap_or_else(|| "target/millrace_order".into()));
    fs::create_dir_all(&folder)?;
    let report = order::report();
    fs::write(folder.join(format!("{}.pdf", report.number)), render(&report, order::RECORD)?)?;
    fs::write(folder.join("reading-204.svg"), order::well_04(Medium::Page).svg)?;
    fs::write(folder.join("run-17.svg"), order::run_17(Medium::Page).svg)?;
    println!("{}", folder.display());
    Ok(())
}
