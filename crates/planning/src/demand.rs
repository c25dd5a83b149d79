//! What a limit demands of a method: its quantification limit, its uncertainty, the species, how the sample is kept.
//!
//! [`of`] looks at where a limit comes from and asks the handbook and the regulations for their performance criteria.

use darkline_handbook::{Handbook, Limit, Preservation};
use darkline_metrology::kind::{Kind, MassConcentration, MassFraction};
use darkline_metrology::method_criteria::largest_quantification_limit;
use darkline_record::order;
use serde::Serialize;

use crate::choice::LOQ_OF_LIMIT;
use crate::method_draft::is_kept_so;

/// What a limit demands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Demand {
    /// The limit: kg/m³, or kg/kg.
    pub limit: f64,
    /// Whether it is a mass fraction.
    pub is_solid: bool,
    /// The unit it is written in.
    pub unit: &'static str,
    /// The largest quantification limit, in the unit of `limit`.
    pub largest_loq: f64,
    /// Who asks for it.
    pub loq_by: String,
    /// The largest expanded uncertainty (k = 2) at the limit, relative, where one is set.
    pub largest_u: Option<f64>,
    /// The species it holds for, where not the total.
    pub species: Option<String>,
    /// How samples are kept, and how long.
    pub kept: Option<String>,
}

/// A limit that nothing is forecast for.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DemandFault {
    /// A limit of a kind that needs an area or a dose.
    #[error(
        "a limit as {0} rests on an area or a dose that the order does not state; give it as µg/L of the leachate or mg/kg"
    )]
    OtherKind(&'static str),
    /// A unit that no result has.
    #[error("{unit} is no unit of a mass concentration or a mass fraction")]
    Unit {
        /// The unit.
        unit: String,
    },
    /// A value that is no single figure.
    #[error("the limit {id} is {value}, which is no single figure; write the one meant as a limit of the order")]
    NoFigure {
        /// The limit.
        id: String,
        /// What stands there.
        value: String,
    },
}

/// What a limit of an order demands.
///
/// # Errors
/// [`DemandFault::OtherKind`].
///
/// # Source
/// Directive (EU) 2020/2184, Annex III, Part B: LOQ at most 30 % of the parametric value, uncertainty by table. Regulation (EC)
/// No 333/2007 as changed by (EU) 2022/2418: [`largest_quantification_limit`]. Elsewhere 30 %, our choice.
pub fn of(handbook: &Handbook, symbol: &str, limit: &order::Limit) -> Result<Demand, DemandFault> {
    let is_solid = match limit.at_most.kind() {
        order::ResultKind::MassConcentration => false,
        order::ResultKind::MassFraction => true,
        other => return Err(DemandFault::OtherKind(other.words())),
    };
    Ok(demand(handbook, symbol, limit.at_most.si(), is_solid, limit.at_most.unit_symbol(), &limit.origin))
}

/// What a limit of the handbook demands.
///
/// # Errors
/// [`DemandFault`]: its value is a range, or its unit none of a result.
pub fn of_printed(handbook: &Handbook, limit: &Limit) -> Result<Demand, DemandFault> {
    let value: f64 =
        limit.value.parse().map_err(|_| DemandFault::NoFigure { id: limit.id.clone(), value: limit.value.clone() })?;
    let origin = format!("{}, {}", limit.source, limit.clause);
    if let Some(unit) = MassConcentration::unit(&limit.unit) {
        return Ok(demand(handbook, &limit.element, unit.of(value).si(), false, unit.symbol(), &origin));
    }
    match MassFraction::unit(&limit.unit) {
        Some(unit) => Ok(demand(handbook, &limit.element, unit.of(value).si(), true, unit.symbol(), &origin)),
        None => Err(DemandFault::Unit { unit: limit.unit.clone() }),
    }
}

