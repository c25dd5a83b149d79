//! The truth: what is really in the vessels, how the bench stands, and what goes wrong.
//!
//! [`Truth::from_toml`] reads `truth.toml`, format `darkline/truth/1`. Figures are written with their units, as in every
//! document of the house; a true value may be of any kind that results have.
//!
//! Invariant: a truth that passed [`Truth::check`] has no figure below zero and none beyond what matter allows.

use std::collections::BTreeSet;

use darkline_metrology::kind::{Absorbance, Factor, Kind, Mass, MassConcentration, Volume};
use darkline_record::figure::Written;
use darkline_record::identity::{BatchId, Element, SampleId};
use darkline_record::order::ResultFigure;
use serde::{Deserialize, Serialize};

/// The format this version reads and writes.
pub const FORMAT: &str = "darkline/truth/1";

/// What is really there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Truth {
    /// [`FORMAT`].
    pub format: String,
    /// The element it is the truth about.
    pub element: Element,
    /// The seed to simulate with where no other is asked for.
    pub seed: u64,
    /// How the bench stands.
    pub spectrometer: BenchTruth,
    /// What the preparation of a batch does.
    #[serde(default, rename = "batch")]
    pub batches: Vec<BatchTruth>,
    /// What the control materials hold.
    #[serde(default, rename = "control")]
    pub controls: Vec<ControlTruth>,
    /// What the samples hold.
    #[serde(default, rename = "sample")]
    pub samples: Vec<SampleTruth>,
    /// What goes wrong.
    #[serde(default, rename = "fault")]
    pub faults: Vec<PlannedFault>,
}

/// How the bench stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BenchTruth {
    /// Mass of the element that gives an integrated absorbance of 0.0044 s.
    pub characteristic_mass: Written<Mass>,
    /// Volume put into the tube.
    pub injected_volume: Written<Volume>,
    /// Light no analyte absorbs over the absorbable light at absorbance 0; none where absent, and then responses are
    /// straight.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stray_light: Option<Written<Factor>>,
}

/// What the preparation of a batch does.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BatchTruth {
    /// The batch.
    pub id: BatchId,
    /// What the reagents put into every solution of it.
    pub blank: Written<MassConcentration>,
    /// Standard deviation of that from vessel to vessel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub between_vessels: Option<Written<MassConcentration>>,
    /// What of the element in a portion comes into its solution.
    pub recovery: Written<Factor>,
}

/// What a control material holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ControlTruth {
    /// The material, as the preparation calls it.
    pub material: String,
    /// Its true value.
    #[serde(with = "figure_text")]
    pub value: ResultFigure,
    /// Height of the background pulse of its undiluted solution; none where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub background: Option<Written<Absorbance>>,
    /// Relative standard deviation of what its portions hold; all alike where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub between_portions: Option<Written<Factor>>,
}

/// What a sample holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SampleTruth {
    /// The sample.
    pub id: SampleId,
    /// Its true value.
    #[serde(with = "figure_text")]
    pub value: ResultFigure,
    /// Height of the background pulse of its undiluted solution; none where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub background: Option<Written<Absorbance>>,
    /// Relative standard deviation of what its portions hold; all alike where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub between_portions: Option<Written<Factor>>,
}

/// Something that goes wrong at the first attempt of one firing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlannedFault {
    /// The row.
    pub row: u32,
    /// Which replicate of it, from 1.
    pub replicate: u8,
    /// What.
    pub kind: Fault,
}

/// What can go wrong. A sample over range needs no fault: its true value makes it so.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Fault {
    /// A droplet stays on the tip: 30 % to 45 % of the volume arrives, spread along the tube, and leaves late with a tail.
    #[serde(rename = "bad injection")]
    BadInjection,
}

