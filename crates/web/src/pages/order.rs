//! Orders: the list of all, one with its results, and what is decided about it.

use darkline_audit_trail::people::{Stage, Verb};
use darkline_laboratory::deciding::Wish;
use darkline_laboratory::state::{OrderState, State};
use darkline_laboratory::{LaboratoryError, Standing, stage_of, what_stops};
use darkline_record::decision::{NextStep, Reason};
use darkline_record::identity::{OrderId, RunId};
use maud::html;

use super::deciding::{About, flag_of, form, reasons};
use super::{at_order, at_run, count, flag, local, order_of, to_the_minute};
use crate::answer::{Answer, Refused};
use crate::asked::{Asked, escape};
use crate::desk::Desk;
use crate::form::{Fault, Field, Form};
use crate::page::{Fact, Page, Part};
use crate::sheet::{Cell, Mark, Sheet};
use crate::words::{result_cells, stage_cell, statement_cell};

/// Orders on one page.
const A_PAGE: usize = 100;

/// How far an order has come as far as its entries tell, without working out its results.
pub(crate) fn by_entries(state: &State, known: &OrderState) -> &'static str {
    if !known.issues.is_empty() {
        "issued"
    } else if !known.signatures.is_empty() {
        "signed"
    } else if state.runs_of(&known.order.id).iter().any(|run| !run.run.readings.is_empty()) {
        "measured in part or whole"
    } else {
        "open"
    }
}

/// All orders, newest first.
pub(crate) fn all(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let laboratory = desk.laboratory()?;
    let state = laboratory.state();
    let wanted = asked.query.get("what").trim().to_lowercase();
    let fits = |known: &&OrderState| {
        let order = &known.order;
        wanted.is_empty()
            || order.id.as_str().to_lowercase().contains(&wanted)
            || order.customer.to_lowercase().contains(&wanted)
            || order.samples.iter().any(|sample| sample.id.as_str().to_lowercase() == wanted)
    };
    let found: Vec<&OrderState> = state.orders.values().rev().filter(fits).collect();
    let from = asked.query.get("from").parse::<usize>().unwrap_or(0).min(found.len());
    let mut sheet = Sheet::new("orders", "Orders, newest first")
        .words("order", "order")
        .words("customer", "customer")
        .words("received", "received")
        .figures("samples", "samples", "")
        .words("elements", "elements")
        .words("state", "how far by its entries")
        .words("report", "last report")
        .or_else_say("No order fits.")
        .of_all(found.len());
    for known in found.iter().skip(from).take(A_PAGE) {
        let order = &known.order;
        let elements: Vec<&str> = order.analytes.iter().map(|requested| requested.element.as_str()).collect();
        let report = known.issues.last().map(|issue| issue.report.clone()).unwrap_or_default();
        sheet.row(vec![
            Cell::text(order.id.as_str()).linked(at_order(&order.id)),
            Cell::text(order.customer.as_str()),
            Cell::text(to_the_minute(order.received.as_str())),
            Cell::count(order.samples.len()),
            Cell::text(elements.join(", ")),
            Cell::text(by_entries(state, known)),
            Cell::text(report),
        ]);
    }
    let mut page = Page::new("Orders");
    page.form(
        Form::look("orders", "/orders")
            .field(Field::line("what", "Order, customer or sample").value(asked.query.get("what")))
            .button("Show these"),
    );
    page.sheet(sheet);
    if from + A_PAGE < found.len() {
        let next = format!("/orders?from={}&what={}", from + A_PAGE, escape(asked.query.get("what")));
        page.words(html! { p { a href=(next) { "Older orders" } } });
    }
    let mut restored = Sheet::new("restored", "Orders restored from an archive; read here, not changed")
        .words("order", "order")
        .words("report", "report")
        .words("log", "from log");
    for (order, known) in &state.restored {
        restored.row(vec![
            Cell::text(order.as_str()).linked(at_order(order)),
            Cell::text(known.report.as_str()),
            Cell::text(known.log.as_str()),
        ]);
    }
    if restored.len() > 0 {
        page.sheet(restored);
    }
    Ok(page.into())
}

