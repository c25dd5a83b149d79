//! Order 2026-031 of the invented Millrace Laboratory: cadmium by furnace, with every place of a report filled.
//!
//! All figures are made up.

use darkline_report::figure::{
    Baseline, Calibration, CalibrationPoint, Figure, Medium, Pulse, ReadBack, Scale, calibration, pulse,
};
use darkline_report::test_report::*;

/// The record that is attached; in earnest it is the canonical data package.
pub const RECORD: &[u8] = b"{\"order\":\"2026-031\",\"schema\":\"darkline/outcome/1\"}";

const RULE_U: &str = "guard band of one U on the limit; a result complies when value + U does not exceed the limit and does not \
                      comply when value − U exceeds it; risk of a wrong statement at most 2.5 %, normal distribution assumed";

fn texts(texts: &[&str]) -> Vec<String> {
    texts.iter().map(|&text| text.to_owned()).collect()
}

fn value(value: &str, expanded_u: &str) -> Finding {
    let uncertainty = Uncertainty::Expanded { expanded_u: expanded_u.to_owned(), coverage_factor: "2".to_owned() };
    Finding::Value { value: value.to_owned(), uncertainty }
}

fn bound(value: &str, expanded_u: &str) -> BoundLine {
    BoundLine { value: value.to_owned(), expanded_u: expanded_u.to_owned(), coverage_factor: "2".to_owned() }
}

fn water(sample: &str, finding: Finding, verdict: Verdict, detail: &str) -> ResultLine {
    ResultLine {
        sample: sample.to_owned(),
        analyte: "cadmium, total".to_owned(),
        kind: "mass concentration".to_owned(),
        unit: "µg/L".to_owned(),
        basis: String::new(),
        finding,
        loq: "0.28".to_owned(),
        limit: Some(Limit {
            text: "at most 5.0".to_owned(),
            specification: "Directive (EU) 2020/2184, Annex I, Part B".to_owned(),
            rule: RULE_U.to_owned(),
        }),
        statement: Some(Statement { verdict, detail: detail.to_owned() }),
        external: None,
    }
}

fn sludge(sample: &str, analyte: &str, finding: Finding, external: Option<&str>) -> ResultLine {
    ResultLine {
        sample: sample.to_owned(),
        analyte: analyte.to_owned(),
        kind: "mass fraction".to_owned(),
        unit: "mg/kg".to_owned(),
        basis: "dry mass".to_owned(),
        finding,
        loq: String::new(),
        limit: None,
        statement: None,
        external: external.map(str::to_owned),
    }
}

fn sample(id: &str, description: &str, condition: &str, sampled: &str) -> SampleLine {
    SampleLine {
        id: id.to_owned(),
        description: description.to_owned(),
        condition: condition.to_owned(),
        received: String::new(),
        sampled: sampled.to_owned(),
    }
}

