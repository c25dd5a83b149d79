//! `method.toml`, format `darkline/method/1`: the method as resolved on the day.

use darkline_metrology::kind::{Duration, Factor, Kind, Response};
use darkline_record::figure::{NamedFactor, Uncertain, Written, with_article};
use darkline_record::limits::Limits;
use darkline_record::method::{
    BlankPlan, CheckPlan, CodedReason, Condition, PulseWindow, ReplicatePlan, ResolvedMethod, ResponseKind,
    ResponsePlan, ResultPlan, Subtract, Technique, Weights,
};
use darkline_record::order::ResultKind;

use crate::document::figure::Wanted;
use crate::document::gathering::{Distinct, all, transposed};
use crate::document::section::{Entry, Section};
use crate::document::{self, Entered};
use crate::fault::{Faults, quoted};
use crate::limits;
use crate::order::{element, result_unit};
use crate::{background_correction, calibration_plan, detection_limits, solid, uncertainty_plan};

/// Reads a method.
///
/// # Errors
/// All faults of the text.
pub fn read(file_name: &str, text: &str) -> Result<ResolvedMethod, Faults> {
    enter(file_name, text).map(|entered| entered.document)
}

/// Reads a method and keeps its text beside it.
///
/// # Errors
/// As for [`read`].
pub fn enter(file_name: &str, text: &str) -> Result<Entered<ResolvedMethod>, Faults> {
    document::read(file_name, text, "method", v1)
}

fn v1(top: &Section<'_>) -> Option<ResolvedMethod> {
    let id = top.required("id", "\"cadmium\"").and_then(|entry| entry.parsed());
    let version = top.required("version", "\"1\"").and_then(|entry| entry.text());
    let title = top.required("title", "\"…\"").and_then(|entry| entry.text());
    let element = top.required("element", "\"Cd\"").and_then(|entry| element(&entry));
    let technique = top
        .required("technique", "\"furnace\"")
        .and_then(|entry| entry.one_of("technique", &[Technique::Flame, Technique::Furnace], Technique::word));
    let line = top.optional("line").map(|entry| entry.figure(Wanted::Positive));
    let response = top.section("response").and_then(|section| response(&section));
    let kind = response.as_ref().map(|plan| plan.kind);
    let calibration = top.section("calibration").and_then(|section| calibration_plan::read(&section, kind));
    let weights = calibration.as_ref().map(|plan| &plan.weights);
    let background =
        top.optional_section("background", "[background]").map(|section| background_correction::read(&section, kind));
    let replicates = top.section("replicates").and_then(|section| replicates(&section, kind, weights));
    let blank = top.section("blank").and_then(|section| blank(&section));
    let check = top.section("check").and_then(|section| check(&section));
    let u_dilution = top.optional("u_dilution").map(|entry| entry.figure(Wanted::NotNegative));
    let result = top.section("result").and_then(|section| result(&section));
    let detection_limits = top
        .optional_section("detection_limits", "[detection_limits]")
        .map(|section| detection_limits::read(&section, calibration.as_ref()));
    let uncertainty =
        top.optional_section("uncertainty", "[uncertainty]").map(|section| uncertainty_plan::read(&section));
    let limits = match top.optional_section("limits", "[limits]") {
        Some(section) => limits::read(&section),
        None => Some(Limits::default()),
    };
    let solid = match top.optional_section("solid", "[solid]") {
        Some(section) => solid::read(&section).map(Some),
        None => Some(None),
    };
    let mut set: Vec<String> = Vec::new();
    let conditions: Vec<Option<Condition>> = top
        .sections("condition", "[[condition]]")
        .iter()
        .map(|section| {
            let entry = section.required("name", "\"pyrolysis temperature\"");
            let name = entry.as_ref().and_then(Entry::text);
            if let (Some(entry), Some(name)) = (entry, &name) {
                if set.contains(name) {
                    entry.fault(format!("there is a condition {} already", quoted(name)), "keep one of them");
                }
                set.push(name.clone());
            }
            let value = section.required("value", "\"800 °C\"").and_then(|entry| entry.text());
            let origin = section.optional("origin").map(|entry| entry.text());
            section.close();
            Some(Condition { name: name?, value: value?, origin: transposed(origin)? })
        })
        .collect();
    let mut codes = Distinct::<String>::new("reason");
    let reasons: Vec<Option<CodedReason>> = top
        .sections("reason", "[[reason]]")
        .iter()
        .map(|section| {
            let code = section.required("code", "\"droplet\"");
            let text = section.required("text", "\"…\"").and_then(|entry| entry.text());
            section.close();
            Some(CodedReason { code: codes.parsed(top.sheet(), &code?)?, text: text? })
        })
        .collect();
    top.close();
    Some(ResolvedMethod {
        id: id?,
        version: version?,
        title: title?,
        element: element?,
        technique: technique?,
        line: transposed(line)?,
        response: response?,
        calibration: calibration?,
        background: transposed(background)?,
        replicates: replicates?,
        blank: blank?,
        check: check?,
        u_dilution: transposed(u_dilution)?,
        result: result?,
        detection_limits: transposed(detection_limits)?,
        uncertainty: transposed(uncertainty)?,
        limits: limits?,
        solid: solid?,
        conditions: all(conditions)?,
        reasons: all(reasons)?,
    })
}

