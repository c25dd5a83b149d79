//! The first list of a record with ten thousand orders: made anew, as it was kept, and after one more act.
//!
//! Every order is the cadmium example under a name of its own, with its preparation, run and readings; nine of ten are signed
//! twice and issued, every tenth waits for a signature. Their states are worked out, not written: signatures carry the
//! digests of their outcomes. The signatures themselves are zeros, since neither the list nor the fold looks at them.
//!
//! `cargo bench -p darkline-laboratory --bench listing`; `ORDERS=1000` makes it smaller.

use std::error::Error;
use std::path::Path;
use std::time::Instant;

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::people::Stage;
use darkline_audit_trail::{Draft, Entry, EntryId, Hash, LogId, PersonId, SqliteStore, Store, Timestamp};
use darkline_evaluation::evaluate;
use darkline_laboratory::act::{Act, Attached, DocumentKind, PassphraseFrom};
use darkline_laboratory::listing::OrderList;
use darkline_laboratory::state::State;
use darkline_laboratory::{Laboratory, SignatureMeaning};
use darkline_record::canonical::Digest;
use darkline_record::identity::{Edition, OrderId};

type Fault = Box<dyn Error>;

/// The documents of the cadmium example.
struct Example {
    order: String,
    preparation: String,
    method: String,
    run: String,
    rows: String,
    readings: String,
}

impl Example {
    fn read() -> Result<Self, Fault> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/cadmium-release");
        let text = |name: &str| std::fs::read_to_string(folder.join(name));
        Ok(Self {
            order: text("order.toml")?,
            preparation: text("preparation.toml")?,
            method: text("method.toml")?,
            run: text("run.toml")?,
            rows: text("run-order.csv")?,
            readings: text("readings.csv")?,
        })
    }

    fn method(&self) -> Act {
        document(DocumentKind::Method, "method.toml", self.method.clone(), None)
    }

    /// The acts up to its readings, under names of its own.
    fn measured(&self, order: &OrderId) -> Result<Vec<Act>, Fault> {
        let (batch, run) = (format!("P{order}"), format!("R{order}"));
        let named = |text: &str| {
            text.replace("2026-052", order.as_str())
                .replace("\"P1\"", &format!("\"{batch}\""))
                .replace(",P1,", &format!(",{batch},"))
                .replace("\"R1\"", &format!("\"{run}\""))
        };
        let rows = Attached { file_name: "run-order.csv".into(), text: named(&self.rows) };
        Ok(vec![
            document(DocumentKind::Order, "order.toml", named(&self.order), None),
            document(DocumentKind::Preparation, "preparation.toml", named(&self.preparation), None),
            document(DocumentKind::Run, "run.toml", named(&self.run), Some(rows)),
            Act::OpenOrder { order: order.clone(), edition: Edition(0) },
            Act::Import {
                run: run.parse()?,
                table: Attached { file_name: "readings.csv".into(), text: self.readings.clone() },
                first: 1,
                pulses: Vec::new(),
                device: None,
                received: None,
            },
        ])
    }
}

fn document(kind: DocumentKind, file_name: &str, text: String, rows: Option<Attached>) -> Act {
    Act::OpenDocument { kind, file_name: file_name.into(), text, rows }
}

/// Signatures and the report, with the digest of the outcome.
fn issued(order: &OrderId, outcome: Digest, package: Digest, root: Hash) -> Vec<Act> {
    let zeros = "0".repeat(128);
    let sign = |meaning| Act::Sign {
        order: order.clone(),
        meaning,
        outcome,
        package,
        size: 0,
        root,
        signature: zeros.clone(),
        passphrase: PassphraseFrom::Typed,
        statement: None,
    };
    let mut acts = SignatureMeaning::ALL.map(sign).to_vec();
    acts.push(Act::Issue {
        order: order.clone(),
        report: format!("{order}-1"),
        outcome,
        record: outcome,
        document: outcome,
        supersedes: None,
        program: "darkline".into(),
        size: 0,
        root,
        signature: zeros.clone(),
        because: None,
        setting: None,
        passphrase: PassphraseFrom::Typed,
        statement: None,
    });
    acts
}

