//! A pulse as it was sampled: moments, total and background absorbance; digested over canonical samples.

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::canonical::Digest;

/// The samples of one reading.
///
/// Invariant: all channels have one length.
#[derive(Clone, Debug, PartialEq)]
pub struct Pulse {
    t_s: Vec<f64>,
    total: Vec<f32>,
    background: Vec<f32>,
    middle: Option<Vec<f32>>,
}

/// Samples that do not make a pulse.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "{moments} moments stand beside {total} total and {background} background absorbances; a pulse has as many of each"
)]
pub struct UnequalLengths {
    /// Number of moments.
    pub moments: usize,
    /// Number of total absorbances.
    pub total: usize,
    /// Number of background absorbances.
    pub background: usize,
}

impl Pulse {
    /// A pulse of samples taken together.
    ///
    /// # Arguments
    /// * `t_s`: moments since the start of atomisation, in s.
    /// * `total`, `background`: absorbances.
    ///
    /// # Errors
    /// [`UnequalLengths`]. What the samples are worth is judged where they are reduced.
    pub fn new(t_s: Vec<f64>, total: Vec<f32>, background: Vec<f32>) -> Result<Self, UnequalLengths> {
        if t_s.len() != total.len() || t_s.len() != background.len() {
            return Err(UnequalLengths { moments: t_s.len(), total: total.len(), background: background.len() });
        }
        Ok(Self { t_s, total, background, middle: None })
    }
    /// The same pulse with a third channel: what was read at a middle field strength, at the same moments.
    ///
    /// # Errors
    /// [`UnequalLengths`], whose number of background absorbances is then that of the third channel.
    pub fn with_middle(self, middle: Vec<f32>) -> Result<Self, UnequalLengths> {
        if middle.len() != self.t_s.len() {
            return Err(UnequalLengths { moments: self.t_s.len(), total: self.total.len(), background: middle.len() });
        }
        Ok(Self { middle: Some(middle), ..self })
    }
    /// Moments since the start of atomisation, in s.
    pub fn t_s(&self) -> &[f64] {
        &self.t_s
    }
    /// Total absorbance.
    pub fn total(&self) -> &[f32] {
        &self.total
    }
    /// Background absorbance.
    pub fn background(&self) -> &[f32] {
        &self.background
    }

    /// Absorbance at a middle field strength, where the instrument reads at three.
    pub fn middle(&self) -> Option<&[f32]> {
        self.middle.as_deref()
    }

    /// The digest over the canonical samples: the words `darkline/pulse/1`, a line feed, then sample by sample moment
    /// (IEEE 754 double), total and background (single), little-endian. A pulse with a third channel has the words
    /// `darkline/pulse/2`, and its value at the middle field (single) behind the background.
    pub fn digest(&self) -> Digest {
        Digest::of(&self.canonical_bytes())
    }

    /// The canonical samples.
    pub fn canonical_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(HEAD.len() + 20 * self.t_s.len());
        bytes.extend_from_slice(if self.middle.is_some() { HEAD_OF_THREE } else { HEAD });
        for (place, t) in self.t_s.iter().enumerate() {
            bytes.extend_from_slice(&t.to_le_bytes());
            bytes.extend_from_slice(&self.total[place].to_le_bytes());
            bytes.extend_from_slice(&self.background[place].to_le_bytes());
            if let Some(middle) = &self.middle {
                bytes.extend_from_slice(&middle[place].to_le_bytes());
            }
        }
        bytes
    }

    /// Reads canonical samples back; `None` where the bytes are not such.
    pub fn from_canonical_bytes(bytes: &[u8]) -> Option<Self> {
        if let Some(samples) = bytes.strip_prefix(HEAD_OF_THREE) {
            let (samples, []) = samples.as_chunks::<20>() else { return None };
            let pulse = Self::of_samples(samples.iter().map(<[u8; 20]>::as_slice))?;
            let middle = samples.iter().map(|sample| Some(f32::from_le_bytes(sample[16..].try_into().ok()?)));
            return Some(Self { middle: Some(middle.collect::<Option<_>>()?), ..pulse });
        }
        let (samples, []) = bytes.strip_prefix(HEAD)?.as_chunks::<16>() else { return None };
        Self::of_samples(samples.iter().map(<[u8; 16]>::as_slice))
    }

    /// Moment, total and background at the head of each sample.
    fn of_samples<'s>(samples: impl Iterator<Item = &'s [u8]>) -> Option<Self> {
        let mut pulse = Self { t_s: Vec::new(), total: Vec::new(), background: Vec::new(), middle: None };
        for sample in samples {
            pulse.t_s.push(f64::from_le_bytes(sample[..8].try_into().ok()?));
            pulse.total.push(f32::from_le_bytes(sample[8..12].try_into().ok()?));
            pulse.background.push(f32::from_le_bytes(sample[12..16].try_into().ok()?));
        }
        Some(pulse)
    }
}

