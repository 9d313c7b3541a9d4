//! The cabinet: every file of `scenes/devices` is a sound generic device or part.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a helper that fails fails the test"
)]

use nestline::device::{
    Accessory, Basis, Device, DeviceClass, Fit, FitRules, Verdict, coaxial, side_by_side,
};
use std::collections::BTreeMap;
use std::path::Path;

fn text(path: &Path) -> String {
    #[expect(
        clippy::disallowed_methods,
        reason = "a test reads the files it is about"
    )]
    std::fs::read_to_string(path).unwrap()
}

/// File name without its ending, and contents.
fn files() -> BTreeMap<String, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenes/devices");
    std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "ron"))
        .map(|path| {
            let stem = path.file_stem().unwrap().to_str().unwrap().to_owned();
            (stem, text(&path))
        })
        .collect()
}

/// The first word outside comments.
fn root(text: &str) -> &str {
    text.lines()
        .map(str::trim)
        .find(|line| !line.is_empty() && !line.starts_with("//"))
        .and_then(|line| line.split('(').next())
        .unwrap_or("")
}

fn read<T: serde::de::DeserializeOwned>(is_wanted: fn(&str) -> bool) -> BTreeMap<String, T> {
    let options =
        ron::Options::default().with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME);
    files()
        .into_iter()
        .filter(|(_, text)| is_wanted(root(text)))
        .map(|(stem, text)| match options.from_str(&text) {
            Ok(item) => (stem, item),
            Err(error) => panic!("{stem}: {error}"),
        })
        .collect()
}

fn devices() -> BTreeMap<String, Device> {
    read(|root| root == "Device")
}

fn parts() -> BTreeMap<String, Accessory> {
    read(|root| root != "Device")
}

#[test]
fn property_every_file_is_a_sound_device_or_part() {
    for (stem, device) in devices() {
        assert_eq!(device.check(), [], "{stem}");
    }
    for (stem, part) in parts() {
        assert_eq!(part.check(), [], "{stem}");
    }
}

#[test]
fn exact_a_contradiction_in_a_file_is_found() {
    let mut guide = devices().remove("guide-8f-90").unwrap();
    guide.profile[1].inner_mm = Some(2.9);
    let found = guide.check();
    assert!(
        found
            .iter()
            .any(|e| e.to_string().starts_with("profile[1].inner")),
        "{found:?}"
    );
}

#[test]
fn property_every_class_is_there() {
    use DeviceClass as C;
    let mut found: BTreeMap<DeviceClass, usize> = BTreeMap::new();
    for device in devices().values() {
        *found.entry(device.class).or_default() += 1;
    }
    let wanted = [
        (C::AccessSheath, 3),
        (C::Dilator, 3),
        (C::LongSheath, 3),
        (C::Guide, 4),
        (C::BalloonGuide, 3),
        (C::Selector, 2),
        (C::Aspiration, 5),
        (C::Microcatheter, 3),
        (C::Wire, 9),
        (C::Retriever, 5),
        (C::CarotidStent, 6),
        (C::Balloon, 8),
        (C::Filter, 1),
    ];
    assert_eq!(found, BTreeMap::from(wanted), "devices by class");
    assert_eq!(parts().len(), 6, "valves, clips, insertion tool, extension");
    let mut names: Vec<String> = devices().values().map(|d| d.name.clone()).collect();
    names.extend(parts().values().map(|p| p.name().to_owned()));
    let all = names.len();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), all, "names are unique");
}

/// Ranges of outer diameter and lumen by class, mm: typical sizes of the trade, from memory.
#[test]
fn property_sizes_lie_in_the_range_of_their_class() {
    use DeviceClass as C;
    let mut looked_at = 0;
    for (stem, device) in devices() {
        let (outer, inner) = match device.class {
            C::LongSheath => (2.60..=2.80, 2.21..=2.31),
            C::Guide if stem.contains("-8f-") => (2.66..=2.77, 2.18..=2.31),
            C::Guide => (2.00..=2.10, 1.78..=1.81),
            C::BalloonGuide if stem.contains("-8f-") => (2.67..=2.90, 1.98..=2.16),
            C::BalloonGuide => (2.95..=3.10, 2.13..=2.29),
            C::Microcatheter => (0.57..=1.03, 0.41..=0.69),
            C::Aspiration => (1.80..=2.79, 1.47..=2.24),
            C::Balloon => (0.55..=1.25, 0.38..=0.48),
            C::CarotidStent => (0.6..=2.0, 0.38..=0.48),
            _ => continue,
        };
        looked_at += 1;
        for knot in &device.profile {
            let found = knot.outer_mm;
            assert!(outer.contains(&found), "{stem}: outer {found}");
            if let Some(found) = knot.inner_mm {
                assert!(inner.contains(&found), "{stem}: inner {found}");
            }
        }
    }
    assert_eq!(looked_at, 32, "files with a stated range");
}

