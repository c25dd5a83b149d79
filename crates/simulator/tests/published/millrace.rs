//! The demonstration order as a data package, read without the readers of `exchange`, which stands on the same floor.
//!
//! Only what is needed to fire is read; the readers themselves are checked where they are.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

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
use darkline_record::run::{Leg, Row, RowHolds, Run};
use darkline_simulator::Truth;
use toml::{Table, Value};

pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn text_of(name: &str) -> String {
    std::fs::read_to_string(root().join("demo").join(name)).unwrap()
}

pub fn document(name: &str) -> Table {
    text_of(name).parse().unwrap()
}

pub fn published(name: &str) -> Table {
    let path = root().join("reference").join(name);
    std::fs::read_to_string(path).unwrap().parse().unwrap()
}

pub fn truth() -> Truth {
    Truth::from_toml(&text_of("truth.toml")).unwrap()
}

fn tables<'a>(table: &'a Table, key: &str) -> impl Iterator<Item = &'a Table> {
    let array = table[key].as_array().unwrap();
    array.iter().map(|value| value.as_table().unwrap())
}

fn text<'a>(table: &'a Table, key: &str) -> &'a str {
    table[key].as_str().unwrap()
}

fn uncertain<K: Kind>(value: &Value) -> Uncertain<K> {
    let table = value.as_table().unwrap();
    let u = table.get("u").map(|u| u.as_str().unwrap());
    let shared = table.get("shared").map(|name| name.as_str().unwrap());
    Uncertain {
        value: text(table, "value").parse().unwrap(),
        spread: u.map(|u| Spread { given: Given::U(u.parse().unwrap()), dof: None, shared: shared.map(Into::into) }),
    }
}

fn portion(table: &Table) -> Portion {
    let of = || text(table, "of").parse().unwrap();
    let fraction = |key: &str| ResultKind::MassFraction.read(text(table, key)).unwrap();
    let role = match text(table, "role") {
        "sample" => PortionRole::Sample {
            order: text(table, "order").parse().unwrap(),
            sample: text(table, "sample").parse().unwrap(),
        },
        "duplicate" => PortionRole::Duplicate { of: of() },
        "spike" => PortionRole::Spike { of: of(), added: uncertain(&table["added"]), added_volume: None },
        "method blank" => PortionRole::MethodBlank,
        "control" => PortionRole::Control {
            material: text(table, "material").into(),
            assigned: fraction("assigned"),
            u: Some(fraction("u_assigned")),
        },
        other => panic!("role {other}"),
    };
    Portion {
        id: text(table, "id").parse().unwrap(),
        role,
        mass: table.get("mass").map(uncertain),
        volume_taken: None,
        volume: table.get("volume").map(uncertain),
        area: None,
        dry_matter: None,
        dose: None,
    }
}

fn row(heads: &[&str], line: &str) -> Row {
    let cells: BTreeMap<&str, &str> = heads.iter().copied().zip(line.split(',')).collect();
    let amount = || Uncertain::exact(format!("{} µg/L", cells["amount_ug_per_l"]).parse().unwrap());
    let holds = match cells["role"] {
        "calibration blank" => RowHolds::CalibrationBlank,
        "standard" => RowHolds::Standard { amount: amount() },
        "check" => RowHolds::Check { amount: amount() },
        "check blank" => RowHolds::CheckBlank,
        "portion" => RowHolds::Portion {
            batch: cells["batch"].parse().unwrap(),
            portion: cells["portion"].parse().unwrap(),
            dilution: Uncertain {
                value: cells["dilution"].parse().unwrap(),
                spread: Some(Spread { given: Given::U(cells["u_dilution"].parse().unwrap()), dof: None, shared: None }),
            },
        },
        other => panic!("role {other}"),
    };
    Row {
        number: cells["row"].parse().unwrap(),
        cup: Some(cells["cup"].parse().unwrap()),
        name: cells["name"].into(),
        holds,
        replicates: cells["replicates"].parse().unwrap(),
        follows: None,
    }
}

