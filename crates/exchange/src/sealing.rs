//! Whose order it is, kept apart: texts of an order document are replaced by salted commitments.
//!
//! What stands in the record is `kept apart under …` with 64 hexadecimal digits; the text and its salt lie beside the record
//! and can be erased without changing a byte of what was hashed. Kept apart are customer, contact, purpose, and what the
//! customer said each sample is. Comments of the document may name somebody too, so they are left out.
//!
//! The digits are SHA-256 over `darkline/apart/1`, a line feed, the salt in hexadecimal digits, a line feed and the text. With
//! the salt erased, nobody finds out the text by trying names.

use darkline_record::canonical::Digest;
use darkline_record::order::Order;
use toml::{Table, Value};

/// What stands before the digits.
pub const APART: &str = "kept apart under ";

/// One text that is kept apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Apart {
    /// The salt, in hexadecimal digits.
    pub salt: String,
    /// The text.
    pub text: String,
}

impl Apart {
    /// What stands in the document in its place.
    pub fn commitment(&self) -> String {
        let Self { salt, text } = self;
        format!("{APART}{}", Digest::of(format!("darkline/apart/1\n{salt}\n{text}").as_bytes()))
    }
}

/// Whether a text of a document stands for one that is kept apart.
pub fn is_apart(text: &str) -> bool {
    text.strip_prefix(APART).is_some_and(|digits| digits.parse::<Digest>().is_ok())
}

/// Takes whose order it is out of an order document.
///
/// # Arguments
/// * `text`: the document, which has been read before.
/// * `salt`: gives a new salt for each text, 32 random bytes in hexadecimal digits.
///
/// # Errors
/// `None`: the text is no TOML.
pub fn seal(text: &str, salt: &mut dyn FnMut() -> String) -> Option<(String, Vec<Apart>)> {
    let mut table: Table = text.parse().ok()?;
    let mut kept = Vec::new();
    let mut take = |table: &mut Table, key: &str| {
        if let Some(Value::String(text)) = table.get_mut(key)
            && !is_apart(text)
        {
            let apart = Apart { salt: salt(), text: std::mem::take(text) };
            *text = apart.commitment();
            kept.push(apart);
        }
    };
    for key in ["customer", "contact", "purpose"] {
        take(&mut table, key);
    }
    if let Some(Value::Array(samples)) = table.get_mut("sample") {
        for sample in samples.iter_mut().filter_map(Value::as_table_mut) {
            take(sample, "description");
        }
    }
    Some((toml::to_string(&table).ok()?, kept))
}

/// The order with the texts that are kept apart in their places, as far as they are there.
pub fn unsealed(order: &Order, kept: &[Apart]) -> Order {
    let mut order = order.clone();
    let put = |text: &mut String| {
        if let Some(apart) = kept.iter().find(|apart| apart.commitment() == *text) {
            text.clone_from(&apart.text);
        }
    };
    put(&mut order.customer);
    put(&mut order.contact);
    order.purpose.iter_mut().for_each(put);
    order.samples.iter_mut().map(|sample| &mut sample.description).for_each(put);
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::order;

    const ORDER: &str = r#"# for A. Reed, ward 3
format = "darkline/order/1"
id = "2026-060"
customer = "A. Reed (invented)"
contact = "ward 3"
received = "2026-03-10T11:20:00+01:00"

[[sample]]
id = "blood-1"
description = "whole blood of A. Reed" # the second tube

[[analyte]]
element = "Pb"
method = "pb-blood"
limit = { at_most = "50 µg/L", origin = "an invented limit", decision_rule = "simple acceptance" }
"#;

    fn salts() -> impl FnMut() -> String {
        let mut n = 0;
        move || {
            n += 1;
            format!("{n:064x}")
        }
    }

    #[test]
    fn a_sealed_order_is_an_order_that_names_nobody() {
        let (text, kept) = seal(ORDER, &mut salts()).unwrap();
        assert_eq!(kept.len(), 3);
        assert!(!text.contains("Reed") && !text.contains("ward") && !text.contains("tube"), "{text}");
        let sealed = order::read("order.toml", &text).unwrap();
        let open = order::read("order.toml", ORDER).unwrap();
        assert!(is_apart(&sealed.customer) && is_apart(&sealed.samples[0].description));
        assert_eq!((&sealed.id, &sealed.analytes), (&open.id, &open.analytes));
        assert_eq!(unsealed(&sealed, &kept), open);
    }

    #[test]
    fn another_salt_or_another_text_opens_nothing() {
        let (text, mut kept) = seal(ORDER, &mut salts()).unwrap();
        let sealed = order::read("order.toml", &text).unwrap();
        kept[0].salt = "0".repeat(64);
        kept[1].text = "ward 4".into();
        let shown = unsealed(&sealed, &kept);
        assert!(is_apart(&shown.customer) && is_apart(&shown.contact));
        assert_eq!(shown.samples[0].description, "whole blood of A. Reed");
    }

    #[test]
    fn what_is_sealed_is_not_sealed_again() {
        let (text, _) = seal(ORDER, &mut salts()).unwrap();
        let (again, kept) = seal(&text, &mut salts()).unwrap();
        assert_eq!((again, kept.len()), (text, 0));
    }
}
