//! One writer at a time.

use super::super::file::told;
use std::io;
use std::path::Path;
use std::time::Duration;

/// How often a lock is asked for, and how long it is waited in between: half a minute in all. A report
/// takes less than a second to write.
const TRIES: u32 = 300;
const BETWEEN: Duration = Duration::from_millis(100);

/// Held while files are written; let go when it is dropped, and by the system when the program dies.
#[expect(
    clippy::disallowed_types,
    reason = "an open folder, held for its lock and never read"
)]
#[derive(Debug)]
pub(super) struct Lock(#[expect(dead_code, reason = "held for its lock")] Option<std::fs::File>);

impl Lock {
    /// Waits until nobody else writes below `folder`. The folder itself is locked, so that no file is left
    /// behind; where folders cannot be locked (Windows, some network drives) nothing is, and two runs at
    /// once into one folder are then not kept apart.
    ///
    /// # Errors
    /// [`io::ErrorKind::ResourceBusy`] where somebody else holds it for half a minute.
    #[expect(
        clippy::disallowed_types,
        reason = "an open folder, held for its lock and never read"
    )]
    pub(super) fn on(folder: &Path) -> io::Result<Self> {
        let Ok(file) = std::fs::File::open(folder) else {
            return Ok(Self(None));
        };
        for _ in 0..TRIES {
            match file.try_lock() {
                Ok(()) => return Ok(Self(Some(file))),
                Err(std::fs::TryLockError::WouldBlock) => std::thread::sleep(BETWEEN),
                Err(std::fs::TryLockError::Error(_)) => return Ok(Self(None)),
            }
        }
        Err(told(
            io::ErrorKind::ResourceBusy,
            format!(
                "another run writes into `{}`: wait for its end, or name another folder (--out DIR)",
                folder.display()
            ),
        ))
    }
}
