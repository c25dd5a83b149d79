//! The first list of a record with ten thousand orders: made anew, and as it was kept.
//!
//! Every order has its four documents, readings, two signatures and a report: nine entries, with documents of the size of the
//! cadmium example.
//!
//! `cargo bench -p darkline-laboratory --bench listing`; `ORDERS=1000` makes it smaller.

use std::error::Error;
use std::path::Path;
use std::time::Instant;

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::{Draft, EntryId, LogId, PersonId, SqliteStore, Store, Timestamp};
use darkline_laboratory::listing::OrderList;
use serde_json::json;

fn main() -> Result<(), Box<dyn Error>> {
    let n: u32 = std::env::var("ORDERS").ok().and_then(|n| n.parse().ok()).unwrap_or(10_000);
    let folder = tempfile::tempdir()?;
    let (path, beside) = (folder.path().join("laboratory.trail"), folder.path().join("laboratory.trail.orders"));
    let mut store = SqliteStore::create(&path, &LogId::new("bench-1")?, SigningKey::random()?)?;
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/cadmium-release");
    let text = |name: &str| std::fs::read_to_string(example.join(name)).unwrap_or_else(|_| "x = 1\n".repeat(100));
    let documents = ["order.toml", "preparation.toml", "method.toml", "run.toml"].map(|name| (name, text(name)));
    let (by, at) = (PersonId::new("j.alder")?, Timestamp::now());
    for number in 0..n {
        let order = format!("2026-{number:05}");
        let mut acts: Vec<_> = documents
            .iter()
            .map(|(name, text)| json!({"act": "open-document", "kind": "method", "file_name": name, "text": text}))
            .collect();
        acts.push(json!({"act": "open-order", "order": order, "edition": 0}));
        acts.push(json!({"act": "import", "run": "R1", "table": {"file_name": "r.csv", "text": text("readings.csv")}}));
        for meaning in ["measured", "reviewed"] {
            acts.push(json!({"act": "sign", "order": order, "meaning": meaning, "signature": "0".repeat(128)}));
        }
        acts.push(json!({"act": "issue", "order": order, "report": format!("{order}-1")}));
        let draft = |act: serde_json::Value| {
            Ok::<_, Box<dyn Error>>(Draft {
                id: EntryId::random()?,
                by: by.clone(),
                at: at.clone(),
                bytes: act.to_string().into_bytes(),
            })
        };
        store.append(&acts.into_iter().map(draft).collect::<Result<Vec<_>, _>>()?)?;
    }
    let time = |what: &str, goal: &str| -> Result<(), Box<dyn Error>> {
        let began = Instant::now();
        let store = SqliteStore::open(&path)?;
        let list = OrderList::of(&store, &beside)?;
        assert_eq!(list.orders.len(), n as usize);
        println!("  {what:<24} {:7.0} ms   {goal}", began.elapsed().as_secs_f64() * 1e3);
        Ok(())
    };
    println!("the list of {n} orders, {} entries", u64::from(n) * 9);
    time("made anew", "")?;
    time("as it was kept", "(goal 200)")?;
    time("as it was kept, again", "(goal 200)")?;
    Ok(())
}
