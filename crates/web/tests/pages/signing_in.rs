//! Signing in and out, guessing, and how long a sign-in lasts.
//!
//! Source: `reference/records/README.md`, pack of sign-in: guess-limit, guess-same-answer, sess-token, sess-logout,
//! sess-timeout, pw-max, log-auth.

use std::sync::atomic::{AtomicU64, Ordering};

use darkline_laboratory::accounts::Change;
use darkline_record::decision::Reason;
use darkline_web::Settings;

use crate::bench::{Bench, Signed, laboratory, passphrase, person};

#[test]
fn whatever_is_wrong_the_answer_is_the_same() {
    let bench = Bench::open();
    let change = Change { disabled: Some(true), ..Change::default() };
    let reason = Reason::new("left").unwrap();
    laboratory(&bench.trail()).change_person(&person("k.willow"), &person("m.rowan"), &change, &reason).unwrap();
    let tries = [
        ("j.alder", "not the passphrase"),
        ("nobody.here", "not the passphrase"),
        ("m.rowan", passphrase("m.rowan")),
        ("Not A Name", "not the passphrase"),
    ];
    let answers: Vec<(u16, String)> = tries
        .iter()
        .map(|(name, passphrase)| {
            let answered = bench.try_to_sign_in(name, passphrase);
            (answered.status, answered.text().replace(&format!("value=\"{name}\""), ""))
        })
        .collect();
    assert!(answers.iter().all(|answer| *answer == answers[0]), "{answers:?}");
    assert_eq!(answers[0].0, 422);
    assert!(answers[0].1.contains("<title>Error: Sign in"), "{}", answers[0].1);
}

#[test]
fn an_account_waits_after_three_that_do_not_fit_and_others_go_on() {
    let bench = Bench::open();
    for _ in 0..3 {
        assert_eq!(bench.try_to_sign_in("j.alder", "not the passphrase").status, 422);
    }
    assert_eq!(bench.try_to_sign_in("j.alder", passphrase("j.alder")).status, 422, "it waits");
    bench.sign_in("m.rowan");
    let laboratory = laboratory(&bench.trail());
    assert_eq!(laboratory.state().accounts[&person("j.alder")].failures, 3, "one that is not tried does not count");
    assert_eq!(bench.access_log().matches("refused: sign-in").count(), 4);
}

#[test]
fn what_does_not_fit_at_a_signature_counts_towards_the_same_limit() {
    let bench = Bench::open();
    let by = bench.sign_in("j.alder");
    let wrong = [("old", "not the passphrase"), ("new", "leaves before catkins"), ("again", "leaves before catkins")];
    for _ in 0..2 {
        assert_eq!(bench.post("/account/passphrase", Some(&by), &wrong).status, 422);
    }
    assert_eq!(bench.try_to_sign_in("j.alder", "not the passphrase").status, 422);
    let right = [("old", passphrase("j.alder")), wrong[1], wrong[2]];
    let waits = bench.post("/account/passphrase", Some(&by), &right);
    assert_eq!(waits.status, 429);
    assert!(waits.text().contains("waits until"), "{}", waits.text());
}

#[test]
fn many_tries_from_one_address_wait_whatever_the_name() {
    let bench = Bench::open();
    let statuses: Vec<u16> =
        (0..25).map(|n| bench.try_to_sign_in(&format!("nobody.{n}"), "not the passphrase").status).collect();
    assert_eq!((statuses[0], statuses[24]), (422, 429));
}

#[test]
fn a_token_is_new_at_every_sign_in_and_dead_after_sign_out() {
    let bench = Bench::open();
    let (one, two) = (bench.sign_in("j.alder"), bench.sign_in("j.alder"));
    assert!(one.cookie != two.cookie && one.cookie.len() >= "darkline=".len() + 32);
    // A token that somebody planted before is not the sign-in afterwards.
    let planted = Signed { cookie: "darkline=planted".into(), token: String::new() };
    assert_eq!(bench.get("/", Some(&planted)).status, 303);
    assert_eq!(bench.post("/sign-out", Some(&one), &[]).header("location"), "/sign-in");
    assert_eq!((bench.get("/", Some(&one)).status, bench.get("/", Some(&two)).status), (303, 200));
}

