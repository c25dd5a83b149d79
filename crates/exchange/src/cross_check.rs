//! The documents of an order held against each other: what one names, another must have.
//!
//! Each fault stands at the key that is to be mended. Portions of other orders may be prepared and measured together with
//! those of this one; they are pointed out, not turned back.

use std::collections::{BTreeMap, BTreeSet};

use darkline_metrology::kind::Kind;
use darkline_record::figure::with_article;
use darkline_record::identity::{BatchId, MethodId, PortionId};
use darkline_record::method::{Additions, OfSamples, ResolvedMethod};
use darkline_record::order::ResultKind;
use darkline_record::preparation::{Portion, PortionRole};
use darkline_record::run::RowHolds;

use crate::document::{Entered, place_of};
use crate::fault::{Fault, Faults, Severity};
use crate::folder::{Documents, EnteredRun};
use crate::nearest::meant;
use crate::sheet::{Sheet, ShowsLines};

/// What came of holding documents against each other.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Check {
    /// What has to be mended.
    pub faults: Option<Faults>,
    /// What somebody should look at.
    pub warnings: Vec<Fault>,
}

impl Check {
    fn take(&mut self, sheet: &Sheet<'_>) {
        let Some(found) = sheet.faults() else { return };
        for fault in found.listed() {
            match (fault.severity, &mut self.faults) {
                (Severity::Warning, _) => self.warnings.push(fault.clone()),
                (Severity::Error, Some(faults)) => faults.join(Faults::one(fault.clone())),
                (Severity::Error, none) => *none = Some(Faults::one(fault.clone())),
            }
        }
    }
}

/// Holds the documents of an order against each other.
pub fn check_documents(documents: &Documents) -> Check {
    let mut check = Check::default();
    check.take(&order(documents));
    for (place, preparation) in documents.preparations.iter().enumerate() {
        let sheet = preparation.sheet(ShowsLines::Yes);
        let twin =
            documents.preparations[..place].iter().find(|earlier| earlier.document.id == preparation.document.id);
        tell_twin(
            &sheet,
            preparation,
            twin.map(|twin| twin.file_name.as_str()),
            "preparation batch",
            &preparation.document.id,
        );
        let by_method = methods_of_portions(documents);
        for (n, portion) in preparation.document.portions.iter().enumerate() {
            let path = format!("portion[{n}]");
            look_up_sample(&sheet, documents, preparation, &path, portion);
            for method in by_method.get(&(&preparation.document.id, &portion.id)).into_iter().flatten() {
                if let Some(method) = documents.methods.iter().find(|known| known.document.id == **method) {
                    has_what_the_result_needs(&sheet, preparation, &path, portion, &method.document);
                }
            }
        }
        check.take(&sheet);
    }
    for (place, method) in documents.methods.iter().enumerate() {
        let sheet = method.sheet(ShowsLines::Yes);
        let twin = documents.methods[..place].iter().find(|earlier| earlier.document.id == method.document.id);
        tell_twin(&sheet, method, twin.map(|twin| twin.file_name.as_str()), "method", &method.document.id);
        check.take(&sheet);
    }
    for (place, run) in documents.runs.iter().enumerate() {
        let sheet = run.head.sheet(ShowsLines::Yes);
        let twin = documents.runs[..place].iter().find(|earlier| earlier.head.document.id == run.head.document.id);
        tell_twin(&sheet, &run.head, twin.map(|twin| twin.head.file_name.as_str()), "run", &run.head.document.id);
        method_exists(&sheet, documents, &run.head.document.method, place_of(&run.head.places, "method"));
        check.take(&sheet);
        check.take(&rows(documents, run));
    }
    check
}

fn tell_twin<T>(sheet: &Sheet<'_>, entered: &Entered<T>, twin: Option<&str>, what: &str, id: &impl ToString) {
    if let Some(twin) = twin {
        sheet.fault(
            place_of(&entered.places, "id"),
            format!("{what} \"{}\" is already in {twin}", id.to_string()),
            "name one of them otherwise",
        );
    }
}

fn method_exists(sheet: &Sheet<'_>, documents: &Documents, method: &MethodId, place: std::ops::Range<usize>) {
    if !documents.methods.iter().any(|known| known.document.id == *method) {
        let names: Vec<&str> = documents.methods.iter().map(|known| known.document.id.as_str()).collect();
        let hint = match names.as_slice() {
            [] => "the folder has no method; add a file method.toml".into(),
            names => meant(method.as_str(), names),
        };
        sheet.fault(place, format!("there is no method \"{method}\" in the folder"), hint);
    }
}

