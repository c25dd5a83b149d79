//! A method document drafted from the handbook: complete, and every figure with where it comes from.
//!
//! [`draft`] writes the text that a chemist reads, changes and validates. It stands on a [`Forecast`]; figures of nobody are
//! marked as common practice or as a choice.
//!
//! Source: none needed, it writes down figures that `choice` worked out.
//!
//! Invariant: the text reads back as a method.

use darkline_handbook::{Handbook, Unknown};
use darkline_preparation::levels::{self, Measurement, Model};

use crate::choice::{Forecast, INJECTED, REPLICATES, U_DILUTION, U_RECOVERY, Way, origin};

/// What a method is drafted for.
#[derive(Clone, Debug)]
pub struct Draft<'a> {
    /// The identity of the method.
    pub id: &'a str,
    /// The element, by symbol or name.
    pub element: &'a str,
    /// The matrix in words.
    pub matrix: &'a str,
    /// The technique and what it would give.
    pub forecast: &'a Forecast,
    /// The limit in words, with where it comes from; none where the method serves no limit.
    pub limit: Option<String>,
    /// Whether results are mass fractions.
    pub is_solid: bool,
    /// The unit of results.
    pub unit: &'a str,
    /// The quantification limit in that unit.
    pub loq: f64,
    /// How the portion is prepared, in words, with where that comes from.
    pub preparation: (&'a str, &'a str),
}

const PRACTICE: &str = "common practice, no source";
const CHOICE: &str = "a choice to begin with, no source";

/// A method in the making.
struct Text(String);

impl Text {
    fn line(&mut self, line: &str) {
        self.0.push_str(line);
        self.0.push('\n');
    }
    /// A comment, broken into lines that can be read.
    fn say(&mut self, comment: &str) {
        let mut line = String::from("#");
        for word in comment.split_whitespace() {
            if line.chars().count() + 1 + word.chars().count() > 118 {
                self.line(&line);
                line = "#  ".into();
            }
            line.push(' ');
            line.push_str(word);
        }
        self.line(&line);
    }
    /// A key with its value as it is written, its origin above it.
    fn put(&mut self, key: &str, value: &str, origin: &str) {
        self.say(origin);
        self.line(&format!("{key} = {value}"));
    }
    fn text(&mut self, key: &str, value: &str, origin: &str) {
        self.put(key, &quoted(value), origin);
    }
    fn part(&mut self, head: &str) {
        self.line("");
        self.line(head);
    }
    fn condition(&mut self, name: &str, value: &str, origin: &str) {
        self.part("[[condition]]");
        self.line(&format!("name = {}", quoted(name)));
        self.line(&format!("value = {}", quoted(value)));
        self.line(&format!("origin = {}", quoted(origin)));
    }
}

/// A text as TOML writes it.
pub fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for character in text.chars() {
        match character {
            '"' | '\\' => {
                quoted.push('\\');
                quoted.push(character);
            }
            '\n' | '\r' | '\t' => quoted.push(' '),
            control if control.is_control() => {}
            plain => quoted.push(plain),
        }
    }
    quoted.push('"');
    quoted
}

