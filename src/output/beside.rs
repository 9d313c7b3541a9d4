//! Names beside a drawing: each as near to the height of its place as the others let it.

/// Heights at which names lie, from the heights of their places, both rising downwards and in the same order: at least
/// `line` apart, none above `top`, and, as long as all have room, none below `bottom`.
pub(super) fn lines_beside(places: &[f64], line: f64, top: f64, bottom: f64) -> Vec<f64> {
    let mut lines = Vec::with_capacity(places.len());
    let mut free = top;
    for place in places {
        lines.push(place.max(free));
        free = place.max(free) + line;
    }
    // what ran out below moves up again
    let mut below = bottom;
    for at in lines.iter_mut().rev() {
        *at = at.min(below);
        below = *at - line;
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_names_keep_apart_and_in_order() {
        assert_eq!(lines_beside(&[], 10.0, 0.0, 100.0), Vec::<f64>::new());
        assert_eq!(lines_beside(&[5.0, 50.0], 10.0, 0.0, 100.0), [5.0, 50.0]);
        // pushed down, then up from the bottom
        let pushed = lines_beside(&[20.0, 21.0, 22.0], 10.0, 25.0, 100.0);
        assert_eq!(pushed, [25.0, 35.0, 45.0]);
        let low = lines_beside(&[80.0, 97.0, 99.0], 10.0, 0.0, 100.0);
        assert_eq!(low, [80.0, 90.0, 100.0]);
    }
}
