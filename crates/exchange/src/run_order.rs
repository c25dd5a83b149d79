//! `run-order.csv`: the rows of a run, or of a leg added to it.
//!
//! Columns in any order: `row`, `name`, `role`, and where they are needed `cup`, `amount_UNIT`, `u_amount_UNIT`, `batch`,
//! `portion`, `dilution`, `u_dilution`, `replicates`, `joins`, `replaces`. The unit of an amount stands in the name of its
//! column: `amount_mg_per_l`.
//!
//! Invariant: what [`write`] writes reads back as the same rows.

use std::collections::BTreeMap;

use darkline_metrology::kind::{ALL_KINDS, Factor, Kind, MassConcentration, Unit, plain_symbol};
use darkline_record::figure::{Given, Spread, Uncertain, Written, with_article};
use darkline_record::run::{Follows, Row, RowHolds, Run};

use crate::document::Entered;
use crate::fault::{Faults, quoted};
use crate::separated::{Cell, Column, Line, Table, push_line};
use crate::sheet::{Sheet, ShowsLines};

/// Reads the rows of a run as it was planned.
///
/// # Arguments
/// * `replicates`: how many the method asks for; a row of the table may ask for another number.
///
/// # Errors
/// All faults of the text.
pub fn read(file_name: &str, text: &str, replicates: u8) -> Result<Vec<Row>, Faults> {
    enter(file_name, text, replicates, None).map(|entered| entered.document)
}

/// Reads the rows of a leg that is added to a run: their numbers are new, and they may join or replace rows of the run.
///
/// # Errors
/// All faults of the text.
pub fn read_leg(file_name: &str, text: &str, replicates: u8, run: &Run) -> Result<Vec<Row>, Faults> {
    enter(file_name, text, replicates, Some(run)).map(|entered| entered.document)
}

/// Reads rows and keeps their text beside them.
///
/// # Arguments
/// * `run`: the run a leg is added to; `None` for the first leg.
///
/// # Errors
/// As for [`read`].
pub fn enter(file_name: &str, text: &str, replicates: u8, run: Option<&Run>) -> Result<Entered<Vec<Row>>, Faults> {
    let sheet = Sheet::open(file_name, text, ShowsLines::No)?;
    let rows = rows(&sheet, replicates, run);
    let places = sheet.take_places();
    let document = sheet.close(rows)?;
    Ok(Entered { file_name: file_name.into(), text: text.into(), document, places })
}

/// What a row is for, before the cells that belong to it are read.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Role {
    CalibrationBlank,
    Standard,
    Check,
    CheckBlank,
    Portion,
}

impl Role {
    const ALL: [Role; 5] = [Role::CalibrationBlank, Role::Standard, Role::Check, Role::CheckBlank, Role::Portion];

    fn word(self) -> &'static str {
        match self {
            Role::CalibrationBlank => "calibration blank",
            Role::Standard => "standard",
            Role::Check => "check",
            Role::CheckBlank => "check blank",
            Role::Portion => "portion",
        }
    }
}

struct Columns<'a> {
    row: Option<Column>,
    cup: Option<Column>,
    name: Option<Column>,
    role: Option<Column>,
    amount: Vec<(Column, Unit<MassConcentration>)>,
    u_amount: Vec<(Column, Unit<MassConcentration>)>,
    batch: Option<Column>,
    portion: Option<Column>,
    dilution: Option<Column>,
    u_dilution: Option<Column>,
    replicates: Option<Column>,
    joins: Option<Column>,
    replaces: Option<Column>,
    sheet: &'a Sheet<'a>,
}

