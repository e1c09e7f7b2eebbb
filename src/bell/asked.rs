//! A thread, and what it is asked for: what sound and speech have in common.
//!
//! Promises: asking takes no time and waits for nothing; the thread is told the end when the last
//! asker is gone, and is not waited for. Leaves to others: what is asked for, and doing it.

use std::io;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// The side that asks. Cheap to clone.
#[derive(Debug)]
pub(super) struct Asker<W>(Arc<Last<W>>);

/// The last of the askers tells the end.
#[derive(Debug)]
struct Last<W>(Arc<Asked<W>>);

/// The side of the thread: what is wanted now.
#[derive(Debug, Default)]
pub(super) struct Asked<W> {
    state: Mutex<State<W>>,
    news: Condvar,
}

#[derive(Debug, Default)]
struct State<W> {
    wanted: W,
    ended: bool,
}

impl<W: Default + Send + 'static> Asker<W> {
    /// Starts the thread.
    pub(super) fn start(
        name: &str,
        run: impl FnOnce(Arc<Asked<W>>) + Send + 'static,
    ) -> io::Result<Self> {
        let asked = Arc::new(Asked::default());
        let theirs = Arc::clone(&asked);
        let thread = std::thread::Builder::new().name(name.into());
        let _runs_by_itself = thread.spawn(move || run(theirs))?;
        Ok(Self(Arc::new(Last(asked))))
    }

    /// Changes what is wanted; `change` says whether that is news.
    pub(super) fn ask(&self, change: impl FnOnce(&mut W) -> bool) {
        let asked = &self.0.0;
        let is_news = change(&mut asked.lock().wanted);
        if is_news {
            asked.news.notify_all();
        }
    }
}

impl<W> Clone for Asker<W> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0))
    }
}

impl<W> Drop for Last<W> {
    fn drop(&mut self) {
        self.0.lock().ended = true;
        self.0.news.notify_all();
    }
}

impl<W> Asked<W> {
    /// What is behind the lock is whole at every moment.
    fn lock(&self) -> MutexGuard<'_, State<W>> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Looks at what is wanted, also after the end.
    pub(super) fn look<T>(&self, look: impl FnOnce(&W) -> T) -> T {
        look(&self.lock().wanted)
    }

    /// Whether the end has come.
    pub(super) fn is_over(&self) -> bool {
        self.lock().ended
    }

    /// Waits for as long as what is wanted is nothing new; says whether it goes on.
    pub(super) fn wait_while(&self, is_old: impl Fn(&W) -> bool) -> bool {
        let waits = |state: &mut State<W>| !state.ended && is_old(&state.wanted);
        let state = self.news.wait_while(self.lock(), waits);
        !state.unwrap_or_else(PoisonError::into_inner).ended
    }

    /// Lets a while pass; says whether it goes on.
    pub(super) fn pause(&self, pause: Duration) -> bool {
        let goes_on = |state: &mut State<W>| !state.ended;
        let waited = self.news.wait_timeout_while(self.lock(), pause, goes_on);
        !waited.unwrap_or_else(PoisonError::into_inner).0.ended
    }

    /// Waits until there is something to take, and takes it; none at the end, when all is taken.
    pub(super) fn next<T>(&self, take: impl Fn(&mut W) -> Option<T>) -> Option<T> {
        let mut state = self.lock();
        loop {
            let next = take(&mut state.wanted);
            if next.is_some() || state.ended {
                return next;
            }
            let waited = self.news.wait(state);
            state = waited.unwrap_or_else(PoisonError::into_inner);
        }
    }
}
