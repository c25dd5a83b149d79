//! The audit trail: every entry with who, when, what, before, after and why; filters; stating that it was reviewed.

use darkline_audit_trail::people::Verb;
use darkline_audit_trail::{PersonId, Timestamp};
use darkline_laboratory::act::Act;
use darkline_laboratory::searching::Search;
use darkline_record::decision::Reason;
use maud::html;

use super::order::{done, gone_back};
use super::{at_order, to_the_minute};
use crate::answer::{Answer, Refused};
use crate::asked::{Asked, escape};
use crate::desk::Desk;
use crate::form::{Fault, Field, Form};
use crate::page::{Fact, Page};
use crate::sheet::{Cell, Sheet};

/// Entries on one page.
const A_PAGE: usize = 200;

fn filters(asked: &Asked) -> Form {
    let mut kinds = vec![(String::new(), "all".to_owned())];
    kinds.extend(Act::KINDS.iter().map(|kind| ((*kind).to_owned(), kind.replace('-', " "))));
    let query = &asked.query;
    Form::look("filter", "/trail")
        .legend("Show only")
        .field(Field::line("order", "Order").value(query.get("order")))
        .field(Field::line("reading", "Reading, like R1/14").value(query.get("reading")))
        .field(Field::line("person", "Person").value(query.get("person")))
        .field(Field::one_of("what", "Kind of act", kinds).value(query.get("what")))
        .field(Field::day("from", "From, like 2026-03-14").value(query.get("from")))
        .field(Field::day("to", "To, like 2026-03-14").value(query.get("to")))
        .field(
            Field::any_of(
                "changes",
                "Changes",
                vec![("only".into(), "only what changed something that stood there before".into())],
            )
            .ticked(query.all("changes").map(str::to_owned)),
        )
        .button("Show these")
}

/// What is looked for, and what of it cannot be read.
fn search(asked: &Asked) -> (Search, Vec<Fault>) {
    let (mut search, mut faults) = (Search::default(), Vec::new());
    let query = &asked.query;
    let mut field = |name: &'static str, says: &str, take: &mut dyn FnMut(&str) -> bool| {
        let text = query.get(name).trim();
        if !text.is_empty() && !take(text) {
            faults.push(Fault::at("filter", name, says));
        }
    };
    field("order", "Order must be written as it is in its list", &mut |text| {
        search.order = text.parse().ok();
        search.order.is_some()
    });
    field("reading", "Reading must be run and number, like R1/14", &mut |text| {
        search.reading = text.parse().ok();
        search.reading.is_some()
    });
    field("person", "Person must be a name as it is entered, like j.alder", &mut |text| {
        search.person = PersonId::new(text).ok();
        search.person.is_some()
    });
    let moment =
        |text: &str, time: &str| Timestamp::new(text).or_else(|_| Timestamp::new(&format!("{text}T{time}+00:00"))).ok();
    field("from", "From must be a day, like 2026-03-14", &mut |text| {
        search.from = moment(text, "00:00:00");
        search.from.is_some()
    });
    field("to", "To must be a day, like 2026-03-14", &mut |text| {
        search.to = moment(text, "23:59:59");
        search.to.is_some()
    });
    search.what = query.all("what").filter(|what| Act::KINDS.contains(what)).map(str::to_owned).collect();
    search.only_changes = query.get("changes") == "only";
    (search, faults)
}

/// The page.
pub(crate) fn show(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let (search, faults) = search(asked);
    let mut page = Page::new("Audit trail");
    page.done = done(asked);
    page.form(filters(asked));
    if !faults.is_empty() {
        page.faults = faults;
        return Ok(page.into());
    }
    let laboratory = desk.laboratory()?;
    let found = laboratory.search(&search)?;
    let n_found = found.len();
    let until = asked.query.get("until").parse::<usize>().unwrap_or(n_found).min(n_found);
    let from = until.saturating_sub(A_PAGE);
    let mut sheet = Sheet::new("entries", "Entries, newest last")
        .figures("entry", "entry", "")
        .words("at", "at")
        .words("by", "by")
        .words("what", "kind")
        .words("does", "what was done")
        .words("old", "before")
        .words("new", "after")
        .words("why", "why")
        .of_all(n_found)
        .in_order()
        .or_else_say("No entry fits.");
    for entry in found.iter().take(until).skip(from) {
        let told = &entry.told;
        let order =
            told.about.iter().find_map(|about| about.strip_prefix("order ")).and_then(|order| order.parse().ok());
        let does = Cell::text(told.words.as_str());
        sheet.row_named(
            format!("entry-{}", entry.entry.number),
            vec![
                Cell::count(entry.entry.number),
                Cell::text(to_the_minute(entry.entry.at.as_str())),
                Cell::text(entry.entry.by.as_str()),
                Cell::text(told.what),
                match order {
                    Some(order) => does.linked(at_order(&order)),
                    None => does,
                },
                Cell::text(told.old.clone().unwrap_or_default()),
                Cell::text(told.new.clone().unwrap_or_default()),
                Cell::text(told.why.clone().unwrap_or_default()),
            ],
        );
    }
    let n_shown = sheet.len();
    page.sheet(sheet);
    if from > 0 {
        let mut earlier: Vec<String> = asked
            .query
            .pairs()
            .filter(|(name, _)| *name != "until")
            .map(|(name, value)| format!("{}={}", escape(name), escape(value)))
            .collect();
        earlier.push(format!("until={from}"));
        page.words(html! { p { a href=(format!("/trail?{}", earlier.join("&"))) { "Earlier entries" } } });
    }
    let (size, root) = laboratory.root()?;
    page.facts(vec![
        Fact::new("size", "entries in the log", size.to_string()),
        Fact::new("root", "root of the log", root.to_string()),
        Fact::new("log", "log", laboratory.store().log().as_str()),
    ]);
    let reviews = &laboratory.state().entry_reviews;
    if !reviews.is_empty() {
        let mut sheet = Sheet::new("reviews", "Reviews of entries")
            .figures("entry", "entry", "")
            .words("at", "at")
            .words("by", "by")
            .words("order", "order")
            .figures("shown", "shown", "")
            .words("remark", "found");
        for review in reviews.iter().rev().take(A_PAGE) {
            let order = review.order.as_ref().map_or("", |order| order.as_str());
            sheet.row(vec![
                Cell::count(review.entry),
                Cell::text(to_the_minute(&review.at)),
                Cell::text(review.by.as_str()),
                Cell::text(order),
                Cell::count(review.n_shown),
                Cell::text(review.remark.as_str()),
            ]);
        }
        page.sheet(sheet);
    }
    if asked.viewer().has_right(Verb::ReviewEntries) {
        let order = search.order.as_ref().map_or("", |order| order.as_str());
        page.form(
            Form::act("review", "/trail/review")
                .legend("State that these entries were reviewed")
                .field(Field::hidden("order", order))
                .field(Field::hidden("shown", n_shown.to_string()))
                .field(Field::remark("remark", "What was found"))
                .button("State the review"),
        );
    }
    Ok(page.into())
}

/// States a review.
pub(crate) fn review(desk: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let Some(remark) = Reason::new(asked.form.get("remark")) else {
        return Err(Refused::new(422, "what was found has between 1 and 500 characters", "Go back and write it."));
    };
    let order = asked.form.get("order").parse().ok();
    let shown = asked.form.get("shown").parse().unwrap_or(0);
    let by = asked.viewer().id().clone();
    let entry = desk.act(|laboratory| laboratory.review_entries(&by, order.as_ref(), shown, &remark))?;
    Ok(Answer::Go(gone_back("/trail", [entry])))
}
