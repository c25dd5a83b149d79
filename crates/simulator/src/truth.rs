//! The truth: what is really in the vessels, how the bench stands, and what goes wrong.
//!
//! [`Truth::from_toml`] reads `truth.toml`, format `darkline/truth/1`. Figures are written with their units, as in every
//! document of the house; a true value may be of any kind that results have. What can go wrong stands in [`crate::fault`].
//!
//! Invariant: a truth that passed [`Truth::check`] has no figure below zero and none beyond what matter allows.

use std::collections::BTreeSet;

use darkline_metrology::kind::{Absorbance, Duration, Factor, Kind, Mass, MassConcentration, Volume};
use darkline_record::figure::Written;
use darkline_record::identity::{BatchId, Element, SampleId};
use darkline_record::order::ResultFigure;
use serde::{Deserialize, Serialize};

use crate::fault::{Fault, FaultFault, PlannedFault};
use crate::place::{self, Step};

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

/// How the bench stands. A furnace has the first two figures, a flame the third.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BenchTruth {
    /// Mass of the element that gives an integrated absorbance of 0.0044 s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub characteristic_mass: Option<Written<Mass>>,
    /// Volume put into the tube.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub injected_volume: Option<Written<Volume>>,
    /// Mass concentration that gives an absorbance of 0.0044 in the flame.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub characteristic_concentration: Option<Written<MassConcentration>>,
    /// Light no analyte absorbs over the absorbable light at absorbance 0; none where absent, and then responses are
    /// straight.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stray_light: Option<Written<Factor>>,
    /// Part of the analyte's absorbance that the field leaves in the background channel; none where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field_left: Option<Written<Factor>>,
    /// Part of the analyte's absorbance that a middle field strength leaves, for a bench that reads at three; pulses have two
    /// channels where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub middle_field_left: Option<Written<Factor>>,
    /// Part of an amount that the next reading shows; none where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub memory: Option<Written<Factor>>,
    /// Part of the sensitivity that the lamp lacks at the first reading of the run, less by a factor of e every 20 readings;
    /// none where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cold_lamp: Option<Written<Factor>>,
    /// Time by which a platform lags the wall of the tube; atoms then come as they leave a heated surface. Where absent
    /// they come with one rate of supply.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub platform_lag: Option<Written<Duration>>,
    /// Part of the sensitivity that each reading costs; that of the bench where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ageing: Option<Written<Factor>>,
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
    /// Part of the response that its matrix takes, in its own undiluted solution; none where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub suppression: Option<Written<Factor>>,
    /// The same for what is added to a spiked portion, whose species may be another; that of the matrix where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub suppression_of_spike: Option<Written<Factor>>,
    /// Mass of the portions that are weighed into the tube, on average; 0.3 mg where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub portion_mass: Option<Written<Mass>>,
    /// Sampling constant: the mass of portions that scatter by 1 %; all alike where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sampling_constant: Option<Written<Mass>>,
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
    /// Part of the response that its matrix takes, in its own undiluted solution; none where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub suppression: Option<Written<Factor>>,
    /// The same for what is added to a spiked portion, whose species may be another; that of the matrix where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub suppression_of_spike: Option<Written<Factor>>,
    /// Mass of the portions that are weighed into the tube, on average; 0.3 mg where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub portion_mass: Option<Written<Mass>>,
    /// Sampling constant: the mass of portions that scatter by 1 %; all alike where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sampling_constant: Option<Written<Mass>>,
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
    /// A bench that is neither a furnace nor a flame.
    #[error("the bench has neither a characteristic_mass with its injected_volume nor a characteristic_concentration")]
    NoBench,
    /// A fault that cannot be.
    #[error(transparent)]
    Fault(#[from] FaultFault),
    /// A fault of no single reading that names a replicate.
    #[error("{fault} at row {row} names a replicate; it reaches more than one reading")]
    Replicate {
        /// The fault.
        fault: Fault,
        /// The row.
        row: u32,
    },
    /// One of the others, with its place in the text.
    #[error("line {line}, column {column}: {fault}")]
    At {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What stands there.
        fault: Box<TruthFault>,
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
            let (line, column) = place::of_byte(text, error.span().map_or(0, |span| span.start));
            TruthFault::Form { line, column, message: error.message().into() }
        })?;
        truth.first_fault().map_err(|(path, fault)| {
            let (line, column) = place::of(text, &path);
            TruthFault::At { line, column, fault: Box::new(fault) }
        })?;
        Ok(truth)
    }

    /// Where a fault of this truth stands in the text it was read from: line and column, from 1.
    ///
    /// # Arguments
    /// * `number`: its place in [`Truth::faults`].
    pub fn place_of_fault(text: &str, number: usize) -> (usize, usize) {
        place::of(text, &[Step::Key("fault"), Step::Nth(number), Step::Key("row")])
    }

    /// Holds every figure against what can be real.
    ///
    /// # Errors
    /// The first [`TruthFault`] in the order of the document, without its place in a text.
    pub fn check(&self) -> Result<(), TruthFault> {
        self.first_fault().map_err(|(_, fault)| fault)
    }

    fn first_fault(&self) -> Result<(), (Vec<Step>, TruthFault)> {
        use Step::{Key, Nth};
        let at = |path: &[Step], held: Result<(), TruthFault>| held.map_err(|fault| (path.to_vec(), fault));
        if self.format != FORMAT {
            let fault = TruthFault::Format { found: self.format.chars().take(80).collect() };
            return at(&[Key("format")], Err(fault));
        }
        let bench = &self.spectrometer;
        let of_bench = |key: &'static str, held: Result<(), TruthFault>| at(&[Key("spectrometer"), Key(key)], held);
        if bench.characteristic_concentration.is_none()
            && (bench.characteristic_mass.is_none() || bench.injected_volume.is_none())
        {
            return at(&[Key("spectrometer")], Err(TruthFault::NoBench));
        }
        if let Some(mass) = &bench.characteristic_mass {
            let what = "the characteristic mass";
            of_bench("characteristic_mass", above_zero(what, mass).and_then(|()| within(what, mass, 1e-3, "1 g")))?;
        }
        if let Some(volume) = &bench.injected_volume {
            let what = "the injected volume";
            of_bench("injected_volume", above_zero(what, volume).and_then(|()| within(what, volume, 1e-6, "1 mL")))?;
        }
        if let Some(amount) = &bench.characteristic_concentration {
            let what = "the characteristic concentration";
            let held = above_zero(what, amount).and_then(|()| within(what, amount, DENSEST, "1 kg/L"));
            of_bench("characteristic_concentration", held)?;
        }
        let parts = [
            ("stray_light", "the stray light", &bench.stray_light, 1.0, "1"),
            ("field_left", "what the field leaves", &bench.field_left, 0.95, "0.95"),
            ("middle_field_left", "what the middle field leaves", &bench.middle_field_left, 0.99, "0.99"),
            ("memory", "the memory", &bench.memory, 0.5, "0.5"),
            ("cold_lamp", "what the cold lamp lacks", &bench.cold_lamp, 0.95, "0.95"),
            ("ageing", "the ageing", &bench.ageing, 0.5, "0.5"),
        ];
        for (key, what, figure, most, most_text) in parts {
            of_bench(key, optional(what, figure.as_ref(), most, most_text))?;
        }
        of_bench("platform_lag", optional("the lag of the platform", bench.platform_lag.as_ref(), 10.0, "10 s"))?;

        let mut seen = BTreeSet::new();
        let mut once = |what: String| {
            if seen.insert(what.clone()) { Ok(()) } else { Err(TruthFault::Twice { what }) }
        };
        for (number, batch) in self.batches.iter().enumerate() {
            let own = |key, held| at(&[Key("batch"), Nth(number), Key(key)], held);
            let name = format!("batch {}", batch.id);
            own("blank", within(&format!("the blank of {name}"), &batch.blank, DENSEST, "1 kg/L"))?;
            let between = batch.between_vessels.as_ref();
            let what = format!("the scatter between vessels of {name}");
            own("between_vessels", optional(&what, between, DENSEST, "1 kg/L"))?;
            own("recovery", within(&format!("the recovery of {name}"), &batch.recovery, 10.0, "10"))?;
            own("id", once(name))?;
        }
        for (number, control) in self.controls.iter().enumerate() {
            let own = |key, held| at(&[Key("control"), Nth(number), Key(key)], held);
            let name = format!("control \"{}\"", control.material.chars().take(80).collect::<String>());
            material(&own, &name, &MaterialTruth::from(control))?;
            own("material", once(name))?;
        }
        for (number, sample) in self.samples.iter().enumerate() {
            let own = |key, held| at(&[Key("sample"), Nth(number), Key(key)], held);
            let name = format!("sample {}", sample.id);
            material(&own, &name, &MaterialTruth::from(sample))?;
            own("id", once(name))?;
        }
        for (number, fault) in self.faults.iter().enumerate() {
            let own = |key, held| at(&[Key("fault"), Nth(number), Key(key)], held);
            let (row, kind) = (fault.row, fault.kind);
            if fault.replicate == Some(0) {
                own("replicate", Err(TruthFault::ReplicateZero { row }))?;
            }
            if fault.replicate.is_some() && kind.facts().reach != crate::fault::Reach::Reading {
                own("replicate", Err(TruthFault::Replicate { fault: kind, row }))?;
            }
            own("size", fault.check().map_err(TruthFault::Fault))?;
            own(
                "row",
                once(match fault.replicate {
                    Some(replicate) => format!("{kind} at row {row}, replicate {replicate},"),
                    None => format!("{kind} at row {row}"),
                }),
            )?;
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
}

/// The most a litre of solution can hold, in kg/m³; a generous bound that keeps all arithmetic finite.
pub(crate) const DENSEST: f64 = 1000.0;

/// What samples and control materials have in common.
#[derive(Clone, Copy, Debug)]
pub(crate) struct MaterialTruth<'a> {
    pub(crate) value: &'a ResultFigure,
    pub(crate) background: Option<&'a Written<Absorbance>>,
    pub(crate) between_portions: Option<&'a Written<Factor>>,
    pub(crate) suppression: Option<&'a Written<Factor>>,
    pub(crate) suppression_of_spike: Option<&'a Written<Factor>>,
    pub(crate) portion_mass: Option<&'a Written<Mass>>,
    pub(crate) sampling_constant: Option<&'a Written<Mass>>,
}

