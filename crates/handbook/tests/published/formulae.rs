//! The formulae that the publications print hold between the figures that the tables carry.

use darkline_handbook::{Handbook, Provenance};

/// Stoichiometry with the standard atomic weights of 2021 (CIAAW), on the masses that EPA 7000B and 200.9 print.
#[test]
fn the_printed_masses_of_stock_solutions_give_1000_milligrams_a_litre() {
    for stock in Handbook::shipped().stocks() {
        let found = stock.mass_concentration_mg_l();
        // The table prints five significant digits.
        assert!((found - stock.concentration_mg_l_recomputed).abs() <= 0.05 + 1e-9, "{}: {found}", stock.compound);
        assert!((found - 1000.0).abs() < 3.0, "{}: {found}", stock.compound);
    }
}

/// ISO 15586:2003, Table 1 (from memory): the range is where 20 µL give integrated absorbances of 0.05 s to 0.5 s.
#[test]
fn working_ranges_of_the_furnace_follow_from_characteristic_masses() {
    let mut checked = 0;
    for element in Handbook::shipped().elements() {
        let figure = |quantity| element.figures_of(quantity).find(|figure| figure.source == "iso15586");
        let (Some(mass), Some(low), Some(high)) =
            (figure("characteristic_mass"), figure("optimum_range_low"), figure("optimum_range_high"))
        else {
            continue;
        };
        assert_eq!(mass.provenance, Provenance::Memory);
        for (range, integrated) in [(low, 0.05), (high, 0.5)] {
            let follows = integrated / 0.0044 * mass.value / 20.0;
            let ratio = follows / range.value;
            assert!((0.85..=1.15).contains(&ratio), "{}: {follows} against {}", element.symbol, range.value);
        }
        checked += 1;
    }
    assert_eq!(checked, 13);
}

/// EPA 1637 and 1639: the minimum level is 3.18 times the method detection limit, rounded to 1, 2 or 5 times a power of ten.
#[test]
fn minimum_levels_follow_from_detection_limits() {
    let mut checked = 0;
    for element in Handbook::shipped().elements() {
        for level in element.figures_of("minimum_level") {
            let limit =
                element.figures_of("method_detection_limit").find(|limit| limit.source == level.source).unwrap();
            let wanted = 3.18 * limit.value;
            let steps = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0];
            let nearest =
                steps.into_iter().min_by(|a: &f64, b: &f64| (a - wanted).abs().total_cmp(&(b - wanted).abs())).unwrap();
            assert!(
                (nearest / level.value - 1.0).abs() < 1e-9,
                "{}: {nearest} against {}",
                element.symbol,
                level.value
            );
            checked += 1;
        }
    }
    assert_eq!(checked, 7);
}

/// Common practice, no source: what is driven off in pyrolysis has to stay below the temperature the atoms are made at.
#[test]
fn pyrolysis_is_cooler_than_atomisation_in_every_programme() {
    let handbook = Handbook::shipped();
    let rows: Vec<_> = handbook.programmes().iter().flat_map(|programme| &programme.row).collect();
    let pairs: Vec<(f64, f64)> =
        rows.iter().filter_map(|row| Some((row.pyrolysis_degc?, row.atomisation_degc?))).collect();
    assert!(pairs.len() > 35, "{}", pairs.len());
    assert!(pairs.iter().all(|(pyrolysis, atomisation)| pyrolysis < atomisation));
}

/// EPA 3015A: 45 mL and 5 mL of acid give 50 mL; EPA 200.2: 100 mL of water are brought to 50 mL.
#[test]
fn factors_of_the_routes_of_digestion() {
    let route = |id: &str| Handbook::shipped().routes().iter().find(|route| route.id == id).unwrap();
    let acid = route("epa3015a").acids[0].volume_ml.unwrap();
    assert!(((45.0 + acid) / 45.0 - 1.111_f64).abs() < 5e-4);
    let water = route("epa200_2_water");
    assert_eq!(water.final_volume_ml.unwrap() / 100.0, water.dilution_factor.unwrap());
}

/// Lines and their neighbours: the distance is the difference of the two positions, each of the three rounded to 0.1 pm.
#[test]
fn neighbours_lie_where_their_positions_say() {
    for neighbour in Handbook::shipped().neighbours() {
        let distance = (neighbour.neighbour_nm - neighbour.line_nm) * 1000.0;
        assert!((distance - neighbour.delta_pm).abs() < 0.15 + 1e-9, "{} {}", neighbour.symbol, neighbour.neighbour);
    }
}

/// Zeeman shift in picometres: λ² times 0.466864 cm⁻¹/T times the field (CODATA, μB/hc), at 0.8 T.
#[test]
fn shifts_of_the_components_follow_from_the_lorentz_unit() {
    for line in Handbook::shipped().splittings() {
        let centimetres = line.wavelength_nm * 1e-7;
        let shift = centimetres * centimetres * 0.466_864 * 0.8 * 1e10 * line.sigma_mean_shift_lorentz;
        assert!((shift - line.sigma_mean_shift_pm_at_0_8_t).abs() < 0.011, "{} {shift}", line.symbol);
    }
}
