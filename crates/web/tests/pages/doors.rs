//! Every route with every role, every header, every limit.
//!
//! Source: `reference/records/README.md`, pack of sign-in: authz-server, headers, csrf-token, csrf-methods, bind-loopback,
//! cookie-flags, output.

use axum::body::Body;
use axum::http::Request;
use darkline_audit_trail::people::{Role, Verb};
use darkline_web::{How, ROUTES, Route, Who};

use crate::bench::{Bench, ORDER, PEOPLE, Signed, laboratory};

/// A route's address with something real in its open parts.
fn address(route: &Route) -> String {
    [
        ("{order}", ORDER),
        ("{run}", "R1"),
        ("{reading}", "1"),
        ("{sample}", "dish-1"),
        ("{element}", "Cd"),
        ("{kind}", "reference"),
        ("{name}", "roles"),
        ("{person}", "m.rowan"),
    ]
    .iter()
    .fold(route.pattern.to_owned(), |path, (open, real)| path.replace(open, real))
}

fn run_of(bench: &Bench) -> (String, String) {
    let laboratory = laboratory(&bench.trail());
    let order = laboratory.state().orders.values().next().unwrap();
    let run = laboratory.state().runs_of(&order.order.id)[0].run.id.to_string();
    (run, order.order.samples[0].id.to_string())
}

fn real(route: &Route, bench: &Bench) -> String {
    let (run, sample) = run_of(bench);
    address(route).replace("R1", &run).replace("dish-1", &sample)
}

fn everybody(bench: &Bench) -> Vec<(Role, Signed)> {
    PEOPLE.iter().map(|(name, role, _)| (*role, bench.sign_in(name))).collect()
}

fn has(role: Role, verbs: &[Verb]) -> bool {
    verbs.iter().any(|verb| verb.right().roles.contains(&role))
}

#[test]
fn every_route_and_role_answers_as_the_table_of_rights_says() {
    let bench = Bench::measured();
    let everybody = everybody(&bench);
    for route in ROUTES.iter().filter(|route| !route.pattern.ends_with("/news")) {
        let path = real(route, &bench);
        let ask = |by: Option<&Signed>| match route.how {
            How::Get => bench.get(&path, by),
            How::Post => bench.post(&path, by, &[]),
        };
        let nobody = ask(None);
        match (route.who, route.how) {
            (Who::Anybody, _) => assert!([200, 422].contains(&nobody.status), "{path}: {}", nobody.status),
            (_, How::Get) if route.is_use => {
                assert_eq!((nobody.status, nobody.header("location").starts_with("/sign-in")), (303, true), "{path}");
            }
            _ => assert_eq!(nobody.status, 401, "{path}"),
        }
        for (role, by) in &everybody {
            // Whoever signs out or ends sign-ins would be gone for the routes after it.
            if matches!(route.pattern, "/sign-out" | "/account/end" | "/person/{person}/end" | "/person/{person}/renew")
            {
                continue;
            }
            let answered = ask(Some(by));
            let is_refused = answered.status == 403 && answered.text().contains("takes one of these roles");
            let may = match route.who {
                Who::Anybody | Who::SignedIn => true,
                Who::With(verbs) => has(*role, verbs),
            };
            assert_eq!(!is_refused, may, "{role}, {path}: {} {}", answered.status, answered.text());
            if route.how == How::Get {
                assert!([200, 303, 404].contains(&answered.status), "{role}, {path}: {}", answered.status);
            }
        }
    }
}

#[test]
fn reading_any_page_changes_nothing() {
    let bench = Bench::measured();
    let by = bench.sign_in("r.birch");
    let before = laboratory(&bench.trail()).root().unwrap();
    for route in ROUTES.iter().filter(|route| route.how == How::Get && !route.pattern.ends_with("/news")) {
        for ending in ["", ".json", ".csv"] {
            let answered = bench.get(&format!("{}{ending}", real(route, &bench)), Some(&by));
            assert!(answered.status < 500, "{}: {}", route.pattern, answered.text());
        }
    }
    assert_eq!(laboratory(&bench.trail()).root().unwrap(), before);
}

