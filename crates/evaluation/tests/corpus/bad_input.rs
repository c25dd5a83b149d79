//! Bad pulses in a run: each is told with the reading's name and the place in its trace, and the other readings go on.

use std::error::Error;
use std::sync::Arc;

use darkline_evaluation::evaluate;
use darkline_evaluation::outcome::Outcome;
use darkline_record::package::DataPackage;
use darkline_record::pulse::Pulse;
use darkline_record::run::Signal;

use crate::{Held, held};

/// Which reading of the demo's run gets the bad pulse: the second replicate of a standard.
const NUMBER: u32 = 5;

/// Samples of a sound pulse: moments, total, background.
type Samples = (Vec<f64>, Vec<f32>, Vec<f32>);

/// The demo's run with one pulse spoilt, and the outcome without the spoiling.
fn spoilt(spoil: impl Fn(Samples) -> Samples) -> Result<(Outcome, Outcome), Box<dyn Error>> {
    let Held { mut package, decisions } = held("millrace-lead")?;
    let sound = evaluate(&package, &decisions)?;
    replace(&mut package, spoil)?;
    Ok((sound, evaluate(&package, &decisions)?))
}

fn replace(package: &mut DataPackage, spoil: impl Fn(Samples) -> Samples) -> Result<(), Box<dyn Error>> {
    let reading = package.runs[0].readings.iter_mut().find(|reading| reading.number == NUMBER).ok_or("the reading")?;
    let Signal::Pulse(digest) = &reading.signal else { return Err("a pulse is wanted".into()) };
    let pulse = &package.pulses[digest];
    let (t_s, total, background) = spoil((pulse.t_s().to_vec(), pulse.total().to_vec(), pulse.background().to_vec()));
    let pulse = Pulse::new(t_s, total, background)?;
    reading.signal = Signal::Pulse(pulse.digest());
    package.pulses.insert(pulse.digest(), Arc::new(pulse));
    Ok(())
}

/// What is told of the spoilt reading, after making sure that all others read as before and that a flag names it.
fn told(spoil: impl Fn(Samples) -> Samples) -> Result<String, Box<dyn Error>> {
    let (sound, outcome) = spoilt(spoil)?;
    let mut told = None;
    assert_eq!(sound.runs[0].readings.len(), outcome.runs[0].readings.len());
    for (before, after) in sound.runs[0].readings.iter().zip(&outcome.runs[0].readings) {
        if after.reading.to_string().ends_with(&format!("/{NUMBER}")) {
            assert_eq!(after.response, None);
            assert!(!after.counts);
            told = after.fault.clone();
        } else {
            assert_eq!(before.response, after.response, "{} goes on", after.reading);
            assert_eq!(before.fault, after.fault);
        }
    }
    let names = |id: String| id.starts_with("reading-unusable:") && id.ends_with(&format!("/{NUMBER}"));
    assert!(
        outcome.flags.iter().any(|flag| names(flag.flag.id.to_string())),
        "{:?}",
        outcome.flags.iter().map(|flag| flag.flag.id.to_string()).collect::<Vec<_>>()
    );
    // A digest needs every figure to be finite.
    assert_eq!(outcome.digest().to_string().len(), 64);
    told.ok_or_else(|| "nothing was told of the reading".into())
}

#[test]
fn channels_whose_lengths_differ_are_no_pulse_from_the_start() {
    let told = Pulse::new(vec![0.0, 0.1], vec![0.1, 0.2], vec![0.0]).unwrap_err().to_string();
    assert_eq!(told, "2 moments stand beside 2 total and 1 background absorbances; a pulse has as many of each");
}

#[test]
fn time_that_runs_backwards_is_told_with_its_sample() -> Result<(), Box<dyn Error>> {
    let told = told(|(mut t_s, total, background)| {
        t_s.swap(40, 41);
        (t_s, total, background)
    })?;
    assert!(told.starts_with("sample 41 is at ") && told.contains("not later than"), "{told}");
    Ok(())
}

#[test]
fn a_sample_that_is_no_number_is_told_with_its_channel() -> Result<(), Box<dyn Error>> {
    let told = told(|(t_s, mut total, background)| {
        total[33] = f32::NAN;
        (t_s, total, background)
    })?;
    assert_eq!(told, "sample 33 of the total channel is NaN, which is not an absorbance");
    Ok(())
}

#[test]
fn an_infinite_background_is_told() -> Result<(), Box<dyn Error>> {
    let told = told(|(t_s, total, mut background)| {
        background[7] = f32::INFINITY;
        (t_s, total, background)
    })?;
    assert_eq!(told, "sample 7 of the background channel is inf, which is not an absorbance");
    Ok(())
}

