//! `bench.toml`, format `darkline/bench/1`: ware, lots, instruments, trays, and how portions are made.

use darkline_metrology::kind::{Duration, Factor, Kind, Mass, MassConcentration, Volume};
use darkline_preparation::bench::{Balance, Bench, ControlMaterial, Flame, Furnace, Portions};
use darkline_preparation::lot::{Holds, Lot, LotFault, Lots};
use darkline_preparation::ware::{Flask, Gravimetric, Pipette, PipetteKind, gravimetric, permitted};
use darkline_record::figure::Written;
use jiff::civil::Date;

use crate::document::figure::Wanted;
use crate::document::gathering::{all, transposed};
use crate::document::section::{Entry, Section};
use crate::document::{self, Entered};
use crate::fault::{Faults, quoted};
use crate::order::{element, result_figure};

/// Reads a bench.
///
/// # Errors
/// All faults of the text.
pub fn read(file_name: &str, text: &str) -> Result<Bench, Faults> {
    enter(file_name, text).map(|entered| entered.document)
}

/// Reads a bench and keeps its text beside it.
///
/// # Errors
/// As for [`read`].
pub fn enter(file_name: &str, text: &str) -> Result<Entered<Bench>, Faults> {
    document::read(file_name, text, "bench", v1)
}

fn si<K: Kind>(figure: &Written<K>) -> f64 {
    figure.value().si()
}

fn figure<K: Kind>(section: &Section<'_>, name: &'static str, wanted: Wanted) -> Option<f64> {
    section
        .required(name, &format!("\"{}\"", K::EXAMPLE))
        .and_then(|entry| entry.figure::<K>(wanted))
        .map(|one| si(&one))
}

fn optional<K: Kind>(section: &Section<'_>, name: &'static str, wanted: Wanted) -> Option<Option<f64>> {
    transposed(section.optional(name).map(|entry| entry.figure::<K>(wanted).map(|one| si(&one))))
}

fn day(section: &Section<'_>, name: &'static str) -> Option<Option<Date>> {
    transposed(section.optional(name).map(|entry| {
        let text = entry.text_or_bare("2026-12-31")?;
        let day = text.parse::<Date>().ok();
        if day.is_none() {
            entry.fault(format!("{} is no day", quoted(&text)), "write it as year-month-day, such as 2026-12-31");
        }
        day
    }))
}

/// A bare number with or without quotation marks.
fn number(entry: &Entry<'_>, example: &str) -> Option<f64> {
    let text = entry.text_or_bare(example)?;
    let number = text.parse::<f64>().ok().filter(|number| number.is_finite());
    if number.is_none() {
        entry.fault(format!("{} is no number", quoted(&text)), format!("write a number, such as {example}"));
    }
    number
}

fn whole(section: &Section<'_>, name: &'static str, example: &str) -> Option<usize> {
    let number = section.required(name, example).and_then(|entry| entry.whole(0..=1_000_000))?;
    usize::try_from(number).ok()
}

