//! `order.toml`, format `darkline/order/1`: what a customer asked for, and the limits it is held against.

use std::collections::BTreeMap;

use darkline_metrology::kind::{ALL_KINDS, Factor, Kind, plain_symbol};
use darkline_record::figure::{FigureFault, Written, with_article};
use darkline_record::identity::{Element, MethodId, SampleId};
use darkline_record::order::{
    Comparison, DecisionRule, Expected, GuardBand, Limit, Order, Prior, Requested, ResultFigure, ResultKind, Sample,
};

use crate::document::figure::{Wanted, worded};
use crate::document::gathering::{Distinct, all, transposed};
use crate::document::section::{Entry, Section};
use crate::document::{self, Entered};
use crate::element_symbol;
use crate::fault::{Faults, quoted};

mod sum;

/// Reads an order.
///
/// # Errors
/// All faults of the text.
pub fn read(file_name: &str, text: &str) -> Result<Order, Faults> {
    enter(file_name, text).map(|entered| entered.document)
}

/// Reads an order and keeps its text beside it.
///
/// # Errors
/// As for [`read`].
pub fn enter(file_name: &str, text: &str) -> Result<Entered<Order>, Faults> {
    document::read(file_name, text, "order", v1)
}

fn v1(top: &Section<'_>) -> Option<Order> {
    let id = top.required("id", "\"2026-031\"").and_then(|entry| entry.parsed());
    let customer = top.required("customer", "\"…\"").and_then(|entry| entry.text());
    let contact = top.required("contact", "\"…\"").and_then(|entry| entry.text());
    let received = top.required("received", "\"2026-03-14T09:30:00+01:00\"").and_then(|entry| entry.time());
    let due = top.optional("due").map(|entry| entry.day());
    let purpose = top.optional("purpose").map(|entry| entry.text());
    let mut sample_ids = Distinct::new("sample");
    let mut parts = Vec::new();
    let samples: Vec<Option<Sample>> = top
        .some_sections("sample", "[[sample]]")
        .iter()
        .map(|section| {
            let id = section.required("id", "\"well-04\"");
            let description = section.required("description", "\"…\"").and_then(|entry| entry.text());
            let part_of = section.optional("part_of");
            let expected: Vec<Option<Expected>> = section
                .sections("expected", "[[sample.expected]]")
                .iter()
                .map(|section| {
                    let element = section.required("element", "\"Cd\"").and_then(|entry| element(&entry));
                    let value =
                        section.required("value", "\"2 µg/L\"").and_then(|entry| result_figure(&entry, "content"));
                    section.close();
                    Some(Expected { element: element?, value: value? })
                })
                .collect();
            section.close();
            let id = id.and_then(|entry| sample_ids.parsed(top.sheet(), &entry));
            let whole = part_of.as_ref().map(|entry| entry.parsed::<SampleId>());
            parts.extend(part_of.zip(whole.clone().flatten()));
            Some(Sample { id: id?, description: description?, part_of: transposed(whole)?, expected: all(expected)? })
        })
        .collect();
    for (entry, whole) in &parts {
        if !samples.iter().flatten().any(|sample| sample.id == *whole && sample.part_of.is_none()) {
            entry.fault(
                format!("there is no whole sample \"{whole}\" in this order"),
                "name the sample it was taken from",
            );
        }
    }
    let mut asked = BTreeMap::new();
    let analytes: Vec<Option<Requested>> = top
        .some_sections("analyte", "[[analyte]]")
        .iter()
        .map(|section| {
            let element = section.required("element", "\"Cd\"");
            let method = section.required("method", "\"cadmium\"").and_then(|entry| entry.parsed::<MethodId>());
            let limit = section.optional_section("limit", LIMIT_FORM).map(|section| limit(&section));
            section.close();
            let entry = element?;
            let (element, method) = (self::element(&entry)?, method?);
            if let Some(before) = asked.insert((element.clone(), method.clone()), entry.span()) {
                entry.fault(
                    format!(
                        "{element} by this method is already asked for on line {}",
                        top.sheet().line_of(before.start)
                    ),
                    "take one of them away",
                );
            }
            Some(Requested { element, method, limit: transposed(limit)? })
        })
        .collect();
    let samples = all(samples);
    let analytes = all(analytes);
    let sums = sum::read(top, samples.as_deref(), analytes.as_deref());
    top.close();
    Some(Order {
        id: id?,
        customer: customer?,
        contact: contact?,
        received: received?,
        due: transposed(due)?,
        purpose: transposed(purpose)?,
        samples: samples?,
        analytes: analytes?,
        sums: sums?,
    })
}

const LIMIT_FORM: &str = "limit = { at_most = \"0.07 mg/dm²\", origin = \"…\", decision_rule = \"guard band U\" }";

