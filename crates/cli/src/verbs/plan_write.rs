//! `darkline plan FOLDER --write`: the day of an order, as documents, run orders, bench sheet and labels.

use std::collections::BTreeMap;
use std::path::Path;

use darkline_exchange::folder::{ToPlan, read_to_plan};
use darkline_exchange::{preparation, run_order};
use darkline_handbook::Handbook;
use darkline_metrology::kind::{Kind, MassConcentration};
use darkline_planning::cups::Solution;
use darkline_planning::day::{Asked, Day, plain, plan_day};
use darkline_planning::method_draft::{digits, quoted};
use darkline_planning::run_order::in_time;
use darkline_planning::startup::{self, Follows, Pressures};
use darkline_preparation::bench::Bench;
use darkline_preparation::tree::{From, Made};
use darkline_record::method::ResolvedMethod;
use darkline_record::preparation::{Portion, PortionRole};
use darkline_record::run::RowHolds;
use darkline_record::time::Timestamp;
use darkline_report::bench_sheet::{BenchSheet, Label, Labels, RunPart, Step};
use serde::Serialize;

use super::count;
use crate::bench;
use crate::command_line::{Everywhere, Plan};
use crate::ending::{Ending, Failure};
use crate::new_file::NewFile;
use crate::table::Table;
use crate::talk;

const PROGRAM: &str = concat!("Darkline ", env!("CARGO_PKG_VERSION"));

#[derive(Serialize)]
struct DayLine<'a> {
    schema: &'static str,
    order: &'a str,
    run: &'a str,
    element: &'a str,
    starts: String,
    ends: String,
    rows: usize,
    new_tube: bool,
}

pub fn run(everywhere: &Everywhere, options: &Plan) -> Result<Ending, Failure> {
    let folder = Path::new(&options.order);
    let by = bench::person(everywhere)?;
    let documents = read_to_plan(folder)?;
    let start = match &options.start {
        Some(text) => text.parse::<Timestamp>().map_err(Failure::told)?,
        None => {
            jiff::ZonedDateTime::now().strftime("%Y-%m-%dT%H:%M:%S%:z").to_string().parse().map_err(Failure::told)?
        }
    };
    let on = jiff::fmt::temporal::Pieces::parse(start.as_str()).map_err(Failure::told)?.date();
    let methods: Vec<&ResolvedMethod> = documents.methods.iter().map(|method| &method.document).collect();
    let asked = Asked {
        order: &documents.order.document,
        methods: &methods,
        bench: &documents.bench.document,
        on,
        prepared: start.clone(),
        by: by.as_str(),
        seed: options.seed,
    };
    let day = plan_day(&asked).map_err(|faults| {
        let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
        let mut told = told.into_iter();
        let first = told.next().unwrap_or_default();
        let rest: Vec<String> = told.collect();
        if rest.is_empty() { Failure::told(first) } else { Failure::with_hint(first, rest.join("\n  ")) }
    })?;
    let work = startup::work(&methods, &[documents.bench.document.portions.procedure.as_str()]);
    let refused = startup::refusals(&work, Pressures::default(), true);
    if let Some(met) = refused.iter().find(|met| met.follows == Follows::Refused) {
        return Err(Failure::told(format!("{}: {}; this work is not planned", met.rule, met.says)));
    }
    let clock = Clock { start: &start };
    if let Some(end) = &options.must_end_by {
        in_time_or_refused(&day, &clock, end, options.seed)?;
    }
    let made = sheet(&documents, &day, &clock, &methods, by.as_str());
    write_all(folder, &documents, &day, &made, &clock, options.seed)?;
    show(everywhere, &documents, &day, &clock)?;
    talk::tell(&format!("Look at bench-sheet.pdf. Next: darkline open {} --as {by}", folder.display()));
    Ok(Ending::Done)
}

/// Times of the day, with the offset of its start.
struct Clock<'a> {
    start: &'a Timestamp,
}

impl Clock<'_> {
    fn at(&self, seconds: f64) -> String {
        // A plan to the minute: seconds are no promise.
        let whole = seconds.round().clamp(0.0, 1e9) as i64;
        let offset = jiff::fmt::temporal::Pieces::parse(self.start.as_str())
            .ok()
            .and_then(|pieces| pieces.to_numeric_offset())
            .unwrap_or(jiff::tz::Offset::UTC);
        let moment = self.start.moment() + jiff::SignedDuration::from_secs(whole);
        offset.to_datetime(moment).strftime("%Y-%m-%d %H:%M").to_string()
    }
}

