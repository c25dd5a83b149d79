//! When something happened: a time with its offset from UTC, kept exactly as it was written.
//!
//! The text is what is hashed, signed and shown: a signer's local time with its offset. The
//! instant behind it is only for putting entries in order. A time without an offset is turned
//! back, because two benches could not be ordered by it.
//!
//! Form: RFC 3339, sections 5.6 and 5.7, with the `T` and the `Z` as capitals.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use jiff::civil::DateTime;
use jiff::tz::Offset;
use serde::{Deserialize, Serialize};

/// The longest text of a time: far more digits of a second than any clock has.
const LONGEST: usize = 64;

/// A time as it was written, for example `2026-03-14T09:30:00.123+01:00`.
///
/// Two times are equal when their texts are; compare [`Timestamp::instant`] to put them in order.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Timestamp {
    /// Shared, since one time stands under everything that was done together.
    text: Arc<str>,
    instant: jiff::Timestamp,
}

/// What is the matter with a text that should be a time.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TimestampFault {
    /// The text has another form.
    #[error("{found:?} is no time with an offset; write it like 2026-03-14T09:30:00+01:00")]
    Form {
        /// The text found, cut after 80 characters.
        found: String,
    },
    /// The form is right, but the calendar, the clock or the offset has no such value.
    #[error("{found:?}: there is no {part} {value} there")]
    Range {
        /// The text found.
        found: String,
        /// "month", "day", "hour", "minute", "second", "offset".
        part: &'static str,
        /// The value written.
        value: u8,
    },
    /// Second 60 at another time than 23:59:60 UTC.
    #[error("{found:?}: second 60 exists only at 23:59:60 UTC")]
    LeapSecond {
        /// The text found.
        found: String,
    },
    /// The offset -00:00, which says that the offset is not known.
    #[error("{found:?}: the offset -00:00 means that nobody knows the offset; write +00:00 or Z for UTC")]
    UnknownOffset {
        /// The text found.
        found: String,
    },
    /// An instant before the year 0 or after 9999 of UTC.
    #[error("{found:?} lies outside the years 0 to 9999 of UTC")]
    OutsideYears {
        /// The text found.
        found: String,
    },
}

impl Timestamp {
    /// Checks a text and keeps it.
    ///
    /// # Errors
    /// [`TimestampFault`]: another form, a value the calendar does not have, no offset.
    ///
    /// # Source
    /// RFC 3339, sections 5.6 and 5.7. Checked by `tests/published/rfc_3339.rs`.
    ///
    /// # Example
    /// ```
    /// use darkline_audit_trail::Timestamp;
    /// let at = Timestamp::new("2026-03-14T09:30:00.123+01:00")?;
    /// assert_eq!(at.as_str(), "2026-03-14T09:30:00.123+01:00");
    /// assert_eq!(at.instant().to_string(), "2026-03-14T08:30:00.123Z");
    /// assert!(Timestamp::new("2026-03-14T09:30:00").is_err());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn new(text: &str) -> Result<Self, TimestampFault> {
        let found = || text.chars().take(80).collect::<String>();
        let form = || TimestampFault::Form { found: found() };
        let range = |part, value| TimestampFault::Range { found: found(), part, value };
        let written = Written::read(text).ok_or_else(form)?;
        if !(1..=12).contains(&written.month) {
            return Err(range("month", written.month));
        }
        for (part, value, highest) in [
            ("hour", written.hour, 23),
            ("minute", written.minute, 59),
            ("second", written.second, 60),
            ("offset hour", written.offset_hour, 23),
            ("offset minute", written.offset_minute, 59),
        ] {
            if value > highest {
                return Err(range(part, value));
            }
        }
        let offset_seconds = (i32::from(written.offset_hour) * 60 + i32::from(written.offset_minute)) * 60;
        if written.west && offset_seconds == 0 {
            return Err(TimestampFault::UnknownOffset { found: found() });
        }
        let offset_seconds = if written.west { -offset_seconds } else { offset_seconds };
        let leap = written.second == 60;
        // A leap second is put in order with the very end of second 59.
        let (second, nanosecond) = if leap { (59, 999_999_999) } else { (written.second, written.nanosecond) };
        // All arguments but the day were checked above, so the day is at fault.
        let local = DateTime::new(
            written.year,
            as_i8(written.month),
            as_i8(written.day),
            as_i8(written.hour),
            as_i8(written.minute),
            as_i8(second),
            nanosecond,
        )
        .map_err(|_| range("day", written.day))?;
        let outside = |_| TimestampFault::OutsideYears { found: found() };
        let offset = Offset::from_seconds(offset_seconds).map_err(outside)?;
        let instant = offset.to_timestamp(local).map_err(outside)?;
        if leap {
            let utc = Offset::UTC.to_datetime(instant);
            if (utc.hour(), utc.minute()) != (23, 59) {
                return Err(TimestampFault::LeapSecond { found: found() });
            }
        }
        Ok(Self { text: text.into(), instant })
    }

    /// The time of this machine's clock with the offset of its time zone, to the millisecond.
    pub fn now() -> Self {
        let now = jiff::ZonedDateTime::now();
        let text = now.strftime("%Y-%m-%dT%H:%M:%S%.3f%:z").to_string();
        Self::new(&text).unwrap_or_else(|_| {
            // A clock before the year 0, or a zone with an offset in seconds: say it in UTC.
            let instant = now.timestamp();
            Self { text: instant.to_string().into(), instant }
        })
    }

    /// The time as it was written.
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// The instant, for putting times in order; digits beyond the nanosecond do not count.
    pub fn instant(&self) -> jiff::Timestamp {
        self.instant
    }
}

