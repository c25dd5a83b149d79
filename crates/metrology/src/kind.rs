//! Kinds of quantity: a figure whose type says what it is, and the units it is read and written in.
//!
//! [`Kind`] is a number in SI with a type; [`Unit`] converts at the doors. There is no algebra of dimensions: the
//! operations that make sense between kinds are named one by one in [`crate::model::Term`].
//!
//! Source: the factors are those of the SI Brochure, 9th edition (2019), tables 7 and 8 (from memory).
//!
//! Invariant: inside, every figure is in the coherent SI unit of its kind.

use std::fmt::Debug;
use std::marker::PhantomData;

/// A kind of quantity: a number in its SI unit, with a type that says what it is.
pub trait Kind: Copy + PartialEq + PartialOrd + Debug + Send + Sync + 'static {
    /// What the trade calls it, for example "mass concentration".
    const NAME: &'static str;
    /// The coherent SI unit, for example "kg/m³"; "1" for a pure number.
    const UNIT: &'static str;
    /// Units read and written: symbol, numerator and denominator of the factor to SI.
    ///
    /// Two numbers rather than one, so that a decimal factor is one correctly rounded operation.
    const UNITS: &'static [(&'static str, f64, f64)];
    /// An example of how a figure of this kind is written, for error messages.
    const EXAMPLE: &'static str;

    /// The figure in the SI unit.
    fn si(self) -> f64;
    /// A figure given in the SI unit.
    fn from_si(si: f64) -> Self;

    /// The unit of this kind with this symbol, however it is typed (`ug/l`, `µg/L`, `mg/dm2`).
    fn unit(symbol: &str) -> Option<Unit<Self>> {
        let wanted = plain_symbol(symbol);
        Self::UNITS.iter().find(|(symbol, ..)| *symbol == wanted).map(|&(symbol, numerator, denominator)| Unit {
            symbol,
            numerator,
            denominator,
            kind: PhantomData,
        })
    }

    /// The first unit of the list: the one the trade writes by default.
    fn usual_unit() -> Unit<Self> {
        let (symbol, numerator, denominator) = Self::UNITS[0];
        Unit { symbol, numerator, denominator, kind: PhantomData }
    }
}

/// A unit of one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit<K> {
    symbol: &'static str,
    pub(crate) numerator: f64,
    pub(crate) denominator: f64,
    kind: PhantomData<K>,
}

impl<K: Kind> Unit<K> {
    /// The symbol as Darkline writes it.
    pub fn symbol(self) -> &'static str {
        self.symbol
    }
    /// A figure given in this unit.
    pub fn of(self, figure: f64) -> K {
        K::from_si(figure * self.numerator / self.denominator)
    }
    /// The number that is read off in this unit.
    pub fn read(self, quantity: K) -> f64 {
        quantity.si() * self.denominator / self.numerator
    }
    /// The number that is read off in this unit, of a figure in SI.
    pub fn read_si(self, si: f64) -> f64 {
        si * self.denominator / self.numerator
    }
}

/// Spells a unit the one way Darkline writes it: one code point of µ, superscript digits, capital litre.
pub fn plain_symbol(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let parts: Vec<&str> = text.trim().split('/').map(str::trim).collect();
    for (place, part) in parts.iter().enumerate() {
        if place > 0 {
            plain.push('/');
        }
        let mut unit = part.replace('\u{3bc}', "µ").replace('²', "2").replace('³', "3").replace('^', "");
        if let Some(rest) = unit.strip_prefix('u')
            && matches!(rest, "g" | "L" | "l" | "m" | "A")
        {
            unit = format!("µ{rest}");
        }
        if let Some(prefix) = unit.strip_suffix('l')
            && matches!(prefix, "" | "m" | "µ" | "d" | "c" | "n")
        {
            unit = format!("{prefix}L");
        }
        if matches!(unit.as_str(), "m2" | "dm2" | "cm2" | "m3" | "dm3" | "cm3" | "mm2" | "mm3") {
            unit = unit.replace('2', "²").replace('3', "³");
        }
        plain.push_str(&unit);
    }
    plain
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident = $text:literal, $unit:literal, example $example:literal,
        [$($symbol:literal = $numerator:literal / $denominator:literal),+ $(,)?];)+) => {
        $(
            $(#[$doc])*
            #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
            pub struct $name(f64);

            impl Kind for $name {
                const NAME: &'static str = $text;
                const UNIT: &'static str = $unit;
                const UNITS: &'static [(&'static str, f64, f64)] = &[$(($symbol, $numerator, $denominator)),+];
                const EXAMPLE: &'static str = $example;
                fn si(self) -> f64 { self.0 }
                fn from_si(si: f64) -> Self { Self(si) }
            }
        )+

        /// Every kind with its name and the symbols it is written in, to tell somebody what a unit belongs to.
        pub const ALL_KINDS: &[(&str, &[(&str, f64, f64)])] = &[$(($name::NAME, $name::UNITS)),+];
    };
}