const HEAD: &[u8] = b"darkline/pulse/1\n";
const HEAD_OF_THREE: &[u8] = b"darkline/pulse/2\n";
/// Stands before the digits of a pulse with three channels.
const THREE: &str = "three:";

// In JSON a pulse is the hexadecimal text of its canonical samples: exact, and short enough for check data.
impl Serialize for Pulse {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let digits: String = self.canonical_bytes()[HEAD.len()..].iter().map(|byte| format!("{byte:02x}")).collect();
        let head = if self.middle.is_some() { THREE } else { "" };
        serializer.serialize_str(&format!("{head}{digits}"))
    }
}

impl<'de> Deserialize<'de> for Pulse {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let digit = |c: u8| char::from(c).to_digit(16).and_then(|digit| u8::try_from(digit).ok());
        let (head, digits) = match text.strip_prefix(THREE) {
            Some(digits) => (HEAD_OF_THREE, digits),
            None => (HEAD, text.as_str()),
        };
        let (pairs, rest) = digits.as_bytes().as_chunks::<2>();
        let samples: Option<Vec<u8>> =
            pairs.iter().map(|[high, low]| Some(16 * digit(*high)? + digit(*low)?)).collect();
        samples
            .filter(|_| rest.is_empty())
            .and_then(|samples| Pulse::from_canonical_bytes(&[head, &samples].concat()))
            .ok_or_else(|| {
                D::Error::custom("the samples of a pulse are 32 hexadecimal digits each, or 40 behind \"three:\"")
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn samples_read_back_bit_for_bit(samples in proptest::collection::vec((any::<f64>(), any::<f32>(), any::<f32>()), 0..50)) {
            let pulse = Pulse::new(
                samples.iter().map(|s| s.0).collect(),
                samples.iter().map(|s| s.1).collect(),
                samples.iter().map(|s| s.2).collect(),
            ).unwrap();
            let again = Pulse::from_canonical_bytes(&pulse.canonical_bytes()).unwrap();
            prop_assert_eq!(again.canonical_bytes(), pulse.canonical_bytes());
            let json = serde_json::to_string(&pulse).unwrap();
            let from_json: Pulse = serde_json::from_str(&json).unwrap();
            prop_assert_eq!(from_json.digest(), pulse.digest());
            let middle: Vec<f32> = samples.iter().map(|s| s.2 / 2.0).collect();
            let three = pulse.clone().with_middle(middle).unwrap();
            prop_assert_ne!(three.digest(), pulse.digest());
            let again = Pulse::from_canonical_bytes(&three.canonical_bytes()).unwrap();
            prop_assert_eq!(again.canonical_bytes(), three.canonical_bytes());
            let from_json: Pulse = serde_json::from_str(&serde_json::to_string(&three).unwrap()).unwrap();
            prop_assert_eq!(from_json.digest(), three.digest());
        }

        #[test]
        fn any_bytes_are_a_pulse_or_none(bytes in proptest::collection::vec(any::<u8>(), 0..100)) {
            let _ = Pulse::from_canonical_bytes(&[HEAD, &bytes].concat());
            let _ = Pulse::from_canonical_bytes(&[HEAD_OF_THREE, &bytes].concat());
            let _ = Pulse::from_canonical_bytes(&bytes);
        }
    }

    #[test]
    fn unequal_lengths_are_no_pulse() {
        assert!(Pulse::new(vec![0.0, 0.1], vec![0.0], vec![0.0, 0.0]).is_err());
        assert!(Pulse::new(vec![0.0], vec![0.0], vec![0.0]).unwrap().with_middle(Vec::new()).is_err());
    }
}