fn drafts(acts: &[Act], by: &PersonId, at: &Timestamp) -> Result<Vec<Draft>, Fault> {
    let draft = |act: &Act| Ok(Draft { id: EntryId::random()?, by: by.clone(), at: at.clone(), bytes: act.bytes() });
    acts.iter().map(draft).collect()
}

/// The key of the bench.
fn key() -> SigningKey {
    SigningKey::from_seed(&[7; 32])
}

fn fill(path: &Path, n: u32) -> Result<(), Fault> {
    let log = LogId::new("bench-1")?;
    let mut store = SqliteStore::create(path, &log, key())?;
    let (by, at, example) = (PersonId::new("j.alder")?, Timestamp::now(), Example::read()?);
    let root = Hash::from_bytes([0; 32]);
    store.append(&drafts(&[example.method()], &by, &at)?)?;
    for number in 0..n {
        let order: OrderId = format!("2026-{number:05}").parse()?;
        let mut acts = example.measured(&order)?;
        let mut state = State::default();
        for (number, draft) in (0..).zip(drafts(&[&[example.method()], &acts[..]].concat(), &by, &at)?) {
            let Draft { id, by, at, bytes } = draft;
            state.fold(&Entry { log: log.clone(), number, id, by, at, bytes })?;
        }
        let package = state.package(&order, Default::default()).ok_or("it is open")?;
        let outcome = evaluate(&package, &[])?;
        if number % 10 != 0 {
            acts.extend(issued(&order, outcome.digest(), outcome.package, root));
        }
        store.append(&drafts(&acts, &by, &at)?)?;
    }
    Ok(())
}

fn main() -> Result<(), Fault> {
    let n: u32 = std::env::var("ORDERS").ok().and_then(|n| n.parse().ok()).unwrap_or(10_000);
    let folder = tempfile::tempdir()?;
    let (path, beside) = (folder.path().join("laboratory.trail"), folder.path().join("laboratory.trail.orders"));
    fill(&path, n)?;
    let time = |what: &str, goal: &str| -> Result<(), Fault> {
        let began = Instant::now();
        let store = SqliteStore::open(&path)?;
        let list = OrderList::of(&store, &beside)?;
        let seconds = began.elapsed().as_secs_f64();
        assert_eq!(list.orders().len(), n as usize);
        let count = |state| list.orders().values().filter(|listed| listed.state == Some(state)).count();
        assert_eq!(count(Stage::Issued) + count(Stage::Measured), n as usize);
        assert_eq!(count(Stage::Issued), (n - n.div_ceil(10)) as usize);
        println!("  {what:<28} {:8.0} ms   {goal}", seconds * 1e3);
        Ok(())
    };
    let entries = SqliteStore::open(&path)?.size(&LogId::new("bench-1")?)?;
    println!("the list of {n} orders, {entries} entries");
    time("made anew", "")?;
    time("as it was kept", "(goal 200)")?;
    let mut store = SqliteStore::open(&path)?.sign_with(key())?;
    let zeros = Hash::from_bytes([0; 32]);
    let digest = Digest::of(b"results that nobody signed");
    let act = issued(&"2026-00000".parse()?, digest, digest, zeros).swap_remove(0);
    store.append(&drafts(&[act], &PersonId::new("j.alder")?, &Timestamp::now())?)?;
    drop(store);
    time("after one more act", "(goal 200)")?;
    time("as it was kept, again", "(goal 200)")?;
    println!("  kept in {:.1} MB", std::fs::metadata(&beside)?.len() as f64 / 1e6);
    let began = Instant::now();
    let laboratory = Laboratory::over(Box::new(SqliteStore::open(&path)?))?;
    println!("  {:<28} {:8.0} ms", "everything folded, no list", began.elapsed().as_secs_f64() * 1e3);
    drop(laboratory);
    Ok(())
}