kinds! {
    /// Absorbance, a pure number (base 10).
    Absorbance = "absorbance", "1", example "0.152", ["1" = 1.0 / 1.0];
    /// Absorbance integrated over time.
    IntegratedAbsorbance = "integrated absorbance", "s", example "0.152 s", ["s" = 1.0 / 1.0, "ms" = 1.0 / 1e3];
    /// What calibration sees: integrated absorbance (s), peak absorbance or mean absorbance; one of them throughout a run.
    Response = "response", "1", example "0.152", ["1" = 1.0 / 1.0, "s" = 1.0 / 1.0];
    /// Response per mass concentration: the slope of a calibration function.
    Sensitivity = "response per mass concentration", "m³/kg", example "0.241 L/mg",
        ["L/mg" = 1e3 / 1.0, "L/µg" = 1e6 / 1.0, "s·L/mg" = 1e3 / 1.0, "s·L/µg" = 1e6 / 1.0];
    /// Mass of analyte in a volume of solution.
    MassConcentration = "mass concentration", "kg/m³", example "20 µg/L",
        ["µg/L" = 1.0 / 1e6, "mg/L" = 1.0 / 1e3, "ng/L" = 1.0 / 1e9, "g/L" = 1.0 / 1.0, "µg/mL" = 1.0 / 1e3,
         "ng/mL" = 1.0 / 1e6, "mg/mL" = 1.0 / 1.0, "kg/m³" = 1.0 / 1.0];
    /// Mass of analyte in a mass of material.
    MassFraction = "mass fraction", "kg/kg", example "0.30 mg/kg",
        ["mg/kg" = 1.0 / 1e6, "µg/kg" = 1.0 / 1e9, "ng/g" = 1.0 / 1e9, "µg/g" = 1.0 / 1e6, "ng/kg" = 1.0 / 1e12,
         "g/kg" = 1.0 / 1e3, "mg/g" = 1.0 / 1e3, "g/g" = 1.0 / 1.0, "%" = 1.0 / 1e2];
    /// Mass.
    Mass = "mass", "kg", example "0.2500 g",
        ["g" = 1.0 / 1e3, "mg" = 1.0 / 1e6, "µg" = 1.0 / 1e9, "ng" = 1.0 / 1e12, "pg" = 1.0 / 1e15, "kg" = 1.0 / 1.0];
    /// Volume.
    Volume = "volume", "m³", example "20 µL",
        ["mL" = 1.0 / 1e6, "L" = 1.0 / 1e3, "µL" = 1.0 / 1e9, "dL" = 1.0 / 1e4, "cL" = 1.0 / 1e5, "nL" = 1.0 / 1e12,
         "cm³" = 1.0 / 1e6, "dm³" = 1.0 / 1e3, "m³" = 1.0 / 1.0];
    /// Area of a surface.
    Area = "area", "m²", example "5.73 dm²",
        ["dm²" = 1.0 / 1e2, "cm²" = 1.0 / 1e4, "mm²" = 1.0 / 1e6, "m²" = 1.0 / 1.0];
    /// Mass released by an area of surface.
    ReleasePerArea = "release per area", "kg/m²", example "0.07 mg/dm²",
        ["mg/dm²" = 1.0 / 1e4, "µg/dm²" = 1.0 / 1e7, "mg/cm²" = 1.0 / 1e2, "µg/cm²" = 1.0 / 1e5, "mg/m²" = 1.0 / 1e6,
         "kg/m²" = 1.0 / 1.0];
    /// Mass of analyte taken in with one dose.
    AmountPerDose = "amount per dose", "kg", example "5 µg",
        ["µg" = 1.0 / 1e9, "mg" = 1.0 / 1e6, "ng" = 1.0 / 1e12, "g" = 1.0 / 1e3];
    /// A pure number that multiplies: dilution factor, recovery factor, correction.
    Factor = "factor", "1", example "1.02", ["1" = 1.0 / 1.0, "%" = 1.0 / 1e2];
    /// Time that passes.
    Duration = "time", "s", example "5 s", ["s" = 1.0 / 1.0, "ms" = 1.0 / 1e3, "min" = 60.0 / 1.0, "h" = 3600.0 / 1.0,
        "d" = 86400.0 / 1.0];
    /// Wavelength of a line.
    Wavelength = "wavelength", "m", example "283.3 nm", ["nm" = 1.0 / 1e9, "pm" = 1.0 / 1e12];
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn every_way_of_typing_a_unit_is_read_as_one() {
        for typed in ["µg/L", "ug/l", "\u{3bc}g/L", "ug / L", " µg/l "] {
            assert_eq!(MassConcentration::unit(typed).map(Unit::symbol), Some("µg/L"), "{typed}");
        }
        assert_eq!(ReleasePerArea::unit("mg/dm2").map(Unit::symbol), Some("mg/dm²"));
        assert_eq!(Volume::unit("ul").map(Unit::symbol), Some("µL"));
        assert_eq!(Volume::unit("µg/L"), None);
    }

    #[test]
    fn a_litre_of_one_milligram_is_a_gram_a_cubic_metre() {
        let unit = MassConcentration::unit("mg/L").unwrap();
        assert_eq!(unit.of(1.0).si(), 0.001);
        assert_eq!(unit.read(unit.of(0.26)), 0.26);
    }

    #[test]
    fn every_unit_is_written_the_way_it_is_read() {
        for (kind, units) in ALL_KINDS {
            for (symbol, ..) in *units {
                assert_eq!(&plain_symbol(symbol), symbol, "{kind}");
            }
        }
    }

    proptest! {
        #[test]
        fn reading_in_the_unit_of_writing_gives_the_figure_back(figure in 1e-6..1e6_f64) {
            for symbol in ["µg/L", "mg/L", "ng/mL"] {
                let unit = MassConcentration::unit(symbol).unwrap();
                prop_assert!((unit.read(unit.of(figure)) / figure - 1.0).abs() < 1e-15);
            }
        }
    }
}
