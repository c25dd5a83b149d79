//! Any bytes as an archive, which reads back as it is written.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    darkline_fuzz::bag(data);
});
