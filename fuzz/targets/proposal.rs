//! Any bytes as any file that a mapping is proposed for.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    drop(darkline_exchange::instrument_file::proposal::propose("file.csv", data, "furnace-2"));
});
