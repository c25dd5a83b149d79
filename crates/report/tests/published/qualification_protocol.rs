//! The qualification protocol as an outside reader sees it: sound, of the standards it names, the same bytes again.

use crate::outside_reader;
use darkline_report::qualification_protocol::{CaseLine, FigureApart, PackOfCases};
use darkline_report::{QualificationProtocol, ReportError, render_protocol};

const RECORD: &[u8] = b"{\"case\":\"gum-h1-end-gauge\",\"key\":\"u\"}\n";

fn protocol() -> QualificationProtocol {
    let line = |case: &str, kind: &str, source: &str| CaseLine {
        case: case.into(),
        kind: kind.into(),
        source: source.into(),
        figures: "9".into(),
        digits: "3.4".into(),
        verdict: "agrees".into(),
    };
    QualificationProtocol {
        laboratory: "Millrace Laboratory".into(),
        program: "Darkline 0.1.0".into(),
        machine: "linux x86_64, bench computer 2".into(),
        date: "2026-11-25".into(),
        scope: "two cases of our own".into(),
        conclusion: "All figures agree, or differ for a reason that is named.".into(),
        agrees: true,
        counts: vec![("cases".into(), "2".into()), ("figures".into(), "18".into())],
        apart: vec![FigureApart {
            case: "stock-gravimetric-factors".into(),
            quantity: "item[9].M".into(),
            printed: "249.677043".into(),
            found: "249.677".into(),
            tolerance: "±0.000002".into(),
            verdict: "difference: the last two digits are those of manganese".into(),
        }],
        packs: vec![PackOfCases {
            name: "uncertainty".into(),
            cases: vec![
                line(
                    "gum-h1-end-gauge",
                    "lpu",
                    "JCGM 100:2008, H.1, 井 and a-very-long-word-without-any-space-in-it-at-all",
                ),
                line("gum-h3-thermometer-line", "least_squares_line", "JCGM 100:2008, H.3"),
            ],
        }],
        signatures: vec!["carried out".into(), "reviewed".into()],
    }
}

#[test]
fn the_protocol_is_sound_and_says_which_standards_it_keeps() {
    let pdf = render_protocol(&protocol(), RECORD).unwrap();
    let (sound, said) = outside_reader::checked(&pdf);
    assert!(sound, "{said}");
    let metadata = outside_reader::metadata(&pdf);
    for wanted in ["<pdfaid:part>3</pdfaid:part>", "<pdfaid:conformance>A</pdfaid:conformance>"] {
        assert!(metadata.contains(wanted), "{wanted} is not in {metadata}");
    }
    assert_eq!(outside_reader::attachment(&pdf, 1), RECORD);
    assert!(outside_reader::information(&pdf).contains("Qualification protocol of Darkline 0.1.0"));
}

#[test]
fn equal_protocols_give_equal_bytes_and_another_date_another_file() {
    let first = render_protocol(&protocol(), RECORD).unwrap();
    assert!(first == render_protocol(&protocol(), RECORD).unwrap());
    let mut other = protocol();
    other.date = "2026-11-26".into();
    assert!(first != render_protocol(&other, RECORD).unwrap());
    other.date = "soon".into();
    assert!(matches!(render_protocol(&other, RECORD), Err(ReportError::Date { .. })));
}

#[test]
fn the_protocol_reads_as_people_expect_it() {
    insta::assert_snapshot!(outside_reader::text(&render_protocol(&protocol(), RECORD).unwrap()));
}
