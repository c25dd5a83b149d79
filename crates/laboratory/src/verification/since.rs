//! An archive or a record held against a checkpoint from an earlier audit: nothing that it covers was written anew.

use darkline_audit_trail::keys::PublicKey;
use darkline_audit_trail::{CannotShowGrowth, Checkpoint, GrowthProof, Hash, Store, StoreError, merkle, prove_growth};
use darkline_exchange::bag;

use super::{Check, first_12};
use crate::archive::EntryLine;

/// Holds the entries of an archive, which was found in order, against an earlier checkpoint of its log.
pub fn archive_since(bytes: &[u8], earlier: &Checkpoint) -> Check {
    let faults = match leaves_of(bytes) {
        Err(fault) => vec![fault],
        Ok((log, leaves, devices)) => {
            let mut faults = Vec::new();
            if log != earlier.log.as_str() {
                faults.push(format!("the archive is of the log {log}, the earlier checkpoint of {}", earlier.log));
            }
            match devices.iter().find(|device| device.fingerprint() == earlier.key) {
                None => {
                    faults.push(format!("the earlier checkpoint is signed by {}, which is no bench here", earlier.key))
                }
                Some(device) => faults.extend(earlier.verify(device).err().map(|fault| fault.to_string())),
            }
            let covered = usize::try_from(earlier.size).ok().and_then(|size| leaves.get(..size));
            match covered {
                None => faults.push(format!(
                    "the earlier checkpoint covers {} entries, the archive has {}",
                    earlier.size,
                    leaves.len()
                )),
                Some(covered) if merkle::root(covered) != earlier.root => faults.push(anew(earlier)),
                Some(_) => {}
            }
            faults
        }
    };
    Check { what: "since", found: found(earlier), faults }
}

fn leaves_of(bytes: &[u8]) -> Result<(String, Vec<Hash>, Vec<PublicKey>), String> {
    let bag = bag::read(bytes).map_err(|faults| faults.to_string())?;
    let text = |name: &str| {
        let bytes = bag.payload.get(name).ok_or_else(|| format!("{name} is missing"))?;
        std::str::from_utf8(bytes).map_err(|_| format!("{name} is not text"))
    };
    let line = |line: &str| -> Result<Hash, String> {
        let line: EntryLine = serde_json::from_str(line).map_err(|error| error.to_string())?;
        line.leaf.parse().map_err(|_| format!("the leaf of entry {} is no hash", line.number))
    };
    let leaves = text("entries.jsonl")?.lines().map(line).collect::<Result<_, _>>()?;
    let key = |line: &str| line.parse::<PublicKey>().map_err(|_| format!("devices.txt: {line:?} is no key"));
    let devices = text("devices.txt")?.lines().map(key).collect::<Result<_, _>>()?;
    let checkpoint = Checkpoint::from_text(text("checkpoint.txt")?).map_err(|fault| fault.to_string())?;
    Ok((checkpoint.log.to_string(), leaves, devices))
}

/// Holds a record against an earlier checkpoint of its log, and gives the proof for whoever kept it.
///
/// # Errors
/// The store cannot be read. A log that was written anew is a fault of the check.
pub fn record_since(store: &dyn Store, earlier: &Checkpoint) -> Result<(Check, Option<GrowthProof>), StoreError> {
    let with = |faults| Check { what: "since", found: found(earlier), faults };
    match prove_growth(store, earlier) {
        Ok(proof) => {
            let more = proof.later.size - earlier.size;
            let found = format!("{}; {more} more since, shown by {} hashes", found(earlier), proof.path.len());
            Ok((Check { what: "since", found, faults: Vec::new() }, Some(proof)))
        }
        Err(CannotShowGrowth::Store(StoreError::OtherLog { .. } | StoreError::NoSuchLog { .. })) => {
            Ok((with(vec![format!("the earlier checkpoint is of the log {}, which is not here", earlier.log)]), None))
        }
        Err(CannotShowGrowth::Store(fault)) => Err(fault),
        Err(CannotShowGrowth::Shorter { n_entries, size, .. }) => {
            Ok((with(vec![format!("the earlier checkpoint covers {size} entries, {n_entries} are there")]), None))
        }
        Err(CannotShowGrowth::Broken(why)) => Ok((with(vec![format!("{}: {why}", anew(earlier))]), None)),
        Err(CannotShowGrowth::Wish(why)) => Ok((with(vec![why.to_string()]), None)),
    }
}

fn found(earlier: &Checkpoint) -> String {
    format!("the {} entries of {} stand as they were, root {}", earlier.size, earlier.at, first_12(&earlier.root))
}

fn anew(earlier: &Checkpoint) -> String {
    format!("the first {} entries are not those that the checkpoint of {} covers", earlier.size, earlier.at)
}
