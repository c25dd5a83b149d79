//! The examples of every command: each is a line that works on the demo or on `examples/`, with what it is for.

/// Command, its examples, what each is for.
type Examples = (&'static str, &'static [(&'static str, &'static str)]);

/// In the order of the job; the first are those of `darkline` itself.
const EXAMPLES: &[Examples] = &[
    (
        "",
        &[
            ("darkline demo", "a whole order of an invented laboratory, command by command"),
            ("darkline evaluate --help", "what a command does, with examples"),
        ],
    ),
    (
        "demo",
        &[
            ("darkline demo", "into the folder millrace-demo"),
            ("darkline demo --folder try-it --seed 7", "another day at the bench"),
        ],
    ),
    (
        "begin",
        &[
            (
                "darkline begin --as k.willow --full-name \"K. Willow\" --laboratory Millrace --address \"1 Weir Lane\"",
                "",
            ),
            ("darkline begin --as k.willow --full-name K --laboratory L --address A --record postgresql://db/r", ""),
        ],
    ),
    (
        "laboratory",
        &[
            ("darkline laboratory", "name and address"),
            ("darkline laboratory --name Millrace --address \"2 Weir Lane\" --as k.willow", "it moved"),
        ],
    ),
    ("people", &[("darkline people", "who is who"), ("darkline people --json", "for programs")]),
    (
        "people add",
        &[
            ("darkline people add j.alder --full-name \"J. Alder\" --role analyst --as k.willow", ""),
            ("darkline people add m.rowan --full-name \"M. Rowan\" --role reviewer --as k.willow", ""),
            ("darkline people add r.birch --full-name \"R. Birch\" --role \"quality manager\" --as k.willow", ""),
            ("darkline people add sampler-1 --full-name Sampler --role device --device-key s1.key --as k.willow", ""),
        ],
    ),
    (
        "people change",
        &[("darkline people change j.alder --role analyst --role reviewer --reason \"trained\" --as k.willow", "")],
    ),
    ("people close", &[("darkline people close j.alder --reason \"left at the end of May\" --as k.willow", "")]),
    ("people reopen", &[("darkline people reopen j.alder --reason \"is back\" --as k.willow", "")]),
    ("people passphrase", &[("darkline people passphrase --as j.alder", "asks for both")]),
    ("people renew", &[("darkline people renew j.alder --reason \"passphrase forgotten\" --as k.willow", "")]),
    ("people unlock", &[("darkline people unlock j.alder --reason \"asked in person\" --as k.willow", "")]),
    (
        "people authorise",
        &[
            ("darkline people authorise j.alder --method cd-release --until 2027-03-31 --reason trained --as r", ""),
            ("darkline people authorise j.alder --method cd-release --withdraw --reason \"on leave\" --as r", ""),
        ],
    ),
    (
        "open",
        &[
            ("darkline open examples/cadmium-release --as j.alder", ""),
            ("darkline open examples/cadmium-release --dry-run", "only look for faults"),
            ("darkline open examples/cadmium-release --identity-apart --as j.alder", "erasable one day"),
        ],
    ),
    (
        "plan",
        &[
            ("darkline plan 2026-041", "the run order"),
            ("darkline plan 2026-041 --extend --as j.alder", "add steps taken up"),
            ("darkline plan 2026-041 -o run-order.csv", "as a file"),
            ("darkline plan examples/drinking-water --check", "can we?"),
            ("darkline plan water --write --start 2026-05-04T09:00:00+02:00 --as j.alder", "a whole day"),
        ],
    ),
    (
        "simulate",
        &[
            ("darkline simulate 2026-041 --truth truth.toml -o readings-1.csv", "measure"),
            ("darkline simulate 2026-041 --truth t.toml --fault worn-tube@15 -o r.csv", "a fault"),
            ("darkline simulate 2026-041 --truth truth.toml --judge", "compare with the truth"),
        ],
    ),
    (
        "import",
        &[
            ("darkline import 2026-052 examples/cadmium-release/readings.csv --as j.alder", ""),
            ("darkline import 2026-041 readings-1.csv --pulses readings-1.parquet --as j.alder", ""),
            ("darkline import 2026-041 readings-2.csv --device-key sampler-1.key", "by a device"),
            ("darkline import --propose furnace.csv -o furnace-2.toml", "a first draft"),
            ("darkline import 2026-052 furnace.csv --mapping furnace-2.toml --as j.alder", "its own file"),
        ],
    ),
    (
        "watch",
        &[
            ("darkline watch share/furnace-2 --mapping furnace-2.toml --as j.alder", "until Ctrl-C"),
            ("darkline watch . --order 2026-041 --until-quiet 60 --as j.alder", "our own tables"),
        ],
    ),
    (
        "weigh",
        &[
            ("darkline weigh order/preparation.toml balance --mapping balance-1.toml -o weighed.toml", ""),
            ("darkline weigh p.toml balance --mapping b.toml -o w.toml --until-quiet 600", ""),
        ],
    ),
    (
        "evaluate",
        &[
            ("darkline evaluate 2026-041", "a table for people"),
            ("darkline evaluate 2026-041 --details", "calibration, controls and readings too"),
            ("darkline evaluate 2026-041 --json", "one JSON object a line, for programs"),
            ("darkline evaluate 2026-041 -o out.csv", "into a file (\"-\" is standard output)"),
            ("darkline evaluate 2026-041 --edition 900", "by another edition, beside its own"),
        ],
    ),
    (
        "export",
        &[
            ("darkline export 2026-041 -o results.csv --decimal-sign ,", "0,25 between semicolons"),
            ("darkline export 2026-041 --what readings -o readings.jsonl", "pulses beside them"),
        ],
    ),
    (
        "explain",
        &[
            ("darkline explain 2026-052 dish-1", "the derivation and the budget"),
            ("darkline explain 2026-041 S03 --element Pb --json", "the same for programs"),
        ],
    ),
    (
        "decide",
        &[
            ("darkline decide 2026-041 --reject R1/38 --reason \"droplet left on the tip\" --as j.alder", ""),
            ("darkline decide 2026-041 --take-up over-range:row:R1/18 --reason \"dilute as offered\" --as j.alder", ""),
            ("darkline decide 2026-041 --justify drift:row:R1/27 --reason \"lamp was warming up\" --as j.alder", ""),
        ],
    ),
    (
        "orders",
        &[
            ("darkline orders", "how far each has come"),
            ("darkline orders 2026-041", "signatures, returns and reports of one"),
        ],
    ),
    (
        "return",
        &[
            (
                "darkline return 2026-041 --on reading:R1/38 --remark \"its tail\" --reason \"one doubt\" --as m.rowan",
                "",
            ),
            ("darkline return 2026-041 --reason \"the wrong limit was agreed\" --as m.rowan", ""),
        ],
    ),
    (
        "sign",
        &[
            ("darkline sign 2026-041 --as j.alder", "asks first"),
            ("darkline sign 2026-041 --meaning approved --as m.rowan", "before somebody else issues it"),
        ],
    ),
    (
        "issue",
        &[
            ("darkline issue 2026-041 --as m.rowan -o 2026-041.pdf", "asks first"),
            ("darkline issue 2026-041 --because \"another limit\" --as m.rowan", "instead of an earlier one"),
        ],
    ),
    ("archive", &[("darkline archive 2026-041 --as m.rowan -o 2026-041.zip", "")]),
    ("keep", &[("darkline keep 2026-041 --until 2037-03-31 --reason \"10 years by contract\" --as m.rowan", "")]),
    ("erase-identity", &[("darkline erase-identity 2026-041 --reason \"retention ended\" --as m.rowan", "asks first")]),
    ("restore", &[("darkline restore 2026-041.zip --as k.willow", "")]),
    ("backup", &[("darkline backup copy-of-today --as k.willow", "")]),
    ("drill", &[("darkline drill copy-of-today --as k.willow", "")]),
    (
        "qualify",
        &[
            ("darkline qualify", "the cases that ship in the program"),
            ("darkline qualify reference/uncertainty --json", "one JSON object a line, for programs"),
            ("darkline qualify our-cases/zinc-line.toml", "a worked example of your own"),
            ("darkline qualify --protocol protocol.pdf --date 2026-11-25", "a protocol to sign"),
        ],
    ),
    (
        "verify",
        &[
            ("darkline verify 2026-041.zip", "an archive, on any machine"),
            ("darkline verify 2026-041.zip --report 2026-041.pdf", "and that it holds this very report"),
            ("darkline verify 2026-041.zip --bench-key 1e3dfc98b7d47be5", "and whose bench it is"),
            ("darkline verify", "the record of this laboratory"),
            ("darkline verify --since 2026-11.checkpoint", "and nothing rewritten since an audit"),
        ],
    ),
    ("hand-over", &[("darkline hand-over --to central.trail --trail bench-2.trail --as k.willow", "")]),
    ("checkpoint", &[("darkline checkpoint -o 2026-11.checkpoint", "kept by the auditor until the next audit")]),
    (
        "entries",
        &[
            ("darkline entries", "all entries"),
            ("darkline entries 2026-041 --json", "those of an order"),
            ("darkline entries --reading R1/38 --details", "of a reading, in full"),
            ("darkline entries --person j.alder --from 2026-03-01 --to 2026-03-31", "a month of somebody's"),
            ("darkline entries 2026-041 --changes --reviewed \"in order\" --as m.rowan", "a review"),
        ],
    ),
    (
        "serve",
        &[
            ("darkline serve", "this machine alone"),
            ("darkline serve --address 10.0.0.2:7878 --own-certificate --name bench-2", "the laboratory"),
        ],
    ),
    (
        "handbook",
        &[
            ("darkline handbook lead", "an element with all its figures"),
            ("darkline handbook --matrix drinking", "limits for drinking water"),
            ("darkline handbook Pb --regulation 2020/2184 --on 2036-01-12", "in force on another day"),
            ("darkline handbook --line 324.7", "which element has a line there"),
        ],
    ),
    (
        "start",
        &[
            ("darkline start 2026-071", "cautions and checks"),
            ("darkline start 2026-071 --read --looked-at --acetylene 80 --as j.alder", "an entry says so"),
        ],
    ),
    (
        "lots",
        &[
            ("darkline lots", "all lots that runs name"),
            ("darkline lots Pb-1000-17 --what-if -2%", "what reports would say"),
        ],
    ),
    (
        "method",
        &[
            ("darkline method lead --matrix \"drinking water\" -o method-pb.toml", "from limit to document"),
            ("darkline method Fe --matrix water --limit \"0.3 mg/L\"", "for a limit of your own"),
            ("darkline method Cu --matrix drinking --compare demo/method.toml", "what differs"),
        ],
    ),
    ("help-reference", &[("darkline help-reference", "")]),
    ("help-roles", &[("darkline help-roles", "")]),
];

/// The commands that have examples.
#[cfg(test)]
pub fn paths() -> impl Iterator<Item = &'static str> {
    EXAMPLES.iter().map(|(path, _)| *path)
}

/// The examples of a command, with what they are for beside them.
pub fn text(path: &str) -> String {
    let Some((_, examples)) = EXAMPLES.iter().find(|(verb, _)| *verb == path) else { return String::new() };
    let width = examples.iter().map(|(line, _)| line.chars().count()).max().unwrap_or(0);
    let lines: Vec<String> =
        examples.iter().map(|(line, what)| format!("  {line:width$}    {what}").trim_end().to_owned()).collect();
    lines.join("\n")
}