fn in_time_or_refused(day: &Day, clock: &Clock<'_>, end: &str, seed: u64) -> Result<(), Failure> {
    let end_at: Timestamp = end.parse().map_err(Failure::told)?;
    let room = end_at.moment().duration_since(clock.start.moment()).as_secs_f64();
    if day.seconds <= room {
        return Ok(());
    }
    let fits = in_time(&day.run_bench, &day.elements, room, seed).map_err(Failure::told)?;
    let names: Vec<&str> = fits.iter().map(|place| day.elements[*place].symbol.as_str()).collect();
    let earlier = jiff::SignedDuration::from_secs((day.seconds - room).ceil() as i64);
    let latest = clock.start.moment() - earlier;
    let hint = match names.as_slice() {
        [] => "no element fits into that time".to_owned(),
        some => format!("what fits is {}; leave the others for another day", some.join(", ")),
    };
    Err(Failure::with_hint(
        format!(
            "the last reading would end at {}, {} min after {end}",
            clock.at(day.seconds),
            ((day.seconds - room) / 60.0).ceil()
        ),
        format!("{hint}, or start by {latest}; nothing was written"),
    ))
}

fn volume(si: f64) -> String {
    let (unit, times) = if si >= 0.9995e-6 { ("mL", 1e6) } else { ("µL", 1e9) };
    format!("{} {unit}", plain(si * times))
}

fn concentration(si: f64) -> String {
    let symbol = if si >= 0.5e-3 { "mg/L" } else { "µg/L" };
    MassConcentration::unit(symbol).map_or(String::new(), |unit| format!("{} {symbol}", plain(unit.read_si(si))))
}

/// The name of an intermediate of an element.
fn intermediate(element: &str, amount: f64) -> String {
    format!("{element} intermediate {}", concentration(amount))
}

fn steps(day: &Day, usable: &Bench) -> Vec<Step> {
    let mut steps = Vec::new();
    for standards in &day.standards {
        let tree = &standards.found.tree;
        let of = |from: From| match from {
            From::Stock => format!("lot {}, {}", standards.stock, concentration(standards.stock_amount)),
            From::Intermediate(place) => intermediate(&standards.element, tree.intermediates[place].amount),
        };
        let mut step = |made: &Made, name: String| {
            steps.push(Step {
                made: name,
                of: of(made.from),
                take: format!("{}, {}", volume(made.step.taken), usable.pipettes[made.pipette].id),
                up_to: format!("{}, {}", volume(made.step.made_up_to), usable.flasks[made.flask].id),
                u: format!("{} %", digits(100.0 * made.u_relative, 2)),
            });
        };
        for made in &tree.intermediates {
            step(made, intermediate(&standards.element, made.amount));
        }
        for (made, (name, _)) in tree.levels.iter().zip(&standards.solutions) {
            step(made, name.clone());
        }
    }
    steps
}

fn portion_words(portion: &Portion) -> String {
    match &portion.role {
        PortionRole::Sample { sample, .. } => format!("sample {sample}"),
        PortionRole::Duplicate { of } => format!("duplicate of {of}"),
        PortionRole::Spike { of, .. } => format!("spike of {of}"),
        PortionRole::MethodBlank => "method blank".into(),
        PortionRole::Control { material, .. } => material.clone(),
    }
}

fn goes_in(portion: &Portion, day: &Day) -> String {
    let mut parts = Vec::new();
    parts.extend(portion.volume_taken.as_ref().map(|taken| taken.value.to_string()));
    parts.extend(portion.mass.as_ref().map(|mass| mass.value.to_string()));
    if let PortionRole::Spike { added, .. } = &portion.role {
        let of = day.standards.iter().find(|one| portion.id.as_str().ends_with(&format!("-S-{}", one.element)));
        parts.push(match of {
            Some(of) => {
                format!("{} of the spiking solution with {} ({})", volume(of.spiked.0), of.spiked.1, added.value)
            }
            None => format!("{} added", added.value),
        });
    }
    if parts.is_empty() { "reagents only".into() } else { parts.join(" and ") }
}

fn holds_words(holds: &RowHolds) -> String {
    match holds {
        RowHolds::Standard { amount } | RowHolds::Check { amount } => format!("{} {}", holds.word(), amount.value),
        RowHolds::Portion { portion, dilution, .. } if dilution.value.digits() != "1" => {
            format!("{portion}, diluted {}", dilution.value.digits())
        }
        RowHolds::Portion { portion, .. } => portion.to_string(),
        other => other.word().into(),
    }
}

