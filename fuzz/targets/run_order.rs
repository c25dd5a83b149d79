//! Any bytes as the rows of a run, which read back as they are written.

#![no_main]

use darkline_fuzz::text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    text(data, darkline_fuzz::run_order);
});
