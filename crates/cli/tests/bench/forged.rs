//! Archives rewritten with care: manifests, hashes and roots put right again, as far as somebody without the keys can.

use std::collections::BTreeMap;

use darkline_audit_trail::keys::{PublicKey, SigningKey};
use darkline_audit_trail::{Checkpoint, Entry, Hash, PersonId, SqliteStore, merkle};
use darkline_exchange::bag;
use darkline_laboratory::Laboratory;
use darkline_laboratory::archive::EntryLine;
use darkline_laboratory::verification::{Verification, verify};
use darkline_report::composing::{Issued, SignedBy, compose, record};

use crate::laboratory::{Bench, CADMIUM, Stage};
use crate::seeded::Seeded;

/// An archive unpacked, to be changed and packed again with everything in order that takes no key.
struct Forgery {
    files: BTreeMap<String, Vec<u8>>,
    info: Vec<(String, String)>,
}

impl Forgery {
    fn of(bench: &Bench) -> Self {
        let unpacked = bag::read(&std::fs::read(bench.path("archive.zip")).unwrap()).unwrap();
        Self { files: unpacked.payload, info: unpacked.info }
    }

    /// Packs it with new manifests, and verifies it.
    fn verified(&self) -> Verification {
        verify(&self.packed(), &mut |_| {}).unwrap()
    }

    fn packed(&self) -> Vec<u8> {
        bag::write(&self.files, &self.info).unwrap()
    }

    #[track_caller]
    fn is_refused(&self, because: &str) {
        let found = self.verified();
        assert!(!found.is_intact());
        let faults: Vec<String> = found.checks.into_iter().flat_map(|check| check.faults).collect();
        assert!(faults.iter().any(|fault| fault.contains(because)), "wanted {because:?}, told {faults:#?}");
    }