/// The tightest fit of a device brought through another from hub to tip, and as far beyond it as its own
/// hub or end lets it.
fn brought_through(inner: &Device, outer: &Device, rules: &FitRules) -> Option<Fit> {
    let beyond_mm = inner.usable_length_mm - outer.whole_length_mm();
    let positions = (1..=400).map(|i| {
        let share = f64::from(i) / 400.0;
        share * (outer.usable_length_mm + beyond_mm) - outer.usable_length_mm
    });
    positions
        .filter_map(|tip_mm| coaxial(inner, tip_mm, outer, 0.0, rules))
        .min_by(|a, b| a.clearance_mm.total_cmp(&b.clearance_mm))
}

/// A rail beside the shaft of a rapid-exchange device, up to the port; each with its tip, mm.
fn beside(
    exchange: (&Device, f64),
    rail: (&Device, f64),
    (guide, tip_mm): (&Device, f64),
    rules: &FitRules,
) -> Option<Fit> {
    let port_mm = exchange.1 - exchange.0.port_from_tip_mm()?;
    let rear_mm = tip_mm - guide.usable_length_mm;
    side_by_side(&[exchange, rail], guide, tip_mm, rear_mm, port_mm, rules)
}

#[test]
fn exact_the_default_stack_nests() {
    let (devices, parts, rules) = (devices(), parts(), FitRules::default());
    let get = |stem: &str| &devices[stem];
    for (inner, outer) in [
        ("guide-8f-90", "access-sheath-8f-11"),
        ("dilator-8f", "access-sheath-8f-11"),
        ("wire-035-180-standard", "dilator-8f"),
        ("selector-125-simple-curve", "guide-8f-90"),
        ("wire-035-180-standard", "selector-125-simple-curve"),
        ("aspiration-071-132", "guide-8f-90"),
        ("microcatheter-021-155", "guide-8f-90"),
        ("microcatheter-021-155", "aspiration-071-132"),
        ("wire-014-200-soft", "microcatheter-021-155"),
        ("retriever-4x20-pusher-0145", "microcatheter-021-155"),
        ("retriever-4x20-pusher-0145", "aspiration-071-132"),
        ("stent-braided-8x40-5f-rx", "guide-8f-90"),
        ("balloon-4.5x20-rx", "guide-8f-90"),
    ] {
        let fit = brought_through(get(inner), get(outer), &rules).unwrap();
        assert_eq!(fit.verdict, Verdict::Fits, "{}", fit.reason);
    }
    let (pusher, guide) = (get("retriever-4x20-pusher-0145"), get("guide-8f-90"));
    for stem in ["stent-braided-8x40-5f-rx", "balloon-4.5x20-rx"] {
        let exchange = (get(stem), 1000.0);
        let beside = beside(exchange, (pusher, 1100.0), (guide, 840.0), &rules).unwrap();
        assert_eq!(beside.verdict, Verdict::Fits, "{}", beside.reason);
    }
    // Parts: valves let everything of the stack through, the clip grips both thin rails, the
    // insertion tool takes the folded retriever.
    let valve = &parts["valve-rotating-y"];
    for stem in [
        "aspiration-071-132",
        "stent-braided-8x40-5f-rx",
        "selector-125-simple-curve",
    ] {
        let device = get(stem);
        let fit = valve.fit(device, 0.0, device.usable_length_mm, &rules);
        assert_eq!(fit.verdict, Verdict::Fits, "{}", fit.reason);
    }
    for stem in ["wire-014-200-soft", "retriever-4x20-pusher-0145"] {
        let device = get(stem);
        let rear = device.usable_length_mm;
        let fit = parts["torque-clip-014"].fit(device, rear - 300.0, rear, &rules);
        assert_eq!(fit.verdict, Verdict::Fits, "{}", fit.reason);
        let thick = parts["torque-clip-035"].fit(device, rear - 300.0, rear, &rules);
        assert_eq!(thick.verdict, Verdict::DoesNotFit, "{}", thick.reason);
    }
    let tool = &parts["insertion-tool"];
    let fit = tool.fit(pusher, 0.0, 60.0, &rules);
    assert_eq!(fit.verdict, Verdict::Fits, "{}", fit.reason);
}

