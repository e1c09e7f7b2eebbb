//! The places at an entrance: of strangers, who have not shown yet that they may come in, and of those
//! who have.
//!
//! Promises: who may come in finds a place, whoever else hangs on: where there is none, a stranger makes
//! room for the next, one of the address that has most; places of a paired device are its own, wherever
//! it comes from; a place is free again as soon as whoever had it is gone. Leaves to others: letting in
//! and hanging up.
//!
//! In IPv6 a whole /64 counts as one network: whoever has one address of it has all of them (RFC 4291,
//! 2.5.4). Within one, as among all, an address that has fewer places comes before one that has more. Of
//! one address one that is there for a while goes first, and else any: which of them is a browser that has
//! not said its word yet cannot be known, and if the newest or the oldest went, one who comes again and
//! again would keep it out for good.

use std::collections::BTreeMap;
use std::hash::{BuildHasher as _, RandomState};
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::Notify;
use tokio::time::Instant;

/// How many there may be at once.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    /// Strangers.
    pub(super) strangers: usize,
    /// Of these, from one network.
    pub(super) of_network: usize,
    /// Those who may come in.
    pub(super) known: usize,
    /// Of these, of one owner.
    pub(super) of_owner: usize,
    /// A stranger that is there for less may not have said yet what it wants. None: all may stay.
    pub(super) grace: Option<Duration>,
}

/// Who may come in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Owner {
    /// Whoever has the token of the page.
    Page,
    /// A paired device.
    Device(u64),
}

/// The places of an entrance.
#[derive(Debug, Clone)]
pub(super) struct Places {
    bounds: Bounds,
    taken: Arc<Taken>,
}

#[derive(Debug, Default)]
struct Taken {
    all: Mutex<All>,
    /// Somebody has gone.
    gone: Notify,
}

#[derive(Debug, Default)]
struct All {
    last: u64,
    chance: RandomState,
    /// By number, and so by age.
    strangers: BTreeMap<u64, Stranger>,
    known: BTreeMap<u64, (Owner, Arc<Notify>)>,
}

#[derive(Debug)]
struct Stranger {
    from: Option<IpAddr>,
    since: Instant,
    /// Told when it has to go.
    out: Arc<Notify>,
}

/// A place that somebody has until this is dropped.
#[derive(Debug)]
pub(super) struct Place {
    number: u64,
    bounds: Bounds,
    out: Arc<Notify>,
    taken: Arc<Taken>,
}

/// What becomes of one who comes.
#[derive(Debug)]
pub(super) enum Came {
    /// It has a place.
    In(Place),
    /// It has to wait until then, or until somebody goes.
    Later(Option<Instant>),
}

impl Places {
    pub(super) fn new(bounds: Bounds) -> Self {
        Self {
            bounds,
            taken: Arc::default(),
        }
    }

    /// A place for one who comes, from there, if that is counted. Another stranger may lose its own;
    /// where addresses are not counted, only one that is there for a while.
    pub(super) fn take(&self, from: Option<IpAddr>, now: Instant) -> Came {
        let from = from.map(|from| from.to_canonical());
        let mut all = self.taken.lock();
        let of_network = |all: &All| -> Vec<u64> {
            let is_there = |it: &Stranger| from.is_some_and(|from| it.is_in(network(from)));
            all.strangers
                .iter()
                .filter(|(_, it)| is_there(it))
                .map(|(number, _)| *number)
                .collect()
        };
        let there = of_network(&all);
        if there.len() >= self.bounds.of_network {
            all.send_away(&there, self.bounds.grace, now);
        }
        if all.strangers.len() >= self.bounds.strangers {
            let oldest = all.strangers.values().next().map(|oldest| oldest.since);
            let settles = oldest
                .zip(self.bounds.grace)
                .map(|(since, grace)| since + grace);
            if from.is_none() && settles.is_none_or(|settles| now < settles) {
                return Came::Later(settles);
            }
            let everyone: Vec<u64> = all.strangers.keys().copied().collect();
            all.send_away(&everyone, self.bounds.grace, now);
        }
        all.last += 1;
        let (number, since, out) = (all.last, now, Arc::<Notify>::default());
        let stranger = Stranger {
            from,
            since,
            out: Arc::clone(&out),
        };
        all.strangers.insert(number, stranger);
        Came::In(Place {
            number,
            bounds: self.bounds,
            out,
            taken: Arc::clone(&self.taken),
        })
    }

    /// Comes when one who had to wait may try again.
    pub(super) async fn again(&self, at: Option<Instant>) {
        let gone = self.taken.gone.notified();
        match at {
            Some(at) => drop(tokio::time::timeout_at(at, gone).await),
            None => gone.await,
        }
    }
}

impl Stranger {
    fn is_in(&self, net: IpAddr) -> bool {
        self.from.is_some_and(|from| network(from) == net)
    }
}

