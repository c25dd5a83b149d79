//! A run while it is going: what is measured now, the one large sentence, flags as they come, readings below one another.
//!
//! The page is whole as it is; a script adds readings and flags that come later by asking for what came since.

use std::collections::BTreeSet;

use darkline_audit_trail::people::Verb;
use darkline_evaluation::open_points::open_points;
use darkline_evaluation::outcome::{ReadingOutcome, RunOutcome};
use darkline_laboratory::{Evaluated, what_stops};
use darkline_quality::cost::seconds_per_reading;
use darkline_record::identity::{OrderId, ReadingId, RunId};
use darkline_record::run::{Row, Run};
use darkline_report::drawn;
use darkline_report::figure::Medium;
use darkline_report::printed::significant;
use darkline_report::result_words::says;
use maud::{Markup, PreEscaped, html};
use serde_json::json;

use super::deciding::{About, capital, form};
use super::order::{done, extend_form};
use super::{at_order, at_run, count, flag, flags_stop, order_of, run_of, to_the_minute};
use crate::answer::{Answer, Refused};
use crate::asked::{Asked, Twin};
use crate::desk::Desk;
use crate::page::{Fact, Page, Part};
use crate::sheet::{Cell, Mark, Sheet, tag};

/// A run inside an evaluated order.
pub(crate) struct OfRun<'a> {
    /// The run as planned and read.
    pub(crate) run: &'a Run,
    /// What came of it.
    pub(crate) outcome: &'a RunOutcome,
}

/// Finds a run in an evaluated order.
pub(crate) fn of_run<'a>(evaluated: &'a Evaluated, run: &RunId) -> Result<OfRun<'a>, Refused> {
    let found = evaluated.package.runs.iter().find(|known| known.id == *run);
    let outcome = evaluated.outcome.runs.iter().find(|known| known.run == *run);
    match (found, outcome) {
        (Some(run), Some(outcome)) => Ok(OfRun { run, outcome }),
        _ => Err(Refused::no_page(format!("order {} is not measured in a run {run}", evaluated.package.order.id))),
    }
}

/// How far a run is.
pub(crate) struct Progress<'a> {
    /// Readings planned that are in.
    pub(crate) done: usize,
    /// Readings planned.
    pub(crate) planned: usize,
    /// The row now being measured and which replicate comes next.
    pub(crate) next: Option<(&'a Row, usize)>,
}

/// How far a run is: rows that another row stands in for are not waited for.
pub(crate) fn progress(run: &Run) -> Progress<'_> {
    let taken: BTreeSet<(u32, u8)> = run.readings.iter().map(|reading| (reading.row, reading.replicate)).collect();
    let of_row = |row: &Row| taken.iter().filter(|(number, _)| *number == row.number).count();
    let (mut done, mut planned, mut next) = (0, 0, None);
    for row in run.rows() {
        let (wanted, found) = (usize::from(row.replicates), of_row(row));
        done += found.min(wanted);
        planned += if run.is_replaced(row.number) { found.min(wanted) } else { wanted };
        if next.is_none() && found < wanted && !run.is_replaced(row.number) {
            next = Some((row, found + 1));
        }
    }
    Progress { done, planned, next }
}

