//! Reproducibility as predicted from the mass fraction: Horwitz (1982), Thompson (2000).

use darkline_metrology::horwitz;

use crate::published::{items, number};

/// AOAC International, Definitions and Calculations of HorRat Values (2004), Table D1.
#[test]
fn aoac_horrat_table_d1_predicted_reproducibility() {
    for item in items("uncertainty/horwitz-table.toml") {
        item.close("PRSD_percent", horwitz::predicted_rsd(number(&item.table, "C")).map(|rsd| 100.0 * rsd));
    }
}

/// M. Thompson, Analyst 125 (2000) 385-386: three pieces.
#[test]
fn thompson_2000_three_pieces() {
    for item in items("uncertainty/horwitz-thompson.toml") {
        let c = number(&item.table, "c");
        item.close("rsd_percent", horwitz::thompson_sd(c).map(|sd| 100.0 * sd / c));
    }
}