impl All {
    /// Sends one of these strangers away: of the network and the address that has most of them.
    fn send_away(&mut self, them: &[u64], grace: Option<Duration>, now: Instant) {
        // Counted in one pass: a crowd must not make it dear to let the next one in.
        let (mut nets, mut addresses) = (BTreeMap::new(), BTreeMap::new());
        let among = || {
            let there = them.iter();
            there.filter_map(|it| Some((*it, self.strangers.get(it)?)))
        };
        for (_, it) in among() {
            *nets.entry(it.from.map(network)).or_insert(0_usize) += 1;
            *addresses.entry(it.from).or_insert(0_usize) += 1;
        }
        let in_net = |of: &Option<IpAddr>| nets.get(&of.map(network)).copied();
        let most = addresses.iter().max_by_key(|(of, its)| (in_net(of), **its));
        let Some(most) = most.map(|(of, _)| *of) else {
            return;
        };
        let its: Vec<(u64, Instant)> = among()
            .filter(|(_, it)| it.from == most)
            .map(|(number, it)| (number, it.since))
            .collect();
        let is_settled = |since: Instant| {
            grace.is_some_and(|grace| now.saturating_duration_since(since) >= grace)
        };
        let oldest = its.first().filter(|(_, since)| is_settled(*since));
        let any = || {
            let chance = self.chance.hash_one(self.last) % (its.len() as u64).max(1);
            its.get(usize::try_from(chance).unwrap_or(0))
        };
        let Some((number, _)) = oldest.or_else(any).copied() else {
            return;
        };
        if let Some(gone) = self.strangers.remove(&number) {
            gone.out.notify_one();
        }
    }
}

impl Place {
    /// Whoever has this place may come in: it is a stranger's no more.
    pub(super) fn admit(&self, owner: Owner) {
        let mut all = self.taken.lock();
        if all.strangers.remove(&self.number).is_none() {
            // Let in before, or sent away already.
            return;
        }
        let of = |all: &All, owner: Owner| {
            let its = all.known.iter().filter(move |(_, it)| it.0 == owner);
            its.map(|(number, _)| *number).collect::<Vec<u64>>()
        };
        let its = of(&all, owner);
        let oldest = if its.len() >= self.bounds.of_owner {
            its.first().copied()
        } else if all.known.len() >= self.bounds.known {
            let owners = all.known.values().map(|(owner, _)| *owner);
            let most = owners.max_by_key(|owner| of(&all, *owner).len());
            most.and_then(|most| of(&all, most).first().copied())
        } else {
            None
        };
        if let Some((_, out)) = oldest.and_then(|oldest| all.known.remove(&oldest)) {
            out.notify_one();
        }
        all.known
            .insert(self.number, (owner, Arc::clone(&self.out)));
        drop(all);
        self.taken.gone.notify_waiters();
    }

    /// Comes when it has to go.
    pub(super) async fn lost(&self) {
        self.out.notified().await;
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut all = self.taken.lock();
        all.strangers.remove(&self.number);
        all.known.remove(&self.number);
        drop(all);
        self.taken.gone.notify_waiters();
    }
}

impl Taken {
    /// What is behind the lock is whole at every moment.
    fn lock(&self) -> MutexGuard<'_, All> {
        self.all.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What counts as one network: an IPv4 address, however it is written, or a /64.
fn network(from: IpAddr) -> IpAddr {
    match from.to_canonical() {
        IpAddr::V6(all) => {
            let network = all.to_bits() & (u128::MAX << 64);
            IpAddr::V6(Ipv6Addr::from_bits(network))
        }
        IpAddr::V4(all) => IpAddr::V4(all),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic)]
mod tests {
    use super::*;

    const GRACE: Duration = Duration::from_secs(1);
    const BOUNDS: Bounds = Bounds {
        strangers: 6,
        of_network: 3,
        known: 4,
        of_owner: 2,
        grace: Some(GRACE),
    };

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    fn comes(places: &Places, from: &str, now: Instant) -> Place {
        match places.take(Some(ip(from)), now) {
            Came::In(place) => place,
            Came::Later(_) => panic!("who is counted never waits"),
        }
    }

    /// How many of these were sent away.
    async fn gone(them: &[Place]) -> usize {
        let mut gone = 0;
        for place in them {
            gone += usize::from(is_sent_away(place).await);
        }
        gone
    }

    async fn is_sent_away(place: &Place) -> bool {
        let soon = Duration::from_millis(1);
        tokio::time::timeout(soon, place.lost()).await.is_ok()
    }

    #[test]
    fn a_64_is_one_network_and_so_is_an_ipv4_written_as_ipv6() {
        let same = [
            ("192.0.2.7", "::ffff:192.0.2.7"),
            ("2001:db8::1", "2001:db8::ffff:2:3:4"),
        ];
        for (one, other) in same {
            assert_eq!(network(ip(one)), network(ip(other)), "{one} {other}");
        }
        let others = [
            ("192.0.2.7", "192.0.2.8"),
            ("2001:db8::1", "2001:db8:0:1::1"),
        ];
        for (one, other) in others {
            assert_ne!(network(ip(one)), network(ip(other)), "{one} {other}");
        }
    }

