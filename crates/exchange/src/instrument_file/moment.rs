//! Dates and times as instruments write them, made into moments with an offset.
//!
//! Years of two digits are years of this century: an instrument's file is never a hundred years old (common practice, no
//! source). An hour that comes twice in autumn is taken so that the readings stay in order.

use darkline_record::time::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;

/// In which order a date is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateOrder {
    /// 14.3.2026
    DayMonthYear,
    /// 3/14/2026
    MonthDayYear,
    /// 2026-03-14
    YearMonthDay,
}

impl DateOrder {
    /// All of them.
    pub const ALL: [DateOrder; 3] = [DateOrder::DayMonthYear, DateOrder::MonthDayYear, DateOrder::YearMonthDay];

    /// The words in mappings.
    pub fn words(self) -> &'static str {
        match self {
            DateOrder::DayMonthYear => "day month year",
            DateOrder::MonthDayYear => "month day year",
            DateOrder::YearMonthDay => "year month day",
        }
    }
}

/// Reads a date; `None` where it is none in this order.
pub fn date(text: &str, order: DateOrder) -> Option<Date> {
    let parts: Vec<&str> = text.split(|c: char| !c.is_alphanumeric()).filter(|part| !part.is_empty()).collect();
    let [a, b, c] = parts.as_slice() else { return None };
    let (day, month, year) = match order {
        DateOrder::DayMonthYear => (a, b, c),
        DateOrder::MonthDayYear => (b, a, c),
        DateOrder::YearMonthDay => (c, b, a),
    };
    let whole = |text: &str| text.parse::<i16>().ok();
    let year = match (whole(year)?, year.len()) {
        (year @ 0..=99, 1 | 2) => 2000 + year,
        (year @ 1900..=2200, 4) => year,
        _ => return None,
    };
    let month = whole(month).and_then(|month| i8::try_from(month).ok()).or_else(|| month_named(month))?;
    Date::new(year, month, i8::try_from(whole(day)?).ok()?).ok()
}

/// A month by the first letters of its English or German name.
fn month_named(text: &str) -> Option<i8> {
    const NAMES: [&[&str]; 12] = [
        &["jan"],
        &["feb"],
        &["mar", "mär", "mrz"],
        &["apr"],
        &["may", "mai"],
        &["jun"],
        &["jul"],
        &["aug"],
        &["sep"],
        &["oct", "okt"],
        &["nov"],
        &["dec", "dez"],
    ];
    let text = text.to_lowercase();
    let place = NAMES.iter().position(|names| names.iter().any(|name| text.starts_with(name)))?;
    i8::try_from(place + 1).ok()
}

/// Reads a time of day, of 24 hours or with a.m. and p.m.
pub fn time(text: &str) -> Option<Time> {
    let lower = text.trim().to_lowercase();
    let (clock, half) = match lower.find(['a', 'p']) {
        Some(place) => {
            let letters: String = lower[place..].chars().filter(|c| c.is_alphabetic()).collect();
            (lower[..place].trim_end(), Some(letters))
        }
        None => (lower.as_str(), None),
    };
    let mut parts = clock.split(':');
    let whole = |text: &str| (text.len() <= 2).then(|| text.trim().parse::<i8>().ok()).flatten();
    let (hour, minute) = (whole(parts.next()?)?, whole(parts.next()?)?);
    let (second, nanosecond) = match parts.next() {
        None => (0, 0),
        Some(seconds) => {
            let (whole_seconds, fraction) = seconds.split_once(['.', ',']).unwrap_or((seconds, ""));
            if fraction.len() > 9 || !fraction.bytes().all(|byte| byte.is_ascii_digit()) {
                return None;
            }
            (whole(whole_seconds)?, format!("{fraction:0<9}").parse::<i32>().ok()?)
        }
    };
    if parts.next().is_some() {
        return None;
    }
    let hour = match (half.as_deref(), hour) {
        (None, hour) => hour,
        (Some("am"), 12) => 0,
        (Some("am"), hour @ 1..=11) => hour,
        (Some("pm"), 12) => 12,
        (Some("pm"), hour @ 1..=11) => hour + 12,
        _ => return None,
    };
    Time::new(hour, minute, second, nanosecond).ok()
}

/// The date and the time of one cell that holds both, where a blank or a T parts them.
pub fn date_and_time(text: &str, order: DateOrder) -> Option<(Date, Time)> {
    let text = text.trim();
    let colon = text.find(':')?;
    let parts = text[..colon].rfind([' ', 'T'])?;
    Some((date(text[..parts].trim_end_matches([',', ' ']), order)?, time(&text[parts + 1..])?))
}

/// The zone that clocks are set to: a name of the IANA database, or a fixed offset as `+01:00`.
///
/// # Errors
/// What the text is not.
pub fn zone(text: &str) -> Result<TimeZone, String> {
    let text = text.trim();
    if text == "UTC" || text == "Z" {
        return Ok(TimeZone::UTC);
    }
    if text.starts_with(['+', '-']) {
        let probe: Result<Timestamp, _> = format!("2026-01-01T12:00:00{text}").parse();
        return match (probe, text.split_once(':')) {
            (Ok(_), Some((hours, minutes))) => {
                let sign = if text.starts_with('-') { -1 } else { 1 };
                let whole = |text: &str| text.trim_start_matches(['+', '-']).parse::<i32>().unwrap_or(0);
                let seconds = sign * (whole(hours) * 3600 + whole(minutes) * 60);
                let offset = jiff::tz::Offset::from_seconds(seconds).map_err(|error| error.to_string())?;
                Ok(TimeZone::fixed(offset))
            }
            _ => Err(format!("\"{text}\" is no offset; write +01:00")),
        };
    }
    TimeZone::get(text)
        .map_err(|_| format!("\"{text}\" is no time zone; write one as Europe/Vienna, or an offset as +01:00"))
}