    fn lines(&self) -> Vec<EntryLine> {
        let text = std::str::from_utf8(&self.files["entries.jsonl"]).unwrap();
        text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    fn set_lines(&mut self, lines: &[EntryLine]) {
        self.files.insert("entries.jsonl".into(), lines.iter().map(EntryLine::text).collect::<String>().into_bytes());
    }

    /// Writes a text of an entry otherwise.
    fn edit_entry(&mut self, number: usize, old: &str, new: &str) {
        let mut lines = self.lines();
        let stored = lines[number].stored.as_mut().unwrap();
        assert!(stored.contains(old), "{old:?} in {stored}");
        *stored = stored.replacen(old, new, 1);
        self.set_lines(&lines);
    }

    /// Hashes the entries as they are now.
    fn hash_again(&mut self) {
        let mut lines = self.lines();
        for line in &mut lines {
            if let Some(stored) = &line.stored
                && let Ok(entry) = Entry::from_stored_bytes(stored.as_bytes())
            {
                line.leaf = entry.leaf_hash().to_string();
            }
        }
        self.set_lines(&lines);
    }

    fn checkpoint(&self) -> Checkpoint {
        Checkpoint::from_text(std::str::from_utf8(&self.files["checkpoint.txt"]).unwrap()).unwrap()
    }

    /// The checkpoint over the entries as they are now, under the old signature or one of a key of the forger's own.
    fn close_again(&mut self, own: Option<&SigningKey>) {
        let leaves: Vec<Hash> = self.lines().iter().map(|line| line.leaf.parse().unwrap()).collect();
        let (size, root) = (u64::try_from(leaves.len()).unwrap(), merkle::root(&leaves));
        let mut checkpoint = self.checkpoint();
        (checkpoint.size, checkpoint.root) = (size, root);
        if let Some(key) = own {
            checkpoint = Checkpoint::sign(checkpoint.log, size, root, checkpoint.at, key);
            self.files.insert("devices.txt".into(), format!("{}\n", key.public_key().to_hex()).into_bytes());
        }
        self.files.insert("checkpoint.txt".into(), checkpoint.to_text().into_bytes());
    }
}

/// Number of the entry that brings the readings, see the stages.
const IMPORT: usize = 9;
const READING: (&str, &str) = ("10:05:00+01:00,0.0712", "10:05:00+01:00,0.0312");

/// A changed reading, and step by step everything put right that takes no key, then with a bench's key of one's own.
#[test]
fn a_changed_reading_is_refused_however_much_is_put_right_around_it() {
    let bench = Bench::at(Stage::Archived);
    let mut forgery = Forgery::of(&bench);
    assert!(forgery.verified().is_intact(), "packed again without a change it is sound");
    forgery.edit_entry(IMPORT, READING.0, READING.1);
    forgery.is_refused("entry 9 was changed: its hash is another");
    bench.write("forged.zip", forgery.packed());
    bench.run("verify forged.zip").ends(1).says("entry 9 was changed").says("evaluated again it gives");
    forgery.hash_again();
    forgery.is_refused("checkpoint.txt says");
    forgery.close_again(None);
    forgery.is_refused("was altered");
    let own = SigningKey::from_seed(&[66; 32]);
    forgery.close_again(Some(&own));
    forgery.is_refused("the signature of j.alder in entry 10 (responsible for the measurement) names a root that the first 10 entries do not give");
    forgery.is_refused("evaluated again it gives");
    // The roots in the signed entries put right as well: now the signatures themselves do not hold.
    let leaves: Vec<Hash> = forgery.lines().iter().map(|line| line.leaf.parse().unwrap()).collect();
    let old = Forgery::of(&bench).lines();
    let old_leaves: Vec<Hash> = old.iter().map(|line| line.leaf.parse().unwrap()).collect();
    let root = |leaves: &[Hash]| merkle::root(&leaves[..10]).to_string();
    forgery.edit_entry(10, &root(&old_leaves), &root(&leaves));
    forgery.hash_again();
    forgery.close_again(Some(&own));
    forgery.is_refused("the signature of j.alder in entry 10 (responsible for the measurement) does not hold");
}

#[test]
fn a_record_or_a_report_exchanged_for_another_is_refused() {
    let bench = Bench::at(Stage::Archived);
    let mut forgery = Forgery::of(&bench);
    let text = String::from_utf8(forgery.files["record.json"].clone()).unwrap();
    forgery.files.insert("record.json".into(), text.replace("0.0151", "0.0051").into_bytes());
    forgery.is_refused("record.json is not the record of the report that was issued as 2026-052-1");

    // A report with another record inside than the one beside it.
    let mut forgery = Forgery::of(&bench);
    let found = forgery.verified().contents.unwrap();
    let issued = issued(&found);
    let mut outcome = found.outcome.clone();
    if let darkline_evaluation::outcome::Reported::Value { result } = &mut outcome.results[0].reported {
        result.value /= 3.0;
    }
    let other_record = record(&found.package, &outcome, &issued);
    assert_ne!(other_record, found.record);
    let report = compose(&found.package, &found.outcome, &issued);
    forgery.files.insert("report.pdf".into(), darkline_report::render(&report, &other_record).unwrap());
    forgery.is_refused("report.pdf is not the report that was issued as 2026-052-1");
    let mut forgery = Forgery::of(&bench);
    forgery.files.insert("report.pdf".into(), darkline_report::render(&report, &found.record).unwrap());
    forgery.is_refused("report.pdf is not the report that was issued as 2026-052-1");
}

fn issued(found: &darkline_laboratory::verification::Contents) -> Issued {
    let issue = found.state.orders[&found.order].issues.last().unwrap();
    Issued {
        report: issue.report.clone(),
        supersedes: None,
        at: issue.at.clone(),
        signatures: vec![SignedBy {
            name: "J. Alder".into(),
            roles: "analyst".into(),
            meaning: "reviewed".into(),
            at: issue.at.clone(),
            key: String::new(),
        }],
        issued_by: issue.by.to_string(),
        size: issue.size,
        root: issue.root.to_string(),
        laboratory: found.state.laboratory.clone(),
        program: issue.program.clone(),
        because: None,
        changes: Vec::new(),
        justified_by: Default::default(),
    }
}

/// Who may issue could sign a report that says something else than the record: only a comparison of both tells it.
#[test]
fn a_report_issued_with_other_figures_than_its_package_gives_is_refused() {
    for (what, because) in [
        ("another record inside", "the record inside report.pdf is not record.json"),
        ("another text outside", "report.pdf is not what darkline 0.1.0 sets from this package"),
        ("another record beside and inside", "record.json differs from what the package gives, from byte"),
        ("no PDF", "report.pdf: 0 files are embedded in it, one is wanted"),
    ] {
        let bench = Bench::at(Stage::Signed);
        let device = SigningKey::read_device_file(&bench.path("laboratory.trail.key")).unwrap();
        let store = SqliteStore::open(&bench.path("laboratory.trail")).unwrap().sign_with(device).unwrap();
        let mut laboratory = Laboratory::over(Box::new(store)).unwrap();
        let (by, order) = (PersonId::new("m.rowan").unwrap(), CADMIUM.parse().unwrap());
        let draft = laboratory.draft_issue(&by, &order, "darkline 0.1.0", darkline_report::SETTING, None).unwrap();
        let signed = |given: &darkline_laboratory::state::SignatureState| {
            let person = &laboratory.state().people[&given.by];
            SignedBy {
                name: format!("{} ({})", person.full_name, person.id),
                roles: person.roles.iter().map(|role| role.as_str()).collect::<Vec<_>>().join(", "),
                meaning: given.meaning.words().into(),
                at: given.at.clone(),
                key: person.public_key.as_ref().unwrap().fingerprint().to_string(),
            }
        };
        let issued = Issued {
            report: draft.report.clone(),
            supersedes: None,
            at: draft.at.to_string(),
            signatures: draft.signatures.iter().map(signed).collect(),
            issued_by: by.to_string(),
            size: draft.size,
            root: draft.root.to_string(),
            laboratory: laboratory.state().laboratory.clone(),
            program: draft.program.clone(),
            because: None,
            changes: Vec::new(),
            justified_by: Default::default(),
        };
        let package = &draft.evaluated.package;
        let mut outcome = draft.evaluated.outcome.clone();
        let honest = (record(package, &outcome, &issued), compose(package, &outcome, &issued));
        if let darkline_evaluation::outcome::Reported::Value { result } = &mut outcome.results[0].reported {
            result.value /= 3.0;
        }
        let other = (record(package, &outcome, &issued), compose(package, &outcome, &issued));
        let (beside, document) = match what {
            "another record inside" => (&honest.0, darkline_report::render(&honest.1, &other.0).unwrap()),
            "another text outside" => (&honest.0, darkline_report::render(&other.1, &honest.0).unwrap()),
            "no PDF" => (&honest.0, b"%PDF-1.7\n".to_vec()),
            _ => (&other.0, darkline_report::render(&other.1, &other.0).unwrap()),
        };
        laboratory.issue(&draft, beside, &document, "red berries").unwrap();
        drop(laboratory);
        bench.run(&format!("archive {CADMIUM} --as m.rowan -o archive.zip")).ends(0);
        bench.run("verify archive.zip").ends(1).says(because);
        if what == "another record beside and inside" {
            bench.run("verify").ends(1).says("report 2026-052-1: record.json differs from what the package gives");
        }
    }
}

/// Somebody with the program, who plays all parts with keys of their own, makes an archive that is sound in itself. It is told
/// apart by the bench key that the laboratory publishes, or by the report in hand.
#[test]
fn an_archive_by_another_bench_is_told_by_its_key_and_by_the_report_in_hand() {
    let (bench, forger) = (Bench::at(Stage::Archived), Bench::at(Stage::People));
    forger.edit("cadmium/readings.csv", READING.0, READING.1);
    forger.edit("cadmium/readings.csv", "0.0716", "0.0316");
    forger.run("open cadmium --as j.alder").ends(0);
    forger.run("import 2026-052 cadmium/readings.csv --as j.alder").ends(0);
    for who in ["j.alder", "m.rowan"] {
        forger.run(&format!("sign 2026-052 --as {who} --confirm 2026-052 --key-file keys/{who}")).ends(0);
    }
    // The stages share their bench; the forger's is another one, so its archive is closed under another key.
    forger.run("issue 2026-052 --as m.rowan --confirm 2026-052 --key-file keys/m.rowan -o report.pdf").ends(0);
    forger.run("archive 2026-052 --as m.rowan -o archive.zip").ends(0);
    let mut forgery = Forgery::of(&forger);
    let own = SigningKey::from_seed(&[66; 32]);
    forgery.close_again(Some(&own));
    let readme = String::from_utf8(forgery.files["README.txt"].clone()).unwrap();
    assert!(readme.contains(&forgery.checkpoint().root.to_string()));
    forger.write("forged.zip", forgery.packed());
    std::fs::copy(bench.path("report.pdf"), forger.path("in-hand.pdf")).unwrap();
    let published = Forgery::of(&bench).checkpoint().key;
    forger.run("verify forged.zip").ends(0).says(&format!("Signed by bench {}", own.public_key().fingerprint()));
    forger.run(&format!("verify forged.zip --bench-key \"{published}\"")).ends(1).says("signed this archive, not");
    forger.run("verify forged.zip --report in-hand.pdf").ends(1).says("is another file than report.pdf");
    // A second key beside the bench's own is told, too: only one of them closed the log.
    let keys: Vec<PublicKey> =
        std::str::from_utf8(&forgery.files["devices.txt"]).unwrap().lines().map(|line| line.parse().unwrap()).collect();
    assert_eq!(keys, [own.public_key()]);
}

/// With manifests put right, what is below them has to notice: a changed byte in each file of the archive.
#[test]
fn a_changed_byte_in_any_file_is_told_even_where_the_manifests_agree_with_it() {
    let bench = Bench::at(Stage::Archived);
    let sound = Forgery::of(&bench);
    let mut seeded = Seeded::new(17025);
    for (name, bytes) in &sound.files {
        for _ in 0..8 {
            let mut forgery = Forgery { files: sound.files.clone(), info: sound.info.clone() };
            let place = seeded.below(bytes.len());
            forgery.files.get_mut(name).unwrap()[place] ^= 1 << seeded.below(8);
            let found = forgery.verified();
            assert!(!found.is_intact(), "{name}, byte {place}");
            let faults: Vec<String> = found.checks.into_iter().flat_map(|check| check.faults).collect();
            assert!(faults.iter().all(|fault| !fault.is_empty()), "{name}, byte {place}: {faults:?}");
        }
        let mut without = Forgery { files: sound.files.clone(), info: sound.info.clone() };
        without.files.remove(name);
        without.is_refused(&format!("{name} is missing"));
    }
    let mut more = Forgery { files: sound.files.clone(), info: sound.info.clone() };
    more.files.insert("documents/later.toml".into(), b"id = \"x\"\n".to_vec());
    more.is_refused("documents/later.toml does not belong to the archive");
    for place in 0..sound.info.len() {
        let mut forgery = Forgery { files: sound.files.clone(), info: sound.info.clone() };
        if forgery.info[place].0 == "Payload-Oxum" {
            continue;
        }
        forgery.info[place].1 = "2026-12-24".into();
        forgery.is_refused(&format!("bag-info.txt: {}", sound.info[place].0));
    }
}

/// Entries hidden behind their hash, dropped, doubled or exchanged.
#[test]
fn entries_that_are_hidden_or_moved_are_told() {
    let bench = Bench::at(Stage::Archived);
    let sound = Forgery::of(&bench).lines();
    // Also those on which nothing else depends: the last entry says which there were.
    for hidden in 0..sound.len() {
        let mut forgery = Forgery::of(&bench);
        let mut lines = sound.clone();
        lines[hidden].stored = None;
        forgery.set_lines(&lines);
        assert!(!forgery.verified().is_intact(), "entry {hidden} hidden");
    }
    let moved: [fn(&mut Vec<EntryLine>); 4] = [
        |lines| {
            lines.pop();
        },
        |lines| lines.push(lines[3].clone()),
        |lines| lines.swap(10, 11),
        |lines| {
            lines.remove(0);
        },
    ];
    for change in moved {
        let mut forgery = Forgery::of(&bench);
        let mut lines = sound.clone();
        change(&mut lines);
        forgery.set_lines(&lines);
        assert!(!forgery.verified().is_intact());
        forgery.close_again(Some(&SigningKey::from_seed(&[66; 32])));
        assert!(!forgery.verified().is_intact());
    }
}

/// Acts that no program of ours would write, closed under a key of the forger's own: told, and never the end of the program.
#[test]
fn acts_changed_at_random_are_told_and_never_end_the_program() {
    let bench = Bench::at(Stage::Archived);
    let own = SigningKey::from_seed(&[66; 32]);
    let sound = Forgery::of(&bench);
    let mut seeded = Seeded::new(6962);
    let digits = "0123456789-.eE\"{}[],:zµ".chars().collect::<Vec<_>>();
    for _ in 0..160 {
        let mut forgery = Forgery { files: sound.files.clone(), info: sound.info.clone() };
        let mut lines = sound.lines();
        let number = 1 + seeded.below(lines.len() - 2);
        let stored = lines[number].stored.as_mut().unwrap();
        let mut letters: Vec<char> = stored.chars().collect();
        let place = seeded.below(letters.len());
        match seeded.below(3) {
            0 => letters[place] = digits[seeded.below(digits.len())],
            1 => {
                letters.remove(place);
            }
            _ => letters.insert(place, digits[seeded.below(digits.len())]),
        }
        let changed: String = letters.into_iter().collect();
        if changed == *stored {
            continue;
        }
        *stored = changed;
        forgery.set_lines(&lines);
        forgery.hash_again();
        forgery.close_again(Some(&own));
        assert!(!forgery.verified().is_intact(), "entry {number}, letter {place}");
    }
}

/// Legs and decisions that name rows and readings which are not there, or themselves.
#[test]
fn acts_about_nothing_are_told_and_never_end_the_program() {
    let bench = Bench::at(Stage::Archived);
    let own = SigningKey::from_seed(&[66; 32]);
    let row = |fields: &str| format!(r#"{{"act":"add-leg","leg":{{"rows":[{{{fields}}}]}},"run":"R1"}}"#);
    let portion = r#""holds":{"batch":"P1","dilution":{"value":"1"},"is":"portion","portion":"P1-1"}"#;
    let acts = [
        row(&format!(r#""number":0,"name":"a","replicates":1,{portion}"#)),
        row(&format!(r#""number":4294967295,"name":"a","replicates":255,{portion}"#)),
        row(&format!(r#""number":7,"name":"a","replicates":0,{portion}"#)),
        row(&format!(r#""number":6,"name":"a","replicates":1,{portion}"#)),
        row(&format!(r#""number":7,"name":"a","replicates":1,{portion},"follows":{{"replaces":7}}"#)),
        row(&format!(r#""number":7,"name":"a","replicates":1,{portion},"follows":{{"joins":99}}"#)),
        row(r#""number":7,"name":"a","replicates":1,"holds":{"batch":"P9","dilution":{"value":"1"},"is":"portion","portion":"P1-1"}"#),
        row(r#""number":7,"name":"a","replicates":1,"holds":{"is":"calibration-blank"}"#),
        r#"{"act":"decide","decision":{"decision":"reject","reading":"R1/99","reason":"none"},"order":"2026-052"}"#.to_owned(),
        r#"{"act":"decide","decision":{"decision":"reject","reading":"R9/1","reason":"none"},"order":"2026-052"}"#.to_owned(),
        r#"{"act":"decide","decision":{"decision":"reject","reading":"R1/16","reason":"all"},"order":"2026-999"}"#.to_owned(),
        r#"{"act":"import","first":4294967295,"pulses":[],"run":"R1","table":{"file_name":"r.csv","text":"row,replicate,attempt,at,absorbance\n6,1,2,2026-03-12T11:00:00+01:00,0.07\n6,2,2,2026-03-12T11:00:00+01:00,0.07\n"}}"#.to_owned(),
        r#"{"act":"open-order","edition":4000000000,"order":"2026-052"}"#.to_owned(),
        "null".to_owned(),
        String::new(),
    ];
    let mut n_read = 0;
    for act in acts {
        let mut forgery = Forgery::of(&bench);
        let mut lines = forgery.lines();
        // In place of the last entry, which says that it was archived.
        let last = lines.last_mut().unwrap();
        let mut entry = Entry::from_stored_bytes(last.stored.as_ref().unwrap().as_bytes()).unwrap();
        entry.bytes = act.clone().into_bytes();
        n_read += usize::from(serde_json::from_str::<darkline_laboratory::act::Act>(&act).is_ok());
        last.stored = Some(String::from_utf8(entry.stored_bytes()).unwrap());
        forgery.set_lines(&lines);
        forgery.hash_again();
        forgery.close_again(Some(&own));
        let found = forgery.verified();
        let told: Vec<&String> = found.checks.iter().flat_map(|check| &check.faults).collect();
        assert!(!found.is_intact() || act.contains("R9/1") || act.contains("R1/99"), "{act}: {told:?}");
    }
    assert!(n_read >= 11, "only {n_read} of them say an act");
}
