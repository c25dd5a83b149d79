//! Decision, detection and quantitation limits; factors; method detection limits.

use darkline_calibration::limits::method_detection_limit::{self as mdl, MethodBlank, OfBlanks};
use darkline_calibration::limits::{Asked, blank_method, currie, din_32645, hubaux_vos, multiple_of_sd};
use darkline_calibration::line::Line;
use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Factor, Kind, MassConcentration, Response};

use super::line::{equal_points, figures_of, unknowns};
use crate::case::{Case, Found};

pub fn of_line(case: &Case) -> Found {
    let line = Line::fit(&equal_points(case)).unwrap();
    let asked = Asked {
        alpha: case.number("procedure", "alpha"),
        beta: case.number("procedure", "beta"),
        n_readings: case.number("procedure", "m") as u32,
        k: case.number("procedure", "k"),
    };
    let din = din_32645::limits(&line, asked).unwrap();
    let exact = hubaux_vos::limits(&line, asked).unwrap();
    assert_eq!(din.decision, exact.decision);
    let times_sd = |factor: f64| multiple_of_sd::limit(line.residual_sd, line.slope, factor).unwrap().limit.si();
    let mut found = figures_of(&line);
    found.insert("s_x0".into(), din.process_sd.si());
    found.insert("x_c".into(), din.decision.si());
    found.insert("y_c".into(), din.decision_response.si());
    found.insert("x_d_din".into(), din.detection.si());
    found.insert("x_q".into(), din.quantitation.si());
    found.insert("x_q_one_step".into(), din.quantitation_one_step.si());
    found.insert("x_d_exact".into(), exact.detection.si());
    found.insert("y_d_exact".into(), exact.detection_response.si());
    found.insert("x_lod_33s".into(), times_sd(3.3));
    found.insert("x_loq_10s".into(), times_sd(10.0));
    // The intercept as if it were signal: what the article compares with, not something to do.
    found.insert("x_lod_3s_with_intercept".into(), times_sd(3.0) + line.intercept.si() / line.slope.si());
    unknowns(case, &line, |_| 1.0, &mut found);
    if case.has("data", "blank") {
        let blanks: Vec<Response> = case.column("blank").into_iter().map(Response::from_si).collect();
        let limit = blank_method::limit(&blanks, line.slope, asked.alpha, asked.n_readings).unwrap();
        let times_sd = |factor: f64| multiple_of_sd::limit(limit.sd, line.slope, factor).unwrap().limit.si();
        found.insert("x_c_blank".into(), limit.decision.si());
        found.insert("blank_mean".into(), limit.mean.si());
        found.insert("blank_sd".into(), limit.sd.si());
        found.insert("x_lod_3s_blank".into(), times_sd(3.0));
        found.insert("x_loq_10s_blank".into(), times_sd(10.0));
    }
    found
}

pub fn factors(case: &Case) -> Found {
    let mut found = Found::new();
    if case.has("procedure", "t99_n") {
        for n in case.numbers("procedure", "t99_n") {
            // The factor that the procedure uses, from n results that scatter.
            let results: Vec<Factor> = (0..n as u32).map(|i| Factor::from_si(f64::from(i))).collect();
            found.insert(format!("t99_n{n}"), mdl::of_spikes(&results).unwrap().t);
        }
    }
    if case.has("procedure", "chi_df") {
        for dof in case.numbers("procedure", "chi_df") {
            let (low, high) = mdl::interval_factors(dof, 0.95).unwrap();
            found.insert(format!("mdl_lcl_df{dof}"), low);
            found.insert(format!("mdl_ucl_df{dof}"), high);
        }
    }
    if case.flag("procedure", "currie") {
        let known = |blank| currie::known(Factor::from_si(1.0), 0.05, 0.05, blank).unwrap();
        let (well_known, paired) = (known(currie::Blank::WellKnown), known(currie::Blank::Paired));
        found.insert("z95".into(), well_known.critical.si());
        found.insert("two_z95".into(), well_known.detection.si());
        found.insert("lc_paired".into(), paired.critical.si());
        found.insert("ld_paired".into(), paired.detection.si());
        for dof in case.numbers("procedure", "delta_df") {
            let one = Factor::from_si(1.0);
            let limits = currie::estimated(one, dof, 0.05, 0.05, currie::Blank::WellKnown).unwrap();
            assert_eq!(Some(limits.critical.si()), student_t::upper_quantile(0.05, dof));
            found.insert(format!("t95_df{dof}"), limits.critical.si());
            found.insert(format!("delta_df{dof}"), limits.detection.si());
            found.insert(format!("delta_approx_df{dof}"), currie::approximate_noncentrality(0.05, dof).unwrap());
        }
    }
    found
}

pub fn method_detection_limit(case: &Case) -> Found {
    let amount = MassConcentration::from_si;
    let mut found = Found::new();
    if case.has("data", "n_blank_ranked") {
        let n = case.number("data", "n_blank_ranked") as usize;
        let top = case.column("top_values");
        let mut blanks = vec![MethodBlank::NotDetected; n - top.len()];
        blanks.extend(top.into_iter().rev().map(|value| MethodBlank::Numerical(amount(value))));
        let OfBlanks::Ranked { unrounded, rank, limit, .. } = mdl::of_blanks(&blanks).unwrap() else {
            panic!("{n} blanks are ranked");
        };
        found.insert("rank".into(), rank as f64);
        found.insert("rank_unrounded".into(), unrounded);
        found.insert("mdl_b".into(), limit.si());
        return found;
    }
    let spikes: Vec<_> = case.column("spike").into_iter().map(amount).collect();
    let mut blanks: Vec<_> =
        case.column("blank").into_iter().map(|value| MethodBlank::Numerical(amount(value))).collect();
    blanks.resize(blanks.len() + case.number("data", "blank_nd") as usize, MethodBlank::NotDetected);
    let limit = mdl::method_detection_limit(&spikes, &blanks).unwrap();
    found.insert("n_spike".into(), limit.of_spikes.n as f64);
    found.insert("mean_spike".into(), limit.of_spikes.mean.si());
    found.insert("s_spike".into(), limit.of_spikes.sd.si());
    found.insert("t_spike".into(), limit.of_spikes.t);
    found.insert("mdl_s".into(), limit.of_spikes.limit.si());
    match limit.of_blanks {
        OfBlanks::AllNumerical { n, mean, sd, .. } => {
            found.insert("n_blank".into(), n as f64);
            found.insert("mean_blank".into(), mean.si());
            found.insert("s_blank".into(), sd.si());
        }
        OfBlanks::Highest { n, .. } => {
            found.insert("n_blank".into(), n as f64);
        }
        other => panic!("{other:?}"),
    }
    found.insert("mdl_b".into(), limit.of_blanks.limit().unwrap().si());
    found.insert("mdl".into(), limit.limit.si());
    found
}
