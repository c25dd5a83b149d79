//! Horwitz's function: AOAC International (2004) and M. Thompson (2000).

use crate::held::hold;

/// AOAC International, Definitions and Calculations of HorRat Values (2004), Table D1.
#[test]
fn aoac_horrat_table_d1_predicted_reproducibility() {
    hold("uncertainty/horwitz-table.toml");
}

/// M. Thompson, Analyst 125 (2000) 385-386: three pieces.
#[test]
fn thompson_2000_three_pieces() {
    hold("uncertainty/horwitz-thompson.toml");
}
