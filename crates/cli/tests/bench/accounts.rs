//! Accounts: people change and leave, passphrases are changed, forgotten and guessed at, methods take an authorisation.

use crate::laboratory::{Bench, CADMIUM, Stage, only_mine};
use crate::program::Ran;

fn key(bench: &Bench, name: &str, passphrase: &str) {
    bench.write(&format!("keys/{name}"), format!("{passphrase}\n"));
    only_mine(&bench.path(&format!("keys/{name}")));
}

fn sign(bench: &Bench, who: &str, file: &str) -> Ran {
    bench.run(&format!("sign {CADMIUM} --as {who} --confirm {CADMIUM} --key-file keys/{file}"))
}

/// 21 CFR 11.100(a), 11.10(d), 11.50(a), in our words in part11.toml.
#[test]
fn who_leaves_is_closed_and_never_removed() {
    let bench = Bench::at(Stage::Issued);
    bench.run("people close j.alder --as k.willow").ends(2).says("--reason <TEXT> is missing");
    bench
        .run("people close j.alder --reason \"left at the end of March\" --as k.willow")
        .ends(0)
        .says("the account of j.alder is closed; the name is never given to another");
    bench.run("people").ends(0).says("analyst (disabled)");
    bench
        .run(&format!("decide {CADMIUM} --reject 14 --reason \"a doubt\" --as j.alder"))
        .ends(2)
        .says("the account of j.alder is closed");
    bench
        .run("people add j.alder --full-name \"Jo Alder\" --role analyst --as k.willow --key-file keys/j.alder")
        .ends(2)
        .says("j.alder is entered already, as J. Alder; a name is never given to another");
    // What they signed stays theirs, and keeps the name of then.
    bench.run("people change j.alder --full-name \"J. Elm\" --reason \"married\" --as k.willow").ends(0);
    bench.run(&format!("orders {CADMIUM}")).ends(0).says("responsible for the measurement: J. Alder (j.alder)");
    bench.run("verify").ends(0).says("1 report with 1 result, every digit as reported");
    bench.run("people reopen j.alder --reason \"is back\" --as k.willow").ends(0);
    bench
        .run("people change j.alder --reason \"nothing\" --as k.willow")
        .ends(2)
        .says("nothing about j.alder would change");
    bench
        .run("people change k.willow --role analyst --reason \"wants to measure\" --as k.willow")
        .ends(2)
        .says("nobody can manage people for themselves");
    let lines = bench.run("entries --person j.alder --what person --json").ends(0).json();
    assert_eq!(lines.len(), 4);
    assert_eq!((lines[2]["old"].as_str(), lines[2]["why"].as_str()).1, Some("married"));
    assert!(lines[2]["old"].as_str().unwrap().starts_with("J. Alder, disabled"), "{}", lines[2]);
    assert!(lines[2]["new"].as_str().unwrap().starts_with("J. Elm, disabled"), "{}", lines[2]);
}

#[test]
fn the_last_administrator_stays() {
    let bench = Bench::at(Stage::People);
    key(&bench, "r.birch", "white bark");
    bench
        .run("people add r.birch --full-name \"R. Birch\" --role administrator --as k.willow --key-file keys/r.birch")
        .ends(0);
    bench.run("people close k.willow --reason \"left\" --as r.birch").ends(0);
    bench
        .run("people change r.birch --role analyst --reason x --as k.willow")
        .ends(2)
        .says("the account of k.willow is closed");
}

/// 21 CFR 11.300(d), in our words in part11.toml: delays, lock, entries; the delay is told.
#[test]
fn wrong_passphrases_are_entries_and_make_the_account_wait() {
    let bench = Bench::at(Stage::Imported);
    key(&bench, "wrong", "catkins last");
    let before = bench.n_entries();
    sign(&bench, "j.alder", "wrong").ends(2).says("entry 10 says so, 1 in a row");
    sign(&bench, "j.alder", "wrong").ends(2).says("2 in a row");
    // The right one clears the count.
    sign(&bench, "j.alder", "j.alder").ends(0);
    bench.run("people --json").ends(0).says("\"failures_in_a_row\":0");
    for n in 1..=2 {
        sign(&bench, "m.rowan", "wrong").ends(2).says(&format!("{n} in a row"));
    }
    sign(&bench, "m.rowan", "wrong").ends(2).says("3 in a row; the account waits 1 minute");
    sign(&bench, "m.rowan", "m.rowan")
        .ends(2)
        .says("the account of m.rowan waits until 20")
        .says("3 passphrases in a row did not open its key")
        .says("darkline people unlock m.rowan");
    bench.run("people").ends(0).says("3 wrong passphrases in a row");
    bench.run("people unlock m.rowan --reason \"it was her\" --as m.rowan").ends(2).says("to manage people takes");
    bench.run("people unlock m.rowan --reason \"asked in person\" --as k.willow").ends(0).says("unlocked by k.willow");
    sign(&bench, "m.rowan", "m.rowan").ends(0);
    // Who waits, and who has no right to unlock, is turned back by entries of its own.
    assert_eq!((bench.n_entries(), bench.n_refused()), (before + 10, 2));
    let lines = bench.run("entries --what wrong-passphrase --json").ends(0).json();
    assert_eq!(lines.len(), 5);
    assert_eq!(lines[4]["new"], "wanted to sign as reviewer");
    bench.run("verify").ends(0);
}

