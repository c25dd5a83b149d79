//! What all answers share: the laboratory, kept folded; evaluated orders, as long as nothing about them changed; sign-ins.
//!
//! Everything here may wait for a disk, so that the front door calls it on threads of its own.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use darkline_audit_trail::PersonId;
use darkline_audit_trail::keys::SigningKey;
use darkline_evaluation::evaluate;
use darkline_laboratory::{Evaluated, Laboratory, LaboratoryError};
use darkline_record::identity::{Edition, OrderId, RunId};
use tokio::sync::watch;

use crate::access_log;
use crate::answer::Refused;
use crate::rate::{Rate, Takes};
use crate::session::{Lasts, Sessions};

/// Evaluated orders that are kept at a time.
const MOST_KEPT: usize = 64;
/// How often an act is tried again where somebody else appended in the same moment.
const MOST_TRIES: u32 = 5;

/// How the pages are served.
#[derive(Clone, Debug)]
pub struct Settings {
    /// How long a sign-in lasts.
    pub lasts: Lasts,
    /// Names that the pages may be asked under, besides addresses in figures and `localhost`.
    pub names: Vec<String>,
    /// Whether the pages come over TLS.
    pub over_tls: bool,
    /// Whether only this machine can reach them.
    pub is_loopback: bool,
    /// Where sign-ins and refusals are written down.
    pub access_log: Option<PathBuf>,
    /// The program that reports name.
    pub program: String,
    /// Seconds since some moment; a test sets its own.
    pub clock: fn() -> u64,
}

/// What an evaluation of an order rests on, as far as it can change.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Stand {
    edition: Option<Edition>,
    n_decisions: usize,
    n_batches: usize,
    runs: Vec<(RunId, usize, usize)>,
}

/// An evaluated order with what it rests on, and the size of the record when that was last looked at.
struct Kept {
    size: u64,
    stand: Stand,
    evaluated: Arc<Evaluated>,
}

impl Stand {
    fn of(laboratory: &Laboratory, order: &OrderId) -> Result<Self, LaboratoryError> {
        let (known, state) = (laboratory.order(order)?, laboratory.state());
        let runs = state.runs_of(order);
        let run = |run: &&darkline_laboratory::state::RunState| {
            (run.run.id.clone(), run.run.readings.len(), run.run.legs.len())
        };
        Ok(Self {
            edition: known.edition,
            n_decisions: state.decisions_of(order).len(),
            n_batches: state.batches_of(order).len(),
            runs: runs.iter().map(run).collect(),
        })
    }
}

/// What all answers share.
pub struct Desk {
    laboratory: Mutex<Laboratory>,
    pub(crate) settings: Settings,
    pub(crate) sessions: Mutex<Sessions>,
    rate: Mutex<Rate>,
    kept: Mutex<BTreeMap<OrderId, Kept>>,
    turns: Mutex<BTreeMap<OrderId, Arc<Mutex<()>>>>,
    looked: Mutex<BTreeMap<(PersonId, OrderId), u64>>,
    decoy: String,
    size: watch::Sender<u64>,
    begun: std::time::Instant,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // What a thread that panicked left is looked up or folded again; nothing in here is half done.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Desk {
    /// A desk over a laboratory that may append.
    ///
    /// # Errors
    /// The operating system gives no random bytes.
    pub fn new(laboratory: Laboratory, settings: Settings) -> Result<Self, LaboratoryError> {
        let key = SigningKey::random().map_err(|_| LaboratoryError::NoRandomness)?;
        let decoy = key.to_kept_text("nobody has this passphrase")?.to_string();
        let size = watch::Sender::new(laboratory.state().n_entries);
        Ok(Self {
            laboratory: Mutex::new(laboratory),
            settings,
            sessions: Mutex::default(),
            rate: Mutex::default(),
            kept: Mutex::default(),
            turns: Mutex::default(),
            looked: Mutex::default(),
            decoy,
            size,
            begun: std::time::Instant::now(),
        })
    }

