//! Which files hold which cases, and who runs them.
//!
//! A file is known by what stands in it, not by its name: a laboratory's own cases lie where it likes.

use crate::answer::{Answer, Found, Reason};
use crate::case_file::{Node, Read};
use crate::qualification::{Beside, Case, Ran};
use crate::stop::Stop;
use crate::{calibration, handbook, limits, physics, quality, records, uncertainty};

/// The packs, by who runs their cases.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pack {
    Calibration,
    Uncertainty,
    Quality,
    Limits,
    Records,
    Physics,
    Handbook,
    /// A kind that nothing here knows.
    Unknown,
}

/// Tables that hold data, rules or explanations, and no case.
const NO_CASES: &[&str] = &["meta", "rule", "rules", "source", "sources", "provenance", "note", "notes"];

/// The cases of a file.
pub(crate) fn cases<'a>(root: Node<'a>) -> Read<Vec<Case<'a>>> {
    // Rules and requirements are no cases.
    if root.text_or_none("kind") == "rules" && root.has("rules") {
        return Ok(Vec::new());
    }
    if root.has("kind") || (root.has("id") && (root.has("expected") || root.has("expect") || root.has("item"))) {
        return Ok(vec![single(root)?]);
    }
    let mut found = Vec::new();
    for entry in root.entries()?.into_iter().filter(|entry| !NO_CASES.contains(&entry.name())) {
        if entry.is_list_of_tables() {
            of_array(root, entry, &mut found)?;
        } else {
            of_table(root, entry, &mut found)?;
        }
    }
    Ok(found)
}

/// The cases of an array of tables, if it holds any.
fn of_array<'a>(root: Node<'a>, array: Node<'a>, found: &mut Vec<Case<'a>>) -> Read<()> {
    let name = array.name();
    let is_of_cases = name == "case" || name.ends_with("_case");
    for (place, node) in array.list()?.into_iter().enumerate() {
        if !node.is_table() {
            return Err(node.fault(format!("{name}: a table is wanted here")));
        }
        let (pack, kind) = match name {
            "case" if node.has("given") => (Pack::Physics, node.text_or_none("name").to_owned()),
            "case" if node.has("text") && node.has("expect") => (Pack::Records, "time".to_owned()),
            "case" => {
                let kind = node.text_of("kind")?;
                (if limits::knows(kind) { Pack::Limits } else { Pack::Unknown }, kind.to_owned())
            }
            "limit" | "pde" => (Pack::Limits, name.to_owned()),
            other if is_of_cases && limits::knows(other) => (Pack::Limits, other.to_owned()),
            other if records::knows(other) => (Pack::Records, other.to_owned()),
            other if handbook::knows(other) && holds_a_check(other, &node) => (Pack::Handbook, other.to_owned()),
            other if is_of_cases => (Pack::Unknown, other.to_owned()),
            _ => continue,
        };
        found.push(Case { pack, node, name: name_of(&node, name, place), kind, source: citation(&root, &node) });
    }
    Ok(())
}

/// Whether a row of a table of the handbook has something to compare, and is not the same word in another file.
fn holds_a_check(kind: &str, node: &Node<'_>) -> bool {
    match kind {
        "stock" => node.has("printed_mass_g"),
        "rollover" => node.has("sensitivity_ratio"),
        "element" => node.has("atomic_weight"),
        _ => false,
    }
}

/// Tables that are cases by themselves.
fn of_table<'a>(root: Node<'a>, table: Node<'a>, found: &mut Vec<Case<'a>>) -> Read<()> {
    let mut add = |node: Node<'a>, name: String, kind: &str| {
        let source = citation(&root, &table);
        found.push(Case { pack: Pack::Records, node, name, kind: kind.to_owned(), source });
    };
    match table.name() {
        "vectors8" | "number_stream" if table.is_table() => add(table, table.name().to_owned(), table.name()),
        "number_cases" if table.is_table() => {
            for row in table.list_or_none("row")? {
                add(row, row.text_of("ieee754")?.to_owned(), "number_row");
            }
            for row in table.list_or_none("refuse")? {
                add(row, row.text()?.to_owned(), "number_refusal");
            }
        }
        _ => {}
    }
    Ok(())
}

