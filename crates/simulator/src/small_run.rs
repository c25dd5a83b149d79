//! A small run for the tests of this crate: nine rows, one batch, everything with an uncertainty.

use std::collections::BTreeMap;

use darkline_metrology::kind::Kind;
use darkline_record::figure::{Given, Spread, Uncertain};
use darkline_record::identity::Edition;
use darkline_record::method::{
    BlankPlan, CalibrationModel, CalibrationPlan, CheckPlan, ReplicatePlan, ResolvedMethod, ResponseKind, ResponsePlan,
    ResultPlan, Subtract, Technique, Weights,
};
use darkline_record::order::{Order, ResultKind, Sample};
use darkline_record::package::DataPackage;
use darkline_record::preparation::{Portion, PortionRole, PreparationBatch};
use darkline_record::run::{Follows, Leg, Row, RowHolds, Run};

use crate::truth::Truth;

pub(crate) const TRUTH: &str = r#"format = "darkline/truth/1"
element = "Pb"
seed = 41

[spectrometer]
characteristic_mass = "15 pg"
injected_volume = "20 µL"

[[batch]]
id = "P1"
recovery = "0.98"
blank = "0.4 µg/L"
between_vessels = "0.04 µg/L"

[[control]]
material = "leaf control"
value = "2.0 mg/kg"
background = "0.2"

[[sample]]
id = "S01"
value = "1.20 mg/kg"
background = "0.3"
between_portions = "1 %"

[[sample]]
id = "S02"
value = "9 mg/kg"

[[fault]]
kind = "bad injection"
row = 5
replicate = 2
"#;

pub(crate) fn truth() -> Truth {
    // The keys of a table may come in any order; the tests of faults count on this one.
    Truth::from_toml(TRUTH).unwrap()
}

fn exact<K: Kind>(text: &str) -> Uncertain<K> {
    Uncertain::exact(text.parse().unwrap())
}

fn with_u<K: Kind>(text: &str, u: &str, shared: Option<&str>) -> Uncertain<K> {
    Uncertain {
        value: text.parse().unwrap(),
        spread: Some(Spread { given: Given::U(u.parse().unwrap()), dof: None, shared: shared.map(Into::into) }),
    }
}

fn portion(id: &str, role: PortionRole) -> Portion {
    let mass = (role != PortionRole::MethodBlank).then(|| with_u("0.5000 g", "0.0002 g", None));
    Portion {
        id: id.parse().unwrap(),
        role,
        mass,
        volume_taken: None,
        volume: Some(with_u("25.00 mL", "0.03 mL", Some("flask/F25"))),
        area: None,
        dry_matter: None,
        dose: None,
    }
}

fn row(number: u32, name: &str, holds: RowHolds) -> Row {
    Row { number, cup: Some(number), name: name.into(), holds, replicates: 3, follows: None }
}

fn of_portion(portion: &str, dilution: &str) -> RowHolds {
    let u = if dilution == "4" { "0.02" } else { "0.01" };
    RowHolds::Portion {
        batch: "P1".parse().unwrap(),
        portion: portion.parse().unwrap(),
        dilution: with_u(dilution, u, None),
    }
}

