//! Whole folders: the example, the demonstration, and faults between documents.

use std::path::{Path, PathBuf};

use darkline_exchange::fault::Faults;
use darkline_exchange::folder::{Documents, read_folder};
use darkline_exchange::{readings, text_file};

use crate::zoo;

pub fn in_repository(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(path)
}

#[test]
fn the_example_and_the_demonstration_are_read_without_a_fault() {
    for folder in ["examples/cadmium-release", "examples/copper-water", "examples/cadmium-cocoa", "demo"] {
        let documents = read_folder(&in_repository(folder)).unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(documents.warnings, [], "{folder}");
        let text = std::fs::read_to_string(in_repository(folder).join("order.toml")).unwrap();
        assert_eq!(documents.order.text, text);
    }
}

/// The figures of the example stand in the published pack: QUAM:2012, example A5.
#[test]
fn the_example_holds_the_published_figures() {
    let documents = read_folder(&in_repository("examples/cadmium-release")).unwrap();
    let run = documents.runs[0].run();
    let text = text_file::read(&in_repository("examples/cadmium-release/readings.csv")).unwrap();
    let rows = readings::read("readings.csv", &text, &run, &documents.methods[0].document.response).unwrap();
    assert_eq!(readings::write(&rows, documents.methods[0].document.response.kind), text);

    let pack = |path: &str| -> toml::Table {
        std::fs::read_to_string(in_repository("reference").join(path)).unwrap().parse().unwrap()
    };
    let line = pack("calibration/line-quam-a5-cadmium.toml");
    let numbers = |table: &toml::Value, key: &str| -> Vec<f64> {
        table[key].as_array().unwrap().iter().map(|x| x.as_float().unwrap()).collect()
    };
    let amounts = numbers(&line["data"], "x");
    let absorbances = [numbers(&line["data"], "y"), numbers(&line["procedure"]["unknowns"][0], "y")].concat();
    assert_eq!(rows.len(), 17);
    for (place, (row, absorbance)) in rows.iter().zip(&absorbances).enumerate() {
        let readings::Came::Bare(response) = &row.came else { panic!("a response") };
        assert_eq!(response.digits().parse(), Ok(*absorbance));
        match &run.row(row.row).unwrap().holds {
            darkline_record::run::RowHolds::Standard { amount } => {
                assert_eq!(amount.value.digits().parse(), Ok(amounts[place]))
            }
            _ => assert!(place >= 15),
        }
    }

    let budget = pack("uncertainty/quam-a5-2012-cadmium-release.toml");
    let input = |symbol: &str| {
        let inputs = budget["input"].as_array().unwrap();
        let input = inputs.iter().find(|input| input["symbol"].as_str() == Some(symbol)).unwrap();
        (input["value"].as_float().unwrap(), input["u"].as_float().unwrap())
    };
    let portion = &documents.preparations[0].document.portions[0];
    let result = &documents.methods[0].document.result;
    fn stated<K: darkline_metrology::kind::Kind>(figure: &darkline_record::figure::Uncertain<K>) -> (f64, f64) {
        let u = match &figure.spread.as_ref().unwrap().given {
            darkline_record::figure::Given::U(u) => u.digits().parse().unwrap(),
            other => panic!("{other:?}"),
        };
        (figure.value.digits().parse().unwrap(), u)
    }
    assert_eq!(stated(portion.volume.as_ref().unwrap()), input("V_L"));
    assert_eq!(stated(portion.area.as_ref().unwrap()), input("a_V"));
    for (factor, symbol) in result.factors.iter().zip(["f_acid", "f_time", "f_temp"]) {
        assert_eq!(stated(&factor.factor), input(symbol));
    }
    assert_eq!(
        result.coverage_factor.factor().unwrap().digits().parse(),
        Ok(budget["coverage"]["k"].as_float().unwrap())
    );

    let limits = pack("limits/ceramics.toml");
    let limit =
        limits["limit"].as_array().unwrap().iter().find(|limit| limit["id"].as_str() == Some("eu84500-1-cd")).unwrap();
    let at_most = &documents.order.document.analytes[0].limit.as_ref().unwrap().at_most;
    assert_eq!(
        at_most.to_string(),
        format!("{} {}", limit["value"].as_str().unwrap(), limit["unit"].as_str().unwrap())
    );
}

