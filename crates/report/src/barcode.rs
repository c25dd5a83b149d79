//! The barcode of a label: Code 128, set B, as the widths of its bars and gaps.
//!
//! Source: ISO/IEC 15417:2007, tables of characters and check character (from memory). The tests hold the table against the
//! rules it obeys: eleven modules a character, an even number of them black, each pattern once.

/// Widths of bar, gap, bar, gap, bar, gap, in modules, by the value of the character.
const PATTERNS: [&str; 106] = [
    "212222", "222122", "222221", "121223", "121322", "131222", "122213", "122312", "132212", "221213", "221312",
    "231212", "112232", "122132", "122231", "113222", "123122", "123221", "223211", "221132", "221231", "213212",
    "223112", "312131", "311222", "321122", "321221", "312212", "322112", "322211", "212123", "212321", "232121",
    "111323", "131123", "131321", "112313", "132113", "132311", "211313", "231113", "231311", "112133", "112331",
    "132131", "113123", "113321", "133121", "313121", "211331", "231131", "213113", "213311", "213131", "311123",
    "311321", "331121", "312113", "312311", "332111", "314111", "221411", "431111", "111224", "111422", "121124",
    "121421", "141122", "141221", "112214", "112412", "122114", "122411", "142112", "142211", "241211", "221114",
    "413111", "241112", "134111", "111242", "121142", "121241", "114212", "124112", "124211", "411212", "421112",
    "421211", "212141", "214121", "412121", "111143", "111341", "131141", "114113", "114311", "411113", "411311",
    "113141", "114131", "311141", "411131", "211412", "211214", "211232",
];
const START_B: usize = 104;
const STOP: &str = "2331112";

/// The widths of bars and gaps in turn, in modules, beginning with a bar.
///
/// # Returns
/// None where a character is not one of the 95 printable ones of ASCII, or nothing is there.
pub fn code_128(text: &str) -> Option<Vec<u8>> {
    let mut values = vec![START_B];
    for byte in text.bytes() {
        if !(32..=126).contains(&byte) {
            return None;
        }
        values.push(usize::from(byte) - 32);
    }
    if values.len() == 1 {
        return None;
    }
    // The start counts once, each character as often as its place.
    let sum: usize = values.iter().enumerate().map(|(place, value)| place.max(1) * value).sum();
    values.push(sum % 103);
    let mut widths: Vec<u8> =
        values.iter().flat_map(|value| PATTERNS[*value].bytes().map(|digit| digit - b'0')).collect();
    widths.extend(STOP.bytes().map(|digit| digit - b'0'));
    Some(widths)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_character_has_eleven_modules_an_even_number_of_them_black_and_a_pattern_of_its_own() {
        for pattern in PATTERNS {
            let widths: Vec<u32> = pattern.bytes().map(|digit| u32::from(digit - b'0')).collect();
            assert_eq!(widths.iter().sum::<u32>(), 11, "{pattern}");
            assert_eq!(widths.iter().step_by(2).sum::<u32>() % 2, 0, "{pattern}");
            assert!(widths.iter().all(|width| (1..=4).contains(width)));
        }
        assert_eq!(PATTERNS.into_iter().collect::<BTreeSet<_>>().len(), 106);
    }

    /// Reads the widths back, as a scanner does.
    fn read(widths: &[u8]) -> Option<String> {
        let (body, stop) = widths.split_at(widths.len().checked_sub(7)?);
        let word = |widths: &[u8]| widths.iter().map(|width| char::from(b'0' + width)).collect::<String>();
        let values: Vec<usize> = body
            .chunks(6)
            .map(|chunk| PATTERNS.iter().position(|pattern| *pattern == word(chunk)))
            .collect::<Option<_>>()?;
        let (check, values) = values.split_last()?;
        let sum: usize = values.iter().enumerate().map(|(place, value)| place.max(1) * value).sum();
        let is_whole = word(stop) == STOP && sum % 103 == *check && values.first() == Some(&START_B);
        is_whole.then(|| values[1..].iter().map(|value| char::from(u8::try_from(value + 32).unwrap())).collect())
    }

    #[test]
    fn what_was_written_is_read_back_and_a_changed_bar_is_seen() {
        for text in ["P-2026-071-01", "x", " ~", "R-2026-071-Pb"] {
            let widths = code_128(text).unwrap();
            assert_eq!(read(&widths).as_deref(), Some(text));
            let mut other = code_128(&format!("{text}0")).unwrap();
            other[9] = other[9] % 4 + 1;
            assert_eq!(read(&other), None);
        }
        assert_eq!(code_128("Pb µ"), None);
        assert_eq!(code_128(""), None);
    }
}