    /// The laboratory as it stands now, what others appended included.
    pub(crate) fn laboratory(&self) -> Result<MutexGuard<'_, Laboratory>, Refused> {
        let mut laboratory = locked(&self.laboratory);
        laboratory.catch_up()?;
        let size = laboratory.state().n_entries;
        self.size.send_if_modified(|known| {
            let is_news = *known != size;
            *known = size;
            is_news
        });
        Ok(laboratory)
    }

    /// Does something that appends; where somebody else appended in the same moment it is tried again on what stands then.
    pub(crate) fn act<T>(
        &self,
        mut act: impl FnMut(&mut Laboratory) -> Result<T, LaboratoryError>,
    ) -> Result<T, LaboratoryError> {
        let mut tries = 0;
        loop {
            let mut laboratory = locked(&self.laboratory);
            laboratory.catch_up()?;
            match act(&mut laboratory) {
                Err(LaboratoryError::Overtaken { .. }) if tries < MOST_TRIES => tries += 1,
                answer => {
                    let size = laboratory.state().n_entries;
                    self.size.send_replace(size);
                    return answer;
                }
            }
        }
    }

    /// Looks whether the record grew; called now and then, so that what another program appends is news here.
    pub(crate) fn look(&self) {
        // A record that cannot be read now is read with the next look, and told by the page that wants it.
        drop(self.laboratory());
    }

    /// The size of the record, as news.
    pub(crate) fn news(&self) -> watch::Receiver<u64> {
        self.size.subscribe()
    }

    /// An order evaluated; worked out again only where something about it changed, and then by one thread alone.
    pub(crate) fn evaluated(&self, order: &OrderId) -> Result<Arc<Evaluated>, Refused> {
        if let Some(known) = self.still_known(&*self.laboratory()?, order)? {
            return Ok(known);
        }
        let turn = locked(&self.turns).entry(order.clone()).or_default().clone();
        let _turn = locked(&turn);
        let laboratory = self.laboratory()?;
        if let Some(known) = self.still_known(&laboratory, order)? {
            return Ok(known);
        }
        if laboratory.state().restored.contains_key(order) {
            return Ok(Arc::new(laboratory.evaluate(order)?));
        }
        let (size, stand) = (laboratory.state().n_entries, Stand::of(&laboratory, order)?);
        let package = laboratory.package(order)?;
        let decisions = laboratory.state().decisions_of(order);
        // Others go on while this is worked out.
        drop(laboratory);
        let outcome = evaluate(&package, &decisions).map_err(LaboratoryError::from)?;
        let evaluated = Arc::new(Evaluated { package, decisions, outcome });
        let mut kept = locked(&self.kept);
        if kept.len() >= MOST_KEPT && !kept.contains_key(order) {
            kept.pop_first();
        }
        kept.insert(order.clone(), Kept { size, stand, evaluated: evaluated.clone() });
        Ok(evaluated)
    }

    fn still_known(&self, laboratory: &Laboratory, order: &OrderId) -> Result<Option<Arc<Evaluated>>, Refused> {
        if laboratory.state().restored.contains_key(order) {
            return Ok(None);
        }
        let size = laboratory.state().n_entries;
        let mut kept = locked(&self.kept);
        let Some(known) = kept.get_mut(order) else { return Ok(None) };
        // To see what an order rests on takes a look at all runs; a record that did not grow needs none.
        if known.size != size && known.stand != Stand::of(laboratory, order)? {
            return Ok(None);
        }
        known.size = size;
        Ok(Some(known.evaluated.clone()))
    }

    /// Up to which entry a person had seen an order before now; what they see now is remembered.
    pub(crate) fn looked(&self, person: &PersonId, order: &OrderId, size: u64) -> Option<u64> {
        let mut looked = locked(&self.looked);
        if looked.len() > 10_000 {
            looked.clear();
        }
        looked.insert((person.clone(), order.clone()), size)
    }

    /// Takes as long as a passphrase that is tried.
    pub(crate) fn try_the_decoy(&self, passphrase: &str) {
        let _ = SigningKey::from_kept_text(&self.decoy, passphrase);
    }

    /// Whether an address may ask again now.
    pub(crate) fn take(&self, from: IpAddr, takes: Takes) -> Result<(), Refused> {
        let now_ms = u64::try_from(self.begun.elapsed().as_millis()).unwrap_or(u64::MAX);
        locked(&self.rate).take(from, takes, now_ms).map_err(|seconds| {
            Refused::new(429, "this address asks too often", format!("Wait {seconds} s, then go on."))
        })
    }

    /// The sign-ins.
    pub(crate) fn sessions(&self) -> MutexGuard<'_, Sessions> {
        locked(&self.sessions)
    }

    /// Now, in s.
    pub(crate) fn now(&self) -> u64 {
        (self.settings.clock)()
    }

    /// Writes down who signed in or was refused.
    ///
    /// # Errors
    /// It cannot be written, so that what it is about is not done either.
    pub(crate) fn write_down(&self, from: IpAddr, person: Option<&str>, what: &str, path: &str) -> Result<(), Refused> {
        let Some(file) = &self.settings.access_log else { return Ok(()) };
        access_log::write(file, from, person, what, path).map_err(|_| Refused::fault())
    }
}
