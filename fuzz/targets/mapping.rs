//! Any bytes as a column mapping.

#![no_main]

use darkline_fuzz::text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    text(data, |text| drop(darkline_exchange::instrument_file::mapping::read("mapping.toml", text)));
});