fn columns<'a>(sheet: &'a Sheet<'a>, table: &Table<'a>) -> Columns<'a> {
    let columns = Columns {
        row: table.required("row"),
        cup: table.optional("cup"),
        name: table.required("name"),
        role: table.required("role"),
        amount: amounts(sheet, table, "amount"),
        u_amount: amounts(sheet, table, "u_amount"),
        batch: table.optional("batch"),
        portion: table.optional("portion"),
        dilution: table.optional("dilution"),
        u_dilution: table.optional("u_dilution"),
        replicates: table.optional("replicates"),
        joins: table.optional("joins"),
        replaces: table.optional("replaces"),
        sheet,
    };
    table.close_head();
    columns
}

/// Columns of amounts: the unit is the rest of the name, `mg_per_l` or `mg/l`.
fn amounts(sheet: &Sheet<'_>, table: &Table<'_>, what: &str) -> Vec<(Column, Unit<MassConcentration>)> {
    let example = format!("{what}_mg_per_l");
    let mut found = Vec::new();
    if let Some(column) = table.stray(what) {
        sheet.fault(
            table.name_span(column),
            format!("the column \"{what}\" does not say its unit"),
            format!("name it {example}, {what}_ug_per_l or {what}_ng_per_l"),
        );
    }
    for (column, rest, span) in table.beginning(&format!("{what}_"), &example) {
        let symbol = rest.replace("_per_", "/");
        match MassConcentration::unit(&symbol) {
            Some(unit) => found.push((column, unit)),
            None => {
                let plain = plain_symbol(&symbol);
                let other = ALL_KINDS.iter().find(|(_, units)| units.iter().any(|(known, ..)| *known == plain));
                let what_is_told = match other {
                    Some((kind, _)) => {
                        format!("{} stands where a mass concentration is wanted", with_article(kind))
                    }
                    None => format!("the unit of the column {} is not known", quoted(&format!("{what}_{rest}"))),
                };
                sheet.fault(span, what_is_told, format!("name it {example}, {what}_ug_per_l or {what}_ng_per_l"));
            }
        }
    }
    found
}

fn rows(sheet: &Sheet<'_>, replicates: u8, run: Option<&Run>) -> Option<Vec<Row>> {
    let table = Table::open(sheet);
    let columns = columns(sheet, &table);
    if table.n_lines() == 0 {
        sheet.fault(table.head_span(), "no row stands below the head", "write a line for each row of the run");
    }
    let mut rows: Vec<Row> = Vec::new();
    let mut seen: BTreeMap<u32, Seen> = BTreeMap::new();
    for (place, line) in table.lines().enumerate() {
        let row = columns.row(&line, replicates);
        let Some((cell, number)) = columns.number(&line) else { continue };
        sheet.remember(format!("row[{place}]"), cell.span.clone());
        for (key, column) in [("batch", columns.batch), ("portion", columns.portion)] {
            sheet.remember(format!("row[{place}].{key}"), line.span(column));
        }
        if let Some(before) = seen.get(&number) {
            sheet.fault(
                cell.span.clone(),
                format!("row {number} is already on line {}", before.line),
                "give one of them another number",
            );
            continue;
        }
        if run.is_some_and(|run| run.row(number).is_some()) {
            sheet.fault(
                cell.span.clone(),
                format!("row {number} is already in the run"),
                "number the rows of a leg behind those of the run",
            );
            continue;
        }
        let earlier = |earlier: u32| match seen.get(&earlier) {
            Some(Seen { place, .. }) => Earlier::Here(place.and_then(|place| rows.get(place))),
            None => match run.and_then(|run| run.row(earlier)) {
                Some(row) => Earlier::Here(Some(row)),
                None => Earlier::Nowhere,
            },
        };
        let follows = columns.follows(&line, number, row.as_ref(), earlier);
        let row = row.zip(follows).map(|(row, follows)| Row { number, follows, ..row });
        seen.insert(number, Seen { line: sheet.line_of(cell.span.start), place: row.is_some().then_some(rows.len()) });
        rows.extend(row);
    }
    Some(rows)
}

/// A row that stands further up: its line, and its place among those that could be read.
struct Seen {
    line: usize,
    place: Option<usize>,
}

