//! The places at an entrance: so many at once, and of these so many for one address.
//!
//! Promises: no address takes more than its share, and a place is free again as soon as whoever had
//! it is gone. Leaves to others: letting in and hanging up.
//!
//! In IPv6 a whole /64 counts as one address: whoever has one of it has all of them (RFC 4291, 2.5.4).

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// What is free at an entrance, and who has the rest.
pub(super) struct Places {
    room: Arc<Semaphore>,
    of_one: usize,
    taken: Taken,
}

type Taken = Arc<Mutex<HashMap<IpAddr, usize>>>;

/// A place that is free, to be given to the next who comes.
pub(super) struct Free {
    _permit: Option<OwnedSemaphorePermit>,
}

/// A place that somebody has until this is dropped.
pub(super) struct Place {
    _room: Free,
    _share: Option<Share>,
}

/// That an address has one place more.
struct Share {
    of: IpAddr,
    taken: Taken,
}

impl Places {
    /// So many places, and so many of them for one address.
    pub(super) fn new(most: usize, of_one: usize) -> Self {
        Self {
            room: Arc::new(Semaphore::new(most)),
            of_one,
            taken: Arc::default(),
        }
    }

    /// Waits for a free place.
    pub(super) async fn free(&self) -> Free {
        Free {
            _permit: Arc::clone(&self.room).acquire_owned().await.ok(),
        }
    }

    /// The place for one who comes from there, if that is counted; none if they have their share.
    pub(super) fn taken(&self, free: Free, from: Option<IpAddr>) -> Option<Place> {
        let share = match from {
            Some(from) => Some(self.share(counted_as(from))?),
            None => None,
        };
        Some(Place {
            _room: free,
            _share: share,
        })
    }

    fn share(&self, of: IpAddr) -> Option<Share> {
        let mut taken = lock(&self.taken);
        let has = taken.entry(of).or_default();
        if *has >= self.of_one {
            return None;
        }
        *has += 1;
        Some(Share {
            of,
            taken: Arc::clone(&self.taken),
        })
    }
}

impl Drop for Share {
    fn drop(&mut self) {
        let mut taken = lock(&self.taken);
        if let Some(has) = taken.get_mut(&self.of) {
            *has = has.saturating_sub(1);
            if *has == 0 {
                // Who went away leaves nothing behind, or many addresses would fill the memory.
                taken.remove(&self.of);
            }
        }
    }
}

/// What is behind the lock is whole at every moment.
fn lock(taken: &Taken) -> MutexGuard<'_, HashMap<IpAddr, usize>> {
    taken.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What counts as one address: an IPv4 address, however it is written, or a /64.
fn counted_as(from: IpAddr) -> IpAddr {
    match from.to_canonical() {
        IpAddr::V6(all) => {
            let network = all.to_bits() & (u128::MAX << 64);
            IpAddr::V6(Ipv6Addr::from_bits(network))
        }
        IpAddr::V4(all) => IpAddr::V4(all),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    #[test]
    fn a_64_is_one_address_and_so_is_an_ipv4_written_as_ipv6() {
        let same = [
            ("192.0.2.7", "::ffff:192.0.2.7"),
            ("2001:db8::1", "2001:db8::ffff:2:3:4"),
        ];
        for (one, other) in same {
            assert_eq!(counted_as(ip(one)), counted_as(ip(other)), "{one} {other}");
        }
        let others = [
            ("192.0.2.7", "192.0.2.8"),
            ("2001:db8::1", "2001:db8:0:1::1"),
        ];
        for (one, other) in others {
            assert_ne!(counted_as(ip(one)), counted_as(ip(other)), "{one} {other}");
        }
    }

    #[tokio::test]
    async fn one_address_has_its_share_and_gives_it_back() {
        let places = Places::new(4, 2);
        let one = Some(ip("2001:db8::1"));
        let mut has = Vec::new();
        for _ in 0..2 {
            has.push(places.taken(places.free().await, one).unwrap());
        }
        let again = Some(ip("2001:db8::2"));
        assert!(places.taken(places.free().await, again).is_none());
        // Who is refused keeps no place.
        let other = places.taken(places.free().await, Some(ip("192.0.2.7")));
        assert!(other.is_some());
        assert_eq!(places.room.available_permits(), 1);
        has.pop();
        assert!(places.taken(places.free().await, again).is_some());
        drop((has, other));
        assert_eq!(places.room.available_permits(), 4);
        assert!(lock(&places.taken).is_empty());
    }

    #[tokio::test]
    async fn where_nobody_is_counted_all_places_are_for_everybody() {
        let places = Places::new(3, 1);
        let mut has = Vec::new();
        for _ in 0..3 {
            has.push(places.taken(places.free().await, None).unwrap());
        }
        assert_eq!(places.room.available_permits(), 0);
    }
}
