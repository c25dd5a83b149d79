//! The examples with a virtual bench: every command of their READMEs, as it stands there.

use crate::laboratory::{Bench, Stage, repository};
use crate::program::Ran;

/// Runs the commands of an example's README; what the last of each verb said.
fn walk(example: &str) -> Vec<(String, Ran)> {
    let bench = Bench::at(Stage::People);
    let folder = repository().join("examples").join(example);
    let readme = std::fs::read_to_string(folder.join("README.md")).unwrap();
    let commands = readme.split("```sh\n").nth(1).unwrap().split("```").next().unwrap();
    let there = folder.canonicalize().unwrap();
    let ran = commands.lines().map(|line| {
        let words = line.strip_prefix("darkline ").unwrap();
        let words = words.replace(&format!("../darkline/examples/{example}"), there.to_str().unwrap());
        (line.to_owned(), bench.run(&words))
    });
    ran.collect()
}

fn of<'a>(ran: &'a [(String, Ran)], what: &str) -> &'a Ran {
    &ran.iter().find(|(line, _)| line.contains(what)).unwrap().1
}

#[track_caller]
fn shows(ran: &Ran, text: &str) {
    assert!(ran.out.contains(text), "{text}\n{}", ran.out);
}

#[test]
fn copper_in_tap_water_is_read_in_the_flame_and_judged() {
    let ran = walk("copper-water");
    for (line, ran) in &ran {
        // A flag stops the report: an air bubble.
        assert!(matches!(ran.code, Some(0 | 1)), "{line}\n{}{}", ran.out, ran.told);
    }
    assert_eq!(of(&ran, "evaluate").code, Some(1));
    let judged = of(&ran, "--judge");
    // Beyond 2 u: tap-4, whose bubble still counts, and by a little the lowest two (see the README).
    shows(judged, "5 of 7 values within 2 u of the truth");
    shows(judged, "air-bubble@14.3=40 %: found by");
}

#[test]
fn cadmium_in_cocoa_is_weighed_into_the_tube_and_judged() {
    let ran = walk("cadmium-cocoa");
    for (line, ran) in &ran {
        assert!(matches!(ran.code, Some(0 | 1)), "{line}\n{}{}", ran.out, ran.told);
    }
    let details = of(&ran, "--details");
    shows(details, "mass fraction");
    shows(details, "powders and solutions do not agree");
    shows(of(&ran, "explain"), "heterogeneity");
    shows(of(&ran, "--judge"), "spilled-portion@12.4=50 %: found by portion-outlier:reading:R71/");
}