fn sheet(documents: &ToPlan, day: &Day, clock: &Clock<'_>, methods: &[&ResolvedMethod], by: &str) -> BenchSheet {
    let order = &documents.order.document;
    let bench = &documents.bench.document;
    let on = jiff::fmt::temporal::Pieces::parse(clock.start.as_str()).map(|pieces| pieces.date()).unwrap_or_default();
    let (usable, _) = bench.usable(on);
    let work = startup::work(methods, &[bench.portions.procedure.as_str()]);
    let method_of = |place: usize| {
        order.analytes.get(place).and_then(|analyte| methods.iter().find(|method| method.id == analyte.method)).copied()
    };
    let mut names: BTreeMap<String, String> = BTreeMap::new();
    for batch in &day.batches {
        for portion in &batch.portions {
            names.insert(portion.id.to_string(), portion_words(portion));
        }
    }
    BenchSheet {
        order: order.id.to_string(),
        bench: bench.id.clone(),
        date: clock.start.as_str().to_owned(),
        by: by.to_owned(),
        program: PROGRAM.to_owned(),
        forecast: forecast(day, clock),
        statement: Handbook::shipped().cautions().general.statement.clone(),
        cautions: startup::cautions(&work)
            .iter()
            .map(|one| (one.severity.word().to_owned(), one.caution.clone()))
            .collect(),
        refused: day.refused.iter().map(|one| (one.what.clone(), one.why.clone())).collect(),
        checks: startup::checks(&work).into_iter().map(str::to_owned).collect(),
        first_readings: day
            .first_readings
            .iter()
            .map(|first| {
                let with_unit = |figure: f64| format!("{} {}", digits(figure, 3), first.unit).trim_end().to_owned();
                let (low, high) = (first.response * (1.0 - first.window), first.response * (1.0 + first.window));
                [
                    first.element.clone(),
                    first.of.clone(),
                    with_unit(first.response),
                    format!("{} to {}", with_unit(low), with_unit(high)),
                ]
            })
            .collect(),
        steps: steps(day, &usable),
        portions: day
            .batches
            .iter()
            .flat_map(|batch| &batch.portions)
            .map(|portion| {
                let made = portion.volume.as_ref().map_or(String::new(), |volume| volume.value.to_string());
                [portion.id.to_string(), portion_words(portion), goes_in(portion, day), made]
            })
            .collect(),
        cups: cups(day),
        runs: day
            .runs
            .iter()
            .map(|run| {
                let method = method_of(run.element);
                let symbol = &day.elements[run.element].symbol;
                RunPart {
                    run: run.id.to_string(),
                    about: format!(
                        "{symbol} by {} on {}",
                        method.map_or("–", |method| method.id.as_str()),
                        run.instrument
                    ),
                    time: format!(
                        "{} to {}{}",
                        clock.at(run.starts),
                        clock.at(run.ends),
                        if run.new_tube { "; a new tube before it" } else { "" }
                    ),
                    conditions: method.map_or_else(Vec::new, |method| {
                        let line = method.line.as_ref().map(|line| ("line".to_owned(), line.to_string()));
                        let set = method.conditions.iter().map(|one| (one.name.clone(), one.value.clone()));
                        line.into_iter().chain(set).collect()
                    }),
                    rows: run
                        .rows
                        .iter()
                        .map(|row| {
                            [
                                row.number.to_string(),
                                row.cup.map_or(String::new(), |cup| cup.to_string()),
                                row.name.clone(),
                                holds_words(&row.holds),
                                row.replicates.to_string(),
                            ]
                        })
                        .collect(),
                }
            })
            .collect(),
    }
}

/// What each place of the tray holds, by the rows that draw from it.
fn cups(day: &Day) -> Vec<[String; 4]> {
    let Some(set) = &day.cups else { return Vec::new() };
    let of_furnace: Vec<_> = day.runs.iter().filter(|run| day.elements[run.element].is_furnace).collect();
    let mut shown: Vec<[String; 4]> = set
        .cups
        .iter()
        .map(|cup| {
            let run = of_furnace.get(cup.from_run);
            let row = run.and_then(|run| run.rows.iter().find(|row| row.cup == u32::try_from(cup.place).ok()));
            let symbol = run.map_or("", |run| day.elements[run.element].symbol.as_str());
            let what = match (&cup.solution, row) {
                (Solution::Blank, _) => "blank".to_owned(),
                (Solution::Portion(_), Some(row)) => holds_words(&row.holds),
                (_, Some(row)) => format!("{symbol} {}", holds_words(&row.holds)),
                (_, None) => String::new(),
            };
            let from = if cup.from_run == 0 || !set.is_reloaded { "start".into() } else { format!("run for {symbol}") };
            [cup.place.to_string(), what, format!("{} mL", digits(cup.volume * 1e6, 2)), from]
        })
        .collect();
    shown.sort_by_key(|cup| cup[0].parse::<u32>().unwrap_or(0));
    shown
}