fn v1(top: &Section<'_>) -> Option<Bench> {
    let id = top.required("id", "\"bench-2\"").and_then(|entry| entry.text());
    let mut names: Vec<String> = Vec::new();
    let mut named = |section: &Section<'_>| {
        let entry = section.required("id", "\"P1000-3\"")?;
        let name = entry.text()?;
        if names.contains(&name) {
            entry.fault(format!("{} is on this bench already", quoted(&name)), "name one of them otherwise");
            return None;
        }
        names.push(name.clone());
        Some(name)
    };
    let pipettes: Vec<Option<Pipette>> = top
        .sections("pipette", "[[pipette]]")
        .iter()
        .map(|section| {
            let id = named(section);
            let kind = pipette_kind(section);
            let due = day(section, "due");
            section.close();
            Some(Pipette { id: id?, kind: kind?, due: due? })
        })
        .collect();
    let flasks: Vec<Option<Flask>> = top
        .sections("flask", "[[flask]]")
        .iter()
        .map(|section| {
            let id = named(section);
            let volume = figure::<Volume>(section, "volume", Wanted::Positive);
            let tolerance = figure::<Volume>(section, "tolerance", Wanted::NotNegative);
            let due = day(section, "due");
            section.close();
            Some(Flask { id: id?, volume: volume?, tolerance: tolerance?, due: due? })
        })
        .collect();
    let balances: Vec<Option<Balance>> = top
        .sections("balance", "[[balance]]")
        .iter()
        .map(|section| {
            let id = named(section);
            let sd = figure::<Mass>(section, "sd", Wanted::NotNegative);
            let division = figure::<Mass>(section, "division", Wanted::Positive);
            let due = day(section, "due");
            section.close();
            Some(Balance { id: id?, sd: sd?, division: division?, due: due? })
        })
        .collect();
    let lot_sections = top.sections("lot", "[[lot]]");
    let lots: Vec<Option<Lot>> = lot_sections
        .iter()
        .map(|section| {
            let id = named(section);
            lot(section, id)
        })
        .collect();
    let lots = all(lots).and_then(|lots| {
        Lots::new(lots)
            .map_err(|fault| {
                let of = match &fault {
                    LotFault::NoParent { lot, .. } | LotFault::Circle { lot, .. } | LotFault::Twice { lot } => lot,
                    LotFault::Expired { lot, .. } | LotFault::Unknown { lot } => lot,
                };
                let place = lot_sections.iter().find(|section| {
                    section.optional("id").and_then(|entry| entry.text()).as_deref() == Some(of.as_str())
                });
                let span = place.map_or(0..0, Section::span);
                top.sheet().fault(span, fault.to_string(), "look at \"made_of\": it names lots that were there before");
            })
            .ok()
    });
    let furnace = transposed(top.optional_section("furnace", "[furnace]").map(|section| furnace(&section)));
    let flame = transposed(top.optional_section("flame", "[flame]").map(|section| {
        let instrument = section.required("instrument", "\"flame bench 1\"").and_then(|entry| entry.text());
        let seconds = figure::<Duration>(&section, "time_per_reading", Wanted::Positive);
        let per_reading = figure::<Volume>(&section, "volume_per_reading", Wanted::Positive);
        section.close();
        Some(Flame { instrument: instrument?, seconds_per_reading: seconds?, per_reading: per_reading? })
    }));
    let lamps = whole(top, "lamps", "4");
    let warm_up = figure::<Duration>(top, "lamp_warm_up", Wanted::NotNegative);
    let change = figure::<Duration>(top, "technique_change", Wanted::NotNegative);
    let portions = top.section("portions").and_then(|section| {
        let procedure = section.required("procedure", "\"…\"").and_then(|entry| entry.text());
        let taken = transposed(section.optional("taken").map(|entry| entry.uncertain(Wanted::Positive)));
        let mass = transposed(section.optional("mass").map(|entry| entry.uncertain(Wanted::Positive)));
        let made = section.required("made_up_to", "\"50 mL\"").and_then(|entry| entry.uncertain(Wanted::Positive));
        section.close();
        let (taken, mass) = (taken?, mass?);
        if taken.is_some() == mass.is_some() {
            top.sheet().fault(
                section.span(),
                "portions are either taken by volume or weighed in",
                "write taken = \"45 mL\" for liquids, or mass = \"0.5 g\" for solids",
            );
            return None;
        }
        Some(Portions { procedure: procedure?, taken, mass, made_up_to: made? })
    });
    let controls: Vec<Option<ControlMaterial>> = top
        .sections("control", "[[control]]")
        .iter()
        .map(|section| {
            let element = section.required("element", "\"Pb\"").and_then(|entry| element(&entry));
            let material = section.required("material", "\"…\"").and_then(|entry| entry.text());
            let assigned =
                section.required("assigned", "\"8.0 µg/L\"").and_then(|entry| result_figure(&entry, "value"));
            let u =
                transposed(section.optional("u_assigned").map(|entry| result_figure(&entry, "standard uncertainty")));
            section.close();
            Some(ControlMaterial {
                element: element?.as_str().to_owned(),
                material: material?,
                assigned: assigned?,
                u: u?,
            })
        })
        .collect();
    top.close();
    Some(Bench {
        id: id?,
        pipettes: all(pipettes)?,
        flasks: all(flasks)?,
        balances: all(balances)?,
        lots: lots?,
        furnace: furnace?,
        flame: flame?,
        lamps: lamps?,
        warm_up: warm_up?,
        technique_change: change?,
        portions: portions?,
        controls: all(controls)?,
    })
}

/// One mark where a volume stands, a piston where a range does.
fn pipette_kind(section: &Section<'_>) -> Option<PipetteKind> {
    if section.optional("volume").is_some() {
        let volume = figure::<Volume>(section, "volume", Wanted::Positive);
        let tolerance = figure::<Volume>(section, "tolerance", Wanted::NotNegative);
        return Some(PipetteKind::OneMark { volume: volume?, tolerance: tolerance? });
    }
    let from = figure::<Volume>(section, "from", Wanted::Positive);
    let to = figure::<Volume>(section, "to", Wanted::Positive);
    let increment = optional::<Volume>(section, "increment", Wanted::Positive);
    let systematic = optional::<Volume>(section, "systematic", Wanted::NotNegative);
    let random = optional::<Volume>(section, "random", Wanted::NotNegative);
    let weighed = all(section.sections("calibration", "[[pipette.calibration]]").iter().map(calibration).collect());
    let (from, to, increment, systematic, random, weighed) = (from?, to?, increment?, systematic?, random?, weighed?);
    if from >= to {
        section.required("to", "\"1000 µL\"")?.fault(
            "the largest volume of this pipette is not above its smallest",
            "write the smaller of the two behind from",
        );
        return None;
    }
    // Its own calibration stands before what the papers say, and that before what the standard permits.
    let own = |of: fn(&Gravimetric) -> f64| {
        weighed.iter().map(of).fold(None, |most: Option<f64>, one| Some(most.map_or(one, |most| most.max(one))))
    };
    let standard = permitted(to);
    let systematic = own(|one| one.systematic.abs()).or(systematic).or(standard.map(|limits| limits.0));
    let random = own(|one| one.random).or(random).or(standard.map(|limits| limits.1));
    let (Some(systematic), Some(random)) = (systematic, random) else {
        section.sheet().fault(
            section.span(),
            "above 10 mL the standard permits no deviations that could stand in for those of this pipette",
            "write systematic = \"60 µL\" and random = \"30 µL\", or its weighings as [[pipette.calibration]]",
        );
        return None;
    };
    Some(PipetteKind::Piston { from, to, increment: increment.unwrap_or(to / 1000.0), systematic, random })
}

