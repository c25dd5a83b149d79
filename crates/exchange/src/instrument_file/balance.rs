//! A balance's file: weighings read through a column mapping, and laid into a preparation document as a proposal.
//!
//! [`read_mapping`] reads how the balance writes, `darkline/balance/1`; [`read`] the weighings of a file; [`propose`] the
//! preparation document with their masses, every other letter as it was. A person looks at it and opens it: only then it is in
//! the record.
//!
//! A portion that was weighed twice gets its last mass, and both are told. A weighing of nothing in the document is told too:
//! it may be the tare, or another order's.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Kind, Mass};
use darkline_record::figure::Written;

use crate::document;
use crate::document::section::Section;
use crate::fault::{Fault, Faults, quoted};
use crate::instrument_file::code_page::{CodePage, plain};
use crate::instrument_file::mapping;
use crate::instrument_file::number::{NumberCell, Writing, read as number};
use crate::instrument_file::parting::{Record, Separator, records};
use crate::instrument_file::received::Aside;
use crate::preparation;

/// How a balance writes its weighings.
#[derive(Clone, Debug)]
pub struct BalanceMapping {
    /// How letters are written.
    pub code_page: CodePage,
    separator: Separator,
    writing: Writing,
    id: String,
    mass: String,
    unit: UnitPlace,
    moment: Option<String>,
}

#[derive(Clone, Debug)]
enum UnitPlace {
    /// The same throughout.
    Always(String),
    /// In a column of its own.
    Column(String),
    /// Behind the figure in the same cell.
    Behind,
}

/// One weighing.
#[derive(Clone, Debug, PartialEq)]
pub struct Weighing {
    /// The file and the line it stands on.
    pub line: (String, usize),
    /// What was weighed, as the balance has it.
    pub id: String,
    /// Its mass.
    pub mass: Written<Mass>,
    /// When, as the balance wrote it; empty where it did not.
    pub at: String,
}

/// Weighings of a file, and rows that are none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Weighings {
    /// The weighings in the order of the file.
    pub weighings: Vec<Weighing>,
    /// Rows set aside, each with its reason.
    pub aside: Vec<Aside>,
}

/// A preparation document with masses laid in.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposed {
    /// Its text: as it was, but for the masses.
    pub text: String,
    /// The portions that got a mass, each with its weighing.
    pub weighed: Vec<(String, Weighing)>,
    /// Portions of which nothing was weighed.
    pub not_weighed: Vec<String>,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// Reads a mapping of a balance.
///
/// # Errors
/// All faults of the text.
pub fn read_mapping(file_name: &str, text: &str) -> Result<BalanceMapping, Faults> {
    document::read(file_name, text, "balance", v1).map(|entered| entered.document)
}

fn v1(top: &Section<'_>) -> Option<BalanceMapping> {
    let _ = top.required("id", "\"balance-1\"").and_then(|entry| entry.text())?;
    let file = top.section("file").and_then(|section| mapping::file(&section));
    let columns = top.section("columns");
    let columns = columns.and_then(|section| {
        let id = section.required("id", "\"Sample ID\"").and_then(|entry| entry.text());
        let mass = section.required("mass", "\"Net\"").and_then(|entry| entry.text());
        let column = section.optional("unit").map(|entry| entry.text());
        let always = section.optional("unit_is").map(|entry| {
            let words = ["g", "mg", "µg"];
            entry.one_of("unit of mass", &words, |word| word)
        });
        let moment = section.optional("at").map(|entry| entry.text());
        section.close();
        let unit = match (column, always) {
            (Some(column), None) => UnitPlace::Column(column?),
            (None, Some(always)) => UnitPlace::Always(always?.to_owned()),
            (None, None) => UnitPlace::Behind,
            (Some(_), Some(_)) => {
                section.sheet().fault(section.span(), "unit and unit_is stand together", "keep one of them");
                return None;
            }
        };
        let moment = match moment {
            Some(moment) => Some(moment?),
            None => None,
        };
        Some((id?, mass?, unit, moment))
    });
    top.close();
    let (code_page, separator, writing, _) = file?;
    let (id, mass, unit, moment) = columns?;
    Some(BalanceMapping { code_page, separator, writing, id, mass, unit, moment })
}

