//! Review and sign: everything that will be signed on one page, each item marked as looked at; return, sign, issue.

use std::collections::BTreeSet;

use darkline_audit_trail::people::{Stage, Verb};
use darkline_evaluation::outcome::FlagState;
use darkline_laboratory::accounts::Passphrase;
use darkline_laboratory::act::Remark;
use darkline_laboratory::{Evaluated, LaboratoryError, SignatureMeaning, stage_of};
use darkline_record::decision::{Reason, Subject};
use darkline_record::identity::{OrderId, ReadingId};
use darkline_report::drawn;
use darkline_report::figure::Medium;
use darkline_report::result_words::says;
use maud::html;

use super::deciding::capital;
use super::order::{done, gone_back, results};
use super::{at_order, at_run, count, element, flag, order_of};
use crate::answer::{Answer, Refused};
use crate::asked::{Asked, escape};
use crate::desk::Desk;
use crate::form::{Fault, Field, Form};
use crate::page::{Fact, Page, Part};
use crate::rate::Takes;
use crate::sheet::{Cell, Sheet};

/// Readings whose traces stand on the page itself; the others are one link away.
const MOST_TRACES: usize = 24;

/// An item that has to be looked at before a signature: what is sent, and its words.
fn items(evaluated: &Evaluated) -> Vec<(String, String)> {
    let outcome = &evaluated.outcome;
    let mut items = Vec::new();
    for requested in &evaluated.package.order.analytes {
        let n = outcome.results.iter().filter(|result| result.element == requested.element).count();
        items.push((
            format!("results:{}", requested.element),
            format!("{} of {}", count(n, "result"), requested.element),
        ));
    }
    for run in &outcome.runs {
        items.push((format!("calibration:{}", run.run), format!("calibration and controls of run {}", run.run)));
        items.push((
            format!("readings:{}", run.run),
            format!("{} of run {} with their traces", count(run.readings.len(), "reading"), run.run),
        ));
    }
    if !outcome.flags.is_empty() {
        items
            .push(("flags".into(), format!("{} with what was decided about them", count(outcome.flags.len(), "flag"))));
    }
    if !evaluated.decisions.is_empty() {
        items
            .push(("decisions".into(), format!("{} in the audit trail", count(evaluated.decisions.len(), "decision"))));
    }
    items
}

/// The readings that decide: rejected ones, those of flags, then the first of each result.
fn deciding(evaluated: &Evaluated) -> Vec<ReadingId> {
    let outcome = &evaluated.outcome;
    let mut found: Vec<ReadingId> = Vec::new();
    let mut seen: BTreeSet<ReadingId> = BTreeSet::new();
    let mut add = |reading: &ReadingId, found: &mut Vec<ReadingId>| {
        if seen.insert(reading.clone()) {
            found.push(reading.clone());
        }
    };
    for flagged in &outcome.flags {
        if let Subject::Reading(reading) = &flagged.flag.id.subject {
            add(reading, &mut found);
        }
    }
    for run in &outcome.runs {
        for reading in run.readings.iter().filter(|reading| reading.rejected) {
            add(&reading.reading, &mut found);
        }
    }
    for result in &outcome.results {
        for row in &result.rows {
            let run = outcome.runs.iter().find(|run| run.run == row.run);
            let reading =
                run.and_then(|run| run.readings.iter().find(|reading| reading.row == row.number && reading.counts));
            if let Some(reading) = reading {
                add(&reading.reading, &mut found);
            }
        }
    }
    found
}

fn sign_form(order: &OrderId, evaluated: &Evaluated, meaning: SignatureMeaning) -> Form {
    let words: Vec<(String, String)> =
        items(evaluated).into_iter().map(|(item, words)| (item, format!("I looked at the {words}"))).collect();
    Form::act("sign", format!("{}/sign", at_order(order)))
        .legend(format!("Sign: {}", meaning.words()))
        .field(Field::hidden("outcome", evaluated.outcome.digest().to_string()))
        .field(Field::hidden("meaning", meaning.words()))
        .field(Field::any_of("looked", "What was looked at", words))
        .field(Field::line("name", "Name").hint("Your own, as at sign-in").filled_by("username"))
        .field(Field::passphrase("passphrase", "Passphrase"))
        .grave(format!("Sign {}", count(evaluated.outcome.results.len(), "result")))
}

