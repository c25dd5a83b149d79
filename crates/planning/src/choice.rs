//! Can we? The techniques for an element at a limit, ranked, each with what it would give.
//!
//! [`weigh`] forecasts from the handbook: line, dilution or repeated injection, response, quantification limit, uncertainty at
//! the limit and how often a right statement will be made. What meets the demands of the regulation stands first, the quicker
//! before the slower; what does not, says why.
//!
//! Forecasts rest on printed figures of other instruments: they tell what to try, not what will be found.

use darkline_handbook::{Element, Figure, Handbook, Unknown};
use darkline_metrology::distribution::normal;
use darkline_preparation::levels::{self, Measurement, Model};
use darkline_record::order::DecisionRule;
use serde::Serialize;

/// Absorbance, in s for the furnace, that a characteristic mass or concentration gives.
///
/// # Source
/// 1 % absorption: −log₁₀(0.99) = 0.00436, rounded in the trade to 0.0044 (reference/handbook).
pub const CHARACTERISTIC: f64 = 0.0044;

/// Volume put into the tube, in m³, where nothing else is said.
pub const INJECTED: f64 = 20e-9;

/// Replicates of a solution.
pub const REPLICATES: usize = 3;

/// A quantification limit is asked to reach down to this part of a limit where the regulation asks for none.
///
/// Directive (EU) 2020/2184, Annex III, Part B, asks for it; elsewhere it is our choice.
pub const LOQ_OF_LIMIT: f64 = 0.30;

/// What the reduced magnetic field divides the sensitivity by. Common practice, no source.
pub const REDUCED_FIELD: f64 = 10.0;

/// Relative standard uncertainty of recovery where nothing is known of the matrix. Common practice, no source.
pub const U_RECOVERY: f64 = 0.03;

/// Relative standard uncertainty of a dilution made in the cup. Common practice, no source.
pub const U_DILUTION: f64 = 0.008;

/// Relative scatter of portions weighed into the tube. Common practice, no source.
pub const U_PORTIONS: f64 = 0.08;

/// Mass of a portion weighed into the tube, in kg. Common practice, no source.
pub const PORTION: f64 = 0.3e-6;

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question<'a> {
    /// The element, by symbol or name.
    pub element: &'a str,
    /// The limit: a mass concentration in kg/m³, or a mass fraction in kg/kg.
    pub limit: f64,
    /// Whether the limit is a mass fraction: the sample is a solid.
    pub is_solid: bool,
    /// What is measured of the sample: m³ of sample in a m³ of solution, or kg of sample in a m³ of solution.
    pub taken: f64,
    /// The largest quantification limit allowed, in the unit of the limit; [`LOQ_OF_LIMIT`] of it where absent.
    pub largest_loq: Option<f64>,
    /// The largest expanded uncertainty (k = 2) allowed at the limit, relative.
    pub largest_u: Option<f64>,
    /// How the uncertainty enters a statement.
    pub rule: DecisionRule,
}

/// A technique as a plan chooses it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// A flame.
    Flame,
    /// A graphite furnace.
    Furnace,
    /// A graphite furnace at a reduced magnetic field.
    ReducedField,
    /// Portions weighed into the tube.
    Solid,
}

impl Way {
    /// All of them.
    pub const ALL: [Way; 4] = [Way::Flame, Way::Furnace, Way::ReducedField, Way::Solid];
    /// The words on screens.
    pub fn words(self) -> &'static str {
        match self {
            Way::Flame => "flame",
            Way::Furnace => "furnace",
            Way::ReducedField => "furnace, reduced field",
            Way::Solid => "solid, weighed into the tube",
        }
    }
    /// Time from one reading to the next, in s. Common practice, no source.
    pub fn seconds_per_reading(self) -> f64 {
        match self {
            Way::Flame => 12.0,
            Way::Furnace | Way::ReducedField => 120.0,
            Way::Solid => 240.0,
        }
    }
    /// Relative standard deviation of a reading far above zero. Common practice, no source.
    pub fn rsd(self) -> f64 {
        match self {
            Way::Flame => 0.01,
            _ => 0.03,
        }
    }
}