fn method(table: &Table) -> ResolvedMethod {
    let part = |key: &str| table[key].as_table().unwrap();
    let check = |key: &str| text(part("check"), key).parse().unwrap();
    let limit = text(part("result"), "quantification_limit");
    ResolvedMethod {
        id: text(table, "id").parse().unwrap(),
        version: text(table, "version").into(),
        title: text(table, "title").into(),
        element: text(table, "element").parse().unwrap(),
        technique: Technique::from_word(text(table, "technique")).unwrap(),
        line: Some(text(table, "line").parse().unwrap()),
        response: ResponsePlan {
            kind: ResponseKind::from_words(text(part("response"), "kind")).unwrap(),
            window: None,
        },
        calibration: CalibrationPlan {
            u_stock: Some(text(part("calibration"), "u_stock").parse().unwrap()),
            ..CalibrationPlan::named(
                CalibrationModel::from_words(text(part("calibration"), "model")).unwrap(),
                Weights::Repeatability,
            )
        },
        background: None,
        replicates: ReplicatePlan {
            n: 3,
            sd_at_zero: text(part("replicates"), "sd_at_zero").parse().unwrap(),
            rsd: text(part("replicates"), "rsd").parse().unwrap(),
        },
        blank: BlankPlan {
            highest: Some(text(part("blank"), "highest").parse().unwrap()),
            subtract: Subtract::from_words(text(part("blank"), "subtract")).unwrap(),
        },
        check: CheckPlan {
            lowest: check("lowest"),
            highest: check("highest"),
            control_lowest: Some(check("control_lowest")),
            control_highest: Some(check("control_highest")),
        },
        u_dilution: None,
        result: ResultPlan {
            kind: ResultKind::from_words(text(part("result"), "kind")).unwrap(),
            unit: text(part("result"), "unit").into(),
            factors: vec![],
            coverage_factor: text(part("result"), "coverage_factor").parse().unwrap(),
            quantification_limit: Some(ResultKind::MassFraction.read(limit).unwrap()),
        },
        limits: darkline_record::limits::Limits::default(),
        detection_limits: None,
        conditions: Vec::new(),
        reasons: Vec::new(),
        uncertainty: None,
        solid: None,
    }
}

pub fn package() -> DataPackage {
    let order = document("order.toml");
    let preparation = document("preparation.toml");
    let run = document("run.toml");
    let rows = text_of(text(&run, "rows"));
    let (heads, rows) = rows.split_once('\n').unwrap();
    let heads: Vec<&str> = heads.split(',').collect();
    let samples = tables(&order, "sample").map(|sample| Sample {
        id: text(sample, "id").parse().unwrap(),
        description: text(sample, "description").into(),
        part_of: None,
        expected: Vec::new(),
    });
    DataPackage {
        edition: Edition(0),
        order: Order {
            id: text(&order, "id").parse().unwrap(),
            customer: text(&order, "customer").into(),
            contact: "invented".into(),
            received: text(&order, "received").parse().unwrap(),
            due: None,
            purpose: Some(text(&order, "purpose").into()),
            samples: samples.collect(),
            analytes: vec![],
            sums: vec![],
        },
        preparations: vec![PreparationBatch {
            id: text(&preparation, "id").parse().unwrap(),
            prepared: text(&preparation, "prepared").parse().unwrap(),
            by: text(&preparation, "by").into(),
            procedure: text(&preparation, "procedure").into(),
            portions: tables(&preparation, "portion").map(portion).collect(),
        }],
        runs: vec![Run {
            id: text(&run, "id").parse().unwrap(),
            method: text(&run, "method").parse().unwrap(),
            instrument: text(&run, "instrument").into(),
            lots: Vec::new(),
            legs: vec![Leg { because: vec![], rows: rows.lines().map(|line| row(&heads, line)).collect() }],
            readings: vec![],
        }],
        methods: vec![method(&document("method.toml"))],
        pulses: BTreeMap::new(),
    }
}
