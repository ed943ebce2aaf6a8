//! Who is connected: so many at once. Whoever is known stays; of the others, whoever takes most room goes first.
//!
//! Anybody on the network can open connections and say nothing on them. So a new one is always let in, and where
//! there is no room another goes for it: a stranger before anybody known, of the address that holds most, and of
//! those the one that has asked for nothing for longest. Strangers at the address of a phone that is known go
//! last of the strangers, as it opens a new connection as one. Who belongs to a page is told by its cookie alone.

use std::collections::{BTreeMap, HashMap};
use std::net::IpAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::Notify;

/// A stranger who asks for nothing for so long is let go.
const IDLE: Duration = Duration::from_secs(30);
/// Connections of one page: a browser opens one, or six where it does not know HTTP/2. The most idle goes first.
const OF_ONE: usize = 16;

/// Whose page is at the other end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Page {
    /// That of the phone of this number.
    Phone(usize),
    /// The instructor's.
    Watch,
}

/// All who are connected.
pub(super) struct Guests {
    most: usize,
    all: Mutex<All>,
}

#[derive(Default)]
struct All {
    next: u64,
    /// By their number: in the order in which they came.
    here: BTreeMap<u64, Here>,
    /// Where each page was last.
    known: HashMap<Page, IpAddr>,
}

struct Here {
    from: IpAddr,
    /// Whose page it is; nobody's, as far as is known.
    page: Option<Page>,
    asked: Instant,
    go: Arc<Notify>,
}

/// One of them, until it is dropped.
pub(super) struct Guest {
    n: u64,
    go: Arc<Notify>,
    guests: Arc<Guests>,
}

impl Guests {
    /// Nobody yet, and room for so many.
    pub(super) fn new(most: usize) -> Arc<Self> {
        Arc::new(Self {
            most: most.max(1),
            all: Mutex::default(),
        })
    }

    fn lock(&self) -> MutexGuard<'_, All> {
        self.all.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Lets somebody in; who goes for it is told.
    pub(super) fn enter(self: &Arc<Self>, from: IpAddr, now: Instant) -> Guest {
        let mut all = self.lock();
        while all.here.len() >= self.most
            && let Some(n) = all.first_to_go()
        {
            all.send_away(n);
        }
        let go = Arc::<Notify>::default();
        let n = all.next;
        all.next += 1;
        all.here.insert(
            n,
            Here {
                from,
                page: None,
                asked: now,
                go: Arc::clone(&go),
            },
        );
        Guest {
            n,
            go,
            guests: Arc::clone(self),
        }
    }
}

impl All {
    fn first_to_go(&self) -> Option<u64> {
        let mut held: HashMap<(Option<Page>, IpAddr), usize> = HashMap::new();
        let whose = |here: &Here| {
            let of = here.page.map_or(here.from, |_| IpAddr::from([0; 4]));
            (here.page, of)
        };
        for here in self.here.values() {
            *held.entry(whose(here)).or_default() += 1;
        }
        // The greatest goes.
        let weight = |here: &Here| {
            let stranger = here.page.is_none();
            let elsewhere = !self.known.values().any(|at| *at == here.from);
            let holds = held.get(&whose(here)).copied().unwrap_or_default();
            (stranger, stranger && elsewhere, holds)
        };
        let heaviest = self.here.values().map(weight).max()?;
        let of_them = self.here.iter().filter(|(_, h)| weight(h) == heaviest);
        of_them.min_by_key(|(_, h)| h.asked).map(|(n, _)| *n)
    }

    fn send_away(&mut self, n: u64) {
        if let Some(here) = self.here.remove(&n) {
            here.go.notify_one();
        }
    }
}

impl Guest {
    /// Ends when it has to go: for somebody else, or as a stranger who wants nothing.
    pub(super) async fn has_to_go(&self) {
        loop {
            let until = self.stays_until();
            tokio::select! {
                () = self.go.notified() => return,
                () = tokio::time::sleep_until(until.into()) => {}
            }
            if self.stays_until() <= until {
                return;
            }
        }
    }

