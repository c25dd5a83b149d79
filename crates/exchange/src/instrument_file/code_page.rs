//! Bytes to text in the code pages that instruments write.
//!
//! # Source
//! The Unicode Consortium's mapping tables CP1252.TXT and CP437.TXT; UTF-8, RFC 3629; UTF-16, RFC 2781.

use crate::fault::{Fault, Faults};

/// How letters are written as bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CodePage {
    /// UTF-8, with or without a byte order mark.
    Utf8,
    /// UTF-16; without a byte order mark the low byte comes first.
    Utf16,
    /// Windows code page 1252, western European.
    Windows1252,
    /// IBM code page 437, the old terminal's.
    Ibm437,
}

impl CodePage {
    /// All of them.
    pub const ALL: [CodePage; 4] = [CodePage::Utf8, CodePage::Utf16, CodePage::Windows1252, CodePage::Ibm437];

    /// The word in mappings.
    pub fn word(self) -> &'static str {
        match self {
            CodePage::Utf8 => "utf-8",
            CodePage::Utf16 => "utf-16",
            CodePage::Windows1252 => "windows-1252",
            CodePage::Ibm437 => "ibm-437",
        }
    }

    /// Takes bytes as a text.
    ///
    /// # Errors
    /// Bytes that this code page does not have, with their place; a file of nothing.
    pub fn decode(self, file: &str, bytes: &[u8]) -> Result<String, Faults> {
        let text = match self {
            CodePage::Utf8 => match std::str::from_utf8(bytes) {
                Ok(text) => text.to_owned(),
                Err(error) => {
                    let place = error.valid_up_to();
                    let line = bytes[..place].iter().filter(|&&byte| byte == b'\n').count() + 1;
                    return Err(Faults::one(Fault::of_file(
                        file,
                        format!("line {line} holds the byte {:02x}, which is not UTF-8", bytes[place]),
                        "write code_page = \"windows-1252\" into the mapping, or whichever the instrument uses",
                    )));
                }
            },
            CodePage::Utf16 => utf16(file, bytes)?,
            CodePage::Windows1252 => bytes.iter().map(|&byte| windows_1252(byte)).collect(),
            CodePage::Ibm437 => bytes.iter().map(|&byte| ibm_437(byte)).collect(),
        };
        let text = text.strip_prefix('\u{feff}').map_or(text.clone(), str::to_owned);
        if text.contains('\0') {
            return Err(Faults::one(Fault::of_file(
                file,
                "the file holds NUL bytes",
                "it was damaged on the way, is no text, or is written in another code page",
            )));
        }
        Ok(text)
    }

    /// The code page that bytes most likely are in, and what speaks for it.
    pub fn likely(bytes: &[u8]) -> (CodePage, String) {
        if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
            return (CodePage::Utf16, "a byte order mark of UTF-16 opens the file".into());
        }
        let n_nul = bytes.iter().filter(|&&byte| byte == 0).count();
        if n_nul * 3 > bytes.len() && !bytes.is_empty() {
            return (CodePage::Utf16, "every other byte is zero".into());
        }
        if bytes.is_ascii() {
            return (CodePage::Utf8, "all letters are plain ASCII; any code page would do".into());
        }
        if std::str::from_utf8(bytes).is_ok() {
            return (CodePage::Utf8, "the letters beyond ASCII are well-formed UTF-8".into());
        }
        let count = |wanted: &[u8]| bytes.iter().filter(|byte| wanted.contains(byte)).count();
        // µ ° ä ö ü ß ± ² ³ as each page writes them.
        let windows = count(&[0xb5, 0xb0, 0xe4, 0xf6, 0xfc, 0xdf, 0xb1, 0xb2, 0xb3, 0xc4, 0xd6, 0xdc, 0xe9]);
        let ibm = count(&[0xe6, 0xf8, 0x84, 0x94, 0x81, 0xe1, 0xf1, 0xfd, 0x8e, 0x99, 0x9a, 0x82]);
        if ibm > windows {
            (
                CodePage::Ibm437,
                format!("{ibm} bytes are µ, ° or accented letters of IBM 437, {windows} of Windows 1252"),
            )
        } else {
            (
                CodePage::Windows1252,
                format!("{windows} bytes are µ, ° or accented letters of Windows 1252, {ibm} of IBM 437"),
            )
        }
    }
}

fn utf16(file: &str, bytes: &[u8]) -> Result<String, Faults> {
    let is_high_first = bytes.starts_with(&[0xfe, 0xff]);
    let units = bytes.chunks(2).map(|pair| match pair {
        [a, b] if is_high_first => u16::from_be_bytes([*a, *b]),
        [a, b] => u16::from_le_bytes([*a, *b]),
        // Half a unit at the end: the file was cut. A lone surrogate says so below.
        _ => 0xd800,
    });
    char::decode_utf16(units).collect::<Result<String, _>>().map_err(|_| {
        Faults::one(Fault::of_file(
            file,
            "the text is not whole UTF-16",
            "it was cut on the way, or is written in another code page",
        ))
    })
}

