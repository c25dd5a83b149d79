//! Reported results beside the truth: true value, found value, zeta and En.
//!
//! [`judge`] holds each result against the truth of its sample; the [`Judgement`] prints as a table.
//!
//! The truth is the sample's, not the portion's: what scatters between portions is part of the difference, as it is part
//! of what a customer sees.

use std::fmt;

use darkline_metrology::kind::{Kind, Unit};
use darkline_record::identity::SampleId;
use darkline_record::order::{ResultFigure, ResultKind};

use crate::truth::Truth;

/// A result as it was reported, in SI.
#[derive(Clone, Debug, PartialEq)]
pub struct ReportedResult {
    /// The sample.
    pub sample: SampleId,
    /// The kind of result.
    pub kind: ResultKind,
    /// What was found.
    pub found: Found,
}

/// What was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Found {
    /// A value with its combined standard uncertainty.
    Value {
        /// The value.
        value: f64,
        /// Its standard uncertainty.
        u: f64,
        /// Its expanded uncertainty, as reported.
        expanded_u: f64,
    },
    /// Less than the quantification limit.
    Below {
        /// The limit.
        limit: f64,
    },
}

/// Results beside the truth, in the order they were given.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// One line a result.
    pub lines: Vec<Judged>,
}

/// One result beside the truth.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The sample.
    pub sample: SampleId,
    /// Its true value.
    pub truth: ResultFigure,
    /// What was found.
    pub found: Found,
    /// How it stands to the truth.
    pub outcome: Outcome,
}

/// How a result stands to the truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outcome {
    /// A value, this far from the truth.
    Difference {
        /// Found minus true, in SI.
        difference: f64,
        /// The difference over u: zeta.
        over_u: f64,
        /// The difference over U: En.
        en: f64,
    },
    /// Reported as below a limit, and so it is.
    RightlyBelow,
    /// Reported as below a limit that it is not below.
    WronglyBelow,
}

/// Why results cannot be judged.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum JudgeFault {
    /// The truth says nothing about the sample.
    #[error("the truth says nothing about sample {sample}")]
    NoSampleTruth {
        /// The sample.
        sample: SampleId,
    },
    /// The truth is of another kind.
    #[error("sample {sample} is reported as {found}, its truth is {wanted}")]
    OtherKind {
        /// The sample.
        sample: SampleId,
        /// The kind reported.
        found: &'static str,
        /// The kind of the truth.
        wanted: &'static str,
    },
    /// A figure that is no number, or an uncertainty that is not above zero.
    #[error("sample {sample} is reported with a {what} of {found}")]
    Figure {
        /// The sample.
        sample: SampleId,
        /// Which figure.
        what: &'static str,
        /// The figure.
        found: f64,
    },
}

