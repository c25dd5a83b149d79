//! What restored pulses share: the curve of the roll-over is one for all readings of a method, and so is its uncertainty.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Factor, Kind, Response};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Source, SourceId};
use darkline_record::method::ResolvedMethod;

use crate::responses::Measured;

/// The restored readings of a run by their numbers; none where the method gives no curve of a roll-over.
#[derive(Clone, Debug, Default)]
pub struct RestoredReadings {
    parts: BTreeMap<u32, Parts>,
}

/// What restoring one reading adds to its uncertainty, in the unit of the response.
#[derive(Clone, Copy, Debug)]
struct Parts {
    /// Change of the area with one standard uncertainty of the roll-over absorbance.
    by_roll_over: f64,
    /// Change of the area with one standard uncertainty of the sensitivity ratio.
    by_sensitivity_ratio: f64,
    /// Change of the area with one standard uncertainty of what the middle field leaves.
    by_left_at_middle: f64,
    /// Noise of a pulse that dips: repeatability, as standards below the roll-over tell it, knows nothing of it.
    u_noise: Option<f64>,
}

impl RestoredReadings {
    /// The restored ones among the readings of a run.
    pub fn of(measured: &[Measured]) -> Self {
        let parts = measured.iter().filter_map(|reading| {
            let responded = reading.response.as_ref().ok()?;
            let restored = responded.restored.as_ref()?;
            let parts = Parts {
                by_roll_over: restored.by_roll_over,
                by_sensitivity_ratio: restored.by_sensitivity_ratio,
                by_left_at_middle: restored.by_left_at_middle,
                u_noise: responded.u_noise.filter(|u| restored.dip_s.is_some() && *u > 0.0),
            };
            Some((reading.number, parts))
        });
        Self { parts: parts.collect() }
    }

    /// A response on the tape, with what restoring it adds.
    ///
    /// # Arguments
    /// * `run`: its name, for the noise of the reading.
    /// * `scatter`: the source of its repeatability.
    pub fn response<'m>(
        &self,
        model: &'m Model,
        method: &ResolvedMethod,
        run: &str,
        number: u32,
        response: Response,
        scatter: Source,
    ) -> Term<'m, Response> {
        let Some(parts) = self.parts.get(&number) else { return model.input(response, &[scatter]) };
        let mut sources = vec![scatter];
        if let Some(u_noise) = parts.u_noise {
            sources.push(Source::normal(SourceId::new(format!("restored/noise/{run}/{number}")), u_noise));
        }
        // The change of an area may have either sign, below the roll-over and beyond it; a source has a size alone. One standard
        // uncertainty of the curve is therefore a term of its own, the same for all readings.
        let shared = |name: &str, change: f64| {
            let id = SourceId::new(format!("restored/{name}/{}", method.id));
            let one = model.input(Factor::from_si(0.0), &[Source::normal(id, 1.0)]);
            model.exact(Response::from_si(change)) * one
        };
        let mut term = model.input(response, &sources);
        let of_curve = [
            ("roll-over absorbance", parts.by_roll_over),
            ("sensitivity ratio", parts.by_sensitivity_ratio),
            ("middle field", parts.by_left_at_middle),
        ];
        for (name, change) in of_curve.into_iter().filter(|(_, change)| *change != 0.0) {
            term = term + shared(name, change);
        }
        term
    }
}
