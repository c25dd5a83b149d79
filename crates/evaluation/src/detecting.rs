//! Decision, detection and quantification limit of a run, by the procedure that its method names.
//!
//! They are amounts of the measured solution. [`detect`] gives them with every input; where a procedure gives none, why not.

use darkline_calibration::calibration_function::CalibrationFunction;
use darkline_calibration::limits::currie::{self, Blank};
use darkline_calibration::limits::method_detection_limit::{MethodBlank, existing_stands, method_detection_limit};
use darkline_calibration::limits::{Asked, NoLimit, blank_method, din_32645, hubaux_vos, multiple_of_sd};
use darkline_calibration::line::Line;
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::summary;
use darkline_record::method::{BlankResult, DetectionLimits, LimitProcedure, ResolvedMethod, Subtract};
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{Row, RowHolds, Run};

use crate::calibrating::{Calibrated, Curve, standards_unit};
use crate::outcome::{InputOutcome, LimitsOutcome};
use crate::responses::Measured;

/// The detection limit as standard deviations at zero where the method takes multiples.
///
/// # Source
/// J. N. Miller, J. C. Miller, Statistics and Chemometrics for Analytical Chemistry, 6th ed., 2010, 5.7.
const DETECTION_MULTIPLE: f64 = 3.0;

/// Works out the limits of a run; `None` where the method asks for none or the calibration is not there yet.
pub fn detect(
    package: &DataPackage,
    run: &Run,
    method: &ResolvedMethod,
    measured: &[Measured],
    calibrated: &Calibrated<'_>,
) -> Option<LimitsOutcome> {
    let plan = method.detection_limits.as_ref()?;
    let mut inputs = Inputs { run, method, listed: Vec::new() };
    let found = match (plan.procedure, calibrated) {
        (LimitProcedure::MethodDetectionLimit, _) => of_spikes(plan, &mut inputs),
        (_, Calibrated::NotYet) => return None,
        (_, Calibrated::Unusable { .. }) => Err("there is no calibration".into()),
        (_, Calibrated::Fitted(curve)) => {
            let scatter = Scatter { package, run, measured };
            of_curve(plan, method, curve, &scatter, &mut inputs)
        }
    };
    let (limits, why_not) = match found {
        Ok(limits) => (limits, None),
        Err(why) => (Found::default(), Some(why)),
    };
    let unit = standards_unit(run);
    let read =
        |amount: Option<MassConcentration>| amount.map(|amount| unit.read(amount)).filter(|limit| limit.is_finite());
    Some(LimitsOutcome {
        procedure: plan.procedure.words().into(),
        decision: read(limits.decision),
        detection: read(limits.detection),
        quantification: read(limits.quantification),
        inputs: inputs.listed,
        why_not,
        existing_stands: limits.existing_stands,
    })
}

#[derive(Default)]
struct Found {
    decision: Option<MassConcentration>,
    detection: Option<MassConcentration>,
    quantification: Option<MassConcentration>,
    existing_stands: Option<bool>,
}

/// The inputs as they are used, in the order of the formula.
struct Inputs<'a> {
    run: &'a Run,
    method: &'a ResolvedMethod,
    listed: Vec<InputOutcome>,
}

impl Inputs<'_> {
    fn number(&mut self, name: &str, value: f64) {
        self.list(name, value, "1");
    }
    fn amount(&mut self, name: &str, amount: MassConcentration) {
        let unit = standards_unit(self.run);
        self.list(name, unit.read(amount), unit.symbol());
    }
    fn response(&mut self, name: &str, response: Response) {
        self.list(name, response.si(), self.method.response.kind.unit_symbol());
    }
    fn list(&mut self, name: &str, value: f64, unit: &str) {
        // What is known has infinite degrees of freedom; an outcome holds finite figures.
        if value.is_finite() {
            self.listed.push(InputOutcome { name: name.into(), value, unit: unit.into() });
        }
    }
    fn risks(&mut self, plan: &DetectionLimits) {
        self.number("alpha", plan.alpha.value().si());
        self.number("beta", plan.beta.value().si());
        self.number("readings of a sample", f64::from(plan.n_readings));
    }
}

struct Scatter<'a> {
    package: &'a DataPackage,
    run: &'a Run,
    measured: &'a [Measured],
}