/// The readings of a run as a table.
pub(crate) fn readings(order: &OrderId, of: &OfRun<'_>, from: usize) -> Sheet {
    let unit = of.outcome.response_unit.as_str();
    let mut sheet = Sheet::new("readings", format!("Readings of run {}, in the order they came", of.run.id))
        .words("reading", "reading")
        .figures("row", "row", "")
        .words("name", "name on the cup")
        .figures("replicate", "replicate", "")
        .figures("response", "response", unit)
        .figures("background", "highest background", "")
        .words("state", "state")
        .in_order()
        .or_else_say("No reading yet.");
    let mut in_time: Vec<&ReadingOutcome> = of.outcome.readings.iter().collect();
    in_time.sort_by_key(|reading| reading.reading.number);
    for reading in in_time.into_iter().skip(from) {
        let name = of.run.row(reading.row).map_or("", |row| row.name.as_str());
        let state = match (&reading.fault, reading.rejected, reading.counts) {
            (Some(fault), ..) => Cell::status(Mark::Stops, fault.as_str()),
            (_, true, _) => Cell::status(Mark::Rejected, "rejected"),
            (_, _, true) => Cell::text("counts"),
            _ => Cell::text("does not count"),
        };
        sheet.row_named(
            format!("reading-{}", reading.reading.number),
            vec![
                Cell::text(reading.reading.to_string()).linked(format!(
                    "{}/reading/{}",
                    at_run(order, &of.run.id),
                    reading.reading.number
                )),
                Cell::count(reading.row),
                Cell::text(name),
                Cell::count(reading.replicate),
                Cell::maybe(reading.response, |value| significant(value, 4)),
                Cell::maybe(reading.background_max, |value| significant(value, 3)),
                state,
            ],
        );
    }
    sheet
}

/// The large sentence with its next step, and how far the run is.
fn now(order: &OrderId, evaluated: &Evaluated, of: &OfRun<'_>) -> (Markup, String) {
    let Progress { done, planned, next } = progress(of.run);
    let method = evaluated.package.method(&of.run.method);
    let newest = flag::newest(&evaluated.outcome, &of.run.id);
    let n_stops = evaluated.outcome.stopping().count();
    let (class, kind, sentence, then) = match (newest, next) {
        (Some(flag), _) => {
            let step = flag.flag.next.first().map_or_else(
                || "Look at it, then justify it or take up a step.".to_owned(),
                |_| format!("Next: {}.", lower(&About::TakeUp(flag, 0).title())),
            );
            let kind = format!("{}; {} the report", flag.flag.id.rule.as_str().replace('-', " "), flags_stop(n_stops));
            ("stops", kind, format!("{}.", capital(&says(flag))), step)
        }
        (None, Some((row, _))) if done == 0 => (
            "plain",
            "not begun".into(),
            format!("Nothing is measured yet. First comes row {}, {}.", row.number, row.name),
            String::new(),
        ),
        (None, Some(_)) => ("in-order", "going".into(), "Nothing stops this run so far.".into(), String::new()),
        (None, None) => {
            let open: Vec<String> =
                open_points(&evaluated.package, &evaluated.outcome).iter().map(|point| point.words()).collect();
            let then = if open.is_empty() {
                String::new()
            } else {
                format!("Open before the lamps go off: {}.", open.join("; "))
            };
            match what_stops(&evaluated.outcome) {
                None => (
                    "in-order",
                    "measured".into(),
                    "Everything planned is measured, and nothing stops the report.".into(),
                    then,
                ),
                Some(why) => (
                    "plain",
                    "measured".into(),
                    format!("Everything planned here is measured. {}.", capital(&why)),
                    then,
                ),
            }
        }
    };
    let rest = planned.saturating_sub(done);
    let minutes = method.and_then(|method| seconds_per_reading(of.run, method)).map(|seconds| {
        #[expect(clippy::cast_precision_loss, reason = "a number of readings")]
        let minutes = (seconds * rest as f64 / 60.0).ceil();
        format!("about {minutes:.0} min to the end")
    });
    let mut progress_words = format!("{done} of {planned} readings");
    if let Some((row, replicate)) = next {
        let cup = row.cup.map_or_else(String::new, |cup| format!(", cup {cup}"));
        progress_words.push_str(&format!(
            "; now row {}{cup}, {}, replicate {replicate} of {}",
            row.number, row.name, row.replicates
        ));
    }
    if let Some(minutes) = minutes.filter(|_| rest > 0) {
        progress_words.push_str(&format!("; {minutes}"));
    }
    let markup = html! {
        div.large.(class) {
            p.kind { (kind) }
            (sentence)
            @if !then.is_empty() { p.next { (then) } }
            @if next.is_none() && newest.is_none() && what_stops(&evaluated.outcome).is_none() {
                p.next { "Next: " a href=(format!("{}/review", at_order(order))) { "look through all of it and sign" } "." }
            }
        }
        p { (progress_words) "." }
        svg.bar width="100%" height="12" role="img" aria-label=(progress_words) preserveAspectRatio="none" viewBox=(format!("0 0 {} 1", planned.max(1))) {
            rect width=(done) height="1" {}
        }
    };
    (markup, sentence)
}