/// The report of the order.
pub fn report() -> TestReport {
    TestReport {
        number: "2026-031-2".to_owned(),
        replaces: Some(Replaced {
            number: "2026-031-1".to_owned(),
            changes: texts(&["description of pond-01 corrected by the customer; no figure changed"]),
            reason: "the customer named the sampling place wrongly".to_owned(),
        }),
        trial: true,
        laboratory: Party {
            name: "Millrace Laboratory".to_owned(),
            lines: texts(&["3 Weir Lane, Lower Millrace", "telephone 0100 555 031", "reports@millrace.example"]),
        },
        place_of_work: "dry mass: Millrace field station, Upper Weir".to_owned(),
        customer: Party {
            name: "Parish of Lower Millrace".to_owned(),
            lines: texts(&["The clerk, Old Toll House", "1 Bridge Street, Lower Millrace", "clerk@millrace-parish.example"]),
        },
        order: "2026-031".to_owned(),
        received: "2026-03-09T11:20:00+01:00".to_owned(),
        measured: Span {
            first: "2026-03-12T09:41:07+01:00".to_owned(),
            last: "2026-03-12T13:05:52+01:00".to_owned(),
        },
        issued: "2026-03-14T09:30:00+01:00".to_owned(),
        sampling: Sampling::Customer,
        sums: vec![SumLine {
            name: "cadmium + lead".to_owned(),
            of: "well-04".to_owned(),
            unit: "µg/L".to_owned(),
            lower: Some(bound("0.41", "0.04")),
            upper: Some(bound("0.91", "0.11")),
            below_loq: "lead".to_owned(),
            missing: String::new(),
            limit: Some(Limit {
                text: "at most 5.0".to_owned(),
                specification: "an invented agreement".to_owned(),
                rule: RULE_U.to_owned(),
            }),
            statement: Some(Statement { verdict: Verdict::Complies, detail: "by both bounds".to_owned() }),
        }],
        results: vec![
            water("well-04", value("0.41", "0.04"), Verdict::Complies, ""),
            water("well-05", Finding::BelowLoq, Verdict::Complies, "below LOQ (0.28)"),
            water("pond-01", value("5.30", "0.40"), Verdict::Inconclusive, "5.0 lies within 5.3 ± 0.4"),
            water("pond-02", value("12.6", "0.9"), Verdict::DoesNotComply, ""),
            sludge("silt-01", "cadmium, total", value("1.84", "0.15"), None),
            sludge(
                "silt-01",
                "lead, total",
                Finding::Value {
                    value: "32".to_owned(),
                    uncertainty: Uncertainty::NotStated { because: "the provider states none".to_owned() },
                },
                Some("Weir Valley Analysts, report W-204"),
            ),
            sludge(
                "silt-02",
                "cadmium, total",
                Finding::Withheld { because: "too little was left to repeat the digestion".to_owned() },
                None,
            ),
        ],
        coverage: "about 95 %".to_owned(),
        samples: vec![
            sample("well-04", "Well behind the mill, cold tap", "0.5 L, acidified, 6 °C", "2026-03-08"),
            sample("well-05", "Well at the ford", "0.5 L, acidified, 6 °C", "2026-03-08"),
            sample("pond-01", "Mill pond, inflow", "0.5 L, slight sediment", "2026-03-08"),
            sample("pond-02", "Mill pond, outflow below the sluice", "0.5 L, slight sediment", "2026-03-08"),
            sample("silt-01", "Silt, mill pond, upper 10 cm", "210 g, moist", "2026-03-07"),
            sample("silt-02", "Silt, mill race", "12 g, moist; less than agreed", "2026-03-07"),
        ],
        methods: vec![
            MethodLine {
                analyte: "cadmium".to_owned(),
                name: "cadmium-furnace".to_owned(),
                version: "version 7".to_owned(),
                title: "Cadmium in waters and digests, after ISO 15586:2003".to_owned(),
                technique: "electrothermal atomic absorption spectrometry".to_owned(),
                line: "228.8 nm".to_owned(),
            },
            MethodLine {
                analyte: "dry mass".to_owned(),
                name: "dry-mass".to_owned(),
                version: "version 3".to_owned(),
                title: "Dry residue at 105 °C".to_owned(),
                technique: "weighing".to_owned(),
                line: String::new(),
            },
        ],
        deviations: texts(&["silt-02 was digested from 0.1 g instead of 0.5 g, as agreed with the customer on 2026-03-10."]),
        flags: vec![JustifiedFlag {
            rule: "carry-over".to_owned(),
            subject: "reading 31".to_owned(),
            seen: "0.006 s after 0.48 s, the method allows 0.004 s".to_owned(),
            reason: "second reading agrees".to_owned(),
            by: "j.alder".to_owned(),
        }],
        notes: texts(&["Water samples stood for 16 h after acidification on receipt."]),
        opinions: vec![Opinion {
            text: "The rise between inflow and outflow points to the silt of the pond as a source.".to_owned(),
            basis: "results of pond-01, pond-02 and silt-01".to_owned(),
            author: "m.rowan".to_owned(),
        }],
        signatures: vec![
            Signature {
                name: "J. Alder".to_owned(),
                role: "analyst".to_owned(),
                meaning: "measured and evaluated".to_owned(),
                at: "2026-03-13T16:02:11+01:00".to_owned(),
                key: "SHA256:9f1c 22ab 7d03 5e41".to_owned(),
            },
            Signature {
                name: "M. Rowan".to_owned(),
                role: "reviewer".to_owned(),
                meaning: "reviewed and authorised".to_owned(),
                at: "2026-03-14T09:12:40+01:00".to_owned(),
                key: "SHA256:47d0 e8b1 0c9a f266".to_owned(),
            },
        ],
        proof: Proof {
            outcome_digest: "sha256:6b1f0c5e0f3c7a4d9e2b8816c5d7f0a3b4e1928374655647382910fedcba9876".to_owned(),
            tree_root: "a3f4c19be2d07765a1b2c3d4e5f60718293a4b5c6d7e8f90123456789abcdef0".to_owned(),
            tree_size: "431".to_owned(),
            edition: "0".to_owned(),
            program: "Darkline 0.1.0".to_owned(),
        },
        caution: "Local rules and qualified judgement prevail; results do not replace the judgement of a licensed professional."
            .to_owned(),
        annex: Some(annex()),
    }
}

