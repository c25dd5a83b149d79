//! Every door of the house: its address, how it is asked, and who may pass.
//!
//! What a role may do is said by the table of rights (`audit_trail`); a route names the right it asks for. Whether this person
//! may do it to this order is asked again by the laboratory itself.

use darkline_audit_trail::people::Verb;

use crate::answer::{Answer, Refused};
use crate::asked::{Asked, unescape};
use crate::desk::Desk;
use crate::pages::{
    account, documents, element, find, handbook, order, people, quality, result, review, run, sign_in, today, trail,
};

/// How a route is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// It shows something and changes nothing.
    Get,
    /// It does something.
    Post,
}

/// Who may pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    /// Anybody, before sign-in too.
    Anybody,
    /// Whoever is signed in.
    SignedIn,
    /// Whoever has one of these rights by a role.
    With(&'static [Verb]),
}

type Page = fn(&Desk, &Asked) -> Result<Answer, Refused>;

/// A door.
#[derive(Clone, Copy, Debug)]
pub struct Route {
    /// How it is asked.
    pub how: How,
    /// Its address; a part in braces is open.
    pub pattern: &'static str,
    /// Who may pass.
    pub who: Who,
    /// Whether asking it counts as doing something, for the limit of idleness.
    pub is_use: bool,
    pub(crate) page: Page,
}

const fn get(pattern: &'static str, page: Page) -> Route {
    Route { how: How::Get, pattern, who: Who::SignedIn, is_use: true, page }
}

const fn look(pattern: &'static str, page: Page) -> Route {
    Route { how: How::Get, pattern, who: Who::SignedIn, is_use: false, page }
}

const fn post(pattern: &'static str, who: Who, page: Page) -> Route {
    Route { how: How::Post, pattern, who, is_use: true, page }
}

/// All routes.
pub const ROUTES: &[Route] = &[
    Route { how: How::Get, pattern: "/sign-in", who: Who::Anybody, is_use: false, page: sign_in::show },
    Route { how: How::Post, pattern: "/sign-in", who: Who::Anybody, is_use: false, page: sign_in::sign_in },
    post("/sign-out", Who::SignedIn, sign_in::sign_out),
    get("/", today::show),
    get("/today", today::show),
    get("/find", find::find),
    get("/orders", order::all),
    get("/order/{order}", order::show),
    get("/order/{order}/result/{sample}/{element}", result::show),
    get("/order/{order}/review", review::show),
    get("/order/{order}/report", review::report),
    get("/order/{order}/run/{run}", run::show),
    look("/order/{order}/run/{run}/since", run::since),
    look("/order/{order}/run/{run}/news", run::news),
    get("/order/{order}/run/{run}/element", element::show),
    get("/order/{order}/run/{run}/reading/{reading}", run::reading),
    look("/order/{order}/run/{run}/trace/{reading}", run::trace),
    get("/quality", quality::show),
    get("/trail", trail::show),
    get("/people", people::show),
    get("/person/{person}", people::person),
    get("/account", account::show),
    get("/handbook", handbook::elements),
    get("/handbook/{element}", handbook::element),
    get("/rules", handbook::rules),
    get("/docs", documents::all),
    get("/docs/{kind}/{name}", documents::one),
    get("/keys", handbook::keys),
    post("/order/{order}/decide", Who::With(&[Verb::Decide]), order::decide),
    post("/order/{order}/extend", Who::With(&[Verb::Decide]), order::extend),
    post("/order/{order}/sign", Who::With(&[Verb::SignAsAnalyst, Verb::SignAsReviewer, Verb::Approve]), review::sign),
    post("/order/{order}/return", Who::With(&[Verb::Return]), review::hand_back),
    post("/order/{order}/issue", Who::With(&[Verb::Issue]), review::issue),
    post("/trail/review", Who::With(&[Verb::ReviewEntries]), trail::review),
    post("/people/add", Who::With(&[Verb::ManagePeople]), people::add),
    post("/person/{person}/change", Who::With(&[Verb::ManagePeople]), people::change),
    post("/person/{person}/unlock", Who::With(&[Verb::ManagePeople]), people::unlock),
    post("/person/{person}/renew", Who::With(&[Verb::ManagePeople]), people::renew),
    post("/person/{person}/end", Who::With(&[Verb::ManagePeople]), people::end),
    post("/person/{person}/authorise", Who::With(&[Verb::Authorise]), people::authorise),
    post("/account/passphrase", Who::SignedIn, account::passphrase),
    post("/account/end", Who::SignedIn, account::end),
];

/// The route of an address with its open parts; `Err` says whether the address is there for another way of asking.
pub(crate) fn find_route(how: How, path: &str) -> Result<(&'static Route, Vec<String>), bool> {
    let fits = |route: &'static Route| parts(route.pattern, path).map(|parts| (route, parts));
    let found = || ROUTES.iter().filter_map(fits);
    match found().find(|(route, _)| route.how == how) {
        Some(found) => Ok(found),
        None => Err(found().next().is_some()),
    }
}

fn parts(pattern: &str, path: &str) -> Option<Vec<String>> {
    let (mut pattern, mut path) = (pattern.split('/'), path.split('/'));
    let mut open = Vec::new();
    loop {
        match (pattern.next(), path.next()) {
            (None, None) => return Some(open),
            (Some(wanted), Some(found)) if wanted.starts_with('{') && !found.is_empty() => {
                open.push(unescape(found, false));
            }
            (Some(wanted), Some(found)) if wanted == found => {}
            _ => return None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn open_parts_are_read_and_other_addresses_are_not() {
        let found = |how, path| find_route(how, path).map(|(route, parts)| (route.pattern, parts));
        assert_eq!(found(How::Get, "/order/2026-041"), Ok(("/order/{order}", vec!["2026-041".to_owned()])));
        assert_eq!(
            found(How::Get, "/order/a%2Fb/run/R1"),
            Ok(("/order/{order}/run/{run}", vec!["a/b".to_owned(), "R1".to_owned()]))
        );
        assert_eq!(found(How::Get, "/order/2026-041/sign"), Err(true));
        for path in ["/order/", "/order/x/", "//", "", "/nothing", "/order/x/run/R1/element/x"] {
            assert_eq!(found(How::Get, path), Err(false), "{path}");
        }
    }

    #[test]
    fn what_changes_something_is_never_asked_with_get() {
        for route in ROUTES {
            assert_eq!(matches!(route.who, Who::With(_)), route.how == How::Post && matches!(route.who, Who::With(_)));
        }
    }
}
