//! Between two audits: a checkpoint that somebody kept, and what is shown to them later.

use crate::laboratory::{Bench, Stage};

fn kept_at(stage: Stage) -> String {
    Bench::at(stage).run("checkpoint").ends(0).out
}

#[test]
fn a_record_that_only_grew_is_shown_to_whoever_kept_a_checkpoint() {
    let bench = Bench::at(Stage::Archived);
    for stage in [Stage::People, Stage::Imported, Stage::Archived] {
        bench.write("kept", kept_at(stage));
        let proof = format!("{stage:?}.growth");
        let ran = bench.run(&format!("verify --since kept --proof {proof}")).ends(0).says("stand as they were");
        assert!(ran.out.contains("● since"), "{}", ran.out);
        let proof = bench.read(&proof);
        assert!(proof.starts_with("darkline/growth/1\ndarkline/checkpoint/1\nbench-1\n"), "{proof}");
        darkline_audit_trail::GrowthProof::from_text(&proof).unwrap();
        bench.run("verify archive.zip --since kept").ends(0).says("stand as they were");
    }
    let line = bench.run("checkpoint --json").ends(0).json().remove(0);
    assert_eq!(line["text"].as_str().unwrap(), kept_at(Stage::Archived));
    bench.run("checkpoint -o newest").ends(0).says("keep it where the laboratory cannot change it");
}

#[test]
fn a_record_that_was_made_anew_or_cut_back_is_told() {
    let other = Bench::without_record();
    let begin = "begin --as k.willow --full-name W --laboratory L --address A --key-file keys/k.willow";
    other.run(begin).ends(0);
    let bench = Bench::at(Stage::Archived);
    bench.write("kept", other.run("checkpoint").ends(0).out);
    for line in ["verify --since kept", "verify archive.zip --since kept"] {
        bench.run(line).ends(1).says("▲ since");
    }
    // An older copy of the record in its place.
    let cut_back = Bench::at(Stage::Imported);
    cut_back.write("kept", kept_at(Stage::Issued));
    cut_back.run("verify --since kept").ends(1).says("the earlier checkpoint covers");
    cut_back.run("verify").ends(0);
}

#[test]
fn what_is_no_checkpoint_or_was_altered_is_told() {
    let bench = Bench::at(Stage::Archived);
    bench.write("kept", "5dc9da79\n");
    bench.run("verify --since kept").ends(2).says("a checkpoint has seven lines");
    bench.run("verify --since no-such-file").ends(2);
    let kept = kept_at(Stage::Imported);
    let size = kept.lines().nth(2).unwrap();
    bench.write("kept", kept.replacen(&format!("\n{size}\n"), "\n2\n", 1));
    for line in ["verify --since kept", "verify archive.zip --since kept"] {
        bench.run(line).ends(1).says("was altered");
    }
    bench.run("verify archive.zip --since kept --proof p").ends(2);
}
