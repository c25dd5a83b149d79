//! Whatever the arguments: an answer in its range or none, never a NaN, a panic or an endless search.

use darkline_metrology::conformity::{
    AcceptanceSide, Bound, Prior, acceptance_limit, global_risk, probability_of_conformity,
    replicates_that_would_decide, risk_at_acceptance_limit,
};
use darkline_metrology::distribution::{
    beta, chi_squared, draw, fisher_f, gamma, noncentral_t, normal, student_t, studentised_range,
};
use darkline_metrology::rounding::{Digits, ReportRule, Rounding, report};
use darkline_metrology::{anova::OneWay, robust, summary};
use proptest::prelude::*;

/// Any `f64` at all, with the ones that figures are made of more often.
fn anything() -> impl Strategy<Value = f64> {
    prop_oneof![
        3 => any::<f64>(),
        3 => (-320.0_f64..308.0).prop_map(|e| format!("1e{e:.0}").parse().expect("a power of ten")),
        3 => -10.0_f64..1000.0,
        2 => 0.0_f64..1.0,
        1 => prop::sample::select(vec![0.0, -0.0, 1.0, 0.5, 2.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, f64::MIN_POSITIVE, 5.0e-324]),
    ]
}

fn probability(p: Option<f64>) -> bool {
    p.is_none_or(|p| (0.0..=1.0).contains(&p))
}

fn finite(x: Option<f64>) -> bool {
    x.is_none_or(f64::is_finite)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn normal_law(x in anything()) {
        prop_assert!(probability(normal::cdf(x)) && probability(normal::upper_tail(x)) && probability(normal::density(x)));
        prop_assert!(finite(normal::quantile(x)) && finite(normal::upper_quantile(x)));
        prop_assert!(draw::normal((x.to_bits() >> 32) as u32).is_finite());
    }

    #[test]
    fn gamma_and_chi_squared_laws(a in anything(), x in anything()) {
        prop_assert!(finite(gamma::log_gamma(a)));
        prop_assert!(probability(gamma::regularised_p(a, x)) && probability(gamma::regularised_q(a, x)));
        prop_assert!(finite(gamma::inverse_p(a, x)) && finite(gamma::inverse_q(a, x)) && finite(gamma::density(a, x)));
        prop_assert!(probability(chi_squared::cdf(x, a)) && probability(chi_squared::upper_tail(x, a)));
        prop_assert!(finite(chi_squared::quantile(x, a)) && finite(chi_squared::upper_quantile(x, a)));
    }

    #[test]
    fn beta_and_f_laws(a in anything(), b in anything(), x in anything()) {
        prop_assert!(probability(beta::regularised(a, b, x)) && probability(beta::regularised_upper(a, b, x)));
        prop_assert!(probability(beta::inverse(a, b, x)) && probability(beta::inverse_upper(a, b, x)));
        prop_assert!(probability(fisher_f::cdf(x, a, b)) && probability(fisher_f::upper_tail(x, a, b)));
        prop_assert!(finite(fisher_f::quantile(x, a, b)) && finite(fisher_f::upper_quantile(x, a, b)));
    }

    #[test]
    fn student_t_law(t in anything(), dof in anything()) {
        prop_assert!(probability(student_t::cdf(t, dof)) && probability(student_t::upper_tail(t, dof)));
        prop_assert!(finite(student_t::quantile(t, dof)) && finite(student_t::upper_quantile(t, dof)));
        prop_assert!(finite(student_t::coverage_factor(t, dof)));
    }

    #[test]
    fn summaries(x in prop::collection::vec(anything(), 0..6), y in prop::collection::vec(anything(), 0..6), k in anything()) {
        prop_assert!(finite(summary::mean(&x)) && finite(summary::sd(&x)) && finite(summary::rsd(&x)) && finite(summary::lag_one(&x)));
        prop_assert!(summary::pooled_sd([&x[..], &y[..]]).is_none_or(|(s, dof)| s.is_finite() && dof > 0.0));
        prop_assert!(finite(robust::median(&x)) && finite(robust::mad(&x)) && finite(robust::scaled_mad(&x)));
        prop_assert!(robust::algorithm_a(&x).is_none_or(|r| r.location.is_finite() && r.scale.is_finite()));
        prop_assert!(robust::algorithm_s(&x, k).is_none_or(|r| r.w.is_finite() && r.eta.is_finite() && r.xi.is_finite()));
        prop_assert!(finite(robust::huber_location(&x, k, 1.5)) && finite(robust::winsorised_sd_factor(k)));
        if let Some(table) = OneWay::of(&[&x, &y]) {
            prop_assert!(table.ms_between().is_finite() && table.ms_within().is_finite() && table.s_intermediate().is_finite());
            prop_assert!(finite(table.f()) && probability(table.p()) && probability(table.r_squared()));
        }
    }

    #[test]
    fn conformity(a in anything(), b in anything(), c in anything(), d in anything(), e in anything()) {
        prop_assert!(probability(probability_of_conformity(a, b, c, d, e)));
        prop_assert!(finite(acceptance_limit(Bound::AtMost(a), AcceptanceSide::Stringent, b, c, d)));
        prop_assert!(finite(acceptance_limit(Bound::AtLeast(a), AcceptanceSide::Relaxed, b, c, d)));
        prop_assert!(probability(risk_at_acceptance_limit(a, b)));
        prop_assert!(replicates_that_would_decide(a, b, c, d).is_none_or(|n| n >= 1));
        for prior in [Prior::Normal { mean: a, sd: b }, Prior::Gamma { shape: a, rate: b }] {
            if let Some(risk) = global_risk(prior, c, (d.min(e), d.max(e)), (d.min(e), e.max(d))) {
                for p in [risk.nonconforming, risk.consumer, risk.producer] {
                    prop_assert!((0.0..=1.0).contains(&p), "{risk:?}");
                }
            }
        }
    }

    #[test]
    fn rounding(value in anything(), u in anything()) {
        for digits in [Digits::One, Digits::Two, Digits::TwoAfterOneOrTwo] {
            let rule = ReportRule { digits, uncertainty: Rounding::Up, value: Rounding::HalfEven };
            if let Some(printed) = report(value, u, rule) {
                prop_assert!(printed.u.to_f64() >= u * (1.0 - 1.0e-15));
                prop_assert!(u == 0.0 || printed.value.place() == printed.u.place());
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(15))]

    #[test]
    fn laws_that_are_integrated(t in anything(), dof in anything(), delta in anything(), n_means in 0_u32..40) {
        prop_assert!(probability(noncentral_t::cdf(t, dof, delta)) && probability(noncentral_t::upper_tail(t, dof, delta)));
        prop_assert!(finite(noncentral_t::quantile(t, dof, delta)) && finite(noncentral_t::upper_quantile(t, dof, delta)));
        prop_assert!(probability(studentised_range::cdf(t, n_means, dof)) && probability(studentised_range::upper_tail(t, n_means, dof)));
        prop_assert!(finite(studentised_range::quantile(t, n_means, dof)) && finite(studentised_range::upper_quantile(t, n_means, dof)));
    }
}
