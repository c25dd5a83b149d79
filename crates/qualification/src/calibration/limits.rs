//! Decision, detection and quantitation limits; factors; method detection limits.

use darkline_calibration::limits::method_detection_limit::{self as mdl, MethodBlank, OfBlanks};
use darkline_calibration::limits::{Asked, blank_method, currie, din_32645, hubaux_vos, multiple_of_sd};
use darkline_calibration::line::Line;
use darkline_metrology::kind::{Factor, Kind, MassConcentration, Response};

use super::Computed;
use super::case::{Case, MOST_POINTS, readings};
use super::line::{figures_of, unknowns};
use crate::answer::Found;
use crate::case_file::Node;
use crate::stop::refused;

pub(super) fn of_line(case: &Case<'_>) -> Computed {
    let line = Line::fit(&case.equal_points()?).map_err(refused)?;
    let asked = Asked {
        alpha: case.procedure_or("alpha", 0.05)?,
        beta: case.procedure_or("beta", 0.05)?,
        n_readings: readings(case.procedure_or("m", 1.0)?)?,
        k: case.procedure_or("k", 3.0)?,
    };
    let mut found = figures_of(&line);
    found.put("s_x0", line.process_sd().si());
    let din = din_32645::limits(&line, asked);
    found.put_or("x_c", din.as_ref().map(|din| din.decision.si()));
    found.put_or("y_c", din.as_ref().map(|din| din.decision_response.si()));
    found.put_or("x_d_din", din.as_ref().map(|din| din.detection.si()));
    found.put_or("x_q", din.as_ref().map(|din| din.quantitation.si()));
    found.put_or("x_q_one_step", din.as_ref().map(|din| din.quantitation_one_step.si()));
    let exact = hubaux_vos::limits(&line, asked);
    found.put_or("x_d_exact", exact.as_ref().map(|exact| exact.detection.si()));
    found.put_or("y_d_exact", exact.as_ref().map(|exact| exact.detection_response.si()));
    let times_sd =
        |sd: Response, factor: f64| multiple_of_sd::limit(sd, line.slope, factor).map(|found| found.limit.si());
    let times_residual = |factor: f64| times_sd(line.residual_sd, factor);
    found.put_or("x_lod_33s", times_residual(3.3));
    found.put_or("x_loq_10s", times_residual(10.0));
    // The intercept as if it were signal: what an article compares with, not something to do.
    let intercept = line.intercept.si() / line.slope.si();
    found.put_or("x_lod_3s_with_intercept", times_residual(3.0).map(|limit| limit + intercept));
    unknowns(case, &line, |_| Ok(1.0), &mut found)?;
    if case.has_data("blank") {
        let blanks: Vec<Response> = case.column("blank")?.into_iter().map(Response::from_si).collect();
        let limit = blank_method::limit(&blanks, line.slope, asked.alpha, asked.n_readings);
        found.put_or("x_c_blank", limit.as_ref().map(|limit| limit.decision.si()));
        found.put_or("blank_mean", limit.as_ref().map(|limit| limit.mean.si()));
        found.put_or("blank_sd", limit.as_ref().map(|limit| limit.sd.si()));
        if let Ok(limit) = limit {
            found.put_or("x_lod_3s_blank", times_sd(limit.sd, 3.0));
            found.put_or("x_lod_33s_blank", times_sd(limit.sd, 3.3));
            found.put_or("x_loq_10s_blank", times_sd(limit.sd, 10.0));
        }
    }
    Ok(found)
}

pub(super) fn factors(case: &Case<'_>) -> Computed {
    let procedure = case.procedure()?;
    let mut found = Found::new();
    for node in procedure.list_or_none("t99_n")? {
        // The factor that the procedure uses, from n results that scatter.
        let n = node.count(MOST_POINTS)?;
        let results: Vec<Factor> = (0..n).map(|i| Factor::from_si(i as f64)).collect();
        found.put_or(format!("t99_n{n}"), mdl::of_spikes(&results).map(|found| found.t));
    }
    for node in procedure.list_or_none("chi_df")? {
        let dof = node.number()?;
        let factors = mdl::interval_factors(dof, case.level()?);
        found.put_if(format!("mdl_lcl_df{dof}"), factors.map(|(low, _)| low));
        found.put_if(format!("mdl_ucl_df{dof}"), factors.map(|(_, high)| high));
    }
    if case.asks("currie")? || procedure.has("delta_df") {
        currie_factors(case, &procedure, &mut found)?;
    }
    Ok(found)
}

