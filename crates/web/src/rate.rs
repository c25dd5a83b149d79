//! How much one address may ask: a bucket that fills steadily and that each request empties a little.
//!
//! Source: `reference/records/README.md`, pack of sign-in, item guess-limit; the figures are our choice.

use std::collections::BTreeMap;
use std::net::IpAddr;

/// What a request takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Takes {
    /// A page.
    APage,
    /// A try to sign in, or a passphrase at a signature.
    APassphrase,
}

/// A bucket: how many it holds, and in how many milliseconds one flows in.
struct Bucket {
    holds: u64,
    refill_ms: u64,
}

impl Takes {
    const fn bucket(self) -> Bucket {
        match self {
            // 200 live pages behind one address, each fetching once a reading.
            Takes::APage => Bucket { holds: 1200, refill_ms: 5 },
            // Twenty people behind one address in the morning, then one in six seconds.
            Takes::APassphrase => Bucket { holds: 20, refill_ms: 6000 },
        }
    }
}

/// Addresses that are remembered at a time; where there are more, full buckets are forgotten first.
const MOST_ADDRESSES: usize = 10_000;

/// What each address has left.
#[derive(Debug, Default)]
pub(crate) struct Rate {
    left: BTreeMap<(IpAddr, u8), (u64, u64)>,
}

impl Rate {
    /// Takes one; `Err` with the seconds to wait where nothing is left.
    pub(crate) fn take(&mut self, from: IpAddr, takes: Takes, now_ms: u64) -> Result<(), u64> {
        let Bucket { holds, refill_ms } = takes.bucket();
        if self.left.len() >= MOST_ADDRESSES {
            self.left.retain(|_, (_, at)| now_ms.saturating_sub(*at) < 60_000);
            if self.left.len() >= MOST_ADDRESSES {
                self.left.clear();
            }
        }
        let (left, at) = self.left.entry((from, takes as u8)).or_insert((holds, now_ms));
        let came = now_ms.saturating_sub(*at) / refill_ms;
        if came > 0 {
            *left = left.saturating_add(came).min(holds);
            *at = at.saturating_add(came * refill_ms);
        }
        match left.checked_sub(1) {
            Some(rest) => {
                *left = rest;
                Ok(())
            }
            None => Err(refill_ms.div_ceil(1000).max(1)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bucket_empties_and_fills_again_for_each_address_on_its_own() {
        let mut rate = Rate::default();
        let (one, other): (IpAddr, IpAddr) = ([10, 0, 0, 1].into(), [10, 0, 0, 2].into());
        for _ in 0..20 {
            assert_eq!(rate.take(one, Takes::APassphrase, 0), Ok(()));
        }
        assert_eq!(rate.take(one, Takes::APassphrase, 0), Err(6));
        assert_eq!(rate.take(one, Takes::APage, 0), Ok(()));
        assert_eq!(rate.take(other, Takes::APassphrase, 0), Ok(()));
        assert_eq!(rate.take(one, Takes::APassphrase, 5999), Err(6));
        assert_eq!(rate.take(one, Takes::APassphrase, 6000), Ok(()));
        assert_eq!(rate.take(one, Takes::APassphrase, 6001), Err(6));
    }
}
