//! A request as a page sees it: who asks, for what, and what was filled in.

use std::net::IpAddr;

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::Person;

/// The names and values of a query or a form, in the order they came.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Fields(Vec<(String, String)>);

impl Fields {
    /// Reads `name=value&…` as forms send it; what is no UTF-8 is kept with replacement characters.
    pub(crate) fn read(text: &str) -> Self {
        let pairs = text.split('&').filter(|pair| !pair.is_empty());
        Self(
            pairs
                .map(|pair| {
                    let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
                    (unescape(name, true), unescape(value, true))
                })
                .collect(),
        )
    }

    /// The last value of a name; empty where there is none.
    pub(crate) fn get(&self, name: &str) -> &str {
        self.0.iter().rev().find(|(known, _)| known == name).map_or("", |(_, value)| value.as_str())
    }

    /// All values of a name.
    pub(crate) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// Names and values in the order they came.
    pub(crate) fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(name, value)| (name.as_str(), value.as_str()))
    }
}

/// Takes back `%41`, and `+` where it stands for a space.
pub(crate) fn unescape(text: &str, plus_is_space: bool) -> String {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.bytes();
    while let Some(byte) = rest.next() {
        match byte {
            b'+' if plus_is_space => bytes.push(b' '),
            b'%' => {
                let ahead = rest.clone().take(2).collect::<Vec<u8>>();
                let digits = std::str::from_utf8(&ahead).ok().and_then(|digits| u8::from_str_radix(digits, 16).ok());
                match digits.filter(|_| ahead.len() == 2) {
                    Some(escaped) => {
                        bytes.push(escaped);
                        rest.nth(1);
                    }
                    None => bytes.push(b'%'),
                }
            }
            other => bytes.push(other),
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// A text as a part of an address.
pub(crate) fn escape(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'~' => char::from(byte).to_string(),
            other => format!("%{other:02X}"),
        })
        .collect()
}

/// In which form a page is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Twin {
    /// For people.
    Page,
    /// For programs.
    Json,
    /// For a spreadsheet.
    Csv,
}

/// Who looks at a page.
#[derive(Clone, Debug)]
pub(crate) struct Viewer {
    /// The person as the record knows them now.
    pub(crate) person: Person,
    /// What a form has to bring so that it is known to come from a page of this sign-in.
    pub(crate) form_token: String,
    /// Which of the sign-ins it is.
    pub(crate) session: u64,
}

impl Viewer {
    /// Their name.
    pub(crate) fn id(&self) -> &PersonId {
        &self.person.id
    }

    /// Whether a role of theirs has this right at all.
    pub(crate) fn has_right(&self, verb: darkline_audit_trail::people::Verb) -> bool {
        self.person.roles.iter().any(|role| verb.right().roles.contains(role))
    }
}

/// A request.
#[derive(Clone, Debug)]
pub(crate) struct Asked {
    /// The path without the ending of a twin.
    pub(crate) path: String,
    /// The parts of the path that the route leaves open, in their order.
    pub(crate) parts: Vec<String>,
    /// What stands behind the question mark.
    pub(crate) query: Fields,
    /// What was filled in.
    pub(crate) form: Fields,
    /// The form wanted.
    pub(crate) twin: Twin,
    /// Who asks; none before sign-in.
    pub(crate) viewer: Option<Viewer>,
    /// From where.
    pub(crate) from: IpAddr,
}

impl Asked {
    /// A part of the path that the route leaves open.
    pub(crate) fn part(&self, place: usize) -> &str {
        self.parts.get(place).map_or("", String::as_str)
    }

    /// Who asks, on a route that asks for somebody.
    pub(crate) fn viewer(&self) -> &Viewer {
        self.viewer.as_ref().expect("the front door lets nobody without sign-in through to this route")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_reads_as_it_was_filled_in() {
        let fields = Fields::read("reason=droplet+left%2C%20%C2%B5&on=a&on=b&&empty=&odd=100%&bare");
        assert_eq!(fields.get("reason"), "droplet left, µ");
        assert_eq!(fields.all("on").collect::<Vec<_>>(), ["a", "b"]);
        assert_eq!(
            (fields.get("on"), fields.get("empty"), fields.get("odd"), fields.get("none")),
            ("b", "", "100%", "")
        );
    }

    #[test]
    fn an_address_reads_back() {
        for text in ["2026-041", "Cr(VI) & µ/100 %", "a+b", ""] {
            assert_eq!(unescape(&escape(text), false), text);
        }
    }
}
