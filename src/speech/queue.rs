//! Many sessions hear on one machine: so many utterances at once, the others in turn.

use super::{DecodeContext, Recogniser, Recognition};
use std::collections::VecDeque;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};

/// Where utterances wait to be heard; who came first is heard first.
pub struct Queue {
    state: Mutex<Line>,
    moved: Condvar,
    most: usize,
}

#[derive(Default)]
struct Line {
    next: u64,
    waiting: VecDeque<u64>,
    heard: usize,
}

impl Queue {
    /// So many are heard at once.
    pub fn new(most: usize) -> Self {
        Self {
            state: Mutex::default(),
            moved: Condvar::new(),
            most: most.max(1),
        }
    }

    fn lock(&self) -> MutexGuard<'_, Line> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A turn where nobody waits for one: what decides nothing is given up otherwise.
    fn turn_at_once(&self) -> Option<Place<'_>> {
        let mut line = self.lock();
        let free = line.waiting.is_empty() && line.heard < self.most;
        free.then(|| {
            line.heard += 1;
            Place(self)
        })
    }

    fn turn(&self) -> Place<'_> {
        let mut line = self.lock();
        let own = line.next;
        line.next += 1;
        line.waiting.push_back(own);
        while line.heard >= self.most || line.waiting.front() != Some(&own) {
            line = self
                .moved
                .wait(line)
                .unwrap_or_else(PoisonError::into_inner);
        }
        line.waiting.pop_front();
        line.heard += 1;
        // The next may have room beside it.
        self.moved.notify_all();
        Place(self)
    }
}

/// Being heard, until it is dropped.
struct Place<'a>(&'a Queue);

impl Drop for Place<'_> {
    fn drop(&mut self) {
        self.0.lock().heard -= 1;
        self.0.moved.notify_all();
    }
}

/// An engine that waits for its turn.
pub struct InTurn {
    engine: Box<dyn Recogniser>,
    queue: Arc<Queue>,
}

impl InTurn {
    /// This engine, in this queue.
    pub fn new(engine: Box<dyn Recogniser>, queue: Arc<Queue>) -> Self {
        Self { engine, queue }
    }
}

impl Recogniser for InTurn {
    fn recognise(
        &mut self,
        samples: &[f32],
        expected: &DecodeContext,
    ) -> anyhow::Result<Recognition> {
        let _turn = self.queue.turn();
        self.engine.recognise(samples, expected)
    }

    fn early(
        &mut self,
        samples: &[f32],
        expected: &DecodeContext,
    ) -> anyhow::Result<Option<Recognition>> {
        match self.queue.turn_at_once() {
            Some(_turn) => self.engine.early(samples, expected),
            None => Ok(None),
        }
    }

    fn together(
        &mut self,
        before: &[f32],
        samples: &[f32],
        expected: &DecodeContext,
    ) -> anyhow::Result<Option<Recognition>> {
        let _turn = self.queue.turn();
        self.engine.together(before, samples, expected)
    }

    fn describe(&self) -> String {
        self.engine.describe()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    /// Counts who is heard at once.
    struct Counts(Arc<AtomicUsize>, Arc<AtomicUsize>);

    impl Recogniser for Counts {
        fn recognise(&mut self, _: &[f32], _: &DecodeContext) -> anyhow::Result<Recognition> {
            let now = self.0.fetch_add(1, Ordering::SeqCst) + 1;
            self.1.fetch_max(now, Ordering::SeqCst);
            std::thread::yield_now();
            self.0.fetch_sub(1, Ordering::SeqCst);
            Ok(Recognition::nothing())
        }

        fn describe(&self) -> String {
            "counts".to_owned()
        }
    }

    #[test]
    fn no_more_are_heard_at_once_than_there_is_room_for_and_all_are_heard() {
        let queue = Arc::new(Queue::new(2));
        let (now, most) = (Arc::default(), Arc::default());
        let all: Vec<_> = (0..12)
            .map(|_| {
                let engine = Counts(Arc::clone(&now), Arc::clone(&most));
                let mut engine = InTurn::new(Box::new(engine), Arc::clone(&queue));
                std::thread::spawn(move || {
                    for _ in 0..50 {
                        engine.recognise(&[], &DecodeContext::default()).unwrap();
                    }
                })
            })
            .collect();
        for one in all {
            one.join().unwrap();
        }
        assert!(most.load(Ordering::SeqCst) <= 2);
        let engine = || Counts(Arc::clone(&now), Arc::clone(&most));
        let mut waits = InTurn::new(Box::new(engine()), Arc::clone(&queue));
        let mut early = || waits.early(&[], &DecodeContext::default()).unwrap();
        assert!(early().is_some());
        let one = queue.turn();
        assert!(early().is_some());
        let two = queue.turn();
        assert!(early().is_none(), "others are heard first");
        drop((one, two));
        assert!(early().is_some());
    }
}
