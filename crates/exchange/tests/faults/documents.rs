//! Documents with faults.

use darkline_exchange::{method, order, preparation, run};

use crate::folders::in_repository;
use crate::zoo;

fn example(name: &str) -> String {
    std::fs::read_to_string(in_repository("examples/cadmium-release").join(name)).unwrap()
}

/// The example with some of its text changed; each change has to hit something.
fn changed(name: &str, changes: &[(&str, &str)]) -> String {
    changes.iter().fold(example(name), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    })
}

#[test]
fn orders() {
    let order = |changes: &[(&str, &str)]| changed("order.toml", changes);
    let sample = "[[sample]]\nid = \"dish-1\"\ndescription = \"again\"\n\n[[analyte]]\nelement";
    let files = [
        ("nothing but the format", "format = \"darkline/order/1\"\n".into()),
        ("no format", order(&[("format = \"darkline/order/1\"\n", "")])),
        ("a newer format", order(&[("order/1", "order/2"), ("contact", "contact_2")])),
        ("another document", order(&[("order/1", "method/1")])),
        ("no format of ours", order(&[("darkline/order/1", "toml")])),
        ("a format without a number", order(&[("order/1", "order/one")])),
        ("unknown keys", order(&[("customer", "costumer"), ("purpose", "weather"), ("decision_rule", "decision")])),
        ("a key twice", order(&[("customer =", "id = \"2\"\ncustomer =")])),
        ("a table twice", order(&[("[analyte.limit]", "[analyte.limit]\n[analyte.limit]")])),
        ("a volume as a limit", order(&[("0.07 mg/dm²", "20 µL")])),
        ("a limit without a unit", order(&[("0.07 mg/dm²", "0.07")])),
        ("a limit in an unknown unit", order(&[("0.07 mg/dm²", "0.07 ppm")])),
        ("a limit that can mean two figures", order(&[("0.07 mg/dm²", "1,234 mg/dm²")])),
        ("a limit below zero", order(&[("0.07 mg/dm²", "-0.07 mg/dm²")])),
        ("an element by its name", order(&[("\"Cd\"", "\"Cadmium\"")])),
        ("an element in capitals", order(&[("\"Cd\"", "\"CD\"")])),
        ("an unknown decision rule", order(&[("guard band U", "guard bands U")])),
        ("a time without an offset", order(&[("T11:20:00+01:00", "T11:20:00")])),
        (
            "a day in place of a time, without quotation marks",
            order(&[("\"2026-03-10T11:20:00+01:00\"", "2026-03-10")]),
        ),
        ("an identity with a blank", order(&[("\"dish-1\"", "\"dish 1\"")])),
        ("a sample twice", order(&[("[[analyte]]\nelement", sample)])),
        ("a table where a list is wanted", order(&[("[[sample]]", "[sample]")])),
        ("a text where tables are wanted", order(&[("[[sample]]\nid", "sample = [\"dish-1\"]\n[[specimen]]\nid")])),
        (
            "numbers, lists and tables where texts are wanted",
            order(&[
                ("\"2026-052\"", "2026"),
                ("\"cd-release\"", "[1]"),
                ("\"Kiln Lane Pottery (invented)\"", "{ name = 1 }"),
            ]),
        ),
        ("an empty text", order(&[("\"Kiln Lane Pottery (invented)\"", "\" \"")])),
        (
            "syntax",
            order(&[
                ("id = \"2026-052\"", "id = 2026-052"),
                ("[analyte.limit]", "[analyte.limit"),
                ("\"Cd\"", "\"Cd"),
                ("contact =", "contact"),
            ]),
        ),
        ("a text without quotation marks", order(&[("\"cd-release\"", "cd-release")])),
        ("deep nesting", format!("a = {}1{}\n", "[".repeat(3000), "]".repeat(3000))),
        ("a line of a million letters", format!("format = \"darkline/order/1\"\nid = \"{}\"\n", "x".repeat(1_000_000))),
        ("control characters", order(&[("guard band U", "\\u001b[2J")])),
        (
            "a guard band beside simple acceptance",
            order(&[("\"guard band U\"", "\"simple acceptance\"\nguard_of_u = \"83 %\"")]),
        ),
        (
            "two guard bands, a comparison that is none",
            order(&[(
                "\"guard band U\"",
                "\"guard band U\"\nguard_of_u = \"83 %\"\nguard_risk = \"5 %\"\ncomparison = \"rounded\"",
            )]),
        ),
        ("a risk of a half", order(&[("\"guard band U\"", "\"guard band U\"\nguard_risk = \"50 %\"")])),
        (
            "what is known of another kind, and without scatter",
            order(&[("\"guard band U\"", "\"guard band U\"\nprior = { mean = \"1 mg/L\", sd = \"0 mg/dm²\" }")]),
        ),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| order::read("order.toml", text)));
}