fn annex() -> Annex {
    let contribution = |source: &str, u: &str, share: &str| Contribution {
        source: source.to_owned(),
        u: u.to_owned(),
        share: share.to_owned(),
    };
    let coefficient = |name: &str, value: &str, standard_error: &str, unit: &str| Coefficient {
        name: name.to_owned(),
        value: value.to_owned(),
        standard_error: standard_error.to_owned(),
        unit: unit.to_owned(),
    };
    let control = |control: &str, found: &str, allowed: &str, outcome| ControlLine {
        control: control.to_owned(),
        found: found.to_owned(),
        allowed: allowed.to_owned(),
        outcome,
    };
    Annex {
        budgets: vec![Budget {
            title: "Cadmium in well-04, mass concentration".to_owned(),
            result: "0.41 µg/L, u = 0.019 µg/L".to_owned(),
            contributions: vec![
                contribution("calibration line", "0.0149 µg/L", "62 %"),
                contribution("repeatability of the readings", "0.0091 µg/L", "23 %"),
                contribution("method blank P2", "0.0056 µg/L", "9 %"),
                contribution("recovery", "0.0042 µg/L", "5 %"),
                contribution("stock standard CD-114 and dilutions", "0.0019 µg/L", "1 %"),
            ],
        }],
        calibrations: vec![CalibrationLine {
            title: "Cadmium at 228.8 nm, run 17".to_owned(),
            model: "response = a + b · mass concentration, weighted by 1/u²".to_owned(),
            coefficients: vec![
                coefficient("intercept a", "0.0012", "0.0006", "s"),
                coefficient("slope b", "0.10127", "0.00041", "s L/µg"),
            ],
            facts: vec![
                ("points".to_owned(), "12, of which 1 rejected".to_owned()),
                ("residual standard deviation".to_owned(), "0.0019 s".to_owned()),
                ("characteristic mass".to_owned(), "1.1 pg".to_owned()),
            ],
        }],
        conformity: vec![ConformityLine {
            of: "cadmium in well-04".to_owned(),
            statement: "complies, at most 3.0 µg/L".to_owned(),
            probability: "100 %".to_owned(),
            risk: "0 %".to_owned(),
            guard_band: "0.04 µg/L".to_owned(),
            global_risk: String::new(),
        }],
        portions: Vec::new(),
        controls: vec![
            control("method blank P2", "0.04 µg/L", "at most 0.09 µg/L", ControlOutcome::Passed),
            control("verification standard 2.5 µg/L", "2.46 µg/L (98 %)", "90 % to 110 %", ControlOutcome::Passed),
            control("check after row 24", "2.61 µg/L (104 %)", "90 % to 110 %", ControlOutcome::Passed),
            control("spike of well-04, 1.0 µg/L", "94 %", "80 % to 120 %", ControlOutcome::Passed),
            control("carry-over after row 12", "0.006 s", "at most 0.004 s", ControlOutcome::Justified),
        ],
        repeats: Vec::new(),
        figures: vec![FigureLine::of(well_04(Medium::Paper)), FigureLine::of(run_17(Medium::Paper))],
    }
}