/// A figure with where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sourced {
    /// In SI.
    pub value: f64,
    /// Where it comes from, and how sure that is.
    pub origin: String,
}

/// What a technique would give.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Forecast {
    /// The technique.
    pub way: Way,
    /// The line, in nm.
    pub line_nm: f64,
    /// Characteristic mass (kg) or concentration (kg/m³).
    pub characteristic: Sourced,
    /// Standard deviation of a blank, as an amount in the solution, kg/m³.
    pub sd_of_blank: Sourced,
    /// Working range in the solution, kg/m³.
    pub range: (f64, f64),
    /// The part of it that is calibrated for this limit: from a third of it to ten times it.
    pub calibrated: (f64, f64),
    /// Volume after dilution over volume before.
    pub dilution: f64,
    /// Injections into the tube before it is heated; 1 for a flame.
    pub injections: usize,
    /// Response at the limit: absorbance, or integrated absorbance in s.
    pub response: f64,
    /// Quantification limit in the sample, in the unit of the limit.
    pub loq: f64,
    /// Relative standard uncertainty at the limit.
    pub u: f64,
    /// Part of samples, spread evenly from nothing to twice the limit, about which a right statement is made.
    pub decides: f64,
    /// Time of one solution with its replicates, in s.
    pub seconds: f64,
    /// What it does not meet; it meets everything where empty.
    pub lacks: Vec<String>,
}

/// A technique that nothing can be forecast of, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// The technique.
    pub way: Way,
    /// Why.
    pub why: String,
}

/// The techniques of a question.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Weighed {
    /// Those that can be forecast, the best first.
    pub ranked: Vec<Forecast>,
    /// The others.
    pub left_out: Vec<LeftOut>,
}

/// Ranks the techniques for an element at a limit.
///
/// # Errors
/// The element is not in the handbook.
///
/// # Source
/// Response: c = A/0.0044·c₀ (flame), A/0.0044·m₀/V (furnace), reference/handbook. Quantification limit: ten standard deviations of
/// a blank (L. A. Currie, Anal. Chem. 40 (1968) 586). Uncertainty: relative variances of readings and curve
/// ([`levels::judged`]), recovery and dilution add.
pub fn weigh(handbook: &Handbook, question: &Question<'_>) -> Result<Weighed, Unknown> {
    let element = handbook.element(question.element)?;
    let mut weighed = Weighed { ranked: Vec::new(), left_out: Vec::new() };
    for way in Way::ALL {
        match forecast(handbook, element, question, way) {
            Ok(forecast) => weighed.ranked.push(forecast),
            Err(why) => weighed.left_out.push(LeftOut { way, why }),
        }
    }
    weighed.ranked.sort_by(|a, b| {
        let meets = |forecast: &Forecast| forecast.lacks.len();
        let in_order =
            if meets(a) == 0 && meets(b) == 0 { a.seconds.total_cmp(&b.seconds) } else { meets(a).cmp(&meets(b)) };
        in_order.then(b.decides.total_cmp(&a.decides))
    });
    Ok(weighed)
}

impl Weighed {
    /// Why a technique stands below the first, in a sentence.
    pub fn why_lower(&self, place: usize) -> String {
        let Some((first, this)) = self.ranked.first().zip(self.ranked.get(place)) else { return String::new() };
        if place == 0 {
            return String::new();
        }
        if !this.lacks.is_empty() {
            return this.lacks.join("; ");
        }
        let times = this.seconds / first.seconds;
        format!("meets everything too, and takes {times:.0} times as long")
    }
}

/// Publication, place and how sure that is, of a printed figure.
pub fn origin(handbook: &Handbook, source: &str, locator: &str, provenance: darkline_handbook::Provenance) -> String {
    let title = handbook.source(source).map_or(source, |source| source.title.as_str());
    let place = if locator.is_empty() || title.ends_with(locator) { String::new() } else { format!(", {locator}") };
    format!("{title}{place} ({})", provenance.words())
}