#[test]
fn every_answer_carries_its_defences() {
    let bench = Bench::measured();
    let by = bench.sign_in("j.alder");
    let everywhere = ROUTES.iter().filter(|route| !route.pattern.ends_with("/news")).map(|route| real(route, &bench));
    for path in everywhere.chain(["/nothing".into(), "/static/style.css".into()]) {
        let answered = bench.get(&path, Some(&by));
        let policy = answered.header("content-security-policy");
        for wanted in ["default-src 'none'", "object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"] {
            assert!(policy.contains(wanted), "{path}: {policy}");
        }
        assert!(!policy.contains("unsafe"), "{path}: {policy}");
        assert_eq!(answered.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(answered.header("referrer-policy"), "same-origin", "{path}");
        assert_eq!(answered.header("cross-origin-resource-policy"), "same-origin", "{path}");
        assert!(answered.headers.get("access-control-allow-origin").is_none(), "{path}");
        assert_eq!(answered.header("cache-control") == "no-store", !path.starts_with("/static"), "{path}");
        // On loopback there is no TLS to insist on.
        assert!(answered.headers.get("strict-transport-security").is_none());
    }
}

#[test]
fn over_tls_cookies_are_secure_and_tls_is_insisted_on() {
    let bench = Bench::with(|settings| darkline_web::Settings {
        over_tls: true,
        is_loopback: false,
        names: vec!["bench-2.millrace.example".into()],
        ..settings
    });
    let answered = bench.try_to_sign_in("j.alder", "catkins before leaves");
    let cookie = answered.header("set-cookie");
    assert!(cookie.starts_with("__Host-darkline=") && cookie.len() < 4096, "{cookie}");
    for flag in ["; Path=/", "; HttpOnly", "; SameSite=Strict", "; Secure"] {
        assert!(cookie.contains(flag), "{flag} in {cookie}");
    }
    assert!(!cookie.contains("Domain") && !cookie.contains("alder"), "{cookie}");
    assert_eq!(answered.header("strict-transport-security"), "max-age=31536000");
    let loopback = Bench::open().try_to_sign_in("j.alder", "catkins before leaves");
    assert!(!loopback.header("set-cookie").contains("Secure"), "browsers refuse it there");
}

#[test]
fn a_form_from_elsewhere_is_refused_and_written_down() {
    let bench = Bench::measured();
    let (by, other) = (bench.sign_in("r.birch"), bench.sign_in("r.birch"));
    assert!(by.cookie != other.cookie && by.token != other.token);
    let before = laboratory(&bench.trail()).state().n_entries;
    for route in ROUTES.iter().filter(|route| route.how == How::Post) {
        let path = real(route, &bench);
        for site in ["cross-site", "same-site", "none"] {
            let request = Request::post(&path)
                .header("host", "127.0.0.1:7878")
                .header("cookie", &by.cookie)
                .header("sec-fetch-site", site)
                .header("content-type", "application/x-www-form-urlencoded")
                .body(Body::from(format!("form-token={}", by.token)));
            assert_eq!(bench.send(request.unwrap()).status, 403, "{site}: {path}");
        }
        if route.who != Who::Anybody {
            for token in ["", "0", &other.token] {
                let forged = Signed { token: token.into(), ..by.clone() };
                assert_eq!(bench.post(&path, Some(&forged), &[]).status, 403, "{token}: {path}");
            }
        }
    }
    assert_eq!(laboratory(&bench.trail()).state().n_entries, before);
    let log = bench.access_log();
    assert!(
        log.contains("refused: not sent by a page of ours") && log.contains("refused: the form is of another sign-in")
    );
}

#[test]
fn what_is_too_much_or_of_another_kind_is_turned_away() {
    let bench = Bench::open();
    let post = |kind: &str, body: String| {
        let request = Request::post("/sign-in").header("host", "localhost:1").header("sec-fetch-site", "same-origin");
        bench.send(request.header("content-type", kind).body(Body::from(body)).unwrap())
    };
    assert_eq!(post("application/x-www-form-urlencoded", "a".repeat(65_537)).status, 413);
    assert_eq!(post("multipart/form-data; boundary=x", "a".into()).status, 415);
    assert_eq!(post("text/plain", "name=j.alder".into()).status, 415);
    for (method, status) in [("PUT", 405), ("DELETE", 405), ("TRACE", 405), ("OPTIONS", 405), ("HEAD", 303)] {
        let request = Request::builder().method(method).uri("/orders").header("host", "localhost").body(Body::empty());
        assert_eq!(bench.send(request.unwrap()).status, status, "{method}");
    }
    assert_eq!(bench.get(&format!("/{}", "a".repeat(3000)), None).status, 414);
    assert_eq!(bench.get(&format!("/orders?what={}", "a".repeat(9000)), None).status, 414);
    for path in ["/..%2f..%2fetc%2fpasswd", "/static/../front_door.rs", "/order/%00", "/order/%FF/run/%C0%80", "/%"] {
        assert!([303, 404].contains(&bench.get(path, None).status), "{path}");
    }
    assert_eq!(bench.get("/orders/", None).status, 404);
}

#[test]
fn a_foreign_name_for_this_machine_is_refused() {
    let bench = Bench::open();
    for (host, status) in [
        ("localhost:7878", 200),
        ("127.0.0.1:7878", 200),
        ("[::1]:7878", 200),
        ("rebound.example", 421),
        ("10.0.0.2:7878", 421),
        ("localhost.rebound.example", 421),
        ("", 421),
    ] {
        let request = Request::get("/sign-in").header("host", host).body(Body::empty()).unwrap();
        assert_eq!(bench.send(request).status, status, "{host}");
    }
}

#[test]
fn an_address_that_asks_without_end_waits() {
    let bench = Bench::open();
    let statuses: Vec<u16> = (0..1400).map(|_| bench.get("/static/mark.svg", None).status).collect();
    assert!(statuses[..1000].iter().all(|status| *status == 200));
    assert!(statuses.contains(&429));
}

#[test]
fn names_and_remarks_are_text_on_every_page() {
    let bench = Bench::measured();
    let by = bench.sign_in("m.rowan");
    for path in [
        "/",
        "/orders",
        &format!("/order/{ORDER}"),
        &format!("/order/{ORDER}/review"),
        "/orders?what=%22%3E%3Cscript%3E",
    ] {
        let page = bench.get(path, Some(&by)).text();
        assert!(!page.contains("<script>"), "{path}");
    }
    assert!(bench.get("/orders", Some(&by)).text().contains("=&lt;script&gt;alert(1)"));
    // For a spreadsheet it is text and no formula.
    assert!(bench.get("/orders.csv", Some(&by)).text().contains("'=<script>alert(1)</script>"));
}
