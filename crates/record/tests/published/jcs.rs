//! RFC 8785 (2020), JSON Canonicalization Scheme: the vectors of `reference/records/jcs.toml` through [`canonical::bytes`].

use std::collections::BTreeSet;
use std::path::Path;

use darkline_record::canonical::{self, Digest};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use toml::Table;

fn pack() -> Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference/records/jcs.toml");
    std::fs::read_to_string(path).unwrap().parse().unwrap()
}

fn cases<'p>(pack: &'p Table, array: &str) -> Vec<&'p Table> {
    pack[array].as_array().unwrap().iter().map(|case| case.as_table().unwrap()).collect()
}

fn text<'c>(case: &'c Table, key: &str) -> &'c str {
    case[key].as_str().unwrap()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn double(digits: &str) -> f64 {
    assert_eq!(digits.len(), 16);
    f64::from_bits(u64::from_str_radix(digits, 16).unwrap())
}

fn canonical_number(number: f64) -> String {
    String::from_utf8(canonical::bytes(&number)).unwrap()
}

#[test]
fn no_part_of_the_file_is_left_unread() {
    let parts: Vec<String> = pack().keys().cloned().collect();
    let read = ["meta", "rule", "document_case", "number_cases", "number_stream", "refusal_case"];
    assert_eq!(parts.iter().map(String::as_str).collect::<BTreeSet<_>>(), read.into_iter().collect());
}

#[test]
fn every_published_document_has_its_published_bytes() {
    let pack = pack();
    let documents = cases(&pack, "document_case");
    assert_eq!(documents.len(), 8);
    for case in documents {
        let document: Value = serde_json::from_str(text(case, "input")).unwrap();
        let bytes = canonical::bytes(&document);
        assert_eq!(hex(&bytes), text(case, "canonical_hex"), "{}", text(case, "id"));
        assert_eq!(Digest::of_document(&document).to_string(), text(case, "sha256"), "{}", text(case, "id"));
    }
}

#[test]
fn every_published_number_has_its_published_text() {
    let pack = pack();
    let rows = pack["number_cases"]["row"].as_array().unwrap();
    assert_eq!(rows.len(), 24);
    for row in rows {
        let row = row.as_table().unwrap();
        assert_eq!(canonical_number(double(text(row, "ieee754"))), text(row, "text"), "{}", text(row, "ieee754"));
    }
}

/// DIFFERENCE: RFC 8785, 3.2.2.3 asks for an error where a figure is not finite. Such figures are stopped where documents come
/// in; should one get through, its canonical form is `null`, never the text of a number, and no program ends because of it.
#[test]
fn figures_that_are_not_finite_never_become_a_number() {
    let pack = pack();
    let refused = pack["number_cases"]["refuse"].as_array().unwrap();
    assert!(!refused.is_empty());
    for digits in refused {
        assert_eq!(canonical_number(double(digits.as_str().unwrap())), "null");
    }
}

#[test]
fn a_hundred_thousand_doubles_have_the_published_digest() {
    let pack = pack();
    let stream = pack["number_stream"].as_table().unwrap();
    let start = stream["start_list"].as_array().unwrap().iter().map(|digits| double(digits.as_str().unwrap()));
    let smallest = (0..2000).map(|i| f64::from_bits(0x0010_0000_0000_0000 + i));
    let mut block = [0_u8; 32];
    let chain = std::iter::from_fn(move || {
        block = Sha256::digest(block).into();
        Some(block)
    })
    .flat_map(|block| block.as_chunks::<8>().0.iter().map(|eight| f64::from_le_bytes(*eight)).collect::<Vec<_>>())
    .filter(|number| number.is_finite() && *number != 0.0);

    let (mut digest, mut n_lines) = (Sha256::new(), 0);
    for number in start.chain(smallest).chain(chain).take(100_000) {
        digest.update(format!("{:x},{}\n", number.to_bits(), canonical_number(number)));
        n_lines += 1;
        let key = format!("sha256_{n_lines}_lines");
        if let Some(published) = stream.get(&key) {
            assert_eq!(hex(&digest.clone().finalize()), published.as_str().unwrap(), "{key}");
        }
    }
    assert_eq!(stream.keys().filter(|key| key.ends_with("_lines")).count(), 3);
    assert!(stream.contains_key("sha256_100000_lines"));
}

/// Canonical bytes are made of documents, and these are read into types: that is where a member that stands twice, or a text
/// that is no Unicode, is turned back.
#[test]
fn what_has_no_canonical_form_is_turned_back_where_it_is_read() {
    #[derive(Debug, Deserialize, Serialize)]
    #[serde(deny_unknown_fields)]
    struct Document {
        a: Value,
    }
    assert_eq!(canonical::bytes(&serde_json::from_str::<Document>("{\"a\": 1.0}").unwrap()), b"{\"a\":1}");
    let pack = pack();
    let refusals = cases(&pack, "refusal_case");
    assert_eq!(refusals.len(), 2);
    for case in refusals {
        assert_eq!(text(case, "expect"), "refuse");
        assert!(serde_json::from_str::<Document>(text(case, "input")).is_err(), "{}", text(case, "id"));
    }
}
