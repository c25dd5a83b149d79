//! Every row of the tables says where it is printed and how sure that is.

use darkline_handbook::{Handbook, Provenance};

#[test]
fn every_source_that_a_row_names_is_described() {
    let handbook = Handbook::shipped();
    let mut named: Vec<(String, &str)> = Vec::new();
    for element in handbook.elements() {
        let at = |what: &str| format!("{} {what}", element.symbol);
        named.push((at("atomic weight"), &element.atomic_weight_source));
        named.extend(element.line.iter().map(|row| (at(&format!("line {}", row.label_nm)), row.source.as_str())));
        named.extend(element.bandpass_nm.iter().map(|row| (at("bandpass"), row.source.as_str())));
        named.extend(element.flame.iter().map(|row| (at("flame"), row.source.as_str())));
        named.extend(element.modifier.iter().map(|row| (at("modifier"), row.source.as_str())));
        named.extend(element.interference.iter().map(|row| (at("interference"), row.source.as_str())));
        named.extend(element.figures.iter().map(|row| (at(&row.quantity), row.source.as_str())));
    }
    named.extend(handbook.flames().iter().map(|row| (row.name.clone(), row.source.as_str())));
    named.extend(handbook.burners().iter().map(|row| (row.name.clone(), row.source.as_str())));
    named.extend(handbook.buffers().iter().map(|row| (row.name.clone(), row.source.as_str())));
    named.extend(handbook.programmes().iter().map(|row| (row.id.clone(), row.source.as_str())));
    named.extend(handbook.stocks().iter().map(|row| (format!("stock {}", row.compound), row.source.as_str())));
    named.extend(handbook.routes().iter().map(|row| (row.id.clone(), row.source.as_str())));
    named.extend(handbook.preservations().iter().map(|row| (row.analyte.clone(), row.source.as_str())));
    assert_eq!(named.len(), 848);
    let missing: Vec<_> = named.iter().filter(|(_, source)| handbook.source(source).is_none()).collect();
    assert!(missing.is_empty(), "{missing:?}");
}

#[test]
fn no_figure_is_called_seen_whose_publication_was_not() {
    let handbook = Handbook::shipped();
    for element in handbook.elements() {
        for figure in &element.figures {
            let source = handbook.source(&figure.source).unwrap();
            if figure.provenance == Provenance::Verified {
                assert!(source.seen, "{} {}: {}", element.symbol, figure.quantity, figure.source);
            }
        }
    }
    for limit in handbook.limits() {
        if limit.provenance == Provenance::Verified {
            assert_ne!(limit.seen, "none", "{}", limit.id);
        }
    }
}

#[test]
fn every_element_has_one_primary_line_and_is_found_by_symbol_and_name() {
    let handbook = Handbook::shipped();
    assert_eq!(handbook.elements().len(), 47);
    for element in handbook.elements() {
        let primary = element.line.iter().filter(|line| line.role == darkline_handbook::LineRole::Primary).count();
        assert_eq!(primary, 1, "{}", element.symbol);
        for asked in [element.symbol.clone(), element.name.clone(), element.name.to_uppercase()] {
            assert_eq!(handbook.element(&asked).unwrap().symbol, element.symbol);
        }
    }
    let unknown = handbook.element("unobtainium").unwrap_err();
    assert!(unknown.to_string().starts_with("unobtainium is no element of the handbook; it holds Ag Al As"));
}

#[test]
fn a_printed_wavelength_finds_its_line_though_its_last_digit_differs() {
    let handbook = Handbook::shipped();
    // EPA 7000B, Table 2, prints Cu 324.7 nm; EPA 200.9, Table 2, prints 324.8 nm.
    let copper = handbook.element("Cu").unwrap();
    let found: Vec<f64> =
        [324.7, 324.8].iter().map(|printed| copper.line_at(*printed).unwrap().wavelength_air_nm).collect();
    assert_eq!(found[0], found[1]);
    assert!(copper.line_at(500.0).is_none());
    assert!(copper.line_at(f64::NAN).is_none());
}

/// `errata.toml`: where a publication misprints a wavelength, the tables carry the line of the published line list.
#[test]
fn misprinted_wavelengths_are_not_used() {
    let handbook = Handbook::shipped();
    // EPA 7000B, Table 2, prints 324.7 nm for aluminium and 290.0 nm for osmium; NIST has 309.271 nm and 290.906 nm.
    for (symbol, printed, used) in [("Al", 324.7, 309.271), ("Os", 290.0, 290.906)] {
        let element = handbook.element(symbol).unwrap();
        assert!(element.line_at(printed).is_none(), "{symbol}");
        assert!((element.primary_line().wavelength_air_nm - used).abs() < 0.001, "{symbol}");
        assert!(!handbook.errata_of(symbol).is_empty(), "{symbol}");
    }
    assert!(handbook.errata_of("Pb").iter().all(|erratum| erratum.concerns("Pb")));
}