/// A figure to so many digits, without an exponent.
pub fn digits(figure: f64, n: usize) -> String {
    if figure == 0.0 || !figure.is_finite() {
        return "0".into();
    }
    // By way of decimal text, so that the rounding is the one that is printed.
    let rounded = format!("{figure:.*e}", n.saturating_sub(1));
    let (mantissa, exponent) = rounded.split_once('e').unwrap_or((&rounded, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let decimals = usize::try_from(i32::try_from(n).unwrap_or(1) - 1 - exponent).unwrap_or(0);
    let value: f64 = rounded.parse().unwrap_or(figure);
    let _ = mantissa;
    format!("{value:.decimals$}")
}

/// A mass concentration in the unit that suits it.
pub fn concentration(si: f64) -> String {
    if si >= 0.5e-3 { format!("{} mg/L", digits(si * 1e3, 2)) } else { format!("{} µg/L", digits(si * 1e6, 2)) }
}

/// The calibration levels that suit a forecast, in kg/m³.
pub fn levels_for(forecast: &Forecast) -> Vec<f64> {
    let slope = forecast.response / at(forecast);
    let measurement = Measurement {
        model: Model::StraightLine,
        slope,
        sd_at_zero: slope * forecast.sd_of_blank.value / forecast.injections as f64,
        rsd: forecast.way.rsd(),
        u_level: 0.005,
        readings_of_level: REPLICATES,
        readings: REPLICATES,
        low: forecast.calibrated.0 / 1e-6,
        high: forecast.calibrated.1 / 1e-6,
        at: at(forecast) / 1e-6,
    };
    // In µg/L, so that levels are round in the unit that people write.
    let measurement = Measurement { slope: measurement.slope * 1e-6, ..measurement };
    // Five levels at least: ISO 8466-1 (from memory) wants five to ten.
    let designs = levels::designs(&measurement, 5, 8);
    levels::choose(&designs).map_or_else(Vec::new, |design| design.levels.iter().map(|level| level * 1e-6).collect())
}

/// The limit in the solution measured, kg/m³.
fn at(forecast: &Forecast) -> f64 {
    forecast.response / slope(forecast)
}

fn slope(forecast: &Forecast) -> f64 {
    match forecast.way {
        Way::Flame => crate::choice::CHARACTERISTIC / forecast.characteristic.value,
        _ => crate::choice::CHARACTERISTIC * INJECTED * forecast.injections as f64 / forecast.characteristic.value,
    }
}

/// How the instrument corrects for background, and the lines it could mistake: nothing where no splitting of the line is known.
fn background(text: &mut Text, handbook: &Handbook, symbol: &str, line_nm: f64) {
    let of_line =
        |one: &&darkline_handbook::Splitting| one.symbol == symbol && (one.wavelength_nm - line_nm).abs() < 0.2;
    let Some(splitting) = handbook.splittings().iter().find(of_line) else { return };
    text.part("[background]");
    text.say(
        "For an instrument that corrects by a magnetic field; for another one write \"continuum\", and bandpass in place of \
         shift.",
    );
    text.line("corrected_by = \"magnetic field\"");
    text.text(
        "shift",
        &format!("{} pm", digits(splitting.sigma_mean_shift_pm_at_0_8_t, 3)),
        &format!(
            "Mean shift of the sigma components at 0.8 T ({}); write that of your field.",
            splitting.provenance.words()
        ),
    );
    let neighbours = handbook.neighbours_of(symbol, splitting.wavelength_nm);
    if !neighbours.is_empty() {
        text.say("Lines beside it (NIST list of neutral lines); over-correction names those that could make it.");
    }
    for neighbour in neighbours.into_iter().take(MOST_NEIGHBOURS) {
        text.part("[[background.neighbour]]");
        text.line(&format!("element = {}", quoted(&neighbour.neighbour)));
        text.line(&format!("line = \"{} nm\"", neighbour.neighbour_nm));
        text.line(&format!("away = \"{} pm\"", neighbour.delta_pm));
        if let Some(level) = neighbour.neighbour_lower_level_cm1 {
            text.line(&format!("lower_level_per_cm = \"{level}\""));
        }
    }
}

/// Lines beside the analytical one that a draft lists, the nearest first.
const MOST_NEIGHBOURS: usize = 6;

/// The text of a method.
///
/// # Errors
/// The element is not in the handbook.
pub fn draft(handbook: &Handbook, asked: &Draft<'_>) -> Result<String, Unknown> {
    let element = handbook.element(asked.element)?;
    let forecast = asked.forecast;
    let is_flame = forecast.way == Way::Flame;
    let by = match forecast.way {
        Way::Flame => "flame atomic absorption",
        Way::Furnace => "graphite furnace atomic absorption",
        Way::ReducedField => "graphite furnace atomic absorption at a reduced field",
        Way::Solid => "graphite furnace atomic absorption of weighed portions",
    };
    let mut name = element.name.clone();
    if let Some(first) = name.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    let title = format!("{name} in {} by {by}", asked.matrix);
    let mut text = Text(String::new());
    text.say(&format!("{title}: drafted from the handbook. Above each figure stands where it comes from."));
    text.say(
        "Read it, put in what this laboratory knows better, and validate it before a result is reported: printed figures \
         are those of other instruments.",
    );
    if let Some(limit) = &asked.limit {
        text.say(&format!("It serves the limit {limit}."));
    }
    text.line("format = \"darkline/method/1\"");
    text.line(&format!("id = {}", quoted(asked.id)));
    text.line("version = \"1\"");
    text.line(&format!("title = {}", quoted(&title)));
    text.line(&format!("element = {}", quoted(&element.symbol)));
    text.line(&format!("technique = \"{}\"", if is_flame { "flame" } else { "furnace" }));
    let line = element.primary_line();
    text.text(
        "line",
        &format!("{} nm", line.label_nm),
        &format!("The line methods begin with: {}.", origin(handbook, &line.source, "", line.provenance)),
    );
    text.text(
        "u_dilution",
        &format!("{} %", digits(100.0 * U_DILUTION, 1)),
        &format!("A dilution made in the cup: {PRACTICE}."),
    );

    text.part("[response]");
    if is_flame {
        text.line("kind = \"absorbance\"");
        text.put(
            "integration",
            "{ from = \"0 s\", to = \"5 s\" }",
            &format!("Five seconds of a steady reading; its zero is the blank's business: {PRACTICE}."),
        );
    } else {
        text.line("kind = \"integrated absorbance\"");
        text.line("baseline = { from = \"-0.4 s\", to = \"0 s\" }");
        text.put(
            "integration",
            "{ from = \"0 s\", to = \"4 s\" }",
            &format!("Until the pulse is back at its baseline; look at the first pulses: {CHOICE}."),
        );
    }

    text.part("[calibration]");
    text.put(
        "model",
        "\"straight line\"",
        &format!("Within responses of 0.05 to 0.5; above, choose among several: {PRACTICE}."),
    );
    text.line("weights = \"repeatability\"");
    text.text("u_stock", "0.3 %", &format!("A certified stock: {PRACTICE}; write the figure of the certificate."));

    text.part("[replicates]");
    text.put("n", &REPLICATES.to_string(), &format!("{PRACTICE}."));
    let sd = slope(forecast) * forecast.sd_of_blank.value / forecast.injections as f64;
    let unit = if is_flame { "" } else { " s" };
    text.text(
        "sd_at_zero",
        &format!("{}{unit}", digits(sd, 2)),
        &format!(
            "By the characteristic figure below and the standard deviation of a blank: {}.",
            forecast.sd_of_blank.origin
        ),
    );
    text.text("rsd", &format!("{} %", digits(100.0 * forecast.way.rsd(), 1)), &format!("{PRACTICE}."));

    text.part("[blank]");
    let loq_in_solution = 10.0 * forecast.sd_of_blank.value / forecast.injections as f64;
    text.text(
        "highest",
        &concentration(loq_in_solution),
        &format!("The quantification limit in the solution, ten standard deviations of a blank: {CHOICE}."),
    );
    text.line("subtract = \"method blank\"");

    text.part("[check]");
    text.say(&format!("90 to 110 % of check standards, 85 to 115 % of control materials: {PRACTICE}."));
    for (key, value) in
        [("lowest", "90 %"), ("highest", "110 %"), ("control_lowest", "85 %"), ("control_highest", "115 %")]
    {
        text.line(&format!("{key} = \"{value}\""));
    }

    if !is_flame {
        background(&mut text, handbook, &element.symbol, line.label_nm);
    }

    text.part("[limits]");
    if is_flame {
        text.text(
            "characteristic_concentration",
            &concentration(forecast.characteristic.value),
            &format!("{}.", forecast.characteristic.origin),
        );
    } else {
        text.text(
            "characteristic_mass",
            &format!("{} pg", digits(forecast.characteristic.value * 1e15, 2)),
            &format!("{}.", forecast.characteristic.origin),
        );
        let injected = INJECTED * forecast.injections as f64 * 1e9;
        let repeated = match forecast.injections {
            1 => String::new(),
            n => format!(", injected {n} times and dried each time: enrichment in the tube"),
        };
        text.text(
            "injected_volume",
            &format!("{injected} µL"),
            &format!("20 µL are what the figures are printed for{repeated}."),
        );
    }
    text.say(&format!("How far the sensitivity may lie from it: {PRACTICE}."));
    text.line("sensitivity_window = \"20 %\"");
    text.say(&format!("The check at the quantification limit: {PRACTICE}."));
    text.line("low_check_lowest = \"70 %\"");
    text.line("low_check_highest = \"130 %\"");
    text.say(&format!("What a run may show: {CHOICE}."));
    for line in [
        "back_calculated = \"10 %\"",
        "lack_of_fit = \"0.1 %\"",
        "least_levels = 3",
        "most_between_checks = 10",
        "highest_noise = \"4\"",
        "highest_drift = \"10 %\"",
        "highest_duplicate_difference = \"20 %\"",
        "spike_lowest = \"85 %\"",
        "spike_highest = \"115 %\"",
        "batch_controls = [\"method blank\", \"control\", \"duplicate\", \"spike\"]",
        "most_repeats = 2",
    ] {
        text.line(line);
    }
    if is_flame {
        text.line("highest_reading_slope = \"10 %\"");
    } else {
        for line in [
            "highest_background = \"1.5\"",
            "deepest_dip = \"0.02\"",
            "highest_peak_shift = \"0.3 s\"",
            "highest_second_hump = \"25 %\"",
            "highest_dilution_difference = \"10 %\"",
            "cup_volume = \"1.5 mL\"",
            "cup_rest = \"0.2 mL\"",
            "diluent = \"0.5 % nitric acid\"",
        ] {
            text.line(line);
        }
    }
    let holding = handbook.preservations().iter().find(|one| is_kept_so(one, &element.symbol, asked.is_solid));
    if let Some(one) = holding
        && let Some(days) = days(&one.holding_time)
    {
        text.text(
            "longest_holding",
            &format!("{days} d"),
            &format!(
                "{} ({}): {}.",
                one.holding_time,
                one.preservation,
                origin(handbook, &one.source, &one.locator, one.provenance)
            ),
        );
    }

    text.part("[result]");
    text.line(&format!("kind = \"{}\"", if asked.is_solid { "mass fraction" } else { "mass concentration" }));
    text.line(&format!("unit = {}", quoted(asked.unit)));
    text.line("coverage_factor = \"2\"");
    text.text(
        "quantification_limit",
        &format!("{} {}", digits(asked.loq, 2), asked.unit),
        &format!(
            "Ten standard deviations of a blank in the solution, as they come out in the sample. {}: {}. Show it anew with \
             own blanks.",
            asked.preparation.0, asked.preparation.1
        ),
    );
    text.part("[[result.factor]]");
    text.line("name = \"recovery\"");
    text.line("value = \"1\"");
    text.line(&format!("u = \"{}\"", digits(U_RECOVERY, 1)));
    text.line(&format!(
        "origin = {}",
        quoted("recoveries of this matrix are not known yet: 3 %, common practice, no source; no correction")
    ));
    if forecast.way == Way::Solid {
        text.part("[solid]");
        text.put("dispensed", "{ value = \"20 µL\", u = \"0.1 µL\" }", &format!("{CHOICE}."));
        text.put("u_mass", "\"0.002 mg\"", &format!("A balance with a division of 1 µg: {PRACTICE}."));
        text.line("calibrate_with = \"solutions\"");
    }

    conditions(handbook, element, forecast, &mut text);
    Ok(text.0)
}

/// The settings of the instrument and what goes with the solution.
fn conditions(handbook: &Handbook, element: &darkline_handbook::Element, forecast: &Forecast, text: &mut Text) {
    if let Some(bandpass) = &element.bandpass_nm {
        let told = origin(handbook, &bandpass.source, &bandpass.locator, bandpass.provenance);
        text.condition("bandpass", &format!("{} nm", bandpass.value), &told);
    }
    if forecast.way == Way::Flame {
        if let Some(flame) = element.flame.first() {
            let told = origin(handbook, &flame.source, &flame.locator, flame.provenance);
            text.condition("flame", &format!("{}, {}", flame.flame, flame.stoichiometry), &told);
        }
    } else {
        if let Some(modifier) = element.modifier.first() {
            let amount = modifier.amount.as_ref().map_or(String::new(), |amount| format!(", {amount}"));
            let told = origin(handbook, &modifier.source, &modifier.locator, modifier.provenance);
            let value = format!("{}{amount}", modifier.modifier).replace(" ug ", " µg ").replace("uL", "µL");
            text.condition("modifier", &value, &told);
        }
        // The table of the element that was seen in print and has both temperatures.
        let row = handbook
            .programmes_of(&element.symbol)
            .filter(|(_, row)| row.pyrolysis_degc.is_some() && row.atomisation_degc.is_some())
            .min_by_key(|(programme, _)| programme.provenance);
        if let Some((programme, row)) = row {
            let told = origin(handbook, &programme.source, &programme.locator, programme.provenance);
            if let Some(drying) = row.drying_degc.or(programme.drying_degc) {
                text.condition("drying temperature", &format!("{drying} °C"), &told);
            }
            for (name, degrees) in
                [("pyrolysis temperature", row.pyrolysis_degc), ("atomisation temperature", row.atomisation_degc)]
            {
                if let Some(degrees) = degrees {
                    text.condition(name, &format!("{degrees} °C"), &told);
                }
            }
            for (name, words) in [
                ("tube", &programme.atomiser),
                ("gas while drying and pyrolysing", &programme.purge_gas),
                ("gas in atomisation", &programme.atomisation_gas),
                ("clean-out", &programme.clean_out),
            ] {
                if let Some(words) = words {
                    text.condition(name, words, &told);
                }
            }
        }
        if forecast.way == Way::ReducedField {
            text.condition("magnetic field", "reduced until the response is a tenth", "common practice, no source");
        }
        if forecast.injections > 1 {
            text.condition(
                "injections",
                &format!("{} times 20 µL, dried after each", forecast.injections),
                "so that the quantification limit reaches the one wanted",
            );
        }
    }
    let unit = if forecast.calibrated.1 >= 0.5e-3 { (1e3, "mg/L") } else { (1e6, "µg/L") };
    let levels: Vec<String> = levels_for(forecast).iter().map(|level| digits(level * unit.0, 2)).collect();
    text.condition(
        "calibration levels",
        &format!("{} {}", levels.join(" "), unit.1),
        "from a third of the limit to ten times it, within the working range: the fewest, and where they stand, for a relative uncertainty that no more levels make 5 % better",
    );
    text.condition(
        "dilution of a sample at the limit",
        &digits(forecast.dilution, 2),
        "so that the limit lies in the lower two thirds of the working range",
    );
    for interference in element
        .interference
        .iter()
        .filter(|one| one.technique == if forecast.way == Way::Flame { "flame" } else { "furnace" })
    {
        let told = origin(handbook, &interference.source, &interference.locator, interference.provenance);
        text.condition(
            &format!("against {}", interference.interferent),
            &format!("{} ({})", interference.remedy, interference.effect),
            &told,
        );
    }
}

/// Whether a way of keeping samples is that of an element in this matrix.
pub fn is_kept_so(one: &darkline_handbook::Preservation, symbol: &str, is_solid: bool) -> bool {
    let of_matrix = one.matrix.starts_with(if is_solid { "solid" } else { "water, total" });
    let of_element = match symbol {
        "Hg" => one.analyte == "Mercury",
        _ => one.analyte.starts_with("Metals except"),
    };
    of_matrix && of_element
}

/// A holding time in days: "6 months" are 180.
fn days(text: &str) -> Option<u32> {
    let mut words = text.split_whitespace();
    let number: u32 = words.next()?.parse().ok()?;
    match words.next()? {
        "days" | "day" => Some(number),
        "months" | "month" => number.checked_mul(30),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::choice::{Question, weigh};
    use darkline_record::order::DecisionRule;

    fn every_draft(symbol: &str, limit: f64, is_solid: bool) -> Vec<(Way, String)> {
        let handbook = Handbook::shipped();
        let question = Question {
            element: symbol,
            limit,
            is_solid,
            taken: if is_solid { 10.0 } else { 0.9 },
            largest_loq: None,
            largest_u: None,
            rule: DecisionRule::GuardBandU,
        };
        let weighed = weigh(handbook, &question).unwrap();
        weighed
            .ranked
            .iter()
            .map(|forecast| {
                let draft = Draft {
                    id: "drafted",
                    element: symbol,
                    matrix: "drinking water",
                    forecast,
                    limit: None,
                    is_solid,
                    unit: if is_solid { "mg/kg" } else { "µg/L" },
                    loq: forecast.loq * 1e6,
                    preparation: ("made up", "common practice, no source"),
                };
                (forecast.way, super::draft(handbook, &draft).unwrap())
            })
            .collect()
    }

    #[test]
    fn the_draft_of_every_element_by_every_technique_reads_as_a_method() {
        let mut read = 0;
        for element in Handbook::shipped().elements() {
            for is_solid in [false, true] {
                let limit = if is_solid { 1e-6 } else { 10e-6 };
                for (way, text) in every_draft(&element.symbol, limit, is_solid) {
                    let method = darkline_exchange::method::read("method.toml", &text)
                        .unwrap_or_else(|faults| panic!("{} {way:?}\n{text}\n{faults:?}", element.symbol));
                    assert_eq!(method.element.as_str(), element.symbol);
                    assert!(method.conditions.iter().all(|one| one.origin.is_some()));
                    assert_eq!(method.solid.is_some(), way == Way::Solid);
                    read += 1;
                }
            }
        }
        assert!(read > 100, "{read}");
    }

    #[test]
    fn the_draft_for_lead_carries_the_printed_programme() {
        let drafts = every_draft("Pb", 10e-6, false);
        let (_, text) = drafts.iter().find(|(way, _)| *way == Way::Furnace).unwrap();
        // EPA method 200.9, Table 2: lead, 1250 °C and 2000 °C; ISO 15586, Table 1: 15 pg.
        for wanted in ["1250 °C", "2000 °C", "Method 200.9", "characteristic_mass = \"15 pg\"", "\"283.3 nm\""] {
            assert!(text.contains(wanted), "{wanted}\n{text}");
        }
    }

    #[test]
    fn figures_are_written_without_an_exponent() {
        for (figure, n, wanted) in [
            (0.001309, 2, "0.0013"),
            (15.0, 2, "15"),
            (0.5, 2, "0.50"),
            (1234.0, 2, "1200"),
            (9.96, 2, "10"),
            (0.0, 2, "0"),
        ] {
            assert_eq!(digits(figure, n), wanted);
        }
    }
}
