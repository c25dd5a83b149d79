//! Who and what an entry names: the log, the person, the entry itself.
//!
//! Names are short texts of `a-z`, `0-9`, `.`, `_` and `-`. Capitals and letters that look alike
//! are left out on purpose: two people can never have names that a reader takes for one
//! (21 CFR 11.300(a)), and no name can hold the line break that ends a line of a stored entry.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::hexadecimal::{self, HexFault, hexadecimal_text};

/// The longest name of a log or a person.
pub const LONGEST_NAME: usize = 64;

/// What is the matter with a name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum IdentityFault {
    /// Nothing was written.
    #[error("{what} has at least one character")]
    Empty {
        /// "the name of a log" or "the name of a person".
        what: &'static str,
    },
    /// More than [`LONGEST_NAME`] characters.
    #[error("{what} has at most {LONGEST_NAME} characters, this one has {found}")]
    TooLong {
        /// "the name of a log" or "the name of a person".
        what: &'static str,
        /// How many characters were found.
        found: usize,
    },
    /// A character outside `a-z 0-9 . _ -`.
    #[error("{what} is written with a to z, 0 to 9, full stop, _ and -; character {place} is {letter:?}")]
    Letter {
        /// "the name of a log" or "the name of a person".
        what: &'static str,
        /// The character found.
        letter: char,
        /// Which one it is, the first being 1.
        place: usize,
    },
}

fn checked_name(what: &'static str, text: &str) -> Result<Box<str>, IdentityFault> {
    if text.is_empty() {
        return Err(IdentityFault::Empty { what });
    }
    let allowed = |letter: char| matches!(letter, 'a'..='z' | '0'..='9' | '.' | '_' | '-');
    if let Some((before, letter)) = text.chars().enumerate().find(|(_, letter)| !allowed(*letter)) {
        return Err(IdentityFault::Letter { what, letter, place: before + 1 });
    }
    if text.len() > LONGEST_NAME {
        return Err(IdentityFault::TooLong { what, found: text.len() });
    }
    Ok(text.into())
}

macro_rules! name {
    ($name:ident, $what:literal, $(#[$doc:meta])*) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(Box<str>);

        impl $name {
            /// Checks a text and makes a name of it.
            ///
            /// # Errors
            /// [`IdentityFault`]: empty, longer than 64 characters, or another character than
            /// `a-z 0-9 . _ -`.
            pub fn new(text: &str) -> Result<Self, IdentityFault> {
                checked_name($what, text).map(Self)
            }

            /// The name as it is written.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }

        impl FromStr for $name {
            type Err = IdentityFault;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                Self::new(text)
            }
        }

        impl TryFrom<String> for $name {
            type Error = IdentityFault;

            fn try_from(text: String) -> Result<Self, Self::Error> {
                Self::new(&text)
            }
        }

        impl From<$name> for String {
            fn from(name: $name) -> String {
                name.0.into()
            }
        }
    };
}

name! { LogId, "the name of a log",
    /// The name of a log: one bench, or the laboratory as a whole, for example `bench-2`.
}

name! { PersonId, "the name of a person",
    /// The name a person signs in with, for example `j.alder`. It is never given to another.
}

/// The identity of an entry: 16 bytes that no other entry of its log has, written as 32 hexadecimal digits.
///
/// The writer chooses it before the first attempt and keeps it for every repetition, so that an
/// entry whose answer was lost on the way can be sent again and is still stored once. The laboratory
/// derives it from the log and the place it wants, so that of two writers one is told; whoever has
/// no such reason draws it ([`EntryId::random`]).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct EntryId([u8; 16]);

hexadecimal_text!(EntryId, 16, "the identity of an entry");

impl EntryId {
    /// Reads the 32 lower-case hexadecimal digits of an identity.
    ///
    /// # Errors
    /// [`HexFault`]: another length or another character.
    pub fn new(text: &str) -> Result<Self, HexFault> {
        hexadecimal::decode("the identity of an entry", text).map(Self)
    }

    /// Draws a new identity from the operating system's random source.
    ///
    /// # Errors
    /// The operating system could give no random bytes.
    pub fn random() -> Result<Self, getrandom::Error> {
        let mut bytes = [0; 16];
        getrandom::fill(&mut bytes)?;
        Ok(Self(bytes))
    }

    /// Makes an identity from bytes that are already unique, a digest for example.
    pub fn from_bytes(bytes: [u8; 16]) -> Self {
        Self(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_name_keeps_its_text() {
        for text in ["j.alder", "bench-2", "a", "0", "._-", &"x".repeat(64)] {
            assert_eq!(PersonId::new(text).unwrap().as_str(), text);
            assert_eq!(LogId::new(text).unwrap().to_string(), text);
        }
    }

    #[test]
    fn a_name_that_could_be_taken_for_another_is_turned_back() {
        let what = "the name of a person";
        assert_eq!(PersonId::new(""), Err(IdentityFault::Empty { what }));
        assert_eq!(PersonId::new("J.alder"), Err(IdentityFault::Letter { what, letter: 'J', place: 1 }));
        assert_eq!(PersonId::new("j alder"), Err(IdentityFault::Letter { what, letter: ' ', place: 2 }));
        assert_eq!(PersonId::new("j.alder\n"), Err(IdentityFault::Letter { what, letter: '\n', place: 8 }));
        // Cyrillic а beside Latin a.
        assert_eq!(PersonId::new("j.аlder"), Err(IdentityFault::Letter { what, letter: 'а', place: 3 }));
        assert_eq!(PersonId::new(&"x".repeat(65)), Err(IdentityFault::TooLong { what, found: 65 }));
        assert_eq!(
            LogId::new("Bench 2").unwrap_err().to_string(),
            "the name of a log is written with a to z, 0 to 9, full stop, _ and -; character 1 is 'B'"
        );
    }

    #[test]
    fn two_drawn_identities_differ_and_read_back() {
        let first = EntryId::random().unwrap();
        assert_ne!(first, EntryId::random().unwrap());
        assert_eq!(EntryId::new(&first.to_string()), Ok(first));
        assert_eq!(first.to_string().len(), 32);
        assert!(EntryId::new("A0000000000000000000000000000000").is_err());
        assert!(EntryId::new("0").is_err());
    }

    #[test]
    fn json_carries_the_texts_and_checks_them() {
        let person: PersonId = serde_json::from_str(r#""m.rowan""#).unwrap();
        assert_eq!(serde_json::to_string(&person).unwrap(), r#""m.rowan""#);
        assert!(serde_json::from_str::<PersonId>(r#""M. Rowan""#).is_err());
        let id = EntryId::from_bytes([7; 16]);
        let text = serde_json::to_string(&id).unwrap();
        assert_eq!(text, r#""07070707070707070707070707070707""#);
        assert_eq!(serde_json::from_str::<EntryId>(&text).unwrap(), id);
    }

    proptest! {
        #[test]
        fn any_text_gets_an_answer(text: String) {
            if let Ok(name) = LogId::new(&text) {
                prop_assert_eq!(name.as_str(), text);
            }
        }
    }
}
