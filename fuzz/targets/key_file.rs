//! Any bytes as a public key and the key of a device.

#![no_main]

use darkline_fuzz::text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    text(data, |text| {
        drop(darkline_audit_trail::keys::SigningKey::from_plain_pem(text));
        drop(darkline_audit_trail::keys::PublicKey::from_pem(text));
    });
});
