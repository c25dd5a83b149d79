//! Any bytes as the truth of the virtual spectrometer.

#![no_main]

use darkline_fuzz::text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    text(data, |text| drop(darkline_simulator::Truth::from_toml(text)));
});
