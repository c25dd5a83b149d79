//! The symbols of the chemical elements.

/// All symbols, by atomic number.
///
/// # Source
/// IUPAC, Periodic Table of the Elements, 118 elements (from memory).
pub const ALL: [&str; 118] = [
    "H", "He", "Li", "Be", "B", "C", "N", "O", "F", "Ne", "Na", "Mg", "Al", "Si", "P", "S", "Cl", "Ar", "K", "Ca",
    "Sc", "Ti", "V", "Cr", "Mn", "Fe", "Co", "Ni", "Cu", "Zn", "Ga", "Ge", "As", "Se", "Br", "Kr", "Rb", "Sr", "Y",
    "Zr", "Nb", "Mo", "Tc", "Ru", "Rh", "Pd", "Ag", "Cd", "In", "Sn", "Sb", "Te", "I", "Xe", "Cs", "Ba", "La", "Ce",
    "Pr", "Nd", "Pm", "Sm", "Eu", "Gd", "Tb", "Dy", "Ho", "Er", "Tm", "Yb", "Lu", "Hf", "Ta", "W", "Re", "Os", "Ir",
    "Pt", "Au", "Hg", "Tl", "Pb", "Bi", "Po", "At", "Rn", "Fr", "Ra", "Ac", "Th", "Pa", "U", "Np", "Pu", "Am", "Cm",
    "Bk", "Cf", "Es", "Fm", "Md", "No", "Lr", "Rf", "Db", "Sg", "Bh", "Hs", "Mt", "Ds", "Rg", "Cn", "Nh", "Fl", "Mc",
    "Lv", "Ts", "Og",
];

/// Whether a text is the symbol of an element.
pub fn is_known(symbol: &str) -> bool {
    ALL.contains(&symbol)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cadmium_and_lead_stand_at_their_atomic_numbers_and_no_symbol_twice() {
        assert_eq!((ALL[47], ALL[81], ALL[117]), ("Cd", "Pb", "Og"));
        let distinct: std::collections::BTreeSet<_> = ALL.iter().collect();
        assert_eq!(distinct.len(), 118);
        assert!(!is_known("cd") && !is_known("Xx"));
    }
}
