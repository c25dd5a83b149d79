//! A flag as a card: what was seen, its evidence, its state, and what may be done about it.

use darkline_evaluation::outcome::{FlagOutcome, FlagState, Outcome};
use darkline_laboratory::Evaluated;
use darkline_record::decision::Subject;
use darkline_record::identity::OrderId;
use darkline_report::result_words::says;
use maud::{Markup, html};

use super::at_order;
use super::deciding::{About, as_id, capital, form};
use crate::asked::escape;
use crate::sheet::{Cell, Sheet, tag};
use crate::words::flag_state;

/// The id of a flag's card.
pub(crate) fn card_id(flag: &FlagOutcome) -> String {
    format!("flag-{}", as_id(&flag.flag.id.to_string()))
}

/// What tells a page that a card has to be drawn again.
pub(crate) fn card_state(flag: &FlagOutcome) -> String {
    format!("{} {}", flag.flag.evidence.digest(), flag_state(flag).1)
}

/// Where a flag's subject is looked at.
fn subject(order: &OrderId, flag: &FlagOutcome) -> (String, Option<String>) {
    let run = |run: &str| format!("{}/run/{}", at_order(order), escape(run));
    match &flag.flag.id.subject {
        Subject::Reading(reading) => {
            (format!("reading {reading}"), Some(format!("{}/reading/{}", run(reading.run.as_str()), reading.number)))
        }
        Subject::Row(row) => (format!("row {row}"), Some(format!("{}?scan={}", run(row.run.as_str()), row.number))),
        Subject::Run(id) => (format!("run {id}"), Some(run(id.as_str()))),
        Subject::Batch(batch) => (format!("batch {batch}"), None),
    }
}

/// A flag as a card.
///
/// # Arguments
/// * `token`: what forms bring; none where this person may not decide.
/// * `to`: the page that decisions come back to.
pub(crate) fn card(
    order: &OrderId,
    evaluated: &Evaluated,
    flag: &FlagOutcome,
    token: Option<&str>,
    to: &str,
) -> Markup {
    let (mark, state) = flag_state(flag);
    let (_, class) = mark.shape();
    let (about, link) = subject(order, flag);
    let shows_acts = !matches!(flag.state, FlagState::Justified { .. });
    html! {
        article.flag.(class) id=(card_id(flag)) data-state=(card_state(flag)) tabindex="-1" {
            h3 {
                (flag.flag.id.rule.as_str().replace('-', " ")) ", "
                @match link { Some(link) => a href=(link) { (about) }, None => (about) }
            }
            p { (tag(mark, &state)) }
            p { (capital(&says(flag))) "." }
            @let evidence = evidence(flag);
            @if !evidence.is_empty() { p.hint { (evidence) } }
            @if let (Some(token), true) = (token, shows_acts) {
                div.acts { @for about in acts(flag) { (opens(&about, order, evaluated, token, to)) } }
            }
        }
    }
}

fn opens(about: &About<'_>, order: &OrderId, evaluated: &Evaluated, token: &str, to: &str) -> Markup {
    html! {
        details.opens {
            summary { (about.title()) }
            (form(order, &evaluated.package, about, to).html(token, &[]))
        }
    }
}

/// What may be done about a flag, in the order in which its rule offers it.
fn acts(flag: &FlagOutcome) -> Vec<About<'_>> {
    let mut acts = Vec::new();
    if let Subject::Reading(reading) = &flag.flag.id.subject {
        acts.push(About::Reject(reading));
    }
    acts.extend((0..flag.flag.next.len()).map(|place| About::TakeUp(flag, place)));
    acts.push(About::Justify(flag));
    acts
}

/// The figures a flag rests on.
fn evidence(flag: &FlagOutcome) -> String {
    let figures = flag.flag.evidence.figures.iter().map(|figure| format!("{} {}", figure.name, figure.told()));
    figures.collect::<Vec<_>>().join("; ")
}

/// All flags as a table, for twins and reviews.
pub(crate) fn sheet(order: &OrderId, outcome: &Outcome) -> Sheet {
    let mut sheet = Sheet::new("flags", "Flags in the order of the run")
        .words("flag", "flag")
        .words("about", "about")
        .words("says", "what was seen")
        .words("state", "state")
        .or_else_say("No flag was raised.");
    for flag in &outcome.flags {
        let (mark, state) = flag_state(flag);
        let (about, link) = subject(order, flag);
        let about = Cell::text(about);
        let about = match link {
            Some(link) => about.linked(link),
            None => about,
        };
        sheet.row(vec![
            Cell::text(flag.flag.id.rule.as_str()),
            about,
            Cell::text(says(flag)),
            Cell::status(mark, state),
        ]);
    }
    sheet
}

/// The flag that the large sentence tells: the newest that stops the report and waits for a person.
pub(crate) fn newest<'a>(outcome: &'a Outcome, run: &darkline_record::identity::RunId) -> Option<&'a FlagOutcome> {
    let place = |flag: &&FlagOutcome| match &flag.flag.id.subject {
        Subject::Reading(reading) if reading.run == *run => {
            let of_run = outcome.runs.iter().find(|known| known.run == *run);
            let found = of_run.and_then(|known| known.readings.iter().find(|known| known.reading == *reading));
            (1, found.map_or(0, |reading| reading.row), reading.number)
        }
        Subject::Row(row) if row.run == *run => (1, row.number, 0),
        _ => (0, 0, 0),
    };
    outcome.stopping().filter(|flag| !matches!(flag.state, FlagState::TakenUp { .. })).max_by_key(place)
}
