//! Faults that can be switched on by name: what each does to readings, how large it is, and what of it has to be found.
//!
//! [`Fault::ALL`] is the list; [`PlannedFault`] is one of them at a row, from a truth document or, as
//! `bad-injection@13.2=70%`, from a command line ([`PlannedFault::from_argument`]).
//!
//! Names are plain English of our own. Sizes, and the sizes from which a fault has to be found, are invented; the second
//! rest on usual limits: checks within 10 %, controls and spikes within 15 % to 20 %, replicates within three of the
//! method's standard deviations, a blank below half the lowest standard (common practice, no source). A fault of that size
//! has to raise a flag where the run holds what could show it: the column *shows at* names it.
//!
//! Invariant: a fault takes no draw, so it moves nothing but the readings it reaches.

use std::fmt;
use std::str::FromStr;

use darkline_record::method::Technique;
use serde::{Deserialize, Serialize};

/// What can go wrong. A sample over range needs no fault: its true value makes it so.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fault {
    /// A droplet stays on the tip; the rest is spread along the tube and leaves late, with a tail.
    BadInjection,
    /// The matrix holds the atoms back: the pulse comes later.
    LateRelease,
    /// A part of the atoms comes a second later, from another site.
    DoublePeak,
    /// Smoke of the matrix: a high background pulse.
    HighBackground,
    /// A structured background: the background channel reads a pulse that the total does not.
    OverCorrection,
    /// A part of the element is driven off before atomisation.
    VapourLoss,
    /// Part of the element stays and is read in the firings that follow.
    CarryOver,
    /// The matrix takes part of the sensitivity, half as much of what is added to a spiked portion.
    MatrixSuppression,
    /// The tube gives less from one firing to the next.
    WornTube,
    /// Each firing costs the tube more than usual.
    FastAgeing,
    /// The tube is hotter than its programme says.
    TemperatureError,
    /// The field leaves part of the analyte's absorbance in the background channel.
    WeakField,

    /// The lamp is not warm yet: the sensitivity is low and comes up.
    WarmingLamp,
    /// Light that no analyte absorbs reaches the detector.
    StrayLight,
    /// The lamp flickers.
    NoisyLamp,
    /// The detector reaches its ceiling: the top of the signal is cut off.
    ClippedSignal,
    /// Samples of the trace are missing.
    GapInTrace,
    /// The instrument gives no reading.
    LostReading,

    /// There is nothing in the cup but diluent.
    EmptyCup,
    /// The sampler goes to the cup of the next row.
    WrongCup,
    /// Something got into the solution.
    Contamination,
    /// The solution was made too strong.
    WrongDilution,

    /// The burner slot clogs, more from reading to reading.
    SlotClogging,
    /// The zero drifts.
    BlankDrift,
    /// The nebuliser takes up less, at once.
    BlockedNebuliser,
    /// An easily ionised matrix gives back the atoms that ions had taken: the element reads high.
    Ionisation,
    /// A viscous solution is taken up more slowly: it reads low.
    ViscousSolution,
    /// The reading begins before the signal is steady.
    ShortDelay,
    /// An air bubble passes while it is read.
    AirBubble,

    /// Part of a weighed portion does not come into the tube.
    SpilledPortion,
    /// The mass noted is too high.
    WrongMass,
    /// A grain rich in the element lies in the portion.
    Nugget,
}

/// What a fault reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// One replicate where it is named, else all of the row, at their first attempt; measured again, it is over.
    Reading,
    /// The solution in the cup: every reading of the row and of the rows that join it.
    Solution,
    /// What a portion is made of: every row with a portion of the same sample or control, spiked or not.
    Material,
    /// The row and all that follow in the same leg; it is mended when the next leg begins.
    Onwards,
    /// The readings that follow the row, the first most.
    Following,
}

/// What a size is a size of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SizeKind {
    /// The fault has no size.
    None,
    /// A part of a whole, written "20 %" or "0.2".
    Part,
    /// An absorbance, a bare number.
    Absorbance,
    /// A time in s.
    Seconds,
    /// A difference of temperature in °C.
    Celsius,
    /// So many times, a bare number.
    Times,
}

