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

macro_rules! document {
    ($folder:literal, $name:literal) => {
        ($folder, $name, include_str!(concat!("../../../../docs/", $folder, "/", $name, ".md")))
    };
}

/// In the order in which somebody new reads them.
const DOCUMENTS: &[Document] = &[
    document!("tutorial", "a-day-at-millrace"),
    document!("how-to", "serve-the-pages"),
    document!("how-to", "import-from-my-instrument"),
    document!("how-to", "people-and-signatures"),
    document!("how-to", "keep-copies"),
    document!("how-to", "verify-an-archive"),
    document!("how-to", "several-benches"),
    document!("how-to", "let-things-go-wrong"),
    document!("how-to", "add-your-own-worked-examples"),
    document!("reference", "commands"),
    document!("reference", "documents"),
    document!("reference", "rules"),
    document!("reference", "roles"),
    document!("reference", "archive-format"),
    document!("reference", "accuracy"),
    document!("reference", "benchmarks"),
    document!("reference", "what-the-clauses-ask"),
    document!("explanation", "from-pulse-to-figure"),
];

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
    fn every_document_of_the_folders_is_here_with_its_title() {
        let docs = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs");
        for folder in ["tutorial", "how-to", "reference", "explanation"] {
            for entry in std::fs::read_dir(docs.join(folder)).unwrap() {
                let name = entry.unwrap().file_name().to_str().unwrap().trim_end_matches(".md").to_owned();
                // What a folder says about itself is no document of its own.
                if name != "README" {
                    let found = DOCUMENTS.iter().find(|document| document.0 == folder && document.1 == name);
                    assert!(found.is_some_and(|document| title(document.2) != "untitled"), "{folder}/{name}");
                }
            }
        }
    }
}