fn order(documents: &Documents) -> Sheet<'_> {
    let entered = &documents.order;
    let sheet = entered.sheet(ShowsLines::Yes);
    for (n, analyte) in entered.document.analytes.iter().enumerate() {
        let place = |key: &str| place_of(&entered.places, &format!("analyte[{n}].{key}"));
        method_exists(&sheet, documents, &analyte.method, place("method"));
        let Some(method) = documents.methods.iter().find(|known| known.document.id == analyte.method) else {
            continue;
        };
        let method = &method.document;
        if method.element != analyte.element {
            sheet.fault(
                place("method"),
                format!("method \"{}\" determines {}, not {}", method.id, method.element, analyte.element),
                "name a method for this element",
            );
        }
        if let Some(limit) = &analyte.limit
            && limit.at_most.kind() != method.result.kind
        {
            sheet.fault(
                place("limit.at_most"),
                format!(
                    "{} stands where {} is wanted",
                    with_article(limit.at_most.kind().words()),
                    with_article(method.result.kind.words())
                ),
                format!(
                    "method \"{}\" reports in {}; write the limit in such a unit, or name another method",
                    method.id, method.result.unit
                ),
            );
        }
    }
    sums(&sheet, documents);
    sheet
}

/// What is added has to be of one kind, and so is the limit of the sum.
fn sums(sheet: &Sheet<'_>, documents: &Documents) {
    let entered = &documents.order;
    let order = &entered.document;
    for (n, sum) in order.sums.iter().enumerate() {
        let place = |key: &str| place_of(&entered.places, &format!("sum[{n}].{key}"));
        let methods: Vec<&ResolvedMethod> = sum
            .elements
            .iter()
            .filter_map(|element| order.analytes.iter().find(|analyte| analyte.element == *element))
            .filter_map(|analyte| documents.methods.iter().find(|known| known.document.id == analyte.method))
            .map(|known| &known.document)
            .collect();
        let Some(first) = methods.first() else { continue };
        if let Some(other) = methods.iter().find(|method| method.result.kind != first.result.kind) {
            sheet.fault(
                place("elements"),
                format!(
                    "{} by method \"{}\" is {}, {} by method \"{}\" {}",
                    first.element,
                    first.id,
                    with_article(first.result.kind.words()),
                    other.element,
                    other.id,
                    with_article(other.result.kind.words())
                ),
                "add results of one kind",
            );
        }
        if let Some(limit) = &sum.limit
            && limit.at_most.kind() != first.result.kind
        {
            sheet.fault(
                place("limit.at_most"),
                format!(
                    "{} stands where {} is wanted",
                    with_article(limit.at_most.kind().words()),
                    with_article(first.result.kind.words())
                ),
                format!("method \"{}\" reports in {}; write the limit in such a unit", first.id, first.result.unit),
            );
        }
    }
}

fn look_up_sample<T>(
    sheet: &Sheet<'_>,
    documents: &Documents,
    preparation: &Entered<T>,
    path: &str,
    portion: &Portion,
) {
    let PortionRole::Sample { order, sample } = &portion.role else {
        return;
    };
    let own = &documents.order.document;
    if *order != own.id {
        sheet.warning(
            place_of(&preparation.places, &format!("{path}.order")),
            format!("portion \"{}\" belongs to order \"{order}\", which is not in this folder", portion.id),
            format!("if it is one of this order, write \"{}\"", own.id),
        );
    } else if !own.samples.iter().any(|known| known.id == *sample) {
        let names: Vec<&str> = own.samples.iter().map(|known| known.id.as_str()).collect();
        sheet.fault(
            place_of(&preparation.places, &format!("{path}.sample")),
            format!("there is no sample \"{sample}\" in order \"{order}\""),
            meant(sample.as_str(), &names),
        );
    }
}

/// The methods a portion is measured by; where no run has it yet, those its order asks for.
fn methods_of_portions(documents: &Documents) -> BTreeMap<(&BatchId, &PortionId), BTreeSet<&MethodId>> {
    let mut methods: BTreeMap<(&BatchId, &PortionId), BTreeSet<&MethodId>> = BTreeMap::new();
    for run in &documents.runs {
        for row in &run.rows.document {
            if let RowHolds::Portion { batch, portion, .. } = &row.holds {
                methods.entry((batch, portion)).or_default().insert(&run.head.document.method);
            }
        }
    }
    let order = &documents.order.document;
    for preparation in &documents.preparations {
        for portion in &preparation.document.portions {
            if matches!(&portion.role, PortionRole::Sample { order: of, .. } if *of == order.id) {
                methods
                    .entry((&preparation.document.id, &portion.id))
                    .or_insert_with(|| order.analytes.iter().map(|analyte| &analyte.method).collect());
            }
        }
    }
    methods
}