/// Where a fault can happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// In every technique.
    Everywhere,
    /// In a graphite furnace.
    Furnace,
    /// In a flame.
    Flame,
    /// In a furnace that takes weighed portions.
    Solids,
}

/// What there is to know about a fault.
#[derive(Clone, Copy, Debug)]
pub struct FaultFacts {
    /// The fault.
    pub fault: Fault,
    /// Its name.
    pub name: &'static str,
    /// What happens, and what it does to readings.
    pub meaning: &'static str,
    /// What its size is a size of.
    pub size: SizeKind,
    /// The size where none is given.
    pub default: f64,
    /// The size from which it has to be found.
    pub found_from: f64,
    /// The largest size that can be.
    pub most: f64,
    /// What it reaches.
    pub reach: Reach,
    /// Where it can happen.
    pub place: Place,
    /// What of a run shows it.
    pub shows_at: &'static str,
}

macro_rules! faults {
    ($($fault:ident $name:literal $size:ident $default:literal $found_from:literal $most:literal $reach:ident $place:ident
        $meaning:literal shows $shows_at:literal;)+) => {
        const FACTS: &[FaultFacts] = &[$(FaultFacts {
            fault: Fault::$fault,
            name: $name,
            meaning: $meaning,
            size: SizeKind::$size,
            default: $default,
            found_from: $found_from,
            most: $most,
            reach: Reach::$reach,
            place: Place::$place,
            shows_at: $shows_at,
        }),+];
    };
}

