//! The forms of decisions, the same inside a page and alone: a reason from the method's list is one button, a second touch.

use darkline_evaluation::outcome::FlagOutcome;
use darkline_laboratory::deciding::step_words;
use darkline_record::decision::{FlagId, NextStep};
use darkline_record::identity::{OrderId, ReadingId};
use darkline_record::method::CodedReason;
use darkline_record::package::DataPackage;

use super::at_order;
use crate::form::{Field, Form};

/// What is decided about.
#[derive(Clone, Debug)]
pub(crate) enum About<'a> {
    /// A reading shall not count.
    Reject(&'a ReadingId),
    /// A rejected reading shall count again.
    Reinstate(&'a ReadingId),
    /// A flag is explained.
    Justify(&'a FlagOutcome),
    /// A step of a flag is taken up: which of those it offers.
    TakeUp(&'a FlagOutcome, usize),
}

impl About<'_> {
    /// What stands on the button that opens it.
    pub(crate) fn title(&self) -> String {
        match self {
            About::Reject(reading) => format!("Reject reading {reading}"),
            About::Reinstate(reading) => format!("Let reading {reading} count again"),
            About::Justify(_) => "Justify it".into(),
            About::TakeUp(flag, place) => {
                let step = flag.flag.next.get(*place).map(step_words).unwrap_or_default();
                let cost = flag.costs.get(*place).and_then(Option::as_ref).map(|cost| format!(" ({})", cost.words()));
                capital(&format!("{step}{}", cost.unwrap_or_default()))
            }
        }
    }

    fn does(&self) -> &'static str {
        match self {
            About::Reject(_) => "reject",
            About::Reinstate(_) => "reinstate",
            About::Justify(_) => "justify",
            About::TakeUp(..) => "take-up",
        }
    }

    fn reason_label(&self) -> String {
        match self {
            About::Reject(reading) => format!("Reason for rejecting reading {}", reading.number),
            About::Reinstate(reading) => format!("Reason for letting reading {} count", reading.number),
            About::Justify(flag) => format!("Reason for justifying {}", flag.flag.id.rule),
            About::TakeUp(..) => "Reason".into(),
        }
    }

    /// Tells the form from others of a page.
    fn id(&self) -> String {
        let text = match self {
            About::Reject(reading) | About::Reinstate(reading) => reading.to_string(),
            About::Justify(flag) => flag.flag.id.to_string(),
            About::TakeUp(flag, place) => format!("{}-{place}", flag.flag.id),
        };
        format!("{}-{}", self.does(), as_id(&text))
    }
}

/// A text as an id of HTML.
pub(crate) fn as_id(text: &str) -> String {
    text.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect()
}

/// A text with its first letter in capitals.
pub(crate) fn capital(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| format!("{}{}", first.to_uppercase(), characters.as_str()))
}

/// The reasons that the methods of an order have.
pub(crate) fn reasons(package: &DataPackage) -> Vec<&CodedReason> {
    package.methods.iter().flat_map(|method| &method.reasons).collect()
}

/// The form of a decision.
///
/// # Arguments
/// * `to`: the page to go back to.
pub(crate) fn form(order: &OrderId, package: &DataPackage, about: &About<'_>, to: &str) -> Form {
    let known = reasons(package);
    let mut form = Form::act(about.id(), format!("{}/decide", at_order(order)))
        .field(Field::hidden("do", about.does()))
        .field(Field::hidden("to", to));
    form = match about {
        About::Reject(reading) | About::Reinstate(reading) => form.field(Field::hidden("reading", reading.to_string())),
        About::Justify(flag) | About::TakeUp(flag, _) => form
            .field(Field::hidden("flag", flag.flag.id.to_string()))
            .field(Field::hidden("seen", flag.flag.evidence.digest().to_string())),
    };
    if let About::TakeUp(flag, place) = about {
        form = form.field(Field::hidden("step", place.to_string()));
        if let Some(NextStep::Dilute { factor }) = flag.flag.next.get(*place) {
            form = form.field(Field::line("factor", "Dilute by the factor").value(factor.to_string()));
        }
    }
    if known.is_empty() {
        let does = match about {
            About::Reject(_) => "Reject",
            About::Reinstate(_) => "Let it count",
            About::Justify(_) => "Justify",
            About::TakeUp(..) => "Take it up",
        };
        form.field(Field::line("reason", about.reason_label())).button(does)
    } else {
        form = form.field(Field::line("remark", "Remark, if there is more to say")).legend(about.reason_label());
        known.iter().fold(form, |form, reason| form.choice("reason", reason.code.clone(), capital(&reason.text)))
    }
}

/// What a form that was sent is about; `None` where the outcome has nothing of it.
pub(crate) fn flag_of<'a>(flags: &'a [FlagOutcome], id: &str) -> Option<(FlagId, &'a FlagOutcome)> {
    let id: FlagId = id.parse().ok()?;
    flags.iter().find(|flag| flag.flag.id == id).map(|flag| (id, flag))
}
