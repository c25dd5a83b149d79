//! `handbook/zeeman.toml` and `handbook/spectral_neighbours.toml`: roll-over, splitting and neighbours as tabulated.

use std::path::Path;

use darkline_signal::residual_fraction::Splitting;
use darkline_signal::roll_over::NetCurve;
use darkline_signal::spectral_neighbours::{Correction, Disturbs, Neighbour, suspects};
use toml::{Table, Value};

fn tables(file: &str, key: &str) -> Vec<Table> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference/handbook").join(file);
    let text = std::fs::read_to_string(path).expect("the reference file is part of the repository");
    let whole: Table = text.parse().expect("TOML");
    let rows = whole[key].as_array().expect("an array of tables");
    rows.iter().map(|row| row.as_table().expect("a table").clone()).collect()
}

fn number(row: &Table, key: &str) -> f64 {
    match &row[key] {
        Value::Float(value) => *value,
        Value::Integer(value) => *value as f64,
        other => panic!("{key} is {other}"),
    }
}

/// zeeman.toml, `rollover`: the curve of B. V. L'vov and others (Spectrochim. Acta 47B (1992) 1411), recomputed to four places.
#[test]
fn the_tabulated_roll_overs_are_those_of_the_net_curve() {
    let rows = tables("zeeman.toml", "rollover");
    assert_eq!(rows.len(), 24);
    for row in rows {
        let curve =
            NetCurve { stray_fraction: number(&row, "alpha"), sensitivity_ratio: number(&row, "sensitivity_ratio") };
        let top = curve.roll_over().expect("a roll-over");
        assert!((top.true_absorbance - number(&row, "absorbance_at_maximum")).abs() <= 5e-5, "{row}");
        assert!((top.net - number(&row, "rollover_absorbance")).abs() <= 5e-5, "{row}");
    }
}

/// zeeman.toml, `splitting`: a line whose shift is large against its width keeps little in the field. The source's line is
/// taken half as wide as the Doppler width (from memory: hollow cathodes are cooler than a furnace).
#[test]
fn every_tabulated_line_keeps_the_less_the_wider_it_is_split() {
    let rows = tables("zeeman.toml", "splitting");
    assert_eq!(rows.len(), 48);
    let mut found: Vec<(f64, f64)> = Vec::new();
    for row in &rows {
        let (shift_pm, doppler) =
            (number(row, "sigma_mean_shift_pm_at_0_8_t"), number(row, "doppler_fwhm_pm_at_2500_k"));
        let tabulated = number(row, "sigma_shift_over_doppler_fwhm");
        // Shift, width and ratio are each rounded to two places.
        let rounding = 0.005 + tabulated * (0.005 / shift_pm + 0.005 / doppler);
        assert!((shift_pm / doppler - tabulated).abs() <= rounding, "{row}");
        let line = Splitting { shift_pm, field_t: 0.8, absorption_fwhm_pm: doppler, source_fwhm_pm: 0.5 * doppler };
        let left = line.left_at(0.8);
        assert!(left > 0.0 && left < line.left_at(0.4) && line.left_at(0.4) < 1.0, "{row}");
        found.push((shift_pm / doppler, left));
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert!(found.windows(2).all(|pair| pair[0].1 >= pair[1].1));
    // One Doppler width leaves a tenth, two leave nothing to speak of.
    assert!(found.iter().filter(|(ratio, _)| *ratio > 2.0).all(|(_, left)| *left < 2e-4));
}

/// spectral_neighbours.toml: what it calls an overlap disturbs a field too; what it calls near disturbs a continuum.
#[test]
fn the_tabulated_neighbours_are_sifted_by_the_correction() {
    let rows = tables("spectral_neighbours.toml", "neighbour");
    assert!(rows.len() > 50);
    for row in &rows {
        let level = row.get("neighbour_lower_level_cm1").map(|_| number(row, "neighbour_lower_level_cm1"));
        let neighbour = Neighbour {
            element: row["neighbour"].as_str().expect("a symbol").to_owned(),
            wavelength_nm: number(row, "neighbour_nm"),
            delta_pm: number(row, "delta_pm"),
            lower_level_per_cm: level.filter(|level| *level < 1e4),
        };
        let is_overlap = row["kind"].as_str() == Some("overlap");
        let neighbours = [neighbour];
        let in_field = suspects(&neighbours, Correction::Field { shift_pm: 0.0 }, 2500.0);
        assert_eq!(in_field.iter().any(|suspect| suspect.disturbs == Disturbs::Overlaps), is_overlap, "{row}");
        let with_continuum = suspects(&neighbours, Correction::Continuum { bandpass_pm: 200.0 }, 2500.0);
        assert!(with_continuum.iter().any(|suspect| suspect.disturbs == Disturbs::OverCorrects), "{row}");
    }
}