/// `pw-change` and `pw-admin-reset` of the pack of sign-in; 21 CFR 11.200(a)(3).
#[test]
fn a_passphrase_is_changed_by_its_person_and_renewed_by_two() {
    let bench = Bench::at(Stage::Imported);
    key(&bench, "new", "leaves after catkins");
    key(&bench, "once", "for one time only");
    key(&bench, "name", "J.Alder j.alder");
    let change = |old: &str, new: &str| {
        bench.run(&format!("people passphrase --as j.alder --key-file keys/{old} --new-key-file keys/{new}"))
    };
    change("once", "new").ends(2).says("the passphrase does not open the key of j.alder");
    change("j.alder", "name").ends(2).says("this passphrase is the person's own name");
    change("j.alder", "new").ends(0).says("j.alder changed the passphrase; the one before opens nothing");
    sign(&bench, "j.alder", "j.alder").ends(2).says("does not open the key");
    sign(&bench, "j.alder", "new").ends(0);
    let before = bench.run("people --json").ends(0).json();
    bench
        .run("people renew j.alder --reason \"passphrase forgotten\" --as k.willow --key-file keys/once")
        .ends(0)
        .says("j.alder has a new key, given by k.willow; it signs nothing yet");
    let after = bench.run("people --json").ends(0).json();
    assert_ne!(before[0]["key"], after[0]["key"]);
    assert_eq!(after[0]["passphrase_of"], "k.willow");
    bench.run(&format!("return {CADMIUM} --reason \"sign it again\" --as m.rowan")).ends(0);
    sign(&bench, "j.alder", "once")
        .ends(2)
        .says("the passphrase of j.alder was set by k.willow; before anything is signed j.alder has to change it")
        .says("darkline people passphrase --as j.alder");
    change("once", "new").ends(0);
    sign(&bench, "j.alder", "new").ends(0);
    // What was signed with the old key holds with the old key.
    bench.run("verify").ends(0).says("2 signatures");
}

/// 21 CFR 11.200(a)(2): no stored passphrase in a script, unless the record says of itself that a program walks through it.
#[test]
fn a_signature_takes_a_passphrase_from_a_file_only_where_the_record_says_so() {
    let bench = Bench::at(Stage::Imported);
    bench
        .run("laboratory --passphrases-from-files no --as k.willow")
        .ends(0)
        .says("Signatures take passphrases typed at the terminal alone.");
    let before = bench.n_entries();
    sign(&bench, "j.alder", "j.alder")
        .ends(2)
        .says("in this record a signature takes a passphrase typed at the terminal, not one from a file");
    assert_eq!((bench.n_entries(), bench.n_refused()), (before + 1, 1));
    bench.run("laboratory --passphrases-from-files yes --as j.alder").ends(2).says("to manage people takes");
    bench.run("laboratory --passphrases-from-files yes --as k.willow").ends(0).says("each of them says so");
    sign(&bench, "j.alder", "j.alder").ends(0);
    bench.run(&format!("orders {CADMIUM}")).ends(0).says_in_a_paragraph("passphrase from a file: stands");
    bench.run("entries --what sign").ends(0).says("passphrase from a file");
}

/// A person at a terminal types it, and nothing says that it came from a file. `script` lends the terminal.
#[cfg(target_os = "linux")]
#[test]
fn a_passphrase_is_typed_at_a_terminal() {
    use std::io::Write;
    use std::process::{Command, Stdio};
    let bench = Bench::at(Stage::Imported);
    bench.run("laboratory --passphrases-from-files no --as k.willow").ends(0);
    let line = format!("{} sign {CADMIUM} --as j.alder --confirm {CADMIUM}", crate::program::PROGRAM);
    let mut child = Command::new("script")
        .args(["-qec", &line, "/dev/null"])
        .current_dir(bench.folder())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("this test needs the program script, of util-linux");
    let mut typed = child.stdin.take().unwrap();
    // The prompt clears what was typed before it; so the line is typed until it was read.
    let typing = std::thread::spawn(move || {
        for _ in 0..100 {
            std::thread::sleep(std::time::Duration::from_millis(300));
            if typed.write_all(b"catkins first\n").is_err() {
                break;
            }
        }
    });
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}");
    assert!(said.contains("signed by j.alder"), "{said}");
    bench.run(&format!("orders {CADMIUM}")).ends(0).says_in_a_paragraph(": stands");
    assert!(!bench.run(&format!("orders {CADMIUM}")).out.contains("from a file"));
    drop(typing);
}

