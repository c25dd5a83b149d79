//! The invented laboratory at several stages of the cadmium example, made once and copied for each test.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use darkline_audit_trail::{SqliteStore, Store};
use tempfile::TempDir;

use crate::program::{Ran, run};

/// The order of `examples/cadmium-release`.
pub const CADMIUM: &str = "2026-052";

/// How far the order has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// The people are entered.
    People,
    /// The order is open.
    Open,
    /// Its readings are in.
    Imported,
    /// The analyst has signed.
    SignedByAnalyst,
    /// The reviewer has signed too.
    Signed,
    /// The report is issued, as `report.pdf`.
    Issued,
    /// The archive is written, as `archive.zip`.
    Archived,
}

/// What each stage adds, in order.
pub const STEPS: [(Stage, &[&str]); 7] = [
    (
        Stage::People,
        &[
            "begin --as k.willow --full-name \"K. Willow\" --laboratory \"Millrace Laboratory (invented)\" --address \"1 Weir Lane\" --passphrases-from-files --key-file keys/k.willow",
            "people add j.alder --full-name \"J. Alder\" --role analyst --as k.willow --key-file keys/j.alder",
            "people add m.rowan --full-name \"M. Rowan\" --role reviewer --role \"quality manager\" --as k.willow --key-file keys/m.rowan",
        ],
    ),
    (Stage::Open, &["open cadmium --as j.alder"]),
    (Stage::Imported, &["import 2026-052 cadmium/readings.csv --as j.alder"]),
    (Stage::SignedByAnalyst, &["sign 2026-052 --as j.alder --confirm 2026-052 --key-file keys/j.alder"]),
    (Stage::Signed, &["sign 2026-052 --as m.rowan --confirm 2026-052 --key-file keys/m.rowan"]),
    (Stage::Issued, &["issue 2026-052 --as m.rowan --confirm 2026-052 --key-file keys/m.rowan -o report.pdf"]),
    (Stage::Archived, &["archive 2026-052 --as m.rowan -o archive.zip"]),
];

/// A folder with a record, keys, and the documents of the example in `cadmium/`.
pub struct Bench {
    folder: TempDir,
}

impl Bench {
    /// A folder with keys and documents, and no record yet.
    pub fn without_record() -> Self {
        let folder = tempfile::tempdir().unwrap();
        lay_out(folder.path());
        Self { folder }
    }

    /// A copy of the laboratory at a stage.
    pub fn at(stage: Stage) -> Self {
        static STAGES: OnceLock<TempDir> = OnceLock::new();
        let stages = STAGES.get_or_init(make_stages);
        let folder = tempfile::tempdir().unwrap();
        copy(&stages.path().join(format!("{stage:?}")), folder.path());
        Self { folder }
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Runs a command in the folder.
    pub fn run(&self, line: &str) -> Ran {
        run(self.folder.path(), line)
    }

    /// Entries in the record.
    pub fn n_entries(&self) -> u64 {
        let store = SqliteStore::open(&self.path("laboratory.trail")).unwrap();
        store.size(store.log()).unwrap()
    }

    /// Entries that say that something was refused.
    pub fn n_refused(&self) -> u64 {
        let store = SqliteStore::open(&self.path("laboratory.trail")).unwrap();
        let (mut n, says) = (0, b"\"act\":\"refused-step\"");
        let scanned = store.scan(store.log(), 0, &mut |entry| {
            n += u64::from(entry.bytes.windows(says.len()).any(|part| part == says));
            std::ops::ControlFlow::Continue(())
        });
        scanned.unwrap();
        n
    }

    pub fn write(&self, name: &str, text: impl AsRef<[u8]>) {
        std::fs::write(self.path(name), text).unwrap();
    }

    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    /// Writes a file of the example again with a text in place of another, which must be there once.
    pub fn edit(&self, name: &str, old: &str, new: &str) {
        let text = self.read(name);
        assert_eq!(text.matches(old).count(), 1, "{old:?} in {name}");
        self.write(name, text.replace(old, new));
    }
}

/// The root of the repository.
pub fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn make_stages() -> TempDir {
    let stages = tempfile::tempdir().unwrap();
    let work = stages.path().join("work");
    std::fs::create_dir(&work).unwrap();
    lay_out(&work);
    for (stage, lines) in STEPS {
        for line in lines {
            run(&work, line).ends(0);
        }
        copy(&work, &stages.path().join(format!("{stage:?}")));
    }
    stages
}

fn lay_out(folder: &Path) {
    std::fs::create_dir(folder.join("keys")).unwrap();
    for (name, passphrase) in [("k.willow", "by the weir"), ("j.alder", "catkins first"), ("m.rowan", "red berries")] {
        let path = folder.join("keys").join(name);
        std::fs::write(&path, format!("{passphrase}\n")).unwrap();
        only_mine(&path);
    }
    copy(&repository().join("examples/cadmium-release"), &folder.join("cadmium"));
}

/// Takes a file from the eyes of others.
pub fn only_mine(path: &Path) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o600)).unwrap();
    }
}

/// Copies a folder with what is in it.
pub fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}
