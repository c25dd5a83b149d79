//! `darkline qualify`: published worked examples through the functions the program itself uses.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};
use std::sync::Mutex;

use darkline_exchange::fault::{Fault, Place, Severity};
use darkline_exchange::text_file;
use darkline_qualification::{
    Answer, CaseFault, CaseReport, Comparison, Counts, Outcome, Qualification, Source, Tolerance, Verdict, qualify,
    shipped,
};
use darkline_report::qualification_protocol::{CaseLine, FigureApart, PackOfCases};
use darkline_report::{QualificationProtocol, render_protocol};
use serde::Serialize;
use serde_json::Value;

use super::count;
use crate::command_line::{Everywhere, Qualify};
use crate::ending::{Ending, Failure};
use crate::new_file::NewFile;
use crate::progress::Progress;
use crate::table::Table;
use crate::talk;

/// Folders within folders are looked through so far.
const DEEPEST: usize = 16;

pub fn run(everywhere: &Everywhere, options: &Qualify) -> Result<Ending, Failure> {
    // Whether it can be written is known before anything runs.
    let protocol = options.protocol.as_deref().map(NewFile::at).transpose()?;
    let progress = Mutex::new(Progress::new("cases", 0));
    let told = |done: usize, of: usize| {
        let Ok(mut progress) = progress.lock() else { return };
        if done == 0 {
            *progress = Progress::new("cases", of);
        } else {
            progress.done(done);
        }
    };
    let (found, faults) =
        if options.paths.is_empty() { (shipped::run("", &told), Vec::new()) } else { of_files(&options.paths, &told)? };
    drop(progress);
    show(everywhere, &found)?;
    let counts = found.counts();
    let mut all: Vec<Fault> = faults;
    all.extend(found.all_faults().map(worded));
    for fault in &all {
        talk::say_styled(&fault.parts());
    }
    let closing = closing(&counts, all.len(), &found);
    if let (Some(file), Some(path), Some(date)) = (protocol, &options.protocol, options.date) {
        let faults: Vec<String> = all.iter().map(ToString::to_string).collect();
        let (protocol, record) = protocol_of(options, &found, &faults, &date.to_string())?;
        file.fill(&render_protocol(&protocol, record.as_bytes()).map_err(Failure::told)?)?;
        talk::tell(&format!("{} written", path.display()));
    }
    if everywhere.json {
        talk::tell(&closing)
    } else {
        talk::print(&format!("{closing}\n"))?
    }
    Ok(if !all.is_empty() {
        Ending::AtFault
    } else if counts.disagree + counts.unknown > 0 {
        Ending::Stopped
    } else {
        Ending::Done
    })
}

/// Runs the cases of folders and files; what cannot be read stands beside, and never stops the others.
fn of_files(paths: &[PathBuf], told: &(dyn Fn(usize, usize) + Sync)) -> Result<(Qualification, Vec<Fault>), Failure> {
    let mut files = Vec::new();
    let mut faults = Vec::new();
    for path in paths {
        if path.is_dir() {
            let before = files.len();
            look_through(path, 0, &mut files, &mut faults);
            if files.len() == before {
                let shown = path.display().to_string();
                faults.push(Fault::of_file(
                    &shown,
                    "no case file (.toml) lies in this folder",
                    "name the folder that holds them",
                ));
            }
        } else {
            files.push(path.clone());
        }
    }
    let mut texts: Vec<(String, String)> = Vec::new();
    let mut folders: BTreeMap<String, PathBuf> = BTreeMap::new();
    for path in files {
        match text_file::read(&path) {
            Ok(text) => {
                let name = path.display().to_string();
                folders.insert(name.clone(), path.parent().map_or_else(PathBuf::new, Path::to_owned));
                texts.push((name, text));
            }
            Err(of_file) => faults.extend(of_file.listed().iter().cloned()),
        }
    }
    let sources: Vec<Source<'_>> = texts.iter().map(|(name, text)| Source { name, text }).collect();
    let beside = |case: &str, path: &str| columns(folders.get(case)?, path);
    let found = qualify(&sources, &beside, told);
    for name in &found.without_cases {
        if paths.iter().any(|path| path.display().to_string() == *name) {
            faults.push(Fault::of_file(
                name,
                "no case stands in this file",
                "a case has a kind; see the how-to on worked examples",
            ));
        }
    }
    Ok((found, faults))
}

