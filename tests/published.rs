//! scratch
use nestline::geometry::{MeasureSettings, Measurements, Measures};
use rand::SeedableRng;
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Vessel {
    name: String,
    source: String,
    teaches: String,
    form: Form,
}
#[derive(Debug, serde::Deserialize)]
enum Form {
    Measured(Measurements),
}
#[test]
fn scratch() {
    let mut files: Vec<_> = std::fs::read_dir("vessels")
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    files.sort();
    let ron =
        ron::Options::default().with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME);
    for f in files {
        let t = std::fs::read_to_string(&f).unwrap();
        let v: Vessel = match ron.from_str(&t) {
            Ok(v) => v,
            Err(e) => {
                println!("{f:?} {e}");
                continue;
            }
        };
        let Form::Measured(m) = v.form;
        match m.build() {
            Err(e) => println!("{:?}: {e}", f.file_name().unwrap()),
            Ok(a) => match a.tree.track(a.access, a.targets[0].place, 1.0) {
                Err(e) => println!("{:?}: TRACK {e}", f.file_name().unwrap()),
                Ok(t) => {
                    let ms = Measures::of(&a.tree, &t, &MeasureSettings::default()).unwrap();
                    let arch = ms.arch.unwrap();
                    println!(
                        "{:?}: {:.0} mm turning {:.0} deg arch {:?} {:.3} notes {}",
                        f.file_name().unwrap(),
                        t.length_mm(),
                        t.stations.last().unwrap().turning_rad.to_degrees(),
                        arch.arch_type,
                        arch.height_in_diameters,
                        a.values.len()
                    );
                    let k = t
                        .stations
                        .iter()
                        .max_by(|a, b| {
                            (a.curvature_per_mm * a.radius_mm)
                                .total_cmp(&(b.curvature_per_mm * b.radius_mm))
                        })
                        .unwrap();
                    println!(
                        "    worst {:.2} at {:.0} {}",
                        k.curvature_per_mm * k.radius_mm,
                        k.s_mm,
                        t.place_name(k.s_mm)
                    );
                    println!(
                        "    {}",
                        t.landmarks
                            .iter()
                            .map(|l| format!("{} {:.0}", l.name, l.s_mm))
                            .collect::<Vec<_>>()
                            .join(", ")
                    );
                    if let Some(n) = ms.neck {
                        println!("    neck {n:?}");
                    }
                }
            },
        }
    }
    let mut r = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    let mut why = std::collections::BTreeMap::new();
    for _ in 0..2000 {
        let m = Measurements::sampled(&mut r);
        let key = match m.build() {
            Err(e) => e.to_string().split(' ').next().unwrap().to_owned(),
            Ok(a) => match a.tree.track(a.access, a.targets[0].place, 1.0) {
                Err(e) => format!(
                    "track {} {:?}",
                    e.to_string()
                        .chars()
                        .filter(|c| !c.is_ascii_digit())
                        .collect::<String>(),
                    m.access
                ),
                Ok(_) => "ok".into(),
            },
        };
        *why.entry(key).or_insert(0) += 1;
    }
    println!("{why:#?}");
}