fn lower(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| format!("{}{}", first.to_lowercase(), characters.as_str()))
}

fn last_trace(evaluated: &Evaluated, of: &OfRun<'_>) -> Markup {
    let last = of.outcome.readings.iter().max_by_key(|reading| reading.reading.number);
    let figure =
        last.and_then(|last| drawn::trace(&evaluated.package, &evaluated.outcome, &last.reading, Medium::Page));
    html! {
        @if let Some(figure) = figure {
            figure.drawn {
                (PreEscaped(&figure.svg))
                figcaption { b { (figure.title) } ". " (figure.description) }
            }
        } @else if let Some(last) = last {
            p { "The last reading, " (last.reading) ", brought "
                @match last.response { Some(response) => { (significant(response, 4)) " " (of.outcome.response_unit) }, None => "no response" }
                " and no trace." }
        } @else { p.nothing { "The trace of the last reading stands here." } }
    }
}

/// The page of a run.
pub(crate) fn show(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (order, run) = (order_of(asked)?, run_of(asked)?);
    let evaluated = desk.evaluated(&order)?;
    let of = of_run(&evaluated, &run)?;
    let at = at_run(&order, &run);
    let method = evaluated.package.method(&of.run.method);
    let element = method.map(|method| method.element.to_string()).unwrap_or_default();
    let mut page = Page::new(format!("Run {run}, {element}"))
        .under("Orders", "/orders")
        .under(format!("Order {order}"), at_order(&order));
    page.foot = format!("order {order}, run {run}");
    page.is_live = true;
    page.done = done(asked);
    let may_decide = asked.viewer().has_right(Verb::Decide);
    let token = may_decide.then_some(asked.viewer().form_token.as_str());
    let Progress { done, planned, .. } = progress(of.run);
    scanned(&mut page, &order, &evaluated, &of, asked, token);
    let sheet = readings(&order, &of, 0);
    let (now, _) = now(&order, &evaluated, &of);
    let laboratory = desk.laboratory()?;
    let extend = may_decide.then(|| extend_form(&laboratory, &order, &run, &at)).flatten();
    drop(laboratory);
    page.words(html! {
        p.paused id="paused" hidden role="status" {}
        p.heard id="heard" aria-live="polite" {}
        div id="live" data-path=(at) data-readings=(of.outcome.readings.len()) {
            div id="now" { (now) }
            @if let Some(extend) = &extend { (extend.html(token.unwrap_or_default(), &[])) }
            div.two {
                section aria-labelledby="flags-head" {
                    h2 id="flags-head" { "Flags, in the order of the run" }
                    div id="flags" {
                        @for found in &evaluated.outcome.flags { (flag::card(&order, &evaluated, found, token, &at)) }
                    }
                    @if evaluated.outcome.flags.is_empty() { p.nothing #no-flag { "No flag was raised so far." } }
                }
                section aria-labelledby="trace-head" {
                    h2 id="trace-head" { "The last reading" }
                    div id="trace-now" { (last_trace(&evaluated, &of)) }
                    p { a href=(format!("{at}/element")) { "Calibration, checks and blanks of " (element) } }
                }
            }
            h2 { "Readings" }
            div id="live-readings" { (sheet.html(&at, &asked.query)) }
        }
    });
    page.parts.push(Part::Beside(sheet));
    page.parts.push(Part::Beside(flag::sheet(&order, &evaluated.outcome)));
    page.facts(vec![
        Fact::new("run", "run", run.as_str()),
        Fact::new("method", "method", method.map_or_else(String::new, |method| method.title.clone())),
        Fact::new("instrument", "instrument", of.run.instrument.as_str()),
        Fact::new("readings", "readings in", format!("{done} of {planned}")),
        Fact::new("legs", "legs", of.run.legs.len().to_string()),
    ]);
    run_order(&mut page, &of);
    Ok(page.into())
}

fn run_order(page: &mut Page, of: &OfRun<'_>) {
    page.heading("Run order");
    let mut sheet = Sheet::new("rows", format!("Rows of run {}", of.run.id))
        .figures("row", "row", "")
        .figures("cup", "cup", "")
        .words("name", "name on the cup")
        .words("holds", "what it is")
        .words("readings", "readings")
        .figures("amount", "found", &of.outcome.amount_unit)
        .figures("u_amount", "u", &of.outcome.amount_unit);
    for solution in &of.outcome.solutions {
        let row = of.run.row(solution.row);
        let replaced = if solution.replaced { ", replaced" } else { "" };
        sheet.row_named(
            format!("row-{}", solution.row),
            vec![
                Cell::count(solution.row),
                row.and_then(|row| row.cup).map_or_else(Cell::nothing, Cell::count),
                Cell::text(solution.name.as_str()),
                Cell::text(solution.holds.as_str()),
                Cell::text(format!("{} of {}{replaced}", solution.n_counted, solution.n_planned)),
                Cell::maybe(solution.amount, |value| significant(value, 4)),
                Cell::maybe(solution.u_amount, |value| significant(value, 2)),
            ],
        );
    }
    page.sheet(sheet);
}

/// What was scanned or typed into the field: the row with its readings and what may be done about each.
fn scanned(
    page: &mut Page,
    order: &OrderId,
    evaluated: &Evaluated,
    of: &OfRun<'_>,
    asked: &Asked,
    token: Option<&str>,
) {
    let scan = asked.query.get("scan").trim();
    if scan.is_empty() {
        return;
    }
    let is_meant = |row: &&Row| row.name.eq_ignore_ascii_case(scan) || row.number.to_string() == scan;
    let rows: Vec<&Row> = of.run.rows().filter(is_meant).collect();
    let at = at_run(order, &of.run.id);
    page.words(html! {
        h2 id="scanned" { "Scanned: " (scan) }
        @if rows.is_empty() { p { "Run " (of.run.id) " has no row of this name or number." } }
        @for row in rows {
            @let found: Vec<&ReadingOutcome> = of.outcome.readings.iter().filter(|reading| reading.row == row.number).collect();
            article.flag {
                h3 { "Row " (row.number) @if let Some(cup) = row.cup { ", cup " (cup) } ": " (row.name) }
                p { (found.len()) " of " (row.replicates) " readings." }
                @for reading in found {
                    p {
                        a href=(format!("{at}/reading/{}", reading.reading.number)) { "reading " (reading.reading) }
                        @if let Some(response) = reading.response { ": " (significant(response, 4)) " " (of.outcome.response_unit) }
                        @if reading.rejected { " " (tag(Mark::Rejected, "rejected")) }
                    }
                    @if let Some(token) = token {
                        @let about = if reading.rejected { About::Reinstate(&reading.reading) } else { About::Reject(&reading.reading) };
                        details.opens { summary { (about.title()) } (form(order, &evaluated.package, &about, &at).html(token, &[])) }
                    }
                }
            }
        }
    });
}

/// What came since a reading, for the script of a live page.
pub(crate) fn since(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (order, run) = (order_of(asked)?, run_of(asked)?);
    let evaluated = desk.evaluated(&order)?;
    let of = of_run(&evaluated, &run)?;
    let at = at_run(&order, &run);
    let seen = asked.query.get("reading").parse::<usize>().unwrap_or(0).min(of.outcome.readings.len());
    let token = asked.viewer().has_right(Verb::Decide).then_some(asked.viewer().form_token.as_str());
    let n = of.outcome.readings.len();
    let (now, sentence) = now(&order, &evaluated, &of);
    let flags: Vec<serde_json::Value> = evaluated
        .outcome
        .flags
        .iter()
        .map(|found| {
            json!({
                "id": flag::card_id(found),
                "state": flag::card_state(found),
                "html": flag::card(&order, &evaluated, found, token, &at).into_string(),
            })
        })
        .collect();
    let says =
        if n > seen { format!("{}. {sentence}", capital(&count(n - seen, "new reading"))) } else { String::new() };
    let told = json!({
        "schema": "darkline/since/1",
        "readings": n,
        "rows": if n > seen { readings(&order, &of, seen).rows_html(0).into_string() } else { String::new() },
        "now": now.into_string(),
        "trace": last_trace(&evaluated, &of).into_string(),
        "flags": flags,
        "says": says,
    });
    Ok(Answer::File { kind: "application/json", bytes: told.to_string().into_bytes(), name: None })
}

/// News of a run.
pub(crate) fn news(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (order, run) = (order_of(asked)?, run_of(asked)?);
    let evaluated = desk.evaluated(&order)?;
    of_run(&evaluated, &run)?;
    Ok(Answer::News)
}

fn reading_of<'a>(of: &'a OfRun<'_>, asked: &Asked) -> Result<&'a ReadingOutcome, Refused> {
    let number: u32 = asked.part(2).parse().map_err(|_| Refused::no_page("a reading is named by its number"))?;
    let id = ReadingId { run: of.run.id.clone(), number };
    let found = of.outcome.readings.iter().find(|reading| reading.reading == id);
    found.ok_or_else(|| Refused::no_page(format!("run {} has no reading {number}", of.run.id)))
}

/// One reading with its trace.
pub(crate) fn reading(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (order, run) = (order_of(asked)?, run_of(asked)?);
    let evaluated = desk.evaluated(&order)?;
    let of = of_run(&evaluated, &run)?;
    let reading = reading_of(&of, asked)?;
    let at = at_run(&order, &run);
    let here = format!("{at}/reading/{}", reading.reading.number);
    let row = of.run.row(reading.row);
    let mut page = Page::new(format!("Reading {}, {}", reading.reading, row.map_or("", |row| row.name.as_str())))
        .under(format!("Order {order}"), at_order(&order))
        .under(format!("Run {run}"), at.clone());
    page.foot = format!("order {order}, reading {}", reading.reading);
    page.done = done(asked);
    let when = of.run.readings.iter().find(|known| known.number == reading.reading.number);
    let unit = of.outcome.response_unit.as_str();
    let state = if reading.rejected {
        "rejected"
    } else if reading.counts {
        "counts"
    } else {
        "does not count"
    };
    page.facts(vec![
        Fact::new(
            "row",
            "row",
            format!("{}, replicate {}, attempt {}", reading.row, reading.replicate, reading.attempt),
        ),
        Fact::new("at", "measured at", when.map_or_else(String::new, |known| to_the_minute(known.at.as_str()))),
        Fact::new(
            "response",
            "response",
            reading.response.map_or_else(|| "none".into(), |value| format!("{} {unit}", significant(value, 4))),
        ),
        Fact::new("state", "state", state),
    ]);
    if let Some(fault) = &reading.fault {
        page.words(html! { p { (tag(Mark::Stops, fault)) } });
    }
    match drawn::trace(&evaluated.package, &evaluated.outcome, &reading.reading, Medium::Page) {
        Some(figure) => page.figure(figure),
        None => page.words(html! { p.nothing { "This reading has no trace." } }),
    }
    page.sheet(figures(reading, unit));
    let about = |flag: &&darkline_evaluation::outcome::FlagOutcome| {
        flag.flag.id.subject == darkline_record::decision::Subject::Reading(reading.reading.clone())
    };
    let may_decide = asked.viewer().has_right(Verb::Decide);
    let token = may_decide.then_some(asked.viewer().form_token.as_str());
    for found in evaluated.outcome.flags.iter().filter(about) {
        page.words(flag::card(&order, &evaluated, found, token, &here));
    }
    if may_decide {
        let about = if reading.rejected { About::Reinstate(&reading.reading) } else { About::Reject(&reading.reading) };
        page.parts.push(Part::Opens(about.title(), vec![Part::Form(form(&order, &evaluated.package, &about, &here))]));
    }
    let number = reading.reading.number;
    page.words(html! {
        p {
            @if number > 1 { a href=(format!("{at}/reading/{}", number - 1)) rel="prev" { "Reading before" } " · " }
            @if of.outcome.readings.iter().any(|known| known.reading.number == number + 1) {
                a href=(format!("{at}/reading/{}", number + 1)) rel="next" { "Reading after" } " · "
            }
            a href=(format!("/trail?reading={}/{number}", of.run.id)) { "Every entry about it" }
        }
    });
    Ok(page.into())
}

/// What one reading says, figure by figure.
fn figures(reading: &ReadingOutcome, unit: &str) -> Sheet {
    let mut sheet = Sheet::new("figures", "What it says")
        .words("figure", "figure")
        .figures("value", "value", "")
        .words("unit", "unit")
        .in_order();
    let mut add = |name: &str, value: Option<f64>, digits: usize, unit: &str| {
        if let Some(value) = value {
            let unit = if unit == "1" { "" } else { unit };
            sheet.row(vec![Cell::text(name), Cell::figure(value, significant(value, digits)), Cell::text(unit)]);
        }
    };
    add("response", reading.response, 4, unit);
    add("u from its own noise", reading.u_noise, 2, unit);
    add("highest background", reading.background_max, 3, "1");
    if let Some(pulse) = &reading.pulse {
        let reduced = &pulse.reduced;
        add("peak absorbance", Some(reduced.peak_absorbance), 3, "1");
        add("time of the peak", Some(reduced.peak_time_s), 3, "s");
        add("appearance time", reduced.appearance_time_s, 3, "s");
        add("width", reduced.width_s, 3, "s");
        add("baseline offset", Some(reduced.offset), 2, "1");
        add("baseline noise", Some(reduced.baseline_noise), 2, "1");
        add("background at the peak", Some(reduced.background_at_peak), 3, "1");
        add("lowest net absorbance", Some(reduced.negative_lobe), 2, "1");
    }
    if let Some(steady) = &reading.steady {
        add("mean absorbance", Some(steady.mean_absorbance), 4, "1");
        add("u of the mean", Some(steady.u_mean), 2, "1");
        add("drift", Some(steady.drift_per_s), 2, "1/s");
    }
    sheet
}

/// The trace of a reading as a drawing of its own.
pub(crate) fn trace(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (order, run) = (order_of(asked)?, run_of(asked)?);
    let evaluated = desk.evaluated(&order)?;
    let of = of_run(&evaluated, &run)?;
    let reading = reading_of(&of, asked)?;
    let figure = drawn::trace(&evaluated.package, &evaluated.outcome, &reading.reading, Medium::Page);
    let figure = figure.ok_or_else(|| Refused::no_page("this reading has no trace"))?;
    if asked.twin != Twin::Page {
        return Err(Refused::no_page("the figures of a trace stand at its reading"));
    }
    // Alone it has no style sheet to take its letters from.
    let svg = figure.svg.replacen("<svg ", "<svg font-family=\"DejaVu Sans, Helvetica, Arial, sans-serif\" ", 1);
    Ok(Answer::File { kind: "image/svg+xml", bytes: svg.into_bytes(), name: None })
}
