//! The invented laboratory with one person a role and the order of `examples/cadmium-release`, and requests to its pages.

use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use axum::body::Body;
use axum::http::{HeaderMap, Request};
use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::people::Role;
use darkline_audit_trail::{LogId, PersonId, SqliteStore};
use darkline_exchange::folder::read_folder;
use darkline_laboratory::Laboratory;
use darkline_laboratory::act::Attached;
use darkline_web::{Desk, Lasts, Settings};
use tempfile::TempDir;
use tokio::runtime::Runtime;

/// The order of the example.
pub const ORDER: &str = "2026-052";
/// One person a role, with the passphrases they use here and nowhere else.
pub const PEOPLE: [(&str, Role, &str); 4] = [
    ("k.willow", Role::Administrator, "gathered by the weir"),
    ("j.alder", Role::Analyst, "catkins before leaves"),
    ("m.rowan", Role::Reviewer, "red berries in autumn"),
    ("r.birch", Role::QualityManager, "white bark in the wood"),
];

pub fn person(name: &str) -> PersonId {
    PersonId::new(name).unwrap()
}

pub fn passphrase(name: &str) -> &'static str {
    PEOPLE.iter().find(|(known, ..)| *known == name).unwrap().2
}

fn key() -> SigningKey {
    SigningKey::from_seed(&[7; 32])
}

/// The record of a folder, as another program would open it.
pub fn laboratory(trail: &Path) -> Laboratory {
    Laboratory::over(Box::new(SqliteStore::open(trail).unwrap().sign_with(key()).unwrap())).unwrap()
}

/// The example's readings as a table; only the first so many.
pub fn readings(n: usize) -> Attached {
    let text = include_str!("../../../../examples/cadmium-release/readings.csv");
    let text: String = text.lines().take(n + 1).map(|line| format!("{line}\n")).collect();
    Attached { file_name: format!("readings-{n}.csv"), text }
}

/// A record with its people and the opened order, made once.
fn made() -> &'static TempDir {
    static MADE: OnceLock<TempDir> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let trail = folder.path().join("laboratory.trail");
        let store = SqliteStore::create(&trail, &LogId::new("bench-1").unwrap(), key()).unwrap();
        let mut laboratory = Laboratory::over(Box::new(store)).unwrap();
        let willow = person("k.willow");
        let address = ["1 Weir Lane".to_owned()];
        laboratory.begin(&willow, "K. Willow", passphrase("k.willow"), "Millrace Laboratory", &address).unwrap();
        for (name, role, passphrase) in &PEOPLE[1..] {
            laboratory.add_person(&willow, &person(name), &name.to_uppercase(), [*role].into(), passphrase).unwrap();
        }
        // A customer whose name is markup, and a sample that would be a formula: both are text.
        let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/cadmium-release");
        let documents = folder.path().join("documents");
        std::fs::create_dir(&documents).unwrap();
        for name in ["order.toml", "preparation.toml", "method.toml", "run.toml", "run-order.csv"] {
            let text = std::fs::read_to_string(example.join(name)).unwrap();
            let customer = text.lines().find(|line| line.starts_with("customer = ")).map(str::to_owned);
            let text = match customer {
                Some(line) => text.replace(&line, "customer = \"=<script>alert(1)</script>\""),
                None => text,
            };
            std::fs::write(documents.join(name), text).unwrap();
        }
        laboratory.open(&person("j.alder"), &read_folder(&documents).unwrap()).unwrap();
        folder
    })
}

/// A desk over a copy of the record.
pub struct Bench {
    folder: TempDir,
    pub desk: Arc<Desk>,
    pub runtime: Runtime,
}

/// An answer.
pub struct Answered {
    pub status: u16,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Answered {
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|fault| panic!("{fault}: {}", self.text()))
    }
}

/// A sign-in: its cookie and what forms bring.
#[derive(Clone)]
pub struct Signed {
    pub cookie: String,
    pub token: String,
}

