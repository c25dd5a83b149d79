//! RFC 3339 (2002), sections 5.6 and 5.7: the times that stand in entries and checkpoints.
//!
//! Data: `reference/records/time.toml`.

use darkline_audit_trail::Timestamp;

use crate::Pack;

#[test]
fn every_time_is_answered_as_published_and_keeps_its_text() {
    let pack = Pack::read("time.toml");
    for case in pack.cases("case") {
        let text = case.text("text");
        let answer = Timestamp::new(text);
        assert_eq!(answer.is_ok(), case.expects_acceptance(), "{text}: {answer:?}");
        if let Ok(time) = answer {
            assert_eq!(time.as_str(), text);
            if let Some(utc) = case.get("utc") {
                let utc = Timestamp::new(utc.as_str().unwrap()).unwrap();
                assert_eq!(time.instant(), utc.instant(), "{text}");
            }
        }
    }
    pack.all_claimed(&["case"]);
}

#[test]
fn the_file_has_no_part_without_a_test() {
    // `rule` holds sentences: the offset is required, the text is kept, the instant orders.
    Pack::read("time.toml").has_only(&["meta", "rule", "case"]);
}
