//! Any bytes as what an entry says.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    drop(serde_json::from_slice::<darkline_laboratory::act::Act>(data));
});