/// The printed figure to plan with: of integrated absorbance before others, seen in print before remembered.
fn figure<'a>(element: &'a Element, quantities: &[&str], technique: &str) -> Option<&'a Figure> {
    let line = element.primary_line().label_nm;
    element
        .figures
        .iter()
        .filter(|figure| figure.technique == technique && quantities.contains(&figure.quantity.as_str()))
        .filter(|figure| figure.wavelength_nm.is_none_or(|nm| (nm - line).abs() <= 0.15))
        .min_by_key(|figure| (figure.mode.as_deref() != Some("integrated absorbance"), figure.provenance))
}

/// A figure in SI: kg, or kg/m³.
fn si(figure: &Figure) -> f64 {
    match figure.unit.as_str() {
        "pg" => figure.value / 1e15,
        "mg/L" => figure.value / 1e3,
        _ => figure.value / 1e6,
    }
}

fn sourced(handbook: &Handbook, figure: &Figure) -> Sourced {
    let what = figure.quantity_words();
    let told = origin(handbook, &figure.source, &figure.locator, figure.provenance);
    Sourced { value: si(figure), origin: format!("{what} {} {}: {told}", figure.value, figure.unit_symbol()) }
}

fn forecast(handbook: &Handbook, element: &Element, question: &Question<'_>, way: Way) -> Result<Forecast, String> {
    let technique = if way == Way::Flame { "flame" } else { "furnace" };
    if way == Way::Solid && !question.is_solid {
        return Err("the sample is a liquid".into());
    }
    let quantity = if way == Way::Flame { "characteristic_concentration" } else { "characteristic_mass" };
    let characteristic = figure(element, &[quantity], technique)
        .ok_or_else(|| format!("the handbook has no {} of {}", quantity.replace('_', " "), element.name))?;
    let mut characteristic = sourced(handbook, characteristic);
    let blank =
        figure(element, &["method_detection_limit", "detection_limit", "instrument_detection_limit"], technique)
            .ok_or_else(|| format!("the handbook has no detection limit of {} by {technique}", element.name))?;
    // A method detection limit is t(6, 99 %) = 3.143 standard deviations, the other two are 3.
    let times = if blank.quantity == "method_detection_limit" { 3.143 } else { 3.0 };
    let mut sd_of_blank = sourced(handbook, blank);
    sd_of_blank.value /= times;
    sd_of_blank.origin = format!("{times} of them are a {}", sd_of_blank.origin);
    if way == Way::ReducedField {
        characteristic.value *= REDUCED_FIELD;
        sd_of_blank.value *= REDUCED_FIELD;
        let by = format!("; {REDUCED_FIELD} times that at a reduced field (common practice, no source)");
        characteristic.origin.push_str(&by);
        sd_of_blank.origin.push_str(&by);
    }
    // Response per amount in the solution, and the range of responses that calibrate well: 0.05 to 0.5.
    let slope = match way {
        Way::Flame => CHARACTERISTIC / characteristic.value,
        _ => CHARACTERISTIC * INJECTED / characteristic.value,
    };
    let mut range = (0.05 / slope, 0.5 / slope);
    if way == Way::Flame
        && let (Some(low), Some(high)) =
            (figure(element, &["optimum_range_low"], technique), figure(element, &["optimum_range_high"], technique))
        && low.source == high.source
    {
        range = (si(low), si(high));
    }
    // What the limit is in the solution that is measured.
    let taken = if way == Way::Solid { PORTION / INJECTED } else { question.taken };
    let undiluted = question.limit * taken;
    let mut dilution = 1.0;
    if way != Way::Solid {
        for factor in [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0] {
            dilution = factor;
            if undiluted / factor <= 0.7 * range.1 {
                break;
            }
        }
    }
    let largest_loq = question.largest_loq.unwrap_or(LOQ_OF_LIMIT * question.limit);
    let loq_of = |injections: usize| 10.0 * sd_of_blank.value / injections as f64 * dilution / taken;
    let mut injections = 1;
    if way == Way::Furnace && dilution == 1.0 {
        while injections < 5 && loq_of(injections) > largest_loq {
            injections += 1;
        }
        if loq_of(injections) > largest_loq {
            injections = 1;
        }
    }
    let enriched = injections as f64;
    range = (range.0 / enriched, range.1 / enriched);
    let loq = loq_of(injections);
    let at = undiluted / dilution;
    let loq_in_solution = 10.0 * sd_of_blank.value / enriched;
    let mut calibrated = (range.0.min(at / 3.0).max(loq_in_solution), range.1.min(10.0 * at));
    if calibrated.0 > calibrated.1 / 3.0 {
        calibrated = range;
    }
    let measurement = Measurement {
        model: Model::StraightLine,
        slope: slope * enriched,
        sd_at_zero: slope * sd_of_blank.value,
        rsd: way.rsd(),
        u_level: 0.005,
        readings_of_level: REPLICATES,
        readings: REPLICATES,
        low: calibrated.0,
        high: calibrated.1,
        at,
    };
    let design = levels::designs(&measurement, 5, 5);
    let of_curve = levels::choose(&design).map_or(f64::INFINITY, |design| design.u_at);
    let of_dilution = if dilution > 1.0 { U_DILUTION } else { 0.0 };
    let of_portions = if way == Way::Solid { U_PORTIONS / (REPLICATES as f64).sqrt() } else { 0.0 };
    let u =
        (of_curve * of_curve + U_RECOVERY * U_RECOVERY + of_dilution * of_dilution + of_portions * of_portions).sqrt();
    let at_zero = loq / 10.0 / (REPLICATES as f64).sqrt() / question.limit;
    let decides = decides(u, at_zero.min(u), question.rule);
    let mut lacks = Vec::new();
    if loq > largest_loq {
        lacks.push(format!(
            "its quantification limit is {:.1} % of the limit, {:.1} % at most are wanted",
            100.0 * loq / question.limit,
            100.0 * largest_loq / question.limit
        ));
    }
    if let Some(largest) = question.largest_u
        && 2.0 * u > largest
    {
        lacks.push(format!(
            "its U (k = 2) is {:.0} % at the limit, {:.0} % at most are allowed",
            200.0 * u,
            100.0 * largest
        ));
    }
    if at > range.1 {
        lacks.push("the limit lies above its working range even diluted".into());
    }
    if at < range.0 / 5.0 {
        lacks.push("the limit lies far below its working range".into());
    }
    let per_reading = way.seconds_per_reading() * if injections > 1 { 0.5 + 0.5 * enriched } else { 1.0 };
    Ok(Forecast {
        way,
        line_nm: element.primary_line().label_nm,
        characteristic,
        sd_of_blank,
        range,
        calibrated,
        dilution,
        injections,
        response: slope * enriched * at,
        loq,
        u,
        decides,
        seconds: per_reading * REPLICATES as f64,
        lacks,
    })
}

