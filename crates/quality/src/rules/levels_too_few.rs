//! levels-too-few
//!
//! What it sees: fewer levels of standards above ten times the standard deviation at zero than the method asks for.
//! Why it matters: levels in the noise carry no information on the slope; the function rests on the rest alone.
//! What to do: calibrate with higher levels; the run stops here.
//! Source: the method document, `least_levels`; where it is silent, nothing is flagged. Ten standard deviations as the limit
//! of quantification: IUPAC, Pure Appl. Chem. 67 (1995) 1699 (from memory).

use darkline_metrology::kind::Kind;
use darkline_record::decision::{NextStep, Subject};

use crate::flag::{Evidence, Flag, Holds, Settled, Severity};
use crate::rule::{Rule, flag_id};
use crate::view::{RunView, SeenCalibration};

/// The rule.
pub const RULE: Rule = Rule {
    name: "levels-too-few",
    source: "the method document, least_levels; IUPAC, Pure Appl. Chem. 67 (1995) 1699 (from memory)",
    see,
    say,
};

fn see(view: &RunView<'_>) -> Vec<Flag> {
    let Some(least) = view.method.limits.least_levels.map(usize::from) else { return Vec::new() };
    let SeenCalibration::Fitted { levels, slope, .. } = view.calibration else { return Vec::new() };
    if view.standard_awaited().is_some() {
        return Vec::new();
    }
    let lowest = 10.0 * view.method.replicates.sd_at_zero.value().si();
    let mut clear: Vec<f64> =
        levels.iter().map(|level| level.amount).filter(|amount| *amount > 0.0 && slope * amount >= lowest).collect();
    clear.sort_by(f64::total_cmp);
    clear.dedup();
    if clear.len() >= least {
        return Vec::new();
    }
    #[expect(clippy::cast_precision_loss, reason = "levels are few")]
    let (found, least) = (clear.len() as f64, least as f64);
    vec![Flag {
        id: flag_id(RULE.name, Subject::Run(view.run.id.clone())),
        severity: Severity::Stops,
        settled: Settled::Now,
        evidence: Evidence::default().figure("found", found, "1").figure("least", least, "1"),
        holds: Holds::Run(view.run.id.clone()),
        next: vec![NextStep::Stop],
    }]
}

fn say(evidence: &Evidence) -> String {
    format!(
        "{} levels of standards lie above ten times the standard deviation at zero, the method asks for {}",
        evidence.value("found"),
        evidence.value("least")
    )
}
