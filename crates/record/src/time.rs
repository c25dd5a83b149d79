//! Moments and days as they were written: RFC 3339 with an offset, kept to the letter.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A moment with its offset from UTC, as written; ordered by the moment, then by the text.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Timestamp {
    text: String,
    moment: jiff::Timestamp,
}

/// A text that is no moment.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is no time with an offset; write 2026-03-14T09:30:00+01:00")]
pub struct TimeFault {
    /// The text.
    pub found: String,
}

impl Timestamp {
    /// The text as written.
    pub fn as_str(&self) -> &str {
        &self.text
    }
    /// The moment, for arithmetic.
    pub fn moment(&self) -> jiff::Timestamp {
        self.moment
    }
}

impl FromStr for Timestamp {
    type Err = TimeFault;
    fn from_str(text: &str) -> Result<Self, TimeFault> {
        let fault = || TimeFault { found: text.chars().take(64).collect() };
        // RFC 3339 profile: date, T, time with seconds, offset; jiff also takes looser forms of ISO 8601.
        let bytes = text.as_bytes();
        let has_shape = text.is_ascii()
            && bytes.len() >= 20
            && bytes[4] == b'-'
            && bytes[7] == b'-'
            && bytes[10] == b'T'
            && bytes[13] == b':'
            && bytes[16] == b':'
            && !text.contains('[');
        let has_offset = text.ends_with('Z') || (bytes.len() >= 25 && matches!(bytes[bytes.len() - 6], b'+' | b'-'));
        if !has_shape || !has_offset {
            return Err(fault());
        }
        let moment = text.parse().map_err(|_| fault())?;
        Ok(Self { text: text.into(), moment })
    }
}

impl TryFrom<String> for Timestamp {
    type Error = TimeFault;
    fn try_from(text: String) -> Result<Self, TimeFault> {
        text.parse()
    }
}

impl From<Timestamp> for String {
    fn from(timestamp: Timestamp) -> String {
        timestamp.text
    }
}

impl PartialOrd for Timestamp {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Timestamp {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.moment.cmp(&other.moment).then_with(|| self.text.cmp(&other.text))
    }
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// A day of the calendar, as written: 2026-03-20.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Day(String);

/// A text that is no day.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{found}\" is no day; write 2026-03-20")]
pub struct DayFault {
    /// The text.
    pub found: String,
}

impl Day {
    /// The text as written.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for Day {
    type Err = DayFault;
    fn from_str(text: &str) -> Result<Self, DayFault> {
        let fault = || DayFault { found: text.chars().take(64).collect() };
        let day: jiff::civil::Date = text.parse().map_err(|_| fault())?;
        // Written in one way only, so that days are ordered as their texts are.
        if day.year() >= 0 && day.to_string() == text { Ok(Self(text.into())) } else { Err(fault()) }
    }
}

impl TryFrom<String> for Day {
    type Error = DayFault;
    fn try_from(text: String) -> Result<Self, DayFault> {
        text.parse()
    }
}

impl From<Day> for String {
    fn from(day: Day) -> String {
        day.0
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_written_in_one_way_and_ordered_by_the_calendar() {
        let [before, after]: [Day; 2] = ["2026-03-09", "2026-03-20"].map(|text| text.parse().unwrap());
        assert!(before < after);
        for other in ["2026-3-9", "20260320", "2026-02-30", "20.03.2026", "2026-03-20T00:00", "-000001-01-01", ""] {
            assert!(other.parse::<Day>().is_err(), "{other}");
        }
    }

    #[test]
    fn a_moment_keeps_its_offset_and_its_text() {
        let time: Timestamp = "2026-03-14T09:30:00+01:00".parse().unwrap();
        assert_eq!(time.as_str(), "2026-03-14T09:30:00+01:00");
        let same_moment: Timestamp = "2026-03-14T08:30:00Z".parse().unwrap();
        assert_eq!(time.moment(), same_moment.moment());
        for other in [
            "2026-03-14",
            "14.03.2026 09:30",
            "2026-03-14T09:30:00",
            "2026-03-14 09:30:00Z",
            "2026-13-14T09:30:00Z",
            "",
        ] {
            assert!(other.parse::<Timestamp>().is_err(), "{other}");
        }
    }
}