/// A time of day on a date in a zone.
///
/// # Arguments
/// * `before`: the reading before it, which an hour that comes twice has to follow.
///
/// Returns the moment, and whether the clock leaves it open which one it is.
pub fn moment(date: Date, time: Time, zone: &TimeZone, before: Option<jiff::Timestamp>) -> Option<(Timestamp, bool)> {
    let ambiguous = zone.to_ambiguous_timestamp(date.to_datetime(time));
    let is_open = ambiguous.is_ambiguous();
    let (earlier, later) = (ambiguous.earlier().ok()?, ambiguous.later().ok()?);
    let chosen = if before.is_some_and(|before| earlier < before && before <= later) { later } else { earlier };
    let offset = zone.to_offset(chosen);
    let civil = offset.to_datetime(chosen);
    let seconds = offset.seconds();
    let (sign, seconds) = if seconds < 0 { ('-', -seconds) } else { ('+', seconds) };
    let fraction = match civil.subsec_nanosecond() {
        0 => String::new(),
        nanoseconds => format!(".{nanoseconds:09}").trim_end_matches('0').to_owned(),
    };
    let text = format!(
        "{:04}-{:02}-{:02}T{:02}:{:02}:{:02}{fraction}{sign}{:02}:{:02}",
        civil.year(),
        civil.month(),
        civil.day(),
        civil.hour(),
        civil.minute(),
        civil.second(),
        seconds / 3600,
        seconds / 60 % 60
    );
    Some((text.parse().ok()?, is_open))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn dates_of_every_order_are_read() {
        for (text, order) in [
            ("14.03.2026", DateOrder::DayMonthYear),
            ("14/3/26", DateOrder::DayMonthYear),
            ("14-Mar-2026", DateOrder::DayMonthYear),
            ("14. März 2026", DateOrder::DayMonthYear),
            ("03/14/26", DateOrder::MonthDayYear),
            ("2026-03-14", DateOrder::YearMonthDay),
        ] {
            assert_eq!(date(text, order), Some(Date::constant(2026, 3, 14)), "{text}");
        }
        assert_eq!(date("14/03/26", DateOrder::MonthDayYear), None);
        assert_eq!(date("30.02.2026", DateOrder::DayMonthYear), None);
    }

    #[test]
    fn times_of_day_are_read() {
        for (text, hour, minute, second) in [
            ("14:03:22", 14, 3, 22),
            ("2:03:22 PM", 14, 3, 22),
            ("2:03:22 p.m.", 14, 3, 22),
            ("12:00 AM", 0, 0, 0),
            ("12:00 pm", 12, 0, 0),
        ] {
            assert_eq!(time(text), Some(Time::constant(hour, minute, second, 0)), "{text}");
        }
        assert_eq!(time("14:03:22,5"), Some(Time::constant(14, 3, 22, 500_000_000)));
        for odd in ["", "14", "25:00", "13:00 PM", "1:2:3:4", "1403"] {
            assert_eq!(time(odd), None, "{odd}");
        }
        assert_eq!(
            date_and_time("14.03.2026 2:03 PM", DateOrder::DayMonthYear),
            Some((Date::constant(2026, 3, 14), Time::constant(14, 3, 0, 0)))
        );
    }

    #[test]
    fn an_hour_that_comes_twice_keeps_the_readings_in_order() {
        // Central European summer time ended on 25 October 2026 at 3:00, which became 2:00.
        let vienna = zone("Europe/Vienna").unwrap();
        let day = Date::constant(2026, 10, 25);
        let at = |hour, minute, before: Option<&Timestamp>| {
            moment(day, Time::constant(hour, minute, 0, 0), &vienna, before.map(Timestamp::moment)).unwrap()
        };
        let (first, open) = at(2, 50, None);
        assert!(open);
        assert_eq!(first.as_str(), "2026-10-25T02:50:00+02:00");
        let (second, _) = at(2, 10, Some(&first));
        assert_eq!(second.as_str(), "2026-10-25T02:10:00+01:00");
        let (third, open) = at(3, 5, Some(&second));
        assert_eq!((third.as_str(), open), ("2026-10-25T03:05:00+01:00", false));
    }

    #[test]
    fn zones_are_names_or_offsets() {
        let day = Date::constant(2026, 7, 1);
        let noon = Time::constant(12, 0, 0, 0);
        for (text, wanted) in [
            ("Europe/Vienna", "2026-07-01T12:00:00+02:00"),
            ("+05:30", "2026-07-01T12:00:00+05:30"),
            ("-03:00", "2026-07-01T12:00:00-03:00"),
            ("UTC", "2026-07-01T12:00:00+00:00"),
        ] {
            let (moment, _) = moment(day, noon, &zone(text).unwrap(), None).unwrap();
            assert_eq!(moment.as_str(), wanted);
        }
        assert!(zone("Mars/Olympus").unwrap_err().contains("no time zone"));
        assert!(zone("+1").unwrap_err().contains("no offset"));
    }

    proptest! {
        #[test]
        fn any_text_is_a_date_a_time_or_neither(text in "[0-9apmäA-Z:./, T-]{0,24}") {
            for order in DateOrder::ALL {
                let _ = date(&text, order);
                let _ = date_and_time(&text, order);
            }
            let _ = time(&text);
            let _ = zone(&text);
        }
    }
}
