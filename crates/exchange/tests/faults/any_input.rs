//! Whatever is put in: a document or its faults, never the end of the program; and what is written reads back.

use std::sync::LazyLock;

use darkline_exchange::folder::{Documents, read_folder};
use darkline_exchange::readings::{Came, ReadRow};
use darkline_exchange::{method, order, preparation, readings, run, run_order};
use darkline_metrology::kind::{Factor, Kind, MassConcentration, Response};
use darkline_record::decision::Reason;
use darkline_record::figure::{Given, Spread, Uncertain, Written};
use darkline_record::method::ResponseKind;
use darkline_record::run::{Follows, Leg, Row, RowHolds, Run};
use proptest::prelude::*;
use proptest::sample::select;

use crate::folders::in_repository;

/// Every reader on one text; faults have to be worded too.
fn read_all(text: &str) {
    let _ = order::read("order.toml", text).map_err(|faults| faults.to_string());
    let _ = preparation::read("preparation.toml", text).map_err(|faults| faults.to_string());
    let _ = method::read("method.toml", text).map_err(|faults| faults.to_string());
    let _ = run::read("run.toml", text).map_err(|faults| faults.to_string());
    let _ = run_order::read("run-order.csv", text, 3).map_err(|faults| faults.to_string());
    static EXAMPLE: LazyLock<Documents> =
        LazyLock::new(|| read_folder(&in_repository("examples/cadmium-release")).unwrap());
    let documents = &*EXAMPLE;
    let plan = &documents.methods[0].document.response;
    let _ = readings::read("readings.csv", text, &documents.runs[0].run(), plan).map_err(|faults| faults.to_string());
}

/// Pieces that documents and tables are made of, to get behind the first fault.
fn pieces() -> impl Strategy<Value = String> {
    let pieces = [
        "format = \"darkline/order/1\"\n",
        "format = \"darkline/method/1\"\n",
        "format = \"darkline/preparation/1\"\n",
        "id = ",
        "\"P1\"",
        "\"2 µL\"",
        "[[portion]]\n",
        "[[sample]]\n",
        "[result]\n",
        "[[result.factor]]\n",
        "[a.b]\n",
        "[[a.b]]\n",
        "a.b = ",
        "value = ",
        "volume = { value = \"1 L\", u = ",
        "role = \"spike\"\n",
        "of = \"P1\"\n",
        "{",
        "}",
        "[",
        "]",
        "\"",
        "'",
        "\"\"\"",
        "\\",
        "\\u00",
        "=",
        ",",
        ";",
        "\n",
        "\r\n",
        "\r",
        "#",
        "µ",
        "\u{feff}",
        "1e999",
        "-",
        "+",
        "0x1",
        "inf",
        "nan",
        "2026-03-10T11:20:00Z",
        "row",
        "name",
        "role",
        "replicate",
        "at",
        "absorbance",
        "amount_mg_per_l",
        "standard",
        "portion",
        "1,",
        "1:10",
        "joins",
    ];
    proptest::collection::vec(select(pieces.to_vec()), 0..60).prop_map(|pieces| pieces.concat())
}

fn written<K: Kind>(digits: u32, decimals: usize, unit: &str) -> Written<K> {
    let digits = format!("{:.decimals$}", f64::from(digits) / 100.0);
    Written::in_unit(&digits, K::unit(unit).unwrap()).unwrap()
}

fn uncertain<K: Kind>(units: &'static [&'static str], least: u32) -> impl Strategy<Value = Uncertain<K>> {
    (least..100_000_u32, 2..5_usize, select(units), proptest::option::of((0..500_u32, select(units)))).prop_map(
        |(value, decimals, unit, u)| {
            let spread = u.map(|(u, unit)| Spread { given: Given::U(written(u, 2, unit)), dof: None, shared: None });
            Uncertain { value: written(value, decimals, unit), spread }
        },
    )
}

fn holds() -> impl Strategy<Value = RowHolds> {
    let amount = || uncertain::<MassConcentration>(&["mg/L", "µg/L", "ng/L", "µg/mL"], 1);
    prop_oneof![
        Just(RowHolds::CalibrationBlank),
        Just(RowHolds::CheckBlank),
        amount().prop_map(|amount| RowHolds::Standard { amount }),
        amount().prop_map(|amount| RowHolds::Check { amount }),
        ("[A-Z][0-9]{1,2}", "[A-Za-z0-9._-]{1,6}", uncertain::<Factor>(&["1"], 100)).prop_map(
            |(batch, portion, dilution)| {
                RowHolds::Portion { batch: batch.parse().unwrap(), portion: portion.parse().unwrap(), dilution }
            }
        ),
    ]
}