/// What the formula of a kind of result takes from the portion.
fn has_what_the_result_needs<T>(
    sheet: &Sheet<'_>,
    preparation: &Entered<T>,
    path: &str,
    portion: &Portion,
    method: &ResolvedMethod,
) {
    let kind = method.result.kind;
    if let PortionRole::Control { assigned, .. } = &portion.role
        && assigned.kind() != kind
    {
        sheet.fault(
            place_of(&preparation.places, &format!("{path}.assigned")),
            format!("{} stands where {} is wanted", with_article(assigned.kind().words()), with_article(kind.words())),
            format!(
                "method \"{}\" reports in {}; write the assigned value in such a unit",
                method.id, method.result.unit
            ),
        );
    }
    // A blank is held against its batch as a solution.
    if portion.role == PortionRole::MethodBlank {
        return;
    }
    let is_spike = matches!(portion.role, PortionRole::Spike { .. });
    let mass = ("mass", portion.mass.is_some(), "0.2500 g");
    let volume = ("volume", portion.volume.is_some(), "50 mL");
    let volume_taken = ("volume_taken", portion.volume_taken.is_some(), "20 mL");
    let needed = match kind {
        // It is a point of the line that its sample is read from; no result of its own follows.
        _ if is_spike && method.calibration.of_samples == OfSamples::StandardAdditions => {
            let grown = matches!(portion.role, PortionRole::Spike { added_volume: Some(_), .. });
            match method.calibration.additions {
                Additions::Successive => vec![volume, ("added_volume", grown, "0.10 mL")],
                _ => vec![volume],
            }
        }
        ResultKind::MassConcentration if is_spike || portion.volume.is_some() || portion.volume_taken.is_some() => {
            vec![volume_taken, volume]
        }
        ResultKind::MassConcentration => vec![],
        // Its mass stands beside each reading.
        ResultKind::MassFraction if method.solid.is_some() => vec![],
        ResultKind::MassFraction => vec![mass, volume],
        ResultKind::ReleasePerArea => vec![volume, ("area", portion.area.is_some(), "5.73 dm²")],
        ResultKind::AmountPerDose => vec![mass, volume, ("dose", portion.dose.is_some(), "0.50 g")],
    };
    for (key, is_there, example) in needed {
        if !is_there {
            sheet.fault(
                place_of(&preparation.places, path),
                format!(
                    "portion \"{}\" has no \"{key}\"; {} cannot be worked out without it",
                    portion.id,
                    with_article(kind.words())
                ),
                format!("write {key} = \"{example}\""),
            );
        }
    }
}

fn rows<'d>(documents: &'d Documents, run: &'d EnteredRun) -> Sheet<'d> {
    let entered = &run.rows;
    let sheet = entered.sheet(ShowsLines::No);
    for (n, row) in entered.document.iter().enumerate() {
        let RowHolds::Portion { batch, portion, .. } = &row.holds else {
            continue;
        };
        let Some(preparation) = documents.preparations.iter().find(|known| known.document.id == *batch) else {
            let names: Vec<&str> = documents.preparations.iter().map(|known| known.document.id.as_str()).collect();
            sheet.fault(
                place_of(&entered.places, &format!("row[{n}].batch")),
                format!("there is no preparation batch \"{batch}\" in the folder"),
                match names.as_slice() {
                    [] => "add a file preparation.toml".into(),
                    names => meant(batch.as_str(), names),
                },
            );
            continue;
        };
        let names: Vec<&str> = preparation.document.portions.iter().map(|known| known.id.as_str()).collect();
        if !names.contains(&portion.as_str()) {
            sheet.fault(
                place_of(&entered.places, &format!("row[{n}].portion")),
                format!("there is no portion \"{portion}\" in preparation batch \"{batch}\""),
                meant(portion.as_str(), &names),
            );
        }
    }
    two_levels(&sheet, entered);
    sheet
}

fn two_levels(sheet: &Sheet<'_>, entered: &Entered<Vec<darkline_record::run::Row>>) {
    let mut levels: Vec<f64> = Vec::new();
    let (mut first, mut shown) = (0..0, None);
    for (n, row) in entered.document.iter().enumerate() {
        let level = match &row.holds {
            RowHolds::CalibrationBlank => 0.0,
            RowHolds::Standard { amount } => {
                shown.get_or_insert_with(|| amount.value.to_string());
                amount.value.value().si()
            }
            _ => continue,
        };
        if levels.is_empty() {
            first = place_of(&entered.places, &format!("row[{n}]"));
        }
        if !levels.contains(&level) {
            levels.push(level);
        }
    }
    match (levels.len(), shown) {
        (0, _) => sheet.fault(
            first,
            "no row is a standard; nothing can be calibrated",
            "add rows with the role \"standard\", on two levels or more",
        ),
        (1, Some(level)) => sheet.fault(
            first,
            format!("every standard has {level}; a line needs a second level"),
            "add a standard of another amount, or a calibration blank",
        ),
        (1, None) => sheet.fault(
            first,
            "there is a calibration blank and no standard; a line needs a second level",
            "add a row with the role \"standard\"",
        ),
        _ => {}
    }
}