/// A calibration from weighings of water.
fn calibration(section: &Section<'_>) -> Option<Gravimetric> {
    let set = figure::<Volume>(section, "set", Wanted::Positive);
    let masses = section.required("masses", "[\"998.1 mg\", …]").and_then(|entry| {
        let list = entry.list("[\"998.1 mg\", \"997.8 mg\"]")?;
        all(list.iter().map(|entry| entry.figure::<Mass>(Wanted::Positive).map(|mass| si(&mass))).collect())
            .map(|masses: Vec<f64>| (masses, entry))
    });
    let degrees = section.required("temperature_degc", "21.5").and_then(|entry| number(&entry, "21.5"));
    let pressure = section.required("pressure_hpa", "1013").and_then(|entry| number(&entry, "1013"));
    let evaporated = optional::<Mass>(section, "evaporated", Wanted::NotNegative);
    section.close();
    let (masses, entry) = masses?;
    gravimetric(set?, &masses, degrees?, 100.0 * pressure?, evaporated?.unwrap_or(0.0))
        .map_err(|fault| {
            entry.fault(fault.to_string(), "write ten weighings of water or more, and what they were made in")
        })
        .ok()
}

fn lot(section: &Section<'_>, id: Option<String>) -> Option<Lot> {
    let what = section.required("what", "\"…\"").and_then(|entry| entry.text());
    let certificate = transposed(section.optional("certificate").map(|entry| entry.text()));
    let opened = day(section, "opened");
    let expires = day(section, "expires");
    let days = transposed(section.optional("days_once_opened").map(|entry| entry.whole(1..=36_500)));
    let made_of = section
        .optional("made_of")
        .map_or(Some(Vec::new()), |entry| all(entry.list("[\"lot-1\"]")?.iter().map(Entry::text).collect()));
    let holds = match section.optional("element") {
        None => {
            for name in ["amount", "u", "volume"] {
                section.without(name, "at a lot without an element");
            }
            Some(None)
        }
        Some(entry) => {
            let symbol = element(&entry);
            let amount = figure::<MassConcentration>(section, "amount", Wanted::Positive);
            let u = figure::<Factor>(section, "u", Wanted::NotNegative);
            let volume = figure::<Volume>(section, "volume", Wanted::Positive);
            symbol.zip(amount).zip(u).zip(volume).map(|(((symbol, amount), u_relative), volume)| {
                Some(Holds { element: symbol.as_str().to_owned(), amount, u_relative, volume })
            })
        }
    };
    section.close();
    Some(Lot {
        id: id?,
        what: what?,
        certificate: certificate?,
        opened: opened?,
        expires: expires?,
        days_once_opened: days?.map(|days| u16::try_from(days).unwrap_or(u16::MAX)),
        made_of: made_of?,
        holds: holds?,
    })
}

fn furnace(section: &Section<'_>) -> Option<Furnace> {
    let instrument = section.required("instrument", "\"furnace bench 2\"").and_then(|entry| entry.text());
    let seconds = figure::<Duration>(section, "time_per_reading", Wanted::Positive);
    let places = whole(section, "tray_places", "60");
    let cup = figure::<Volume>(section, "cup_volume", Wanted::Positive);
    let rest = figure::<Volume>(section, "cup_rest", Wanted::NotNegative);
    let evaporation = optional::<Volume>(section, "evaporation_per_hour", Wanted::NotNegative);
    let left = whole(section, "firings_left", "300");
    let life = whole(section, "tube_life", "400");
    let change = figure::<Duration>(section, "tube_change", Wanted::NotNegative);
    section.close();
    Some(Furnace {
        instrument: instrument?,
        seconds_per_reading: seconds?,
        places: places?,
        cup: cup?,
        rest: rest?,
        evaporation: evaporation?.unwrap_or(0.0),
        firings_left: left?,
        tube_life: life?,
        tube_change: change?,
    })
}