/// ISO/IEC 17025:2017, 6.2.6: personnel are authorised for a method; here with a last day.
#[test]
fn a_method_that_takes_an_authorisation_is_closed_to_others() {
    let bench = Bench::at(Stage::Open);
    let import = format!("import {CADMIUM} cadmium/readings.csv --as j.alder");
    let authorise = |who: &str, more: &str| {
        bench.run(&format!("people authorise {who} --method cd-release {more} --reason \"trained on it\" --as m.rowan"))
    };
    authorise("m.rowan", "--until 2099-12-31").ends(2).says("nobody can authorise for a method for themselves");
    authorise("j.alder", "--until 31.12.2099").ends(2).says("is no day; write it as 2027-03-31");
    authorise("j.alder", "--until 2020-12-31").ends(0).says("authorised for method cd-release until 2020-12-31");
    bench
        .run(&import)
        .ends(2)
        .says("j.alder was authorised until 2020-12-31 for method cd-release; a quality manager has to authorise them")
        .says("darkline people authorise j.alder --method cd-release --until DAY");
    authorise("j.alder", "--until 2099-12-31").ends(0);
    bench.run(&import).ends(0);
    sign(&bench, "j.alder", "j.alder").ends(0);
    sign(&bench, "m.rowan", "m.rowan").ends(2).says("m.rowan is not authorised for method cd-release");
    authorise("j.alder", "--withdraw").ends(0).says("no longer authorised for method cd-release");
    bench.run("people").ends(0).says("no longer cd-release");
    bench
        .run("people authorise j.alder --method none --until 2099-12-31 --reason x --as m.rowan")
        .ends(2)
        .says("the record has no method none; it has cd-release");
}

/// A device brings readings with its key and nobody at the bench; it signs nothing else.
#[test]
fn a_device_imports_and_signs_nothing() {
    let bench = Bench::at(Stage::Open);
    bench
        .run("people add sampler-1 --full-name \"Sampler 1\" --role device --as k.willow --key-file keys/j.alder")
        .ends(2)
        .says("a device has no passphrase but a key in a file");
    bench
        .run("people add sampler-1 --full-name \"Sampler 1\" --role device --device-key sampler.key --as k.willow")
        .ends(0)
        .says("it imports and signs nothing else");
    let import = format!("import {CADMIUM} cadmium/readings.csv --device-key sampler.key");
    bench.run(&import).ends(0).says("imported by sampler-1");
    bench.run("entries --what import").ends(0).says("taken into run R1 by a device");
    bench.run(&format!("sign {CADMIUM} --as sampler-1 --confirm {CADMIUM} --key-file keys/j.alder")).ends(2);
    bench
        .run(&format!("decide {CADMIUM} --reject 1 --reason x --as sampler-1"))
        .ends(2)
        .says("takes one of these roles: analyst");
    bench.run("verify").ends(0);
    bench.run("people close sampler-1 --reason \"key lost\" --as k.willow").ends(0);
    bench.run(&import).ends(2).says("the account of sampler-1 is closed");
}

/// 21 CFR 11.10(j) and 11.100(c), in our words in part11.toml: the record carries the statement shown; another statement
/// leaves old signatures theirs.
#[test]
fn the_statement_of_the_site_is_shown_to_who_signs_and_signatures_keep_theirs() {
    let bench = Bench::at(Stage::Imported);
    let first = "My signature here binds me as one by hand (SOP 12, version 3).";
    bench.run(&format!("laboratory --statement \"{first}\" --as j.alder")).ends(2).says("takes one of these roles");
    bench
        .run(&format!(
            "laboratory --statement \"{first}\" --certification \"letter of 2026-01-15, 26-017\" --as k.willow"
        ))
        .ends(0);
    let sign = |who: &str| bench.run(&format!("sign {CADMIUM} --as {who} --confirm {CADMIUM} --key-file keys/{who}"));
    sign("j.alder").ends(0).says(&format!("By signing: {first}"));
    bench.run("laboratory --statement \"SOP 12, version 4, binds me.\" --as k.willow").ends(0);
    sign("m.rowan").ends(0).says("By signing: SOP 12, version 4, binds me.");
    let signatures = bench.run(&format!("orders {CADMIUM} --json")).ends(0).json()[0]["signatures"].clone();
    let digest = |text: &str| darkline_record::canonical::Digest::of(text.as_bytes()).to_string();
    assert_eq!(signatures[0]["statement"], digest(first));
    assert_eq!(signatures[1]["statement"], digest("SOP 12, version 4, binds me."));
    bench.run("laboratory").ends(0).says("Signatures are certified: letter of 2026-01-15, 26-017").says("version 4");
    bench.run(&format!("issue {CADMIUM} --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o r.pdf")).ends(0);
    bench.run(&format!("archive {CADMIUM} --as m.rowan -o a.zip")).ends(0);
    bench.run("verify a.zip").ends(0);
}
