//! The whole handbook, read once, and how something is found in it.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::caution::{Caution, Cautions, General};
use crate::element::Element;
use crate::erratum::Erratum;
use crate::flame::{Buffer, Burner, Flame, Stoichiometry};
use crate::furnace::{ModifierChoice, Programme, ProgrammeRow, ProgrammeShape};
use crate::limit::{Exposure, Limit};
use crate::neighbour::{KnownPair, Neighbour};
use crate::preparation::{Preservation, Route};
use crate::provenance::Source;
use crate::stock::Stock;
use crate::zeeman::Splitting;

/// The handbook.
#[derive(Clone, Debug)]
pub struct Handbook {
    elements: Vec<Element>,
    flames: Vec<Flame>,
    burners: Vec<Burner>,
    stoichiometry: Stoichiometry,
    buffers: Vec<Buffer>,
    programmes: Vec<Programme>,
    modifier_choices: Vec<ModifierChoice>,
    programme_shape: ProgrammeShape,
    neighbours: Vec<Neighbour>,
    known_pairs: Vec<KnownPair>,
    splittings: Vec<Splitting>,
    stocks: Vec<Stock>,
    routes: Vec<Route>,
    preservations: Vec<Preservation>,
    limits: Vec<Limit>,
    exposures: Vec<Exposure>,
    cautions: Cautions,
    errata: Vec<Erratum>,
    sources: BTreeMap<String, Source>,
}

/// A word that is no element of the handbook.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{asked} is no element of the handbook; it holds {elements}")]
pub struct Unknown {
    /// What was asked for.
    pub asked: String,
    /// The symbols it knows.
    pub elements: String,
}

#[derive(Deserialize)]
struct ElementTable {
    source: BTreeMap<String, Source>,
    element: Vec<Element>,
}

#[derive(Deserialize)]
struct FlameTable {
    source: BTreeMap<String, Source>,
    flame: Vec<Flame>,
    burner: Vec<Burner>,
    stoichiometry: Stoichiometry,
    buffer: Vec<Buffer>,
}

#[derive(Deserialize)]
struct FurnaceTable {
    source: BTreeMap<String, Source>,
    programme: Vec<Programme>,
    modifier_choice: Vec<ModifierChoice>,
    programme_shape: ProgrammeShape,
}

#[derive(Deserialize)]
struct NeighbourTable {
    source: BTreeMap<String, Source>,
    neighbour: Vec<Neighbour>,
    known_pair: Vec<KnownPair>,
}

#[derive(Deserialize)]
struct ZeemanTable {
    source: BTreeMap<String, Source>,
    splitting: Vec<Splitting>,
}

#[derive(Deserialize)]
struct StockTable {
    source: BTreeMap<String, Source>,
    stock: Vec<Stock>,
}

#[derive(Deserialize)]
struct PreparationTable {
    source: BTreeMap<String, Source>,
    route: Vec<Route>,
    preservation: Vec<Preservation>,
}

#[derive(Deserialize)]
struct LimitTable {
    limit: Vec<Limit>,
}

#[derive(Deserialize)]
struct ExposureTable {
    pde: Vec<Exposure>,
}

#[derive(Deserialize)]
struct ErrataTable {
    source: BTreeMap<String, Source>,
    erratum: Vec<Erratum>,
}

#[derive(Deserialize)]
struct CautionTable {
    general: General,
    caution: Vec<Caution>,
}

fn read<Table: DeserializeOwned>(text: &str) -> Table {
    toml::from_str(text).expect("the shipped tables are read by a test, row by row")
}