/// The case files of a folder and the folders in it, by name.
fn look_through(folder: &Path, depth: usize, files: &mut Vec<PathBuf>, faults: &mut Vec<Fault>) {
    let shown = folder.display().to_string();
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) => {
            faults.push(Fault::of_file(&shown, format!("this folder cannot be read: {error}"), "ask whoever owns it"));
            return;
        }
    };
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| entry.ok().map(|entry| entry.path())).collect();
    paths.sort();
    for path in paths {
        if path.is_dir() {
            if depth < DEEPEST {
                look_through(&path, depth + 1, files, faults);
            }
        } else if path.extension().is_some_and(|end| end == "toml") {
            files.push(path);
        }
    }
}

/// A file of numbers that a case names: in the case's own folder or below it.
fn columns(folder: &Path, path: &str) -> Option<String> {
    let path = Path::new(path);
    if !path.components().all(|part| matches!(part, Component::Normal(_))) {
        return None;
    }
    let path = folder.join(path);
    if !path.metadata().ok()?.is_file() {
        return None;
    }
    text_file::read(&path).ok()
}

fn worded(fault: &CaseFault) -> Fault {
    Fault {
        severity: Severity::Error,
        file: fault.file.clone(),
        place: Some(Place { line: fault.line, column: fault.column }),
        what: fault.what.clone(),
        shown: None,
        hint: None,
    }
}

/// One figure of a case as a line for programs.
#[derive(Serialize)]
struct ComparisonLine<'a> {
    schema: &'static str,
    case: &'a str,
    key: Option<&'a str>,
    kind: &'a str,
    file: &'a str,
    line: usize,
    source: &'a str,
    expected: Value,
    written: Option<&'a str>,
    found: Value,
    tolerance: Option<f64>,
    tolerance_is: Option<&'static str>,
    digits: Option<f64>,
    agrees: bool,
    verdict: &'static str,
    why: Option<&'a str>,
}

fn show(everywhere: &Everywhere, found: &Qualification) -> Result<(), Failure> {
    for case in &found.cases {
        match &case.outcome {
            Outcome::Fault(_) => {}
            Outcome::UnknownKind if everywhere.json => talk::print_json(&of_unknown(case))?,
            Outcome::UnknownKind => {
                talk::print(&format!("{}\nnothing here computes cases of kind {}\n\n", head(case), case.kind))?;
            }
            Outcome::Compared(comparisons) if everywhere.json => {
                for comparison in comparisons {
                    talk::print_json(&of_comparison(case, comparison))?;
                }
            }
            Outcome::Compared(comparisons) => talk::print(&format!("{}\n{}\n", head(case), table(comparisons)))?,
        }
    }
    Ok(())
}

fn of_unknown(case: &CaseReport) -> ComparisonLine<'_> {
    ComparisonLine {
        schema: "darkline/qualification/1",
        case: &case.case,
        key: None,
        kind: &case.kind,
        file: &case.file,
        line: case.line,
        source: &case.source,
        expected: Value::Null,
        written: None,
        found: Value::Null,
        tolerance: None,
        tolerance_is: None,
        digits: None,
        agrees: false,
        verdict: "unknown kind",
        why: Some("nothing here computes cases of this kind"),
    }
}

fn of_comparison<'a>(case: &'a CaseReport, comparison: &'a Comparison) -> ComparisonLine<'a> {
    let (tolerance, tolerance_is) = match comparison.tolerance {
        Tolerance::Absolute(absolute) => (absolute, "absolute"),
        Tolerance::Relative(relative) => (relative, "relative"),
        Tolerance::Exact => (0.0, "exact"),
    };
    let (verdict, why) = verdict(&comparison.verdict);
    ComparisonLine {
        key: Some(&comparison.key),
        expected: value(&comparison.expected),
        written: Some(&comparison.written),
        found: comparison.found.as_ref().map_or(Value::Null, value),
        tolerance: Some(tolerance),
        tolerance_is: Some(tolerance_is),
        digits: comparison.digits.map(|digits| (digits * 10.0).floor() / 10.0),
        agrees: comparison.verdict == Verdict::Agrees,
        verdict,
        why,
        ..of_unknown(case)
    }
}

