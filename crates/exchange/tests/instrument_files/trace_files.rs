//! The traces of a run's readings, written as an instrument with certain habits would.

use crate::habits::Habit;
use crate::written::Reading;

/// Rows whose trace is missing, there twice, cut, unequal; another one each, so that habits go together.
pub const MISSING: (u32, u8) = (7, 1);
const DOUBLED: (u32, u8) = (8, 2);
pub const CUT: (u32, u8) = (11, 1);
pub const UNEQUAL: (u32, u8) = (12, 1);

/// Points of a trace and the time between two, in s.
pub const POINTS: usize = 40;
const BETWEEN: f64 = 0.02;
/// Points of the trace that was cut, and points without their background.
pub const LEFT: usize = 15;
pub const WITHOUT: usize = 3;
/// The firing after which numbers start again.
const AGAIN: u32 = 16;

/// The number an instrument gives a firing.
pub fn number(place: usize, has: &dyn Fn(Habit) -> bool) -> u32 {
    let number = u32::try_from(place + 1).unwrap();
    if has(Habit::NumbersAgain) && number > AGAIN { number - AGAIN } else { number }
}

/// Net absorbance of a reading at a point: a triangle whose integral is the response.
fn net(response: f64, point: usize) -> f64 {
    let height = |point: usize| (10.0 - (point as f64 - 12.0).abs()).max(0.0);
    let area: f64 = (0..POINTS).map(|point| height(point) * BETWEEN).sum();
    response * height(point) / area
}

/// The files: names within their folders, and texts.
pub fn write(
    fired: &[(usize, Reading)],
    separator: char,
    has: &dyn Fn(Habit) -> bool,
    figure: &dyn Fn(&str) -> String,
) -> Vec<(String, String)> {
    let end = if has(Habit::OldLineEnds) { "\r" } else { "\r\n" };
    let is_one_file = has(Habit::TracesTogether) || has(Habit::TracesTitled);
    let (first, second) = channels(has);
    let mut head: Vec<&str> = Vec::new();
    if has(Habit::TracesTogether) {
        head.push("Firing");
    }
    if !has(Habit::PointNumbers) {
        head.push("t");
    }
    head.push(first);
    head.extend(second);
    let line = |cells: &[String]| format!("{}{end}", cells.join(&separator.to_string()));
    let head: Vec<String> = head.iter().map(|&name| name.to_owned()).collect();
    let mut files: Vec<(String, String)> = Vec::new();
    let mut together = if has(Habit::TracesTogether) { line(&head) } else { String::new() };
    for (place, reading) in fired {
        let place_of = (reading.row, reading.replicate);
        if has(Habit::TraceMissing) && place_of == MISSING {
            continue;
        }
        let number = number(*place, has);
        let mut text = String::new();
        if has(Habit::TracesTitled) {
            text.push_str(&format!("Firing no. {number}{end}{}", line(&head)));
        } else if !is_one_file {
            text.push_str(&line(&head));
        }
        let n = if has(Habit::TraceCut) && place_of == CUT { LEFT } else { POINTS };
        for point in 0..n {
            let net = net(reading.response.unwrap(), point);
            let background = 0.05;
            let mut cells: Vec<String> = Vec::new();
            if has(Habit::TracesTogether) {
                cells.push(number.to_string());
            }
            let t = point as f64 * BETWEEN;
            if has(Habit::TimesInMilliseconds) {
                cells.push(format!("{:.0}", t * 1000.0));
            } else if !has(Habit::PointNumbers) {
                cells.push(figure(&format!("{t:.2}")));
            }
            let scale = if has(Habit::Milliabsorbance) || has(Habit::ThousandsMarks) { 1000.0 } else { 1.0 };
            let value = |name: &str| match name {
                "Total" => net + background,
                "Net" => net,
                _ => background,
            };
            cells.push(figure(&format!("{:.6}", value(first) * scale)));
            if let Some(second) = second {
                cells.push(figure(&format!("{:.6}", value(second) * scale)));
            }
            if has(Habit::TraceUnequal) && place_of == UNEQUAL && point >= POINTS - WITHOUT {
                *cells.last_mut().unwrap() = String::new();
            }
            text.push_str(&line(&cells));
        }
        let is_again = has(Habit::NumbersAgain) && *place >= AGAIN as usize;
        let folder = if is_again { "after-midnight/" } else { "" };
        if is_one_file {
            together.push_str(&text);
            if has(Habit::TraceDoubled) && place_of == DOUBLED {
                together.push_str(&text);
            }
        } else {
            files.push((format!("{folder}trace_{number:04}.txt"), text.clone()));
            if has(Habit::TraceDoubled) && place_of == DOUBLED {
                files.push((format!("{folder}trace_{number:04} (1).txt"), text));
            }
        }
    }
    if is_one_file {
        files.push(("traces of the day.txt".into(), together));
    }
    files
}

fn channels(has: &dyn Fn(Habit) -> bool) -> (&'static str, Option<&'static str>) {
    match () {
        () if has(Habit::NetOnly) => ("Net", None),
        () if has(Habit::NetAndTotal) => ("Total", Some("Net")),
        () => ("Total", Some("BG")),
    }
}

/// The part of the mapping that is about traces.
pub fn mapping(separator: char, has: &dyn Fn(Habit) -> bool) -> String {
    let mut text = String::from("\n[traces]\n");
    text.push_str(match () {
        () if has(Habit::TracesTogether) => "files = \"traces*.txt\"\nnumber = \"Firing\"\n",
        () if has(Habit::TracesTitled) => "files = \"traces*.txt\"\nnumber_behind = \"Firing no.\"\n",
        () => "files = \"trace_#*.txt\"\n",
    });
    if has(Habit::FixedColumns) {
        assert_eq!(separator, ';');
        text.push_str("separator = \"semicolon\"\n");
    }
    text.push_str(match () {
        () if has(Habit::TimesInMilliseconds) => "moment = \"t\"\nmoment_unit = \"ms\"\n",
        () if has(Habit::PointNumbers) => "moment_unit = \"points\"\nbetween_points = \"20 ms\"\n",
        () => "moment = \"t\"\nmoment_unit = \"s\"\n",
    });
    text.push_str(match channels(has) {
        (_, None) => "net = \"Net\"\n",
        (_, Some("Net")) => "total = \"Total\"\nnet = \"Net\"\n",
        _ => "total = \"Total\"\nbackground = \"BG\"\n",
    });
    if has(Habit::Milliabsorbance) || has(Habit::ThousandsMarks) {
        text.push_str("unit = \"milliabsorbance\"\n");
    }
    text
}

/// What the traces of this test integrate to.
pub fn integral(pulse: &darkline_record::pulse::Pulse) -> Option<f64> {
    let net = pulse.total().iter().zip(pulse.background()).map(|(total, background)| f64::from(total - background));
    Some(net.sum::<f64>() * BETWEEN)
}