fn rows() -> impl Strategy<Value = Vec<Row>> {
    let row = (proptest::option::of(0..200_u32), "[!-~µ]([ -~µ\n]{0,8}[!-~])?", holds(), 1..=255_u8, 0..3_u8);
    proptest::collection::vec(row, 1..12).prop_map(|rows| {
        let mut made: Vec<Row> = Vec::new();
        for (place, (cup, name, holds, replicates, follows)) in rows.into_iter().enumerate() {
            let number = u32::try_from(place).unwrap() * 2 + 1;
            // A row can follow one of the same solution only.
            let earlier = made.iter().find(|row| row.holds == holds).map(|row| row.number);
            let follows = earlier.and_then(|earlier| match follows {
                1 => Some(Follows::Joins(earlier)),
                2 => Some(Follows::Replaces(earlier)),
                _ => None,
            });
            made.push(Row { number, cup, name, holds, replicates, follows });
        }
        made
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_text_is_read_or_told(text in "(\\PC|\n|\r|\t|\0){0,200}") {
        read_all(&text);
    }

    #[test]
    fn any_pieces_of_documents_are_read_or_told(text in pieces()) {
        read_all(&text);
    }

    #[test]
    fn any_damage_of_a_good_file_is_read_or_told(
        name in select(&["order.toml", "preparation.toml", "method.toml", "run.toml", "run-order.csv", "readings.csv"][..]),
        at in 0.0..1.0_f64, length in 0..40_usize, piece in pieces(),
    ) {
        let text = std::fs::read_to_string(in_repository("examples/cadmium-release").join(name)).unwrap();
        let letters: Vec<char> = text.chars().collect();
        let start = (letters.len() as f64 * at) as usize;
        let end = (start + length).min(letters.len());
        let damaged: String = letters[..start].iter().copied().chain(piece.chars()).chain(letters[end..].iter().copied()).collect();
        read_all(&damaged);
    }

    #[test]
    fn a_run_order_that_was_written_reads_back(rows in rows()) {
        let text = run_order::write(&rows);
        let again = run_order::read("run-order.csv", &text, 3);
        prop_assert_eq!(again.map_err(|faults| faults.to_string()), Ok(rows));
    }

    #[test]
    fn readings_that_were_written_read_back(
        came in proptest::collection::vec((proptest::option::of("[!-~µ]([ -~µ\n]{0,20}[!-~])?"), 1..30_000_u32, 1..4_u8), 1..20),
        kind in select(&ResponseKind::ALL[..]),
    ) {
        let replicates = u8::try_from(came.len()).unwrap();
        let row = Row { number: 4, cup: None, name: "x".into(), holds: RowHolds::CalibrationBlank, replicates, follows: None };
        let run = Run {
            id: "R1".parse().unwrap(), method: "m".parse().unwrap(), instrument: "x".into(), lots: Vec::new(),
            legs: vec![Leg { because: Vec::new(), rows: vec![row] }], readings: Vec::new(),
        };
        let rows: Vec<ReadRow> = came.into_iter().enumerate().map(|(place, (failed, response, attempt))| ReadRow {
            line: 0, row: 4, replicate: u8::try_from(place + 1).unwrap(), attempt, at: "2026-03-14T09:30:00.5+01:00".parse().unwrap(),
            mass: (place % 2 == 1).then(|| "0.312 mg".parse().unwrap()),
            printed: None,
            came: match failed.and_then(|why| Reason::new(&why)) {
                Some(why) => Came::Failed(why),
                None => Came::Bare(written::<Response>(response, 4, kind.unit_symbol())),
            },
        }).collect();
        let text = readings::write(&rows, kind);
        let plan = darkline_record::method::ResponsePlan { kind, window: None };
        let again = readings::read("readings.csv", &text, &run, &plan).map_err(|faults| TestCaseError::fail(faults.to_string()))?;
        let bare = |rows: Vec<ReadRow>| -> Vec<ReadRow> { rows.into_iter().map(|row| ReadRow { line: 0, ..row }).collect() };
        prop_assert_eq!(&bare(again), &rows);
        // The same with a comma as decimal sign, and as JSON Lines, which hold no line breaks in a text.
        let text = readings::write_in(&rows, kind, darkline_exchange::decimal_sign::DecimalSign::Comma);
        let again = readings::read("readings.csv", &text, &run, &plan).map_err(|faults| TestCaseError::fail(faults.to_string()))?;
        prop_assert_eq!(&bare(again), &rows);
        let text = readings::write_json_lines(&rows, kind);
        match readings::read("readings.jsonl", &text, &run, &plan) {
            Ok(again) => prop_assert_eq!(&bare(again), &rows),
            Err(faults) => prop_assert!(text.contains("\\n") && faults.to_string().contains("has no line breaks"), "{}", faults),
        }
    }
}