/// An answer in JSON; a figure that JSON has no number for is a text.
fn value(answer: &Answer) -> Value {
    match answer {
        Answer::Number(number) => {
            serde_json::Number::from_f64(*number).map_or_else(|| Value::String(number.to_string()), Value::Number)
        }
        Answer::Whole(whole) => Value::from(*whole),
        Answer::Truth(truth) => Value::Bool(*truth),
        Answer::Text(text) => Value::String(text.clone()),
        Answer::List(answers) => Value::Array(answers.iter().map(value).collect()),
    }
}

fn verdict(verdict: &Verdict) -> (&'static str, Option<&str>) {
    match verdict {
        Verdict::Agrees => ("agrees", None),
        Verdict::Difference(why) => ("difference", Some(why)),
        Verdict::Disagrees => ("disagrees", None),
        Verdict::NotFound(why) => ("not found", Some(why)),
    }
}

fn head(case: &CaseReport) -> String {
    let source = if case.source.is_empty() { String::new() } else { format!("\n{}", case.source) };
    format!("{} ({}), {}:{}{source}", case.case, case.kind, case.file, case.line)
}

fn table(comparisons: &[Comparison]) -> String {
    let mut table = Table::new()
        .words("quantity")
        .figures("printed", "")
        .figures("found", "")
        .words("tolerance")
        .figures("digits", "")
        .words("verdict");
    for comparison in comparisons {
        let (verdict, why) = verdict(&comparison.verdict);
        table.row(vec![
            shortened(&comparison.key),
            shortened(&comparison.written),
            comparison.found.as_ref().map_or_else(|| "–".to_owned(), |found| shortened(&found.to_string())),
            tolerance_text(comparison.tolerance),
            comparison.digits.map_or_else(String::new, |digits| format!("{:.1}", (digits * 10.0).floor() / 10.0)),
            why.map_or_else(|| verdict.to_owned(), |why| format!("{verdict}: {why}")),
        ]);
    }
    table.text()
}

fn tolerance_text(tolerance: Tolerance) -> String {
    let figure = |size: f64| if size != 0.0 && size < 1e-4 { format!("{size:e}") } else { size.to_string() };
    match tolerance {
        Tolerance::Absolute(absolute) => format!("±{}", figure(absolute)),
        Tolerance::Relative(relative) => format!("±{} of it", figure(relative)),
        Tolerance::Exact => "exact".to_owned(),
    }
}

/// Long texts, such as digests and lists, to the part that can be compared at a glance, on one line.
fn shortened(text: &str) -> String {
    const LONGEST: usize = 32;
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if plain.chars().count() <= LONGEST {
        return plain;
    }
    let beginning: String = plain.chars().take(LONGEST - 1).collect();
    format!("{beginning}…")
}

/// The last line: how much came of it.
fn closing(counts: &Counts, faults: usize, found: &Qualification) -> String {
    let mut text =
        format!("{} of {}: {} agree", count(counts.figures, "figure"), count(counts.cases, "case"), counts.agree);
    text.push_str(&format!(", {} differ for a reason that is named", counts.differ));
    text.push_str(&format!(", {} disagree", counts.disagree));
    text.push_str(&format!("; {} of unknown kind", count(counts.unknown, "case")));
    text.push_str(&format!(", {}", count(faults, "fault")));
    if !found.without_cases.is_empty() {
        text.push_str(&format!(", {} without cases", count(found.without_cases.len(), "file")));
    }
    text
}

