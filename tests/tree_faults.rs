//! What is wrong with a tree is said all at once, and names are mended.

use crate::support::trees::{arch_tree, femoral};
use nestline_physics::geometry::Ostium;

#[test]
fn exact_faults_of_a_tree_are_all_collected() {
    let mut tree = arch_tree();
    tree.branches[2].ostium = Some(Ostium {
        branch: 4,
        at_mm: 1.0,
    });
    tree.branches[3].ostium = Some(Ostium {
        branch: 77,
        at_mm: 1.0,
    });
    tree.branches[6].ostium = Some(Ostium {
        branch: 3,
        at_mm: 900.0,
    });
    tree.branches[7].lumen.knots_mm = vec![(5.0, 2.0), (1.0, 0.0)];
    tree.branches[8].ostium = Some(Ostium {
        branch: 7,
        at_mm: 1.0,
    });
    tree.branches[1].name = "aorta".into();
    tree.lesions[0].start_mm = 140.0;
    tree.lesions[0].reference_mm = 0.0;
    tree.lesions[0].nascet_percent = 101.0;
    tree.clots[0].start_mm = -2.0;
    let faults: Vec<String> = tree
        .check()
        .unwrap_err()
        .iter()
        .map(ToString::to_string)
        .collect();
    let cycles = faults.iter().filter(|f| f.contains("own ancestor")).count();
    assert_eq!(
        cycles, 2,
        "only the two on the cycle, not their children: {faults:#?}"
    );
    for want in [
        "branch `aorta` appears 2 times: give each its own name",
        "branch `innominate` is its own ancestor: a vessel is a tree, so give it another parent",
        "the ostium of branch `left-common-carotid` refers to branch number 77, but there are only 9, counted from 0",
        "the ostium of branch `left-internal-carotid` lies at 900 mm on `left-common-carotid`, which runs from 0 to 124.000 mm",
        "branch `left-m1`.lumen.knots_mm[1], the arc length, is 1, must be finite and not below the one before",
        "branch `left-m1`.lumen.knots_mm[1], the diameter, is 0, must be finite and > 0",
        "branch `left-m2` starts ",
        "lesion `neck-lesion`.reference_mm is 0, must be finite and > 0",
        "lesion `neck-lesion`.nascet_percent is 101, must be finite and <= 100 (100 is shut, below 0 is wider than the reference)",
        "lesion `neck-lesion` lies at 156 mm on `left-internal-carotid`, which runs from 0 to 144.000 mm",
        "clot `clot` lies at -2 mm on `left-m1`, which runs from 0 to 6.000 mm",
    ] {
        assert!(
            faults.iter().any(|f| f.starts_with(want)),
            "`{want}` is missing from {faults:#?}"
        );
    }
}

#[test]
fn exact_unknown_names_suggest_the_nearest() {
    let tree = arch_tree();
    assert_eq!(tree.branch("innominate").unwrap(), 2, "index of a branch");
    assert_eq!(
        tree.branch("left-comon-carotid").unwrap_err().to_string(),
        "no branch is named `left-comon-carotid`: did you mean `left-common-carotid`?",
        "one letter missing"
    );
    assert_eq!(
        tree.landmark("zzz").unwrap_err().to_string(),
        "no landmark is named `zzz`",
        "nothing like it"
    );
    let (access, target) = femoral();
    let track = tree.track(access, target, 1.0).unwrap();
    assert_eq!(
        track.landmark("skul-base").unwrap_err().to_string(),
        "no landmark on the route is named `skul-base`: did you mean `skull-base`?",
        "on a track"
    );
}
