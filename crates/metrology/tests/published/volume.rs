//! Volumetric ware: tolerances of flasks and pipettes, piston pipettes, and a pipette's budget.

use darkline_metrology::kind::{Factor, Kind, Volume};
use darkline_metrology::model::Model;
use darkline_metrology::source::{Shape, Source, SourceId};

use crate::budget;
use crate::published::{items, number};

/// Holds u of one volume against both ways of reading its tolerance.
fn check_tolerances(path: &str) {
    let millilitre = Volume::unit("mL").expect("a unit of the kind");
    for item in items(path) {
        let tolerance = millilitre.of(number(&item.table, "tolerance_mL")).si();
        for (shape, key) in [(Shape::Rectangular, "u_rectangular_mL"), (Shape::Triangular, "u_triangular_mL")] {
            let u = shape.u_of_half_width(tolerance).expect("a shape with limits");
            let model = Model::new();
            let source = Source::shaped(SourceId::new("tolerance"), u, shape);
            let volume = model.input(millilitre.of(number(&item.table, "nominal_mL")), &[source]);
            item.close(key, Some(millilitre.read_si(model.first_order(volume).u())));
        }
    }
}

/// ISO 1042:1998, Table 1, class A; ASTM E288-10, Table 1, class A; from memory.
#[test]
fn tolerances_of_one_mark_flasks() {
    check_tolerances("uncertainty/volume-class-a-flasks.toml");
}

/// ISO 648:2008, Table 1, class AS/A; ASTM E969-02, Table 1, class A; from memory.
#[test]
fn tolerances_of_one_mark_pipettes() {
    check_tolerances("uncertainty/volume-class-a-pipettes.toml");
}

/// ISO 8655-2:2002, Table 1, type A: limits of systematic and random error, read as rectangle and standard deviation
/// (common practice, no source). Over several aliquots the systematic part adds up, the random one averages out.
#[test]
fn piston_pipettes_add_up_their_systematic_error() {
    for item in items("uncertainty/volume-iso8655-mpe.toml") {
        let get = |key| number(&item.table, key);
        let systematic = Shape::Rectangular.u_of_half_width(get("systematic_uL")).expect("a shape with limits");
        let model = Model::new();
        let aliquot = |number: u32| {
            let common = Source::shaped(SourceId::new("systematic"), systematic, Shape::Rectangular);
            let random = Source::normal(SourceId::new(format!("aliquot {number}")), get("random_uL"));
            model.input(Factor::from_si(get("nominal_uL")), &[common, random])
        };
        item.close("u_uL", Some(model.first_order(aliquot(1)).u()));
        let four = model.first_order(model.sum(&[2, 3, 4, 5].map(aliquot)));
        let expected = libm::hypot(4.0 * systematic, 2.0 * get("random_uL"));
        assert!((four.u() / expected - 1.0).abs() < 1e-14);
    }
}

/// University of Tartu, Testing Centre, uncertainty calculation examples (2004): a 10 mL pipette.
#[test]
fn tartu_ten_millilitre_pipette() {
    budget::check("uncertainty/volume-pipette-10mL.toml");
}