impl Handbook {
    /// The handbook that ships with the program.
    pub fn shipped() -> &'static Handbook {
        static SHIPPED: OnceLock<Handbook> = OnceLock::new();
        SHIPPED.get_or_init(|| {
            let elements: ElementTable = read(include_str!("../../../reference/handbook/elements.toml"));
            let flames: FlameTable = read(include_str!("../../../reference/handbook/flame_conditions.toml"));
            let furnace: FurnaceTable = read(include_str!("../../../reference/handbook/furnace_programmes.toml"));
            let neighbours: NeighbourTable = read(include_str!("../../../reference/handbook/spectral_neighbours.toml"));
            let zeeman: ZeemanTable = read(include_str!("../../../reference/handbook/zeeman.toml"));
            let stocks: StockTable = read(include_str!("../../../reference/handbook/stock_standards.toml"));
            let preparation: PreparationTable =
                read(include_str!("../../../reference/handbook/sample_preparation.toml"));
            let exposures: ExposureTable = read(include_str!("../../../reference/limits/q3d.toml"));
            let cautions: CautionTable = read(include_str!("../../../reference/safety/cautions.toml"));
            let errata: ErrataTable = read(include_str!("../../../reference/handbook/errata.toml"));
            let limits = [
                include_str!("../../../reference/limits/water.toml"),
                include_str!("../../../reference/limits/food.toml"),
                include_str!("../../../reference/limits/ceramics.toml"),
                include_str!("../../../reference/limits/soil_sludge_blood.toml"),
            ];
            let mut sources = BTreeMap::new();
            for table in [
                elements.source,
                flames.source,
                furnace.source,
                neighbours.source,
                zeeman.source,
                stocks.source,
                preparation.source,
                errata.source,
            ] {
                sources.extend(table);
            }
            Handbook {
                elements: elements.element,
                flames: flames.flame,
                burners: flames.burner,
                stoichiometry: flames.stoichiometry,
                buffers: flames.buffer,
                programmes: furnace.programme,
                modifier_choices: furnace.modifier_choice,
                programme_shape: furnace.programme_shape,
                neighbours: neighbours.neighbour,
                known_pairs: neighbours.known_pair,
                splittings: zeeman.splitting,
                stocks: stocks.stock,
                routes: preparation.route,
                preservations: preparation.preservation,
                limits: limits.into_iter().flat_map(|text| read::<LimitTable>(text).limit).collect(),
                exposures: exposures.pde,
                cautions: Cautions { general: cautions.general, cautions: cautions.caution },
                errata: errata.erratum,
                sources,
            }
        })
    }

    /// The element with this symbol or name, in capitals or not.
    ///
    /// # Errors
    /// The handbook does not hold it.
    pub fn element(&self, asked: &str) -> Result<&Element, Unknown> {
        let plain = asked.trim().to_lowercase();
        let spelling = match plain.as_str() {
            "aluminum" => "aluminium",
            "cesium" => "caesium",
            "sulphur" => "sulfur",
            as_it_is => as_it_is,
        };
        self.elements
            .iter()
            .find(|element| element.symbol.to_lowercase() == spelling || element.name == spelling)
            .ok_or_else(|| Unknown {
                asked: asked.to_owned(),
                elements: self.elements.iter().map(|element| element.symbol.as_str()).collect::<Vec<_>>().join(" "),
            })
    }

    /// All elements, by symbol.
    pub fn elements(&self) -> &[Element] {
        &self.elements
    }
    /// All flames.
    pub fn flames(&self) -> &[Flame] {
        &self.flames
    }
    /// All burners.
    pub fn burners(&self) -> &[Burner] {
        &self.burners
    }
    /// What fuel lean, stoichiometric and fuel rich mean.
    pub fn stoichiometry(&self) -> &Stoichiometry {
        &self.stoichiometry
    }
    /// What is added to solutions for the flame.
    pub fn buffers(&self) -> &[Buffer] {
        &self.buffers
    }
    /// All furnace tables.
    pub fn programmes(&self) -> &[Programme] {
        &self.programmes
    }
    /// The rows of an element in all furnace tables.
    pub fn programmes_of<'a>(&'a self, symbol: &'a str) -> impl Iterator<Item = (&'a Programme, &'a ProgrammeRow)> {
        self.programmes.iter().flat_map(move |programme| {
            programme.row.iter().filter(move |row| row.symbol == symbol).map(move |row| (programme, row))
        })
    }
    /// Modifiers by groups of elements.
    pub fn modifier_choices(&self) -> &[ModifierChoice] {
        &self.modifier_choices
    }
    /// The stages of a furnace programme.
    pub fn programme_shape(&self) -> &ProgrammeShape {
        &self.programme_shape
    }
    /// All spectral neighbours.
    pub fn neighbours(&self) -> &[Neighbour] {
        &self.neighbours
    }
    /// The neighbours of an element's line, the nearest first.
    pub fn neighbours_of(&self, symbol: &str, line_nm: f64) -> Vec<&Neighbour> {
        let beside = |one: &&Neighbour| one.symbol == symbol && (one.line_nm - line_nm).abs() < 0.05;
        let mut found: Vec<&Neighbour> = self.neighbours.iter().filter(beside).collect();
        found.sort_by(|a, b| a.delta_pm.abs().total_cmp(&b.delta_pm.abs()));
        found
    }
    /// Pairs of lines that the literature names.
    pub fn known_pairs(&self) -> &[KnownPair] {
        &self.known_pairs
    }
    /// How lines split in a magnetic field.
    pub fn splittings(&self) -> &[Splitting] {
        &self.splittings
    }
    /// All stock solutions.
    pub fn stocks(&self) -> &[Stock] {
        &self.stocks
    }
    /// All routes of digestion.
    pub fn routes(&self) -> &[Route] {
        &self.routes
    }
    /// How samples are kept.
    pub fn preservations(&self) -> &[Preservation] {
        &self.preservations
    }
    /// All limits.
    pub fn limits(&self) -> &[Limit] {
        &self.limits
    }
    /// The limits that have all these words in their matrix, and all those in their regulation; capitals and hyphens do not
    /// count, and water intended for human consumption is drinking water.
    ///
    /// # Arguments
    /// `symbol`: of one element, or of all where absent. `matrix`, `regulation`: words; empty texts leave all.
    pub fn limits_for(&self, symbol: Option<&str>, matrix: &str, regulation: &str) -> Vec<&Limit> {
        let has = |text: &str, words: &str| {
            let plain = |text: &str| {
                text.to_lowercase().replace('-', " ").replace("human consumption", "human consumption (drinking)")
            };
            let text = plain(text);
            plain(words).split_whitespace().all(|word| text.contains(word))
        };
        self.limits
            .iter()
            .filter(|limit| symbol.is_none_or(|symbol| limit.element == symbol))
            .filter(|limit| has(&limit.matrix, matrix))
            .filter(|limit| has(&format!("{} {} {}", limit.source, limit.clause, limit.id), regulation))
            .collect()
    }
    /// Permitted daily exposures of drug products.
    pub fn exposures(&self) -> &[Exposure] {
        &self.exposures
    }
    /// The text of the list that the cautions stand in: its digest is its edition.
    pub fn list_of_cautions(&self) -> &'static str {
        include_str!("../../../reference/safety/cautions.toml")
    }
    /// The cautions.
    pub fn cautions(&self) -> &Cautions {
        &self.cautions
    }
    /// Misprints that concern an element.
    pub fn errata_of(&self, symbol: &str) -> Vec<&Erratum> {
        self.errata.iter().filter(|erratum| erratum.concerns(symbol)).collect()
    }
    /// The publication with this name.
    pub fn source(&self, name: &str) -> Option<&Source> {
        self.sources.get(name)
    }
}
