//! RFC 8493 (2018), BagIt 1.0: the bags and rules of `reference/records/bagit.toml`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use darkline_exchange::bag::{self, BagFault};
use toml::Table;

type Files = BTreeMap<String, Vec<u8>>;

fn pack() -> Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference/records/bagit.toml");
    std::fs::read_to_string(path).unwrap().parse().unwrap()
}

fn cases(pack: &Table, array: &str) -> Vec<Table> {
    pack[array].as_array().unwrap().iter().map(|case| case.as_table().unwrap().clone()).collect()
}

fn bytes_of(digits: &str) -> Vec<u8> {
    assert!(digits.len().is_multiple_of(2));
    (0..digits.len()).step_by(2).map(|at| u8::from_str_radix(&digits[at..at + 2], 16).unwrap()).collect()
}

fn files_of(case: &Table) -> Files {
    let listed = ["files", "tag_files"].into_iter().flat_map(|key| case[key].as_array().unwrap());
    listed
        .map(|file| {
            // The path ends at the last equals sign.
            let (path, digits) = file.as_str().unwrap().rsplit_once('=').unwrap();
            (path.to_owned(), bytes_of(digits))
        })
        .collect()
}

fn bag(pack: &Table, id: &str) -> Files {
    files_of(cases(pack, "bag_case").iter().find(|case| case["id"].as_str() == Some(id)).unwrap())
}

/// The faults of a bag whose files were changed.
fn faults_after(change: impl FnOnce(&mut Files)) -> Vec<BagFault> {
    let mut files = bag(&pack(), "bag-valid");
    change(&mut files);
    bag::check(&files).unwrap_err().listed().to_vec()
}

#[test]
fn every_published_bag_is_taken_or_turned_back_as_published() {
    let pack = pack();
    let parts: BTreeSet<&str> = pack.keys().map(String::as_str).collect();
    assert_eq!(parts, BTreeSet::from(["meta", "rule", "bag_case", "digest_case"]));
    let bags = cases(&pack, "bag_case");
    assert_eq!(bags.len(), 6);
    for case in &bags {
        let id = case["id"].as_str().unwrap();
        let outcome = bag::check(&files_of(case));
        match case["expect"].as_str().unwrap() {
            "valid" => assert!(outcome.is_ok(), "{id}: {}", outcome.unwrap_err()),
            "invalid" => {
                let faults = outcome.unwrap_err().listed().to_vec();
                let is_the_one = |fault: &BagFault| match id {
                    "bag-payload-changed" => {
                        matches!(fault, BagFault::Digest { path, .. } if path == "data/raw/S-0042_r1.csv")
                    }
                    "bag-payload-missing" => {
                        matches!(fault, BagFault::ListedMissing { path, .. } if path == "data/empty.txt")
                    }
                    "bag-payload-unlisted" => {
                        matches!(fault, BagFault::Unlisted { path, .. } if path == "data/note.txt")
                    }
                    "bag-tag-changed" => matches!(fault, BagFault::Digest { path, .. } if path == "bag-info.txt"),
                    "bag-no-declaration" => matches!(fault, BagFault::Missing { path } if path == "bagit.txt"),
                    other => panic!("{other} is new here"),
                };
                assert!(faults.iter().any(is_the_one), "{id}: {faults:?}");
            }
            other => panic!("{id} expects {other}"),
        }
    }
}

#[test]
fn the_published_bag_packs_into_the_published_manifests() {
    let pack = pack();
    let files = bag(&pack, "bag-valid");
    let content = bag::check(&files).unwrap();
    let archive = bag::write(&content.payload, &content.info).unwrap();
    let again = bag::read(&archive).unwrap();
    assert_eq!(again, content);
    // The archive stores its files as they are: every tag file of the published bag stands in it byte for byte.
    for (path, bytes) in files.iter().filter(|(path, _)| path.ends_with(".txt") && !path.starts_with("data/")) {
        assert!(archive.windows(bytes.len()).any(|window| window == bytes), "{path}");
    }
}

