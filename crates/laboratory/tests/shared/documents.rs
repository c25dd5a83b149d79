//! Two small orders whose samples were digested in one batch and measured in one run.

use std::path::Path;

/// Writes the documents of one of the two orders into a folder: order `A-1` has sample a, order `B-1` has sample b.
pub fn lay_out(folder: &Path, order: &str, sample: &str) {
    let order = format!(
        r#"format = "darkline/order/1"
id = "{order}"
customer = "customer of {order} (invented)"
contact = "nowhere"
received = "2026-03-02T10:00:00+01:00"
due = 2026-03-20

[[sample]]
id = "{sample}"
description = "a water"

[[analyte]]
element = "Cd"
method = "cd-water"
limit = {{ at_most = "5.0 µg/L", origin = "an invented limit", decision_rule = "simple acceptance" }}
"#
    );
    write(folder, "order.toml", &order);
    write(folder, "preparation.toml", PREPARATION);
    write(folder, "method.toml", METHOD);
    write(folder, "run.toml", RUN);
    write(folder, "run-order.csv", RUN_ORDER);
}

fn write(folder: &Path, name: &str, text: &str) {
    std::fs::write(folder.join(name), text).unwrap();
}

const PREPARATION: &str = r#"format = "darkline/preparation/1"
id = "P1"
prepared = "2026-03-03T08:00:00+01:00"
by = "j.alder"
procedure = "acidified"

[[portion]]
id = "pa"
role = "sample"
order = "A-1"
sample = "a"

[[portion]]
id = "pb"
role = "sample"
order = "B-1"
sample = "b"
"#;

const METHOD: &str = r#"format = "darkline/method/1"
id = "cd-water"
version = "1"
title = "Cadmium in water"
element = "Cd"
technique = "furnace"

[response]
kind = "integrated absorbance"

[calibration]
model = "straight line"
weights = "equal"

[replicates]
n = 2
sd_at_zero = "0.001 s"
rsd = "2 %"

[blank]
subtract = "nothing"

[check]
lowest = "90 %"
highest = "110 %"

[result]
kind = "mass concentration"
unit = "µg/L"
coverage_factor = "2"
"#;

const RUN: &str = r#"format = "darkline/run/1"
id = "R1"
method = "cd-water"
instrument = "furnace bench 2"
rows = "run-order.csv"
"#;

const RUN_ORDER: &str = "row,name,role,amount_ug_per_l,batch,portion\n\
    1,zero,calibration blank,,,\n\
    2,five,standard,5,,\n\
    3,ten,standard,10,,\n\
    4,a,portion,,P1,pa\n\
    5,b,portion,,P1,pb\n\
    6,check,check,5,,\n";

/// Two replicates a row.
pub const READINGS: &str = "row,replicate,at,integrated_absorbance_s\n\
    1,1,2026-03-04T09:00:00+01:00,0.0010\n1,2,2026-03-04T09:02:00+01:00,0.0006\n\
    2,1,2026-03-04T09:04:00+01:00,0.1512\n2,2,2026-03-04T09:06:00+01:00,0.1497\n\
    3,1,2026-03-04T09:08:00+01:00,0.3005\n3,2,2026-03-04T09:10:00+01:00,0.2991\n\
    4,1,2026-03-04T09:12:00+01:00,0.0904\n4,2,2026-03-04T09:14:00+01:00,0.0896\n\
    5,1,2026-03-04T09:16:00+01:00,0.2101\n5,2,2026-03-04T09:18:00+01:00,0.2120\n\
    6,1,2026-03-04T09:20:00+01:00,0.1490\n6,2,2026-03-04T09:22:00+01:00,0.1503\n";