fn return_form(order: &OrderId, evaluated: &Evaluated) -> Form {
    let mut about = vec![("order".to_owned(), format!("order {order}"))];
    about.extend(
        evaluated
            .package
            .order
            .samples
            .iter()
            .map(|sample| (format!("sample:{}", sample.id), format!("sample {}", sample.id))),
    );
    about.extend(evaluated.package.runs.iter().map(|run| (format!("run:{}", run.id), format!("run {}", run.id))));
    Form::act("return", format!("{}/return", at_order(order)))
        .legend("Return it with remarks")
        .field(Field::line("reason", "Reason for returning it"))
        .field(Field::one_of("on", "The remark is about", about))
        .field(
            Field::line("item", "or about a reading, like R1/14")
                .hint("Where it is filled in, it goes before the choice above"),
        )
        .field(Field::remark("remark", "Remark"))
        .button("Return the order")
}

fn issue_form(order: &OrderId, evaluated: &Evaluated, supersedes: bool) -> Form {
    let mut form = Form::act("issue", format!("{}/issue", at_order(order)))
        .legend("Issue the report; what is issued is superseded, never taken back")
        .field(Field::hidden("outcome", evaluated.outcome.digest().to_string()));
    if supersedes {
        form = form.field(Field::line("because", "Why it supersedes the report before"));
    }
    form.field(Field::line("name", "Name").hint("Your own, as at sign-in").filled_by("username"))
        .field(Field::passphrase("passphrase", "Passphrase"))
        .grave("Issue the report")
}

/// The page: all that is signed, then the forms that this person may use.
fn page(desk: &Desk, asked: &Asked, order: &OrderId) -> Result<Page, Refused> {
    let evaluated = desk.evaluated(order)?;
    let outcome = &evaluated.outcome;
    let mut page = Page::new(format!("Review order {order}"))
        .under("Orders", "/orders")
        .under(format!("Order {order}"), at_order(order));
    page.foot = format!("order {order}");
    page.done = done(asked);
    page.heading("Results");
    results(&mut page, order, &evaluated);
    for run in &outcome.runs {
        let Some(package_run) = evaluated.package.runs.iter().find(|known| known.id == run.run) else { continue };
        let Some(method) = evaluated.package.method(&package_run.method) else { continue };
        page.heading(format!("{} in run {}", method.element, run.run));
        if let Some(calibration) = &run.calibration {
            page.figure(drawn::calibration(run, method, calibration, Medium::Page));
        }
        page.sheet(element::controls(outcome, run));
        page.words(html! {
            p {
                a href=(format!("{}/element", at_run(order, &run.run))) { "Calibration, checks and blanks" } " · "
                a href=(at_run(order, &run.run)) { "All " (run.readings.len()) " readings" }
            }
        });
    }
    page.heading("Flags and what was decided");
    page.sheet(flag::sheet(order, outcome));
    let readings = deciding(&evaluated);
    page.heading("Traces of the deciding readings");
    page.words(html! {
        ul.trace {
            @for reading in readings.iter().take(MOST_TRACES) {
                @let at = at_run(order, &reading.run);
                li {
                    a href=(format!("{at}/reading/{}", reading.number)) {
                        img src=(format!("{at}/trace/{}", reading.number)) loading="lazy" width="640" height="320" alt=(format!("Trace of reading {reading}; its figures stand behind the link"));
                    }
                }
            }
        }
        @if readings.len() > MOST_TRACES { p { (readings.len() - MOST_TRACES) " more stand at their readings." } }
    });
    page.heading("Audit trail");
    let laboratory = desk.laboratory()?;
    let known = laboratory.order(order)?;
    let mut decisions = Sheet::new("decisions", "Decisions in the order they were made")
        .figures("entry", "entry", "")
        .words("at", "at")
        .words("by", "by")
        .words("what", "what")
        .in_order();
    for decided in &known.decisions {
        let words =
            darkline_laboratory::act::Act::Decide { order: order.clone(), decision: decided.decision.clone() }.words();
        decisions.row(vec![
            Cell::count(decided.entry),
            Cell::text(super::to_the_minute(&decided.at)),
            Cell::text(decided.by.as_str()),
            Cell::text(words),
        ]);
    }
    page.sheet(decisions);
    page.words(
        html! { p { a href=(format!("/trail?order={}", escape(order.as_str()))) { "Every entry about this order" } } },
    );
    let n_justified = outcome.flags.iter().filter(|flag| matches!(flag.state, FlagState::Justified { .. })).count();
    let stage = stage_of(known, outcome);
    page.heading("What will be signed");
    page.facts(vec![
        Fact::new("results", "results", outcome.results.len().to_string()),
        Fact::new("justified", "flags justified", n_justified.to_string()),
        Fact::new("state", "state of the order", stage.words()),
        Fact::new(
            "outcome",
            "digest of the results",
            outcome.digest().to_string().chars().take(16).collect::<String>(),
        ),
    ]);
    for found in outcome.flags.iter().filter(|flag| matches!(flag.state, FlagState::Justified { .. })) {
        page.words(html! { p { "Justified: " (says(found)) "." } });
    }
    let viewer = asked.viewer();
    let meaning = laboratory.next_meaning(order, &outcome.digest())?;
    let mut forms = 0;
    match laboratory.may_sign(viewer.id(), order, meaning, outcome) {
        Ok(()) => {
            forms += 1;
            page.form(sign_form(order, &evaluated, meaning));
        }
        Err(why) => page.words(html! { p.hint { "To sign (" (meaning.words()) "): " (why) "." } }),
    }
    let relation = laboratory.state().relation(viewer.id(), order);
    let may = |verb: Verb| viewer.person.may(verb, &relation).is_ok() && verb.in_stage(stage).is_ok();
    if may(Verb::Return) {
        forms += 1;
        page.parts.push(Part::Opens("Return it with remarks".into(), vec![Part::Form(return_form(order, &evaluated))]));
    }
    let is_reviewed = known.signature(SignatureMeaning::Reviewed, &outcome.digest()).is_some();
    if may(Verb::Issue) && is_reviewed {
        forms += 1;
        page.form(issue_form(order, &evaluated, !known.issues.is_empty()));
    }
    if stage == Stage::Issued {
        page.words(html! { p { "These results are issued: " a href=(format!("{}/report", at_order(order))) { "the report" } "." } });
    } else if forms == 0 {
        page.words(html! { p { "Nothing here waits for you." } });
    }
    Ok(page)
}

