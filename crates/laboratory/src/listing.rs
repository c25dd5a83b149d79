//! The list of all orders without folding the record: what the entries say about each, kept beside the record.
//!
//! A record of ten thousand orders takes seconds to fold, since every document is read again; a list needs none of that.
//! What is kept is derived from entries and nothing else: it is believed only where the log still has the root it was made
//! under, goes on from there, and can be deleted at any time.
//!
//! How far an order has come by its results is not here: that is worked out, one order at a time, by [`Laboratory::order`] and
//! `evaluate`.
//!
//! [`Laboratory::order`]: crate::Laboratory::order

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::path::Path;

use darkline_audit_trail::{Entry, Hash, Store, StoreError};
use serde::{Deserialize, Serialize};

const SCHEMA: &str = "darkline/order-list/1";

/// What the entries say about an order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Listed {
    /// The entry that named it first.
    pub first_entry: u64,
    /// The last entry that names it.
    pub last_entry: u64,
    /// When that was.
    pub last_at: String,
    /// Who did it.
    pub last_by: String,
    /// The act, as entries name acts: `open-order`, `sign`, `issue`.
    pub last_act: String,
    /// Signatures under its results so far.
    pub n_signatures: u32,
    /// The number of its last report.
    pub report: Option<String>,
}

/// All orders of a log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OrderList {
    schema: String,
    log: String,
    size: u64,
    root: Option<Hash>,
    /// By the order's identity.
    pub orders: BTreeMap<String, Listed>,
}

/// The members of an act that a list looks at; everything else is passed over unread.
#[derive(Deserialize)]
struct Glance<'a> {
    #[serde(borrow)]
    act: std::borrow::Cow<'a, str>,
    #[serde(borrow)]
    order: Option<std::borrow::Cow<'a, str>>,
    #[serde(borrow)]
    report: Option<std::borrow::Cow<'a, str>>,
}

impl OrderList {
    /// The list of a store's own log, taken up from the file where it was kept, and kept there again where it grew.
    ///
    /// # Arguments
    /// * `beside`: where the list is kept. What stands there and is no list of this log is made anew; where nothing can be
    ///   written, nothing is kept.
    ///
    /// # Errors
    /// [`StoreError`]: the record cannot be read.
    pub fn of(store: &dyn Store, beside: &Path) -> Result<Self, StoreError> {
        let kept = std::fs::read(beside).ok().and_then(|bytes| serde_json::from_slice::<Self>(&bytes).ok());
        let mut list = match kept {
            Some(kept) if kept.still_holds(store)? => kept,
            _ => Self {
                schema: SCHEMA.into(),
                log: store.log().to_string(),
                size: 0,
                root: None,
                orders: BTreeMap::new(),
            },
        };
        if list.go_on(store)? > 0 {
            list.keep(beside);
        }
        Ok(list)
    }

    /// Whether the log has, at the size of this list, the root that it was made under.
    fn still_holds(&self, store: &dyn Store) -> Result<bool, StoreError> {
        if self.schema != SCHEMA || self.log != store.log().as_str() {
            return Ok(false);
        }
        let edge = store.frontier(store.log(), self.size)?;
        Ok(edge.is_some_and(|edge| Some(edge.root()) == self.root))
    }

    /// Takes in what was appended since; how many entries that were.
    fn go_on(&mut self, store: &dyn Store) -> Result<u64, StoreError> {
        let before = self.size;
        store.scan(store.log(), before, &mut |entry| {
            self.take(entry);
            ControlFlow::Continue(())
        })?;
        if self.size > before {
            self.root = store.frontier(store.log(), self.size)?.map(|edge| edge.root());
        }
        Ok(self.size - before)
    }