fn limit(section: &Section<'_>) -> Option<Limit> {
    let at_most = section.required("at_most", "\"0.07 mg/dm²\"").and_then(|entry| result_figure(&entry, "limit"));
    let origin = section.required("origin", "\"…\"").and_then(|entry| entry.text());
    let rule_entry = section.required("decision_rule", "\"guard band U\"");
    let decision_rule =
        rule_entry.as_ref().and_then(|entry| entry.one_of("decision rule", &DecisionRule::ALL, DecisionRule::words));
    let guard = guard(section);
    let comparison = section.optional("comparison").map(|entry| {
        entry.one_of("way to compare", &[Comparison::Unrounded, Comparison::AsPrinted], Comparison::words)
    });
    let prior = section
        .optional_section("prior", "prior = { mean = \"2.0 mg/kg\", sd = \"0.5 mg/kg\" }")
        .map(|section| prior(&section, at_most.as_ref()));
    section.close();
    let (decision_rule, guard) = (decision_rule?, guard?);
    if let (DecisionRule::SimpleAcceptance, Some((_, entry))) = (decision_rule, &guard) {
        entry.fault(
            "a guard band stands beside simple acceptance, which has none",
            "take it away, or write decision_rule = \"guarded acceptance\"",
        );
        return None;
    }
    Some(Limit {
        at_most: at_most?,
        origin: origin?,
        decision_rule,
        guard: guard.map(|(guard, _)| guard),
        comparison: transposed(comparison)?.unwrap_or_default(),
        prior: transposed(prior)?,
    })
}

/// What a figure makes of a guard band.
type Width = fn(Written<Factor>) -> GuardBand;

/// The width of the guard band, by the one key of the three that may stand there.
fn guard<'a>(section: &Section<'a>) -> Option<Option<(GuardBand, Entry<'a>)>> {
    let widths: [(&'static str, Width); 3] = [
        ("guard_of_u", GuardBand::PartOfU),
        ("guard_of_limit", GuardBand::PartOfLimit),
        ("guard_risk", GuardBand::Risk),
    ];
    let mut found: Option<(GuardBand, Entry<'a>)> = None;
    for (name, of) in widths {
        let Some(entry) = section.optional(name) else { continue };
        if let Some((_, before)) = &found {
            entry.fault(format!("\"{}\" and \"{name}\" both stand here", before.name()), "state one of them");
            return None;
        }
        let part: Written<Factor> = entry.figure(Wanted::Positive)?;
        if name == "guard_risk" && part.value().si() >= 0.5 {
            entry.fault(format!("{part} is not below 50 %"), "write guard_risk = \"5 %\"");
            return None;
        }
        found = Some((of(part), entry));
    }
    Some(found)
}

fn prior(section: &Section<'_>, limit: Option<&ResultFigure>) -> Option<Prior> {
    let one = |name: &'static str, example: &str| {
        let entry = section.required(name, example)?;
        let figure = result_figure(&entry, "prior")?;
        if let Some(limit) = limit
            && limit.kind() != figure.kind()
        {
            entry.fault(
                format!(
                    "{figure} is {}, the limit {}",
                    with_article(figure.kind().words()),
                    with_article(limit.kind().words())
                ),
                "write both in units of one kind",
            );
            return None;
        }
        Some((figure, entry))
    };
    let (mean, sd) = (one("mean", "\"2.0 mg/kg\""), one("sd", "\"0.5 mg/kg\""));
    section.close();
    let ((mean, _), (sd, entry)) = (mean?, sd?);
    if sd.si() <= 0.0 {
        entry.fault(format!("{sd} is not above zero"), "write how far the property scatters");
        return None;
    }
    Some(Prior { mean, sd })
}

/// A figure of one of the kinds that results have; its unit says which.
pub(crate) fn result_figure(entry: &Entry<'_>, what: &str) -> Option<ResultFigure> {
    let text = entry.text()?;
    let mut unit_unknown = None;
    for kind in ResultKind::ALL {
        match kind.read(&text) {
            Ok(figure) if figure.si() < 0.0 => {
                entry.fault(format!("{figure} is negative"), format!("a {what} is zero or more"));
                return None;
            }
            Ok(figure) => return Some(figure),
            Err(
                fault @ (FigureFault::OtherKind { .. } | FigureFault::UnknownUnit { .. } | FigureFault::NoUnit { .. }),
            ) => {
                unit_unknown.get_or_insert(fault);
            }
            Err(fault) => {
                entry.told(&worded(&fault));
                return None;
            }
        }
    }
    let kinds = ResultKind::ALL.map(|kind| with_article(kind.words()));
    let hint =
        format!("write {}, for example \"0.07 mg/dm²\"", crate::nearest::one_of(&kinds.each_ref().map(String::as_str)));
    match unit_unknown {
        Some(FigureFault::OtherKind { found, .. }) => {
            entry.fault(format!("{} stands where a {what} is wanted", with_article(found)), hint)
        }
        Some(FigureFault::UnknownUnit { found, .. }) => {
            entry.fault(format!("the unit {} is not known", quoted(&found)), hint)
        }
        _ => entry.fault(format!("{text} has no unit"), hint),
    }
    None
}

/// The kind of result a unit belongs to, and the unit as Darkline writes it.
pub(crate) fn result_unit(kind: ResultKind, unit: &str) -> Option<&'static str> {
    let plain = plain_symbol(unit);
    let (_, units) = ALL_KINDS.iter().find(|(name, _)| *name == kind.words())?;
    units.iter().map(|(symbol, ..)| *symbol).find(|symbol| *symbol == plain)
}

/// The symbol of an element.
pub(crate) fn element(entry: &Entry<'_>) -> Option<Element> {
    let symbol = entry.text()?;
    if element_symbol::is_known(&symbol) {
        return entry.parsed();
    }
    let hint = match element_symbol::ALL.iter().find(|known| known.eq_ignore_ascii_case(&symbol)) {
        Some(known) => format!("write \"{known}\""),
        None => "write its symbol, for example \"Cd\"".into(),
    };
    entry.fault(format!("no element has the symbol {}", quoted(&symbol)), hint);
    None
}