fn currie_factors(case: &Case<'_>, procedure: &Node<'_>, found: &mut Found) -> Result<(), crate::stop::Stop> {
    let (alpha, beta) = (case.procedure_or("alpha", 0.05)?, case.procedure_or("beta", 0.05)?);
    let one = Factor::from_si(1.0);
    let known = |blank| currie::known(one, alpha, beta, blank);
    let (well_known, paired) = (known(currie::Blank::WellKnown), known(currie::Blank::Paired));
    found.put_or("z95", well_known.as_ref().map(|limits| limits.critical.si()));
    found.put_or("two_z95", well_known.as_ref().map(|limits| limits.detection.si()));
    found.put_or("lc_paired", paired.as_ref().map(|limits| limits.critical.si()));
    found.put_or("ld_paired", paired.as_ref().map(|limits| limits.detection.si()));
    for node in procedure.list_or_none("delta_df")? {
        let dof = node.number()?;
        let limits = currie::estimated(one, dof, alpha, beta, currie::Blank::WellKnown);
        found.put_or(format!("t95_df{dof}"), limits.as_ref().map(|limits| limits.critical.si()));
        found.put_or(format!("delta_df{dof}"), limits.as_ref().map(|limits| limits.detection.si()));
        found.put_if(format!("delta_approx_df{dof}"), currie::approximate_noncentrality(alpha, dof));
    }
    Ok(())
}

pub(super) fn method_detection_limit(case: &Case<'_>) -> Computed {
    let amount = MassConcentration::from_si;
    let data = case.data()?;
    let mut found = Found::new();
    if let Some(n) = data.get("n_blank_ranked") {
        let top = case.column("top_values")?;
        let n_below =
            n.count(MOST_POINTS)?.checked_sub(top.len()).ok_or_else(|| n.fault("more highest values than blanks"))?;
        let mut blanks = vec![MethodBlank::NotDetected; n_below];
        blanks.extend(top.into_iter().map(|value| MethodBlank::Numerical(amount(value))));
        of_blanks(&mdl::of_blanks(&blanks).map_err(refused)?, &mut found);
        return Ok(found);
    }
    let mut blanks: Vec<_> = if data.has("blank") { case.column("blank")? } else { Vec::new() }
        .into_iter()
        .map(|value| MethodBlank::Numerical(amount(value)))
        .collect();
    let n_not_detected = data.get("blank_nd").map_or(Ok(0), |n| n.count(MOST_POINTS))?;
    blanks.resize(blanks.len() + n_not_detected, MethodBlank::NotDetected);
    if !data.has("spike") {
        of_blanks(&mdl::of_blanks(&blanks).map_err(refused)?, &mut found);
        return Ok(found);
    }
    let spikes: Vec<_> = case.column("spike")?.into_iter().map(amount).collect();
    let (of_spikes, limit) = match mdl::method_detection_limit(&spikes, &blanks) {
        Ok(limit) => {
            of_blanks(&limit.of_blanks, &mut found);
            found.put("mdl", limit.limit.si());
            (limit.of_spikes, Ok(()))
        }
        Err(why) => (mdl::of_spikes(&spikes).map_err(refused)?, Err(why)),
    };
    if let Err(why) = limit {
        found.put_or::<f64, _>("mdl", Err(why));
    }
    found.put("n_spike", of_spikes.n);
    found.put("mean_spike", of_spikes.mean.si());
    found.put("s_spike", of_spikes.sd.si());
    found.put("t_spike", of_spikes.t);
    found.put("mdl_s", of_spikes.limit.si());
    Ok(found)
}

fn of_blanks(blanks: &OfBlanks<MassConcentration>, found: &mut Found) {
    found.put_if("mdl_b", blanks.limit().map(Kind::si));
    match *blanks {
        OfBlanks::AllNumerical { n, mean, sd, t, .. } => {
            found.put("n_blank", n);
            found.put("mean_blank", mean.si());
            found.put("s_blank", sd.si());
            found.put("t_blank", t);
        }
        OfBlanks::Ranked { n, unrounded, rank, .. } => {
            found.put("n_blank", n);
            found.put("rank", rank);
            found.put("rank_unrounded", unrounded);
        }
        OfBlanks::Highest { n, .. } | OfBlanks::DoesNotApply { n, .. } => found.put("n_blank", n),
    }
}
