//! A case of the calibration pack: its data, its procedure, its unknowns.

use darkline_calibration::line::Point;
use darkline_metrology::kind::{Kind, MassConcentration, Response};

use crate::case_file::{Node, Read};
use crate::qualification::Beside;
use crate::stop::{Stop, refused};

/// More points than this are not run.
pub(super) const MOST_POINTS: usize = 1_000_000;

pub(super) struct Case<'a> {
    pub(super) node: Node<'a>,
    pub(super) beside: &'a Beside<'a>,
}

impl<'a> Case<'a> {
    pub(super) fn data(&self) -> Read<Node<'a>> {
        self.node.need("data")
    }

    pub(super) fn procedure(&self) -> Read<Node<'a>> {
        self.node.need("procedure")
    }

    pub(super) fn has_data(&self, key: &str) -> bool {
        self.node.get("data").is_some_and(|data| data.has(key))
    }

    /// A number of the procedure that may be missing.
    pub(super) fn procedure_or(&self, key: &str, otherwise: f64) -> Read<f64> {
        self.node.get("procedure").map_or(Ok(otherwise), |procedure| procedure.number_or(key, otherwise))
    }

    /// The confidence level, 95 % where none is stated.
    pub(super) fn level(&self) -> Read<f64> {
        self.procedure_or("level", 0.95)
    }

    /// A flag of the procedure.
    pub(super) fn asks(&self, key: &str) -> Read<bool> {
        self.node.get("procedure").map_or(Ok(false), |procedure| procedure.truth_of(key))
    }

    /// A column of the data, from the case itself or from its csv file.
    pub(super) fn column(&self, name: &str) -> Read<Vec<f64>> {
        let data = self.data()?;
        if let Some(values) = data.get(name) {
            return values.numbers();
        }
        let Some(file) = data.get("file") else { return Err(data.fault(format!("[data] has no \"{name}\""))) };
        let path = file.text()?;
        let text = (self.beside)(file.file_name(), path)
            .ok_or_else(|| file.fault(format!("{path} is not there beside the case")))?;
        let mut lines = text.lines().filter(|line| !line.trim().is_empty());
        let head = lines.next().unwrap_or("");
        let place = head
            .split(',')
            .position(|column| column.trim() == name)
            .ok_or_else(|| file.fault(format!("{path} has no column {name}")))?;
        let column = lines
            .enumerate()
            .map(|(row, line)| {
                let cell = line.split(',').nth(place).unwrap_or("").trim();
                cell.parse().map_err(|_| file.fault(format!("{path}, row {}: {cell:?} is no number", row + 1)))
            })
            .collect::<Read<Vec<f64>>>()?;
        if let Some(n) = data.get("n")
            && n.count(MOST_POINTS)? != column.len()
        {
            return Err(n.fault(format!("{path} has {} rows", column.len())));
        }
        Ok(column)
    }

    /// Two columns of equal length.
    pub(super) fn pair(&self, one: &str, other: &str) -> Read<(Vec<f64>, Vec<f64>)> {
        let (x, y) = (self.column(one)?, self.column(other)?);
        self.equal(&x, &y, other)?;
        Ok((x, y))
    }

    /// Whether a column is as long as another.
    pub(super) fn equal(&self, x: &[f64], y: &[f64], name: &str) -> Read<()> {
        if x.len() == y.len() {
            return Ok(());
        }
        let at = self.data()?;
        let at = at.get(name).unwrap_or(at);
        Err(at.fault(format!("{name} has {} figures, {} are wanted", y.len(), x.len())))
    }

    /// The readings x and y as points of equal weight.
    pub(super) fn equal_points(&self) -> Read<Vec<Point>> {
        let (x, y) = self.pair("x", "y")?;
        Ok(points(&x, &y, &vec![1.0; x.len()]))
    }

    /// The unknowns of the procedure.
    pub(super) fn unknowns(&self) -> Read<Vec<Node<'a>>> {
        self.node.get("procedure").map_or(Ok(Vec::new()), |procedure| procedure.list_or_none("unknowns"))
    }
}

pub(super) fn points(x: &[f64], y: &[f64], weights: &[f64]) -> Vec<Point> {
    let columns = x.iter().zip(y).zip(weights);
    columns
        .map(|((&x, &y), &weight)| Point {
            amount: MassConcentration::from_si(x),
            response: Response::from_si(y),
            weight,
        })
        .collect()
}

/// A count as the library takes it.
pub(super) fn readings(count: f64) -> Result<u32, Stop> {
    if count.fract() == 0.0 && (1.0..=1e9).contains(&count) {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole number in range")]
        Ok(count as u32)
    } else {
        Err(refused(format!("{count} is no number of readings")))
    }
}