fn demand(handbook: &Handbook, symbol: &str, limit: f64, is_solid: bool, unit: &'static str, origin: &str) -> Demand {
    // The printed limit that is meant: same element, same value, a regulation that the origin names.
    let printed = handbook.limits().iter().find(|one| {
        let value = one.value.parse::<f64>().ok();
        let si = match is_solid {
            false => MassConcentration::unit(&one.unit).zip(value).map(|(unit, value)| unit.of(value).si()),
            true => MassFraction::unit(&one.unit).zip(value).map(|(unit, value)| unit.of(value).si()),
        };
        one.element == symbol
            && si.is_some_and(|si| (si - limit).abs() <= 1e-9 * limit)
            && number_of(&one.source).is_some_and(|number| origin.contains(number))
    });
    let in_food = ["2023/915", "333/2007", "2022/2418"].iter().any(|number| origin.contains(number));
    let of_food = (is_solid && in_food)
        .then(|| largest_quantification_limit(symbol.parse().ok()?, limit * 1e6))
        .flatten()
        .map(|milligram_per_kilogram| milligram_per_kilogram / 1e6);
    let (largest_loq, loq_by) = match of_food {
        Some(loq) => (loq, "Regulation (EU) 2022/2418".to_owned()),
        None if origin.contains("2020/2184") => {
            (LOQ_OF_LIMIT * limit, "Directive (EU) 2020/2184, Annex III, Part B".to_owned())
        }
        None => (LOQ_OF_LIMIT * limit, "30 % of the limit, our choice where the regulation asks for none".to_owned()),
    };
    let kept = handbook.preservations().iter().find(|one| is_kept_so(one, symbol, is_solid)).map(kept_in_words);
    Demand {
        limit,
        is_solid,
        unit,
        largest_loq,
        loq_by,
        largest_u: printed.and_then(|one| one.u_max_percent).map(|percent| f64::from(percent) / 100.0),
        species: printed.and_then(|one| one.species.clone()),
        kept,
    }
}

/// The number of a regulation in its title: "2020/2184", "141.62"; the last word where it has none.
fn number_of(source: &str) -> Option<&str> {
    let words = || source.split([' ', '(', ')', ',']);
    words().find(|word| word.contains('/') && word.chars().any(|c| c.is_ascii_digit())).or_else(|| words().next())
}

fn kept_in_words(one: &Preservation) -> String {
    format!("{}, at most {}", one.preservation, one.holding_time)
}

impl Demand {
    /// A figure in the unit that the limit is written in.
    pub fn in_unit(&self, si: f64) -> f64 {
        match self.is_solid {
            false => MassConcentration::unit(self.unit).map_or(si, |unit| unit.read_si(si)),
            true => MassFraction::unit(self.unit).map_or(si, |unit| unit.read_si(si)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(at_most: order::ResultFigure, origin: &str) -> order::Limit {
        order::Limit {
            at_most,
            origin: origin.into(),
            decision_rule: order::DecisionRule::SimpleAcceptance,
            guard: None,
            comparison: order::Comparison::Unrounded,
            prior: None,
        }
    }

    fn of_water(symbol: &str, at_most: &str, origin: &str) -> Demand {
        let figure = order::ResultKind::MassConcentration.read(at_most).unwrap();
        of(Handbook::shipped(), symbol, &limit(figure, origin)).unwrap()
    }

    #[test]
    fn the_drinking_water_directive_asks_for_thirty_percent_and_an_uncertainty() {
        // Directive (EU) 2020/2184, Annex III, Part B, table 1: cadmium 25 %.
        let demand = of_water("Cd", "5.0 µg/L", "Directive (EU) 2020/2184, Annex I, Part B");
        assert_eq!(demand.largest_u, Some(0.25));
        assert!((demand.in_unit(demand.largest_loq) - 1.5).abs() < 1e-9);
        assert!(demand.loq_by.contains("2020/2184"));
        assert!(demand.kept.unwrap().contains("6 months"));
    }

    #[test]
    fn a_limit_of_nobody_gets_our_choice_and_no_uncertainty() {
        let demand = of_water("Cd", "5.0 µg/L", "the customer's own");
        assert_eq!(demand.largest_u, None);
        assert!(demand.loq_by.contains("our choice"));
    }

    #[test]
    fn food_has_the_criteria_of_its_regulation() {
        // Regulation (EU) 2022/2418: cadmium, maximum level from 0.1 mg/kg on: LOQ at most a fifth.
        let figure = order::ResultKind::MassFraction.read("0.60 mg/kg").unwrap();
        let demand = of(Handbook::shipped(), "Cd", &limit(figure, "Regulation (EU) 2023/915, Annex I, 3.2")).unwrap();
        assert!((demand.in_unit(demand.largest_loq) - 0.12).abs() < 1e-9);
    }

    #[test]
    fn most_printed_limits_can_be_asked_about_and_the_others_say_why() {
        let handbook = Handbook::shipped();
        let told: Vec<String> = handbook
            .limits()
            .iter()
            .filter_map(|limit| of_printed(handbook, limit).err())
            .map(|fault| fault.to_string())
            .collect();
        assert!(told.len() < handbook.limits().len() / 3, "{told:?}");
        assert!(
            told.iter().all(|words| words.contains("no single figure") || words.contains("is no unit")),
            "{told:?}"
        );
    }
}