/// What a case of an array is called.
fn name_of(node: &Node<'_>, array: &str, place: usize) -> String {
    let named = ["id", "name", "text"].iter().find_map(|key| node.get(key)?.text().ok());
    if let Some(name) = named {
        return name.to_owned();
    }
    let of = ["symbol", "element"].iter().find_map(|key| node.get(key)?.text().ok());
    match (of, node.text_or_none("compound")) {
        (Some(of), "") => format!("{array} {} {of}", place + 1),
        (Some(of), compound) => format!("{array} {} {of}, {compound}", place + 1),
        (None, _) => format!("{array} {}", place + 1),
    }
}

/// A file that is one case.
fn single<'a>(root: Node<'a>) -> Read<Case<'a>> {
    let kind = root.text_of("kind")?;
    let stem = root.file_name().rsplit(['/', '\\']).next().unwrap_or("").trim_end_matches(".toml");
    let name = root.get("id").map_or(Ok(stem), |id| id.text())?;
    let pack = if quality::knows(kind) {
        Pack::Quality
    } else if calibration::knows(kind) {
        Pack::Calibration
    } else if uncertainty::knows(kind) {
        Pack::Uncertainty
    } else {
        Pack::Unknown
    };
    Ok(Case { pack, node: root, name: name.to_owned(), kind: kind.to_owned(), source: citation(&root, &root) })
}

/// The publication and the place in it: of the case, else of its file.
fn citation(root: &Node<'_>, node: &Node<'_>) -> String {
    if let Some(source) = node.get("source") {
        if let Ok(text) = source.text() {
            let clause = node.text_or_none("clause");
            return if clause.is_empty() { text.to_owned() } else { format!("{text}, {clause}") };
        }
        let mut parts: Vec<&str> = ["citation", "location"].iter().map(|key| source.text_or_none(key)).collect();
        parts.retain(|part| !part.is_empty());
        return if parts.is_empty() { source.text_or_none("detail").to_owned() } else { parts.join(", ") };
    }
    let Some(meta) = root.get("meta") else { return String::new() };
    if let Some(source) = meta.get("source").and_then(|source| source.text().ok()) {
        return source.to_owned();
    }
    let several = meta.get("sources").and_then(|sources| sources.list().ok()).unwrap_or_default();
    let several: Vec<&str> = several.iter().filter_map(|source| source.text().ok()).collect();
    if several.is_empty() { meta.text_or_none("title").to_owned() } else { several.join("; ") }
}

/// Runs a case.
pub(crate) fn run(case: &Case<'_>, root: Node<'_>, beside: &Beside<'_>) -> Ran {
    match case.pack {
        Pack::Calibration => calibration::run(&case.name, &case.kind, case.node, beside),
        Pack::Uncertainty => uncertainty::run(&case.name, &case.kind, case.node),
        Pack::Quality => quality::run(&case.name, &case.kind, case.node),
        Pack::Limits => limits::run(&case.name, &case.kind, case.node, root),
        Pack::Records => records::run(&case.name, &case.kind, case.node),
        Pack::Physics => physics::run(&case.name, case.node),
        Pack::Handbook => handbook::run(&case.name, &case.kind, case.node),
        Pack::Unknown => Ok(None),
    }
}

/// What answers a key.
pub(crate) type Answering = Box<dyn Fn(&str) -> Option<Result<Answer, Reason>>>;

/// What was computed as something to ask; a refusal answers every key with its reason.
pub(crate) fn settled(computed: Result<Found, Stop>) -> Read<Answering> {
    match computed {
        Ok(found) => Ok(Box::new(move |key| found.get(key))),
        Err(Stop::Refused(reason)) => Ok(Box::new(move |_| Some(Err(reason.clone())))),
        Err(Stop::Unknown) => Ok(Box::new(|_| None)),
        Err(Stop::Fault(fault)) => Err(fault),
    }
}