/// The page.
pub(crate) fn show(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    Ok(page(desk, asked, &order_of(asked)?)?.into())
}

/// The page once more, with what was filled in and what is wrong with it.
fn again(desk: &Desk, asked: &Asked, order: &OrderId, form: &str, faults: Vec<Fault>) -> Result<Answer, Refused> {
    let mut page = page(desk, asked, order)?;
    fn fill(parts: &mut [Part], form: &str, asked: &Asked) {
        for part in parts {
            match part {
                Part::Form(found) if found.id == form => *found = found.clone().filled(&asked.form),
                Part::Opens(_, inner) => fill(inner, form, asked),
                _ => {}
            }
        }
    }
    fill(&mut page.parts, form, asked);
    page.faults = faults;
    Ok(page.into())
}

/// Name and passphrase of a signature: two components, both its signer's own.
///
/// Source: 21 CFR 11.200(a)(1).
fn components(asked: &Asked, form: &str) -> Vec<Fault> {
    let mut faults = Vec::new();
    let name = asked.form.get("name").trim();
    if name.is_empty() {
        faults.push(Fault::at(form, "name", "Enter your name"));
    } else if name != asked.viewer().id().as_str() {
        faults.push(Fault::at(form, "name", format!("Name must be {}, who is signed in here", asked.viewer().id())));
    }
    if asked.form.get("passphrase").is_empty() {
        faults.push(Fault::at(form, "passphrase", "Enter your passphrase"));
    }
    faults
}

fn as_shown(asked: &Asked, evaluated: &Evaluated) -> Result<(), Refused> {
    if asked.form.get("outcome") == evaluated.outcome.digest().to_string() {
        return Ok(());
    }
    let says = "the results changed since the page was shown; nothing was signed";
    Err(Refused::new(409, says, "Look through the page again: what is signed is what was looked at."))
}

/// Faults of a passphrase come back to its field; everything else is a refusal.
fn wrong_key(error: LaboratoryError, form: &str) -> Result<Vec<Fault>, Refused> {
    match error {
        LaboratoryError::WrongPassphrase { .. } => Ok(vec![Fault::at(form, "passphrase", capital(&error.to_string()))]),
        LaboratoryError::WhyMissing { .. } => {
            Ok(vec![Fault::at(form, "because", "Enter why it supersedes the report before")])
        }
        other => Err(other.into()),
    }
}

