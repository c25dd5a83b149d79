//! Deciding, signing, returning and issuing on pages: nothing is skipped, nothing is signed that was not shown.
//!
//! Source: `reference/records/README.md`, pack of sign-in: order-of-steps, two-person, guess-at-signing; 21 CFR 11.200(a)(1).

use darkline_audit_trail::verify_trail;

use crate::bench::{Bench, ORDER, Signed, field, laboratory, passphrase};

/// What the form of a signature sends when everything is ticked.
fn sign(bench: &Bench, by: &Signed, name: &str, passphrase: &str, page: &str) -> crate::bench::Answered {
    let looked: Vec<String> =
        page.split("name=\"looked\" value=\"").skip(1).map(|rest| rest.split('"').next().unwrap().to_owned()).collect();
    let (outcome, meaning) = (field(page, "outcome"), field(page, "meaning"));
    let mut fields =
        vec![("outcome", outcome.as_str()), ("meaning", &meaning), ("name", name), ("passphrase", passphrase)];
    fields.extend(looked.iter().map(|item| ("looked", item.as_str())));
    bench.post(&format!("/order/{ORDER}/sign"), Some(by), &fields)
}

fn review(bench: &Bench, by: &Signed) -> String {
    let answered = bench.get(&format!("/order/{ORDER}/review"), Some(by));
    assert_eq!(answered.status, 200);
    answered.text()
}

#[test]
fn an_order_goes_from_readings_to_its_report_by_three_hands() {
    let bench = Bench::measured();
    let (alder, rowan, birch) = (bench.sign_in("j.alder"), bench.sign_in("m.rowan"), bench.sign_in("r.birch"));
    // The reviewer's page has no form before the analyst signed, and the report is not there.
    assert!(!review(&bench, &rowan).contains("id=\"sign\""));
    assert_eq!(bench.get(&format!("/order/{ORDER}/report"), Some(&birch)).status, 404);
    let page = review(&bench, &alder);
    // An item that is not ticked, another's name, and a wrong passphrase come back at their fields.
    let outcome = field(&page, "outcome");
    let meaning = field(&page, "meaning");
    let bare = [("outcome", outcome.as_str()), ("meaning", &meaning), ("name", "m.rowan"), ("passphrase", "")];
    let answered = bench.post(&format!("/order/{ORDER}/sign"), Some(&alder), &bare);
    assert_eq!(answered.status, 422);
    let told = answered.text();
    assert!(told.contains("3 fields need another look") && told.contains("href=\"#sign-looked\""), "{told}");
    assert!(told.contains("Name must be j.alder") && told.contains("Enter your passphrase"));
    let wrong = sign(&bench, &alder, "j.alder", "not the passphrase", &page);
    assert_eq!(wrong.status, 422);
    assert!(wrong.text().contains("The passphrase does not open the key of j.alder"));
    assert_eq!(sign(&bench, &alder, "j.alder", passphrase("j.alder"), &page).status, 303);
    // Who measured cannot review, whatever is sent.
    let again = sign(
        &bench,
        &alder,
        "j.alder",
        passphrase("j.alder"),
        &page.replace("responsible for the measurement", "reviewed"),
    );
    assert!([403, 409, 422].contains(&again.status), "{}", again.status);
    let page = review(&bench, &rowan);
    assert_eq!(sign(&bench, &rowan, "m.rowan", passphrase("m.rowan"), &page).status, 303);
    let page = review(&bench, &birch);
    let fields = [
        ("outcome", field(&page, "outcome")),
        ("name", "r.birch".into()),
        ("passphrase", passphrase("r.birch").into()),
    ];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let issued = bench.post(&format!("/order/{ORDER}/issue"), Some(&birch), &fields);
    assert_eq!(issued.status, 303, "{}", issued.text());
    let report = bench.get(&format!("/order/{ORDER}/report"), Some(&alder));
    assert!(report.body.starts_with(b"%PDF-") && report.header("content-type") == "application/pdf");
    assert!(report.header("content-disposition").starts_with("attachment; filename=\""));
    let laboratory = laboratory(&bench.trail());
    assert!(verify_trail(laboratory.store(), laboratory.store().log()).unwrap().is_intact());
}

#[test]
fn what_changed_since_it_was_shown_is_not_signed() {
    let bench = Bench::measured();
    let alder = bench.sign_in("j.alder");
    let page = review(&bench, &alder);
    let fields = [("do", "reject"), ("reading", "R1/30"), ("reason", "droplet left on the tip"), ("to", "/orders")];
    let run = laboratory(&bench.trail()).state().runs.keys().next().unwrap().to_string();
    let reading = format!("{run}/3");
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(name, value)| (*name, if *name == "reading" { reading.as_str() } else { *value }))
        .collect();
    let decided = bench.post(&format!("/order/{ORDER}/decide"), Some(&alder), &fields);
    assert_eq!(
        (decided.status, decided.header("location").starts_with("/orders?done=")),
        (303, true),
        "{}",
        decided.text()
    );
    let answered = sign(&bench, &alder, "j.alder", passphrase("j.alder"), &page);
    assert_eq!(answered.status, 409);
    assert!(answered.text().contains("The results changed since the page was shown"));
}