/// A text or a set of figures that is no truth.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TruthFault {
    /// The text does not have the form of the document.
    #[error("line {line}, column {column}: {message}")]
    Form {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What stands in the way.
        message: String,
    },
    /// Another format.
    #[error("the format is \"{found}\"; this version reads \"{FORMAT}\"")]
    Format {
        /// The format named.
        found: String,
    },
    /// A figure below zero.
    #[error("{what} is {found}; nothing real is below zero")]
    Negative {
        /// Whose figure, and which.
        what: String,
        /// The figure.
        found: String,
    },
    /// A figure that has to be above zero.
    #[error("{what} is {found}; it has to be above zero")]
    Zero {
        /// Whose figure, and which.
        what: String,
        /// The figure.
        found: String,
    },
    /// A figure beyond what there can be.
    #[error("{what} is {found}; at most {most} can be real")]
    Beyond {
        /// Whose figure, and which.
        what: String,
        /// The figure.
        found: String,
        /// The highest value taken.
        most: &'static str,
    },
    /// The truth is told twice.
    #[error("{what} stands here twice")]
    Twice {
        /// What.
        what: String,
    },
    /// Replicates count from 1.
    #[error("the fault at row {row} names replicate 0; replicates count from 1")]
    ReplicateZero {
        /// The row.
        row: u32,
    },
}

impl Truth {
    /// Reads a truth document.
    ///
    /// # Errors
    /// [`TruthFault::Form`] and [`TruthFault::Format`] for the text, the others as in [`Truth::check`].
    ///
    /// # Example
    /// ```
    /// use darkline_simulator::Truth;
    /// let truth = Truth::from_toml(r#"
    /// format = "darkline/truth/1"
    /// element = "Pb"
    /// seed = 1
    /// [spectrometer]
    /// characteristic_mass = "15 pg"
    /// injected_volume = "20 µL"
    /// [[sample]]
    /// id = "S01"
    /// value = "0.84 mg/kg"
    /// "#)?;
    /// assert_eq!(truth.samples[0].value.to_string(), "0.84 mg/kg");
    /// # Ok::<(), darkline_simulator::TruthFault>(())
    /// ```
    pub fn from_toml(text: &str) -> Result<Self, TruthFault> {
        let truth: Truth = toml::from_str(text).map_err(|error| {
            let before = &text[..error.span().map_or(0, |span| text.floor_char_boundary(span.start))];
            TruthFault::Form {
                line: before.matches('\n').count() + 1,
                column: before.rsplit('\n').next().map_or(0, |line| line.chars().count()) + 1,
                message: error.message().into(),
            }
        })?;
        truth.check()?;
        Ok(truth)
    }

    /// Holds every figure against what can be real.
    ///
    /// # Errors
    /// The first of [`TruthFault::Format`], [`TruthFault::Negative`], [`TruthFault::Zero`], [`TruthFault::Beyond`],
    /// [`TruthFault::Twice`] and [`TruthFault::ReplicateZero`] in the order of the document.
    pub fn check(&self) -> Result<(), TruthFault> {
        if self.format != FORMAT {
            return Err(TruthFault::Format { found: self.format.chars().take(80).collect() });
        }
        let bench = &self.spectrometer;
        above_zero("the characteristic mass", &bench.characteristic_mass)?;
        within("the characteristic mass", &bench.characteristic_mass, 1e-3, "1 g")?;
        above_zero("the injected volume", &bench.injected_volume)?;
        within("the injected volume", &bench.injected_volume, 1e-6, "1 mL")?;
        optional("the stray light", bench.stray_light.as_ref(), 1.0, "1")?;

        let mut seen = BTreeSet::new();
        let mut once = |what: String| {
            if seen.insert(what.clone()) { Ok(()) } else { Err(TruthFault::Twice { what }) }
        };
        for batch in &self.batches {
            let name = format!("batch {}", batch.id);
            within(&format!("the blank of {name}"), &batch.blank, DENSEST, "1 kg/L")?;
            optional(
                &format!("the scatter between vessels of {name}"),
                batch.between_vessels.as_ref(),
                DENSEST,
                "1 kg/L",
            )?;
            within(&format!("the recovery of {name}"), &batch.recovery, 10.0, "10")?;
            once(name)?;
        }
        for control in &self.controls {
            let name = format!("control \"{}\"", control.material.chars().take(80).collect::<String>());
            material(&name, &control.value, control.background.as_ref(), control.between_portions.as_ref())?;
            once(name)?;
        }
        for sample in &self.samples {
            let name = format!("sample {}", sample.id);
            material(&name, &sample.value, sample.background.as_ref(), sample.between_portions.as_ref())?;
            once(name)?;
        }
        for fault in &self.faults {
            if fault.replicate == 0 {
                return Err(TruthFault::ReplicateZero { row: fault.row });
            }
            once(format!("a fault at row {}, replicate {},", fault.row, fault.replicate))?;
        }
        Ok(())
    }