/// Signs.
pub(crate) fn sign(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let order = order_of(asked)?;
    let evaluated = desk.evaluated(&order)?;
    as_shown(asked, &evaluated)?;
    let mut faults = Vec::new();
    let looked: BTreeSet<&str> = asked.form.all("looked").collect();
    let missing: Vec<String> = items(&evaluated)
        .into_iter()
        .filter(|(item, _)| !looked.contains(item.as_str()))
        .map(|(_, words)| words)
        .collect();
    if !missing.is_empty() {
        faults.push(Fault::at("sign", "looked", format!("Look at the {}, and tick it", missing.join("; the "))));
    }
    faults.extend(components(asked, "sign"));
    if !faults.is_empty() {
        return again(desk, asked, &order, "sign", faults);
    }
    let meaning = SignatureMeaning::from_words(asked.form.get("meaning"))
        .ok_or_else(|| Refused::new(422, "this is no meaning of a signature", "Use the form of the page."))?;
    desk.take(asked.from, Takes::APassphrase)?;
    let by = asked.viewer().id().clone();
    let shown = evaluated.outcome.digest();
    let signed = desk.act(|laboratory| {
        // Between the page and this moment nothing may have changed.
        if laboratory.evaluate(&order)?.outcome.digest() != shown {
            let why = "the results changed since they were looked at".to_owned();
            return Err(LaboratoryError::NotReady { order: order.clone(), act: "signed", why });
        }
        laboratory.sign(&by, &order, meaning, Passphrase::typed(asked.form.get("passphrase")))
    });
    match signed {
        Ok(signed) => Ok(Answer::Go(gone_back(&at_order(&order), [signed.entry]))),
        Err(error) => again(desk, asked, &order, "sign", wrong_key(error, "sign")?),
    }
}

/// Hands an order back with remarks.
pub(crate) fn hand_back(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let order = order_of(asked)?;
    let Some(reason) = Reason::new(asked.form.get("reason")) else {
        return again(
            desk,
            asked,
            &order,
            "return",
            vec![Fault::at("return", "reason", "Enter the reason for returning it")],
        );
    };
    let item = asked.form.get("item").trim();
    let on = if item.is_empty() { asked.form.get("on").to_owned() } else { format!("reading:{item}") };
    let remark = asked.form.get("remark").trim();
    let remarks: Vec<Remark> = match (remark.is_empty(), Reason::new(remark)) {
        (true, _) => Vec::new(),
        (false, Some(remark)) => vec![Remark { on, remark }],
        (false, None) => {
            return again(
                desk,
                asked,
                &order,
                "return",
                vec![Fault::at("return", "remark", "Remark must be 500 characters or fewer")],
            );
        }
    };
    let by = asked.viewer().id().clone();
    match desk.act(|laboratory| laboratory.return_order(&by, &order, &remarks, &reason)) {
        Ok((entry, _)) => Ok(Answer::Go(gone_back(&at_order(&order), [entry]))),
        Err(error @ LaboratoryError::NoSuchItem { .. }) => {
            again(desk, asked, &order, "return", vec![Fault::at("return", "item", capital(&error.to_string()))])
        }
        Err(error) => Err(error.into()),
    }
}

/// Issues the report.
pub(crate) fn issue(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let order = order_of(asked)?;
    as_shown(asked, &*desk.evaluated(&order)?)?;
    let faults = components(asked, "issue");
    if !faults.is_empty() {
        return again(desk, asked, &order, "issue", faults);
    }
    desk.take(asked.from, Takes::APassphrase)?;
    let by = asked.viewer().id().clone();
    let because = Reason::new(asked.form.get("because"));
    let issued = desk.act(|laboratory| {
        let draft =
            laboratory.draft_issue(&by, &order, &desk.settings.program, darkline_report::SETTING, because.as_ref())?;
        let says = super::issued(laboratory, &draft);
        let record = darkline_report::composing::record(&draft.evaluated.package, &draft.evaluated.outcome, &says);
        let shown = laboratory.shown(&draft.evaluated.package)?;
        let report = darkline_report::composing::compose(&shown, &draft.evaluated.outcome, &says);
        let document = darkline_report::render(&report, &record).map_err(|fault| LaboratoryError::NotReady {
            order: order.clone(),
            act: "issued",
            why: fault.to_string(),
        })?;
        laboratory.issue(&draft, &record, &document, Passphrase::typed(asked.form.get("passphrase")))
    });
    darkline_report::evict();
    match issued {
        Ok(issue) => Ok(Answer::Go(gone_back(&at_order(&order), [issue.entry]))),
        Err(error) => again(desk, asked, &order, "issue", wrong_key(error, "issue")?),
    }
}

/// The report, as it was issued.
pub(crate) fn report(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let order = order_of(asked)?;
    let laboratory = desk.laboratory()?;
    let issued = laboratory.issued(&order)?;
    let (issue, bytes) =
        issued.ok_or_else(|| Refused::no_page(format!("order {order} has no report of its results as they stand")))?;
    Ok(Answer::File { kind: "application/pdf", bytes, name: Some(format!("{}.pdf", issue.report)) })
}