/// File, text that is there, text in its place.
type Change = (&'static str, &'static str, &'static str);

/// A copy of a folder with some of its text changed.
fn changed(folder: &str, changes: &[Change]) -> Result<Documents, Faults> {
    let copy = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(in_repository(folder)).unwrap() {
        let entry = entry.unwrap();
        let name = entry.file_name().into_string().unwrap();
        let mut text = std::fs::read_to_string(entry.path()).unwrap();
        for (_, from, to) in changes.iter().filter(|(file, ..)| *file == name) {
            assert!(text.contains(from), "{name}: {from}");
            text = text.replace(from, to);
        }
        std::fs::write(copy.path().join(name), text).unwrap();
    }
    for (name, _, text) in changes.iter().filter(|(_, from, _)| from.is_empty()) {
        std::fs::write(copy.path().join(name), text).unwrap();
    }
    for (name, ..) in changes.iter().filter(|(.., to)| *to == "remove the file") {
        std::fs::remove_file(copy.path().join(name)).unwrap();
    }
    read_folder(copy.path())
}

#[test]
fn faults_between_documents() {
    let order = "order.toml";
    let preparation = "preparation.toml";
    let method = "method.toml";
    let rows = "run-order.csv";
    let cases: &[(&str, &[Change])] = &[
        (
            "a method that is not there",
            &[(order, "\"cd-release\"", "\"cd-relaese\""), ("run.toml", "\"cd-release\"", "\"lead\"")],
        ),
        ("a method of another element", &[(method, "\"Cd\"", "\"Pb\"")]),
        ("a limit of another kind", &[(order, "0.07 mg/dm²", "0.3 mg/L")]),
        ("a sample that is not there", &[(preparation, "\"dish-1\"", "\"dish-l\"")]),
        ("no area", &[(preparation, "area =", "# area =")]),
        (
            "a mass fraction without a mass",
            &[
                (method, "\"release per area\"", "\"mass fraction\""),
                (method, "unit = \"mg/dm²\"", "unit = \"mg/kg\""),
                (order, "0.07 mg/dm²", "0.07 mg/kg"),
            ],
        ),
        (
            "a mass concentration with half of a dilution",
            &[
                (method, "\"release per area\"", "\"mass concentration\""),
                (method, "unit = \"mg/dm²\"", "unit = \"mg/L\""),
                (order, "0.07 mg/dm²", "0.07 mg/L"),
            ],
        ),
        (
            "an amount per dose without dose and mass",
            &[
                (method, "\"release per area\"", "\"amount per dose\""),
                (method, "unit = \"mg/dm²\"", "unit = \"µg\""),
                (order, "0.07 mg/dm²", "5 µg"),
            ],
        ),
        (
            "a batch and a portion that are not there",
            &[(rows, "P1,P1-1,1,2\n", "P1,P1-2,1,2\n7,7,dish-2,portion,,P2,P2-1,1,2\n")],
        ),
        ("no standards", &[(rows, "standard,0.", "check,0.")]),
        (
            "one level",
            &[
                (rows, "0.3,,,", "0.1,,,"),
                (rows, "0.5,,,", "0.1,,,"),
                (rows, "0.7,,,", "0.1,,,"),
                (rows, "0.9,,,", "0.1,,,"),
            ],
        ),
        ("no rows", &[(rows, "row", "remove the file")]),
        ("no order", &[(order, "format", "remove the file")]),
        (
            "faults in three files",
            &[(order, "\"Cd\"", "\"Xx\""), (preparation, "0.332 L", "0.332 kg"), (rows, "standard,0.1", "standard,")],
        ),
        (
            "two methods with one name",
            &[(
                "method-2.toml",
                "",
                "format = \"darkline/method/1\"\nid = \"cd-release\"\nversion = \"1\"\ntitle = \"x\"\nelement = \"Cd\"\ntechnique = \"flame\"\n[response]\nkind = \"absorbance\"\n[calibration]\nmodel = \"straight line\"\nweights = \"equal\"\n[replicates]\nn = 3\nsd_at_zero = \"0.001\"\nrsd = \"1 %\"\n[blank]\nsubtract = \"nothing\"\n[check]\nlowest = \"90 %\"\nhighest = \"110 %\"\n[result]\nkind = \"release per area\"\nunit = \"mg/dm2\"\ncoverage_factor = 2\n",
            )],
        ),
    ];
    let told: String = cases
        .iter()
        .map(|(title, changes)| match changed("examples/cadmium-release", changes) {
            Ok(_) => format!("## {title}\nread without a fault\n\n"),
            Err(faults) => format!("## {title}\n{faults}\n\n"),
        })
        .collect();
    insta::assert_snapshot!(told);
}

#[test]
fn portions_of_other_orders_are_pointed_out_and_taken() {
    let more = "[[portion]]\nid = \"P1-2\"\nrole = \"sample\"\norder = \"2026-051\"\nsample = \"bowl\"\nvolume = \"0.3 L\"\narea = \"2 dm²\"\n\n[[portion]]";
    let documents = changed("examples/cadmium-release", &[("preparation.toml", "[[portion]]", more)]).unwrap();
    let told: String = documents.warnings.iter().map(|warning| format!("{warning}\n")).collect();
    insta::assert_snapshot!(told);
}

#[test]
fn folders_that_are_none() {
    let copy = tempfile::tempdir().unwrap();
    std::fs::write(copy.path().join("order.toml"), "x").unwrap();
    let shown = copy.path().display().to_string();
    let read = |name: &str| read_folder(&copy.path().join(name)).map(drop);
    let told = zoo::told(&[("a file", "order.toml"), ("no folder", "2026-031")], read).replace(&shown, "FOLDER");
    insta::assert_snapshot!(told);
}