/// Part of samples, spread evenly from nothing to twice the limit, about which a right statement is made.
///
/// # Arguments
/// * `u`: relative standard uncertainty at the limit. `at_zero`: standard uncertainty at nothing, as a part of the limit.
///
/// # Source
/// The rules of JCGM 106:2012, 8.2 and 8.3, with U = 2u at the limit; the mean over true values in steps of a two-hundredth.
pub fn decides(u: f64, at_zero: f64, rule: DecisionRule) -> f64 {
    let guard = 2.0 * u;
    let (complies_up_to, fails_above) = match rule {
        DecisionRule::SimpleAcceptance => (1.0, 1.0),
        DecisionRule::GuardBandU => (1.0 - guard, 1.0 + guard),
        DecisionRule::GuardedAcceptance => (1.0 - guard, 1.0 - guard),
        DecisionRule::GuardedRejection => (1.0 + guard, 1.0 + guard),
    };
    let relative = (u * u - at_zero * at_zero).max(0.0).sqrt();
    let mut sum = 0.0;
    const STEPS: u32 = 400;
    for step in 0..STEPS {
        let truth = 2.0 * (f64::from(step) + 0.5) / f64::from(STEPS);
        let u_here = (at_zero * at_zero + relative * relative * truth * truth).sqrt();
        let below = |edge: f64| match u_here > 0.0 {
            true => normal::cdf((edge - truth) / u_here).unwrap_or(0.0),
            false => f64::from(u8::from(truth <= edge)),
        };
        sum += if truth <= 1.0 { below(complies_up_to) } else { 1.0 - below(fails_above) };
    }
    sum / f64::from(STEPS)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn water(element: &str, microgram_per_litre: f64) -> Question<'_> {
        Question {
            element,
            limit: microgram_per_litre / 1e6,
            is_solid: false,
            taken: 0.9,
            largest_loq: None,
            largest_u: None,
            rule: DecisionRule::GuardBandU,
        }
    }

    fn best(question: &Question<'_>) -> Forecast {
        weigh(Handbook::shipped(), question).unwrap().ranked[0].clone()
    }

    #[test]
    fn lead_at_ten_micrograms_a_litre_needs_the_furnace_and_iron_at_three_hundred_the_flame() {
        let lead = best(&water("lead", 10.0));
        assert_eq!((lead.way, lead.lacks.len()), (Way::Furnace, 0), "{lead:?}");
        let iron = best(&water("Fe", 300.0));
        assert_eq!((iron.way, iron.lacks.len()), (Way::Flame, 0), "{iron:?}");
    }

    #[test]
    fn the_working_range_of_lead_is_that_of_iso_15586() {
        // ISO 15586 Table 1 (from memory): 10 to 100 µg/L for 15 pg and 20 µL, within the factor 0.85 to 1.15 of the pack.
        let lead = best(&water("Pb", 20.0));
        assert!((0.85..1.15).contains(&(lead.range.0 * 1e6 / 10.0)), "{:?}", lead.range);
        assert!((0.85..1.15).contains(&(lead.range.1 * 1e6 / 100.0)), "{:?}", lead.range);
    }

    #[test]
    fn a_low_limit_is_reached_by_injecting_several_times() {
        let lead = best(&water("Pb", 5.0));
        assert_eq!(lead.way, Way::Furnace);
        assert!(lead.injections > 1 && lead.loq <= 0.3 * 5e-6, "{lead:?}");
    }

    #[test]
    fn a_rich_solid_is_diluted_and_a_liquid_is_not_weighed_into_the_tube() {
        let soil = Question { is_solid: true, taken: 10.0, ..water("Pb", 0.0) };
        let soil = Question { limit: 300e-6, ..soil };
        let weighed = weigh(Handbook::shipped(), &soil).unwrap();
        let furnace = weighed.ranked.iter().find(|one| one.way == Way::Furnace).unwrap();
        assert!(furnace.dilution >= 50.0, "{furnace:?}");
        let water = weigh(Handbook::shipped(), &water("Pb", 10.0)).unwrap();
        assert!(water.left_out.iter().any(|one| one.way == Way::Solid));
        assert!(!water.why_lower(1).is_empty());
    }

    #[test]
    fn more_doubt_decides_less_and_none_decides_all() {
        let rule = DecisionRule::GuardBandU;
        assert!((decides(0.0, 0.0, rule) - 1.0).abs() < 1e-12);
        assert!(decides(0.05, 0.01, rule) > decides(0.10, 0.01, rule));
        // Guard band U over an even spread: what is lost is about U on both sides of two limits' width.
        assert!((decides(0.05, 0.05, rule) - 0.9).abs() < 0.01);
        assert!(decides(0.05, 0.01, DecisionRule::SimpleAcceptance) > decides(0.05, 0.01, rule));
    }
}