fn forecast(day: &Day, clock: &Clock<'_>) -> Vec<(String, String)> {
    let mut told = vec![("last reading".to_owned(), clock.at(day.seconds))];
    if day.firings > 0 {
        told.push(("tube firings".into(), day.firings.to_string()));
        // EPA method 200.9, Table 2, note 2: 300 mL a minute while drying and pyrolysing.
        told.push(("argon, at 0.3 L/min".into(), format!("about {:.0} L", day.burning.1 / 60.0 * 0.3)));
    }
    if day.burning.0 > 0.0 {
        told.push(("flame burning".into(), format!("{:.0} min", day.burning.0 / 60.0)));
    }
    if let Some(cups) = &day.cups {
        told.push(("cups".into(), cups.cups.len().to_string()));
        if cups.is_reloaded {
            told.push(("tray".into(), "set out anew between runs".into()));
        }
    }
    told
}

fn labels(documents: &ToPlan, day: &Day, clock: &Clock<'_>, by: &str) -> Labels {
    let order = &documents.order.document;
    let on = clock.start.as_str().get(..10).unwrap_or("").to_owned();
    let note = format!("{by}, {on}");
    let mut labels = Vec::new();
    for standards in &day.standards {
        for made in &standards.found.tree.intermediates {
            let what = intermediate(&standards.element, made.amount);
            let id = format!("{}-{}-I{}", order.id, standards.element, labels.len() + 1);
            labels.push(Label::new(id, what, format!("{note}; of lot {}", standards.stock)));
        }
        for (name, _) in &standards.solutions {
            let id = format!("{}-{}-{}", order.id, standards.element, labels.len() + 1);
            labels.push(Label::new(id, name.clone(), format!("{note}; of lot {}", standards.stock)));
        }
    }
    for portion in day.batches.iter().flat_map(|batch| &batch.portions) {
        labels.push(Label::new(portion.id.as_str(), portion_words(portion), note.clone()));
    }
    Labels { order: order.id.to_string(), date: clock.start.as_str().to_owned(), program: PROGRAM.to_owned(), labels }
}

fn csv(rows: Vec<Vec<String>>) -> String {
    let cell = |cell: &String| {
        if cell.contains([',', ';', '"', '\n', '\r']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell.clone()
        }
    };
    rows.iter().map(|row| format!("{}\n", row.iter().map(cell).collect::<Vec<_>>().join(","))).collect()
}