/// The protocol of a qualification, and its record: every figure as a line of JSON.
fn protocol_of(
    options: &Qualify,
    found: &Qualification,
    faults: &[String],
    date: &str,
) -> Result<(QualificationProtocol, String), Failure> {
    let counts = found.counts();
    let agrees = counts.disagree + counts.unknown == 0 && faults.is_empty();
    let mut protocol = QualificationProtocol {
        laboratory: options.laboratory.clone().unwrap_or_default(),
        program: format!("Darkline {}", env!("CARGO_PKG_VERSION")),
        machine: options
            .machine
            .clone()
            .unwrap_or_else(|| format!("{} {}", std::env::consts::OS, std::env::consts::ARCH)),
        date: date.to_owned(),
        scope: if options.paths.is_empty() {
            "the cases that ship in the program".into()
        } else {
            options.paths.iter().map(|path| path.display().to_string()).collect::<Vec<_>>().join(", ")
        },
        conclusion: if agrees {
            "All figures agree within their tolerance, or differ for a reason that is named.".into()
        } else {
            "Not everything agrees: see the figures and cases below.".into()
        },
        agrees,
        counts: vec![
            ("cases".into(), counts.cases.to_string()),
            ("figures".into(), counts.figures.to_string()),
            ("that agree".into(), counts.agree.to_string()),
            ("that differ for a named reason".into(), counts.differ.to_string()),
            ("that disagree".into(), counts.disagree.to_string()),
            ("cases of unknown kind".into(), counts.unknown.to_string()),
            ("faults of files".into(), faults.len().to_string()),
        ],
        signatures: vec!["carried out".into(), "reviewed".into(), "released for use".into()],
        ..QualificationProtocol::default()
    };
    let mut record = String::new();
    let mut line = |object: &ComparisonLine<'_>| -> Result<(), Failure> {
        record.push_str(&serde_json::to_string(object).map_err(Failure::told)?);
        record.push('\n');
        Ok(())
    };
    for fault in faults {
        protocol.apart.push(FigureApart { verdict: fault.clone(), ..FigureApart::default() });
    }
    for case in &found.cases {
        let (figures, digits, said) = match &case.outcome {
            Outcome::Fault(fault) => (String::new(), String::new(), format!("fault: {}", fault.what)),
            Outcome::UnknownKind => {
                line(&of_unknown(case))?;
                (String::new(), String::new(), "unknown kind".to_owned())
            }
            Outcome::Compared(comparisons) => {
                for comparison in comparisons {
                    line(&of_comparison(case, comparison))?;
                }
                let apart: Vec<&Comparison> =
                    comparisons.iter().filter(|comparison| comparison.verdict != Verdict::Agrees).collect();
                protocol.apart.extend(apart.iter().map(|comparison| figure_apart(case, comparison)));
                let least = comparisons.iter().filter_map(|comparison| comparison.digits).reduce(f64::min);
                let digits = least.map_or_else(String::new, |digits| format!("{:.1}", (digits * 10.0).floor() / 10.0));
                let known = apart.iter().all(|comparison| matches!(comparison.verdict, Verdict::Difference(_)));
                let said = match (apart.is_empty(), known) {
                    (true, _) => "agrees",
                    (false, true) => "agrees, with a difference that is named",
                    (false, false) => "disagrees",
                };
                (comparisons.len().to_string(), digits, said.to_owned())
            }
        };
        let name = case.file.rsplit_once('/').map_or(case.file.as_str(), |(folder, _)| folder).to_owned();
        if protocol.packs.last().is_none_or(|pack| pack.name != name) {
            protocol.packs.push(PackOfCases { name, cases: Vec::new() });
        }
        if let Some(pack) = protocol.packs.last_mut() {
            pack.cases.push(CaseLine {
                case: case.case.clone(),
                kind: case.kind.clone(),
                source: case.source.clone(),
                figures,
                digits,
                verdict: said,
            });
        }
    }
    Ok((protocol, record))
}

fn figure_apart(case: &CaseReport, comparison: &Comparison) -> FigureApart {
    let (said, why) = verdict(&comparison.verdict);
    FigureApart {
        case: case.case.clone(),
        quantity: comparison.key.clone(),
        printed: shortened(&comparison.written),
        found: comparison.found.as_ref().map_or_else(|| "–".to_owned(), |found| shortened(&found.to_string())),
        tolerance: tolerance_text(comparison.tolerance),
        verdict: why.map_or_else(|| said.to_owned(), |why| format!("{said}: {why}")),
    }
}