/// What is known of a row that another one follows.
enum Earlier<'r> {
    Nowhere,
    /// It is there; `None` where it has faults of its own.
    Here(Option<&'r Row>),
}

impl Columns<'_> {
    fn number<'l>(&self, line: &Line<'l>) -> Option<(&'l Cell, u32)> {
        let cell = line.text(self.row, "number of the row")?;
        Some((cell, line.whole(cell, 1..=u32::MAX, "row")?))
    }

    /// Everything of a row but its number and what it follows.
    fn row(&self, line: &Line<'_>, replicates: u8) -> Option<Row> {
        let name = line.text(self.name, "name").map(|cell| cell.text.trim().to_owned());
        let cup = line.cell(self.cup).map(|cell| line.whole(cell, 0..=u32::MAX, "cup"));
        let replicates = match line.cell(self.replicates) {
            Some(cell) => line.whole(cell, 1..=255, "number of replicates").and_then(|n| u8::try_from(n).ok()),
            None => Some(replicates),
        };
        let role =
            line.text(self.role, "role").and_then(|cell| line.one_of(cell, "role of a row", &Role::ALL, Role::word));
        let holds = self.holds(line, role?);
        let cup = match cup {
            Some(cup) => Some(cup?),
            None => None,
        };
        Some(Row { number: 0, cup, name: name?, holds: holds?, replicates: replicates?, follows: None })
    }

    fn holds(&self, line: &Line<'_>, role: Role) -> Option<RowHolds> {
        let takes_amount = matches!(role, Role::Standard | Role::Check);
        let is_blank = matches!(role, Role::CalibrationBlank | Role::CheckBlank);
        let mut is_clean = true;
        let mut foreign = |columns: &mut dyn Iterator<Item = Column>, what: &str| {
            for cell in columns.filter_map(|column| line.cell(Some(column))) {
                // Many write the amount of a blank, which is zero.
                if is_blank && cell.text.trim().parse::<f64>() == Ok(0.0) {
                    continue;
                }
                self.sheet.fault(
                    cell.span.clone(),
                    format!("{what} stands at a row with the role \"{}\"", role.word()),
                    "leave the cell empty, or look at the role",
                );
                is_clean = false;
            }
        };
        if !takes_amount {
            foreign(&mut self.amount.iter().chain(&self.u_amount).map(|(column, _)| *column), "an amount");
        }
        if role != Role::Portion {
            let columns = [self.batch, self.portion, self.dilution, self.u_dilution];
            foreign(&mut columns.into_iter().flatten(), "a cell of a portion");
        }
        let holds = match role {
            Role::CalibrationBlank => RowHolds::CalibrationBlank,
            Role::CheckBlank => RowHolds::CheckBlank,
            Role::Standard => RowHolds::Standard { amount: self.amount(line, role)? },
            Role::Check => RowHolds::Check { amount: self.amount(line, role)? },
            Role::Portion => {
                let missing = |column: Option<Column>, what: &str| {
                    if column.is_none() {
                        self.sheet.fault(
                            line.span(self.role),
                            format!("a portion needs its {what}, and there is no column \"{what}\""),
                            format!("add the column {what}"),
                        );
                    }
                    line.text(column, what)
                };
                let batch = missing(self.batch, "batch").and_then(|cell| line.parsed(cell));
                let portion = missing(self.portion, "portion").and_then(|cell| line.parsed(cell));
                let dilution = self.dilution(line);
                RowHolds::Portion { batch: batch?, portion: portion?, dilution: dilution? }
            }
        };
        is_clean.then_some(holds)
    }

    fn amount(&self, line: &Line<'_>, role: Role) -> Option<Uncertain<MassConcentration>> {
        let (cell, amount) = self.one_amount(line, &self.amount)?;
        let u = self.one_amount(line, &self.u_amount)?;
        let Some((cell, amount)) = cell.zip(amount) else {
            let span = line.span(self.amount.first().map_or(self.role, |(column, _)| Some(*column)));
            let hint = match self.amount.is_empty() {
                true => "add a column amount_mg_per_l, amount_ug_per_l or amount_ng_per_l",
                false => "write its mass concentration; a standard without analyte has the role \"calibration blank\"",
            };
            self.sheet.fault(span, format!("this {} has no amount", role.word()), hint);
            return None;
        };
        let amount = line.number(cell, amount)?;
        let span = cell.span.clone();
        let amount = match amount.positive() {
            Ok(amount) => amount,
            Err(fault) => {
                let hint = match role {
                    Role::Standard => "a standard without analyte has the role \"calibration blank\"",
                    _ => "a check without analyte has the role \"check blank\"",
                };
                self.sheet.fault(span, fault.to_string(), hint);
                return None;
            }
        };
        let spread = match u.0.zip(u.1) {
            Some((cell, unit)) => Some(self.standard_uncertainty(line, cell, unit)?),
            None => None,
        };
        Some(Uncertain { value: amount, spread })
    }

    /// The one cell that is filled of several columns for the same thing in different units.
    #[allow(clippy::type_complexity)]
    fn one_amount<'l>(
        &self,
        line: &Line<'l>,
        columns: &[(Column, Unit<MassConcentration>)],
    ) -> Option<(Option<&'l Cell>, Option<Unit<MassConcentration>>)> {
        let mut filled = columns.iter().filter_map(|&(column, unit)| Some((line.cell(Some(column))?, unit)));
        let first = filled.next();
        if let Some((second, _)) = filled.next() {
            self.sheet.fault(second.span.clone(), "two amounts stand at this row", "keep one of them");
            return None;
        }
        Some((first.map(|(cell, _)| cell), first.map(|(_, unit)| unit)))
    }

    fn standard_uncertainty<K: Kind>(&self, line: &Line<'_>, cell: &Cell, unit: Unit<K>) -> Option<Spread<K>> {
        let u = line.number(cell, unit)?;
        match u.not_negative() {
            Ok(u) => Some(Spread { given: Given::U(u), dof: None, shared: None }),
            Err(fault) => {
                self.sheet.told(cell.span.clone(), &fault);
                None
            }
        }
    }

    fn dilution(&self, line: &Line<'_>) -> Option<Uncertain<Factor>> {
        let u = line.cell(self.u_dilution);
        let Some(cell) = line.cell(self.dilution) else {
            if let Some(u) = u {
                self.sheet.fault(
                    u.span.clone(),
                    "the uncertainty of a dilution stands here without the dilution",
                    "write the factor beside it",
                );
                return None;
            }
            let one = Written::in_unit("1", Factor::usual_unit()).ok()?;
            return Some(Uncertain::exact(one));
        };
        let text = cell.text.trim();
        if let Some((what, hint)) = two_readings(text) {
            self.sheet.fault(cell.span.clone(), what, hint);
            return None;
        }
        let factor = line.number(cell, Factor::usual_unit())?;
        if factor.value().si() < 1.0 {
            self.sheet.fault(
                cell.span.clone(),
                format!("a dilution by {factor} would make the solution stronger"),
                "write the volume after dilution over the volume before, 1 or more",
            );
            return None;
        }
        let spread = match u {
            Some(u) => Some(self.standard_uncertainty(line, u, Factor::usual_unit())?),
            None => None,
        };
        Some(Uncertain { value: factor, spread })
    }

    /// What the row follows; the outer `None` where that could not be read.
    #[allow(clippy::option_option)]
    fn follows<'r>(
        &self,
        line: &Line<'_>,
        number: u32,
        row: Option<&Row>,
        look_up: impl Fn(u32) -> Earlier<'r>,
    ) -> Option<Option<Follows>> {
        let (joins, replaces) = (line.cell(self.joins), line.cell(self.replaces));
        let cell = match (joins, replaces) {
            (None, None) => return Some(None),
            (Some(_), Some(replaces)) => {
                self.sheet.fault(
                    replaces.span.clone(),
                    "this row joins one row and replaces another",
                    "keep one of the two",
                );
                return None;
            }
            (joins, replaces) => joins.or(replaces)?,
        };
        let earlier = line.whole(cell, 1..=u32::MAX, "row")?;
        let known = match look_up(earlier) {
            Earlier::Here(known) if earlier < number => known?,
            _ => {
                self.sheet.fault(
                    cell.span.clone(),
                    format!("there is no row {earlier} before this one"),
                    "name a row with a smaller number that stands before it",
                );
                return None;
            }
        };
        let row = row?;
        let fits = match (&known.holds, &row.holds) {
            (
                RowHolds::Portion { batch, portion, .. },
                RowHolds::Portion { batch: own_batch, portion: own_portion, .. },
            ) if replaces.is_some() => batch == own_batch && portion == own_portion,
            (known, own) => known == own,
        };
        if !fits {
            self.sheet.fault(
                cell.span.clone(),
                format!("row {earlier} holds another solution, {}", quoted(&known.name)),
                "a row joins or replaces one of the same solution",
            );
            return None;
        }
        Some(Some(if joins.is_some() { Follows::Joins(earlier) } else { Follows::Replaces(earlier) }))
    }
}

