//! The part `[traces]` of a mapping: where an instrument leaves the traces of its readings, and how it writes them.

use darkline_metrology::kind::{Duration, Kind};

use crate::document::figure::Wanted;
use crate::document::section::{Entry, Section};
use crate::instrument_file::parting::Separator;

/// Where traces are and how they are written. Code page and decimal sign are those of the table of readings.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceMapping {
    /// The names of the files.
    pub files: NamePattern,
    /// What stands between cells, where it is another sign than in the table of readings.
    pub separator: Option<Separator>,
    /// Lines below the head that hold units.
    pub lines_below_head: u32,
    /// Where the number of the firing stands.
    pub number: NumberPlace,
    /// The column of the moments; none where the points are only counted.
    pub moment: Option<String>,
    /// What a moment is written in.
    pub moment_unit: MomentUnit,
    /// Which absorbances are there.
    pub channels: Channels,
    /// Whether they are written in thousandths.
    pub in_thousandths: bool,
}

/// What a moment is written in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MomentUnit {
    /// Seconds.
    Seconds,
    /// Milliseconds.
    Milliseconds,
    /// The number of the point, and the time between two points in s.
    Points {
        /// Time between two points, in s.
        between_s: f64,
    },
}

/// Where the number of the firing stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NumberPlace {
    /// In the name of the file, where the pattern has `#`.
    FileName,
    /// In a column.
    Column(String),
    /// Behind this word in a line above the trace.
    Title(String),
    /// Nowhere: traces stand in the order of the readings.
    Nowhere,
}

/// Which absorbances are there: two of three, or the net one alone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Channels {
    /// Total and background.
    TotalAndBackground(String, String),
    /// Total and net: the background is their difference.
    TotalAndNet(String, String),
    /// Net and background: the total is their sum.
    NetAndBackground(String, String),
    /// Net alone: nothing is known of the background.
    Net(String),
}

impl Channels {
    /// The names of the columns.
    pub fn names(&self) -> Vec<&str> {
        match self {
            Channels::TotalAndBackground(a, b) | Channels::TotalAndNet(a, b) | Channels::NetAndBackground(a, b) => {
                vec![a, b]
            }
            Channels::Net(a) => vec![a],
        }
    }
}

/// The names of trace files: letters, `*` for anything, `#` for the number of the firing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamePattern(String);

impl NamePattern {
    /// Takes a pattern; `None` where it has more than one `#`, or would take any name.
    pub fn new(pattern: &str) -> Option<Self> {
        let is_sound = pattern.matches('#').count() <= 1 && pattern.contains(|c| c != '*' && c != '#');
        is_sound.then(|| Self(pattern.to_lowercase()))
    }
    /// Whether it holds the number of the firing.
    pub fn has_number(&self) -> bool {
        self.0.contains('#')
    }
    /// Whether a name is of this pattern, and which number of a firing stands in it.
    ///
    /// # Example
    /// ```
    /// use darkline_exchange::instrument_file::trace_mapping::NamePattern;
    /// let pattern = NamePattern::new("*_#.txt").unwrap();
    /// assert_eq!(pattern.matches("20260304_0017.TXT"), Some(Some(17)));
    /// assert_eq!(pattern.matches("readings.csv"), None);
    /// ```
    pub fn matches(&self, name: &str) -> Option<Option<u32>> {
        let pattern: Vec<char> = self.0.chars().collect();
        let name: Vec<char> = name.to_lowercase().chars().collect();
        // Beyond what a name of a file is, matching would take long.
        if name.len() > 300 || pattern.len() > 300 {
            return None;
        }
        matched(&pattern, &name)
    }
}

/// Row by row over the pattern: which beginnings of the name it can end at, and the number found on the way.
fn matched(pattern: &[char], name: &[char]) -> Option<Option<u32>> {
    let mut ends: Vec<Option<Option<u32>>> = vec![None; name.len() + 1];
    ends[0] = Some(None);
    for sign in pattern {
        let mut next: Vec<Option<Option<u32>>> = vec![None; name.len() + 1];
        for place in 0..=name.len() {
            let Some(number) = ends[place] else { continue };
            match sign {
                '*' => (place..=name.len()).for_each(|end| {
                    next[end].get_or_insert(number);
                }),
                '#' => {
                    // The whole number that begins here, not a part of one.
                    let length = name[place..].iter().take_while(|c| c.is_ascii_digit()).count();
                    let is_inside = place > 0 && name[place - 1].is_ascii_digit();
                    let digits: String = name[place..place + length].iter().collect();
                    if !is_inside && let Ok(found) = digits.parse::<u32>() {
                        next[place + length] = Some(Some(found));
                    }
                }
                sign => {
                    if name.get(place) == Some(sign) {
                        next[place + 1].get_or_insert(number);
                    }
                }
            }
        }
        ends = next;
    }
    ends[name.len()]
}