/// Holds reported results against the truth.
///
/// # Arguments
/// * `results`: in the order the table shall have.
///
/// # Errors
/// [`JudgeFault`].
///
/// # Source
/// The difference over u is the zeta score, that over U the En score, with a reference without uncertainty: ISO 13528:2022,
/// 9.6 and 9.7 (from memory). Beyond 2 and beyond 1 they count as a signal.
///
/// # Example
/// ```
/// use darkline_record::order::ResultKind;
/// use darkline_simulator::{Found, ReportedResult, Truth, judge};
/// let truth = Truth::from_toml(r#"
/// format = "darkline/truth/1"
/// element = "Pb"
/// seed = 1
/// spectrometer = { characteristic_mass = "15 pg", injected_volume = "20 µL" }
/// sample = [{ id = "S01", value = "0.84 mg/kg" }]
/// "#)?;
/// let found = Found::Value { value: 0.87e-6, u: 0.02e-6, expanded_u: 0.04e-6 };
/// let result = ReportedResult { sample: "S01".parse()?, kind: ResultKind::MassFraction, found };
/// assert_eq!(
///     judge(&truth, &[result])?.to_string(),
///     "sample  true        found  u      zeta     En\n\
///      S01     0.84 mg/kg  0.870  0.020  +1.5  +0.75\n\
///      1 of 1 values within 2 u of the truth, 1 within U\n"
/// );
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn judge(truth: &Truth, results: &[ReportedResult]) -> Result<Judgement, JudgeFault> {
    let lines = results.iter().map(|result| {
        let sample = || result.sample.clone();
        let known = truth.sample(&result.sample);
        let known = &known.ok_or_else(|| JudgeFault::NoSampleTruth { sample: sample() })?.value;
        if known.kind() != result.kind {
            return Err(JudgeFault::OtherKind {
                sample: sample(),
                found: result.kind.words(),
                wanted: known.kind().words(),
            });
        }
        let number = |what, figure: f64, stands: bool| {
            if stands { Ok(figure) } else { Err(JudgeFault::Figure { sample: sample(), what, found: figure }) }
        };
        let outcome = match result.found {
            Found::Value { value, u, expanded_u } => {
                let value = number("value", value, value.is_finite())?;
                let u = number("standard uncertainty", u, u.is_finite() && u > 0.0)?;
                let is_one = expanded_u.is_finite() && expanded_u > 0.0;
                let expanded_u = number("expanded uncertainty", expanded_u, is_one)?;
                let difference = value - known.si();
                Outcome::Difference { difference, over_u: difference / u, en: difference / expanded_u }
            }
            Found::Below { limit } => {
                let limit = number("limit", limit, limit.is_finite())?;
                if known.si() < limit { Outcome::RightlyBelow } else { Outcome::WronglyBelow }
            }
        };
        Ok(Judged { sample: sample(), truth: known.clone(), found: result.found, outcome })
    });
    Ok(Judgement { lines: lines.collect::<Result<_, _>>()? })
}

impl Judgement {
    /// Differences over u of the results that have a value.
    pub fn over_u(&self) -> impl Iterator<Item = f64> {
        self.lines.iter().filter_map(|line| match line.outcome {
            Outcome::Difference { over_u, .. } => Some(over_u),
            Outcome::RightlyBelow | Outcome::WronglyBelow => None,
        })
    }
    /// Number of values not farther than this many u from the truth.
    pub fn within(&self, coverage_factor: f64) -> usize {
        self.over_u().filter(|over_u| over_u.abs() <= coverage_factor).count()
    }
    /// Number of values whose interval of ± U holds the truth.
    pub fn covered(&self) -> usize {
        let holds = |line: &&Judged| matches!(line.outcome, Outcome::Difference { en, .. } if en.abs() <= 1.0);
        self.lines.iter().filter(holds).count()
    }
    /// Number of results reported as below a limit that they are not below.
    pub fn wrongly_below(&self) -> usize {
        self.lines.iter().filter(|line| line.outcome == Outcome::WronglyBelow).count()
    }
}

impl fmt::Display for Judgement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let head = ["sample", "true", "found", "u", "zeta", "En"].map(String::from);
        let rows: Vec<[String; 6]> = [head].into_iter().chain(self.lines.iter().map(Judged::cells)).collect();
        let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
        let [sample, truth, found, u, zeta, en] = [0, 1, 2, 3, 4, 5].map(width);
        for row in &rows {
            writeln!(
                f,
                "{:sample$}  {:truth$}  {:found$}  {:u$}  {:>zeta$}  {:>en$}",
                row[0], row[1], row[2], row[3], row[4], row[5]
            )?;
        }
        let values = self.over_u().count();
        let wrongly = self.wrongly_below();
        writeln!(f, "{} of {values} values within 2 u of the truth, {} within U", self.within(2.0), self.covered())?;
        if wrongly > 0 {
            writeln!(f, "{wrongly} wrongly reported as below the limit")?;
        }
        Ok(())
    }
}