#[test]
fn preparations() {
    let batch = |changes: &[(&str, &str)]| changed("preparation.toml", changes);
    let and = |more: &str| batch(&[]) + more;
    let files = [
        ("a mass concentration where a volume is wanted", batch(&[("\"0.332 L\"", "\"20 µg/mL\"")])),
        ("a figure without quotation marks and unit", batch(&[("{ value = \"0.332 L\", u = \"0.0018 L\" }", "0.332")])),
        ("an area of zero", batch(&[("\"5.73 dm²\"", "\"0 dm²\"")])),
        ("a negative uncertainty", batch(&[("\"0.19 dm²\"", "\"-0.19 dm²\"")])),
        (
            "two uncertainties",
            batch(&[("u = \"0.19 dm²\"", "u = \"0.19 dm²\", half_width = \"0.3 dm²\", shape = \"rectangular\"")]),
        ),
        ("a half-width without a shape", batch(&[("u = \"0.19 dm²\"", "half_width = \"0.3 dm²\"")])),
        (
            "a half-width of a normal shape",
            batch(&[("u = \"0.19 dm²\"", "half_width = \"0.3 dm²\", shape = \"normal\"")]),
        ),
        (
            "a shape beside a standard uncertainty",
            batch(&[("u = \"0.19 dm²\"", "u = \"0.19 dm²\", shape = \"rectangular\"")]),
        ),
        ("degrees of freedom without an uncertainty", batch(&[("u = \"0.19 dm²\"", "dof = 9")])),
        ("half a degree of freedom", batch(&[("u = \"0.19 dm²\"", "u = \"0.19 dm²\", dof = 0.5")])),
        ("no value", batch(&[("value = \"5.73 dm²\", ", "")])),
        ("an unknown role", batch(&[("\"sample\"\norder", "\"blank\"\norder")])),
        ("keys of another role", batch(&[("\"sample\"\norder", "\"method blank\"\norder")])),
        ("a duplicate of nothing", and("\n[[portion]]\nid = \"P1-2\"\nrole = \"duplicate\"\nof = \"P1-7\"\n")),
        ("a duplicate of itself", and("\n[[portion]]\nid = \"P1-2\"\nrole = \"duplicate\"\nof = \"P1-2\"\n")),
        (
            "a spike of a duplicate, without what was added",
            and(
                "\n[[portion]]\nid = \"P1-2\"\nrole = \"duplicate\"\nof = \"P1-1\"\n[[portion]]\nid = \"P1-3\"\nrole = \"spike\"\nof = \"P1-2\"\n",
            ),
        ),
        (
            "a control with an uncertainty of another kind, and a portion twice",
            and(
                "\n[[portion]]\nid = \"P1-1\"\nrole = \"control\"\nmaterial = \"x\"\nassigned = \"1 mg/kg\"\nu_assigned = \"1 mg/L\"\n",
            ),
        ),
        ("dry matter above the whole", batch(&[("area =", "dry_matter = \"93.4\"\narea =")])),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| preparation::read("preparation.toml", text)));
}

#[test]
fn methods() {
    let method = |changes: &[(&str, &str)]| changed("method.toml", changes);
    let files = [
        ("nothing but the format", "format = \"darkline/method/1\"\n".into()),
        (
            "an unknown technique and calibration function",
            method(&[("\"flame\"", "\"plasma\""), ("straight line", "strait line")]),
        ),
        (
            "a baseline without an integration",
            method(&[(
                "kind = \"absorbance\"",
                "kind = \"peak absorbance\"\nbaseline = { from = \"-0.4 s\", to = \"0 s\" }",
            )]),
        ),
        (
            "windows that end before they start, or overlap",
            method(&[(
                "kind = \"absorbance\"",
                "kind = \"peak absorbance\"\nbaseline = { from = \"0 s\", to = \"0 s\" }\nintegration = { from = \"5 s\", to = \"1 s\" }",
            )]),
        ),
        (
            "a baseline that reaches into the integration",
            method(&[(
                "kind = \"absorbance\"",
                "kind = \"peak absorbance\"\nbaseline = { from = \"-1 s\", to = \"1 s\" }\nintegration = { from = \"0 s\", to = \"5 s\" }",
            )]),
        ),
        (
            "a repeatability in another unit than the response",
            method(&[("kind = \"absorbance\"", "kind = \"integrated absorbance\"")]),
        ),
        ("weights without a repeatability", method(&[("\"equal\"", "\"repeatability\""), ("\"0.0055\"", "\"0\"")])),
        ("no replicate, and 1000", method(&[("n = 3", "n = 0")])),
        ("replicates as a text", method(&[("n = 3", "n = \"3\"")])),
        ("limits the wrong way round", method(&[("lowest = \"90 %\"", "lowest = \"120 %\"")])),
        (
            "control limits the wrong way round",
            method(&[("lowest = \"90 %\"", "lowest = \"90 %\"\ncontrol_lowest = \"115 %\"")]),
        ),
        ("a unit of another kind", method(&[("unit = \"mg/dm²\"", "unit = \"mg/L\"")])),
        (
            "a quantification limit of another kind",
            method(&[("coverage_factor", "quantification_limit = \"1 µg/L\"\ncoverage_factor")]),
        ),
        ("a factor twice", method(&[("\"leaching time\"", "\"temperature\"")])),
        ("a coverage factor of zero", method(&[("coverage_factor = \"2\"", "coverage_factor = 0")])),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| method::read("method.toml", text)));
}

