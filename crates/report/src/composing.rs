//! From an outcome to what a test report says, and the machine-readable record inside it.
//!
//! [`compose`] fills a [`TestReport`]; [`record`] writes the same facts for programs. Both are pure, so that whoever has the
//! package makes the same report again.

use std::collections::BTreeMap;

use darkline_evaluation::outcome::{
    ControlKind, ControlOutcome as Control, FlagState, Outcome, Reported, ResultOutcome, RunOutcome, SumOutcome,
    ValueOutcome,
};
use darkline_evaluation::procedure::of_edition;
use darkline_evaluation::repeating::{Repeats, repeats};
use darkline_metrology::conformity::Statement as Found;
use darkline_metrology::kind::Kind;
use darkline_quality::rules;
use darkline_record::canonical;
use darkline_record::method::{ResolvedMethod, Technique};
use darkline_record::order::Requested;
use darkline_record::package::DataPackage;
use serde::Serialize;

use crate::calibration_part;
use crate::conformity_part;
use crate::portions_part;
use crate::printed::{Printed, coverage_factor, printed, significant};
use crate::pulse_part;
use crate::test_report::{
    Annex, Budget, Contribution, ControlLine, ControlOutcome, Finding, JustifiedFlag, Limit, MethodLine, Party, Proof,
    RepeatLine, Replaced, ResultLine, SampleLine, Sampling, Signature, Span, Statement, TestReport, Uncertainty,
    Verdict,
};

/// What the record says about an issue.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Issued {
    /// The number of the report.
    pub report: String,
    /// The report it supersedes.
    pub supersedes: Option<String>,
    /// When it was issued.
    pub at: String,
    /// Who signed: analyst, reviewer, who approved.
    pub signatures: Vec<SignedBy>,
    /// Who issued it.
    pub issued_by: String,
    /// Entries in the log.
    pub size: u64,
    /// Root of the log.
    pub root: String,
    /// The laboratory's name and address.
    pub laboratory: Option<(String, Vec<String>)>,
    /// The program that set the report.
    pub program: String,
    /// Why it supersedes the report before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub because: Option<String>,
    /// What changed since that report, in words.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub changes: Vec<String>,
    /// Who justified each flag, and when.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub justified_by: BTreeMap<String, String>,
}

/// A signature with the name and key of its person.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SignedBy {
    /// Name.
    pub name: String,
    /// Roles.
    pub roles: String,
    /// Meaning.
    pub meaning: String,
    /// When.
    pub at: String,
    /// Fingerprint of the key.
    pub key: String,
}

/// The caution at the foot of every page.
///
/// # Source
/// `reference/safety/cautions.toml`, `general.short_form`, in substance.
const CAUTION: &str =
    "Samples, digests and wastes may hold toxic metals and strong acids: local codes and licensed practice prevail.";

/// The machine-readable record of a report: canonical JSON.
///
/// # Source
/// RFC 8785.
pub fn record(package: &DataPackage, outcome: &Outcome, issued: &Issued) -> Vec<u8> {
    #[derive(Serialize)]
    struct Line<'a> {
        #[serde(flatten)]
        result: &'a ResultOutcome,
        printed_value: Option<String>,
        printed_expanded_u: Option<String>,
    }
    #[derive(Serialize)]
    struct Record<'a> {
        schema: &'static str,
        issued: &'a Issued,
        order: &'a darkline_record::order::Order,
        edition: u32,
        trial: bool,
        package: String,
        outcome: String,
        results: Vec<Line<'a>>,
        #[serde(skip_serializing_if = "<[_]>::is_empty")]
        sums: &'a [SumOutcome],
    }
    let results = outcome
        .results
        .iter()
        .map(|result| {
            let printed = value_of(&result.reported).map(printed);
            let (printed_value, printed_expanded_u) =
                printed.map_or((None, None), |printed| (Some(printed.value), Some(printed.expanded_u)));
            Line { result, printed_value, printed_expanded_u }
        })
        .collect();
    canonical::bytes(&Record {
        schema: "darkline/report/1",
        issued,
        order: &package.order,
        edition: outcome.edition.0,
        trial: is_trial(outcome),
        package: outcome.package.to_string(),
        outcome: outcome.digest().to_string(),
        results,
        sums: &outcome.sums,
    })
}

fn is_trial(outcome: &Outcome) -> bool {
    of_edition(outcome.edition).is_none_or(|procedure| !procedure.released)
}

fn value_of(reported: &Reported) -> Option<&ValueOutcome> {
    match reported {
        Reported::Value { result } => Some(result),
        _ => None,
    }
}

