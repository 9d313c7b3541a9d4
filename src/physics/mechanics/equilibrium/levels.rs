//! Levels: the same scene on fewer stations, from which a solve begins.

use crate::mechanics::rod::scene::{AxialLoad, Rod, Scene, TubeStation};

/// Stations to one of the next coarser level. The ends of contact stretches move by about a station
/// a factorisation; with two, the coarser level leaves them within two.
const COARSENING: usize = 2;

/// The scene on every [`COARSENING`]th station; none where that leaves fewer cells than wished or a
/// rod too short for them.
pub(crate) fn coarsened(
    scene: &Scene<'_>,
    coarsest_cells: usize,
) -> Option<(Vec<TubeStation>, Vec<Rod>)> {
    let cells = scene.tube.len() - 1;
    if cells / COARSENING < coarsest_cells.max(4) {
        return None;
    }
    let coarse_cells = cells / COARSENING;
    // spread what does not divide over all cells
    let pick = |i: usize| (i * cells + coarse_cells / 2) / coarse_cells;
    let tube: Vec<TubeStation> = (0..=coarse_cells).map(|i| scene.tube[pick(i)]).collect();
    let mut rods = scene.rods.to_vec();
    for rod in &mut rods {
        if let AxialLoad::ByStation(values) | AxialLoad::HubHeld { load_n: values, .. } =
            &mut rod.load
        {
            *values = (0..=coarse_cells).map(|i| values[pick(i)]).collect();
        }
    }
    let posed = Scene {
        tube: &tube,
        rods: &rods,
        beside: scene.beside,
    };
    posed.check().ok()?;
    Some((tube, rods))
}