faults! {
    BadInjection "bad-injection" Part 0.62 0.20 1.0 Reading Furnace
        "part of the drop stays on the tip: the area is low by the size, late and tailing"
        shows "the other replicates";
    LateRelease "late-release" Seconds 0.6 0.4 2.0 Reading Furnace
        "the pulse comes later by the size"
        shows "the standards' peak times";
    DoublePeak "double-peak" Part 0.40 0.25 0.9 Reading Furnace
        "the size is the part of the area that comes 1 s later, as a second peak"
        shows "the pulse";
    HighBackground "high-background" Absorbance 2.0 1.6 4.0 Reading Furnace
        "a background pulse of this height is added to both channels"
        shows "the pulse";
    OverCorrection "over-correction" Absorbance 0.10 0.05 1.0 Reading Furnace
        "the background channel alone reads an early pulse of this height: the net dips below zero and the area is low"
        shows "the pulse";
    VapourLoss "vapour-loss" Part 0.30 0.20 1.0 Reading Furnace
        "the size is the part of the element that is gone before atomisation; the shape stays"
        shows "a check, a control, a spiked portion at this row";
    CarryOver "carry-over" Part 0.05 0.03 0.5 Following Everywhere
        "the size is the part of the row's amount that the next reading shows, its square the one after, and so on"
        shows "a blank or replicates in the row that follows a rich one";
    MatrixSuppression "matrix-suppression" Part 0.50 0.45 0.95 Material Everywhere
        "the material gives less response by the size, what was added to a spiked portion of it by half the size"
        shows "a spiked portion of the sample, a control";
    WornTube "worn-tube" Part 0.20 0.15 0.9 Onwards Furnace
        "from this row on every area is low by the size"
        shows "the check that follows";
    FastAgeing "fast-ageing" Part 0.008 0.006 0.1 Onwards Furnace
        "from this row on each firing takes this part of the sensitivity"
        shows "the check that follows";
    TemperatureError "temperature-error" Celsius 250.0 200.0 500.0 Onwards Furnace
        "from this row on the tube is hotter by the size: atoms come earlier, leave faster, and areas are low"
        shows "the check that follows";
    WeakField "weak-field" Part 0.20 0.15 0.9 Onwards Furnace
        "from this row on the background channel keeps this part of the analyte's absorbance: areas are low, high ones roll over"
        shows "the check that follows";

    WarmingLamp "warming-lamp" Part 0.20 0.15 0.9 Onwards Everywhere
        "at this row responses are low by the size; this is less by a factor of e every 20 readings"
        shows "the checks";
    StrayLight "stray-light" Part 0.25 0.18 1.0 Onwards Everywhere
        "from this row on stray light of this part of the absorbable light: responses are low, high ones more"
        shows "the check that follows";
    NoisyLamp "noisy-lamp" Times 10.0 6.0 100.0 Reading Everywhere
        "the noise of every value is this many times the usual one"
        shows "the trace, the other replicates";
    ClippedSignal "clipped-signal" Part 0.40 0.15 0.95 Reading Everywhere
        "the size is the part of the highest total absorbance that is cut off, to a flat top"
        shows "the trace";
    GapInTrace "gap-in-trace" Seconds 0.3 0.2 2.0 Reading Everywhere
        "samples of this time are missing around the middle of the signal"
        shows "the trace";
    LostReading "lost-reading" None 0.0 0.0 0.0 Reading Everywhere
        "the instrument gives no reading"
        shows "the reading";

    EmptyCup "empty-cup" None 0.0 0.0 0.0 Reading Everywhere
        "there is nothing but diluent: the response of a blank"
        shows "a standard, a check, a control, a spiked portion at this row; the other replicates";
    WrongCup "wrong-cup" None 0.0 0.0 0.0 Reading Everywhere
        "the sampler takes the cup of the next row"
        shows "a standard, a check, a blank, a control at this row; the other replicates";
    Contamination "contamination" Part 0.20 0.10 10.0 Solution Everywhere
        "the solution holds this part of the top standard more than it should"
        shows "a blank at this row";
    WrongDilution "wrong-dilution" Part 0.25 0.20 10.0 Solution Everywhere
        "the solution is stronger than it should be by the size"
        shows "a standard, a check, a control at this row";

    SlotClogging "slot-clogging" Part 0.05 0.04 0.5 Onwards Flame
        "from this row on each ten readings cost this part of the response"
        shows "the check that follows";
    BlankDrift "blank-drift" Absorbance 0.010 0.006 0.5 Onwards Flame
        "from this row on the zero rises by this absorbance every ten readings"
        shows "the check blank that follows";
    BlockedNebuliser "blocked-nebuliser" Part 0.30 0.15 1.0 Onwards Flame
        "from this row on the uptake, and with it every response, is low by the size"
        shows "the check that follows";
    Ionisation "ionisation" Part 0.35 0.25 2.0 Material Flame
        "the material gives more response by the size, what was added to a spiked portion of it too"
        shows "a spiked portion of the sample, a control";
    ViscousSolution "viscous-solution" Part 0.35 0.25 0.95 Material Flame
        "the material is taken up more slowly: it gives less response by the size, a spiked portion of it too"
        shows "a spiked portion of the sample, a control";
    ShortDelay "short-delay" Seconds 2.0 1.5 3.0 Reading Flame
        "the reading begins this much too early, while the signal still rises with a time constant of 0.8 s"
        shows "the slope of the trace, the other replicates";
    AirBubble "air-bubble" Part 0.40 0.20 1.0 Reading Flame
        "no solution arrives for this part of the time of reading"
        shows "the trace, the other replicates";

    SpilledPortion "spilled-portion" Part 0.60 0.40 1.0 Reading Solids
        "the size is the part of the weighed portion that does not come into the tube"
        shows "the mass fractions of the other portions";
    WrongMass "wrong-mass" Part 1.00 0.60 10.0 Reading Solids
        "the mass noted is higher than the mass weighed by the size"
        shows "the mass fractions of the other portions";
    Nugget "nugget" Part 2.00 1.00 100.0 Reading Solids
        "a grain brings this part of a portion's usual content on top of it"
        shows "the mass fractions of the other portions";
}

impl Fault {
    /// Names, meanings and sizes of all faults, in the order they are listed.
    pub const ALL: &'static [FaultFacts] = FACTS;