/// Dilutions written as parts, "1:10" or "1/10", which are read in two ways.
fn two_readings(text: &str) -> Option<(String, String)> {
    let (first, second) = text.split_once([':', '/'])?;
    let parts = first.trim().parse::<u32>().ok().zip(second.trim().parse::<u32>().ok());
    Some(match parts {
        Some((1, n)) if (1..u32::MAX).contains(&n) => {
            let word = match n {
                2 => "two".into(),
                3 => "three".into(),
                4 => "four".into(),
                5 => "five".into(),
                10 => "ten".into(),
                20 => "twenty".into(),
                50 => "fifty".into(),
                100 => "a hundred".into(),
                n => n.to_string(),
            };
            (
                format!("dilution {} can mean one part in {word} or one part to {word}", quoted(text)),
                format!("write the factor as a number: {n} or {}", n + 1),
            )
        }
        _ => (
            format!("dilution {} can be read in two ways", quoted(text)),
            "write the factor as a number: the volume after dilution over the volume before".into(),
        ),
    })
}

/// Writes rows as a table. Units stand in the names of the columns; amounts in different units get a column each.
///
/// Uncertainties are written as standard uncertainties, as a table states them.
pub fn write(rows: &[Row]) -> String {
    let amount = |row: &Row| match &row.holds {
        RowHolds::Standard { amount } | RowHolds::Check { amount } => Some(amount.clone()),
        _ => None,
    };
    let dilution = |row: &Row| match &row.holds {
        RowHolds::Portion { dilution, .. } => Some(dilution.clone()),
        _ => None,
    };
    let mut units: Vec<&'static str> = Vec::new();
    let mut u_units: Vec<&'static str> = Vec::new();
    for amount in rows.iter().filter_map(amount) {
        let unit = amount.value.unit().symbol();
        if !units.contains(&unit) {
            units.push(unit);
        }
        if let Some(spread) = &amount.spread {
            let unit = given(&spread.given).unit().symbol();
            if !u_units.contains(&unit) {
                u_units.push(unit);
            }
        }
    }
    let any = |has: &dyn Fn(&Row) -> bool| rows.iter().any(has);
    let (has_cup, has_follows) = (any(&|row| row.cup.is_some()), any(&|row| row.follows.is_some()));
    let has_u_dilution = any(&|row| dilution(row).is_some_and(|dilution| dilution.spread.is_some()));
    let column = |what: &str, unit: &str| {
        format!("{what}_{}", unit.replace('µ', "u").replace('³', "3").replace('/', "_per_").to_lowercase())
    };

    let mut head: Vec<String> = vec!["row".into()];
    head.extend(has_cup.then(|| "cup".to_owned()));
    head.extend(["name", "role"].map(String::from));
    head.extend(units.iter().map(|unit| column("amount", unit)));
    head.extend(u_units.iter().map(|unit| column("u_amount", unit)));
    head.extend(["batch", "portion", "dilution"].map(String::from));
    head.extend(has_u_dilution.then(|| "u_dilution".to_owned()));
    head.push("replicates".into());
    if has_follows {
        head.extend(["joins", "replaces"].map(String::from));
    }
    let mut table = String::new();
    push_line(&mut table, &head);
    for row in rows {
        let mut cells = vec![row.number.to_string()];
        if has_cup {
            cells.push(row.cup.map(|cup| cup.to_string()).unwrap_or_default());
        }
        cells.extend([row.name.clone(), row.holds.word().to_owned()]);
        let amount = amount(row);
        let in_unit = |figure: Option<&Written<MassConcentration>>, unit: &str| match figure {
            Some(figure) if figure.unit().symbol() == unit => figure.digits().to_owned(),
            _ => String::new(),
        };
        cells.extend(units.iter().map(|unit| in_unit(amount.as_ref().map(|amount| &amount.value), unit)));
        let u = amount.as_ref().and_then(|amount| amount.spread.as_ref()).map(|spread| given(&spread.given));
        cells.extend(u_units.iter().map(|unit| in_unit(u.as_ref(), unit)));
        match &row.holds {
            RowHolds::Portion { batch, portion, dilution } => {
                cells.extend([batch.to_string(), portion.to_string(), factor(&dilution.value)]);
            }
            _ => cells.extend([const { String::new() }; 3]),
        }
        if has_u_dilution {
            let spread = dilution(row).and_then(|dilution| dilution.spread);
            cells.push(spread.map(|spread| factor(&given(&spread.given))).unwrap_or_default());
        }
        cells.push(row.replicates.to_string());
        if has_follows {
            cells.extend(match row.follows {
                Some(Follows::Joins(earlier)) => [earlier.to_string(), String::new()],
                Some(Follows::Replaces(earlier)) => [String::new(), earlier.to_string()],
                None => [const { String::new() }; 2],
            });
        }
        push_line(&mut table, &cells);
    }
    table
}