fn write_all(
    folder: &Path,
    documents: &ToPlan,
    day: &Day,
    made: &BenchSheet,
    clock: &Clock<'_>,
    seed: u64,
) -> Result<(), Failure> {
    let order = &documents.order.document;
    let mut files: Vec<(String, Vec<u8>)> = Vec::new();
    for (place, batch) in day.batches.iter().enumerate() {
        let name =
            if day.batches.len() == 1 { "preparation.toml".into() } else { format!("preparation-{}.toml", place + 1) };
        let comment = format!(
            "Planned by {PROGRAM} with seed {seed}; put in what was really weighed and pipetted.\nControls and spikes of \
             several elements have a portion each, also where they are one vessel."
        );
        files.push((name, preparation::write(batch, &comment).into_bytes()));
    }
    for run in &day.runs {
        let symbol = &day.elements[run.element].symbol;
        let rows = format!("run-order-{}.csv", symbol.to_lowercase());
        let method = order.analytes.get(run.element).map_or("", |analyte| analyte.method.as_str());
        let lots: Vec<String> = day.standards[run.element].lots.iter().map(|lot| quoted(lot)).collect();
        let head = format!(
            "# Planned by {PROGRAM} with seed {seed}.\nformat = \"darkline/run/1\"\nid = {}\nmethod = {}\ninstrument = {}\nlots = [{}]\n\
             rows = {}\n",
            quoted(run.id.as_str()),
            quoted(method),
            quoted(&run.instrument),
            lots.join(", "),
            quoted(&rows)
        );
        files.push((format!("run-{}.toml", symbol.to_lowercase()), head.into_bytes()));
        files.push((rows, run_order::write(&run.rows).into_bytes()));
    }
    let mut rows: Vec<Vec<String>> =
        vec![["part", "make", "of", "take", "make_up_to", "u", "really_done"].map(str::to_owned).to_vec()];
    for step in &made.steps {
        let Step { made, of, take, up_to, u } = step.clone();
        rows.push(vec!["standard".into(), made, of, take, up_to, u, String::new()]);
    }
    for [id, what, goes_in, up_to] in made.portions.clone() {
        rows.push(vec!["portion".into(), id, what, goes_in, up_to, String::new(), String::new()]);
    }
    for [place, what, least, from] in made.cups.clone() {
        rows.push(vec!["cup".into(), place, what, least, from, String::new(), String::new()]);
    }
    files.push(("bench-sheet.csv".into(), csv(rows).into_bytes()));
    files.push(("bench-sheet.pdf".into(), darkline_report::render_bench_sheet(made).map_err(Failure::told)?));
    let labels = labels(documents, day, clock, &made.by);
    let mut rows = vec![["label", "what", "note"].map(str::to_owned).to_vec()];
    rows.extend(labels.labels.iter().map(|label| vec![label.id.clone(), label.what.clone(), label.note.clone()]));
    files.push(("labels.csv".into(), csv(rows).into_bytes()));
    files.push(("labels.pdf".into(), darkline_report::render_labels(&labels).map_err(Failure::told)?));
    // All names first: where one is taken, none is written.
    let made: Vec<NewFile> =
        files.iter().map(|(name, _)| NewFile::at(&folder.join(name))).collect::<Result<_, Failure>>()?;
    for (file, (_, bytes)) in made.into_iter().zip(&files) {
        file.fill(bytes)?;
    }
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    talk::tell(&format!("written into {}: {}", folder.display(), names.join(", ")));
    Ok(())
}

fn show(everywhere: &Everywhere, documents: &ToPlan, day: &Day, clock: &Clock<'_>) -> Result<(), Failure> {
    let order = documents.order.document.id.as_str();
    let mut table =
        Table::new().words("run").words("element").figures("rows", "").words("starts").words("ends").words("remark");
    for run in &day.runs {
        let symbol = &day.elements[run.element].symbol;
        if everywhere.json {
            talk::print_json(&DayLine {
                schema: "darkline/day/1",
                order,
                run: run.id.as_str(),
                element: symbol,
                starts: clock.at(run.starts),
                ends: clock.at(run.ends),
                rows: run.rows.len(),
                new_tube: run.new_tube,
            })?;
        }
        table.row(vec![
            run.id.to_string(),
            symbol.clone(),
            run.rows.len().to_string(),
            clock.at(run.starts),
            clock.at(run.ends),
            if run.new_tube { "a new tube before it".into() } else { String::new() },
        ]);
    }
    if everywhere.json {
        return Ok(());
    }
    talk::print(&table.text())?;
    let forecast: Vec<String> = forecast(day, clock).iter().map(|(what, how)| format!("{what} {how}")).collect();
    talk::print(&format!("{}\n", forecast.join("; ")))?;
    for standards in &day.standards {
        let worst = standards.found.tree.levels.iter().map(|made| made.u_relative).fold(0.0, f64::max);
        let proof = if standards.found.is_proved {
            "no tree with this ware is surer by more than 5 %".to_owned()
        } else {
            format!("looked at {} trees, not proved the surest", darkline_preparation::tree::MOST_TREES)
        };
        talk::print(&format!(
            "standards of {}: {} by way of {}, u at most {} %; {proof}\n",
            standards.element,
            count(standards.solutions.len(), "solution"),
            count(standards.found.tree.intermediates.len(), "intermediate"),
            digits(100.0 * worst, 2),
        ))?;
    }
    for refused in &day.refused {
        talk::tell(&format!("left out: {}, {}", refused.what, refused.why));
    }
    for balance in &documents.bench.document.balances {
        let smallest = balance.smallest();
        if let Some(mass) = &documents.bench.document.portions.mass
            && mass.value.value().si() < smallest
        {
            talk::tell(&format!(
                "{} is below the smallest mass that balance {} weighs to 0.1 %: {} mg",
                mass.value,
                balance.id,
                digits(smallest * 1e6, 2)
            ));
        }
    }
    Ok(())
}