#[test]
fn exact_the_traps_of_the_cabinet_are_traps() {
    let (devices, rules) = (devices(), FitRules::default());
    let get = |stem: &str| &devices[stem];
    for (inner, outer, verdict) in [
        (
            "retriever-5x33-pusher-018",
            "microcatheter-021-155",
            Verdict::Fits,
        ),
        (
            "retriever-5x33-pusher-018",
            "microcatheter-017-150",
            Verdict::DoesNotFit,
        ),
        ("wire-014-300-support", "balloon-4.5x20-rx", Verdict::Fits),
        ("aspiration-074-132", "guide-8f-90", Verdict::Tight),
        ("aspiration-088-110", "guide-8f-90", Verdict::DoesNotFit),
        (
            "aspiration-071-132",
            "balloon-guide-8f-95",
            Verdict::DoesNotFit,
        ),
        ("guide-8f-90", "access-sheath-6f-11", Verdict::DoesNotFit),
    ] {
        let fit = brought_through(get(inner), get(outer), &rules).unwrap();
        assert_eq!(fit.verdict, verdict, "{}", fit.reason);
    }
    // The wire lumen is made for 0.014 in. The open basket lies ahead of the tip.
    for (rail, verdict) in [
        ("retriever-3x20-pusher-014", Verdict::Fits),
        ("retriever-4x20-pusher-0145", Verdict::Tight),
        ("retriever-4x40-pusher-0155", Verdict::DoesNotFit),
        ("retriever-5x33-pusher-018", Verdict::DoesNotFit),
    ] {
        let stent = get("stent-braided-8x40-5f-rx");
        let fit = coaxial(get(rail), 1100.0, stent, 1000.0, &rules).unwrap();
        assert_eq!(fit.verdict, verdict, "{}", fit.reason);
        let off = (fit.at.from_tip_mm - 350.0).abs();
        assert!(off < 1e-9, "met first at the port: {:?}", fit.at);
    }
    let pusher = get("retriever-4x20-pusher-0145");
    for (stent, guide, verdict) in [
        (
            "stent-braided-8x40-5f-rx",
            "balloon-guide-8f-95",
            Verdict::DoesNotFit,
        ),
        (
            "stent-cut-open-9x40-6f-full-shaft-rx",
            "guide-8f-90",
            Verdict::DoesNotFit,
        ),
        ("stent-cut-open-8x40-6f-rx", "guide-8f-90", Verdict::Fits),
    ] {
        let (exchange, guide) = ((get(stent), 1000.0), (get(guide), 750.0));
        let fit = beside(exchange, (pusher, 1100.0), guide, &rules).unwrap();
        assert_eq!(fit.verdict, verdict, "{}", fit.reason);
    }
}

#[test]
fn published_the_shaft_of_a_solid_wire_follows_from_its_modulus() {
    // EI = E pi d^4 / 64. 48 GPa: Advanced Materials & Processes, October 2019, p. 49; flexural
    // moduli of 0.035 in wires: Harrison et al., J Endovasc Ther 18, 797 (2011); steel 193 GPa
    // from memory.
    for (stem, gpa) in [
        ("wire-014-200-soft", 48.0),
        ("wire-014-200-support", 193.0),
        ("wire-035-180-standard", 9.5),
        ("wire-035-180-stiff", 17.0),
        ("wire-035-260-exchange", 29.2),
        ("retriever-4x20-pusher-0145", 48.0),
    ] {
        let wire = &devices()[stem];
        let shaft = wire.section_at(wire.usable_length_mm);
        let exact = gpa * 1e3 * std::f64::consts::PI * shaft.outer_mm.powi(4) / 64.0;
        let found = shaft.stiffness_n_mm2;
        assert!(
            (found / exact - 1.0).abs() < 0.005,
            "{stem}: {found} against {exact}"
        );
    }
}

#[test]
fn property_nothing_claims_to_be_published_without_a_year() {
    for (stem, device) in devices() {
        let b = &device.basis;
        let all = [&b.lengths, &b.diameters, &b.stiffness, &b.tip_and_surface];
        for basis in all.into_iter().chain(b.payload.as_ref()) {
            if let Basis::Published(source) = basis {
                let has_year = (1950..2030).any(|year| source.contains(&year.to_string()));
                assert!(has_year, "{stem}: `{source}`");
            }
        }
    }
}
