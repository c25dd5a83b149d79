//! `[[sum]]` of an order: which results are added, and the limit their sum is held against.

use std::collections::BTreeSet;

use darkline_record::identity::{Element, SampleId};
use darkline_record::order::{Requested, Sample, Sum};

use super::{LIMIT_FORM, element, limit};
use crate::document::gathering::{Distinct, all, transposed};
use crate::document::section::{Entry, Section};
use crate::nearest::meant;

/// Reads the sums; `None` where one of them could not be read, which has been told.
///
/// # Arguments
/// * `samples`, `analytes`: of the same order; `None` where they could not be read.
pub(super) fn read(top: &Section<'_>, samples: Option<&[Sample]>, analytes: Option<&[Requested]>) -> Option<Vec<Sum>> {
    let mut names = Distinct::<String>::new("sum");
    let sums = top
        .sections("sum", "[[sum]]")
        .iter()
        .map(|section| {
            let name = section.required("name", "\"Pb + Cd\"");
            let elements = section.required("elements", "[\"Pb\", \"Cd\"]");
            let parts = section.optional("parts");
            let limit = section.optional_section("limit", LIMIT_FORM).map(|section| limit(&section));
            section.close();
            let name = name.and_then(|entry| names.parsed(top.sheet(), &entry));
            let entry = elements?;
            let elements = self::elements(&entry, analytes);
            let parts = parts.map_or(Some(Vec::new()), |parts| self::parts(&parts, samples));
            let (elements, parts) = (elements?, parts?);
            if elements.len() * parts.len().max(1) < 2 {
                entry.fault("a sum of one result is that result", "name a second element, or a second part");
                return None;
            }
            Some(Sum { name: name?, elements, parts, limit: transposed(limit)? })
        })
        .collect();
    all(sums)
}

fn elements(entry: &Entry<'_>, analytes: Option<&[Requested]>) -> Option<Vec<Element>> {
    let mut seen = BTreeSet::new();
    let entries = entry.list("[\"Pb\", \"Cd\"]")?;
    all(entries
        .iter()
        .map(|entry| {
            let found = element(entry)?;
            if !seen.insert(found.clone()) {
                entry.fault(format!("{found} is added twice"), "take one of them away");
                return None;
            }
            let Some(analytes) = analytes else { return Some(found) };
            match analytes.iter().filter(|analyte| analyte.element == found).count() {
                1 => Some(found),
                0 => {
                    entry.fault(
                        format!("{found} is not determined in this order"),
                        "add an [[analyte]], or take it out of the sum",
                    );
                    None
                }
                n => {
                    entry.fault(
                        format!("{found} is determined by {n} methods, and a sum takes one result of it"),
                        "leave one [[analyte]] of this element in the order",
                    );
                    None
                }
            }
        })
        .collect())
}

fn parts(entry: &Entry<'_>, samples: Option<&[Sample]>) -> Option<Vec<SampleId>> {
    let mut seen = BTreeSet::new();
    let entries = entry.list("[\"vessel-1\", \"lid-1\"]")?;
    all(entries
        .iter()
        .map(|entry| {
            let part: SampleId = entry.parsed()?;
            if !seen.insert(part.clone()) {
                entry.fault(format!("sample \"{part}\" is added twice"), "take one of them away");
                return None;
            }
            let known: Vec<&str> = samples?.iter().map(|sample| sample.id.as_str()).collect();
            if !known.contains(&part.as_str()) {
                entry.fault(format!("there is no sample \"{part}\" in this order"), meant(part.as_str(), &known));
                return None;
            }
            Some(part)
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use crate::order;

    const ORDER: &str = r#"format = "darkline/order/1"
id = "2026-071"
customer = "a customer (invented)"
contact = "Millrace"
received = "2026-03-10T11:20:00+01:00"

[[sample]]
id = "jar-1"
description = "a jar"

[[sample]]
id = "lid-1"
description = "its lid"

[[analyte]]
element = "Cd"
method = "cd"

[[analyte]]
element = "Pb"
method = "pb"
"#;

    fn with(sum: &str) -> Result<darkline_record::order::Order, String> {
        order::read("order.toml", &format!("{ORDER}\n{sum}")).map_err(|faults| faults.to_string())
    }

    #[test]
    fn sums_of_elements_and_of_parts_are_read() {
        let order = with(
            "[[sum]]\nname = \"Cd + Pb\"\nelements = [\"Cd\", \"Pb\"]\n\n\
             [[sum]]\nname = \"jar and lid\"\nelements = [\"Cd\"]\nparts = [\"jar-1\", \"lid-1\"]\n\
             limit = { at_most = \"0.30 mg/L\", origin = \"a directive\", decision_rule = \"simple acceptance\" }\n",
        )
        .unwrap();
        let [first, second] = &order.sums[..] else { panic!("{:?}", order.sums) };
        assert_eq!((first.elements.len(), first.parts.len(), first.limit.is_none()), (2, 0, true));
        assert_eq!((second.elements.len(), second.parts.len(), second.limit.is_some()), (1, 2, true));
        assert!(with("").unwrap().sums.is_empty());
    }

    #[test]
    fn what_cannot_be_added_is_told() {
        for (sum, told) in [
            ("elements = [\"Cd\"]", "a sum of one result is that result"),
            ("elements = [\"Cd\", \"Cd\"]", "Cd is added twice"),
            ("elements = [\"Cd\", \"Ni\"]", "Ni is not determined in this order"),
            ("elements = [\"Cd\", \"Xx\"]", "no element has the symbol \"Xx\""),
            ("elements = \"Cd\"", "a text stands where a list is wanted"),
            ("elements = [\"Cd\"]\nparts = [\"jar-1\", \"jar-1\"]", "sample \"jar-1\" is added twice"),
            ("elements = [\"Cd\"]\nparts = [\"jar-1\", \"lid-2\"]", "there is no sample \"lid-2\" in this order"),
            ("elements = [\"Cd\", \"Pb\"]\nof = 3", "the key \"of\" is not known here"),
        ] {
            let faults = with(&format!("[[sum]]\nname = \"a sum\"\n{sum}\n")).unwrap_err();
            assert!(faults.contains(told), "{sum}: {faults}");
        }
        let twice =
            "[[analyte]]\nelement = \"Cd\"\nmethod = \"other\"\n[[sum]]\nname = \"s\"\nelements = [\"Cd\", \"Pb\"]\n";
        assert!(with(twice).unwrap_err().contains("Cd is determined by 2 methods, and a sum takes one result of it"));
        let same = "[[sum]]\nname = \"s\"\nelements = [\"Cd\", \"Pb\"]\n";
        assert!(with(&format!("{same}{same}")).unwrap_err().contains("sum \"s\" is already on line"));
    }
}
