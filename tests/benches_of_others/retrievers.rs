//! Open retrievers, pulled back through models of the carotid.

use super::devices::BenchDevice;
use super::pose::{Parameters, Posed, Run, length_mm, tube};
use super::row::{Bench, Kind};
use nestline_physics::device::RetrieverSpec;
use nestline_physics::mechanics::{Containment, Drive, Moving, Surface, TubeStation};

/// A retriever by its free diameter, free and folded length, mm; what else it says is of no account here.
pub(super) const fn spec(
    [free_diameter_mm, free_length_mm, folded_length_mm]: [f64; 3],
) -> RetrieverSpec {
    RetrieverSpec {
        free_diameter_mm,
        free_length_mm,
        folded_length_mm,
        vessel_from_mm: 2.0,
        vessel_to_mm: free_diameter_mm,
    }
}

/// Two of the cabinet, the weaker and the stronger in a vessel of 3 mm, with the microcatheter each is made for.
const TWO: [(&str, &str, RetrieverSpec); 2] = [
    (
        "retriever-4x20-pusher-0145",
        "microcatheter-021-155",
        spec([4.0, 20.0, 34.0]),
    ),
    (
        "retriever-5x33-pusher-018",
        "microcatheter-021-155",
        spec([5.0, 33.0, 52.0]),
    ),
];

/// Microcatheters stop behind the open basket, mm: its struts come together over this length.
const BEHIND_MM: f64 = 12.0;

/// Neck and bends of this lumen (angle, degrees; radius, mm; direction, degrees), then a straight M1.
fn carotid(lumen_mm: f64, bends: &[(f64, f64, f64)]) -> Vec<Run> {
    let mut runs = vec![Run(80.0, 0.0, 0.0, lumen_mm)];
    for (turn_deg, radius_mm, roll_deg) in bends {
        runs.push(Run(
            radius_mm * turn_deg.to_radians(),
            *turn_deg,
            *roll_deg,
            lumen_mm,
        ));
        runs.push(Run(4.0, 0.0, 0.0, lumen_mm));
    }
    runs.push(Run(48.0, 0.0, 0.0, M1_MM));
    runs
}

/// Lumen of M1 in these models, mm.
const M1_MM: f64 = 3.0;

/// Outward force of an open basket with its tip there, N: over its length by the lumen it stands in.
fn outward_n(spec: &RetrieverSpec, tube: &[TubeStation], tip_mm: f64, length_mm: f64) -> f64 {
    let cell = |pair: &[TubeStation]| {
        let from_mm = pair[0].s_mm.max(tip_mm - length_mm);
        let within_mm = (pair[1].s_mm.min(tip_mm) - from_mm).max(0.0);
        within_mm * spec.outward_n_per_mm(pair[0].radius_mm + pair[1].radius_mm)
    };
    tube.windows(2).map(cell).sum()
}

/// Pull at the hub with the basket's tip there, N: the microcatheter is held behind the basket.
fn pull_n(which: usize, runs: &[Run], tip_mm: f64, with: Parameters) -> f64 {
    let (name, microcatheter, spec) = &TWO[which];
    let tube = tube(runs);
    let basket = BenchDevice::of_cabinet(name);
    let open_mm = spec.open_length_mm(M1_MM, 0.45).unwrap();
    let holds_n =
        with.struts_on_wall() * with.outward_factor * outward_n(spec, &tube, tip_mm, open_mm);
    // open it fills its vessel, as stiff as folded: assumed
    let stiffness_n_mm2 = basket.at(10.0).stiffness_n_mm2;
    let basket = basket.with_front(open_mm, 0.9 * M1_MM, stiffness_n_mm2);
    let behind_mm = tip_mm - open_mm - BEHIND_MM;
    let posed = Posed {
        tube,
        wall: Surface::Vessel,
        devices: vec![
            (
                BenchDevice::of_cabinet(microcatheter),
                Drive::Tip(behind_mm),
            ),
            (basket, Drive::Tip(tip_mm)),
        ],
        holds: vec![Containment::coaxial(1, 0)],
    };
    posed.hub_n(with, Moving::pulled(1).held_back_by_n(holds_n))
}

/// Pull where the basket was opened, and the most on its way out, N: by ratio between two devices.
fn pulls_n((lumen_mm, bends): &Model, with: Parameters) -> [f64; 2] {
    let runs = carotid(*lumen_mm, bends);
    let end = length_mm(&runs) - 2.0;
    let back = end - 70.0;
    let of = |which: usize| {
        let places = (0..6).map(|i| end - back * f64::from(i) / 5.0);
        let all: Vec<f64> = places
            .map(|tip_mm| pull_n(which, &runs, tip_mm, with))
            .collect();
        [all[0], all.iter().copied().fold(0.0, f64::max)]
    };
    let [a, b] = [of(0), of(1)];
    [(a[0] * b[0]).sqrt(), (a[1] * b[1]).sqrt()]
}

/// Lumen of neck and siphon, mm, and their bends.
type Model = (f64, &'static [(f64, f64, f64)]);

/// Bends of models: nearly straight, a usual siphon, the most tortuous.
const SIMPLE: [&[(f64, f64, f64)]; 3] = [
    &[],
    &[(45.0, 20.0, 0.0)],
    &[(60.0, 15.0, 0.0), (45.0, 15.0, 180.0)],
];
const SIPHON: &[(f64, f64, f64)] = &[(90.0, 8.0, 0.0), (120.0, 6.0, 180.0), (90.0, 6.0, 90.0)];
const TORTUOUS: &[(f64, f64, f64)] = &[
    (90.0, 6.0, 0.0),
    (150.0, 5.0, 180.0),
    (120.0, 5.0, 20.0),
    (90.0, 5.0, 90.0),
];
/// Lumens of neck and siphon in front of an M1 of 3 mm: the basket stands open as far as they let it.
const LUMENS_MM: [f64; 3] = [4.0, 3.5, 3.0];

/// Front Neurol 2024;15:1486738: removal from a simple and from the most tortuous model, two devices.
/// Kwak Y et al., Front Neurol 2022;13:964354: a lubricated model of a patient, three devices.
pub(super) fn retrievers() -> Vec<Bench> {
    const TWO_DEVICES: &str = "Front Neurol 2024;15:1486738";
    const THREE_DEVICES: &str = "Front Neurol 2022;13:964354";
    let bench = |(source, what), kind, published, model: fn(usize) -> Model, which: usize| Bench {
        source,
        what,
        kind,
        published,
        geometry: "model and devices assumed",
        find: Box::new(move |shape, with| pulls_n(&model(shape), with)[which]),
    };
    let siphon: fn(usize) -> Model = |shape| (LUMENS_MM[shape], SIPHON);
    vec![
        bench(
            (TWO_DEVICES, "retriever out of the simple model, N"),
            Kind::SetBy,
            [0.24, 0.37],
            |shape| (M1_MM, SIMPLE[shape]),
            0,
        ),
        bench(
            (TWO_DEVICES, "retriever out of the most tortuous model, N"),
            Kind::Force,
            [1.2, 1.6],
            |shape| (LUMENS_MM[shape], TORTUOUS),
            1,
        ),
        bench(
            (THREE_DEVICES, "retriever begins to move, N"),
            Kind::Force,
            [0.09, 0.33],
            siphon,
            0,
        ),
        bench(
            (THREE_DEVICES, "retriever, most on its way, N"),
            Kind::Force,
            [0.36, 0.80],
            siphon,
            1,
        ),
    ]
}
