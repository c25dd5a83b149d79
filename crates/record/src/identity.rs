//! Identities: short names that are typed, scanned and spoken, each with a type of its own.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A text that cannot be an identity.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum IdentityFault {
    /// Nothing was written.
    #[error("a {what} is empty")]
    Empty {
        /// What it should name.
        what: &'static str,
    },
    /// Longer than a label holds.
    #[error("{what} \"{found}\" has {length} characters; at most 64 fit on a label")]
    Long {
        /// What it should name.
        what: &'static str,
        /// The text.
        found: String,
        /// Its length in characters.
        length: usize,
    },
    /// A character that does not survive file names, labels and spreadsheets.
    #[error(
        "{what} \"{found}\" has the character {character:?}; letters, digits, and the marks - _ . are read everywhere"
    )]
    Character {
        /// What it should name.
        what: &'static str,
        /// The text.
        found: String,
        /// The first character that is not taken.
        character: char,
    },
    /// Neither RUN/NUMBER nor a number.
    #[error("\"{found}\" is no {what}; write the run and the number, for example R1/17")]
    Place {
        /// What it should name.
        what: &'static str,
        /// The text.
        found: String,
    },
}

fn check(what: &'static str, text: &str) -> Result<String, IdentityFault> {
    let length = text.chars().count();
    if text.is_empty() {
        return Err(IdentityFault::Empty { what });
    }
    if length > 64 {
        return Err(IdentityFault::Long { what, found: text.chars().take(64).collect(), length });
    }
    let takes = |character: char| character.is_alphanumeric() || matches!(character, '-' | '_' | '.');
    match text.chars().find(|&character| !takes(character)) {
        Some(character) => Err(IdentityFault::Character { what, found: text.into(), character }),
        None => Ok(text.into()),
    }
}

macro_rules! identities {
    ($($(#[$doc:meta])* $name:ident = $what:literal;)+) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(String);

        impl $name {
            /// The text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl FromStr for $name {
            type Err = IdentityFault;
            fn from_str(text: &str) -> Result<Self, IdentityFault> {
                check($what, text).map(Self)
            }
        }

        impl TryFrom<String> for $name {
            type Error = IdentityFault;
            fn try_from(text: String) -> Result<Self, IdentityFault> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(name: $name) -> String {
                name.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }
    )+};
}

identities! {
    /// An order: what a customer asked for.
    OrderId = "order";
    /// A sample of an order.
    SampleId = "sample";
    /// A preparation batch.
    BatchId = "preparation batch";
    /// A test portion of a preparation batch.
    PortionId = "portion";
    /// A method, its version apart.
    MethodId = "method";
    /// A run.
    RunId = "run";
    /// A rule of quality control.
    RuleName = "rule";
    /// A chemical element by its symbol.
    Element = "element";
}

macro_rules! places {
    ($($(#[$doc:meta])* $name:ident = $what:literal;)+) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name {
            /// The run it stands in.
            pub run: RunId,
            /// Its number there.
            pub number: u32,
        }

        impl FromStr for $name {
            type Err = IdentityFault;
            fn from_str(text: &str) -> Result<Self, IdentityFault> {
                let fault = || IdentityFault::Place { what: $what, found: text.into() };
                let (run, number) = text.rsplit_once('/').ok_or_else(fault)?;
                // "007" and "+7" would be second spellings of 7.
                let number: u32 = number.parse().ok().filter(|n: &u32| n.to_string() == number).ok_or_else(fault)?;
                Ok(Self { run: run.parse()?, number })
            }
        }

        impl TryFrom<String> for $name {
            type Error = IdentityFault;
            fn try_from(text: String) -> Result<Self, IdentityFault> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(place: $name) -> String {
                place.to_string()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}/{}", self.run, self.number)
            }
        }
    )+};
}

places! {
    /// A row of a run order; its number never changes.
    RowId = "row";
    /// A reading of a run.
    ReadingId = "reading";
}

/// The number of a procedure of evaluation; 0 is the trial edition before any is released.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Edition(pub u32);

impl fmt::Display for Edition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_identity_survives_labels_and_file_names() {
        assert_eq!("well-04".parse::<SampleId>().unwrap().as_str(), "well-04");
        assert_eq!("".parse::<SampleId>(), Err(IdentityFault::Empty { what: "sample" }));
        assert!(matches!("a/b".parse::<SampleId>(), Err(IdentityFault::Character { character: '/', .. })));
        assert!(matches!("x".repeat(65).parse::<SampleId>(), Err(IdentityFault::Long { length: 65, .. })));
    }

    #[test]
    fn a_reading_has_one_spelling() {
        let reading: ReadingId = "R1/17".parse().unwrap();
        assert_eq!(reading.to_string(), "R1/17");
        for other in ["17", "R1/017", "R1/+17", "R1/", "/17", "R1/17 "] {
            assert!(other.parse::<ReadingId>().is_err(), "{other}");
        }
    }
}