fn response(section: &Section<'_>) -> Option<ResponsePlan> {
    let kind = section
        .required("kind", "\"integrated absorbance\"")
        .and_then(|entry| entry.one_of("kind of response", &ResponseKind::ALL, ResponseKind::words));
    let baseline = section.optional("baseline");
    let integration = section.optional("integration");
    // A steady reading has no baseline: its zero is that of a blank.
    let is_steady = kind == Some(ResponseKind::Absorbance);
    for (one, other) in [(&baseline, "integration"), (&integration, "baseline")] {
        if let Some(entry) = one
            && (baseline.is_none() || integration.is_none())
            && !(is_steady && other == "baseline")
        {
            entry.fault(
                format!("\"{}\" stands here without \"{other}\"", entry.name()),
                format!("write {other} = {{ from = \"…\", to = \"…\" }}, or take both away"),
            );
        }
    }
    let baseline = baseline.map(|entry| (span_of_time(&entry), entry));
    let integration = integration.map(|entry| integration_limits(&entry, is_steady));
    section.close();
    let window = match (baseline, integration) {
        (Some((baseline, entry)), Some(integration)) => {
            let ((baseline_from, baseline_to), ((from, to), by_standards)) = baseline.zip(integration)?;
            if baseline_to.value().si() > from.value().si() {
                entry.fault(
                    format!("the baseline, until {baseline_to}, reaches into the integration, from {from}"),
                    "end it where the integration starts, or before",
                );
                return None;
            }
            Some(PulseWindow { baseline_from, baseline_to, from, to, by_standards })
        }
        (None, Some(integration)) if is_steady => {
            let ((from, to), by_standards) = integration?;
            Some(PulseWindow { baseline_from: from.clone(), baseline_to: from.clone(), from, to, by_standards })
        }
        (None, None) => None,
        _ => return None,
    };
    Some(ResponsePlan { kind: kind?, window })
}

/// Start and end of a span of time.
type Ends = (Written<Duration>, Written<Duration>);

fn span_of_time(entry: &Entry<'_>) -> Option<Ends> {
    let section = entry.section(&format!("{} = {{ from = \"0 s\", to = \"5 s\" }}", entry.name()))?;
    let span = ends_of(&section);
    section.close();
    span
}

/// The widest limits, and whether the standards narrow them for the whole run.
fn integration_limits(entry: &Entry<'_>, is_steady: bool) -> Option<(Ends, bool)> {
    let section = entry.section("integration = { from = \"0 s\", to = \"5 s\" }")?;
    let span = ends_of(&section);
    let narrowed = match section.optional("narrowed_by") {
        None => Some(false),
        Some(entry) if is_steady => {
            entry.fault("a steady reading has no pulse that could narrow its limits", "take narrowed_by away");
            None
        }
        Some(entry) => entry.one_of("narrower of limits", &[true], |_| "standards"),
    };
    section.close();
    Some((span?, narrowed?))
}

fn ends_of(section: &Section<'_>) -> Option<Ends> {
    let from: Option<Written<Duration>> =
        section.required("from", "\"0 s\"").and_then(|entry| entry.figure(Wanted::Any));
    let end = section.required("to", "\"5 s\"");
    let to: Option<Written<Duration>> = end.as_ref().and_then(|entry| entry.figure(Wanted::Any));
    let (from, to) = from.zip(to)?;
    if to.value().si() <= from.value().si() {
        end?.fault(format!("this window ends at {to} and starts at {from}"), "write an end behind its start");
        return None;
    }
    Some((from, to))
}

fn replicates(section: &Section<'_>, kind: Option<ResponseKind>, weights: Option<&Weights>) -> Option<ReplicatePlan> {
    let n = section.required("n", "3").and_then(|entry| entry.whole(1..=255));
    let at_zero = section.required("sd_at_zero", "\"0.0010\"");
    let sd_at_zero: Option<Written<Response>> = at_zero.as_ref().and_then(|entry| entry.figure(Wanted::NotNegative));
    let rsd: Option<Written<Factor>> =
        section.required("rsd", "\"2 %\"").and_then(|entry| entry.figure(Wanted::NotNegative));
    section.close();
    let (entry, sd_at_zero, rsd) = (at_zero?, sd_at_zero?, rsd?);
    if let Some(kind) = kind
        && !is_a_response(&entry, &sd_at_zero, kind)
    {
        return None;
    }
    if weights == Some(&Weights::Repeatability) && sd_at_zero.value().si() == 0.0 {
        entry.fault(
            "readings are weighted by a repeatability that is zero at the lowest amounts",
            "write the standard deviation of the response of a blank, or weights = \"equal\"",
        );
        return None;
    }
    Some(ReplicatePlan { n: u8::try_from(n?).ok()?, sd_at_zero, rsd })
}