pub(crate) fn package() -> DataPackage {
    let of = || "P1-2".parse().unwrap();
    let control = PortionRole::Control {
        material: "leaf control".into(),
        assigned: ResultKind::MassFraction.read("2.0 mg/kg").unwrap(),
        u: None,
    };
    let sample = PortionRole::Sample { order: "2026-001".parse().unwrap(), sample: "S01".parse().unwrap() };
    let spike = PortionRole::Spike { of: of(), added: with_u("0.500 µg", "0.004 µg", None), added_volume: None };
    let joined = Row { follows: Some(Follows::Joins(5)), ..row(9, "S01 again", of_portion("P1-2", "2")) };
    DataPackage {
        edition: Edition(0),
        order: Order {
            id: "2026-001".parse().unwrap(),
            customer: "nobody".into(),
            contact: "invented".into(),
            received: "2026-03-02T10:15:00+01:00".parse().unwrap(),
            due: None,
            purpose: None,
            samples: vec![Sample {
                id: "S01".parse().unwrap(),
                description: "leaf".into(),
                part_of: None,
                expected: Vec::new(),
            }],
            analytes: vec![],
            sums: vec![],
        },
        preparations: vec![PreparationBatch {
            id: "P1".parse().unwrap(),
            prepared: "2026-03-04T09:00:00+01:00".parse().unwrap(),
            by: "j.alder".into(),
            procedure: "digested".into(),
            portions: vec![
                portion("P1-1", PortionRole::MethodBlank),
                portion("P1-2", sample),
                portion("P1-3", PortionRole::Duplicate { of: of() }),
                portion("P1-4", spike),
                portion("P1-5", control),
            ],
        }],
        runs: vec![Run {
            id: "R1".parse().unwrap(),
            method: "pb-plant-furnace".parse().unwrap(),
            instrument: "furnace bench 2".into(),
            lots: Vec::new(),
            legs: vec![
                Leg {
                    because: vec![],
                    rows: vec![
                        row(1, "blank", RowHolds::CalibrationBlank),
                        row(2, "50", RowHolds::Standard { amount: exact("50 µg/L") }),
                        row(3, "check", RowHolds::Check { amount: exact("25 µg/L") }),
                        row(4, "method blank", of_portion("P1-1", "2")),
                        row(5, "S01", of_portion("P1-2", "2")),
                        row(6, "duplicate", of_portion("P1-3", "2")),
                        row(7, "spike", of_portion("P1-4", "2")),
                        row(8, "control", of_portion("P1-5", "4")),
                    ],
                },
                Leg { because: vec![], rows: vec![joined] },
            ],
            readings: vec![],
        }],
        methods: vec![method()],
        pulses: BTreeMap::new(),
    }
}

fn method() -> ResolvedMethod {
    ResolvedMethod {
        id: "pb-plant-furnace".parse().unwrap(),
        version: "1".into(),
        title: "lead".into(),
        element: "Pb".parse().unwrap(),
        technique: Technique::Furnace,
        line: None,
        response: ResponsePlan { kind: ResponseKind::IntegratedAbsorbance, window: None },
        calibration: CalibrationPlan {
            u_stock: Some("0.3 %".parse().unwrap()),
            ..CalibrationPlan::named(CalibrationModel::StraightLine, Weights::Equal)
        },
        background: None,
        replicates: ReplicatePlan { n: 3, sd_at_zero: "0.0012 s".parse().unwrap(), rsd: "2 %".parse().unwrap() },
        blank: BlankPlan { highest: None, subtract: Subtract::Nothing },
        check: CheckPlan {
            lowest: "90 %".parse().unwrap(),
            highest: "110 %".parse().unwrap(),
            control_lowest: None,
            control_highest: None,
        },
        u_dilution: None,
        result: ResultPlan {
            kind: ResultKind::MassFraction,
            unit: "mg/kg".into(),
            factors: vec![],
            coverage_factor: "2".parse().unwrap(),
            quantification_limit: None,
        },
        limits: darkline_record::limits::Limits::default(),
        detection_limits: None,
        conditions: Vec::new(),
        reasons: Vec::new(),
        uncertainty: None,
        solid: None,
    }
}

/// Takes every stated uncertainty and every scatter away.
pub(crate) fn take_all_as_exact(package: &mut DataPackage, truth: &mut Truth) {
    for method in &mut package.methods {
        method.calibration.u_stock = None;
    }
    for portion in package.preparations.iter_mut().flat_map(|batch| &mut batch.portions) {
        if let Some(mass) = &mut portion.mass {
            mass.spread = None;
        }
        if let Some(volume) = &mut portion.volume {
            volume.spread = None;
        }
        if let PortionRole::Spike { added, .. } = &mut portion.role {
            added.spread = None;
        }
    }
    for row in package.runs.iter_mut().flat_map(|run| &mut run.legs).flat_map(|leg| &mut leg.rows) {
        if let RowHolds::Portion { dilution, .. } = &mut row.holds {
            dilution.spread = None;
        }
    }
    for batch in &mut truth.batches {
        batch.between_vessels = None;
    }
    for sample in &mut truth.samples {
        sample.between_portions = None;
    }
}
