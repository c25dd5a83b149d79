//! RFC 9106 (2021): Argon2id; the vector of section 5.3, and the cost at which people's keys are kept.
//!
//! Data: `reference/records/argon2.toml`.

use argon2::{Algorithm, Argon2, AssociatedData, ParamsBuilder, Version};
use darkline_audit_trail::keys::SigningKey;

use crate::Pack;
use crate::pack::bytes_of;

fn tag(cost: [u64; 3], password: &[u8], salt: &[u8], secret: &[u8], data: &[u8]) -> Vec<u8> {
    let [memory_kib, iterations, lanes] = cost.map(|number| u32::try_from(number).unwrap());
    let parameters = ParamsBuilder::new()
        .m_cost(memory_kib)
        .t_cost(iterations)
        .p_cost(lanes)
        .output_len(32)
        .data(AssociatedData::new(data).unwrap())
        .build()
        .unwrap();
    let argon2 = Argon2::new_with_secret(secret, Algorithm::Argon2id, Version::V0x13, parameters).unwrap();
    let mut tag = vec![0; 32];
    argon2.hash_password_into(password, salt, &mut tag).unwrap();
    tag
}

#[test]
fn every_case_gives_the_published_tag() {
    let pack = Pack::read("argon2.toml");
    for case in pack.cases("raw_case") {
        assert_eq!((case.text("variant"), case.number("version"), case.number("tag_bytes")), ("Argon2id", 19, 32));
        let cost = ["memory_kib", "iterations", "lanes"].map(|key| case.number(key));
        let secret = case.bytes("secret_hex");
        let found = tag(
            cost,
            &case.bytes("password_hex"),
            &case.bytes("salt_hex"),
            &secret,
            &case.bytes("associated_data_hex"),
        );
        assert_eq!(found, case.bytes("tag"), "{}", case.id());
    }
    for case in pack.cases("phc_case") {
        let cost = ["memory_kib", "iterations", "lanes"].map(|key| case.number(key));
        let (password, salt) = (case.text("password"), case.text("salt_ascii"));
        assert_eq!(
            tag(cost, password.as_bytes(), salt.as_bytes(), &[], &[]),
            bytes_of(case.text("tag")),
            "{}",
            case.id()
        );
        let [m, t, p] = cost;
        assert!(case.text("phc").starts_with(&format!("$argon2id$v=19$m={m},t={t},p={p}$")), "{}", case.id());
    }
    pack.all_claimed(&["raw_case", "phc_case"]);
}

/// The second recommended option, above each floor; salt, scheme and cost stand beside the key.
#[test]
fn people_s_keys_are_kept_at_a_recommended_cost() {
    let pack = Pack::read("argon2.toml");
    let option = pack.case("option", "rfc9106-second");
    let [m, t, p] = ["memory_kib", "iterations", "lanes"].map(|key| option.number(key));
    let text = SigningKey::from_seed(&[9; 32]).to_kept_text("gathered by the weir").unwrap();
    let line = text.lines().last().unwrap();
    let salt = line.strip_prefix(&format!("$argon2id$v=19$m={m},t={t},p={p}$")).expect(line);
    // Base64 without padding: 16 bytes are 22 letters.
    assert_eq!((option.number("salt_bytes"), salt.len()), (16, 22));
    let floor = pack.case("floor", "asvs-floor");
    for row in floor.get("rows").unwrap().as_array().unwrap() {
        let of = |key: &str| u64::try_from(row[key].as_integer().unwrap()).unwrap();
        if of("iterations") <= t {
            assert!(m >= of("memory_kib_min"));
        }
    }
}

#[test]
fn two_texts_of_one_key_have_two_salts() {
    let salts = [(); 2].map(|()| {
        let text = SigningKey::from_seed(&[9; 32]).to_kept_text("gathered by the weir").unwrap();
        text.lines().last().unwrap().to_owned()
    });
    assert_ne!(salts[0], salts[1]);
}
