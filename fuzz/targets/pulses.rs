//! Any bytes as a file of pulses, which reads back as it is written.

#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    darkline_fuzz::pulses(data);
});
