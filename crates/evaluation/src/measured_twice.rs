//! A sample measured by two methods, flame and furnace for instance: whether both say the same, and what they say together.

use std::collections::BTreeMap;

use darkline_record::identity::{Element, MethodId, SampleId};
use darkline_signal::two_ranges::{Reading, measured_twice};

use crate::outcome::{Outcome, ResultOutcome, ValueOutcome};

/// Two results of one element in one sample.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredTwice {
    /// The sample.
    pub sample: SampleId,
    /// The element.
    pub element: Element,
    /// The two methods.
    pub methods: (MethodId, MethodId),
    /// The value of the first and its standard uncertainty.
    pub one: (f64, f64),
    /// The value of the second and its standard uncertainty.
    pub other: (f64, f64),
    /// Correlation of the two by what both rest on: vessels, stock, recovery.
    pub correlation: f64,
    /// Second less first over the standard uncertainty of the difference.
    pub zeta: f64,
    /// The mean of least uncertainty and its standard uncertainty; `None` where they do not agree: no mean mends that.
    pub together: Option<(f64, f64)>,
    /// The unit of all values.
    pub unit: String,
}

impl Outcome {
    /// Elements that two methods have found in the same sample, in the order of the results.
    ///
    /// # Source
    /// [`measured_twice`]; the covariance as the sum over common sources: GUM 5.2.2 and F.1.2.3.
    pub fn measured_twice(&self) -> Vec<MeasuredTwice> {
        let mut found = Vec::new();
        for (place, one) in self.results.iter().enumerate() {
            let same = |other: &&ResultOutcome| {
                other.sample == one.sample
                    && other.element == one.element
                    && other.method != one.method
                    && other.kind == one.kind
                    && other.unit == one.unit
            };
            for other in self.results[place + 1..].iter().filter(same) {
                found.extend(held_together(one, other));
            }
        }
        found
    }
}

fn held_together(one: &ResultOutcome, other: &ResultOutcome) -> Option<MeasuredTwice> {
    let (of_one, of_other) = (one.reported.found()?, other.reported.found()?);
    let correlation = correlation(of_one, of_other);
    let reading = |value: &ValueOutcome| Reading { value: value.value, u: value.u };
    let both = measured_twice(reading(of_one), reading(of_other), correlation);
    both.zeta.is_finite().then(|| MeasuredTwice {
        sample: one.sample.clone(),
        element: one.element.clone(),
        methods: (one.method.clone(), other.method.clone()),
        one: (of_one.value, of_one.u),
        other: (of_other.value, of_other.u),
        correlation,
        zeta: both.zeta,
        together: both.combined.map(|both| (both.reading.value, both.reading.u)),
        unit: one.unit.clone(),
    })
}

fn correlation(one: &ValueOutcome, other: &ValueOutcome) -> f64 {
    let sources: BTreeMap<&str, f64> = one.contributions.iter().map(|(source, u)| (source.as_str(), *u)).collect();
    let common = |(source, u): &(String, f64)| Some(u * sources.get(source.as_str())?);
    let covariance: f64 = other.contributions.iter().filter_map(common).sum();
    let product = one.u * other.u;
    // Two that rest on the same causes alone would leave nothing to compare.
    if product > 0.0 { (covariance / product).clamp(-0.999, 0.999) } else { 0.0 }
}