    /// What there is to know about it.
    pub fn facts(self) -> &'static FaultFacts {
        FACTS.iter().find(|facts| facts.fault == self).expect("every fault stands in the list; a test says so")
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        self.facts().name
    }

    /// All faults as a table: name, default size, the size from which it has to be found, meaning.
    ///
    /// # Example
    /// ```
    /// let list = darkline_simulator::Fault::list();
    /// assert!(list.starts_with("name"));
    /// assert!(list.contains("bad-injection"));
    /// ```
    pub fn list() -> String {
        let mut lines = vec![["name", "size", "found from", "what happens"].map(String::from)];
        lines.extend(FACTS.iter().map(|facts| {
            [
                facts.name.into(),
                facts.size.written(facts.default),
                facts.size.written(facts.found_from),
                facts.meaning.into(),
            ]
        }));
        let width = |column: usize| lines.iter().map(|line| line[column].chars().count()).max().unwrap_or(0);
        let [name, size, found] = [0, 1, 2].map(width);
        lines
            .iter()
            .map(|line| format!("{:name$}  {:>size$}  {:>found$}  {}\n", line[0], line[1], line[2], line[3]))
            .collect()
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A fault nobody knows, or a size or place that it cannot have.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FaultFault {
    /// No fault has this name.
    #[error("there is no fault \"{found}\"; the faults are {}", names())]
    Unknown {
        /// The name.
        found: String,
    },
    /// An argument without a row.
    #[error(
        "\"{found}\" names no row; write NAME@ROW, NAME@ROW.REPLICATE or NAME@ROW=SIZE, for example bad-injection@13.2=70%"
    )]
    NoRow {
        /// The argument.
        found: String,
    },
    /// A size that is no figure.
    #[error("\"{found}\" is no size; a size is a number with %, s, °C or nothing behind it")]
    NoSize {
        /// The text.
        found: String,
    },
    /// A size of another kind.
    #[error("the size of {fault} is {}, not \"{found}\"; write for example {}", fault.facts().size.words(), fault.facts().size.written(fault.facts().default))]
    OtherSize {
        /// The fault.
        fault: Fault,
        /// The size.
        found: String,
    },
    /// A size beyond what can be.
    #[error("{fault} cannot have the size {found}; above 0 and at most {} can be", fault.facts().size.written(fault.facts().most))]
    Beyond {
        /// The fault.
        fault: Fault,
        /// The size.
        found: String,
    },
    /// A size where there is none.
    #[error("{fault} has no size")]
    Sizeless {
        /// The fault.
        fault: Fault,
    },
}

fn names() -> String {
    FACTS.iter().map(|facts| facts.name).collect::<Vec<_>>().join(", ")
}

impl FromStr for Fault {
    type Err = FaultFault;
    /// Reads a name; words may be parted by spaces or hyphens.
    fn from_str(text: &str) -> Result<Self, FaultFault> {
        let name = text.trim().replace(' ', "-");
        let found = FACTS.iter().find(|facts| facts.name == name);
        found.map(|facts| facts.fault).ok_or_else(|| FaultFault::Unknown { found: text.chars().take(80).collect() })
    }
}

impl Serialize for Fault {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.name().replace('-', " "))
    }
}

impl<'de> Deserialize<'de> for Fault {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

impl SizeKind {
    /// What the size is.
    pub fn words(self) -> &'static str {
        match self {
            SizeKind::None => "nothing",
            SizeKind::Part => "a part of a whole",
            SizeKind::Absorbance => "an absorbance",
            SizeKind::Seconds => "a time in s",
            SizeKind::Celsius => "a difference in °C",
            SizeKind::Times => "a number of times",
        }
    }
    /// A size with its unit.
    pub fn written(self, size: f64) -> String {
        match self {
            SizeKind::None => "–".into(),
            // Rounded first: 100 times 0.55 is 55.00000000000001.
            SizeKind::Part => format!("{} %", (1e8 * size).round() / 1e6),
            SizeKind::Absorbance | SizeKind::Times => format!("{size}"),
            SizeKind::Seconds => format!("{size} s"),
            SizeKind::Celsius => format!("{size} °C"),
        }
    }
}