    fn take(&mut self, entry: &Entry) {
        self.size = entry.number.saturating_add(1);
        let Ok(Glance { act, order: Some(order), report }) = serde_json::from_slice::<Glance<'_>>(&entry.bytes) else {
            return;
        };
        let (number, at, by) = (entry.number, entry.at.to_string(), entry.by.to_string());
        let listed = self.orders.entry(order.into_owned()).or_insert_with(|| Listed {
            first_entry: number,
            last_entry: number,
            last_at: String::new(),
            last_by: String::new(),
            last_act: String::new(),
            n_signatures: 0,
            report: None,
        });
        (listed.last_entry, listed.last_at, listed.last_by) = (number, at, by);
        match act.as_ref() {
            "sign" => listed.n_signatures += 1,
            "issue" => listed.report = report.map(std::borrow::Cow::into_owned),
            _ => {}
        }
        listed.last_act = act.into_owned();
    }

    /// Keeps the list under its name at once or not at all; without it the next one is made anew.
    fn keep(&self, beside: &Path) {
        let Ok(bytes) = serde_json::to_vec(self) else { return };
        let mut unfinished = beside.as_os_str().to_owned();
        unfinished.push(format!(".{}", std::process::id()));
        if std::fs::write(&unfinished, bytes).and_then(|()| std::fs::rename(&unfinished, beside)).is_err() {
            let _ = std::fs::remove_file(&unfinished);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use darkline_audit_trail::keys::SigningKey;
    use darkline_audit_trail::{Draft, EntryId, LogId, PersonId, SqliteStore, Timestamp};

    fn append(store: &mut SqliteStore, acts: &[&str]) {
        let by = PersonId::new("j.alder").unwrap();
        let at = Timestamp::new("2026-03-14T09:30:00+01:00").unwrap();
        let draft = |act: &&str| Draft {
            id: EntryId::random().unwrap(),
            by: by.clone(),
            at: at.clone(),
            bytes: act.as_bytes().to_vec(),
        };
        store.append(&acts.iter().map(draft).collect::<Vec<_>>()).unwrap();
    }

    #[test]
    fn a_list_goes_on_where_it_was_kept_and_is_made_anew_where_it_does_not_belong() {
        let folder = tempfile::tempdir().unwrap();
        let beside = folder.path().join("orders");
        let make = |name: &str| {
            let (log, key) = (LogId::new("bench-2").unwrap(), SigningKey::from_seed(&[7; 32]));
            SqliteStore::create(&folder.path().join(name), &log, key).unwrap()
        };
        let mut store = make("a");
        append(&mut store, &[r#"{"act":"open-order","edition":0,"order":"2026-1"}"#, r#"{"act":"set-person"}"#]);
        assert_eq!(OrderList::of(&store, &beside).unwrap().orders["2026-1"].last_act, "open-order");
        append(
            &mut store,
            &[
                r#"{"act":"sign","meaning":"measured","order":"2026-1"}"#,
                r#"{"act":"issue","order":"2026-1","report":"2026-1-1"}"#,
                r#"{"act":"open-order","edition":0,"order":"2026-2"}"#,
                "no act at all",
            ],
        );
        let list = OrderList::of(&store, &beside).unwrap();
        let first = &list.orders["2026-1"];
        assert_eq!((first.first_entry, first.last_entry, first.n_signatures), (0, 3, 1));
        assert_eq!((first.report.as_deref(), first.last_act.as_str()), (Some("2026-1-1"), "issue"));
        assert_eq!((list.orders.len(), list.size), (2, 6));
        // The same from the file, from nothing, and over rubbish.
        assert_eq!(OrderList::of(&store, &beside).unwrap(), list);
        for rubbish in [&b""[..], b"{}", b"\xff"] {
            std::fs::write(&beside, rubbish).unwrap();
            assert_eq!(OrderList::of(&store, &beside).unwrap(), list);
        }
        std::fs::remove_file(&beside).unwrap();
        assert_eq!(OrderList::of(&store, &beside).unwrap(), list);
        // Another record of the same name: the root tells.
        let mut other = make("b");
        append(&mut other, &[r#"{"act":"open-order","edition":0,"order":"2026-9"}"#; 1]);
        append(&mut other, &["a", "b", "c", "d", "e", "f"]);
        let anew = OrderList::of(&other, &beside).unwrap();
        assert_eq!(anew.orders.keys().collect::<Vec<_>>(), ["2026-9"]);
        // Where nothing can be kept the list is told all the same.
        assert_eq!(OrderList::of(&other, &folder.path().join("none/orders")).unwrap(), anew);
    }
}
