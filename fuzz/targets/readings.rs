//! Any bytes as a table of readings, which reads back as it is written.

#![no_main]

use darkline_fuzz::text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    text(data, darkline_fuzz::readings);
});