/// A size as it is written; whether it fits its fault is [`PlannedFault::check`]'s business.
#[derive(Clone, Debug, PartialEq)]
pub struct Size {
    text: String,
    number: f64,
    unit: &'static str,
}

impl FromStr for Size {
    type Err = FaultFault;
    fn from_str(text: &str) -> Result<Self, FaultFault> {
        let no_size = || FaultFault::NoSize { found: text.chars().take(40).collect() };
        let trimmed = text.trim();
        let end =
            trimmed.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+'))).unwrap_or(trimmed.len());
        let number: f64 = trimmed[..end].parse().map_err(|_| no_size())?;
        let unit = match trimmed[end..].trim() {
            "" => "",
            "%" => "%",
            "s" => "s",
            "°C" | "C" | "K" => "°C",
            _ => return Err(no_size()),
        };
        if !number.is_finite() {
            return Err(no_size());
        }
        Ok(Self { text: trimmed.into(), number, unit })
    }
}

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl Serialize for Size {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.text)
    }
}

impl<'de> Deserialize<'de> for Size {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// Something that goes wrong at a row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlannedFault {
    /// The row.
    pub row: u32,
    /// Which replicate of it, from 1; all of them where absent. Only a fault of single readings takes one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replicate: Option<u8>,
    /// What.
    pub kind: Fault,
    /// How large; the default of the fault where absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size: Option<Size>,
}

impl PlannedFault {
    /// Reads `NAME@ROW`, `NAME@ROW.REPLICATE`, and either with `=SIZE` behind it.
    ///
    /// # Errors
    /// [`FaultFault`]; for a name nobody knows it lists all names.
    ///
    /// # Example
    /// ```
    /// use darkline_simulator::PlannedFault;
    /// let fault = PlannedFault::from_argument("bad-injection@13.2=70%")?;
    /// assert_eq!((fault.row, fault.replicate, fault.size()), (13, Some(2), 0.7));
    /// # Ok::<(), darkline_simulator::FaultFault>(())
    /// ```
    pub fn from_argument(text: &str) -> Result<Self, FaultFault> {
        let no_row = || FaultFault::NoRow { found: text.chars().take(80).collect() };
        let (place, size) = match text.split_once('=') {
            Some((place, size)) => (place, Some(size.parse::<Size>()?)),
            None => (text, None),
        };
        let (name, place) = place.split_once('@').unwrap_or((place, ""));
        // The name comes first: who does not know the faults sees their list.
        let kind: Fault = name.parse()?;
        let (row, replicate) = match place.split_once('.') {
            Some((row, replicate)) => (row, Some(replicate.parse::<u8>().map_err(|_| no_row())?)),
            None => (place, None),
        };
        let fault = Self { row: row.parse().map_err(|_| no_row())?, replicate, kind, size };
        fault.check()?;
        Ok(fault)
    }

    /// Holds its size against what the fault can have.
    ///
    /// # Errors
    /// [`FaultFault::OtherSize`], [`FaultFault::Beyond`], [`FaultFault::Sizeless`].
    pub fn check(&self) -> Result<(), FaultFault> {
        let Some(size) = &self.size else { return Ok(()) };
        let (fault, facts) = (self.kind, self.kind.facts());
        let fits = match facts.size {
            SizeKind::None => return Err(FaultFault::Sizeless { fault }),
            SizeKind::Part => matches!(size.unit, "%" | ""),
            SizeKind::Absorbance | SizeKind::Times => size.unit.is_empty(),
            SizeKind::Seconds => size.unit == "s",
            SizeKind::Celsius => size.unit == "°C",
        };
        if !fits {
            return Err(FaultFault::OtherSize { fault, found: size.text.clone() });
        }
        if self.size() > 0.0 && self.size() <= facts.most {
            Ok(())
        } else {
            Err(FaultFault::Beyond { fault, found: size.text.clone() })
        }
    }

