//! Any bytes as a preparation batch.

#![no_main]

use darkline_fuzz::text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    text(data, |text| drop(darkline_exchange::preparation::read("preparation.toml", text)));
});
