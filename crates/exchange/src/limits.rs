//! The part `[limits]` of a method: what a run may show, and what earlier runs found.

use darkline_metrology::kind::Kind;
use darkline_record::figure::Written;
use darkline_record::limits::{BatchControl, History, Limits, ReplicateTest};

use crate::document::figure::Wanted;
use crate::document::gathering::{all, transposed};
use crate::document::section::Section;

/// Reads the limits; `None` where one of them could not be read, which has been told.
pub(crate) fn read(section: &Section<'_>) -> Option<Limits> {
    fn figure<K: Kind>(section: &Section<'_>, name: &'static str) -> Option<Option<Written<K>>> {
        transposed(section.optional(name).map(|entry| entry.figure(Wanted::Positive)))
    }
    let characteristic_mass = figure(section, "characteristic_mass");
    let injected_volume = figure(section, "injected_volume");
    let characteristic_concentration = figure(section, "characteristic_concentration");
    let sensitivity_window = figure(section, "sensitivity_window");
    let back_calculated = figure(section, "back_calculated");
    let lack_of_fit = figure(section, "lack_of_fit");
    let least_slope_ratio = figure(section, "least_slope_ratio");
    let first_check = span(section, "first_check_lowest", "first_check_highest");
    let low_check = span(section, "low_check_lowest", "low_check_highest");
    let highest_background = figure(section, "highest_background");
    let deepest_dip = figure(section, "deepest_dip");
    let highest_peak_shift = figure(section, "highest_peak_shift");
    let highest_second_hump = figure(section, "highest_second_hump");
    let highest_reading_slope = figure(section, "highest_reading_slope");
    let highest_noise = figure(section, "highest_noise");
    let highest_carry_over = figure(section, "highest_carry_over");
    let highest_drift = figure(section, "highest_drift");
    let highest_duplicate_difference = figure(section, "highest_duplicate_difference");
    let spike = span(section, "spike_lowest", "spike_highest");
    let highest_dilution_difference = figure(section, "highest_dilution_difference");
    let longest_holding = figure(section, "longest_holding");
    let least_portion = figure(section, "least_portion");
    let highest_mass_ratio = figure(section, "highest_mass_ratio");
    let highest_inhomogeneity = figure(section, "highest_inhomogeneity");
    let cup_volume = figure(section, "cup_volume");
    let cup_rest = figure(section, "cup_rest");
    let time_per_reading = figure(section, "time_per_reading");
    let count = |name| transposed(section.optional(name).map(|entry| entry.whole(0..=255)));
    let least_levels = count("least_levels");
    let most_between_checks = count("most_between_checks");
    let most_repeats = count("most_repeats");
    let diluent = transposed(section.optional("diluent").map(|entry| entry.text()));
    let replicate_test = transposed(
        section
            .optional("replicate_test")
            .map(|entry| entry.one_of("test of replicates", &ReplicateTest::ALL, ReplicateTest::words)),
    );
    let batch_controls = section.optional("batch_controls").map_or(Some(Vec::new()), |entry| {
        let entries = entry.list("[\"method blank\", \"control\"]")?;
        all(entries
            .iter()
            .map(|entry| entry.one_of("control of a batch", &BatchControl::ALL, BatchControl::words))
            .collect())
    });
    let history = section.sections("history", "[[limits.history]]");
    let history = all(history.iter().map(one_history).collect());
    section.close();
    let byte = |count: Option<u32>| count.map(|count| u8::try_from(count).unwrap_or(u8::MAX));
    let ((first_check_lowest, first_check_highest), (low_check_lowest, low_check_highest)) = (first_check?, low_check?);
    let (spike_lowest, spike_highest) = spike?;
    Some(Limits {
        characteristic_mass: characteristic_mass?,
        injected_volume: injected_volume?,
        characteristic_concentration: characteristic_concentration?,
        sensitivity_window: sensitivity_window?,
        back_calculated: back_calculated?,
        lack_of_fit: lack_of_fit?,
        least_slope_ratio: least_slope_ratio?,
        first_check_lowest,
        first_check_highest,
        low_check_lowest,
        low_check_highest,
        highest_background: highest_background?,
        deepest_dip: deepest_dip?,
        highest_peak_shift: highest_peak_shift?,
        highest_second_hump: highest_second_hump?,
        highest_reading_slope: highest_reading_slope?,
        highest_noise: highest_noise?,
        highest_carry_over: highest_carry_over?,
        highest_drift: highest_drift?,
        highest_duplicate_difference: highest_duplicate_difference?,
        spike_lowest,
        spike_highest,
        highest_dilution_difference: highest_dilution_difference?,
        longest_holding: longest_holding?,
        least_portion: least_portion?,
        highest_mass_ratio: highest_mass_ratio?,
        highest_inhomogeneity: highest_inhomogeneity?,
        cup_volume: cup_volume?,
        cup_rest: cup_rest?,
        time_per_reading: time_per_reading?,
        least_levels: byte(least_levels?),
        most_between_checks: byte(most_between_checks?),
        most_repeats: byte(most_repeats?),
        replicate_test: replicate_test?,
        batch_controls: batch_controls?,
        diluent: diluent?,
        history: history?,
    })
}

