//! The inputs of a case as terms of a measurement model.

use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::Model;
use darkline_metrology::source::{Shape, Source, SourceId};
use darkline_metrology::type_b::Stated;

use crate::case_file::{Node, Read};
use crate::expression::Symbols;
use crate::stop::{Stop, refused};

/// An input: its symbol, its value and its source, none for an exact one.
pub(super) struct Input {
    pub(super) symbol: String,
    pub(super) value: f64,
    pub(super) source: Option<Source>,
}

/// The inputs that a case lists.
pub(super) fn read(case: &Node<'_>) -> Read<Vec<Input>> {
    let mut inputs: Vec<Input> = Vec::new();
    for node in case.list_of("input")? {
        let symbol = node.text_of("symbol")?;
        if inputs.iter().any(|known| known.symbol == symbol) {
            return Err(node.fault(format!("{symbol} is an input twice")));
        }
        let (value, source) = if node.has("pdf") { of_density(&node, symbol)? } else { of_budget(&node, symbol)? };
        inputs.push(Input { symbol: symbol.to_owned(), value, source });
    }
    Ok(inputs)
}

/// The inputs as terms, each with a source of its own by its symbol: as if none correlated.
pub(super) fn independent<'m>(model: &'m Model, inputs: &[Input]) -> Symbols<'m> {
    let term = |input: &Input| model.input(Factor::from_si(input.value), input.source.as_slice());
    inputs.iter().map(|input| (input.symbol.clone(), term(input))).collect()
}

/// The inputs as terms with the correlations that a case lists.
pub(super) fn correlated<'m>(model: &'m Model, case: &Node<'_>, inputs: &[Input]) -> Result<Symbols<'m>, Stop> {
    let mut symbols = independent(model, inputs);
    let pairs = case.list_or_none("correlation")?;
    if pairs.is_empty() {
        return Ok(symbols);
    }
    let mut members: Vec<usize> = Vec::new();
    let mut coefficients = Vec::new();
    for pair in &pairs {
        let mut place = |key: &str| -> Read<usize> {
            let name = pair.need(key)?;
            let wanted = name.text()?;
            let input = inputs
                .iter()
                .position(|input| input.symbol == wanted)
                .ok_or_else(|| name.fault(format!("{wanted} is no input of this case")))?;
            Ok(members.iter().position(|member| *member == input).unwrap_or_else(|| {
                members.push(input);
                members.len() - 1
            }))
        };
        let (a, b) = (place("a")?, place("b")?);
        if a == b {
            return Err(pair.fault("an input correlates with itself by 1").into());
        }
        coefficients.push((a, b, pair.number_of("r")?));
    }
    let u = |place: usize| inputs[members[place]].source.as_ref().map_or(0.0, |source| source.u);
    let n = members.len();
    let mut covariance = vec![0.0; n * n];
    for place in 0..n {
        covariance[place * n + place] = u(place) * u(place);
    }
    for (a, b, r) in coefficients {
        covariance[a * n + b] = r * u(a) * u(b);
        covariance[b * n + a] = r * u(a) * u(b);
    }
    let values: Vec<Factor> = members.iter().map(|member| Factor::from_si(inputs[*member].value)).collect();
    let terms = model.correlated(&values, &covariance, "correlated inputs", f64::INFINITY).map_err(refused)?;
    for (member, term) in members.iter().zip(terms) {
        symbols.insert(inputs[*member].symbol.clone(), term);
    }
    Ok(symbols)
}

/// A standard uncertainty from a stated width; `None` where the case says too little for one.
type OfWidth = fn(&Node<'_>, f64) -> Read<Option<f64>>;

/// An input of a budget: `value`, and `u`, or `half_width` with its distribution, or `U` with `k`.
fn of_budget(input: &Node<'_>, symbol: &str) -> Read<(f64, Option<Source>)> {
    let word = input.get("distribution");
    let value = input.number_of("value")?;
    let (shape, u_of_width): (Shape, OfWidth) = match word.map_or(Ok("normal"), |word| word.text())? {
        "exact" => {
            let u = input.number_or("u", 0.0)?;
            if u != 0.0 {
                return Err(input.fault(format!("{symbol} is exact and has u = {u}")));
            }
            return Ok((value, None));
        }
        // A combined figure was put together from several; a t has its degrees of freedom beside it.
        "normal" | "t" | "combined" => (Shape::Normal, |input, half_width| {
            let Some(level) = input.number_if("level")? else { return Ok(None) };
            Ok(Stated::NormalInterval { half_width, level }.u())
        }),
        "rectangular" => (Shape::Rectangular, |_, half_width| Ok(Stated::Rectangular { half_width }.u())),
        "triangular" => (Shape::Triangular, |_, half_width| Ok(Stated::Triangular { half_width }.u())),
        "arcsine" => (Shape::Arcsine, |_, half_width| Ok(Stated::Arcsine { half_width }.u())),
        "trapezoidal" | "trapezoid" => (Shape::Normal, |input, half_width| {
            let top_over_base = input.number_of("beta")?;
            Ok(Stated::Trapezoidal { half_width, top_over_base }.u())
        }),
        other => return Err(word.unwrap_or(*input).fault(format!("{other} is no distribution known here"))),
    };
    let u = match (input.number_if("u")?, input.number_if("half_width")?, input.number_if("U")?) {
        (Some(u), _, _) => Some(u),
        (None, Some(half_width), _) => u_of_width(input, half_width)?,
        (None, None, Some(expanded_u)) => Stated::Expanded { expanded_u, k: input.number_of("k")? }.u(),
        (None, None, None) => None,
    };
    let u = u.ok_or_else(|| input.fault(format!("{symbol} has neither u nor a half-width with a distribution")))?;
    let dof = input.number_or("dof", f64::INFINITY)?;
    Ok((value, Some(Source { dof, ..Source::shaped(SourceId::new(symbol), u, shape) })))
}

/// An input of Monte Carlo: the parameters of its probability density.
fn of_density(input: &Node<'_>, symbol: &str) -> Read<(f64, Option<Source>)> {
    let id = SourceId::new(symbol);
    let between = |shape: Shape| -> Read<(f64, Source)> {
        let (low, high) = (input.number_of("low")?, input.number_of("high")?);
        let u = shape.u_of_half_width(0.5 * (high - low)).unwrap_or(f64::NAN);
        Ok((0.5 * (low + high), Source::shaped(id.clone(), u, shape)))
    };
    let pdf = input.need("pdf")?;
    let (value, source) = match pdf.text()? {
        "normal" => (input.number_of("mean")?, Source::normal(id.clone(), input.number_of("sd")?)),
        "t" => (
            input.number_of("mean")?,
            Source::estimated(id.clone(), input.number_of("scale")?, input.number_of("dof")?),
        ),
        "rectangular" => between(Shape::Rectangular)?,
        "triangular" => between(Shape::Triangular)?,
        "arcsine" => between(Shape::Arcsine)?,
        "curvilinear_trapezoid" => {
            let (value, source) = between(Shape::Rectangular)?;
            let relative = 2.0 * input.number_of("d")? / (input.number_of("high")? - input.number_of("low")?);
            // GUM G.4.2: limits known to this relative uncertainty stand for so many degrees of freedom.
            (value, Source { dof: 0.5 / (relative * relative), ..source })
        }
        other => return Err(pdf.fault(format!("{other} is no density known here"))),
    };
    Ok((value, Some(source)))
}
