//! Work on several threads whose outcome does not depend on how many there are.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Results in the order of the items, worked at by up to `threads` threads, this one among them. A panic
/// of one of them is this one's: results must not go missing.
pub(crate) fn in_order<'a, T: Sync, R: Send>(
    items: &'a [T],
    threads: usize,
    work: impl Fn(&'a T) -> R + Sync,
) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let share = || {
        let mut done = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(at) else {
                return done;
            };
            done.push((at, work(item)));
        }
    };
    let mut done = std::thread::scope(|scope| {
        let helpers: Vec<_> = (1..threads.min(items.len()))
            .map(|_| scope.spawn(share))
            .collect();
        let mut done = share();
        for helper in helpers {
            match helper.join() {
                Ok(more) => done.extend(more),
                Err(panicked) => std::panic::resume_unwind(panicked),
            }
        }
        done
    });
    done.sort_unstable_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}
