//! What a page answers, and why it is refused.

use darkline_audit_trail::people::Refusal;
use darkline_laboratory::LaboratoryError;

use crate::page::Page;

/// An answer.
#[derive(Debug)]
pub(crate) enum Answer {
    /// A page.
    Page(Box<Page>),
    /// Something was done; the page to see next.
    Go(String),
    /// A file.
    File {
        /// Its media type.
        kind: &'static str,
        /// What is in it.
        bytes: Vec<u8>,
        /// Under which name it is kept, where it is not shown.
        name: Option<String>,
    },
    /// News of a run, as they come.
    News,
    /// Somebody signed in: the token, and where they wanted to go.
    SignedIn {
        /// The token of the sign-in.
        token: String,
        /// The page to see next.
        to: String,
    },
    /// Somebody signed out.
    SignedOut,
}

impl From<Page> for Answer {
    fn from(page: Page) -> Self {
        Answer::Page(Box::new(page))
    }
}

/// Why something is not shown or not done; nothing was changed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{says}")]
pub struct Refused {
    /// The status of HTTP.
    pub status: u16,
    /// What is the matter, as a person reads it.
    pub says: String,
    /// What to do next.
    pub next: String,
}

impl Refused {
    /// A refusal.
    pub(crate) fn new(status: u16, says: impl Into<String>, next: impl Into<String>) -> Self {
        Self { status, says: says.into(), next: next.into() }
    }
    /// There is no such page.
    pub(crate) fn no_page(says: impl Into<String>) -> Self {
        Self::new(404, says, "Go back, or begin at Today.")
    }
    /// A fault of this program; what it was is for its own log.
    pub(crate) fn fault() -> Self {
        Self::new(
            500,
            "this page could not be made, which is a fault of this program; nothing was changed",
            "Try again; if it stays, tell who keeps this program what you did and when.",
        )
    }
}

impl From<LaboratoryError> for Refused {
    fn from(error: LaboratoryError) -> Self {
        let says = error.to_string();
        match error {
            LaboratoryError::UnknownOrder { .. }
            | LaboratoryError::UnknownRun { .. }
            | LaboratoryError::UnknownReading { .. }
            | LaboratoryError::UnknownPerson { .. }
            | LaboratoryError::NoSuchResult(_)
            | LaboratoryError::UnknownMethod { .. } => Self::no_page(says),
            LaboratoryError::Refused(Refusal::NotNow { .. }) => {
                Self::new(409, says, "Look at the order: it has moved on.")
            }
            LaboratoryError::Refused(Refusal::Waits { .. }) => Self::new(429, says, "Wait until then, and try again."),
            LaboratoryError::Refused(Refusal::Locked { .. }) => Self::new(403, says, "Ask an administrator."),
            LaboratoryError::Refused(_) => Self::new(403, says, "Somebody with the right has to do it."),
            LaboratoryError::Overtaken { .. } => Self::new(409, says, "Look at the page again, then do it once more."),
            LaboratoryError::Store(_) | LaboratoryError::Fold(_) | LaboratoryError::PulseMissing { .. } => Self::new(
                500,
                format!("the record could not be read or written: {says}"),
                "Nothing was changed. Look whether its disk or database is there, then verify the record.",
            ),
            _ => Self::new(422, says, "Change it and send it again."),
        }
    }
}
