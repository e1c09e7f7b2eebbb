//! The places at an entrance: of strangers, who have not shown yet that they may come in, and of those
//! who have.
//!
//! Promises: who may come in finds a place, whoever else hangs on: a stranger that is there for a while
//! makes room for the next, first one of an address that has many; places of a paired device are its
//! own, wherever it comes from; a place is free again as soon as whoever had it is gone. Leaves to
//! others: letting in and hanging up.
//!
//! In IPv6 a whole /64 counts as one network: whoever has one address of it has all of them (RFC 4291,
//! 2.5.4). Within one, as among all, an address that has fewer places comes before one that has more.

use std::collections::BTreeMap;
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
    /// A stranger that is there for less is left to say what it wants. None: for ever.
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
    /// Its network has its share, or all are newer than to be sent away.
    NoPlace,
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

    /// A place for one who comes, from there, if that is counted. Another stranger may lose its own.
    pub(super) fn take(&self, from: Option<IpAddr>, now: Instant) -> Came {
        let from = from.map(|from| from.to_canonical());
        let mut all = self.taken.lock();
        if let Some(from) = from {
            let is_there = |it: &Stranger| it.from.is_some_and(|it| network(it) == network(from));
            if all.count(is_there) >= self.bounds.of_network
                && !all.send_away(is_there, Some(from), self.bounds.grace, now)
            {
                return Came::NoPlace;
            }
        }
        if all.strangers.len() >= self.bounds.strangers
            && !all.send_away(|_| true, from, self.bounds.grace, now)
        {
            if from.is_some() {
                return Came::NoPlace;
            }
            let oldest = all.strangers.values().next().map(|oldest| oldest.since);
            let later = oldest.zip(self.bounds.grace);
            return Came::Later(later.map(|(since, grace)| since + grace));
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

impl All {
    fn count(&self, is_there: impl Fn(&Stranger) -> bool) -> usize {
        self.strangers.values().filter(|it| is_there(it)).count()
    }

    /// Sends one of these strangers away for one who comes from there: the oldest of the address that
    /// has most. One that came just now is spared, unless its address has more than the other's.
    fn send_away(
        &mut self,
        is_meant: impl Fn(&Stranger) -> bool,
        from: Option<IpAddr>,
        grace: Option<Duration>,
        now: Instant,
    ) -> bool {
        let Some(grace) = grace else { return false };
        let meant = |all: &Self| -> Vec<(u64, Option<IpAddr>, Instant)> {
            let meant = all.strangers.iter().filter(|(_, it)| is_meant(it));
            meant.map(|(n, it)| (*n, it.from, it.since)).collect()
        };
        let them = meant(self);
        let share = |of: Option<IpAddr>| {
            let net = of.map(network);
            let in_net = them.iter().filter(|it| it.1.map(network) == net).count();
            (in_net, them.iter().filter(|it| it.1 == of).count())
        };
        // Of equals the first, which is the oldest.
        let first = them.iter().rev().max_by_key(|it| share(it.1));
        let Some(&(number, of, since)) = first else {
            return false;
        };
        let (most, mine) = (share(of), share(from));
        let has_more = most.0 > mine.0 + 1 || (most.0 >= mine.0 && most.1 > mine.1 + 1);
        let is_settled = |since: Instant| now.saturating_duration_since(since) >= grace;
        let chosen = if has_more || is_settled(since) {
            Some(number)
        } else {
            them.iter().find(|it| is_settled(it.2)).map(|it| it.0)
        };
        let Some(gone) = chosen.and_then(|number| self.strangers.remove(&number)) else {
            return false;
        };
        gone.out.notify_one();
        true
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

    fn comes(places: &Places, from: &str, now: Instant) -> Option<Place> {
        match places.take(Some(ip(from)), now) {
            Came::In(place) => Some(place),
            Came::NoPlace => None,
            Came::Later(_) => panic!("who is counted never waits"),
        }
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
    async fn one_address_has_its_share_and_the_next_comes_in_when_one_has_been_there_for_a_while() {
        let (places, now) = (Places::new(BOUNDS), Instant::now());
        let has: Vec<_> = (0..3)
            .map(|_| comes(&places, "192.0.2.7", now).unwrap())
            .collect();
        assert!(comes(&places, "192.0.2.7", now).is_none());
        let later = comes(&places, "192.0.2.7", now + GRACE).unwrap();
        assert!(is_sent_away(&has[0]).await && !is_sent_away(&has[1]).await);
        drop((has, later));
        assert!(places.taken.lock().strangers.is_empty());
    }

    #[tokio::test]
    async fn a_neighbour_in_the_64_comes_in_at_once_though_a_stranger_has_all() {
        let (places, now) = (Places::new(BOUNDS), Instant::now());
        let stranger: Vec<_> = (0..3)
            .map(|_| comes(&places, "2001:db8::bad", now).unwrap())
            .collect();
        let tablet = comes(&places, "2001:db8::1", now).unwrap();
        assert!(is_sent_away(&stranger[0]).await);
        // However often the stranger comes again, it takes its own places only.
        for _ in 0..20 {
            assert!(comes(&places, "2001:db8::bad", now).is_none());
        }
        assert!(!is_sent_away(&tablet).await);
    }

    #[tokio::test]
    async fn when_all_places_are_taken_the_network_that_has_most_gives_one() {
        let (places, now) = (Places::new(BOUNDS), Instant::now());
        let mut has = Vec::new();
        for from in [
            "192.0.2.1",
            "192.0.2.1",
            "192.0.2.1",
            "192.0.2.2",
            "192.0.2.3",
            "192.0.2.3",
        ] {
            has.push(comes(&places, from, now).unwrap());
        }
        let _next = comes(&places, "192.0.2.4", now).unwrap();
        assert!(is_sent_away(&has[0]).await);
        // Each has as many now as the next would have: who came just now stays.
        let _more = comes(&places, "192.0.2.5", now);
        let _more = comes(&places, "192.0.2.6", now);
        assert!(comes(&places, "192.0.2.7", now).is_none());
        assert!(comes(&places, "192.0.2.7", now + GRACE).is_some());
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
            let place = comes(&places, from, now).unwrap();
            place.admit(Owner::Device(device));
            place
        };
        let tablet: Vec<_> = (0..2).map(|_| admitted("192.0.2.7", 1)).collect();
        let newest = admitted("192.0.2.8", 1);
        assert!(is_sent_away(&tablet[0]).await && !is_sent_away(&tablet[1]).await);
        // Those of a device do not count for the address that it has.
        let _strangers: Vec<_> = (0..3)
            .map(|_| comes(&places, "192.0.2.7", now).unwrap())
            .collect();
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
