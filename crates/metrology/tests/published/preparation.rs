//! Ware, weighing, stocks, dilutions and results, each by its publication.

use crate::held::{hold, hold_text};

/// The Feeding Stuffs (Sampling and Analysis) Regulations (Northern Ireland) 1996, Schedule 2, Part I, method 14g, 3.6; a
/// published procedure for lead in water (2019); USP 28-NF 23, monograph Copper Gluconate, test for lead.
#[test]
fn dilutions_along_a_chain_of_volumes() {
    hold("uncertainty/dilution-copper-feedingstuffs.toml");
    hold("uncertainty/dilution-preconcentration-lead.toml");
    hold("uncertainty/dilution-usp-lead-furnace.toml");
}

/// USP 28-NF 23, chapter 231, from memory: the lead nitrate of the stock solution gives its stated 0.1 mg/mL, to the digits
/// of the weighing, 0.1 mg of 159.8 mg.
#[test]
fn usp_lead_nitrate_stock_is_what_it_says() {
    hold_text(
        "id = \"made\"\nkind = \"stock_solution\"\n[[item]]\nanalyte = \"Pb\"\nformula = \"Pb(NO3)2\"\nmass_g = 0.1598\n\
         volume_mL = 1000.0\nnominal_mg_L = 100.0\nmax_relative_deviation = 0.00062\n",
    );
}

/// QUAM:2012 A1 joined with the University of Tartu's 10 mL pipette, constructed: a dilution from 10 mL to 100 mL.
#[test]
fn one_step_with_pipette_and_flask() {
    hold("uncertainty/dilution-uncertainty-one-step.toml");
}

/// US EPA Method 200.9 rev. 2.2, clause 12, and SW-846 7010, clause 12, from memory: w = (c − c_blank)·V·f/m. A net
/// concentration below zero stays below zero.
#[test]
fn mass_fraction_from_a_concentration() {
    hold("uncertainty/result-mass-fraction.toml");
}

/// ISO 11465:1993, ASPAC method 2A1, EN 15934:2012: a result as received, on dry mass; a soil laboratory's worksheet (2010).
#[test]
fn results_on_dry_mass_by_any_moisture() {
    hold("uncertainty/dry-mass-conversion.toml");
    hold("uncertainty/dry-mass-worksheet.toml");
}

/// T. Prohaska and others, Pure Appl. Chem. 94 (2022) 573-600, Tables 1 to 3.
#[test]
fn atomic_weights_of_2021() {
    hold("uncertainty/atomic-weights-2021.toml");
}

/// Computed from the atomic weights of 2021: molar mass, gravimetric factor, and the mass for 1 L of 1000 mg/L.
///
/// DIFFERENCE: the case prints 249.677043 for CuSO4.5H2O, which no sum of its own atomic weights gives; the last two digits
/// are those of manganese.
#[test]
fn masses_for_a_litre_of_one_gram() {
    hold("uncertainty/stock-gravimetric-factors.toml");
}

/// US EPA-600/4-79-020 and SW-846 7000 series, Method 200.9, from memory; Lange's Handbook of Chemistry, 15th edition (1999),
/// Table 11.48; European Pharmacopoeia 5.0, 4.1.2.
#[test]
fn stocks_as_they_are_printed() {
    hold("uncertainty/stock-epa-salts.toml");
    hold("uncertainty/stock-lange.toml");
    hold("uncertainty/stock-pharmacopoeia.toml");
}

/// T. Prohaska and others (2022), interval for lead; A. Possolo and others, Pure Appl. Chem. 90 (2018) 395-424, rectangular
/// within it: numerator and denominator of the factor move together.
#[test]
fn lead_nitrate_when_the_atomic_weight_is_an_interval() {
    hold("uncertainty/stock-lead-nitrate-interval.toml");
}

/// ISO 1042:1998, Table 1, class A; ISO 648:2008, Table 1, class AS/A; ASTM E288-10 and E969-02; from memory.
#[test]
fn tolerances_of_flasks_and_pipettes() {
    hold("uncertainty/volume-class-a-flasks.toml");
    hold("uncertainty/volume-class-a-pipettes.toml");
}

/// ISO 8655-2:2002, Table 1, type A: limits of systematic and random error, read as rectangle and standard deviation
/// (common practice, no source).
#[test]
fn piston_pipettes_by_their_limits() {
    hold("uncertainty/volume-iso8655-mpe.toml");
}

/// University of Tartu, Testing Centre, uncertainty calculation examples (2004): a 10 mL pipette.
#[test]
fn tartu_ten_millilitre_pipette() {
    hold("uncertainty/volume-pipette-10mL.toml");
}

/// M. Tanaka and others, Metrologia 38 (2001) 301-309, equation (1), from memory; OIML D 28 and JCGM 101:2008, 9.3.1; ISO
/// 8655-6:2002, Table A.1.
#[test]
fn density_buoyancy_and_volume_of_water() {
    hold("uncertainty/density-of-water.toml");
    hold("uncertainty/buoyancy-weighing-correction.toml");
    hold("uncertainty/buoyancy-z-factor-25C.toml");
}
