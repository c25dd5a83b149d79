//! The frame of every page: skip link, head, places, the page's parts, foot.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::answer::Refused;
use crate::asked::{Fields, Viewer};
use crate::page::{Page, Part};

/// The places of the house, in the order of the work.
const PLACES: [(&str, &str); 9] = [
    ("Today", "/"),
    ("Orders", "/orders"),
    ("Quality", "/quality"),
    ("Audit trail", "/trail"),
    ("People", "/people"),
    ("Handbook", "/handbook"),
    ("Rules", "/rules"),
    ("Documents", "/docs"),
    ("Keys", "/keys"),
];

/// What a frame shows around a page.
#[derive(Clone, Debug)]
pub(crate) struct Around<'a> {
    /// What the laboratory is called.
    pub(crate) laboratory: &'a str,
    /// Who looks.
    pub(crate) viewer: Option<&'a Viewer>,
    /// The page's own address.
    pub(crate) path: &'a str,
    /// What was asked behind the question mark.
    pub(crate) query: &'a Fields,
    /// Tells one version of style and script from another.
    pub(crate) version: &'a str,
    /// Time and root, for paper.
    pub(crate) stand: &'a str,
}

/// A page in its frame.
pub(crate) fn framed(page: &Page, around: &Around<'_>) -> Markup {
    let title = if page.faults.is_empty() { page.title.clone() } else { format!("Error: {}", page.title) };
    let token = around.viewer.map_or("", |viewer| viewer.form_token.as_str());
    whole(
        &title,
        around,
        html! {
            @if !page.trail.is_empty() {
                nav.where aria-label="Where this page stands" {
                    ol { @for (words, address) in &page.trail { li { a href=(address) { (words) } } } }
                }
            }
            @if let Some(done) = &page.done { p.done role="status" { (done) } }
            @if !page.faults.is_empty() {
                div.summary role="alert" tabindex="-1" autofocus {
                    h2 { @if page.faults.len() == 1 { "1 field needs another look" } @else { (page.faults.len()) " fields need another look" } }
                    ul { @for fault in &page.faults { li { a href=(format!("#{}", fault.at)) { (fault.says) } } } }
                }
            }
            h1 { (page.title) }
            @for part in &page.parts { (shown(part, page, around, token)) }
            @if around.viewer.is_some() {
                p.twins {
                    "The same figures: "
                    a href=(format!("{}.json", twin_path(around.path))) { "JSON" }
                    @for sheet in page.sheets() {
                        ", " a href=(format!("{}.csv?table={}", twin_path(around.path), sheet.name)) { "CSV of " (sheet.name) }
                    }
                }
            }
        },
        page,
    )
}

fn twin_path(path: &str) -> &str {
    if path == "/" { "/today" } else { path }
}

fn shown(part: &Part, page: &Page, around: &Around<'_>, token: &str) -> Markup {
    match part {
        Part::Heading(words) => html! { h2 { (words) } },
        Part::Words(words) => words.clone(),
        Part::Facts(facts) => html! {
            dl.facts {
                @for fact in facts {
                    @let (name, says, link) = fact.shown();
                    div {
                        dt { (name) }
                        dd { @if let Some(link) = link { a href=(link) { (says) } } @else { (says) } }
                    }
                }
            }
        },
        Part::Beside(_) => html! {},
        Part::Sheet(sheet) => sheet.html(twin_path(around.path), around.query),
        Part::Figure(figure) => html! {
            figure.drawn {
                // Our own writer: its texts are escaped.
                (PreEscaped(&figure.svg))
                figcaption { b { (figure.title) } ". " (figure.description) }
            }
        },
        Part::Form(form) => form.html(token, &page.faults),
        Part::Opens(words, parts) => html! {
            details.opens open[parts.iter().any(|part| holds_fault(part, page))] {
                summary { (words) }
                @for part in parts { (shown(part, page, around, token)) }
            }
        },
    }
}

fn holds_fault(part: &Part, page: &Page) -> bool {
    match part {
        Part::Form(form) => page.faults.iter().any(|fault| fault.at.starts_with(&format!("{}-", form.id))),
        _ => false,
    }
}

/// A refusal in its frame.
pub(crate) fn refused(refused: &Refused, around: &Around<'_>) -> Markup {
    let title = match refused.status {
        404 => "There is no such page",
        403 => "This is not yours to do",
        409 => "It has moved on",
        429 => "Too many tries",
        500.. => "This could not be done",
        _ => "This was not done",
    };
    let mut says = refused.says.chars();
    let says = says.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), says.as_str()));
    whole(
        title,
        around,
        html! {
            h1 { (title) }
            p.lead { (says) }
            p { (refused.next) }
            p { a href="/" { "Today" } }
        },
        &Page::default(),
    )
}

fn whole(title: &str, around: &Around<'_>, main: Markup, page: &Page) -> Markup {
    let is_here = |address: &str| {
        if address == "/" { around.path == "/" || around.path == "/today" } else { around.path.starts_with(address) }
    };
    html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " – " (around.laboratory) }
                link rel="stylesheet" href=(format!("/static/style.css?v={}", around.version));
                link rel="icon" href=(format!("/static/mark.svg?v={}", around.version)) type="image/svg+xml";
                @if around.viewer.is_some() { script defer src=(format!("/static/bench.js?v={}", around.version)) {} }
            }
            body data-live=[page.is_live.then_some("yes")] {
                a.skip href="#main" { "Skip to the page" }
                header.head {
                    div.lines aria-hidden="true" {}
                    div.inside {
                        a.house href="/" { (around.laboratory) }
                        @if let Some(viewer) = around.viewer {
                            form.find action="/find" method="get" role="search" {
                                label for="find" { "Find or scan" }
                                input type="search" id="find" name="what" autocomplete="off" autocapitalize="none" spellcheck="false" placeholder="order, sample, cup" aria-keyshortcuts="/";
                                button type="submit" { "Go" }
                            }
                            form.leave action="/sign-out" method="post" {
                                input type="hidden" name="form-token" value=(viewer.form_token);
                                a href="/account" { (viewer.person.full_name) }
                                button type="submit" { "Sign out" }
                            }
                        }
                    }
                    @if around.viewer.is_some() {
                        nav.places aria-label="Places" {
                            ul { @for (words, address) in PLACES { li { a href=(address) aria-current=[is_here(address).then_some("page")] { (words) } } } }
                        }
                    }
                }
                main id="main" tabindex="-1" { (main) }
                footer.foot {
                    p { (around.laboratory) @if !page.foot.is_empty() { " · " (page.foot) } @if !around.stand.is_empty() { " · " (around.stand) } }
                    p { "The tool advises; a qualified person decides and signs." }
                }
            }
        }
    }
}
