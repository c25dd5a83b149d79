//! The bench sheet and its labels as an outside reader sees them: sound, the same bytes again, with their data attached.

use crate::outside_reader;
use darkline_report::bench_sheet::{BenchSheet, Label, Labels, RunPart, Step};
use darkline_report::{ReportError, render_bench_sheet, render_labels};

fn sheet() -> BenchSheet {
    let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    let cells = |cells: [&str; 4]| cells.map(str::to_owned);
    BenchSheet {
        order: "2026-071".into(),
        bench: "bench-2".into(),
        date: "2026-05-04T09:00:00+02:00".into(),
        by: "j.alder".into(),
        program: "Darkline 0.1.0".into(),
        forecast: vec![pair("last reading", "15:12")],
        statement: "Reminders, no safety assessment.".into(),
        cautions: vec![
            pair("danger", "Never let acetylene leave the regulator above 15 psig."),
            pair("warning", "井 #x"),
        ],
        refused: vec![pair("pipette B20-1", "its calibration was due on 2026-04-30")],
        checks: vec!["exhaust on".into()],
        first_readings: vec![cells(["Pb", "check 20 µg/L", "0.117 s", "0.094 s to 0.141 s"])],
        steps: vec![Step {
            made: "Pb standard 10 µg/L".into(),
            of: "intermediate 1 µg/mL".into(),
            take: "500 µL, P1000-3".into(),
            up_to: "50 mL, F50-1".into(),
            u: "0.6 %".into(),
        }],
        portions: vec![cells(["P-2026-071-01", "tap-1", "45 mL", "50 mL"])],
        cups: vec![cells(["1", "blank", "0.8 mL", "start"])],
        runs: vec![RunPart {
            run: "R-2026-071-Pb".into(),
            about: "Pb by pb-water-furnace on furnace bench 2".into(),
            time: "09:15 to 11:40".into(),
            conditions: vec![pair("pyrolysis temperature", "1250 °C")],
            rows: vec![["1", "1", "calibration blank", "calibration blank", "3"].map(str::to_owned)],
        }],
    }
}

#[test]
fn the_bench_sheet_is_sound_and_carries_itself_as_data() {
    let pdf = render_bench_sheet(&sheet()).unwrap();
    let (sound, said) = outside_reader::checked(&pdf);
    assert!(sound, "{said}");
    assert_eq!(outside_reader::attachment(&pdf, 1), serde_json::to_vec(&sheet()).unwrap());
    assert!(outside_reader::information(&pdf).contains("Bench sheet of order 2026-071"));
    assert_eq!(render_bench_sheet(&sheet()).unwrap(), pdf);
}

#[test]
fn labels_are_sound_with_and_without_a_barcode() {
    let labels = Labels {
        order: "2026-071".into(),
        date: "2026-05-04".into(),
        program: "Darkline 0.1.0".into(),
        labels: (0..30)
            .map(|place| Label::new(format!("P-2026-071-{place:02}"), "tap water", "j.alder, 2026-05-04"))
            .chain([Label::new("Prüfung", "no letters of a barcode", "")])
            .collect(),
    };
    let pdf = render_labels(&labels).unwrap();
    let (sound, said) = outside_reader::checked(&pdf);
    assert!(sound, "{said}");
    assert_eq!(render_labels(&labels).unwrap(), pdf);
    let undated = Labels { date: "tomorrow".into(), ..labels };
    assert!(matches!(render_labels(&undated), Err(ReportError::Date { .. })));
}
