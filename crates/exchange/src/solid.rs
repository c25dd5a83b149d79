//! The part `[solid]` of a method: portions weighed into the tube.

use darkline_record::solid::{SolidCalibration, SolidPlan};

use crate::document::figure::Wanted;
use crate::document::gathering::{all, transposed};
use crate::document::section::Section;

/// Reads the part.
pub(crate) fn read(section: &Section<'_>) -> Option<SolidPlan> {
    let dispensed = section.required("dispensed", "\"20 µL\"").and_then(|entry| entry.uncertain(Wanted::Positive));
    let u_mass = section.required("u_mass", "\"0.002 mg\"").and_then(|entry| entry.figure(Wanted::NotNegative));
    let word = section.required("calibrate_with", "\"solutions\"");
    let calibrate_with = word.as_ref().and_then(|entry| {
        let all = [SolidCalibration::Solutions, SolidCalibration::Powders];
        entry.one_of("calibration for powders", &all, SolidCalibration::word)
    });
    let powders = section.optional("powders").map_or(Some(Vec::new()), |entry| {
        let entries = entry.list("[\"name of a control material\"]")?;
        all(entries.iter().map(|entry| entry.text()).collect())
    });
    let wanted_u = transposed(section.optional("wanted_u").map(|entry| entry.figure(Wanted::Positive)));
    if let (Some(SolidCalibration::Powders), Some([]), Some(word)) = (calibrate_with, powders.as_deref(), word) {
        word.fault(
            "the sensitivity is to come from powders, and none is named",
            "write powders = [\"…\"] with the control materials of the preparation, or calibrate_with = \"solutions\"",
        );
    }
    section.close();
    Some(SolidPlan {
        dispensed: dispensed?,
        u_mass: u_mass?,
        calibrate_with: calibrate_with?,
        powders: powders?,
        wanted_u: wanted_u?,
    })
}
