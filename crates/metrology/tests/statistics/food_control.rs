//! Regulation (EC) No 333/2007 and its amendment (EU) 2022/2418: what a method must reach.

use darkline_metrology::method_criteria::{
    Analyte, fitness_alpha, fitness_for_purpose, largest_detection_limit, largest_quantification_limit,
};

use crate::published::{items, number, text};

/// Regulation (EC) No 333/2007, annex, C.3.3.2: largest standard uncertainty (table of α from memory).
#[test]
fn eu_333_2007_fitness_for_purpose() {
    for item in items("uncertainty/eu-333-uncertainty-function.toml") {
        let c = number(&item.table, "C_ug_kg");
        assert_eq!(fitness_alpha(c), Some(number(&item.table, "alpha")));
        item.close("Uf_ug_kg", fitness_for_purpose(number(&item.table, "LOD_ug_kg"), c));
    }
}

/// Implementing Regulation (EU) 2022/2418, annex: detection capability for lead and cadmium.
#[test]
fn eu_2022_2418_detection_capability() {
    for item in items("uncertainty/eu-2022-2418-lod-loq.toml") {
        let analyte: Analyte = text(&item.table, "element").parse().expect("a metal with criteria");
        let maximum_level = number(&item.table, "ML_mg_kg");
        item.close("max_LOQ_mg_kg", largest_quantification_limit(analyte, maximum_level));
        item.close("max_LOD_mg_kg", largest_detection_limit(analyte, maximum_level));
    }
}