/// The keys of the calibration that go together, and those that do not.
#[test]
fn calibrations() {
    let plan = |model: &str, weights: &str| {
        changed("method.toml", &[("model = \"straight line\"", model), ("weights = \"equal\"", weights)])
    };
    let (line, equal) = ("model = \"straight line\"", "weights = \"equal\"");
    let files = [
        ("one function and several", plan("model = \"quadratic\"\nmodels = [\"straight line\", \"rational\"]", equal)),
        ("no function", plan("", equal)),
        ("a list of one", plan("models = [\"quadratic\"]", equal)),
        ("a list of none", plan("models = []", equal)),
        ("a function twice, and one that is none", plan("models = [\"quadratic\", \"quadratic\", \"cubic\"]", equal)),
        ("a text in place of a list", plan("models = \"quadratic\"", equal)),
        ("a number in a list", plan("models = [\"quadratic\", 2]", equal)),
        ("weights that are none", plan(line, "weights = \"given\"")),
        ("a power that is missing", plan(line, "weights = \"inverse power of amount\"")),
        ("a power of zero", plan(line, "weights = \"inverse power of response\"\npower = \"0\"")),
        ("a power that has no place", plan(line, "weights = \"equal\"\npower = \"2\"")),
        ("given uncertainties that are missing", plan(line, "weights = \"given u\"")),
        ("given uncertainties that have no place", plan(line, "weights = \"equal\"\ngiven_u = []")),
        ("no given uncertainty", plan(line, "weights = \"given u\"\ngiven_u = []")),
        (
            "given uncertainties: zero, twice, in another unit, of another kind",
            plan(
                line,
                "weights = \"given u\"\ngiven_u = [{ amount = \"1 mg/L\", u = \"0\" }, { amount = \"2 mg/L\", u = \"0.1\" }, \
                 { amount = \"2 mg/L\", u = \"0.1\" }, { amount = \"3 mg/L\", u = \"0.1 s\" }, { amount = \"3 mg\", u = \"0.1\" }]",
            ),
        ),
        (
            "uncertain amounts without an uncertainty of responses",
            plan(line, "weights = \"equal\"\namounts = \"uncertain\""),
        ),
        ("amounts that are neither", plan(line, "weights = \"equal\"\namounts = \"known\"")),
        ("a way to read samples that is none", plan(line, "weights = \"equal\"\nof_samples = \"brackets\"")),
        ("a way to read samples that is no text", plan(line, "weights = \"equal\"\nof_samples = 2")),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| method::read("method.toml", text)));
}