macro_rules! material_truth {
    ($($of:ident),+) => {$(
        impl<'a> From<&'a $of> for MaterialTruth<'a> {
            fn from(of: &'a $of) -> Self {
                Self {
                    value: &of.value,
                    background: of.background.as_ref(),
                    between_portions: of.between_portions.as_ref(),
                    suppression: of.suppression.as_ref(),
                    suppression_of_spike: of.suppression_of_spike.as_ref(),
                    portion_mass: of.portion_mass.as_ref(),
                    sampling_constant: of.sampling_constant.as_ref(),
                }
            }
        }
    )+};
}

material_truth!(ControlTruth, SampleTruth);

type Placed = Result<(), (Vec<Step>, TruthFault)>;

fn material(
    own: &impl Fn(&'static str, Result<(), TruthFault>) -> Placed,
    name: &str,
    of: &MaterialTruth<'_>,
) -> Placed {
    let (most, most_text) = match of.value {
        ResultFigure::MassConcentration(_) => (DENSEST, "1 kg/L"),
        ResultFigure::MassFraction(_) => (1.0, "1 kg/kg"),
        ResultFigure::ReleasePerArea(_) => (1.0, "1 kg/m²"),
        ResultFigure::AmountPerDose(_) => (1.0, "1 kg"),
    };
    let value = of.value;
    own("value", hold(&format!("the value of {name}"), value.si(), &value.to_string(), most, most_text))?;
    own("background", optional(&format!("the background of {name}"), of.background, 1000.0, "1000"))?;
    let what = format!("the scatter between portions of {name}");
    own("between_portions", optional(&what, of.between_portions, 1.0, "1"))?;
    own("suppression", optional(&format!("the suppression of {name}"), of.suppression, 1.0, "1"))?;
    let what = format!("the suppression of a spike of {name}");
    own("suppression_of_spike", optional(&what, of.suppression_of_spike, 1.0, "1"))?;
    if let Some(mass) = of.portion_mass {
        let what = format!("the mass of portions of {name}");
        own("portion_mass", above_zero(&what, mass).and_then(|()| within(&what, mass, 1e-3, "1 g")))?;
    }
    let what = format!("the sampling constant of {name}");
    own("sampling_constant", optional(&what, of.sampling_constant, 1.0, "1 kg"))
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
            (
                "\"1.20 mg/kg\"",
                "\"-1.20 mg/kg\"",
                "line 22, column 9: the value of sample S01 is -1.20 mg/kg; nothing real is below zero",
            ),
            (
                "\"1.20 mg/kg\"",
                "\"1200 g/kg\"",
                "line 22, column 9: the value of sample S01 is 1200 g/kg; at most 1 kg/kg can be real",
            ),
            (
                "\"1.20 mg/kg\"",
                "\"1e300 mg/kg\"",
                "line 22, column 9: the value of sample S01 is 1e300 mg/kg; at most 1 kg/kg can be real",
            ),
            ("\"15 pg\"", "\"0 pg\"", "line 6, column 23: the characteristic mass is 0 pg; it has to be above zero"),
            ("\"20 µL\"", "\"-20 µL\"", "line 7, column 19: the injected volume is -20 µL; it has to be above zero"),
            ("\"20 µL\"", "\"3 L\"", "line 7, column 19: the injected volume is 3 L; at most 1 mL can be real"),
            (
                "injected_volume = \"20 µL\"\n",
                "",
                "line 5, column 1: the bench has neither a characteristic_mass with its injected_volume nor a \
                 characteristic_concentration",
            ),
            (
                "darkline/truth/1",
                "darkline/truth/2",
                "line 1, column 10: the format is \"darkline/truth/2\"; this version reads \"darkline/truth/1\"",
            ),
            (
                "replicate = 2",
                "replicate = 0",
                "line 33, column 13: the fault at row 5 names replicate 0; replicates count from 1",
            ),
            ("id = \"S02\"", "id = \"S01\"", "line 27, column 6: sample S01 stands here twice"),
            (
                "replicate = 2",
                "replicate = 2\nsize = \"3 s\"",
                "line 34, column 8: the size of bad-injection is a part of a whole, not \"3 s\"; write for example 62 %",
            ),
            (
                "\"bad injection\"",
                "\"worn tube\"",
                "line 33, column 13: worn-tube at row 5 names a replicate; it reaches more than one reading",
            ),
            (
                "replicate = 2",
                "replicate = 2\n[[fault]]\nrow = 5\nreplicate = 2\nkind = \"bad-injection\"",
                "line 35, column 7: bad-injection at row 5, replicate 2, stands here twice",
            ),
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
        ];
        for (from, to, expected) in cases {
            assert_eq!(told(from, to), expected);
        }
    }

    #[test]
    fn a_fault_nobody_knows_is_told_with_the_list_of_faults() {
        let told = told("\"bad injection\"", "\"bad luck\"");
        let begin = "line 31, column 8: there is no fault \"bad luck\"; the faults are bad-injection, late-release, ";
        assert!(told.starts_with(begin) && told.ends_with("wrong-mass, nugget"), "{told}");
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