type Span<K> = (Option<Written<K>>, Option<Written<K>>);

/// A lowest and a highest: both or none, and in this order.
fn span<K: Kind>(section: &Section<'_>, lowest: &'static str, highest: &'static str) -> Option<Span<K>> {
    let (low_entry, high_entry) = (section.optional(lowest), section.optional(highest));
    let low = transposed(low_entry.as_ref().map(|entry| entry.figure(Wanted::NotNegative)));
    let high: Option<Option<Written<K>>> = transposed(high_entry.as_ref().map(|entry| entry.figure(Wanted::Positive)));
    match (&low_entry, &high_entry) {
        (Some(entry), None) => entry.fault(format!("\"{lowest}\" stands here without \"{highest}\""), "write both"),
        (None, Some(entry)) => entry.fault(format!("\"{highest}\" stands here without \"{lowest}\""), "write both"),
        _ => {}
    }
    let (low, high): Span<K> = (low?, high?);
    if let (Some(low), Some(high), Some(entry)) = (&low, &high, &high_entry)
        && high.value().si() <= low.value().si()
    {
        entry.fault(
            format!("the highest, {high}, is not above the lowest, {low}"),
            "write the larger of them as the highest",
        );
        return None;
    }
    Some((low, high))
}

fn one_history(section: &Section<'_>) -> Option<History> {
    let of = section.required("of", "\"sensitivity\"").and_then(|entry| entry.text());
    let found = section.required("found", "[\"98 %\", \"101 %\"]").and_then(|entry| {
        let entries = entry.list("[\"98 %\", \"101 %\"]")?;
        all(entries.iter().map(|entry| entry.figure(Wanted::Positive)).collect())
    });
    section.close();
    Some(History { of: of?, found: found? })
}

#[cfg(test)]
mod tests {
    const METHOD: &str = r#"format = "darkline/method/1"
id = "m"
version = "1"
title = "t"
element = "Pb"
technique = "furnace"
[response]
kind = "integrated absorbance"
[calibration]
model = "straight line"
weights = "equal"
[replicates]
n = 3
sd_at_zero = "0.001 s"
rsd = "2 %"
[blank]
subtract = "nothing"
[check]
lowest = "90 %"
highest = "110 %"
[result]
kind = "mass concentration"
unit = "µg/L"
coverage_factor = "2"
"#;

    fn read(limits: &str) -> Result<darkline_record::limits::Limits, String> {
        crate::method::read("method.toml", &format!("{METHOD}[limits]\n{limits}\n"))
            .map(|method| method.limits)
            .map_err(|faults| faults.to_string())
    }

    #[test]
    fn limits_are_read_and_may_all_be_absent() {
        assert!(read("").unwrap().is_empty());
        let limits = read(
            "characteristic_mass = \"15 pg\"\nlongest_holding = \"28 d\"\nleast_levels = 3\n\
             batch_controls = [\"method blank\", \"spike\"]\n[[limits.history]]\nof = \"sensitivity\"\nfound = [\"98 %\"]\n",
        )
        .unwrap();
        assert_eq!(limits.longest_holding.unwrap().to_string(), "28 d");
        assert_eq!((limits.batch_controls.len(), limits.history[0].found.len()), (2, 1));
    }

    #[test]
    fn a_limit_that_cannot_be_is_told() {
        for (written, told) in [
            ("spike_lowest = \"75 %\"", "without \"spike_highest\""),
            ("spike_lowest = \"125 %\"\nspike_highest = \"75 %\"", "is not above the lowest"),
            ("batch_controls = [\"blank\"]", "is no control of a batch"),
            ("batch_controls = \"spike\"", "stands where a list is wanted"),
            ("highest_drif = \"20 %\"", "highest_drift"),
        ] {
            let faults = read(written).unwrap_err();
            assert!(faults.contains(told), "{written}: {faults}");
        }
    }
}
