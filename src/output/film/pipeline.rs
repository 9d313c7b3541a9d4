//! Work on all cores beside the thread that hands it out; results come back in the order in which jobs were handed.

use super::error::FilmError;
use std::collections::BTreeMap;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};
use std::thread::{JoinHandle, spawn};

/// Jobs under way. What comes back depends on the jobs alone, not on the number of threads.
pub(super) struct Pipeline<J, R> {
    jobs: Option<Sender<(usize, J)>>,
    done: Receiver<(usize, R)>,
    /// Done before their turn.
    early: BTreeMap<usize, R>,
    handed: usize,
    received: usize,
    told: usize,
    workers: Vec<JoinHandle<()>>,
}

/// A thread ended in the middle of its work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stopped;

impl Stopped {
    /// The same as an error of what was done there.
    pub(super) fn of(encoder: &'static str) -> impl Fn(Self) -> FilmError {
        move |_| FilmError::Encode {
            encoder,
            reason: "it stopped in the middle of a film".into(),
        }
    }
}

impl<J: Send + 'static, R: Send + 'static> Pipeline<J, R> {
    /// As many threads as given, at least one, that do `work`.
    pub(super) fn new(
        threads: usize,
        work: impl Fn(J) -> R + Send + Sync + Clone + 'static,
    ) -> Self {
        let (jobs, waiting) = channel::<(usize, J)>();
        let (finished, done) = channel();
        let waiting = Arc::new(Mutex::new(waiting));
        let worker = |_| {
            let (waiting, finished, work) = (Arc::clone(&waiting), finished.clone(), work.clone());
            spawn(move || {
                loop {
                    let next = match waiting.lock() {
                        Ok(waiting) => waiting.recv(),
                        Err(_) => return,
                    };
                    let Ok((turn, job)) = next else { return };
                    if finished.send((turn, work(job))).is_err() {
                        return;
                    }
                }
            })
        };
        Self {
            jobs: Some(jobs),
            workers: (0..threads.max(1)).map(worker).collect(),
            done,
            early: BTreeMap::new(),
            handed: 0,
            received: 0,
            told: 0,
        }
    }

    /// Hands a job on, once fewer than `most` are under way, and gives back what is finished, in order.
    ///
    /// # Errors
    /// [`Stopped`].
    pub(super) fn hand(&mut self, job: J, most: usize) -> Result<Vec<R>, Stopped> {
        while self.handed - self.received >= most.max(1) {
            self.receive()?;
        }
        while let Ok((turn, result)) = self.done.try_recv() {
            self.keep(turn, result);
        }
        let jobs = self.jobs.as_ref().ok_or(Stopped)?;
        jobs.send((self.handed, job)).map_err(|_| Stopped)?;
        self.handed += 1;
        Ok(self.ready())
    }

    /// Waits for everything that is still under way.
    ///
    /// # Errors
    /// [`Stopped`].
    pub(super) fn finish(mut self) -> Result<Vec<R>, Stopped> {
        drop(self.jobs.take());
        while self.received < self.handed {
            self.receive()?;
        }
        let left = self.ready();
        for worker in self.workers.drain(..) {
            worker.join().map_err(|_| Stopped)?;
        }
        Ok(left)
    }

    fn receive(&mut self) -> Result<(), Stopped> {
        let (turn, result) = self.done.recv().map_err(|_| Stopped)?;
        self.keep(turn, result);
        Ok(())
    }

    fn keep(&mut self, turn: usize, result: R) {
        self.received += 1;
        self.early.insert(turn, result);
    }

    fn ready(&mut self) -> Vec<R> {
        let mut out = Vec::new();
        while let Some(result) = self.early.remove(&self.told) {
            self.told += 1;
            out.push(result);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn exact_results_come_in_the_order_of_their_jobs() {
        for threads in [1, 2, 5] {
            let mut line = Pipeline::new(threads, |job: u64| {
                // later jobs are quicker
                std::thread::sleep(Duration::from_millis(20 - job.min(20)));
                3 * job
            });
            let mut found = Vec::new();
            for job in 0..20 {
                found.extend(line.hand(job, 4).unwrap());
            }
            found.extend(line.finish().unwrap());
            let wanted: Vec<u64> = (0..20).map(|job| 3 * job).collect();
            assert_eq!(found, wanted, "{threads} threads");
        }
    }

    #[test]
    fn exact_a_thread_that_ends_is_told() {
        let mut line = Pipeline::new(1, |job: u64| {
            assert!(job < 3, "the third job is one too many");
            job
        });
        let handed = (0..10).map(|job| line.hand(job, 1));
        let all: Result<Vec<_>, _> = handed.collect();
        assert!(
            all.is_err() || line.finish().is_err(),
            "nothing is lost unseen"
        );
    }
}