/// One order: its results, what stops it, its flags, its documents.
pub(crate) fn show(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let order = order_of(asked)?;
    let evaluated = match desk.evaluated(&order) {
        Ok(evaluated) => evaluated,
        Err(refused) if refused.status == 422 => return unopened(desk, &order, &refused),
        Err(refused) => return Err(refused),
    };
    let outcome = &evaluated.outcome;
    let at = at_order(&order);
    let mut page = Page::new(format!("Order {order}")).under("Orders", "/orders");
    page.foot = format!("order {order}");
    page.done = done(asked);

    let laboratory = desk.laboratory()?;
    let is_restored = laboratory.state().restored.contains_key(&order);
    let stage = if is_restored { Stage::Issued } else { stage_of(laboratory.order(&order)?, outcome) };
    let (sentence, mark) = match what_stops(outcome) {
        Some(why) if outcome.stopping().next().is_some() => {
            (format!("Order {order} cannot be signed yet: {why}."), Mark::Stops)
        }
        Some(why) => (format!("Order {order} is going: {why}."), Mark::Plain),
        None => (format!("Nothing stops order {order}. It is {stage}."), Mark::InOrder),
    };
    let (_, class) = mark.shape();
    let next = match stage {
        Stage::Open => None,
        Stage::Measured if what_stops(outcome).is_some() => None,
        Stage::Measured | Stage::InReview | Stage::Approved => {
            Some((format!("{at}/review"), "Look through all of it, then sign or return it"))
        }
        Stage::Issued if is_restored => None,
        Stage::Issued => Some((format!("{at}/report"), "The report, as it was issued")),
    };
    page.words(html! {
        div.large.(class) {
            (sentence)
            @if let Some((to, words)) = next { p.next { "Next: " a href=(to) { (words) } "." } }
        }
    });
    let order_document = &evaluated.package.order;
    let mut facts = vec![
        Fact::new("state", "state", stage.words()),
        Fact::new("customer", "customer", order_document.customer.as_str()),
        Fact::new("received", "received", to_the_minute(order_document.received.as_str())),
        Fact::new("edition", "edition of the arithmetic", evaluated.package.edition.to_string()),
    ];
    if let Some(purpose) = &order_document.purpose {
        facts.push(Fact::new("purpose", "what it is for", purpose.as_str()));
    }
    if let Some(issue) = laboratory.state().orders.get(&order).and_then(|known| known.issues.last()) {
        let says = format!("{}, issued by {} on {}", issue.report, issue.by, to_the_minute(&issue.at));
        facts.push(Fact::new("report", "report", says).linked(format!("{at}/report")));
    }
    page.facts(facts);

    page.heading("Results");
    results(&mut page, &order, &evaluated);
    page.heading("Runs");
    let mut runs = Sheet::new("runs", "Runs that measure it")
        .words("run", "run")
        .words("element", "element")
        .words("method", "method")
        .words("instrument", "instrument")
        .figures("readings", "readings", "");
    for run in &evaluated.package.runs {
        let element =
            evaluated.package.method(&run.method).map(|method| method.element.to_string()).unwrap_or_default();
        runs.row(vec![
            Cell::text(run.id.as_str()).linked(at_run(&order, &run.id)),
            Cell::text(element).linked(format!("{}/element", at_run(&order, &run.id))),
            Cell::text(run.method.as_str()),
            Cell::text(run.instrument.as_str()),
            Cell::count(run.readings.len()),
        ]);
    }
    page.sheet(runs);
    page.heading("Flags");
    page.sheet(flag::sheet(&order, outcome));
    let may_decide = asked.viewer().has_right(Verb::Decide) && !is_restored;
    let token = may_decide.then_some(asked.viewer().form_token.as_str());
    for stopping in outcome.stopping() {
        page.words(flag::card(&order, &evaluated, stopping, token, &at));
    }
    if may_decide {
        waiting(
            &mut page,
            &laboratory,
            &order,
            &evaluated.package.runs.iter().map(|run| run.id.clone()).collect::<Vec<_>>(),
            &at,
        );
    }
    if let Some(known) = laboratory.state().orders.get(&order) {
        signatures(&mut page, known, outcome);
        let size = laboratory.state().n_entries;
        let since = desk.looked(asked.viewer().id(), &order, size);
        if let Some(since) = since.filter(|since| *since < size) {
            let changes = laboratory.state().changes_between(&order, since.saturating_sub(1), size);
            page.heading("Since you last looked");
            let mut sheet = Sheet::new("since", "What changed")
                .words("change", "change")
                .in_order()
                .or_else_say("Nothing that changes results.");
            for change in changes {
                sheet.row(vec![Cell::text(change)]);
            }
            page.sheet(sheet);
        }
    }
    page.words(
        html! { p { a href=(format!("/trail?order={}", escape(order.as_str()))) { "Every entry about this order" } } },
    );
    Ok(page.into())
}