/// Reads the weighings of a file.
///
/// # Errors
/// A file in which no line has the columns of the mapping.
pub fn read(file: &str, text: &str, mapping: &BalanceMapping) -> Result<Weighings, Faults> {
    let mut found = Weighings::default();
    let mut head: Option<Vec<String>> = None;
    let place = |head: &[String], name: &str| head.iter().position(|cell| *cell == plain(name));
    // The last line without an end may still be growing.
    let is_unfinished = !text.ends_with(['\n', '\r']);
    let records = records(text, &mapping.separator);
    let last_line = records.last().map_or(0, |record| record.line);
    for record in &records {
        let cells: Vec<String> = record.cells.iter().map(|cell| plain(cell)).collect();
        if place(&cells, &mapping.id).is_some() && place(&cells, &mapping.mass).is_some() {
            head = Some(cells);
            continue;
        }
        let Some(head) = &head else { continue };
        if is_unfinished && record.line == last_line {
            break;
        }
        let cell = |name: &str| {
            let place = place(head, name);
            place.and_then(|place| record.cells.get(place)).map_or("", String::as_str)
        };
        match weighing(file, record, &cell, mapping) {
            Ok(weighing) => found.weighings.push(weighing),
            Err(why) => found.aside.push(Aside { line: record.line, row: record.shown(), why }),
        }
    }
    if head.is_none() {
        let what = format!("no line has the columns {} and {}", quoted(&mapping.id), quoted(&mapping.mass));
        let hint = "look whether separator, code page and file are the right ones";
        return Err(Faults::one(Fault::of_file(file, what, hint)));
    }
    Ok(found)
}

fn weighing<'c>(
    file: &str,
    record: &Record,
    cell: &dyn Fn(&str) -> &'c str,
    mapping: &BalanceMapping,
) -> Result<Weighing, String> {
    let id = cell(&mapping.id);
    if id.is_empty() {
        return Err("nothing says what was weighed".into());
    }
    let written = cell(&mapping.mass);
    let (figure, unit) = match &mapping.unit {
        UnitPlace::Always(unit) => (written, unit.as_str()),
        UnitPlace::Column(column) => (written, cell(column)),
        UnitPlace::Behind => {
            let length = written.trim_end_matches(|c: char| c.is_alphabetic()).len();
            let (figure, unit) = written.split_at(length);
            (figure.trim(), unit)
        }
    };
    // A balance that has not come to rest marks its figure.
    let NumberCell::Digits(digits) = number(figure, mapping.writing) else {
        return Err(format!("{} is no mass", quoted(written)));
    };
    let kind = Mass::unit(unit).ok_or_else(|| format!("{} is no unit of mass", quoted(unit)))?;
    let mass = Written::in_unit(&digits, kind).map_err(|fault| fault.to_string())?;
    let mass = mass.positive().map_err(|fault| fault.to_string())?;
    let at = mapping.moment.as_deref().map_or("", cell).to_owned();
    Ok(Weighing { line: (file.to_owned(), record.line), id: id.to_owned(), mass, at })
}

/// Lays weighings into a preparation document.
///
/// # Errors
/// A document with faults.
pub fn propose(file_name: &str, text: &str, weighings: &[Weighing]) -> Result<Proposed, Faults> {
    let batch = preparation::read(file_name, text)?;
    let ids: Vec<String> = batch.portions.iter().map(|portion| portion.id.to_string()).collect();
    let mut last: BTreeMap<&str, &Weighing> = BTreeMap::new();
    let mut notes = Vec::new();
    for weighing in weighings {
        let Some(id) = ids.iter().find(|id| plain(id) == plain(&weighing.id)) else {
            let (file, line) = &weighing.line;
            notes.push(format!("{file}, line {line}: {} is no portion of batch {}", quoted(&weighing.id), batch.id));
            continue;
        };
        if let Some(before) = last.insert(id, weighing)
            && before.mass != weighing.mass
        {
            notes.push(format!(
                "{id} was weighed as {} and later as {}; the later one is proposed",
                before.mass, weighing.mass
            ));
        }
    }
    let mut laid = String::new();
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let mut inside: Option<&Weighing> = None;
    for (place, line) in lines.iter().enumerate() {
        let key = line.split('=').next().unwrap_or("").trim();
        if line.trim_start().starts_with('[') {
            inside = None;
        }
        if key == "mass"
            && let Some(weighing) = inside
        {
            laid.push_str(&with_mass(line, &weighing.mass));
            continue;
        }
        laid.push_str(line);
        if key == "id"
            && let Some(id) = ids.iter().find(|id| line.contains(&format!("\"{id}\"")))
        {
            inside = last.get(id.as_str()).copied();
            let block = lines[place + 1..].iter().take_while(|line| !line.trim_start().starts_with('['));
            let has_mass = block.clone().any(|line| line.split('=').next().unwrap_or("").trim() == "mass");
            if let Some(weighing) = inside.filter(|_| !has_mass) {
                let end = if line.ends_with("\r\n") { "\r\n" } else { "\n" };
                laid.push_str(&format!("mass = \"{}\"{end}", weighing.mass));
            }
        }
    }
    // What was laid in has to say what the balance said; a document written in a way of its own is left to a person.
    let read = preparation::read(file_name, &laid)?;
    let mut weighed = Vec::new();
    for portion in &read.portions {
        let id = portion.id.to_string();
        let Some(weighing) = last.get(id.as_str()) else { continue };
        if portion.mass.as_ref().is_none_or(|mass| mass.value != weighing.mass) {
            let what = format!("the mass of portion {id} could not be laid in");
            let hint = format!("write it by hand: mass = \"{}\"", weighing.mass);
            return Err(Faults::one(Fault::of_file(file_name, what, hint)));
        }
        weighed.push((id, (*weighing).clone()));
    }
    let not_weighed = ids.iter().filter(|id| !last.contains_key(id.as_str())).cloned().collect();
    Ok(Proposed { text: laid, weighed, not_weighed, notes })
}

