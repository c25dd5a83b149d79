//! `darkline export`: results, readings or rows for other programs, in the decimal sign of the place.

use std::collections::BTreeMap;
use std::path::Path;

use darkline_exchange::decimal_sign::DecimalSign;
use darkline_exchange::{pulses, readings, run_order};
use darkline_record::run::Signal;

use super::evaluate::{as_csv, as_json};
use super::{count, order, put_out, run_id};
use crate::bench;
use crate::command_line::{Everywhere, Export, Exported};
use crate::ending::{Ending, Failure};
use crate::new_file::NewFile;
use crate::talk;

/// The form of a file.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    Csv,
    JsonLines,
}

pub fn run(everywhere: &Everywhere, options: &Export) -> Result<Ending, Failure> {
    let order = order(&options.order)?;
    let form = form(&options.output)?;
    let sign = if options.decimal_sign == "," { DecimalSign::Comma } else { DecimalSign::Point };
    let laboratory = bench::read(everywhere)?;
    if options.what == Exported::Results {
        let outcome = laboratory.evaluate(&order)?.outcome;
        let text = match form {
            Form::Csv => as_csv(&outcome, sign),
            Form::JsonLines => as_json(&outcome, &[])?,
        };
        put_out(&options.output, &text)?;
        return Ok(Ending::Done);
    }
    let run = laboratory.run_of(&order, run_id(options.run.as_deref())?.as_ref())?;
    let package = laboratory.package(&order)?;
    let run = package.runs.iter().find(|known| known.id == run);
    let run = run.ok_or_else(|| Failure::told("the run is not in the package of the order"))?;
    if options.what == Exported::RunOrder {
        if form == Form::JsonLines || sign == DecimalSign::Comma {
            let hint = "write it as CSV with a point: a run order is read by this program";
            return Err(Failure::with_hint("a run order has one form", hint));
        }
        let rows: Vec<_> = run.rows().cloned().collect();
        put_out(&options.output, &run_order::write(&rows))?;
        return Ok(Ending::Done);
    }
    let kind = package.method(&run.method).map(|method| method.response.kind);
    let kind = kind.ok_or_else(|| Failure::told(format!("method {} is not in the package", run.method)))?;
    let rows = readings::of_run(run);
    let text = match form {
        Form::Csv => readings::write_in(&rows, kind, sign),
        Form::JsonLines => readings::write_json_lines(&rows, kind),
    };
    let of_readings: BTreeMap<u32, _> = run
        .readings
        .iter()
        .filter_map(|reading| match &reading.signal {
            Signal::Pulse(digest) => Some((reading.number, package.pulses.get(digest)?.as_ref())),
            _ => None,
        })
        .collect();
    let is_file = options.output != Path::new("-");
    if is_file && !of_readings.is_empty() {
        let path = options.output.with_extension("parquet");
        NewFile::at(&path)?.fill(&pulses::write(&of_readings).map_err(Failure::told)?)?;
        talk::tell(&format!("{} written, {}", path.display(), count(of_readings.len(), "pulse")));
    }
    put_out(&options.output, &text)?;
    Ok(Ending::Done)
}

/// The form that the ending of a name says.
fn form(path: &Path) -> Result<Form, Failure> {
    if path == Path::new("-") {
        return Ok(Form::Csv);
    }
    match path.extension().map(|ending| ending.to_string_lossy().to_lowercase()).as_deref() {
        Some("csv") => Ok(Form::Csv),
        Some("jsonl") => Ok(Form::JsonLines),
        _ => Err(Failure::with_hint(
            format!("{} does not say in which form it shall be written", path.display()),
            "end its name with .csv or .jsonl; pulses go beside it as .parquet",
        )),
    }
}
