//! ISO 13528: scores of proficiency tests.

use darkline_metrology::proficiency::{
    Verdict, assigned_value_is_certain_enough, e_n, judge, judge_e_n, z, z_prime, zeta,
};

use crate::published::{Item, items, number, text};

fn check_score(item: &Item) {
    let get = |key| number(&item.table, key);
    let (x, x_pt) = (get("x"), get("x_pt"));
    let kind = text(&item.table, "kind");
    let score = match kind {
        "z" => z(x, x_pt, get("sigma_pt")),
        "z_prime" => z_prime(x, x_pt, get("sigma_pt"), get("u_pt")),
        "zeta" => zeta(x, x_pt, get("u_x"), get("u_pt")),
        "E_n" => e_n(x, x_pt, get("U_x"), get("U_pt")),
        other => panic!("{other} is not covered"),
    };
    item.close("score", score);
    if item.table.contains_key("verdict") {
        let score = score.expect("compared above");
        let verdict: Verdict = if kind == "E_n" { judge_e_n(score) } else { judge(score) };
        assert_eq!(verdict.to_string(), text(&item.table, "verdict"));
    }
}

/// ISO 13528:2015, 9.4 to 9.7; ISO/IEC 17043:2010, B.3.1.3: one result by every score (constructed).
#[test]
fn iso_13528_one_result_by_every_score() {
    for item in items("uncertainty/score-all-kinds.toml") {
        check_score(&item);
    }
    assert!(assigned_value_is_certain_enough(0.6, 2.6));
}

/// ISO 13528:2015, 9.4, on the published scores of the gear data (NIST/SEMATECH).
#[test]
fn iso_13528_z_scores_of_gear_diameters() {
    for item in items("uncertainty/score-z-nist.toml") {
        check_score(&item);
    }
}