/// Fills a test report.
pub fn compose(package: &DataPackage, outcome: &Outcome, issued: &Issued) -> TestReport {
    let order = &package.order;
    let (name, lines) = issued.laboratory.clone().unwrap_or_else(|| ("Laboratory".into(), Vec::new()));
    TestReport {
        number: issued.report.clone(),
        replaces: issued.supersedes.as_ref().map(|number| Replaced {
            number: number.clone(),
            changes: if issued.changes.is_empty() {
                vec!["figures or decisions changed after it was issued; this report stands in its place".into()]
            } else {
                issued.changes.clone()
            },
            reason: issued.because.clone().unwrap_or_else(|| "see the entries of the order in the record".into()),
        }),
        trial: is_trial(outcome),
        laboratory: Party { name, lines },
        place_of_work: String::new(),
        customer: Party { name: order.customer.clone(), lines: vec![order.contact.clone()] },
        order: order.id.to_string(),
        received: order.received.to_string(),
        measured: measured(package),
        issued: issued.at.clone(),
        sampling: Sampling::Customer,
        results: outcome.results.iter().map(|result| result_line(package, result)).collect(),
        sums: conformity_part::sums(order, outcome),
        coverage: "about 95 %".into(),
        samples: order
            .samples
            .iter()
            .map(|sample| SampleLine {
                id: sample.id.to_string(),
                description: sample.description.clone(),
                condition: String::new(),
                received: String::new(),
                sampled: String::new(),
            })
            .collect(),
        methods: order.analytes.iter().filter_map(|requested| method_line(package, requested)).collect(),
        deviations: Vec::new(),
        flags: outcome.flags.iter().filter_map(|flag| justified(flag, issued)).collect(),
        notes: notes(package),
        opinions: Vec::new(),
        signatures: issued
            .signatures
            .iter()
            .map(|signature| Signature {
                name: signature.name.clone(),
                role: signature.roles.clone(),
                meaning: signature.meaning.clone(),
                at: signature.at.clone(),
                key: signature.key.clone(),
            })
            .collect(),
        proof: Proof {
            outcome_digest: outcome.digest().to_string(),
            tree_root: issued.root.clone(),
            tree_size: issued.size.to_string(),
            edition: outcome.edition.to_string(),
            program: issued.program.clone(),
        },
        caution: CAUTION.into(),
        annex: Some(annex(package, outcome)),
    }
}

fn measured(package: &DataPackage) -> Span {
    let times: Vec<_> = package.runs.iter().flat_map(|run| &run.readings).map(|reading| &reading.at).collect();
    let (first, last) = (times.iter().min(), times.iter().max());
    let text = |time: Option<&&darkline_record::time::Timestamp>| time.map_or_else(String::new, ToString::to_string);
    Span { first: text(first), last: text(last) }
}

fn notes(package: &DataPackage) -> Vec<String> {
    let mut notes: Vec<String> = package
        .preparations
        .iter()
        .map(|batch| {
            format!(
                "Preparation batch {} of {}: {}.",
                batch.id,
                batch.prepared.as_str().get(..10).unwrap_or(""),
                batch.procedure.trim_end_matches('.')
            )
        })
        .collect();
    notes.extend(
        package.order.purpose.as_ref().map(|purpose| format!("Purpose, as the customer states it: {}", purpose)),
    );
    notes
}

fn result_line(package: &DataPackage, result: &ResultOutcome) -> ResultLine {
    let requested = package
        .order
        .analytes
        .iter()
        .find(|requested| requested.element == result.element && requested.method == result.method);
    let method = package.method(&result.method);
    let quantification_limit = method.and_then(|method| method.result.quantification_limit.as_ref());
    let loq = match &result.reported {
        Reported::BelowLoq { written, .. } => written.clone(),
        _ => quantification_limit
            .filter(|limit| limit.unit_symbol() == result.unit)
            .map_or_else(String::new, |limit| limit.digits().to_owned()),
    };
    let limit = requested.and_then(|requested| requested.limit.as_ref());
    ResultLine {
        sample: result.sample.to_string(),
        analyte: result.element.to_string(),
        kind: result.kind.clone(),
        unit: result.unit.clone(),
        basis: basis(package, result),
        finding: finding(&result.reported),
        loq,
        limit: result.statement.as_ref().zip(limit).map(|(statement, limit)| Limit {
            text: if limit.at_most.unit_symbol() == result.unit {
                format!("at most {}", limit.at_most.digits())
            } else {
                format!("at most {}", statement.limit)
            },
            specification: statement.origin.clone(),
            rule: statement.decision_rule.clone(),
        }),
        statement: result.statement.as_ref().map(|statement| {
            let (verdict, detail) = match (statement.statement, value_of(&result.reported).map(printed)) {
                (Found::Complies, _) => (Verdict::Complies, String::new()),
                (Found::DoesNotComply, _) => (Verdict::DoesNotComply, String::new()),
                (Found::Inconclusive, Some(Printed { value, expanded_u })) => {
                    let decide = statement.replicates.map_or_else(String::new, |found| format!("; {}", found.words()));
                    (Verdict::Inconclusive, format!("the limit lies within {value} ± {expanded_u}{decide}"))
                }
                (Found::Inconclusive, None) => {
                    (Verdict::Inconclusive, "the quantification limit exceeds the limit".into())
                }
            };
            Statement { verdict, detail }
        }),
        external: None,
    }
}