pub fn settings(folder: &Path) -> Settings {
    Settings {
        lasts: Lasts { idle_s: 900, whole_s: 43_200 },
        names: Vec::new(),
        over_tls: false,
        is_loopback: true,
        access_log: Some(folder.join("laboratory.trail.access")),
        program: "darkline test".into(),
        clock: || 0,
    }
}

impl Bench {
    /// The order open, without readings.
    pub fn open() -> Self {
        Self::with(|settings| settings)
    }

    /// The same, served otherwise.
    pub fn with(change: impl FnOnce(Settings) -> Settings) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::copy(made().path().join("laboratory.trail"), folder.path().join("laboratory.trail")).unwrap();
        let desk = Desk::new(laboratory(&folder.path().join("laboratory.trail")), change(settings(folder.path())));
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        Self { folder, desk: Arc::new(desk.unwrap()), runtime }
    }

    /// The order with all its readings.
    pub fn measured() -> Self {
        let bench = Self::open();
        bench.import(usize::MAX - 1);
        bench
    }

    pub fn trail(&self) -> PathBuf {
        self.folder.path().join("laboratory.trail")
    }

    pub fn access_log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("laboratory.trail.access")).unwrap_or_default()
    }

    /// Readings come in, brought by another program.
    pub fn import(&self, n: usize) {
        let order = ORDER.parse().unwrap();
        laboratory(&self.trail()).import(&person("j.alder"), &order, None, readings(n), None, &mut |_| ()).unwrap();
    }

    pub fn send(&self, request: Request<Body>) -> Answered {
        self.runtime.block_on(async {
            let response = self.desk.clone().answer(request).await;
            let (parts, body) = response.into_parts();
            let body = axum::body::to_bytes(body, 64 << 20).await.unwrap().to_vec();
            Answered { status: parts.status.as_u16(), headers: parts.headers, body }
        })
    }

    pub fn get(&self, path: &str, by: Option<&Signed>) -> Answered {
        let mut request = Request::get(path).header("host", "127.0.0.1:7878");
        if let Some(by) = by {
            request = request.header("cookie", &by.cookie);
        }
        self.send(request.body(Body::empty()).unwrap())
    }

    /// Sends a form as a page of ours would.
    pub fn post(&self, path: &str, by: Option<&Signed>, fields: &[(&str, &str)]) -> Answered {
        let mut request = Request::post(path)
            .header("host", "127.0.0.1:7878")
            .header("sec-fetch-site", "same-origin")
            .header("content-type", "application/x-www-form-urlencoded");
        let mut all = fields.to_vec();
        if let Some(by) = by {
            request = request.header("cookie", &by.cookie);
            all.push(("form-token", &by.token));
        }
        self.send(request.body(Body::from(encoded(&all))).unwrap())
    }

    pub fn try_to_sign_in(&self, name: &str, passphrase: &str) -> Answered {
        self.post("/sign-in", None, &[("name", name), ("passphrase", passphrase), ("to", "/")])
    }

    pub fn sign_in(&self, name: &str) -> Signed {
        let answered = self.try_to_sign_in(name, passphrase(name));
        assert_eq!(answered.status, 303, "{}", answered.text());
        let cookie = answered.header("set-cookie").split(';').next().unwrap().to_owned();
        let page = self.get("/", Some(&Signed { cookie: cookie.clone(), token: String::new() })).text();
        let token = page.split("name=\"form-token\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
        Signed { cookie, token }
    }
}

/// The value of a field of a page.
pub fn field(page: &str, name: &str) -> String {
    let from = page.split(&format!("name=\"{name}\" value=\"")).nth(1).unwrap_or_else(|| panic!("no {name} in {page}"));
    from.split('"').next().unwrap().to_owned()
}

fn encoded(fields: &[(&str, &str)]) -> String {
    let escape = |text: &str| {
        text.bytes()
            .map(
                |byte| if byte.is_ascii_alphanumeric() { char::from(byte).to_string() } else { format!("%{byte:02X}") },
            )
            .collect::<String>()
    };
    fields.iter().map(|(name, value)| format!("{}={}", escape(name), escape(value))).collect::<Vec<_>>().join("&")
}