    /// The truth about a sample.
    pub fn sample(&self, id: &SampleId) -> Option<&SampleTruth> {
        self.samples.iter().find(|sample| sample.id == *id)
    }
    /// The truth about a control material.
    pub fn control(&self, material: &str) -> Option<&ControlTruth> {
        self.controls.iter().find(|control| control.material == material)
    }
    /// The truth about a batch.
    pub fn batch(&self, id: &BatchId) -> Option<&BatchTruth> {
        self.batches.iter().find(|batch| batch.id == *id)
    }
    /// What goes wrong at a firing.
    pub fn fault(&self, row: u32, replicate: u8, attempt: u8) -> Option<Fault> {
        let planned = self.faults.iter().find(|fault| fault.row == row && fault.replicate == replicate);
        planned.filter(|_| attempt == 1).map(|fault| fault.kind)
    }
}

/// The most a litre of solution can hold, in kg/m³; a generous bound that keeps all arithmetic finite.
pub(crate) const DENSEST: f64 = 1000.0;

fn material(
    name: &str,
    value: &ResultFigure,
    background: Option<&Written<Absorbance>>,
    between_portions: Option<&Written<Factor>>,
) -> Result<(), TruthFault> {
    let (most, most_text) = match value {
        ResultFigure::MassConcentration(_) => (DENSEST, "1 kg/L"),
        ResultFigure::MassFraction(_) => (1.0, "1 kg/kg"),
        ResultFigure::ReleasePerArea(_) => (1.0, "1 kg/m²"),
        ResultFigure::AmountPerDose(_) => (1.0, "1 kg"),
    };
    hold(&format!("the value of {name}"), value.si(), &value.to_string(), most, most_text)?;
    optional(&format!("the background of {name}"), background, 1000.0, "1000")?;
    optional(&format!("the scatter between portions of {name}"), between_portions, 1.0, "1")
}

fn hold(what: &str, si: f64, found: &str, most: f64, most_text: &'static str) -> Result<(), TruthFault> {
    if si < 0.0 {
        return Err(TruthFault::Negative { what: what.into(), found: found.into() });
    }
    if si > most {
        return Err(TruthFault::Beyond { what: what.into(), found: found.into(), most: most_text });
    }
    Ok(())
}

fn within<K: Kind>(what: &str, figure: &Written<K>, most: f64, most_text: &'static str) -> Result<(), TruthFault> {
    hold(what, figure.value().si(), &figure.to_string(), most, most_text)
}

fn optional<K: Kind>(
    what: &str,
    figure: Option<&Written<K>>,
    most: f64,
    most_text: &'static str,
) -> Result<(), TruthFault> {
    figure.map_or(Ok(()), |figure| within(what, figure, most, most_text))
}

fn above_zero<K: Kind>(what: &str, figure: &Written<K>) -> Result<(), TruthFault> {
    if figure.value().si() > 0.0 {
        Ok(())
    } else {
        Err(TruthFault::Zero { what: what.into(), found: figure.to_string() })
    }
}

/// A true value as text: the unit says which kind it is.
mod figure_text {
    use darkline_record::order::{ResultFigure, ResultKind};
    use serde::de::Error as _;
    use serde::{Deserialize, Deserializer, Serializer};

