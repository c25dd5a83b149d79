//! Any bytes as a checkpoint, and the proof of growth between two.

#![no_main]

use darkline_fuzz::text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    text(data, |text| {
        drop(darkline_audit_trail::Checkpoint::from_text(text));
        drop(darkline_audit_trail::GrowthProof::from_text(text));
    });
});