/// The standard uncertainty as a figure.
fn given<K: Kind>(given: &Given<K>) -> Written<K> {
    match given {
        Given::U(u) => u.clone(),
        Given::Within { half_width, .. } => {
            let unit = half_width.unit();
            Written::in_unit(&unit.read_si(given.u()).to_string(), unit).unwrap_or_else(|_| half_width.clone())
        }
    }
}

/// A factor without a unit: a dilution in per cent is written as the number it stands for.
fn factor(factor: &Written<Factor>) -> String {
    match factor.unit().symbol() {
        "1" => factor.digits().to_owned(),
        _ => factor.value().si().to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_that_are_read_in_two_ways_are_turned_back_with_both() {
        let (what, hint) = two_readings("1:10").unwrap();
        assert_eq!(what, "dilution \"1:10\" can mean one part in ten or one part to ten");
        assert_eq!(hint, "write the factor as a number: 10 or 11");
        assert!(two_readings("1:4294967295").is_some() && two_readings("2/5").is_some());
        assert_eq!(two_readings("10"), None);
    }

    #[test]
    fn columns_come_in_any_order_with_semicolons_and_decimal_commas() {
        let text = "\u{feff}role;amount_ug_per_l;name;row\r\nstandard;0,50;S1;1\r\ncalibration blank;;B;2\r\n";
        let rows = read("run-order.csv", text, 3).unwrap();
        assert_eq!(rows.len(), 2);
        let RowHolds::Standard { amount } = &rows[0].holds else { panic!("a standard") };
        assert_eq!((amount.value.to_string().as_str(), rows[0].replicates), ("0.50 µg/L", 3));
    }
}