#[test]
fn the_published_digest_stands_in_the_manifest() {
    for case in cases(&pack(), "digest_case") {
        let path = case["path"].as_str().unwrap();
        let payload = Files::from([(
            path.strip_prefix("data/").unwrap().to_owned(),
            bytes_of(case["content_hex"].as_str().unwrap()),
        )]);
        let archive = bag::write(&payload, &[]).unwrap();
        let line = format!("{}  {path}\n", case["sha512"].as_str().unwrap());
        assert!(archive.windows(line.len()).any(|window| window == line.as_bytes()));

        // A bag with SHA-256 only is a bag too.
        let sha256 = case["sha256"].as_str().unwrap();
        let mut files: Files = payload.into_iter().map(|(path, bytes)| (format!("data/{path}"), bytes)).collect();
        files.insert("bagit.txt".into(), b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n".to_vec());
        files.insert("manifest-sha256.txt".into(), format!("{sha256} {path}\n").into_bytes());
        assert!(bag::check(&files).is_ok());
        files.insert("manifest-sha256.txt".into(), format!("{sha256}0 {path}\n").into_bytes());
        assert!(bag::check(&files).is_err());
    }
}

/// One test of each rule of the file that a bag can break; `algorithms` and `serialise` are seen in the archive.
#[test]
fn every_published_rule_is_kept() {
    let mut rules: BTreeSet<String> =
        cases(&pack(), "rule").iter().map(|rule| rule["id"].as_str().unwrap().to_owned()).collect();
    let mut kept = |rule: &str, holds: bool| {
        assert!(holds, "{rule}");
        rules.remove(rule);
    };
    let told = |faults: &[BagFault], file: &str| {
        faults.iter().any(|fault| matches!(fault, BagFault::TagFile { file: found, .. } if found == file))
    };

    for declaration in [
        "BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n",
        "BagIt-Version : 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "BagIt-Version:  1.0\nTag-File-Character-Encoding: UTF-8\n",
        "\u{feff}BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "BagIt-Version: 1.0\n",
        "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\nMore: x\n",
    ] {
        let faults = faults_after(|files| drop(files.insert("bagit.txt".into(), declaration.into())));
        kept("declaration", told(&faults, "bagit.txt"));
    }

    let octets = Files::from([("any".to_owned(), (0..=255).collect::<Vec<u8>>())]);
    kept("payload-directory", bag::read(&bag::write(&octets, &[]).unwrap()).unwrap().payload == octets);

    let faults = faults_after(|files| drop(files.remove("manifest-sha512.txt")));
    kept("payload-manifest", faults.contains(&BagFault::Missing { path: "manifest-sha512.txt".into() }));
    let faults = faults_after(|files| {
        let manifest = files.get_mut("manifest-sha512.txt").unwrap();
        let first = manifest.split_inclusive(|byte| *byte == b'\n').next().unwrap().to_vec();
        manifest.extend(first);
    });
    kept("payload-manifest", told(&faults, "manifest-sha512.txt"));
    for blanks in ["\t", " \t  "] {
        let mut files = bag(&pack(), "bag-valid");
        let manifest = String::from_utf8(files["manifest-sha512.txt"].clone()).unwrap().replace("  ", blanks);
        files.insert("manifest-sha512.txt".into(), manifest.into_bytes());
        files.remove("tagmanifest-sha512.txt");
        kept("payload-manifest", bag::check(&files).is_ok());
    }

    let faults = faults_after(|files| drop(files.insert("manifest-sha256.txt".into(), Vec::new())));
    let unlisted =
        |fault: &&BagFault| matches!(fault, BagFault::Unlisted { manifest, .. } if manifest == "manifest-sha256.txt");
    kept("every-manifest-complete", faults.iter().filter(unlisted).count() == 3);

    let odd = Files::from([("a\nb".to_owned(), vec![1]), ("c\rd".to_owned(), vec![2]), ("100%".to_owned(), vec![3])]);
    let archive = bag::write(&odd, &[]).unwrap();
    for encoded in ["data/a%0Ab\n", "data/c%0Dd\n", "data/100%25\n"] {
        kept("path-encoding", archive.windows(encoded.len()).any(|window| window == encoded.as_bytes()));
    }
    kept("path-encoding", bag::read(&archive).unwrap().payload == odd);

    let archive = bag::write(&octets, &[]).unwrap();
    let has = |name: &str| archive.windows(name.len()).any(|window| window == name.as_bytes());
    kept("algorithms", has("bag/manifest-sha512.txt") && !has("sha256"));
    let faults = faults_after(|files| drop(files.insert("manifest-md5.txt".into(), Vec::new())));
    kept("algorithms", told(&faults, "manifest-md5.txt"));

    for listed in ["data/empty.txt", "tagmanifest-sha512.txt"] {
        let faults = faults_after(|files| {
            let line = format!("{}  {listed}\n", "0".repeat(128));
            files.get_mut("tagmanifest-sha512.txt").unwrap().extend(line.into_bytes());
        });
        kept("tag-manifest", told(&faults, "tagmanifest-sha512.txt"));
    }
    let mut files = bag(&pack(), "bag-valid");
    files.remove("tagmanifest-sha512.txt");
    kept("tag-manifest", bag::check(&files).is_ok());

    let mut files = bag(&pack(), "bag-valid");
    files.remove("tagmanifest-sha512.txt");
    files.insert("bag-info.txt".into(), b"Contact: a long\n  line\nCONTACT: twice\npayload-oxum: 66.3\n".to_vec());
    let info = bag::check(&files).unwrap().info;
    kept("bag-info", info == [("Contact".into(), "a long line".into()), ("CONTACT".into(), "twice".into())]);
    let faults = faults_after(|files| drop(files.insert("bag-info.txt".into(), b"Payload-Oxum: 66.4\n".to_vec())));
    kept("bag-info", told(&faults, "bag-info.txt"));
    files.remove("bag-info.txt");
    kept("bag-info", bag::check(&files).is_ok());

    let faults =
        faults_after(|files| drop(files.insert("fetch.txt".into(), b"https://x.example/a - data/a\n".to_vec())));
    kept("fetch", told(&faults, "fetch.txt"));
    for path in ["data/../x", "/x", "~x", "data/..", "data\\x"] {
        let faults = faults_after(|files| drop(files.insert(path.into(), Vec::new())));
        kept("fetch", faults.iter().any(|fault| matches!(fault, BagFault::Path { .. })));
        let faults = faults_after(|files| {
            let line = format!("{}  {path}\n", "0".repeat(128));
            files.get_mut("manifest-sha512.txt").unwrap().extend(line.into_bytes());
        });
        kept("fetch", told(&faults, "manifest-sha512.txt"));
    }

    kept("complete-valid", bag::check(&bag(&pack(), "bag-valid")).is_ok());

    let info = [("External-Identifier".to_owned(), "2026-031".to_owned())];
    let archive = bag::write(&octets, &info).unwrap();
    let mut reader = zip::ZipArchive::new(std::io::Cursor::new(&archive)).unwrap();
    let is_below = |place| reader.by_index(place).unwrap().name().unwrap().starts_with("2026-031/");
    let n_files = archive.windows(4).filter(|window| window == b"PK\x01\x02").count();
    kept("serialise", (0..n_files).all(is_below));

    assert!(rules.is_empty(), "not tested: {rules:?}");
}