/// Background, roll-over and limits that standards draw.
#[test]
fn background_corrections() {
    let cocoa = std::fs::read_to_string(in_repository("examples/cadmium-cocoa/method.toml")).unwrap();
    let with = |part: &str| format!("{cocoa}\n[background]\n{part}\n");
    let curve = "roll_over = { net_absorbance = \"1.20\", u_net_absorbance = \"0.012\", sensitivity_ratio = \"0.85\", \
                 u_sensitivity_ratio = \"0.005\" }";
    let field = "corrected_by = \"magnetic field\"\nshift = \"4 pm\"";
    let files = [
        ("nothing at all", with("")),
        ("a correction that is none", with("corrected_by = \"mirror\"")),
        ("a field without its shift", with("corrected_by = \"magnetic field\"")),
        ("the width of the other correction", with("corrected_by = \"continuum\"\nshift = \"4 pm\"")),
        (
            "a roll-over beside a continuum",
            with(&format!("corrected_by = \"continuum\"\nbandpass = \"0.7 nm\"\n{curve}")),
        ),
        ("a ratio of one", with(&format!("{field}\n{}", curve.replace("\"0.85\"", "\"1\"")))),
        ("a roll-over of nothing", with(&format!("{field}\n{}", curve.replace("\"1.20\"", "\"0\"")))),
        ("a roll-over with a key too few", with(&format!("{field}\nroll_over = {{ net_absorbance = \"1.2\" }}"))),
        (
            "a middle field that leaves no more than the full one, or all",
            with(&format!(
                "{field}\n{}",
                curve.replace(" }", ", middle_field = { leaves = \"0.1\", u_leaves = \"0.01\" } }")
            )),
        ),
        (
            "a neighbour without its distance",
            with(&format!("{field}\n[[background.neighbour]]\nelement = \"Xx\"\nline = \"228.81 nm\"")),
        ),
        (
            "a roll-over of a peak",
            with(&format!("{field}\n{curve}")).replace("\"integrated absorbance\"", "\"peak absorbance\""),
        ),
        (
            "limits narrowed by nobody known",
            cocoa.replace("to = \"4 s\" }", "to = \"4 s\", narrowed_by = \"samples\" }"),
        ),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| method::read("method.toml", text)));
    let whole = format!(
        "{}\n[background]\n{field}\n{curve}\n[[background.neighbour]]\nelement = \"As\"\nline = \"228.81 nm\"\naway = \"10 pm\"\n\
         lower_level_per_cm = \"10914\"\n",
        cocoa.replace("to = \"4 s\" }", "to = \"4 s\", narrowed_by = \"standards\" }")
    );
    let read = method::read("method.toml", &whole).unwrap();
    assert!(read.response.window.unwrap().by_standards);
    let background = read.background.unwrap();
    assert_eq!(background.neighbours.len(), 1);
    assert_eq!(background.roll_over.unwrap().net_absorbance.digits(), "1.20");
}

/// Limits of detection and the validation of uncertainty.
#[test]
fn detection_and_uncertainty() {
    let method = |part: &str| format!("{}\n{part}\n", example("method.toml"));
    let coverage = |keys: &str| changed("method.toml", &[("coverage_factor = \"2\"", keys)]);
    let seven = "[\"1 µg/L\", \"2 µg/L\", \"3 µg/L\", \"2 µg/L\", \"1 µg/L\", \"2 µg/L\", \"3 µg/L\"]";
    let files = [
        ("no procedure", method("[detection_limits]")),
        ("a procedure that is none", method("[detection_limits]\nprocedure = \"DIN 32646\"")),
        (
            "risks and readings that cannot be",
            method(
                "[detection_limits]\nprocedure = \"Currie\"\nalpha = \"60 %\"\nbeta = \"0 %\"\nk = \"-3\"\nreadings = 0",
            ),
        ),
        (
            "results that have no place",
            method(&format!("[detection_limits]\nprocedure = \"blanks\"\nspiked = {seven}")),
        ),
        (
            "too few spiked samples, and blanks that are none",
            method(
                "[detection_limits]\nprocedure = \"method detection limit\"\nspiked = [\"1 µg/L\"]\nblanks = [\"none\", \"1 mg\"]",
            ),
        ),
        (
            "a limit of a line without a line",
            changed(
                "method.toml",
                &[
                    ("straight line", "quadratic"),
                    ("[result]", "[detection_limits]\nprocedure = \"DIN 32645\"\n\n[result]"),
                ],
            ),
        ),
        ("a factor and a probability", coverage("coverage_factor = \"2\"\ncoverage_probability = \"95 %\"")),
        ("a probability of one", coverage("coverage_probability = \"100 %\"")),
        ("neither", coverage("")),
        (
            "trials, digits and intervals that cannot be",
            method("[uncertainty]\ntrials = 100\ndigits = 3\ninterval = \"long\"\nmonte_carlo_above = \"5 mg\""),
        ),
        ("control data without biases", method("[uncertainty.top_down]\nu_rw = \"2 %\"\nbiases = []")),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| method::read("method.toml", text)));
}

#[test]
fn runs() {
    let run = |changes: &[(&str, &str)]| changed("run.toml", changes);
    let files = [
        ("rows outside of the folder", run(&[("run-order.csv", "../../etc/passwd")])),
        ("no rows", run(&[("rows = \"run-order.csv\"\n", "")])),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| run::read("run.toml", text)));
}

#[test]
fn figures_that_need_no_unit_need_no_quotation_marks() {
    let text = changed("method.toml", &[("coverage_factor = \"2\"", "coverage_factor = 2.00"), ("\"0.06\"", "0.060")]);
    let method = method::read("method.toml", &text).unwrap();
    assert_eq!(method.result.coverage_factor.factor().unwrap().digits(), "2.00");
}
