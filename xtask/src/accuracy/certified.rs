//! Certified values: in how many digits the reference datasets of NIST come out.

use super::Section;

/// The section of the page.
pub const SECTION: Section = Section {
    name: "nist",
    title: "Digits of certified values",
    write: |_| Ok(darkline_qualification::certified_table()),
};
