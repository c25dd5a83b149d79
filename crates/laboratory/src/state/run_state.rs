//! A run with who had a hand in it.

use std::collections::{BTreeMap, BTreeSet};

use darkline_audit_trail::PersonId;
use darkline_audit_trail::keys::PublicKey;
use darkline_record::canonical::Digest;
use darkline_record::decision::FlagId;
use darkline_record::run::Run;

use crate::act::Attached;

/// What a device signed when it brought readings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceSigned {
    /// The entry.
    pub entry: u64,
    /// The device.
    pub by: PersonId,
    /// The text that was signed.
    pub text: String,
    /// The signature, in hexadecimal digits.
    pub signature: String,
    /// Its key then.
    pub key: Option<PublicKey>,
}

/// A run with who had a hand in it.
#[derive(Debug)]
pub struct RunState {
    /// The run.
    pub run: Run,
    /// Who brought readings.
    pub measured_by: BTreeSet<PersonId>,
    /// Tables that were imported, with the digests of the pulses they name.
    pub tables: Vec<(Attached, BTreeMap<u32, Digest>)>,
    /// The entries that brought them.
    pub imports: Vec<u64>,
    /// Signatures of devices under what they brought.
    pub device_signed: Vec<DeviceSigned>,
    /// Flags whose step has become a leg already, with the number of the decision's entry.
    pub legs_for: BTreeSet<FlagId>,
}
