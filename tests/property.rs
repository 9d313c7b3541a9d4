//! Invariants of geometry.

mod common;

use common::{arch_tree, femoral, radial, radial_right};

#[test]
fn show() {
    let tree = arch_tree();
    tree.check().unwrap();
    for (a, b) in [femoral(), radial(), radial_right()] {
        match tree.track(a, b, 1.0) {
            Ok(t) => {
                println!("{} {:?}", t.length_mm(), t.segments);
                for l in &t.landmarks {
                    println!("  {} {:.2}", l.name, l.s_mm);
                }
                for s in &t.stations {
                    if (540.0..620.0).contains(&s.s_mm) {
                        println!(
                            "{:.1} k {:.3} R {:.2} {:.2} {}",
                            s.s_mm,
                            s.curvature_per_mm,
                            s.radius_mm,
                            s.curvature_per_mm * s.radius_mm,
                            t.place_name(s.s_mm)
                        );
                    }
                }
            }
            Err(e) => println!("{e}"),
        }
    }
}