impl Scatter<'_> {
    /// Responses that count, of rows of a kind.
    fn responses(&self, wanted: impl Fn(&Row) -> bool) -> Vec<f64> {
        let of = |reading: &Measured| {
            let row = self.run.row(reading.home)?;
            (reading.counts && !self.run.is_replaced(row.number) && wanted(row))
                .then(|| reading.response.as_ref().ok().map(|responded| responded.response))
                .flatten()
        };
        self.measured.iter().filter_map(of).collect()
    }
    fn method_blanks(&self) -> Vec<f64> {
        self.responses(|row| match &row.holds {
            RowHolds::Portion { batch, portion, .. } => self
                .package
                .portion(batch, portion)
                .is_some_and(|portion| matches!(portion.role, PortionRole::MethodBlank)),
            _ => false,
        })
    }
    fn calibration_blanks(&self) -> Vec<f64> {
        self.responses(|row| matches!(row.holds, RowHolds::CalibrationBlank))
    }
}

fn of_curve(
    plan: &DetectionLimits,
    method: &ResolvedMethod,
    curve: &Curve<'_>,
    scatter: &Scatter<'_>,
    inputs: &mut Inputs<'_>,
) -> Result<Found, String> {
    let in_words = |why: NoLimit| why.to_string();
    let asked = Asked {
        alpha: plan.alpha.value().si(),
        beta: plan.beta.value().si(),
        n_readings: u32::from(plan.n_readings),
        k: plan.k.value().si(),
    };
    let line = || {
        curve.line.as_ref().ok_or_else(|| {
            format!(
                "{} is worked out from a straight line; the calibration is a {}",
                plan.procedure.words(),
                curve.model.words()
            )
        })
    };
    match plan.procedure {
        LimitProcedure::Din32645 => {
            let line = line()?;
            list_line(line, curve.function.as_ref(), inputs);
            inputs.risks(plan);
            inputs.number("k", asked.k);
            let limits = din_32645::weighted_limits(line, asked, &curve.weighing.weighting).map_err(in_words)?;
            Ok(Found {
                decision: Some(limits.decision),
                detection: Some(limits.detection),
                quantification: Some(limits.quantitation),
                ..Found::default()
            })
        }
        LimitProcedure::Iso11843 => {
            let line = line()?;
            list_line(line, curve.function.as_ref(), inputs);
            inputs.risks(plan);
            let limits = hubaux_vos::weighted_limits(line, asked, &curve.weighing.weighting).map_err(in_words)?;
            Ok(Found { decision: Some(limits.decision), detection: Some(limits.detection), ..Found::default() })
        }
        LimitProcedure::Currie => {
            let (sd, dof) = at_zero(method, scatter, inputs);
            let slope = curve.function.sensitivity(MassConcentration::from_si(0.0));
            let per_reading = multiple_of_sd::limit(sd, slope, 1.0).map_err(in_words)?.limit;
            let of_mean = MassConcentration::from_si(per_reading.si() / f64::from(plan.n_readings).sqrt());
            inputs.amount("standard deviation of a sample at zero", of_mean);
            inputs.risks(plan);
            // Where the blank of the batch is taken off, its scatter comes in a second time.
            let blank = match method.blank.subtract {
                Subtract::MethodBlank => Blank::Paired,
                Subtract::Nothing => Blank::WellKnown,
            };
            let limits = match dof {
                None => currie::known(of_mean, asked.alpha, asked.beta, blank),
                Some(dof) => currie::estimated(of_mean, dof, asked.alpha, asked.beta, blank),
            }
            .map_err(in_words)?;
            Ok(Found {
                decision: Some(limits.critical),
                detection: Some(limits.detection),
                quantification: Some(limits.quantitation),
                ..Found::default()
            })
        }
        LimitProcedure::Blanks => {
            let of_method = scatter.method_blanks();
            let (name, blanks) = if of_method.len() >= 2 {
                ("readings of method blanks", of_method)
            } else {
                ("readings of calibration blanks", scatter.calibration_blanks())
            };
            let responses: Vec<Response> = blanks.iter().copied().map(Response::from_si).collect();
            let slope = curve.function.sensitivity(MassConcentration::from_si(0.0));
            let limit = blank_method::limit(&responses, slope, asked.alpha, asked.n_readings).map_err(in_words)?;
            #[expect(clippy::cast_precision_loss, reason = "blanks are few")]
            inputs.number(name, limit.n_blanks as f64);
            inputs.response("mean of the blanks", limit.mean);
            inputs.response("standard deviation of the blanks", limit.sd);
            inputs.number("Student's factor", limit.t);
            inputs.risks(plan);
            Ok(Found { decision: Some(limit.decision), ..Found::default() })
        }
        LimitProcedure::MultipleOfSd => {
            let (sd, _) = at_zero(method, scatter, inputs);
            let slope = curve.function.sensitivity(MassConcentration::from_si(0.0));
            let multiple = |factor| multiple_of_sd::limit(sd, slope, factor).map(|found| found.limit).map_err(in_words);
            inputs.number("multiple of the detection limit", DETECTION_MULTIPLE);
            inputs.number("k", asked.k);
            Ok(Found {
                decision: None,
                detection: Some(multiple(DETECTION_MULTIPLE)?),
                quantification: Some(multiple(asked.k)?),
                ..Found::default()
            })
        }
        LimitProcedure::MethodDetectionLimit => of_spikes(plan, inputs),
    }
}

