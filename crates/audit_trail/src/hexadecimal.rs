//! Bytes of a fixed length written as lower-case hexadecimal text.
//!
//! One text for one value: capitals are turned back, so that two spellings of one digest can
//! never stand side by side in a record.

/// A text that is not the hexadecimal form of the value wanted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{found:?} stands where {what} is wanted: {digits} digits 0 to 9 and a to f")]
pub struct HexFault {
    /// What the text was read as, with its article: "a public key".
    pub what: &'static str,
    /// How many digits that takes.
    pub digits: usize,
    /// The text found, cut after 80 characters.
    pub found: String,
}

/// Writes bytes as lower-case hexadecimal text.
pub(crate) fn encode(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    let mut text = String::with_capacity(bytes.len() * 2);
    for byte in bytes {
        text.push(char::from(DIGITS[usize::from(byte >> 4)]));
        text.push(char::from(DIGITS[usize::from(byte & 15)]));
    }
    text
}

/// Reads exactly `N` bytes from lower-case hexadecimal text.
pub(crate) fn decode<const N: usize>(what: &'static str, text: &str) -> Result<[u8; N], HexFault> {
    let fault = || HexFault { what, digits: 2 * N, found: text.chars().take(80).collect() };
    let digits = text.as_bytes();
    if digits.len() != 2 * N {
        return Err(fault());
    }
    let mut bytes = [0; N];
    // A check of a trail reads millions of these: one look-up a digit, and one question at the end.
    let mut is_other = 0;
    for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
        let (high, low) = (VALUES[usize::from(pair[0])], VALUES[usize::from(pair[1])]);
        is_other |= high | low;
        *byte = high << 4 | low & 15;
    }
    if is_other & OTHER == 0 { Ok(bytes) } else { Err(fault()) }
}

/// What is no digit.
const OTHER: u8 = 0x80;

/// The value of every letter that is a digit.
const VALUES: [u8; 256] = {
    let mut values = [OTHER; 256];
    let mut value = 0;
    while value < 16 {
        let letter = if value < 10 { b'0' + value } else { b'a' + value - 10 };
        values[letter as usize] = value;
        value += 1;
    }
    values
};

/// Gives a newtype over a byte array its text form and its serde form, both hexadecimal.
macro_rules! hexadecimal_text {
    ($name:ident, $bytes:literal, $what:literal) => {
        impl $name {
            /// The bytes themselves.
            pub fn as_bytes(&self) -> &[u8; $bytes] {
                &self.0
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(&crate::hexadecimal::encode(&self.0))
            }
        }

        impl std::fmt::Debug for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, concat!(stringify!($name), "({})"), self)
            }
        }

        impl std::str::FromStr for $name {
            type Err = crate::hexadecimal::HexFault;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                crate::hexadecimal::decode($what, text).map(Self)
            }
        }

        impl TryFrom<String> for $name {
            type Error = crate::hexadecimal::HexFault;

            fn try_from(text: String) -> Result<Self, Self::Error> {
                text.parse()
            }
        }

        impl From<$name> for String {
            fn from(value: $name) -> String {
                value.to_string()
            }
        }
    };
}
pub(crate) use hexadecimal_text;

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn capitals_blanks_and_other_lengths_are_turned_back() {
        assert_eq!(decode::<2>("a hash", "0a1f"), Ok([0x0a, 0x1f]));
        for text in ["", "0a1", "0a1f2", "0A1F", "0a1g", " 0a1", "0a1µ", "+0a1"] {
            let fault = decode::<2>("a hash", text).unwrap_err();
            assert_eq!(fault.found, text);
            assert_eq!(
                fault.to_string(),
                format!("{text:?} stands where a hash is wanted: 4 digits 0 to 9 and a to f")
            );
        }
    }

    proptest! {
        #[test]
        fn what_was_written_reads_back(bytes: [u8; 32]) {
            prop_assert_eq!(decode::<32>("a hash", &encode(&bytes)), Ok(bytes));
        }

        #[test]
        fn any_text_gets_an_answer(text: String) {
            if let Ok(bytes) = decode::<3>("a hash", &text) {
                prop_assert_eq!(encode(&bytes), text);
            }
        }
    }
}
