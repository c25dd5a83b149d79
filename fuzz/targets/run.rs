//! Any bytes as the head of a run.

#![no_main]

use darkline_fuzz::text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    text(data, |text| drop(darkline_exchange::run::read("run.toml", text)));
});
