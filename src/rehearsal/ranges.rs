//! Forces with ranges: the script followed twice more, with materials at the least and at the most known of them.

use crate::mechanics::Level;
use crate::procedure::{Passed, Plan, Shape, StackPlacement, follow_again, tell_ends};
use crate::threads::{all_of_them, in_order};
use std::sync::Arc;

/// A move, and the shape that it began from.
type Laid<'a> = (&'a StackPlacement, Option<&'a Arc<Shape>>);

/// Follows a script that was walked through twice more, all frictions and stiffnesses at their least and at their
/// most, every device fed as far as it was; and warns of what breaks only at the most.
///
/// Ends are taken together, for all devices alike: what is not known of materials is the same for all of a case. Where rods
/// come to no rest at an end, no force is told of it. Steps that were ruled have no ranges. Moves do not wait for each
/// other, and the outcome is the same with any number of threads.
pub fn follow_ranges(plan: &Plan, passed: &mut [Passed]) {
    let ends = [Level::Least, Level::Most].map(|level| {
        let end = plan.materials.at(level);
        let halfway = plan.values.towards(&end, 0.5);
        [halfway, end].map(|values| plan.with_values(values))
    });
    let laid = laid(passed);
    let jobs: Vec<(&[Plan; 2], Laid<'_>)> = (laid.iter())
        .flat_map(|laid| ends.iter().map(move |plans| (plans, *laid)))
        .collect();
    let mut found = in_order(&jobs, all_of_them(), |(plans, (laid, before))| {
        follow_again(plans.each_ref(), laid, *before)
    })
    .into_iter();
    let mut pairs = Vec::with_capacity(laid.len());
    while let (Some(least), Some(most)) = (found.next(), found.next()) {
        pairs.push(least.zip(most).map(|(least, most)| [least, most]));
    }
    let placements = passed
        .iter_mut()
        .flat_map(|done| &mut done.effect.placements);
    for (placed, ends) in placements.zip(pairs) {
        placed.at_ends = ends;
    }
    for done in passed {
        tell_ends(plan, &mut done.effect);
    }
}

/// Every move of a script with the shape it began from: the last one that was found before.
fn laid(passed: &[Passed]) -> Vec<Laid<'_>> {
    let mut last = None;
    let placements = passed.iter().flat_map(|done| &done.effect.placements);
    placements
        .map(|placed| {
            let before = last;
            last = placed.shape.as_ref().or(last);
            (placed, before)
        })
        .collect()
}
