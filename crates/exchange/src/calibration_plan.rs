//! `[calibration]` of a method: its functions, its weights, and what goes with each of them.

use darkline_metrology::kind::{Factor, Kind, MassConcentration, Response};
use darkline_record::figure::Written;
use darkline_record::method::{
    Additions, Amounts, CalibrationModel, CalibrationPlan, GivenU, ModelPlan, OfSamples, ResponseKind, Weights,
};

use crate::document::figure::Wanted;
use crate::document::gathering::{all, transposed};
use crate::document::section::{Entry, Section};
use crate::fault::quoted;
use crate::method::is_a_response;

const WHAT: &str = "calibration function that is known";

/// Reads the part of a method.
///
/// # Arguments
/// * `kind`: what the responses are; `None` where that could not be read.
pub(crate) fn read(section: &Section<'_>, kind: Option<ResponseKind>) -> Option<CalibrationPlan> {
    let model = model(section);
    let weights_entry = section.required("weights", "\"equal\"");
    let weights = weights_entry.as_ref().and_then(|entry| weights(section, entry, kind));
    let amounts = section.optional("amounts").map(|entry| {
        entry
            .one_of("way to take amounts", &[Amounts::Exact, Amounts::Uncertain], Amounts::word)
            .map(|word| (word, entry))
    });
    let of_samples = section
        .optional("of_samples")
        .map(|entry| entry.one_of("way to read samples", &OfSamples::ALL, OfSamples::words));
    let additions = section.optional("additions").map(|entry| {
        entry.one_of("form of standard additions", &Additions::ALL, Additions::words).map(|word| (word, entry))
    });
    let u_stock = section.optional("u_stock").map(|entry| entry.figure(Wanted::NotNegative));
    section.close();
    let (weights, amounts) = (weights?, transposed(amounts)?);
    if let Some((Amounts::Uncertain, entry)) = &amounts
        && !matches!(weights, Weights::Repeatability | Weights::GivenU { .. })
    {
        entry.fault(
            format!(
                "amounts count as uncertain, and weights {} give no standard uncertainty of a response",
                quoted(weights.words())
            ),
            "write weights = \"given u\" or \"repeatability\", or amounts = \"exact\"",
        );
        return None;
    }
    let (of_samples, additions) = (transposed(of_samples)?.unwrap_or_default(), transposed(additions)?);
    if let Some((_, entry)) = &additions
        && of_samples != OfSamples::StandardAdditions
    {
        entry.fault(
            format!("samples are read from the {}, which has no additions", of_samples.words()),
            "take \"additions\" away, or write of_samples = \"standard additions\"",
        );
        return None;
    }
    Some(CalibrationPlan {
        model: model?,
        weights,
        amounts: amounts.map_or(Amounts::Exact, |(word, _)| word),
        of_samples,
        additions: additions.map_or(Additions::ConstantVolume, |(word, _)| word),
        u_stock: transposed(u_stock)?,
    })
}

fn model(section: &Section<'_>) -> Option<ModelPlan> {
    let several = section.optional("models");
    if let Some(several) = several {
        if let Some(one) = section.optional("model") {
            one.fault("\"model\" and \"models\" both stand here", "name one function, or those to choose among");
            return None;
        }
        let items = several.list("[\"straight line\", \"quadratic\"]")?;
        let mut models: Vec<CalibrationModel> = Vec::new();
        let mut is_whole = true;
        for item in &items {
            match item.one_of(WHAT, &CalibrationModel::ALL, CalibrationModel::words) {
                Some(model) if models.contains(&model) => {
                    item.fault(format!("{} stands here twice", quoted(model.words())), "name each function once");
                    is_whole = false;
                }
                Some(model) => models.push(model),
                None => is_whole = false,
            }
        }
        if is_whole && models.len() < 2 {
            several.fault(
                format!("{} function stands in this list", if models.is_empty() { "no" } else { "one" }),
                "name two or more to choose among, or write model = \"straight line\"",
            );
            return None;
        }
        return is_whole.then_some(ModelPlan::ByEvidence(models));
    }
    let model = section.required("model", "\"straight line\"")?;
    model.one_of(WHAT, &CalibrationModel::ALL, CalibrationModel::words).map(ModelPlan::Named)
}

fn weights(section: &Section<'_>, entry: &Entry<'_>, kind: Option<ResponseKind>) -> Option<Weights> {
    let word = entry.one_of("weighting of readings", &Weights::WORDS, |word| word);
    let is_power = matches!(word, Some("inverse power of amount" | "inverse power of response"));
    if word.is_some() && !is_power {
        section.without("power", "beside weights that have none");
    }
    if word.is_some() && word != Some("given u") {
        section.without("given_u", "beside weights that do not take it");
    }
    match word? {
        "equal" => Some(Weights::Equal),
        "repeatability" => Some(Weights::Repeatability),
        "replicates" => Some(Weights::Replicates),
        "two-component" => Some(Weights::TwoComponent),
        "given u" => given_u(section, kind).map(|levels| Weights::GivenU { levels }),
        of => {
            let power: Written<Factor> =
                section.required("power", "\"2\"").and_then(|entry| entry.figure(Wanted::Positive))?;
            Some(match of {
                "inverse power of amount" => Weights::InverseAmount { power },
                _ => Weights::InverseResponse { power },
            })
        }
    }
}

fn given_u(section: &Section<'_>, kind: Option<ResponseKind>) -> Option<Vec<GivenU>> {
    let form = "given_u = [{ amount = \"1.0 µg/L\", u = \"0.002 s\" }]";
    let entry = section.required("given_u", "[{ amount = \"1.0 µg/L\", u = \"0.002 s\" }]")?;
    let mut seen: Vec<f64> = Vec::new();
    let levels: Vec<Option<GivenU>> = section
        .sections("given_u", form)
        .iter()
        .map(|level| {
            let place = level.required("amount", "\"1.0 µg/L\"");
            let amount: Option<Written<MassConcentration>> =
                place.as_ref().and_then(|entry| entry.figure(Wanted::NotNegative));
            let u_entry = level.required("u", "\"0.002\"");
            let u: Option<Written<Response>> = u_entry.as_ref().and_then(|entry| entry.figure(Wanted::Positive));
            level.close();
            let (amount, u) = (amount?, u?);
            if let (Some(kind), Some(entry)) = (kind, &u_entry)
                && !is_a_response(entry, &u, kind)
            {
                return None;
            }
            if seen.contains(&amount.value().si()) {
                place?.fault(format!("{amount} has a standard uncertainty already"), "name each amount once");
                return None;
            }
            seen.push(amount.value().si());
            Some(GivenU { amount, u })
        })
        .collect();
    let levels = all(levels)?;
    if levels.is_empty() {
        entry.fault("no standard uncertainty stands here", format!("write {form}"));
        return None;
    }
    Some(levels)
}
