//! Any bytes as a method.

#![no_main]

use darkline_fuzz::text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    text(data, |text| drop(darkline_exchange::method::read("method.toml", text)));
});