#[test]
fn an_order_is_returned_with_remarks_and_signed_again() {
    let bench = Bench::measured();
    let (alder, rowan) = (bench.sign_in("j.alder"), bench.sign_in("m.rowan"));
    let back = |reason: &str, item: &str| {
        let fields = [("reason", reason), ("on", "order"), ("item", item), ("remark", "look at the trace again")];
        bench.post(&format!("/order/{ORDER}/return"), Some(&rowan), &fields)
    };
    assert_eq!(back("unclear", "").status, 409, "nobody has signed it yet");
    assert_eq!(sign(&bench, &alder, "j.alder", passphrase("j.alder"), &review(&bench, &alder)).status, 303);
    assert_eq!(back("", "").status, 422);
    let told = back("unclear", "R9/1");
    assert_eq!(told.status, 422);
    // What was filled in is there again.
    assert!(told.text().contains("value=\"R9/1\"") && told.text().contains("look at the trace again"));
    assert_eq!(back("unclear", "").status, 303);
    let today = bench.get("/", Some(&alder)).text();
    assert!(today.contains("returned: order, look at the trace again"), "{today}");
    assert_eq!(sign(&bench, &alder, "j.alder", passphrase("j.alder"), &review(&bench, &alder)).status, 303);
}

#[test]
fn a_decision_without_a_reason_comes_back_as_it_was_filled_in() {
    let bench = Bench::measured();
    let alder = bench.sign_in("j.alder");
    let run = laboratory(&bench.trail()).state().runs.keys().next().unwrap().to_string();
    let decide = |reading: &str, reason: &str| {
        let fields = [("do", "reject"), ("reading", reading), ("reason", reason), ("to", "//elsewhere.example")];
        bench.post(&format!("/order/{ORDER}/decide"), Some(&alder), &fields)
    };
    let answered = decide(&format!("{run}/3"), " ");
    let page = answered.text();
    assert_eq!(answered.status, 422);
    assert!(
        page.contains("<title>Error: Reject reading") && page.contains("Enter the reason for rejecting reading 3"),
        "{page}"
    );
    assert!(page.contains("1 field needs another look") && page.contains("href=\"#reject-"));
    assert_eq!(decide(&format!("{run}/3"), &"a".repeat(501)).status, 422);
    assert_eq!(decide(&format!("{run}/999"), "droplet").status, 404);
    assert_eq!(decide("R99/1", "droplet").status, 404);
    let done = decide(&format!("{run}/3"), "droplet left on the tip");
    assert!(done.header("location").starts_with(&format!("/order/{ORDER}?done=")), "{}", done.header("location"));
    let flagless = [("do", "justify"), ("flag", "over-range:row:R1/1"), ("seen", "x"), ("reason", "x")];
    assert_eq!(bench.post(&format!("/order/{ORDER}/decide"), Some(&alder), &flagless).status, 409);
}

#[test]
fn accounts_are_kept_on_pages_and_nobody_keeps_their_own() {
    let bench = Bench::open();
    let willow = bench.sign_in("k.willow");
    let add = |passphrase: &str| {
        let fields = [("id", "t.hazel"), ("full_name", "T. Hazel"), ("role", "analyst"), ("passphrase", passphrase)];
        bench.post("/people/add", Some(&willow), &fields)
    };
    for refused in ["fourteen chars", "t.hazelt.hazelt.hazel"] {
        assert_eq!(add(refused).status, 422, "{refused}");
    }
    assert_eq!(add("nuts in the hedge row").status, 303);
    let own = [("role", "analyst"), ("reason", "wanted to")];
    assert_eq!(bench.post("/person/k.willow/change", Some(&willow), &own).status, 403);
    let renewed = bench.post("/person/t.hazel/renew", Some(&willow), &[("reason", "forgotten")]);
    let once = renewed.text().split("<code>").nth(1).unwrap().split('<').next().unwrap().to_owned();
    assert_eq!(bench.try_to_sign_in("t.hazel", "nuts in the hedge row").status, 422);
    assert_eq!(bench.try_to_sign_in("t.hazel", &once).status, 303);
    let birch = bench.sign_in("r.birch");
    let method = laboratory(&bench.trail()).state().methods.keys().next().unwrap().to_string();
    let fields = [("method", method.as_str()), ("until", "2027-03-31"), ("reason", "trained")];
    assert_eq!(bench.post("/person/t.hazel/authorise", Some(&birch), &fields).status, 303);
    assert!(bench.get("/person/t.hazel", Some(&birch)).text().contains("2027-03-31"));
}