    /// Its size as a number: a part of 1, an absorbance, s, °C or times; the default where none is given.
    pub fn size(&self) -> f64 {
        match &self.size {
            Some(size) if size.unit == "%" => size.number / 100.0,
            Some(size) => size.number,
            None => self.kind.facts().default,
        }
    }

    /// Whether it is large enough that it has to be found.
    pub fn has_to_be_found(&self) -> bool {
        self.size() >= self.kind.facts().found_from
    }
}

impl fmt::Display for PlannedFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}", self.kind, self.row)?;
        if let Some(replicate) = self.replicate {
            write!(f, ".{replicate}")?;
        }
        match &self.size {
            Some(size) => write!(f, "={size}"),
            None => Ok(()),
        }
    }
}

impl Place {
    /// Whether a fault of this place can happen in a technique.
    pub fn takes(self, technique: Technique, is_solid: bool) -> bool {
        match self {
            Place::Everywhere => true,
            Place::Furnace => technique == Technique::Furnace,
            Place::Flame => technique == Technique::Flame,
            Place::Solids => is_solid,
        }
    }
    /// Where, in words.
    pub fn words(self) -> &'static str {
        match self {
            Place::Everywhere => "everywhere",
            Place::Furnace => "in a graphite furnace",
            Place::Flame => "in a flame",
            Place::Solids => "where portions are weighed into the tube",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_stands_in_the_list_once_and_its_sizes_can_be() {
        for (place, facts) in FACTS.iter().enumerate() {
            assert_eq!(facts.fault as usize, place, "{}", facts.name);
            assert_eq!(facts.name.parse::<Fault>(), Ok(facts.fault));
            assert_eq!(facts.name.replace('-', " ").parse::<Fault>(), Ok(facts.fault));
            assert!(facts.found_from <= facts.default && facts.default <= facts.most, "{}", facts.name);
            assert_eq!(facts.size == SizeKind::None, facts.default == 0.0);
            let planned = format!("{}@3", facts.name);
            assert_eq!(PlannedFault::from_argument(&planned).unwrap().to_string(), planned);
            if facts.size != SizeKind::None {
                let size: Size = facts.size.written(facts.found_from).parse().unwrap();
                let planned = PlannedFault { row: 3, replicate: None, kind: facts.fault, size: Some(size) };
                assert_eq!(planned.check(), Ok(()));
                assert!((planned.size() / facts.found_from - 1.0).abs() < 1e-12 && planned.has_to_be_found());
            }
        }
        assert_eq!(Fault::list().lines().count(), FACTS.len() + 1);
    }

    #[test]
    fn arguments_that_cannot_be_are_told() {
        let told = |text: &str| PlannedFault::from_argument(text).unwrap_err().to_string();
        let unknown = told("gremlin@3");
        assert!(
            unknown.starts_with("there is no fault \"gremlin\"; the faults are bad-injection, late-release,"),
            "{unknown}"
        );
        assert!(told("bad-injection").starts_with("\"bad-injection\" names no row; write NAME@ROW"));
        assert!(told("bad-injection@x").starts_with("\"bad-injection@x\" names no row"));
        assert!(told("bad-injection@1.900").starts_with("\"bad-injection@1.900\" names no row"));
        assert_eq!(
            told("bad-injection@1=2 s"),
            "the size of bad-injection is a part of a whole, not \"2 s\"; write for example 62 %"
        );
        assert_eq!(
            told("bad-injection@1=130%"),
            "bad-injection cannot have the size 130%; above 0 and at most 100 % can be"
        );
        assert_eq!(told("late-release@1=0 s"), "late-release cannot have the size 0 s; above 0 and at most 2 s can be");
        assert_eq!(told("lost-reading@1=3"), "lost-reading has no size");
        assert_eq!(
            told("noisy-lamp@1=NaN"),
            "\"NaN\" is no size; a size is a number with %, s, °C or nothing behind it"
        );
        assert_eq!(
            told("noisy-lamp@1=5 mm"),
            "\"5 mm\" is no size; a size is a number with %, s, °C or nothing behind it"
        );
    }
}
