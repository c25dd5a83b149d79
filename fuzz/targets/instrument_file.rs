//! Any bytes as an instrument's file with its mapping and a file of traces; what is taken can be kept.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    darkline_fuzz::instrument_file(data);
});
