//! The part `[background]` of a method: what corrects for background, its roll-over, and the lines beside the analytical one.

use darkline_metrology::kind::{Factor, Kind, Wavelength};
use darkline_record::figure::Written;
use darkline_record::method::{
    BackgroundCorrection, CorrectedBy, MiddleField, NeighbourLine, ResponseKind, RollOverCurve,
};

use crate::document::figure::Wanted;
use crate::document::gathering::{all, transposed};
use crate::document::section::{Entry, Section};
use crate::order::element;

/// Reads the part.
///
/// # Arguments
/// * `kind`: of the method's response; only an area can be restored.
pub(crate) fn read(section: &Section<'_>, kind: Option<ResponseKind>) -> Option<BackgroundCorrection> {
    let by = corrected_by(section);
    let is_field = matches!(by, Some(CorrectedBy::MagneticField { .. }) | None);
    let roll_over = section.optional("roll_over").map(|entry| {
        let form = "roll_over = { net_absorbance = \"1.20\", u_net_absorbance = \"0.012\", sensitivity_ratio = \"0.85\", \
                    u_sensitivity_ratio = \"0.005\" }";
        let curve = entry.section(form).and_then(|section| roll_over(&section));
        if !is_field {
            entry.fault(
                "a roll-over stands beside a continuum, which has none",
                "take it away, or write corrected_by = \"magnetic field\"",
            );
            return None;
        }
        if let Some(kind) = kind.filter(|kind| *kind != ResponseKind::IntegratedAbsorbance) {
            entry.fault(
                format!("a pulse is restored by its area, and the response is {}", kind.words()),
                "take roll_over away, or write kind = \"integrated absorbance\"",
            );
            return None;
        }
        curve
    });
    let neighbours = section.sections("neighbour", "[[background.neighbour]]");
    let neighbours: Vec<Option<NeighbourLine>> = neighbours.iter().map(neighbour).collect();
    section.close();
    Some(BackgroundCorrection { by: by?, roll_over: transposed(roll_over)?, neighbours: all(neighbours)? })
}

fn corrected_by(section: &Section<'_>) -> Option<CorrectedBy> {
    let [field, continuum] = CorrectedBy::WORDS;
    let word =
        section.required("corrected_by", "\"magnetic field\"").and_then(|entry| {
            entry.one_of("correction for background", &[true, false], |is_field| {
                if is_field { "magnetic field" } else { "continuum" }
            })
        })?;
    let (mine, name, other, example) =
        if word { (field, "shift", "bandpass", "\"4.2 pm\"") } else { (continuum, "bandpass", "shift", "\"0.7 nm\"") };
    section.without(other, &format!("beside corrected_by = \"{mine}\""));
    let width: Written<Wavelength> =
        section.required(name, example).and_then(|entry| entry.figure(Wanted::Positive))?;
    Some(if word { CorrectedBy::MagneticField { shift: width } } else { CorrectedBy::Continuum { bandpass: width } })
}

fn roll_over(section: &Section<'_>) -> Option<RollOverCurve> {
    let net_absorbance =
        section.required("net_absorbance", "\"1.20\"").and_then(|entry| entry.figure(Wanted::Positive));
    let u_net_absorbance =
        section.required("u_net_absorbance", "\"0.012\"").and_then(|entry| entry.figure(Wanted::NotNegative));
    let ratio = section.required("sensitivity_ratio", "\"0.85\"");
    let sensitivity_ratio: Option<Written<Factor>> = ratio.as_ref().and_then(|entry| entry.figure(Wanted::Positive));
    let u_sensitivity_ratio =
        section.required("u_sensitivity_ratio", "\"0.005\"").and_then(|entry| entry.figure(Wanted::NotNegative));
    let middle = section.optional("middle_field");
    let middle_field = middle.as_ref().map(|entry| middle_field(entry));
    section.close();
    let (ratio, sensitivity_ratio) = (ratio?, sensitivity_ratio?);
    if sensitivity_ratio.value().si() >= 1.0 {
        ratio.fault(
            format!(
                "a sensitivity ratio of {sensitivity_ratio} leaves no analyte in the field, and nothing rolls over"
            ),
            "write the slope with the field over the slope without, below 1",
        );
        return None;
    }
    let middle_field = transposed(middle_field)?;
    if let (Some(entry), Some(field)) = (middle, &middle_field)
        && field.leaves.value().si() <= 1.0 - sensitivity_ratio.value().si()
    {
        entry.fault(
            format!(
                "the middle field leaves {} of the absorbance, no more than the full field with a sensitivity ratio of \
                 {sensitivity_ratio}",
                field.leaves
            ),
            "write a part above 1 less the sensitivity ratio",
        );
        return None;
    }
    Some(RollOverCurve {
        net_absorbance: net_absorbance?,
        u_net_absorbance: u_net_absorbance?,
        sensitivity_ratio,
        u_sensitivity_ratio: u_sensitivity_ratio?,
        middle_field,
    })
}

fn middle_field(entry: &Entry<'_>) -> Option<MiddleField> {
    let section = entry.section("middle_field = { leaves = \"0.30\", u_leaves = \"0.003\" }")?;
    let part = section.required("leaves", "\"0.30\"");
    let leaves: Option<Written<Factor>> = part.as_ref().and_then(|entry| entry.figure(Wanted::Positive));
    let u_leaves = section.required("u_leaves", "\"0.003\"").and_then(|entry| entry.figure(Wanted::NotNegative));
    section.close();
    let (part, leaves) = (part?, leaves?);
    if leaves.value().si() >= 1.0 {
        part.fault(format!("a middle field that leaves {leaves} takes nothing away"), "write a part below 1");
        return None;
    }
    Some(MiddleField { leaves, u_leaves: u_leaves? })
}

fn neighbour(section: &Section<'_>) -> Option<NeighbourLine> {
    let element = section.required("element", "\"Fe\"").and_then(|entry| element(&entry));
    let line = section.required("line", "\"217.81 nm\"").and_then(|entry| entry.figure(Wanted::Positive));
    let away = section.required("away", "\"-13.0 pm\"").and_then(|entry| entry.figure(Wanted::Any));
    let level = section.optional("lower_level_per_cm").map(|entry| entry.figure(Wanted::NotNegative));
    section.close();
    Some(NeighbourLine { element: element?, line: line?, away: away?, lower_level_per_cm: transposed(level)? })
}