/// Whether a figure has the unit of the responses; where it has not, that is told.
pub(crate) fn is_a_response(entry: &Entry<'_>, figure: &Written<Response>, kind: ResponseKind) -> bool {
    if figure.unit().symbol() == kind.unit_symbol() {
        return true;
    }
    let (what, unit) = match kind.unit_symbol() {
        "1" => ("a pure number", String::new()),
        symbol => ("a figure in s", format!(" {symbol}")),
    };
    entry.fault(
        format!("the response is {}, {what}; {figure} is none", kind.words()),
        format!("write {} = \"{}{unit}\"", entry.name(), figure.digits()),
    );
    false
}

fn blank(section: &Section<'_>) -> Option<BlankPlan> {
    let highest = section.optional("highest").map(|entry| entry.figure(Wanted::NotNegative));
    let subtract = section.required("subtract", "\"method blank\"").and_then(|entry| {
        entry.one_of("blank that can be subtracted", &[Subtract::Nothing, Subtract::MethodBlank], Subtract::words)
    });
    section.close();
    Some(BlankPlan { highest: transposed(highest)?, subtract: subtract? })
}

fn check(section: &Section<'_>) -> Option<CheckPlan> {
    let lowest: Option<Written<Factor>> =
        section.required("lowest", "\"90 %\"").and_then(|entry| entry.figure(Wanted::NotNegative));
    let top = section.required("highest", "\"110 %\"");
    let highest: Option<Written<Factor>> = top.as_ref().and_then(|entry| entry.figure(Wanted::Positive));
    let control_lowest = section.optional("control_lowest").map(|entry| entry.figure(Wanted::NotNegative));
    let control_top = section.optional("control_highest");
    let control_highest = control_top.as_ref().map(|entry| entry.figure(Wanted::Positive));
    section.close();
    let (lowest, highest) = (lowest?, highest?);
    let (control_lowest, control_highest) = (transposed(control_lowest)?, transposed(control_highest)?);
    let above = |entry: Option<Entry<'_>>, low: &Written<Factor>, high: &Written<Factor>| {
        if high.value().si() <= low.value().si()
            && let Some(entry) = entry
        {
            entry.fault(
                format!("the highest, {high}, is not above the lowest, {low}"),
                "write the larger of them as the highest",
            );
        }
    };
    above(top, &lowest, &highest);
    if control_lowest.is_some() || control_highest.is_some() {
        let place = control_top.or_else(|| section.optional("control_lowest"));
        above(place, control_lowest.as_ref().unwrap_or(&lowest), control_highest.as_ref().unwrap_or(&highest));
    }
    Some(CheckPlan { lowest, highest, control_lowest, control_highest })
}

fn result(section: &Section<'_>) -> Option<ResultPlan> {
    let kind = section
        .required("kind", "\"mass concentration\"")
        .and_then(|entry| entry.one_of("kind of result", &ResultKind::ALL, ResultKind::words));
    let unit = section.required("unit", "\"µg/L\"").and_then(|entry| {
        let (text, kind) = (entry.text()?, kind?);
        let unit = result_unit(kind, &text);
        if unit.is_none() {
            let example = result_example(kind);
            entry.fault(
                format!("{} is no unit of {}", quoted(&text), with_article(kind.words())),
                format!("write for example unit = \"{example}\""),
            );
        }
        unit
    });
    let coverage_factor = uncertainty_plan::coverage(section);
    let quantification_limit = section.optional("quantification_limit").map(|entry| {
        let text = entry.text_or_bare("0.28 µg/L")?;
        let limit = kind?.read(&text).map_err(|fault| entry.told(&fault)).ok()?;
        if limit.si() <= 0.0 {
            entry.fault(
                format!("{limit} is not above zero"),
                "write the limit, or take the key away where there is none",
            );
            return None;
        }
        Some(limit)
    });
    let mut names: Vec<String> = Vec::new();
    let factors: Vec<Option<NamedFactor>> = section
        .sections("factor", "[[result.factor]]")
        .iter()
        .map(|section| {
            let entry = section.required("name", "\"recovery\"");
            let name = entry.as_ref().and_then(Entry::text);
            if let (Some(entry), Some(name)) = (entry, &name) {
                if names.contains(name) {
                    entry.fault(format!("there is a factor {} already", quoted(name)), "name one of them otherwise");
                }
                names.push(name.clone());
            }
            let value = section.required("value", "\"1.00\"").and_then(|entry| entry.figure(Wanted::Positive));
            let spread = section.spread();
            let origin = section.optional("origin").map(|entry| entry.text());
            section.close();
            let factor = Uncertain { value: value?, spread: spread? };
            Some(NamedFactor { name: name?, factor, origin: transposed(origin)? })
        })
        .collect();
    section.close();
    Some(ResultPlan {
        kind: kind?,
        unit: unit?.to_owned(),
        factors: all(factors)?,
        coverage_factor: coverage_factor?,
        quantification_limit: transposed(quantification_limit)?,
    })
}

fn result_example(kind: ResultKind) -> &'static str {
    match kind {
        ResultKind::MassConcentration => "µg/L",
        ResultKind::MassFraction => "mg/kg",
        ResultKind::ReleasePerArea => "mg/dm²",
        ResultKind::AmountPerDose => "µg",
    }
}