/// The bytes 80 to 9f of Windows 1252; those it leaves free stand for the control characters of ISO 8859-1.
const WINDOWS_1252: [char; 32] = [
    '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž', '\u{8f}', '\u{90}', '‘', '’',
    '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}', 'ž', 'Ÿ',
];

fn windows_1252(byte: u8) -> char {
    match byte {
        0x80..=0x9f => WINDOWS_1252[usize::from(byte - 0x80)],
        _ => char::from(byte),
    }
}

/// The upper half of IBM 437.
const IBM_437: [char; 128] = [
    'Ç', 'ü', 'é', 'â', 'ä', 'à', 'å', 'ç', 'ê', 'ë', 'è', 'ï', 'î', 'ì', 'Ä', 'Å', 'É', 'æ', 'Æ', 'ô', 'ö', 'ò', 'û',
    'ù', 'ÿ', 'Ö', 'Ü', '¢', '£', '¥', '₧', 'ƒ', 'á', 'í', 'ó', 'ú', 'ñ', 'Ñ', 'ª', 'º', '¿', '⌐', '¬', '½', '¼', '¡',
    '«', '»', '░', '▒', '▓', '│', '┤', '╡', '╢', '╖', '╕', '╣', '║', '╗', '╝', '╜', '╛', '┐', '└', '┴', '┬', '├', '─',
    '┼', '╞', '╟', '╚', '╔', '╩', '╦', '╠', '═', '╬', '╧', '╨', '╤', '╥', '╙', '╘', '╒', '╓', '╫', '╪', '┘', '┌', '█',
    '▄', '▌', '▐', '▀', 'α', 'ß', 'Γ', 'π', 'Σ', 'σ', 'µ', 'τ', 'Φ', 'Θ', 'Ω', 'δ', '∞', 'φ', 'ε', '∩', '≡', '±', '≥',
    '≤', '⌠', '⌡', '÷', '≈', '°', '∙', '·', '√', 'ⁿ', '²', '■', '\u{a0}',
];

fn ibm_437(byte: u8) -> char {
    match byte {
        0x80..=0xff => IBM_437[usize::from(byte - 0x80)],
        _ => char::from(byte),
    }
}

/// A text with its three kinds of µ and its broken degree signs written one way, for comparing heads and units.
pub(crate) fn plain(text: &str) -> String {
    let folded = text.trim().chars().map(|c| match c {
        '\u{3bc}' | '\u{b5}' => 'µ',
        '\u{ba}' | '\u{2da}' => '°',
        '\u{a0}' | '\u{202f}' | '\u{2009}' => ' ',
        '\u{2212}' | '\u{2013}' => '-',
        other => other,
    });
    folded.collect::<String>().to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn micro_and_degree_come_out_of_every_code_page() {
        let text = |page: CodePage, bytes: &[u8]| page.decode("a.csv", bytes).unwrap();
        assert_eq!(text(CodePage::Windows1252, b"\xb5g/L \xb0C \x80"), "µg/L °C €");
        assert_eq!(text(CodePage::Ibm437, b"\xe6g/L \xf8C \x84"), "µg/L °C ä");
        assert_eq!(text(CodePage::Utf8, "\u{feff}µg/L".as_bytes()), "µg/L");
        let utf16: Vec<u8> = "\u{feff}µg/L".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(text(CodePage::Utf16, &utf16), "µg/L");
        let high_first: Vec<u8> = "\u{feff}µg/L".encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(text(CodePage::Utf16, &high_first), "µg/L");
    }

    #[test]
    fn the_likely_code_page_is_the_one_it_was_written_in() {
        assert_eq!(CodePage::likely("µg/L in Gefäß".as_bytes()).0, CodePage::Utf8);
        assert_eq!(CodePage::likely(b"\xb5g/L in Gef\xe4\xdf").0, CodePage::Windows1252);
        assert_eq!(CodePage::likely(b"\xe6g/L in Gef\x84\xe1").0, CodePage::Ibm437);
        let utf16: Vec<u8> = "row;name".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(CodePage::likely(&utf16).0, CodePage::Utf16);
    }

    #[test]
    fn three_kinds_of_micro_are_one() {
        assert_eq!(plain(" \u{b5}g/L "), plain("\u{3bc}g/l"));
    }

    proptest! {
        #[test]
        fn any_bytes_are_a_text_or_told(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            let (likely, _) = CodePage::likely(&bytes);
            for page in CodePage::ALL {
                let _ = page.decode("a.csv", &bytes).map_err(|faults| faults.to_string());
            }
            // The two pages of one byte a letter have every byte but NUL.
            if !bytes.contains(&0) {
                prop_assert!(CodePage::Windows1252.decode("a.csv", &bytes).is_ok());
            }
            prop_assert!(likely.word().len() > 3);
        }
    }
}