/// A furnace pulse of well-04: steep rise, slow tail, some background at the front.
pub fn well_04(medium: Medium) -> Figure {
    let time: Vec<f64> = (0..=250).map(|step| f64::from(step) * 0.02).collect();
    let swell = |time: f64, start: f64, rise: f64, fall: f64| {
        let since = time - start;
        if since <= 0.0 { 0.0 } else { (1.0 - libm::exp(-since / rise)) * libm::exp(-since / fall) }
    };
    let ripple = |time: f64, phase: f64| 0.0007 * libm::sin(71.0 * time + phase) + 0.0005 * libm::sin(113.0 * time);
    let background: Vec<f64> =
        time.iter().map(|&time| 0.003 + 0.21 * swell(time, 0.35, 0.10, 0.35) + ripple(time, 0.4)).collect();
    let analyte: Vec<f64> =
        time.iter().map(|&time| 0.001 + 0.62 * swell(time, 0.62, 0.28, 0.42) + ripple(time, 1.7)).collect();
    let total: Vec<f64> = background.iter().zip(&analyte).map(|(background, analyte)| background + analyte).collect();
    pulse(
        &Pulse {
            id: "reading-204",
            title: "Reading 204, well-04, second replicate: absorbance over the atomisation step",
            time_s: &time,
            total: &total,
            background: &background,
            analyte: &analyte,
            baseline: Some(Baseline { at_lower_limit: 0.001, at_upper_limit: 0.002 }),
            limits_s: Some((0.45, 3.6)),
            response: "0.1523 s",
        },
        medium,
    )
}

/// The calibration of run 17: two replicates on each level, one rejected, four unknowns read back.
pub fn run_17(medium: Medium) -> Figure {
    let line = |amount: f64| 0.0012 + 0.10127 * amount;
    let measured = [
        (0.0, 0.0009, false),
        (0.0, 0.0018, false),
        (0.5, 0.0531, false),
        (0.5, 0.0509, false),
        (1.0, 0.1043, false),
        (1.0, 0.1006, false),
        (2.0, 0.2051, false),
        (2.0, 0.2016, false),
        (4.0, 0.4081, false),
        (4.0, 0.3952, true),
        (6.0, 0.6102, false),
        (6.0, 0.6071, false),
    ];
    let points: Vec<_> = measured
        .iter()
        .map(|&(amount, response, rejected)| CalibrationPoint {
            amount,
            response,
            residual: Some(response - line(amount)),
            rejected,
        })
        .collect();
    let along: Vec<f64> = (0..=24).map(|step| f64::from(step) * 0.25).collect();
    let half = |amount: f64| 0.009 + 0.0009 * (amount - 2.2) * (amount - 2.2);
    let band: Vec<_> =
        along.iter().map(|&amount| (amount, line(amount) - half(amount), line(amount) + half(amount))).collect();
    let fitted: Vec<_> = along.iter().map(|&amount| (amount, line(amount))).collect();
    let found = |name: &'static str, amount: f64| ReadBack { name, amount, response: line(amount) };
    calibration(
        &Calibration {
            id: "run-17-cadmium",
            title: "Calibration of run 17, cadmium at 228.8 nm, with residuals",
            amount: Scale { kind: "mass concentration", unit: "µg/L" },
            response: Scale { kind: "integrated absorbance", unit: "s" },
            points: &points,
            fitted: &fitted,
            band: &band,
            band_name: "95 % prediction interval",
            read_back: &[
                found("well-04", 0.41),
                found("pond-01", 5.3),
                found("pond-02 (1 + 3)", 3.15),
                found("silt-01", 2.9),
            ],
        },
        medium,
    )
}
