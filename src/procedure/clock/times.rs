//! Milestones of a course, and how they vary over many.

use serde::{Deserialize, Serialize};

/// Milestones of one course, s from the puncture; `None` where they are never reached.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Times {
    /// A guide's tip lies in the neck.
    pub guide_in_neck_s: Option<f64>,
    /// The retriever stands open.
    pub retriever_open_s: Option<f64>,
    /// The first balloon has been inflated in the neck.
    pub neck_dilated_s: Option<f64>,
    /// The neck lesions leave at least half the normal lumen.
    pub neck_open_s: Option<f64>,
    /// The last balloon or stent system has come off.
    pub neck_done_s: Option<f64>,
    /// The clot has left the artery and the neck lets blood through.
    pub reperfusion_s: Option<f64>,
    /// From the retriever's opening to the start of its pull.
    pub retriever_sat_s: Option<f64>,
    /// From the retriever's opening to reperfusion.
    pub open_to_reperfusion_s: Option<f64>,
    /// End of the last step.
    pub total_s: Option<f64>,
}

/// How a time varies, s.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Percentiles {
    /// One case in ten is faster.
    pub p10_s: f64,
    /// Half of the cases are faster.
    pub p50_s: f64,
    /// Nine cases in ten are faster.
    pub p90_s: f64,
}

/// How every milestone varies.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct SpreadOfTimes {
    /// See [`Times`].
    pub guide_in_neck: Option<Percentiles>,
    /// See [`Times`].
    pub retriever_open: Option<Percentiles>,
    /// See [`Times`].
    pub neck_dilated: Option<Percentiles>,
    /// See [`Times`].
    pub neck_open: Option<Percentiles>,
    /// See [`Times`].
    pub reperfusion: Option<Percentiles>,
    /// See [`Times`].
    pub retriever_sat: Option<Percentiles>,
    /// See [`Times`].
    pub open_to_reperfusion: Option<Percentiles>,
    /// See [`Times`].
    pub total: Option<Percentiles>,
}

/// How many courses are drawn, and from which seed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sampling {
    /// Number of courses. Default 2000: the 90th percentile then varies by 2 % of the spread from
    /// seed to seed, and five strategies take less than a second.
    pub courses: usize,
    /// Seed. Default 1.
    pub seed: u64,
    /// Threads; the result is the same to the last bit for any number. Default 1.
    pub threads: usize,
}

impl Sampling {
    /// Most courses that may be asked for: percentiles are then known to a third of a per cent of the spread,
    /// and the default script takes some ten seconds.
    pub const MOST_COURSES: usize = 100_000;
}

impl Default for Sampling {
    fn default() -> Self {
        Self {
            courses: 2000,
            seed: 1,
            threads: 1,
        }
    }
}

impl SpreadOfTimes {
    /// How the milestones of some courses vary.
    pub(super) fn of(courses: &[Times]) -> Self {
        let of = |pick: fn(&Times) -> Option<f64>| percentiles(courses.iter().map(pick).collect());
        Self {
            guide_in_neck: of(|t| t.guide_in_neck_s),
            retriever_open: of(|t| t.retriever_open_s),
            neck_dilated: of(|t| t.neck_dilated_s),
            neck_open: of(|t| t.neck_open_s),
            reperfusion: of(|t| t.reperfusion_s),
            retriever_sat: of(|t| t.retriever_sat_s),
            open_to_reperfusion: of(|t| t.open_to_reperfusion_s),
            total: of(|t| t.total_s),
        }
    }
}

/// The 10th, 50th and 90th percentile, linear between neighbours; `None` unless every course has a
/// value.
fn percentiles(values: Vec<Option<f64>>) -> Option<Percentiles> {
    let mut values: Vec<f64> = values.into_iter().collect::<Option<_>>()?;
    values.sort_by(f64::total_cmp);
    let last = u32::try_from(values.len().checked_sub(1)?).ok()?;
    let at = |share: f64| {
        let place = share * f64::from(last);
        let below = place.floor();
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "between 0 and the last index"
        )]
        let i = below as usize;
        let above = values[(i + 1).min(values.len() - 1)];
        values[i] + (place - below) * (above - values[i])
    };
    Some(Percentiles {
        p10_s: at(0.1),
        p50_s: at(0.5),
        p90_s: at(0.9),
    })
}
