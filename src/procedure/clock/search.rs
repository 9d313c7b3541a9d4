//! Whether another order of the same activities would be shorter.

use super::network::{Network, Placement};

/// How a search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SearchStatus {
    /// No order is shorter.
    Proved,
    /// The search was cut off: a shorter order may exist.
    CutOff,
}

/// The shortest order that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Shortest {
    /// Order to hand to [`Network::schedule`].
    pub order: Vec<usize>,
    /// Its end, s.
    pub total_s: f64,
    /// No schedule can end earlier than this, s: the longest chain, or the busiest resource.
    pub bound_s: f64,
    /// Whether that is known to be the best.
    pub status: SearchStatus,
}

/// Schedules closer than this count as equally long, s.
const SAME_S: f64 = 1e-6;

impl Network {
    /// Looks for the order whose schedule ends first, starting from one that is known.
    ///
    /// Depth-first over all orders that respect what waits for what; a branch is left where even the
    /// longest chain behind it could not end before the best so far. The orders so visited include
    /// one that is optimal, since a shortest schedule in which nothing can start earlier alone always
    /// exists. `most_placements` bounds the work: small networks are proved, large ones cut off.
    ///
    /// # References
    /// Kolisch (1996), *Eur. J. Oper. Res.* 90, 320-333: the serial scheme reaches an optimum
    /// (from memory).
    #[must_use]
    pub fn shortest(&self, known: &[usize], most_placements: usize) -> Shortest {
        let duration_s = self.durations_s();
        let tail_s = self.tails_s(&duration_s);
        let bound_s = self.bound_s(&duration_s);
        let mut search = Search {
            network: self,
            tail_s,
            bound_s,
            placements_left: most_placements,
            best_s: self.schedule(known, &duration_s).total_s(),
            best: known.to_vec(),
            order: Vec::with_capacity(known.len()),
            placed: vec![false; known.len()],
        };
        let mut placement = Placement::new(self, &duration_s);
        search.descend(&mut placement, 0.0);
        let proved = search.placements_left > 0 || search.best_s <= bound_s + SAME_S;
        Shortest {
            order: search.best,
            total_s: search.best_s,
            bound_s,
            status: if proved {
                SearchStatus::Proved
            } else {
                SearchStatus::CutOff
            },
        }
    }

    /// By activity: the longest chain from its start to the end of everything, s.
    fn tails_s(&self, duration_s: &[f64]) -> Vec<f64> {
        let mut tail_s = duration_s.to_vec();
        for &i in self.sorted().iter().rev() {
            for &j in &self.activities()[i].after {
                tail_s[j] = tail_s[j].max(duration_s[j] + tail_s[i]);
            }
        }
        tail_s
    }

    fn bound_s(&self, duration_s: &[f64]) -> f64 {
        let busiest_s = self.resources().iter().enumerate().map(|(r, resource)| {
            let work_s: f64 = self
                .activities()
                .iter()
                .zip(duration_s)
                .map(|(a, d)| d * f64::from(u32::try_from(a.units_of(r)).unwrap_or(u32::MAX)))
                .sum();
            work_s / f64::from(u32::try_from(resource.units.max(1)).unwrap_or(u32::MAX))
        });
        busiest_s.fold(self.critical_path().end_s, f64::max)
    }
}

struct Search<'a> {
    network: &'a Network,
    tail_s: Vec<f64>,
    bound_s: f64,
    placements_left: usize,
    best_s: f64,
    best: Vec<usize>,
    order: Vec<usize>,
    placed: Vec<bool>,
}

impl Search<'_> {
    fn descend(&mut self, placement: &mut Placement<'_>, end_s: f64) {
        if self.order.len() == self.placed.len() {
            if end_s < self.best_s - SAME_S {
                self.best_s = end_s;
                self.best.clone_from(&self.order);
            }
            return;
        }
        let activities = self.network.activities();
        let mut free: Vec<usize> = (0..self.placed.len())
            .filter(|i| !self.placed[*i] && activities[*i].after.iter().all(|j| self.placed[*j]))
            .collect();
        // the longest way to go first: good schedules early prune the rest
        free.sort_by(|a, b| self.tail_s[*b].total_cmp(&self.tail_s[*a]).then(a.cmp(b)));
        for i in free {
            if self.best_s <= self.bound_s + SAME_S || self.placements_left == 0 {
                return;
            }
            self.placements_left -= 1;
            placement.place(i);
            let start_s = placement.schedule.start_s[i];
            if start_s + self.tail_s[i] < self.best_s - SAME_S {
                self.placed[i] = true;
                self.order.push(i);
                self.descend(placement, end_s.max(placement.schedule.end_s[i]));
                self.order.pop();
                self.placed[i] = false;
            }
            placement.take_back();
        }
    }
}