/// Dry mass, where the portions of the sample state their dry matter.
fn basis(package: &DataPackage, result: &ResultOutcome) -> String {
    let portions = package.portions_of(&result.sample);
    if portions.iter().any(|(_, portion)| portion.dry_matter.is_some()) { "dry mass".into() } else { String::new() }
}

fn finding(reported: &Reported) -> Finding {
    match reported {
        Reported::Value { result } => {
            let Printed { value, expanded_u } = printed(result);
            let uncertainty = Uncertainty::Expanded { expanded_u, coverage_factor: coverage_factor(result) };
            Finding::Value { value, uncertainty }
        }
        Reported::BelowLoq { .. } => Finding::BelowLoq,
        Reported::Withheld { because, .. } => Finding::Withheld { because: because.to_string() },
        Reported::Awaiting { .. } => Finding::Withheld { because: "not measured".into() },
    }
}

fn method_line(package: &DataPackage, requested: &Requested) -> Option<MethodLine> {
    let method = package.method(&requested.method)?;
    Some(MethodLine {
        analyte: method.element.to_string(),
        name: method.id.to_string(),
        version: method.version.clone(),
        title: method.title.clone(),
        technique: match method.technique {
            Technique::Flame => "flame atomic absorption spectrometry".into(),
            Technique::Furnace => "electrothermal atomic absorption spectrometry".into(),
        },
        line: method.line.as_ref().map_or_else(String::new, ToString::to_string),
    })
}

fn justified(flag: &darkline_evaluation::outcome::FlagOutcome, issued: &Issued) -> Option<JustifiedFlag> {
    let FlagState::Justified { reason } = &flag.state else {
        return None;
    };
    let id = flag.flag.id.to_string();
    let subject = id.split_once(':').map_or("", |(_, subject)| subject).replace(':', " ");
    Some(JustifiedFlag {
        rule: flag.flag.id.rule.to_string(),
        subject,
        seen: rules::named(flag.flag.id.rule.as_str()).map_or_else(String::new, |rule| (rule.say)(&flag.flag.evidence)),
        reason: reason.clone(),
        by: issued.justified_by.get(&id).cloned().unwrap_or_else(|| "see the entries of the order".into()),
    })
}

/// Figures of restored pulses of one element in an annex; the outcome lists them all.
const MOST_RESTORED: usize = 4;

fn annex(package: &DataPackage, outcome: &Outcome) -> Annex {
    let mut annex = Annex {
        budgets: Vec::new(),
        calibrations: Vec::new(),
        conformity: conformity_part::lines(outcome),
        portions: outcome.runs.iter().flat_map(portions_part::lines).collect(),
        controls: Vec::new(),
        repeats: repeats(package).into_iter().map(repeat_line).collect(),
        figures: Vec::new(),
    };
    for requested in &package.order.analytes {
        let of_this =
            |result: &&ResultOutcome| result.element == requested.element && result.method == requested.method;
        let deciding = deciding(outcome.results.iter().filter(of_this), requested, package);
        if let Some((result, value)) = deciding {
            annex.budgets.push(budget(result, value));
            annex.figures.extend(pulse_part::of_result(package, outcome, result));
        }
        // A restored pulse is to be seen, whichever result it is behind.
        let restored = outcome.results.iter().filter(|result| of_this(result)).filter(|other| {
            deciding.is_none_or(|(result, _)| result.sample != other.sample)
                && pulse_part::went_beyond(package, outcome, other)
        });
        let figures = restored.filter_map(|result| pulse_part::of_result(package, outcome, result));
        annex.figures.extend(figures.take(MOST_RESTORED));
    }
    for run in &outcome.runs {
        let Some(method) = package.method(&run.method) else {
            continue;
        };
        if let Some(calibration) = &run.calibration {
            annex.calibrations.push(calibration_part::line(run, method, calibration));
            annex.figures.push(calibration_part::figure(run, method, calibration));
        }
        annex.controls.extend(run.controls.iter().map(|control| control_line(outcome, run, method, control)));
    }
    annex
}

