//! Work on several threads whose outcome does not depend on how many there are.

use std::collections::VecDeque;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

/// Results in the order of the items, worked at by up to `threads` threads, this one among them. A panic
/// of one of them is this one's: results must not go missing.
pub fn in_order<'a, T: Sync, R: Send>(
    items: &'a [T],
    threads: usize,
    work: impl Fn(&'a T) -> R + Sync,
) -> Vec<R> {
    let submit_all = |submit: &mut dyn FnMut(&'a T)| items.iter().for_each(submit);
    run_alongside(threads, work, submit_all).1
}

/// Jobs handed out while others are thought of.
struct JobQueue<J> {
    jobs: Mutex<Jobs<J>>,
    changed: Condvar,
}

struct Jobs<J> {
    waiting: VecDeque<(usize, J)>,
    submitted: usize,
    /// No more will come.
    closed: bool,
}

impl<J> JobQueue<J> {
    /// A panic of whoever held them leaves the jobs as they are.
    fn jobs(&self) -> MutexGuard<'_, Jobs<J>> {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn submit(&self, job: J) {
        let mut jobs = self.jobs();
        let number = jobs.submitted;
        jobs.submitted += 1;
        jobs.waiting.push_back((number, job));
        self.changed.notify_one();
    }

    /// The next job; waits for one until no more will come.
    fn next(&self) -> Option<(usize, J)> {
        let mut jobs = self.jobs();
        loop {
            if let Some(job) = jobs.waiting.pop_front() {
                return Some(job);
            }
            if jobs.closed {
                return None;
            }
            jobs = self
                .changed
                .wait(jobs)
                .unwrap_or_else(PoisonError::into_inner);
        }
    }
}

/// Closes a queue also where its owner panics: those who wait there must not wait for ever.
struct Closes<'a, J>(&'a JobQueue<J>);

impl<J> Drop for Closes<'_, J> {
    fn drop(&mut self) {
        self.0.jobs().closed = true;
        self.0.changed.notify_all();
    }
}

/// Does `lead`, which submits jobs that it does not wait for; up to `threads - 1` others, as many as there are
/// jobs for, work at them meanwhile, and this thread joins them when `lead` is done. Results in the order of
/// the jobs.
pub fn run_alongside<J: Send, R: Send, T>(
    threads: usize,
    work: impl Fn(J) -> R + Sync,
    lead: impl FnOnce(&mut dyn FnMut(J)) -> T,
) -> (T, Vec<R>) {
    let queue = JobQueue {
        jobs: Mutex::new(Jobs {
            waiting: VecDeque::new(),
            submitted: 0,
            closed: false,
        }),
        changed: Condvar::new(),
    };
    let share = || {
        let mut done = Vec::new();
        while let Some((number, job)) = queue.next() {
            done.push((number, work(job)));
        }
        done
    };
    let (led, mut done) = std::thread::scope(|scope| {
        let closes = Closes(&queue);
        let mut helpers = Vec::new();
        let led = lead(&mut |job| {
            queue.submit(job);
            if helpers.len() + 1 < threads {
                helpers.push(scope.spawn(share));
            }
        });
        drop(closes);
        let mut done = share();
        for helper in helpers {
            match helper.join() {
                Ok(more) => done.extend(more),
                Err(panicked) => std::panic::resume_unwind(panicked),
            }
        }
        (led, done)
    });
    done.sort_unstable_by_key(|(number, _)| *number);
    (led, done.into_iter().map(|(_, result)| result).collect())
}

/// As many threads as the machine runs at once.
#[must_use]
pub fn all_of_them() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_results_in_order_however_many_threads() {
        for threads in [1, 2, 5] {
            let (sum, squares) = run_alongside(
                threads,
                |n: u64| {
                    // the first take longest
                    std::thread::sleep(std::time::Duration::from_millis(20 - n));
                    n * n
                },
                |submit| {
                    (0..12).for_each(submit);
                    7
                },
            );
            assert_eq!(sum, 7, "what the lead came to");
            let expected: Vec<u64> = (0..12).map(|n| n * n).collect();
            assert_eq!(squares, expected, "with {threads} threads");
        }
    }

    #[test]
    fn exact_panics_do_not_hang() {
        let led = std::panic::catch_unwind(|| {
            run_alongside(3, |n: u8| n, |_| -> u8 { std::panic::panic_any("lead") })
        });
        assert!(led.is_err(), "the lead's panic was lost");
        let worked = std::panic::catch_unwind(|| {
            run_alongside(
                3,
                |_: u8| -> u8 { std::panic::panic_any("work") },
                |submit| {
                    (0..9).for_each(submit);
                },
            )
        });
        assert!(worked.is_err(), "a helper's panic was lost");
    }
}