/// Reads the part.
pub(super) fn traces(section: &Section<'_>) -> Option<TraceMapping> {
    let pattern = section.required("files", "\"trace_#.txt\"");
    let files = pattern.as_ref().and_then(|entry| {
        let found = NamePattern::new(&entry.text()?);
        if found.is_none() {
            entry.fault(
                "this pattern would take any file, or holds two numbers",
                "write letters that the names have, * for anything, and # once for the number of the firing",
            );
        }
        found
    });
    let separator = section.optional("separator").map(|entry| {
        let words = [',', ';', '\t', '|'];
        entry.one_of("separator", &words, Separator::words)
    });
    let below = section.optional("lines_below_head").map(|entry| entry.whole(0..=10));
    let text = |key| section.optional(key).map(|entry| entry.text());
    let (column, title) = (text("number"), text("number_behind"));
    let moment = text("moment");
    let unit = section.required("moment_unit", "\"s\"").and_then(|entry| moment_unit(section, &entry));
    let (total, background, net) = (text("total"), text("background"), text("net"));
    let thousandths = section.optional("unit").map(|entry| {
        let words: [bool; 2] = [false, true];
        entry.one_of("unit of a trace", &words, |is| if is { "milliabsorbance" } else { "absorbance" })
    });
    section.close();
    let fault = |what: &str, hint: &str| section.sheet().fault(section.span(), what, hint);
    let (column, title) = (whole(column)?, whole(title)?);
    let (total, background, net) = (whole(total)?, whole(background)?, whole(net)?);
    let (files, unit, moment) = (files?, unit?, whole(moment)?);
    let number = match (files.has_number(), column, title) {
        (true, None, None) => NumberPlace::FileName,
        (false, Some(column), None) => NumberPlace::Column(column),
        (false, None, Some(title)) => NumberPlace::Title(title),
        (false, None, None) => NumberPlace::Nowhere,
        _ => {
            fault(
                "the number of a firing stands in two places",
                "keep one: # in files, number (a column), or number_behind",
            );
            return None;
        }
    };
    if moment.is_none() && !matches!(unit, MomentUnit::Points { .. }) {
        fault(
            "no column says when a point was measured",
            "name it: moment = \"…\"; or moment_unit = \"points\" where points are only counted",
        );
        return None;
    }
    let channels = match (total, background, net) {
        (Some(total), Some(background), None) => Channels::TotalAndBackground(total, background),
        (Some(total), None, Some(net)) => Channels::TotalAndNet(total, net),
        (None, Some(background), Some(net)) => Channels::NetAndBackground(net, background),
        (None, None, Some(net)) => Channels::Net(net),
        (Some(_), Some(_), Some(_)) => {
            fault("total, background and net are one too many", "keep two of them, those the instrument measures");
            return None;
        }
        (_, _, None) => {
            fault(
                "the columns named do not give total and background",
                "name two of total, background and net, or net alone",
            );
            return None;
        }
    };
    Some(TraceMapping {
        files,
        separator: whole(separator)?.map(Separator::Sign),
        lines_below_head: whole(below)?.unwrap_or(0),
        number,
        moment,
        moment_unit: unit,
        channels,
        in_thousandths: whole(thousandths)?.unwrap_or(false),
    })
}

fn moment_unit(section: &Section<'_>, entry: &Entry<'_>) -> Option<MomentUnit> {
    const S: &str = "s";
    let unit = entry.one_of("unit of moments", &[S, "ms", "points"], |word| word)?;
    if unit != "points" {
        return Some(if unit == S { MomentUnit::Seconds } else { MomentUnit::Milliseconds });
    }
    let between = section.required("between_points", "\"20 ms\"")?.figure::<Duration>(Wanted::Positive)?;
    Some(MomentUnit::Points { between_s: between.value().si() })
}

/// `None` where something is there that has been told as a fault.
fn whole<T>(found: Option<Option<T>>) -> Option<Option<T>> {
    match found {
        Some(Some(value)) => Some(Some(value)),
        Some(None) => None,
        None => Some(None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names_are_matched_and_their_number_found() {
        for (pattern, name, wanted) in [
            ("trace_#.txt", "trace_12.txt", Some(Some(12))),
            ("trace_#.txt", "TRACE_0012.TXT", Some(Some(12))),
            ("trace_#.txt", "trace_12 (1).txt", None),
            ("trace_#*.txt", "trace_12 (1).txt", Some(Some(12))),
            ("*_#.txt", "2026_03_04_7.txt", Some(Some(7))),
            ("traces*.csv", "traces of march.csv", Some(None)),
            ("trace_#.txt", "trace_.txt", None),
            ("trace_#.txt", "trace_99999999999.txt", None),
        ] {
            assert_eq!(NamePattern::new(pattern).unwrap().matches(name), wanted, "{pattern} {name}");
        }
        assert!(
            NamePattern::new("*").is_none() && NamePattern::new("a#_#").is_none() && NamePattern::new("#").is_none()
        );
    }

    proptest! {
        #[test]
        fn any_pattern_and_name_are_matched_or_not(pattern in "[a#*1.]{0,12}", name in "[a1.]{0,12}", long in 0usize..400) {
            if let Some(pattern) = NamePattern::new(&pattern) {
                let _ = pattern.matches(&name);
                let _ = pattern.matches(&"1".repeat(long));
            }
        }
    }
}