/// A line `mass = …` with another mass; what stands beside it, its uncertainty above all, stays.
fn with_mass(line: &str, mass: &Written<Mass>) -> String {
    // The first text in quotation marks is the mass: alone, or the value of a table that states its uncertainty.
    let from = line.find("value").unwrap_or(0);
    let opens = line[from..].find('"').map(|place| from + place);
    let closes = opens.and_then(|opens| line[opens + 1..].find('"').map(|place| opens + 1 + place));
    match (opens, closes) {
        (Some(opens), Some(closes)) => format!("{}{mass}{}", &line[..=opens], &line[closes..]),
        _ => line.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const MAPPING: &str = "\
format = \"darkline/balance/1\"
id = \"balance-1\"

[file]
code_page = \"windows-1252\"
separator = \"semicolon\"
decimal_sign = \",\"

[columns]
id = \"Probe\"
mass = \"Netto\"
at = \"Zeit\"
";
    fn weighings(text: &str) -> Weighings {
        read("b.csv", text, &read_mapping("balance.toml", MAPPING).unwrap()).unwrap()
    }

    fn batch() -> String {
        // The keys of the shipped document, so that this test does not have to know them all.
        let demo = include_str!("../../../../demo/preparation.toml");
        demo.to_owned()
    }

    #[test]
    fn weighings_are_laid_into_the_document_and_all_else_stays() {
        let found = weighings(
            "Waage 1\r\nProbe;Netto;Zeit\r\nP1-03;0,5101 g;09:14\r\np1-04;498,7 mg;09:16\r\nTara;0,0001 g;09:10\r\n",
        );
        assert_eq!(found.weighings.len(), 3);
        let proposed = propose("preparation.toml", &batch(), &found.weighings).unwrap();
        assert!(proposed.text.contains("mass = { value = \"0.5101 g\", u = \"0.0002 g\" }"), "{}", proposed.text);
        assert!(proposed.text.contains("mass = { value = \"498.7 mg\", u = \"0.0002 g\" }"), "{}", proposed.text);
        assert_eq!(proposed.text.lines().count(), batch().lines().count());
        let changed = proposed.text.lines().zip(batch().lines()).filter(|(now, before)| now != before).count();
        assert_eq!((changed, proposed.weighed.len()), (2, 2));
        assert_eq!(proposed.notes, ["b.csv, line 5: \"Tara\" is no portion of batch P1"]);
        assert!(proposed.not_weighed.contains(&"P1-02".to_owned()));
    }

    #[test]
    fn a_mass_that_is_not_there_is_added_below_the_name() {
        let without: String =
            batch().lines().filter(|line| !line.starts_with("mass")).map(|line| format!("{line}\n")).collect();
        let found = weighings("Probe;Netto\nP1-03;0,5101 g\n");
        match propose("preparation.toml", &without, &found.weighings) {
            Ok(proposed) => {
                assert!(proposed.text.contains("id = \"P1-03\"\nmass = \"0.5101 g\"\n"), "{}", proposed.text)
            }
            // A document that asks for the other masses is told as it is.
            Err(faults) => assert!(faults.to_string().contains("mass"), "{faults}"),
        }
    }

    #[test]
    fn a_second_weighing_and_what_is_no_mass_are_told() {
        let found = weighings(
            "Probe;Netto\nP1-03;0,5101 g\nP1-03;0,5103 g\nP1-04;0,49?? g\nP1-05;-0,5 g\nP1-06;0,5 kg\n;1 g\n",
        );
        assert_eq!((found.weighings.len(), found.aside.len()), (3, 3), "{:?}", found);
        let proposed = propose("preparation.toml", &batch(), &found.weighings[..2]).unwrap();
        assert_eq!(proposed.notes, ["P1-03 was weighed as 0.5101 g and later as 0.5103 g; the later one is proposed"]);
    }

    proptest! {
        #[test]
        fn any_file_is_weighings_or_not(text in "(Probe;Netto\n)?[P1;,g0-9 \n\"-]{0,60}") {
            let mapping = read_mapping("balance.toml", MAPPING).unwrap();
            if let Ok(found) = read("b.csv", &text, &mapping) {
                let _ = propose("preparation.toml", &batch(), &found.weighings);
            }
        }
    }
}