/// What an act says when it comes back to a page.
pub(crate) fn done(asked: &Asked) -> Option<String> {
    let entries: Vec<u64> = asked.query.all("done").filter_map(|number| number.parse().ok()).collect();
    match entries.as_slice() {
        [] => None,
        [one] => Some(format!("Done: entry {one}.")),
        many => Some(format!("Done: entries {}.", many.iter().map(u64::to_string).collect::<Vec<_>>().join(", "))),
    }
}

fn unopened(desk: &Desk, order: &OrderId, refused: &Refused) -> Result<Answer, Refused> {
    let laboratory = desk.laboratory()?;
    let known = laboratory.order(order)?;
    let mut page = Page::new(format!("Order {order}")).under("Orders", "/orders");
    page.words(html! { div.large { (super::deciding::capital(&refused.says)) "." } });
    page.facts(vec![
        Fact::new("customer", "customer", known.order.customer.as_str()),
        Fact::new("received", "received", to_the_minute(known.order.received.as_str())),
        Fact::new("samples", "samples", known.order.samples.len().to_string()),
    ]);
    Ok(page.into())
}

/// One table a determination, since units differ.
pub(crate) fn results(page: &mut Page, order: &OrderId, evaluated: &darkline_laboratory::Evaluated) {
    let outcome = &evaluated.outcome;
    const NAMES: [&str; 12] = [
        "results",
        "results-2",
        "results-3",
        "results-4",
        "results-5",
        "results-6",
        "results-7",
        "results-8",
        "results-9",
        "results-10",
        "results-11",
        "results-12",
    ];
    for (requested, name) in evaluated.package.order.analytes.iter().zip(NAMES) {
        let of = outcome
            .results
            .iter()
            .filter(|result| result.element == requested.element && result.method == requested.method);
        let results: Vec<_> = of.collect();
        let Some(first) = results.first() else { continue };
        let coverage = evaluated
            .package
            .method(&requested.method)
            .map_or_else(|| "k = 2".into(), |method| method.result.coverage_factor.label());
        let limit = requested.limit.as_ref().filter(|_| outcome.controls_passed);
        let mut sheet = Sheet::new(name, format!("{} by {}: {}", first.element, first.method, first.kind))
            .words("sample", "sample")
            .words("description", "what it is")
            .figures("value", first.kind.as_str(), &first.unit)
            .figures("expanded_u", format!("U ({coverage})"), &first.unit)
            .words("state", "state");
        if let Some(limit) = limit {
            sheet = sheet.words("statement", format!("at most {} ({})", limit.at_most, limit.decision_rule.words()));
        }
        for result in results {
            let sample = evaluated.package.order.samples.iter().find(|sample| sample.id == result.sample);
            let [value, expanded_u, state] = result_cells(result);
            let to = format!(
                "{}/result/{}/{}",
                at_order(order),
                escape(result.sample.as_str()),
                escape(result.element.as_str())
            );
            let mut row = vec![
                Cell::text(result.sample.as_str()).linked(to),
                Cell::text(sample.map_or("", |sample| sample.description.as_str())),
                value,
                expanded_u,
                state,
            ];
            if limit.is_some() {
                row.push(statement_cell(result));
            }
            sheet.row(row);
        }
        page.sheet(sheet);
    }
    if !outcome.controls_passed {
        page.words(html! { p.hint { "Conformity is not stated until all controls have passed." } });
    }
}