#[test]
fn a_dead_channel_of_zeros_is_told() -> Result<(), Box<dyn Error>> {
    let told = told(|(t_s, total, background)| {
        let n = total.len();
        (t_s, vec![0.0; n], background)
    })?;
    assert!(told.starts_with("all ") && told.contains("samples of total absorbance are 0"), "{told}");
    Ok(())
}

#[test]
fn a_pulse_clipped_at_one_value_is_told_with_the_value_and_the_moment() -> Result<(), Box<dyn Error>> {
    let told = told(|(t_s, total, background)| {
        let total = total.iter().enumerate().map(|(i, &a)| if (60..80).contains(&i) { 1.75 } else { a.min(1.7) });
        (t_s, total.collect(), background)
    })?;
    assert!(told.starts_with("the total channel stays at its highest value, 1.75, for 20 samples from "), "{told}");
    Ok(())
}

#[test]
fn a_read_that_began_with_atomisation_has_no_baseline() -> Result<(), Box<dyn Error>> {
    let told = told(|(t_s, total, background)| {
        let from = t_s.iter().position(|t| *t >= 0.0).unwrap();
        (t_s[from..].to_vec(), total[from..].to_vec(), background[from..].to_vec())
    })?;
    assert!(told.contains("samples in the baseline from"), "{told}");
    Ok(())
}

#[test]
fn a_trace_that_ends_before_the_window_is_told_with_both() -> Result<(), Box<dyn Error>> {
    let told = told(|(t_s, total, background)| {
        let n = t_s.len() / 2;
        (t_s[..n].to_vec(), total[..n].to_vec(), background[..n].to_vec())
    })?;
    assert!(told.starts_with("integration from ") && told.contains("but the trace runs from"), "{told}");
    Ok(())
}

#[test]
fn ten_samples_are_told_as_too_few() -> Result<(), Box<dyn Error>> {
    // Spread over the whole read, so that neither window lies outside.
    let told = told(|(t_s, total, background)| {
        let places: Vec<usize> = (0..10).map(|k| k * (t_s.len() - 1) / 9).collect();
        let each = |values: &[f32]| places.iter().map(|&i| values[i]).collect();
        (places.iter().map(|&i| t_s[i]).collect(), each(&total), each(&background))
    })?;
    assert!(told.contains("are needed"), "{told}");
    Ok(())
}

#[test]
fn channels_sampled_in_turn_are_read_and_a_background_too_fast_for_them_is_told() -> Result<(), Box<dyn Error>> {
    // Each moment keeps one channel: half as many values of each.
    let in_turn = |(t_s, total, background): Samples| -> Samples {
        let total = total.iter().enumerate().map(|(i, &a)| if i % 2 == 0 { a } else { f32::NAN }).collect();
        let background = background.iter().enumerate().map(|(i, &a)| if i % 2 == 1 { a } else { f32::NAN }).collect();
        (t_s, total, background)
    };
    let (sound, outcome) = spoilt(in_turn)?;
    let found = |outcome: &Outcome| {
        let reading = outcome.runs[0].readings.iter().find(|r| r.reading.to_string().ends_with(&format!("/{NUMBER}")));
        reading.and_then(|reading| Some((reading.response?, reading.u_noise?)))
    };
    let ((together, u), (turns, u_turns)) = (found(&sound).ok_or("a response")?, found(&outcome).ok_or("a response")?);
    assert!((together - turns).abs() < 5.0 * (u * u + u_turns * u_turns).sqrt(), "{together} {turns} {u_turns}");
    assert!(u_turns > u, "half as many values");

    let told = told(|(t_s, total, background)| {
        // A spike of background one sample wide.
        let (t_s, total, mut background) = in_turn((t_s, total, background));
        background[101] = 0.9;
        (t_s, total, background)
    })?;
    assert!(told.starts_with("the background is sampled too seldom: near "), "{told}");
    Ok(())
}

#[test]
fn a_pulse_of_three_samples_is_told_as_too_coarse() -> Result<(), Box<dyn Error>> {
    let told = told(|(t_s, total, background)| {
        // A spike between quiet values.
        let total =
            total.iter().enumerate().map(|(i, _)| if i == 100 { 0.8 } else { 0.001 * (i % 3) as f32 }).collect();
        (t_s, total, vec![0.0; background.len()])
    })?;
    assert!(told.starts_with("the pulse is sampled too coarsely: "), "{told}");
    Ok(())
}