    #[tokio::test]
    async fn one_address_has_its_share_and_the_next_comes_in_all_the_same() {
        let (places, now) = (Places::new(BOUNDS), Instant::now());
        let mut has: Vec<_> = (0..3).map(|_| comes(&places, "192.0.2.7", now)).collect();
        // One that is there for a while goes first.
        has.push(comes(&places, "192.0.2.7", now + GRACE));
        assert!(is_sent_away(&has[0]).await);
        has.remove(0);
        // Of those that came just now any: who tries a few times comes in, whoever hangs on.
        for _ in 0..30 {
            has.push(comes(&places, "192.0.2.7", now));
        }
        assert_eq!(gone(&has).await, 30);
        assert_eq!(places.taken.lock().strangers.len(), 3);
        drop(has);
        assert!(places.taken.lock().strangers.is_empty());
    }

    #[tokio::test]
    async fn a_neighbour_in_the_64_keeps_its_place_though_a_stranger_takes_all() {
        let (places, now) = (Places::new(BOUNDS), Instant::now());
        let mut stranger: Vec<_> = (0..3)
            .map(|_| comes(&places, "2001:db8::bad", now))
            .collect();
        let tablet = comes(&places, "2001:db8::1", now);
        assert_eq!(gone(&stranger).await, 1);
        // However often the stranger comes again, it takes its own places only.
        for _ in 0..50 {
            stranger.push(comes(&places, "2001:db8::bad", now));
        }
        assert!(!is_sent_away(&tablet).await);
    }

    #[tokio::test]
    async fn when_all_places_are_taken_the_network_that_has_most_gives_one() {
        let (places, now) = (Places::new(BOUNDS), Instant::now());
        let from = ["1", "1", "1", "2", "3", "3"].map(|it| format!("192.0.2.{it}"));
        let has: Vec<_> = from.iter().map(|from| comes(&places, from, now)).collect();
        let _next = comes(&places, "192.0.2.4", now);
        assert_eq!((gone(&has[..3]).await, gone(&has[3..]).await), (1, 0));
        assert_eq!(places.taken.lock().strangers.len(), BOUNDS.strangers);
    }

    #[tokio::test]
    async fn where_nobody_is_counted_the_next_waits_a_moment_and_comes_in() {
        let (places, now) = (Places::new(BOUNDS), Instant::now());
        let mut has = Vec::new();
        for _ in 0..BOUNDS.strangers {
            let Came::In(place) = places.take(None, now) else {
                panic!("there is room");
            };
            has.push(place);
        }
        assert!(matches!(places.take(None, now), Came::Later(Some(at)) if at == now + GRACE));
        assert!(matches!(places.take(None, now + GRACE), Came::In(_)));
        assert!(is_sent_away(&has[0]).await);
        // One who may come in leaves a stranger's place, and nobody sends it away.
        has[1].admit(Owner::Page);
        for _ in 0..50 {
            drop(places.take(None, now + GRACE));
        }
        assert!(!is_sent_away(&has[1]).await);
    }

    #[tokio::test]
    async fn a_device_has_its_own_places_and_its_newest_are_kept() {
        let (places, now) = (Places::new(BOUNDS), Instant::now());
        let admitted = |from: &str, device: u64| {
            let place = comes(&places, from, now);
            place.admit(Owner::Device(device));
            place
        };
        let tablet: Vec<_> = (0..2).map(|_| admitted("192.0.2.7", 1)).collect();
        let newest = admitted("192.0.2.8", 1);
        assert!(is_sent_away(&tablet[0]).await && !is_sent_away(&tablet[1]).await);
        // Those of a device do not count for the address that it has.
        let _strangers: Vec<_> = (0..3).map(|_| comes(&places, "192.0.2.7", now)).collect();
        let _phone: Vec<_> = (0..2).map(|_| admitted("192.0.2.9", 2)).collect();
        let _third = admitted("192.0.2.9", 3);
        // All places for devices are taken: one that has more than others gives one.
        let held =
            [&tablet[1], &newest].map(|it| places.taken.lock().known.contains_key(&it.number));
        assert_eq!(places.taken.lock().known.len(), BOUNDS.known);
        assert!(held.contains(&true));
    }

    #[tokio::test]
    async fn on_the_socket_nobody_is_sent_away() {
        let bounds = Bounds {
            grace: None,
            ..BOUNDS
        };
        let (places, now) = (Places::new(bounds), Instant::now());
        let mut has = Vec::new();
        while let Came::In(place) = places.take(None, now) {
            has.push(place);
        }
        assert_eq!(has.len(), BOUNDS.strangers);
        assert!(matches!(places.take(None, now + GRACE), Came::Later(None)));
        drop(has);
        assert!(matches!(places.take(None, now), Came::In(_)));
    }
}