impl Judged {
    fn cells(&self) -> [String; 6] {
        let in_unit = |si: f64| read(&self.truth, si);
        let (found, u) = match self.found {
            Found::Value { value, u, .. } => {
                let u = in_unit(u);
                let decimals = decimals_of(u);
                (format!("{:.decimals$}", in_unit(value)), format!("{u:.decimals$}"))
            }
            Found::Below { limit } => {
                let limit = in_unit(limit);
                (format!("below {limit:.*}", decimals_of(limit)), String::new())
            }
        };
        let (zeta, en) = match self.outcome {
            Outcome::Difference { over_u, en, .. } => (format!("{over_u:+.1}"), format!("{en:+.2}")),
            Outcome::RightlyBelow => (String::new(), "below".into()),
            Outcome::WronglyBelow => (String::new(), "not below".into()),
        };
        [self.sample.to_string(), self.truth.to_string(), found, u, zeta, en]
    }
}

/// Decimals that show two significant digits of a figure; between 0 and 12.
fn decimals_of(figure: f64) -> usize {
    let decimals = 1.0 - libm::log10(figure.abs()).floor();
    // A cast of a float to an integer saturates, also for what is no number.
    decimals.clamp(0.0, 12.0) as usize
}

/// A figure in SI, in the unit the truth is written in.
fn read(truth: &ResultFigure, si: f64) -> f64 {
    fn in_unit<K: Kind>(unit: Unit<K>, si: f64) -> f64 {
        unit.read(K::from_si(si))
    }
    match truth {
        ResultFigure::MassConcentration(figure) => in_unit(figure.unit(), si),
        ResultFigure::MassFraction(figure) => in_unit(figure.unit(), si),
        ResultFigure::ReleasePerArea(figure) => in_unit(figure.unit(), si),
        ResultFigure::AmountPerDose(figure) => in_unit(figure.unit(), si),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::small_run;

    fn result(sample: &str, found: Found) -> ReportedResult {
        ReportedResult { sample: sample.parse().unwrap(), kind: ResultKind::MassFraction, found }
    }

    #[test]
    fn a_result_is_held_against_the_truth_of_its_sample() {
        let results = [
            result("S01", Found::Value { value: 1.15e-6, u: 0.02e-6, expanded_u: 0.04e-6 }),
            result("S02", Found::Below { limit: 0.2e-6 }),
            result("S02", Found::Below { limit: 10e-6 }),
        ];
        let judgement = judge(&small_run::truth(), &results).unwrap();
        let Outcome::Difference { difference, over_u, en } = judgement.lines[0].outcome else { panic!() };
        assert!((difference + 0.05e-6).abs() < 1e-18 && (over_u + 2.5).abs() < 1e-9 && (en + 1.25).abs() < 1e-9);
        assert_eq!(judgement.covered(), 0);
        assert_eq!(judgement.lines[1].outcome, Outcome::WronglyBelow);
        assert_eq!(judgement.lines[2].outcome, Outcome::RightlyBelow);
        assert_eq!((judgement.within(2.0), judgement.within(3.0), judgement.wrongly_below()), (0, 1, 1));
        assert_eq!(
            judgement.to_string(),
            "sample  true        found       u      zeta         En\n\
             S01     1.20 mg/kg  1.150       0.020  -2.5      -1.25\n\
             S02     9 mg/kg     below 0.20               not below\n\
             S02     9 mg/kg     below 10                     below\n\
             0 of 1 values within 2 u of the truth, 0 within U\n\
             1 wrongly reported as below the limit\n"
        );
    }

    #[test]
    fn what_cannot_be_judged_is_told() {
        let truth = small_run::truth();
        let told = |result: ReportedResult| judge(&truth, &[result]).unwrap_err().to_string();
        let value = |value, u| Found::Value { value, u, expanded_u: 2.0 * u };
        assert_eq!(told(result("S99", value(1e-6, 1e-8))), "the truth says nothing about sample S99");
        assert_eq!(told(result("S01", value(f64::NAN, 1e-8))), "sample S01 is reported with a value of NaN");
        assert_eq!(told(result("S01", value(1e-6, 0.0))), "sample S01 is reported with a standard uncertainty of 0");
        let other = ReportedResult { kind: ResultKind::AmountPerDose, ..result("S01", value(1e-6, 1e-8)) };
        assert_eq!(told(other), "sample S01 is reported as amount per dose, its truth is mass fraction");
    }
}
