//! How a command ends: done, done with a flag that stops, or not done and why.

use std::process::ExitCode;

use darkline_audit_trail::keys::KeyFileFault;
use darkline_audit_trail::people::Refusal;
use darkline_evaluation::UnknownEdition;
use darkline_exchange::fault::{Faults, Part};
use darkline_laboratory::LaboratoryError;

use crate::talk;

/// A command that was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// Exit 0.
    Done,
    /// Done, and a flag stops the report: exit 1.
    Stopped,
    /// Done as far as the input goes, some of which is at fault and was told: exit 2.
    AtFault,
}

/// Why a command was not done: exit 2.
#[derive(Debug)]
pub enum Failure {
    /// Files are at fault.
    Faults(Box<Faults>),
    /// Anything else, with what to do where there is something.
    Told {
        /// What is the matter.
        what: String,
        /// What to do instead.
        hint: Option<String>,
    },
    /// The order is not ready: exit 1, since nothing is wrong with the command.
    NotReady(String),
    /// Whoever read our output has gone away: exit 0.
    ReaderGone,
}

impl Failure {
    /// A failure with something to do about it.
    pub fn with_hint(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Failure::Told { what: what.into(), hint: Some(hint.into()) }
    }
    /// A failure that says it all.
    pub fn told(what: impl ToString) -> Self {
        Failure::Told { what: what.to_string(), hint: None }
    }
}

impl From<Faults> for Failure {
    fn from(faults: Faults) -> Self {
        Failure::Faults(Box::new(faults))
    }
}

impl From<LaboratoryError> for Failure {
    fn from(error: LaboratoryError) -> Self {
        match error {
            LaboratoryError::Faults(faults) => faults.into(),
            LaboratoryError::NotReady { .. }
            | LaboratoryError::NothingToAdd
            | LaboratoryError::Refused(Refusal::NotNow { .. }) => Failure::NotReady(error.to_string()),
            LaboratoryError::Overtaken { .. } => {
                Failure::with_hint(error.to_string(), "look at it with darkline entries, then give the command again")
            }
            LaboratoryError::OtherText { .. } => {
                Failure::with_hint(error.to_string(), "give the new one an identity of its own; nothing was appended")
            }
            LaboratoryError::WhichRun { .. } => Failure::with_hint(error.to_string(), "write it behind --run"),
            LaboratoryError::Refused(Refusal::NoRole { .. }) => {
                Failure::with_hint(error.to_string(), "darkline people shows who has which role")
            }
            LaboratoryError::Refused(Refusal::NotAuthorised { ref person, ref method, .. }) => {
                let hint = format!(
                    "darkline people authorise {person} --method {method} --until DAY --reason \"…\" --as NAME"
                );
                Failure::with_hint(error.to_string(), hint)
            }
            LaboratoryError::Refused(Refusal::Waits { ref person, .. } | Refusal::Locked { ref person, .. }) => {
                let hint =
                    format!("an administrator can open it: darkline people unlock {person} --reason \"…\" --as NAME");
                Failure::with_hint(error.to_string(), hint)
            }
            LaboratoryError::Refused(Refusal::PassphraseOfAnother { ref person, .. }) => {
                Failure::with_hint(error.to_string(), format!("darkline people passphrase --as {person}"))
            }
            LaboratoryError::Refused(Refusal::FromFile) => Failure::with_hint(
                error.to_string(),
                "give the command at a terminal, without --key-file; for a record that a program walks through, an \
                 administrator allows it: darkline laboratory --passphrases-from-files yes --as NAME",
            ),
            LaboratoryError::WrongPassphrase { .. } => Failure::with_hint(
                error.to_string(),
                "nothing was signed or changed; type it again, or look into the file named with --key-file",
            ),
            LaboratoryError::Key(KeyFileFault::WrongPassphrase) => Failure::with_hint(
                error.to_string(),
                "nothing was appended; type it again, or look into the file named with --key-file",
            ),
            LaboratoryError::Edition(UnknownEdition { edition, .. }) => Failure::with_hint(
                error.to_string(),
                format!(
                    "install, beside this one, a darkline that has it, and give the command to that one: `darkline \
                     --version` names edition {edition} there"
                ),
            ),
            LaboratoryError::UnknownReason { .. } => Failure::with_hint(
                error.to_string(),
                "write one of the codes behind --reason, and what else is to be said behind --remark",
            ),
            LaboratoryError::WhyMissing { .. } => {
                Failure::with_hint(error.to_string(), "write it behind --because: it stands on the report")
            }
            LaboratoryError::NoSuchItem { .. } => Failure::with_hint(
                error.to_string(),
                "name what the remark is about: order, sample:NAME, reading:RUN/NUMBER, row:RUN/NUMBER, run:NAME or batch:NAME",
            ),
            LaboratoryError::IsRestored { .. } => {
                Failure::with_hint(error.to_string(), "open new work as an order of its own")
            }
            LaboratoryError::UnknownOrder { .. } => Failure::with_hint(
                error.to_string(),
                "open it with darkline open FOLDER, or name another record with --trail PATH",
            ),
            LaboratoryError::UnknownPerson { .. } => Failure::with_hint(
                error.to_string(),
                "name a person with --as, or enter one: darkline people add NAME --role ROLE",
            ),
            other => Failure::told(other),
        }
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::BrokenPipe { Failure::ReaderGone } else { Failure::told(error) }
    }
}

/// Says how a command ended.
pub fn finish(ended: Result<Ending, Failure>) -> ExitCode {
    match ended {
        Ok(Ending::Done) | Err(Failure::ReaderGone) => ExitCode::SUCCESS,
        Ok(Ending::Stopped) => ExitCode::from(1),
        Ok(Ending::AtFault) => ExitCode::from(2),
        Err(Failure::NotReady(why)) => {
            talk::say(&why);
            ExitCode::from(1)
        }
        Err(Failure::Told { what, hint }) => {
            talk::say_styled(&[(Part::Word, "error".into()), (Part::Between, ": ".into()), (Part::What, what)]);
            if let Some(hint) = hint {
                talk::say(&format!("  {hint}"));
            }
            ExitCode::from(2)
        }
        Err(Failure::Faults(faults)) => {
            for fault in faults.listed() {
                talk::say_styled(&fault.parts());
            }
            talk::say(&faults.closing());
            ExitCode::from(2)
        }
    }
}