#[test]
fn a_sign_in_ends_when_idle_and_after_its_whole_time() {
    static NOW: AtomicU64 = AtomicU64::new(0);
    let bench = Bench::with(|settings| Settings { clock: || NOW.load(Ordering::SeqCst), ..settings });
    let by = bench.sign_in("j.alder");
    let at = |now: u64| NOW.store(now, Ordering::SeqCst);
    at(899);
    assert_eq!(bench.get("/", Some(&by)).status, 200);
    at(899 + 900);
    assert_eq!(bench.get("/", Some(&by)).status, 303, "nothing was done for 15 minutes");
    let by = bench.sign_in("j.alder");
    let began = 899 + 900;
    for now in (began..began + 43_200).step_by(600) {
        at(now);
        assert_eq!(bench.get("/orders", Some(&by)).status, 200, "{now}");
    }
    at(began + 43_200);
    assert_eq!(bench.get("/", Some(&by)).status, 303, "twelve hours have passed");
}

#[test]
fn an_account_that_is_closed_and_a_role_that_is_taken_act_at_once() {
    let bench = Bench::measured();
    let (by, willow) = (bench.sign_in("r.birch"), person("k.willow"));
    let reason = Reason::new("moved").unwrap();
    let roles = Change { roles: Some([darkline_audit_trail::people::Role::Analyst].into()), ..Change::default() };
    laboratory(&bench.trail()).change_person(&willow, &person("r.birch"), &roles, &reason).unwrap();
    assert_eq!(bench.post("/trail/review", Some(&by), &[("remark", "x")]).status, 403);
    let closed = Change { disabled: Some(true), ..Change::default() };
    laboratory(&bench.trail()).change_person(&willow, &person("r.birch"), &closed, &reason).unwrap();
    assert_eq!(bench.get("/", Some(&by)).status, 303);
}

#[test]
fn sixty_four_characters_count_to_the_last_and_the_log_keeps_no_secret() {
    let bench = Bench::open();
    let by = bench.sign_in("j.alder");
    let long = "a drop of µ and a space, sixty four characters long to the end.!";
    assert_eq!(long.chars().count(), 64);
    let change = |old: &str, new: &str, again: &str| {
        bench.post("/account/passphrase", Some(&by), &[("old", old), ("new", new), ("again", again)])
    };
    assert_eq!(change("not the passphrase", long, long).status, 422);
    assert_eq!(change(passphrase("j.alder"), "fourteen chars", "fourteen chars").status, 422);
    assert_eq!(change(passphrase("j.alder"), long, "another one that differs").status, 422);
    assert_eq!(change(passphrase("j.alder"), long, long).status, 303);
    let short: String = long.chars().take(63).collect();
    assert_eq!(bench.try_to_sign_in("j.alder", &short).status, 422);
    assert_eq!(bench.try_to_sign_in("j.alder", long).status, 303);
    let log = bench.access_log();
    assert!(log.contains("\"what\":\"signed in\"") && log.contains("\"person\":\"j.alder\""));
    for secret in [long, passphrase("j.alder"), &by.token, by.cookie.trim_start_matches("darkline=")] {
        assert!(!log.contains(secret), "{secret}");
    }
}

#[test]
fn a_link_leads_back_after_sign_in_but_never_elsewhere() {
    let bench = Bench::open();
    let to = |path: &str| {
        let fields = [("name", "j.alder"), ("passphrase", passphrase("j.alder")), ("to", path)];
        bench.post("/sign-in", None, &fields).header("location").to_owned()
    };
    assert_eq!(to("/order/2026-052"), "/order/2026-052");
    for path in
        ["https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere.example", "", "x", "/a\r\nset-cookie: a=b"]
    {
        assert_eq!(to(path), "/", "{path}");
    }
}
