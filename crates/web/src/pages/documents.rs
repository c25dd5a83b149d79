//! The documents of this program: to learn, to do one job, to look up, to understand.

use maud::html;

use crate::answer::{Answer, Refused};
use crate::asked::Asked;
use crate::desk::Desk;
use crate::page::Page;
use crate::prose;
use crate::sheet::{Cell, Sheet};

/// A document: folder, name, text.
type Document = (&'static str, &'static str, &'static str);

/// All of them, folder by folder; `build.rs` looks into `docs`.
const DOCUMENTS: &[Document] = include!(concat!(env!("OUT_DIR"), "/documents.rs"));

fn title(text: &str) -> &str {
    text.lines().next().and_then(|line| line.strip_prefix("# ")).unwrap_or("untitled")
}

fn purpose(folder: &str) -> &'static str {
    match folder {
        "tutorial" => "to learn",
        "how-to" => "to do one job",
        "reference" => "to look up",
        _ => "to understand",
    }
}

/// All documents.
pub(crate) fn all(_: &Desk, _: &Asked) -> Result<Answer, Refused> {
    let mut page = Page::new("Documents");
    let mut sheet =
        Sheet::new("documents", "Documents of this program").words("title", "document").words("purpose", "purpose");
    for (folder, name, text) in DOCUMENTS {
        sheet.row(vec![Cell::text(title(text)).linked(format!("/docs/{folder}/{name}")), Cell::text(purpose(folder))]);
    }
    page.sheet(sheet);
    Ok(page.into())
}

/// One document.
pub(crate) fn one(_: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let found = DOCUMENTS.iter().find(|(folder, name, _)| *folder == asked.part(0) && *name == asked.part(1));
    let (folder, _, text) = found.ok_or_else(|| Refused::no_page("there is no such document"))?;
    let mut page = Page::new(title(text)).under("Documents", "/docs");
    let (_, rest) = text.split_once('\n').unwrap_or(("", text));
    page.words(html! { p.hint { (purpose(folder)) } });
    page.words(prose::shown(rest));
    Ok(page.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_document_has_its_title_and_the_folders_stand_in_the_order_of_reading() {
        assert!(DOCUMENTS.iter().all(|document| title(document.2) != "untitled"));
        assert_eq!(DOCUMENTS.first().map(|document| document.0), Some("tutorial"));
        assert!(DOCUMENTS.iter().any(|document| document.0 == "how-to" && document.1 == "serve-the-pages"));
    }
}