/// Steps that were taken up and stand in no leg yet.
pub(crate) fn waiting(
    page: &mut Page,
    laboratory: &darkline_laboratory::Laboratory,
    order: &OrderId,
    runs: &[RunId],
    to: &str,
) {
    for run in runs {
        if let Some(form) = extend_form(laboratory, order, run, to) {
            page.parts.push(Part::Form(form));
        }
    }
}

/// The form that adds the rows of steps that wait.
pub(crate) fn extend_form(
    laboratory: &darkline_laboratory::Laboratory,
    order: &OrderId,
    run: &RunId,
    to: &str,
) -> Option<Form> {
    let waits = laboratory.steps_waiting(order, run);
    if waits.is_empty() {
        return None;
    }
    let words: Vec<String> = waits
        .iter()
        .map(|(flag, step)| format!("{} ({flag})", darkline_laboratory::deciding::step_words(step)))
        .collect();
    Some(
        Form::act(format!("extend-{}", super::deciding::as_id(run.as_str())), format!("{}/extend", at_order(order)))
            .legend(format!("{} taken up for run {run}: {}", count(waits.len(), "step"), words.join("; ")))
            .field(Field::hidden("run", run.as_str()))
            .field(Field::hidden("to", to))
            .button("Add the rows to the run order"),
    )
}

fn signatures(page: &mut Page, known: &OrderState, outcome: &darkline_evaluation::outcome::Outcome) {
    if known.signatures.is_empty() {
        return;
    }
    page.heading("Signatures");
    let mut sheet = Sheet::new("signatures", "Signatures in the order they were given")
        .words("by", "by")
        .words("meaning", "meaning")
        .words("at", "at")
        .figures("entry", "entry", "")
        .words("standing", "standing");
    let digest = outcome.digest();
    for signature in &known.signatures {
        let standing = match known.standing(signature, &digest) {
            Standing::Stands => Cell::status(Mark::InOrder, "stands"),
            Standing::Overtaken => Cell::status(Mark::Plain, "overtaken: the results changed"),
            Standing::SetAside { entry } => Cell::status(Mark::Plain, format!("set aside by entry {entry}")),
        };
        sheet.row(vec![
            Cell::text(signature.by.as_str()),
            Cell::text(signature.meaning.words()),
            Cell::text(to_the_minute(&signature.at)),
            Cell::count(signature.entry),
            standing,
        ]);
    }
    page.sheet(sheet);
}