fn list_line(line: &Line, function: &dyn CalibrationFunction, inputs: &mut Inputs<'_>) {
    #[expect(clippy::cast_precision_loss, reason = "points are few")]
    {
        inputs.number("readings of standards", line.n_points as f64);
        inputs.number("degrees of freedom", function.dof() as f64);
    }
    inputs.amount("process standard deviation", line.process_sd());
    inputs.amount("mean amount", line.mean_amount);
    inputs.amount("root of S_xx", MassConcentration::from_si(line.s_xx.sqrt()));
}

/// The standard deviation of a reading at zero: of the calibration blanks where two or more count, else as the method states it,
/// which then counts as known.
fn at_zero(method: &ResolvedMethod, scatter: &Scatter<'_>, inputs: &mut Inputs<'_>) -> (Response, Option<f64>) {
    let blanks = scatter.calibration_blanks();
    if let Some(found) = summary::type_a(&blanks).filter(|found| found.sd > 0.0) {
        #[expect(clippy::cast_precision_loss, reason = "blanks are few")]
        inputs.number("readings of calibration blanks", found.n as f64);
        inputs.response("standard deviation of the calibration blanks", Response::from_si(found.sd));
        return (Response::from_si(found.sd), Some(found.dof));
    }
    let stated = method.replicates.sd_at_zero.value();
    inputs.response("standard deviation at zero as the method states it", stated);
    (stated, None)
}

fn of_spikes(plan: &DetectionLimits, inputs: &mut Inputs<'_>) -> Result<Found, String> {
    let spiked: Vec<MassConcentration> = plan.spiked.iter().map(darkline_record::figure::Written::value).collect();
    let blanks: Vec<MethodBlank<MassConcentration>> = plan
        .blanks
        .iter()
        .map(|blank| match blank {
            BlankResult::Numerical(result) => MethodBlank::Numerical(result.value()),
            BlankResult::NotDetected => MethodBlank::NotDetected,
        })
        .collect();
    let found = method_detection_limit(&spiked, &blanks).map_err(|why| why.to_string())?;
    #[expect(clippy::cast_precision_loss, reason = "samples are few")]
    {
        inputs.number("spiked samples", found.of_spikes.n as f64);
        inputs.number("method blanks", blanks.len() as f64);
    }
    inputs.amount("mean of the spiked samples", found.of_spikes.mean);
    inputs.amount("standard deviation of the spiked samples", found.of_spikes.sd);
    inputs.number("Student's factor", found.of_spikes.t);
    inputs.amount("limit of the spiked samples", found.of_spikes.limit);
    if let Some(limit) = found.of_blanks.limit() {
        inputs.amount("limit of the method blanks", limit);
    }
    let Some(existing) = plan.existing.as_ref().map(darkline_record::figure::Written::value) else {
        return Ok(Found { detection: Some(found.limit), ..Found::default() });
    };
    let is_above = |blank: &&MethodBlank<MassConcentration>| matches!(blank, MethodBlank::Numerical(result) if result.si() > existing.si());
    #[expect(clippy::cast_precision_loss, reason = "blanks are few")]
    let above = blanks.iter().filter(is_above).count() as f64 / blanks.len() as f64;
    inputs.amount("limit worked out anew", found.limit);
    inputs.amount("existing limit", existing);
    inputs.number("part of the method blanks above it", above);
    let stands = existing_stands(existing, found.limit, above);
    let detection = if stands { existing } else { found.limit };
    Ok(Found { detection: Some(detection), existing_stands: Some(stands), ..Found::default() })
}
