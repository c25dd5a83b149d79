//! Results: from the concentration in a solution to the mass fraction in a material, moist or dry.

use darkline_metrology::kind::{Factor, Kind, Mass, MassConcentration, MassFraction, Unit, Volume};
use darkline_metrology::model::Model;

use super::Computed;
use crate::answer::Found;
use crate::case_file::Node;
use crate::stop::{Stop, refused};

fn unit<K: Kind>(symbol: &str) -> Result<Unit<K>, Stop> {
    K::unit(symbol).ok_or_else(|| refused(format!("{symbol} is no unit here")))
}

pub(super) fn mass_fraction(_: Node<'_>, item: Node<'_>) -> Computed {
    let (concentration, volume, mass) = (unit::<MassConcentration>("µg/L")?, unit::<Volume>("mL")?, unit::<Mass>("g")?);
    let fraction = unit::<MassFraction>("mg/kg")?;
    let get = |key: &str| item.number_of(key);
    let model = Model::new();
    let net = model.exact(concentration.of(get("c_ug_L")?))
        - model.exact(concentration.of(item.number_or("c_blank_ug_L", 0.0)?));
    let factor = model.exact(Factor::from_si(item.number_or("f", 1.0)?));
    let of = net * model.exact(volume.of(get("V_mL")?)) * factor / model.exact(mass.of(get("m_g")?));
    let mut found = Found::new();
    found.put("w_mg_kg", fraction.read(of.value()));
    Ok(found)
}

/// A result as received, on dry mass, by any statement of moisture.
pub(super) fn dry_mass(_: Node<'_>, item: Node<'_>) -> Computed {
    let fraction = unit::<MassFraction>("mg/kg")?;
    let percent_unit = unit::<Factor>("%")?;
    let model = Model::new();
    let percent = |figure: f64| model.exact(percent_unit.of(figure));
    let received = model.exact(fraction.of(item.number_of("w")?));
    let basis = item.need("basis")?;
    let dry = match basis.text()? {
        "dry" => received * (percent(100.0) + percent(item.number_of("moisture_percent")?)),
        "wet" => received / (percent(100.0) - percent(item.number_of("moisture_percent")?)),
        "dry_matter" => received / percent(item.number_of("dry_matter_percent")?),
        other => return Err(basis.fault(format!("{other} is no basis; write dry, wet or dry_matter")).into()),
    };
    let mut found = Found::new();
    found.put("w_dry", fraction.read(dry.value()));
    Ok(found)
}

/// Moisture by drying, on dry and on moist mass.
pub(super) fn moisture(case: Node<'_>) -> Computed {
    let data = case.need("data")?;
    let (gram, percent) = (unit::<Mass>("g")?, unit::<MassFraction>("%")?);
    let model = Model::new();
    let mass = |key: &str| data.number_of(key).map(|figure| model.exact(gram.of(figure)));
    let (pan, wet, dried) = (mass("pan")?, mass("pan_wet")?, mass("pan_dry")?);
    let (water, dry, moist) = (wet - dried, dried - pan, wet - pan);
    let (on_dry, on_moist) = (water / dry, water / moist);
    let mut found = Found::new();
    found.put("moisture_dry_basis_percent", percent.read(on_dry.value()));
    found.put("moisture_wet_basis_percent", percent.read(on_moist.value()));
    found.put("dry_matter_fraction", (dry / moist).value().si());
    if data.has("sample_wet") {
        let sample = mass("sample_wet")?;
        found.put("oven_dry_mass", gram.read((sample - on_moist * sample).value()));
    }
    Ok(found)
}