fn as_i8(below_128: u8) -> i8 {
    i8::try_from(below_128).unwrap_or(i8::MAX)
}

/// The fields of the grammar of RFC 3339, section 5.6, before their ranges are looked at.
struct Written {
    year: i16,
    month: u8,
    day: u8,
    hour: u8,
    minute: u8,
    second: u8,
    nanosecond: i32,
    west: bool,
    offset_hour: u8,
    offset_minute: u8,
}

impl Written {
    fn read(text: &str) -> Option<Self> {
        let bytes = text.as_bytes();
        if bytes.len() > LONGEST || bytes.len() < "2026-03-14T09:30:00Z".len() {
            return None;
        }
        let digit = |place: usize| bytes.get(place).filter(|b| b.is_ascii_digit()).map(|b| b - b'0');
        let two = |place: usize| Some(digit(place)? * 10 + digit(place + 1)?);
        let sign = |place: usize, wanted: u8| (bytes.get(place) == Some(&wanted)).then_some(());
        for (place, wanted) in [(4, b'-'), (7, b'-'), (10, b'T'), (13, b':'), (16, b':')] {
            sign(place, wanted)?;
        }
        let mut place = 19;
        let mut nanosecond = 0;
        if bytes[place] == b'.' {
            place += 1;
            let first = place;
            while let Some(value) = digit(place) {
                if place - first < 9 {
                    nanosecond = nanosecond * 10 + i32::from(value);
                }
                place += 1;
            }
            if place == first {
                return None;
            }
            for _ in place - first..9 {
                nanosecond *= 10;
            }
        }
        let (west, offset_hour, offset_minute, end) = match bytes.get(place)? {
            b'Z' => (false, 0, 0, place + 1),
            east_or_west @ (b'+' | b'-') => {
                sign(place + 3, b':')?;
                (*east_or_west == b'-', two(place + 1)?, two(place + 4)?, place + 6)
            }
            _ => return None,
        };
        (end == bytes.len()).then_some(())?;
        Some(Self {
            year: i16::from(two(0)?) * 100 + i16::from(two(2)?),
            month: two(5)?,
            day: two(8)?,
            hour: two(11)?,
            minute: two(14)?,
            second: two(17)?,
            nanosecond,
            west,
            offset_hour,
            offset_minute,
        })
    }
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.text)
    }
}

impl FromStr for Timestamp {
    type Err = TimestampFault;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::new(text)
    }
}

impl TryFrom<String> for Timestamp {
    type Error = TimestampFault;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        Self::new(&text)
    }
}