    pub fn serialize<S: Serializer>(figure: &ResultFigure, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(figure)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<ResultFigure, D::Error> {
        let text = String::deserialize(deserializer)?;
        let mut kinds = ResultKind::ALL.into_iter();
        kinds
            .find_map(|kind| kind.read(&text).ok())
            .map_or_else(|| ResultKind::MassFraction.read(&text), Ok)
            .map_err(D::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::small_run;
    use proptest::prelude::*;

    fn told(from: &str, to: &str) -> String {
        let text = small_run::TRUTH.replacen(from, to, 1);
        assert_ne!(text, small_run::TRUTH, "{from}");
        Truth::from_toml(&text).unwrap_err().to_string()
    }

    #[test]
    fn a_truth_is_read_as_it_is_written() {
        let truth = small_run::truth();
        let text = toml::to_string(&truth).unwrap();
        assert_eq!(Truth::from_toml(&text).unwrap(), truth);
    }

    #[test]
    fn absurd_figures_are_told() {
        let cases = [
            ("\"1.20 mg/kg\"", "\"-1.20 mg/kg\"", "the value of sample S01 is -1.20 mg/kg; nothing real is below zero"),
            ("\"1.20 mg/kg\"", "\"1200 g/kg\"", "the value of sample S01 is 1200 g/kg; at most 1 kg/kg can be real"),
            (
                "\"1.20 mg/kg\"",
                "\"1e300 mg/kg\"",
                "the value of sample S01 is 1e300 mg/kg; at most 1 kg/kg can be real",
            ),
            ("\"15 pg\"", "\"0 pg\"", "the characteristic mass is 0 pg; it has to be above zero"),
            ("\"20 µL\"", "\"-20 µL\"", "the injected volume is -20 µL; it has to be above zero"),
            ("\"20 µL\"", "\"3 L\"", "the injected volume is 3 L; at most 1 mL can be real"),
            (
                "darkline/truth/1",
                "darkline/truth/2",
                "the format is \"darkline/truth/2\"; this version reads \"darkline/truth/1\"",
            ),
            ("replicate = 2", "replicate = 0", "the fault at row 5 names replicate 0; replicates count from 1"),
            ("id = \"S02\"", "id = \"S01\"", "sample S01 stands here twice"),
        ];
        for (from, to, expected) in cases {
            assert_eq!(told(from, to), expected);
        }
    }

    #[test]
    fn a_wrong_text_is_told_with_its_place() {
        let cases = [
            (
                "\"1.20 mg/kg\"",
                "\"NaN mg/kg\"",
                "line 22, column 9: \"NaN mg/kg\" does not begin with a number; write a mass fraction, for example \"0.30 mg/kg\"",
            ),
            (
                "\"1.20 mg/kg\"",
                "\"1.20 mg/kilo\"",
                "line 22, column 9: the unit \"mg/kilo\" is not known; a mass fraction is written in mg/kg, µg/kg, ng/g, µg/g, ng/kg, g/kg, mg/g, g/g, %",
            ),
            (
                "\"20 µL\"",
                "\"20 µg/L\"",
                "line 7, column 19: a mass concentration stands where a volume is wanted; write a volume, for example \"20 µL\"",
            ),
            (
                "recovery",
                "recover",
                "line 11, column 1: unknown field `recover`, expected one of `id`, `blank`, `between_vessels`, `recovery`",
            ),
            (
                "\"bad injection\"",
                "\"bad luck\"",
                "line 31, column 8: unknown variant `bad luck`, expected `bad injection`",
            ),
        ];
        for (from, to, expected) in cases {
            assert_eq!(told(from, to), expected);
        }
    }

    proptest! {
        #[test]
        fn any_text_is_a_truth_or_told(text in "\\PC{0,200}") {
            let _ = Truth::from_toml(&text);
        }

        #[test]
        fn a_truth_with_any_text_in_it_is_a_truth_or_told(place in 0..700_usize, text in "\\PC{0,6}") {
            let place = small_run::TRUTH.floor_char_boundary(place);
            let (before, after) = small_run::TRUTH.split_at(place);
            let _ = Truth::from_toml(&format!("{before}{text}{after}"));
        }
    }
}