    /// When it is let go, if it asks for nothing more; of a page, when that is next seen to.
    fn stays_until(&self) -> Instant {
        let all = self.guests.lock();
        match all.here.get(&self.n) {
            Some(here) if here.page.is_none() => here.asked + IDLE,
            _ => Instant::now() + IDLE,
        }
    }

    /// It asks for something.
    pub(super) fn asks(&self, now: Instant) {
        if let Some(here) = self.guests.lock().here.get_mut(&self.n) {
            here.asked = now;
        }
    }

    /// It has shown that it is this page; or, with nothing, that it is none.
    pub(super) fn is(&self, page: Option<Page>) {
        let mut all = self.guests.lock();
        let Some(here) = all.here.get_mut(&self.n) else {
            return;
        };
        here.page = page;
        let Some(page) = page else { return };
        let from = here.from;
        all.known.insert(page, from);
        let own = |(_, here): &(&u64, &Here)| here.page == Some(page);
        if all.here.iter().filter(own).count() > OF_ONE {
            let others = all.here.iter().filter(own).filter(|(n, _)| **n != self.n);
            let idlest = others.min_by_key(|(_, here)| here.asked).map(|(n, _)| *n);
            idlest.into_iter().for_each(|n| all.send_away(n));
        }
    }
}

impl Drop for Guest {
    fn drop(&mut self) {
        self.guests.lock().here.remove(&self.n);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Who come one after another, a second apart; and who of them is still here.
    struct Came {
        guests: Arc<Guests>,
        begun: Instant,
        all: Vec<Guest>,
    }

    impl Came {
        fn of(most: usize) -> Self {
            Self {
                guests: Guests::new(most),
                begun: Instant::now(),
                all: Vec::new(),
            }
        }

        fn from(&mut self, last: u8) -> usize {
            let now = self.begun + Duration::from_secs(self.all.len() as u64);
            let from = IpAddr::from([192, 168, 0, last]);
            self.all.push(self.guests.enter(from, now));
            self.all.len() - 1
        }

        fn here(&self) -> Vec<usize> {
            let here = self.guests.lock();
            let is_here = |n: &usize| here.here.contains_key(&self.all[*n].n);
            (0..self.all.len()).filter(is_here).collect()
        }
    }

    #[test]
    fn who_holds_most_goes_first_and_nobody_who_is_known() {
        let mut came = Came::of(4);
        let phone = came.from(1);
        came.all[phone].is(Some(Page::Phone(0)));
        for _ in 0..20 {
            came.from(66);
        }
        assert_eq!(came.here(), [0, 18, 19, 20]);
        // One who is new, and the phone's second: those at the other address go.
        let (new, second) = (came.from(2), came.from(1));
        assert_eq!(came.here(), [0, 20, new, second]);
        // However many come from wherever, the phone's own, and what comes from where it is, stay.
        for n in 100..200 {
            came.from(n);
        }
        assert_eq!(came.here(), [0, second, second + 99, second + 100]);
        came.all[second].is(Some(Page::Phone(0)));
        assert_eq!(came.here().len(), 4);
    }

    #[test]
    fn who_is_no_longer_known_is_a_stranger_and_one_page_takes_no_more_than_its_part() {
        let mut came = Came::of(100);
        for _ in 0..30 {
            let n = came.from(1);
            came.all[n].is(Some(Page::Phone(0)));
        }
        let other = came.from(2);
        came.all[other].is(Some(Page::Watch));
        assert_eq!(came.here().len(), OF_ONE + 1);
        let last = came.all.len() - 2;
        came.all[last].is(None);
        assert_eq!(came.guests.lock().first_to_go(), Some(last as u64));
    }

    #[test]
    fn where_all_are_known_the_page_with_most_gives_room() {
        let mut came = Came::of(3);
        for (from, page) in [(1, 0), (1, 0), (2, 1)] {
            let n = came.from(from);
            came.all[n].is(Some(Page::Phone(page)));
        }
        came.from(3);
        assert_eq!(came.here(), [1, 2, 3]);
    }

    #[test]
    fn who_leaves_makes_room() {
        let mut came = Came::of(2);
        came.from(1);
        came.from(2);
        let left = came.all.remove(0);
        drop(left);
        came.from(3);
        assert_eq!(came.guests.lock().here.len(), 2);
    }
}
