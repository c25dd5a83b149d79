//! The page of the studies: its head, and its sections, which can be written anew one by one.

/// What stands above the sections.
const HEAD: &str = "\
# Accuracy

How good the figures are, as long studies tell. Written by `cargo xtask accuracy`; `cargo xtask accuracy NAME` writes one
section again. Every study draws from fixed seeds, so that it comes out the same on every machine.
";

/// The page with these sections: titles and what stands below them.
pub fn make(sections: &[(&str, String)]) -> String {
    let mut text = HEAD.to_owned();
    for (title, body) in sections {
        text.push_str(&format!("\n## {title}\n\n{}\n", body.trim()));
    }
    text
}

/// What stands below a title in a page; `None` where it has no such section.
pub fn body_of<'t>(page: &'t str, title: &str) -> Option<&'t str> {
    let heading = format!("\n## {title}\n");
    let from = page.find(&heading)? + heading.len();
    let body = &page[from..];
    Some(body.find("\n## ").map_or(body, |end| &body[..end]).trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_section_comes_back_from_the_page_it_was_written_to() {
        let page = make(&[("Coverage", "one\n\n### deeper\n\ntwo".into()), ("Digits", "three\n".into())]);
        assert_eq!(body_of(&page, "Coverage"), Some("one\n\n### deeper\n\ntwo"));
        assert_eq!(body_of(&page, "Digits"), Some("three"));
        assert_eq!(body_of(&page, "Batches"), None);
        assert!(page.ends_with("three\n"));
    }
}