impl From<Timestamp> for String {
    fn from(time: Timestamp) -> String {
        time.text.as_ref().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn instant(text: &str) -> String {
        Timestamp::new(text).unwrap().instant().to_string()
    }

    #[test]
    fn the_text_stays_as_written_and_the_instant_is_in_utc() {
        assert_eq!(instant("2026-03-14T09:30:00.123+01:00"), "2026-03-14T08:30:00.123Z");
        assert_eq!(instant("2026-03-14T09:30:00.120+01:00"), "2026-03-14T08:30:00.12Z");
        assert_eq!(instant("2026-03-14T09:30:00.1234567891+00:00"), "2026-03-14T09:30:00.123456789Z");
        assert_eq!(instant("2026-12-31T23:30:00-01:30"), "2027-01-01T01:00:00Z");
        let at = Timestamp::new("2026-03-14T09:30:00.120+01:00").unwrap();
        assert_eq!(at.to_string(), "2026-03-14T09:30:00.120+01:00");
    }

    #[test]
    fn what_the_calendar_does_not_have_is_named() {
        for (text, part, value) in [
            ("2026-13-14T09:30:00Z", "month", 13),
            ("2026-00-14T09:30:00Z", "month", 0),
            ("2026-02-30T09:30:00Z", "day", 30),
            ("2026-02-00T09:30:00Z", "day", 0),
            ("2026-02-03T24:00:00Z", "hour", 24),
            ("2026-02-03T23:60:00Z", "minute", 60),
            ("2026-02-03T23:00:61Z", "second", 61),
            ("2026-02-03T23:00:00+24:00", "offset hour", 24),
            ("2026-02-03T23:00:00+23:60", "offset minute", 60),
        ] {
            let found = text.to_owned();
            assert_eq!(Timestamp::new(text), Err(TimestampFault::Range { found, part, value }));
        }
    }

    #[test]
    fn an_offset_nobody_knows_and_a_leap_second_at_noon_are_turned_back() {
        let found = "2026-02-03T23:00:00-00:00".to_owned();
        assert_eq!(Timestamp::new(&found), Err(TimestampFault::UnknownOffset { found: found.clone() }));
        let found = "2026-02-03T12:00:60Z".to_owned();
        assert_eq!(Timestamp::new(&found), Err(TimestampFault::LeapSecond { found: found.clone() }));
        let found = "9999-12-31T23:59:59-23:59".to_owned();
        assert_eq!(Timestamp::new(&found), Err(TimestampFault::OutsideYears { found: found.clone() }));
        // 23:59:60 UTC, written one hour east of it.
        assert!(Timestamp::new("1991-01-01T00:59:60+01:00").is_ok());
        let order = ["1990-12-31T23:59:59Z", "1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z"]
            .map(|text| Timestamp::new(text).unwrap().instant());
        assert!(order.is_sorted_by(|before, after| before < after));
    }

    #[test]
    fn the_clock_of_this_machine_reads_back() {
        let now = Timestamp::now();
        assert_eq!(Timestamp::new(now.as_str()).unwrap(), now);
        assert_eq!(now.as_str().len(), "2026-03-14T09:30:00.123+01:00".len());
    }

    proptest! {
        #[test]
        fn any_text_gets_an_answer(text in r"[0-9]{0,5}[-0-9T:.+Z ]{0,30}.?") {
            if let Ok(at) = Timestamp::new(&text) {
                prop_assert_eq!(at.as_str(), text);
            }
        }

        #[test]
        fn a_time_and_its_neighbour_in_another_zone_are_one_instant(
            day in 1..29u8, hour in 0..24i32, minute in 0..60u8, east in -12..13i32,
        ) {
            let utc = Timestamp::new(&format!("2026-06-{day:02}T{hour:02}:{minute:02}:00Z")).unwrap();
            let local = hour + east;
            prop_assume!((0..24).contains(&local) && east != 0);
            let sign = if east < 0 { '-' } else { '+' };
            let there = Timestamp::new(
                &format!("2026-06-{day:02}T{local:02}:{minute:02}:00{sign}{:02}:00", east.abs()),
            ).unwrap();
            prop_assert_eq!(utc.instant(), there.instant());
        }
    }
}