/// Takes a decision.
pub(crate) fn decide(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let order = order_of(asked)?;
    let evaluated = desk.evaluated(&order)?;
    let sent = &asked.form;
    let to = local(sent.get("to")).map_or_else(|| at_order(&order), str::to_owned);
    let reading = sent.get("reading").parse();
    let found = flag_of(&evaluated.outcome.flags, sent.get("flag"));
    let step = sent.get("step").parse::<usize>().unwrap_or(0);
    let gone = || Refused::new(409, "this flag no longer stands", "Look at the page again.");
    let about = match (sent.get("do"), &reading, &found) {
        ("reject", Ok(reading), _) => About::Reject(reading),
        ("reinstate", Ok(reading), _) => About::Reinstate(reading),
        ("justify", _, Some((_, flag))) => About::Justify(flag),
        ("take-up", _, Some((_, flag))) => About::TakeUp(flag, step),
        ("justify" | "take-up", _, None) => return Err(gone()),
        _ => return Err(Refused::new(422, "this form says nothing that could be decided", "Use the forms of a page.")),
    };
    if let Some((_, flag)) = &found
        && flag.flag.evidence.digest().to_string() != sent.get("seen")
    {
        let says = "the evidence of this flag changed since the page was shown; nothing was decided";
        return Err(Refused::new(409, says, "Look at the flag again, then decide."));
    }
    let form = form(&order, &evaluated.package, &about, &to);
    let id = form.id.clone();
    let again = |fault: Fault| {
        let mut page = Page::new(about.title()).under(format!("Order {order}"), at_order(&order));
        page.form(form.clone().filled(sent));
        page.faults = vec![fault];
        Ok(Answer::from(page))
    };
    let (reason, remark) = (sent.get("reason").trim(), sent.get("remark").trim());
    if reason.is_empty() {
        let what = match &about {
            About::Reject(reading) => format!("Enter the reason for rejecting reading {}", reading.number),
            _ => "Enter the reason".into(),
        };
        let field = if reasons(&evaluated.package).is_empty() { "reason" } else { "remark" };
        return again(Fault::at(&id, field, what));
    }
    let words = if remark.is_empty() { reason.to_owned() } else { format!("{reason}: {remark}") };
    let Some(words) = Reason::new(&words) else {
        let field = if remark.is_empty() { "reason" } else { "remark" };
        return again(Fault::at(&id, field, "Reason must be 500 characters or fewer"));
    };
    let wish = match &about {
        About::Reject(reading) => Wish::Reject((*reading).clone()),
        About::Reinstate(reading) => Wish::Reinstate((*reading).clone()),
        About::Justify(flag) => Wish::Justify(flag.flag.id.clone()),
        About::TakeUp(flag, place) => {
            let step = match (flag.flag.next.get(*place), sent.get("factor").trim()) {
                (Some(NextStep::Dilute { .. }), factor) if !factor.is_empty() => match factor.parse::<u32>() {
                    Ok(factor) if factor >= 2 => Some(NextStep::Dilute { factor }),
                    _ => return again(Fault::at(&id, "factor", "Factor must be a whole number of 2 or more, like 5")),
                },
                (step, _) => step.cloned(),
            };
            Wish::TakeUp(flag.flag.id.clone(), step)
        }
    };
    let by = asked.viewer().id().clone();
    let decided = desk.act(|laboratory| laboratory.decide(&by, &order, std::slice::from_ref(&wish), &words));
    match decided {
        Ok(decided) => Ok(Answer::Go(gone_back(&to, decided.iter().map(|(entry, _)| *entry)))),
        Err(LaboratoryError::UnknownReason { reason, known }) => {
            again(Fault::at(&id, "remark", format!("\"{reason}\" is no reason of this method; it has {known}")))
        }
        Err(error) => Err(error.into()),
    }
}

/// Adds the rows of steps that were taken up.
pub(crate) fn extend(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let order = order_of(asked)?;
    let run =
        asked.form.get("run").parse().map_err(|_| Refused::new(422, "no run is named", "Use the form of a page."))?;
    let to = local(asked.form.get("to")).map_or_else(|| at_order(&order), str::to_owned);
    let by = asked.viewer().id().clone();
    let (entry, ..) = desk.act(|laboratory| laboratory.add_leg(&by, &order, Some(&run)))?;
    Ok(Answer::Go(gone_back(&to, [entry])))
}

/// The address to go back to, with what was done.
pub(crate) fn gone_back(to: &str, entries: impl IntoIterator<Item = u64>) -> String {
    let (path, rest) = to.split_once('#').map_or((to, ""), |(path, rest)| (path, rest));
    let path = path.split('?').next().unwrap_or(path);
    let done: Vec<String> = entries.into_iter().map(|entry| format!("done={entry}")).collect();
    let rest = if rest.is_empty() { String::new() } else { format!("#{rest}") };
    format!("{path}?{}{rest}", done.join("&"))
}

/// A state as it stands in lists.
pub(crate) fn stage(stage: Stage) -> Cell {
    stage_cell(stage)
}