/// A repeated result with its chance of passing at the limit.
fn repeat_line(repeats: Repeats) -> RepeatLine {
    RepeatLine {
        of: format!("{} in {}", repeats.element, repeats.sample),
        repeated: repeats.repeated.to_string(),
        allowed: repeats.allowed.map_or_else(String::new, |allowed| allowed.to_string()),
        chance: format!("{} %", significant(100.0 * repeats.chance, 3)),
    }
}

/// The result a reader will ask about first: the one nearest its limit in terms of U, or the first where there is no limit.
fn deciding<'a>(
    results: impl Iterator<Item = &'a ResultOutcome>,
    requested: &Requested,
    package: &DataPackage,
) -> Option<(&'a ResultOutcome, &'a ValueOutcome)> {
    let limit = requested.limit.as_ref().and_then(|limit| {
        let method = package.method(&requested.method)?;
        (limit.at_most.unit_symbol() == method.result.unit)
            .then(|| limit.at_most.digits().parse::<f64>().ok())
            .flatten()
    });
    let with_values = results.filter_map(|result| Some((result, value_of(&result.reported)?)));
    match limit {
        None => with_values.into_iter().next(),
        Some(limit) => {
            let distance = |value: &ValueOutcome| (value.value - limit).abs() / value.expanded_u;
            with_values.min_by(|a, b| distance(a.1).total_cmp(&distance(b.1)))
        }
    }
}

/// What stands beside the budget: first order held against Monte Carlo, and control data.
fn beside(result: &ResultOutcome, value: &ValueOutcome) -> String {
    let mut text = String::new();
    if let Some(found) = &value.monte_carlo {
        let verdict = if found.holds {
            "first order holds and is reported"
        } else {
            "first order does not hold and the interval by Monte Carlo is reported"
        };
        text.push_str(&format!("; by {} trials of Monte Carlo {verdict}", found.trials));
    }
    if let Some(found) = &value.top_down {
        text.push_str(&format!("; by control data u = {} {}", significant(found.u, 2), result.unit));
    }
    text
}

/// A contribution below this part of the variance is what rounding leaves of causes that cancel.
const CANCELLED: f64 = 1e-15;

fn budget(result: &ResultOutcome, value: &ValueOutcome) -> Budget {
    let Printed { value: printed_value, expanded_u } = printed(value);
    Budget {
        title: format!("{} in {}, {}", result.element, result.sample, result.kind),
        result: format!(
            "{printed_value} {}, U = {expanded_u} {} (k = {}){}",
            result.unit,
            result.unit,
            coverage_factor(value),
            beside(result, value)
        ),
        contributions: value
            .budget
            .iter()
            // What cancels leaves rounding behind.
            .filter(|line| line.share > CANCELLED)
            .map(|line| Contribution {
                source: line.source.clone(),
                u: format!("{} {}", significant(line.u, 2), result.unit),
                share: format!("{:.1} %", 100.0 * line.share),
            })
            .collect(),
    }
}

fn control_line(outcome: &Outcome, run: &RunOutcome, method: &ResolvedMethod, control: &Control) -> ControlLine {
    let percent = |part: f64| format!("{part:.0} %");
    let range = |lowest: f64, highest: f64| format!("{} to {}", percent(100.0 * lowest), percent(100.0 * highest));
    let check = &method.check;
    let (lowest, highest) = (check.lowest.value().si(), check.highest.value().si());
    let allowed = match control.control {
        ControlKind::CheckStandard => range(lowest, highest),
        ControlKind::ControlSample => range(
            check.control_lowest.as_ref().map_or(lowest, |limit| limit.value().si()),
            check.control_highest.as_ref().map_or(highest, |limit| limit.value().si()),
        ),
        ControlKind::CheckBlank | ControlKind::MethodBlank => {
            method.blank.highest.as_ref().map_or_else(|| "not limited".into(), |highest| format!("at most {highest}"))
        }
        ControlKind::SpikeRecovery | ControlKind::Duplicates => "told, not limited".into(),
    };
    let found = match (control.control, control.should_be) {
        (ControlKind::CheckStandard | ControlKind::ControlSample, Some(should_be)) => {
            format!("{} of {} {}", percent(100.0 * control.found / should_be), significant(should_be, 3), control.unit)
        }
        _ => format!("{} {}", significant(control.found, 3), control.unit),
    };
    let row = format!(":row:{}/{}", run.run, control.row);
    let flag = outcome.flags.iter().find(|flag| {
        let id = flag.flag.id.to_string();
        id.ends_with(&row) && (id.starts_with("blank-above-limit") || id.starts_with("check-outside-limits"))
    });
    ControlLine {
        control: format!("{} {}, row {}", control.control.words(), control.name, control.row),
        found,
        allowed,
        outcome: match flag {
            None => ControlOutcome::Passed,
            Some(flag) if flag.stops() => ControlOutcome::Failed,
            Some(_) => ControlOutcome::Justified,
        },
    }
}
