//! `darkline plan`: the run order as it stands, and the rows that decisions ask for.

use darkline_exchange::run_order;
use darkline_record::run::{Follows, Row, RowHolds, Run};

use super::{count, order, plan_check, plan_write, put_out, run_id};
use crate::bench;
use crate::command_line::{Everywhere, Plan};
use crate::ending::{Ending, Failure};
use crate::table::Table;
use crate::talk;

pub fn run(everywhere: &Everywhere, options: &Plan) -> Result<Ending, Failure> {
    if options.write {
        return plan_write::run(everywhere, options);
    }
    if options.check {
        return plan_check::run(everywhere, std::path::Path::new(&options.order));
    }
    let order = order(&options.order)?;
    let wanted = run_id(options.run.as_deref())?;
    if options.extend {
        let by = bench::person(everywhere)?;
        let mut laboratory = bench::write(everywhere)?;
        let (entry, run, leg) = laboratory.add_leg(&by, &order, wanted.as_ref())?;
        talk::tell(&format!("entry {entry}: leg of {} added to run {run} by {by}.", count(leg.rows.len(), "row")));
        show(everywhere, options, &laboratory.state().runs[&run].run, &leg.rows)?;
        return Ok(Ending::Done);
    }
    let laboratory = bench::read(everywhere)?;
    let run = laboratory.run_of(&order, wanted.as_ref())?;
    let known = &laboratory.state().runs[&run].run;
    let rows: Vec<Row> = known.rows().cloned().collect();
    show(everywhere, options, known, &rows)?;
    let waiting = laboratory.steps_waiting(&order, &run);
    if !waiting.is_empty() {
        talk::tell(&format!("{} taken up and not in the run order yet", count(waiting.len(), "step")));
        talk::tell(&format!("Next: darkline plan {order} --extend"));
    }
    Ok(Ending::Done)
}

fn show(everywhere: &Everywhere, options: &Plan, run: &Run, rows: &[Row]) -> Result<(), Failure> {
    match options.output.as_deref() {
        Some(path) => put_out(path, &run_order::write(rows))?,
        None if everywhere.json => {
            for row in rows {
                talk::print_json(&RowLine { schema: "darkline/row/1", run: run.id.as_str(), row })?;
            }
        }
        None => talk::print(&table(run, rows).text())?,
    }
    Ok(())
}

#[derive(serde::Serialize)]
struct RowLine<'a> {
    schema: &'static str,
    run: &'a str,
    #[serde(flatten)]
    row: &'a Row,
}

fn table(run: &Run, rows: &[Row]) -> Table {
    let mut table =
        Table::new().figures("row", "").figures("cup", "").words("name").words("holds").words("read").words("follows");
    for row in rows {
        let holds = match &row.holds {
            RowHolds::Standard { amount } | RowHolds::Check { amount } => {
                format!("{} {}", row.holds.word(), amount.value)
            }
            RowHolds::Portion { portion, dilution, .. } if dilution.value.digits() == "1" => {
                format!("portion {portion}")
            }
            RowHolds::Portion { portion, dilution, .. } => {
                format!("portion {portion}, diluted {}", dilution.value.digits())
            }
            other => other.word().into(),
        };
        let read = run.readings.iter().filter(|reading| reading.row == row.number).count();
        let follows = match row.follows {
            Some(Follows::Joins(earlier)) => format!("joins row {earlier}"),
            Some(Follows::Replaces(earlier)) => format!("in place of row {earlier}"),
            None => String::new(),
        };
        let cup = row.cup.map_or(String::new(), |cup| cup.to_string());
        table.row(vec![
            row.number.to_string(),
            cup,
            row.name.clone(),
            holds,
            format!("{read} of {}", row.replicates),
            follows,
        ]);
    }
    table
}
