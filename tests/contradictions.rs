//! Every contradiction in a device is found, named by its field, and told how to mend it.

use nestline::device::{
    Accessory, BalloonSpec, Basis, Cells, Coating, Designation, Device, DeviceBasis, DeviceClass,
    DeviceError, Knot, LumenKind, OcclusionBalloonSpec, Payload, RetrieverSpec, StentDesign,
    StentSpec, Tip,
};

fn basis() -> Basis {
    Basis::Assumed("made up for the test".to_owned())
}

fn knot(from_tip_mm: f64, outer_mm: f64, inner_mm: Option<f64>) -> Knot {
    Knot {
        from_tip_mm,
        outer_mm,
        inner_mm,
        stiffness_n_mm2: 10.0,
    }
}

fn device(class: DeviceClass, lumen: LumenKind, profile: Vec<Knot>) -> Device {
    let solid = matches!(lumen, LumenKind::Solid);
    Device {
        name: "a device".to_owned(),
        class,
        size: None,
        usable_length_mm: profile.last().map_or(900.0, |k| k.from_tip_mm),
        hub_length_mm: if solid { 0.0 } else { 50.0 },
        lumen,
        profile,
        diameter_tolerance_mm: 0.02,
        tip: Tip::Straight,
        outer_surface: Coating::Hydrophilic,
        inner_surface: (!solid).then_some(Coating::Ptfe),
        payload: None,
        basis: DeviceBasis {
            lengths: basis(),
            diameters: basis(),
            stiffness: basis(),
            tip_and_surface: basis(),
            payload: None,
        },
    }
}

fn carrying(mut device: Device, payload: Payload) -> Device {
    device.payload = Some(payload);
    device.basis.payload = Some(basis());
    device
}

fn guide() -> Device {
    let profile = vec![knot(0.0, 2.7, Some(2.2)), knot(900.0, 2.7, Some(2.2))];
    let mut guide = device(DeviceClass::Guide, LumenKind::Full, profile);
    guide.size = Some(Designation::CatheterFrench(8.0));
    guide
}

fn sheath() -> Device {
    let profile = vec![knot(0.0, 3.3, Some(2.8)), knot(110.0, 3.3, Some(2.8))];
    let mut sheath = device(DeviceClass::AccessSheath, LumenKind::Full, profile);
    sheath.size = Some(Designation::SheathFrench(8.0));
    sheath
}

fn wire() -> Device {
    let profile = vec![knot(0.0, 0.36, None), knot(2000.0, 0.36, None)];
    device(DeviceClass::Wire, LumenKind::Solid, profile)
}

fn exchange(class: DeviceClass) -> Device {
    device(
        class,
        LumenKind::RapidExchange {
            port_from_tip: 250.0,
        },
        vec![
            knot(0.0, 0.6, Some(0.43)),
            knot(250.0, 1.6, Some(0.43)),
            knot(250.0, 1.2, None),
            knot(1350.0, 1.2, None),
        ],
    )
}

fn stent_with(change: impl FnOnce(&mut StentSpec)) -> Device {
    let mut spec = StentSpec {
        design: StentDesign::Braided {
            wires: 24,
            wire_diameter_mm: 0.1,
            braid_angle_deg: 30.0,
            youngs_modulus_gpa: 206.0,
            poisson_ratio: 0.3,
        },
        free_diameter_mm: 8.0,
        free_length_mm: 40.0,
        nose_length_mm: 15.0,
    };
    change(&mut spec);
    carrying(exchange(DeviceClass::CarotidStent), Payload::Stent(spec))
}

fn braid(wires: u32, wire_mm: f64, angle_deg: f64, gpa: f64, poisson: f64) -> Device {
    stent_with(|s| {
        s.design = StentDesign::Braided {
            wires,
            wire_diameter_mm: wire_mm,
            braid_angle_deg: angle_deg,
            youngs_modulus_gpa: gpa,
            poisson_ratio: poisson,
        };
    })
}

fn cut(strut_mm: f64, cell_mm: f64, foreshortening_percent: f64) -> Device {
    stent_with(|s| {
        s.design = StentDesign::Cut {
            cells: Cells::Open,
            strut_thickness_mm: strut_mm,
            cell_length_mm: cell_mm,
            foreshortening_percent,
            radial_stiffness_n_per_mm2: 0.06,
            plateau_n_per_mm: 0.2,
        };
    })
}

fn balloon_with(change: impl FnOnce(&mut BalloonSpec)) -> Device {
    let mut spec = BalloonSpec {
        nominal_diameter_mm: 4.5,
        length_mm: 20.0,
        nose_length_mm: 5.0,
        nominal_pressure_atm: 8.0,
        rated_pressure_atm: 14.0,
        compliance_percent_per_atm: 0.9,
    };
    change(&mut spec);
    carrying(exchange(DeviceClass::Balloon), Payload::Balloon(spec))
}

fn retriever_with(change: impl FnOnce(&mut RetrieverSpec)) -> Device {
    let mut spec = RetrieverSpec {
        free_diameter_mm: 4.0,
        free_length_mm: 20.0,
        folded_length_mm: 34.0,
        vessel_from_mm: 2.0,
        vessel_to_mm: 4.0,
    };
    change(&mut spec);
    let mut device = wire();
    device.class = DeviceClass::Retriever;
    carrying(device, Payload::Retriever(spec))
}

fn occlusion_with(change: impl FnOnce(&mut OcclusionBalloonSpec)) -> Device {
    let mut spec = OcclusionBalloonSpec {
        largest_diameter_mm: 10.0,
        nose_length_mm: 4.0,
    };
    change(&mut spec);
    let mut device = guide();
    device.class = DeviceClass::BalloonGuide;
    carrying(device, Payload::OcclusionBalloon(spec))
}

fn filter(open_diameter_mm: f64) -> Device {
    let mut device = wire();
    device.class = DeviceClass::Filter;
    carrying(device, Payload::Filter { open_diameter_mm })
}

fn with(mut device: Device, change: impl FnOnce(&mut Device)) -> Device {
    change(&mut device);
    device
}

#[test]
fn property_sound_devices_have_no_findings() {
    for device in [
        guide(),
        sheath(),
        wire(),
        stent_with(|_| {}),
        cut(0.2, 5.0, 6.0),
        balloon_with(|_| {}),
        retriever_with(|_| {}),
        occlusion_with(|_| {}),
        filter(6.0),
    ] {
        assert_eq!(device.check(), [], "{:?}", device.class);
    }
}

/// Asserts that a single finding is reported, at this field and with this text in it.
fn only(device: &Device, field: &str, text: &str) {
    let findings = device.check();
    let told: Vec<String> = findings.iter().map(ToString::to_string).collect();
    assert_eq!(findings.len(), 1, "{field}: {told:?}");
    assert!(
        told[0].starts_with(&format!("{field}: ")),
        "{field}: {told:?}"
    );
    assert!(told[0].contains(text), "`{text}`: {told:?}");
}

#[test]
fn exact_profiles_that_contradict_themselves() {
    let profile = |lines: Vec<Knot>| with(guide(), |d| d.profile = lines);
    let k = |a: f64| knot(a, 2.7, Some(2.2));
    only(&profile(vec![]), "profile", "no lines");
    only(
        &profile(vec![k(10.0), k(900.0)]),
        "profile[0].from_tip",
        "start the profile at the tip",
    );
    only(
        &profile(vec![k(0.0), k(500.0), k(400.0), k(900.0)]),
        "profile[2].from_tip",
        "order the lines",
    );
    only(
        &profile(vec![k(0.0), k(400.0), k(400.0), k(400.0), k(900.0)]),
        "profile[3].from_tip",
        "third time",
    );
    only(
        &profile(vec![k(0.0), k(800.0)]),
        "profile[1].from_tip",
        "usable length is 900 mm",
    );
    only(
        &profile(vec![k(0.0), knot(900.0, 2.7, Some(2.7))]),
        "profile[1].inner",
        "a catheter has a wall",
    );
    only(
        &profile(vec![k(0.0), knot(900.0, 2.7, None)]),
        "profile[1].inner",
        "missing",
    );
    only(
        &with(guide(), |d| d.profile[1].stiffness_n_mm2 = f64::NAN),
        "profile[1].stiffness_n_mm2",
        "NaN",
    );
    only(
        &with(wire(), |d| d.profile[0].inner_mm = Some(0.2)),
        "profile[0].inner",
        "solid",
    );
}

#[test]
fn exact_ports_and_hubs_that_contradict_themselves() {
    let port = |mm: f64| {
        with(balloon_with(|_| {}), |d| {
            d.lumen = LumenKind::RapidExchange { port_from_tip: mm };
        })
    };
    let told = port(1400.0).check();
    assert!(
        told.iter().any(|e| e
            .to_string()
            .starts_with("lumen.port_from_tip: is 1400 mm on")),
        "{told:?}"
    );
    let told = port(240.0).check();
    assert!(
        told.iter()
            .any(|e| e.to_string().contains("profile has no line")),
        "{told:?}"
    );
    only(
        &with(balloon_with(|_| {}), |d| d.profile[0].inner_mm = None),
        "profile[0].inner",
        "between the tip and the rapid-exchange port",
    );
    only(
        &with(balloon_with(|_| {}), |d| d.profile[3].inner_mm = Some(0.43)),
        "profile[3].inner",
        "behind the rapid-exchange port",
    );
    only(
        &with(guide(), |d| d.hub_length_mm = 0.0),
        "hub_length",
        "take no rail outside",
    );
    only(
        &with(wire(), |d| d.hub_length_mm = 30.0),
        "hub_length",
        "torque clip",
    );
    only(
        &with(guide(), |d| d.diameter_tolerance_mm = 0.5),
        "diameter_tolerance",
        "one-sided",
    );
}

#[test]
fn exact_the_french_trap_is_explained() {
    // A sheath entered with a catheter's French: 8 Fr outside, so only 6.6 Fr fit inside.
    let mut wrong = sheath();
    wrong.profile = vec![knot(0.0, 2.7, Some(2.2)), knot(110.0, 2.7, Some(2.2))];
    only(&wrong, "size", "this may be a catheter's French");
    // A guide entered with a sheath's French: 8 Fr inside.
    let mut wrong = guide();
    wrong.profile = vec![knot(0.0, 3.3, Some(2.7)), knot(900.0, 3.3, Some(2.7))];
    only(&wrong, "size", "this may be a sheath's French");
    // The next French number does not pass for this one.
    let seven = with(guide(), |d| d.size = Some(Designation::CatheterFrench(7.0)));
    only(&seven, "size", "8.1 Fr");
    only(
        &with(guide(), |d| d.size = Some(Designation::SheathFrench(6.0))),
        "size",
        "only a sheath's French is what fits inside",
    );
    only(
        &with(sheath(), |d| {
            d.size = Some(Designation::CatheterFrench(10.0))
        }),
        "size",
        "write `SheathFrench`",
    );
}

#[test]
fn exact_classes_carry_and_hold_what_they_are() {
    let told = with(wire(), |d| d.class = DeviceClass::Retriever).check();
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(
        told[0].to_string().contains("carries Retriever"),
        "{told:?}"
    );
    let told = with(filter(6.0), |d| d.class = DeviceClass::Wire).check();
    assert!(
        told[0].to_string().contains("leave `payload` out"),
        "{told:?}"
    );
    only(
        &with(wire(), |d| d.class = DeviceClass::Microcatheter),
        "lumen",
        "write `Full`",
    );
    only(
        &with(guide(), |d| d.inner_surface = None),
        "inner_surface",
        "missing",
    );
    only(
        &with(wire(), |d| d.inner_surface = Some(Coating::Ptfe)),
        "inner_surface",
        "solid",
    );
    only(
        &with(filter(6.0), |d| d.basis.payload = None),
        "basis.payload",
        "missing",
    );
    only(
        &with(guide(), |d| {
            d.basis.lengths = Basis::FromMemory(" ".to_owned())
        }),
        "basis.lengths",
        "empty",
    );
    only(
        &with(guide(), |d| {
            d.basis.lengths = Basis::Measured(String::new())
        }),
        "basis.lengths",
        "empty",
    );
    only(&with(guide(), |d| d.name.clear()), "name", "plain words");
}

#[test]
fn exact_tips_that_cannot_be() {
    let tip =
        |length: f64, angle_deg: f64| with(guide(), |d| d.tip = Tip::Curved { length, angle_deg });
    only(&tip(0.0, 30.0), "tip.length", "above zero");
    only(&tip(950.0, 30.0), "tip.length", "bent stretch only");
    only(&tip(3.0, 180.0), "tip", "inside its own half width");
}

#[test]
fn exact_stents_that_contradict_themselves() {
    let design = |field: &str| format!("payload.design.{field}");
    only(&braid(23, 0.1, 30.0, 206.0, 0.3), &design("wires"), "even");
    only(
        &braid(24, 2.5, 30.0, 206.0, 0.3),
        &design("wire_diameter"),
        "crossings",
    );
    for angle_deg in [0.0, 90.0] {
        only(
            &braid(24, 0.1, angle_deg, 206.0, 0.3),
            &design("braid_angle_deg"),
            "above 0 and below 90",
        );
    }
    only(
        &braid(24, 0.1, 30.0, 0.0, 0.3),
        &design("youngs_modulus_gpa"),
        "above zero",
    );
    only(
        &braid(24, 0.1, 30.0, 206.0, 0.6),
        &design("poisson_ratio"),
        "0 to 0.5",
    );
    only(&cut(4.0, 5.0, 6.0), &design("strut_thickness"), "wall");
    only(&cut(0.2, 50.0, 6.0), &design("cell_length"), "one cell");
    only(
        &cut(0.2, 5.0, 100.0),
        &design("foreshortening_percent"),
        "below 100",
    );
    only(
        &stent_with(|s| s.free_diameter_mm = 1.5),
        "payload.free_diameter",
        "no wider than the device",
    );
    // 120 mm at rest are 236 mm loaded, and 251 mm with the nose: past the port at 250 mm.
    only(
        &stent_with(|s| s.free_length_mm = 120.0),
        "payload.free_length",
        "behind 250 mm of wire lumen",
    );
    assert_eq!(
        stent_with(|s| s.free_length_mm = 119.0).check(),
        [],
        "just before the port"
    );
}

#[test]
fn exact_balloons_filters_and_retrievers_that_contradict_themselves() {
    only(
        &balloon_with(|b| b.rated_pressure_atm = 6.0),
        "payload.rated_pressure_atm",
        "below the nominal pressure",
    );
    only(
        &balloon_with(|b| b.length_mm = 246.0),
        "payload.length",
        "behind 250 mm of wire lumen",
    );
    only(
        &balloon_with(|b| b.nominal_diameter_mm = 1.6),
        "payload.nominal_diameter",
        "no wider",
    );
    only(
        &balloon_with(|b| b.compliance_percent_per_atm = -1.0),
        "payload.compliance_percent_per_atm",
        "0 or more",
    );
    only(
        &occlusion_with(|b| b.largest_diameter_mm = 2.7),
        "payload.largest_diameter",
        "no wider",
    );
    only(
        &occlusion_with(|b| b.nose_length_mm = 900.0),
        "payload.nose_length",
        "from the tip to the balloon",
    );
    only(&filter(0.3), "payload.open_diameter", "no wider");
    only(
        &retriever_with(|r| r.folded_length_mm = 2000.0),
        "payload.folded_length",
        "without its pusher",
    );
    only(
        &retriever_with(|r| r.folded_length_mm = 19.0),
        "payload.folded_length",
        "grows longer",
    );
    only(
        &retriever_with(|r| r.vessel_from_mm = 4.5),
        "payload.vessel_from",
        "above `vessel_to`",
    );
    only(
        &retriever_with(|r| r.vessel_to_mm = 4.5),
        "payload.vessel_to",
        "would not touch the wall",
    );
}

#[test]
fn exact_all_findings_come_at_once() {
    let mut device = guide();
    device.name.clear();
    device.hub_length_mm = 0.0;
    device.profile[1].inner_mm = Some(3.0);
    device.inner_surface = None;
    let fields: Vec<String> = device
        .check()
        .into_iter()
        .map(|finding| match finding {
            DeviceError::Invalid { field, .. } => field,
            other => other.to_string(),
        })
        .collect();
    assert_eq!(
        fields,
        ["name", "hub_length", "profile[1].inner", "inner_surface"],
        "in the order of the fields"
    );
}

#[test]
fn exact_parts_that_contradict_themselves() {
    let clip = Accessory::Clip {
        name: "clip".to_owned(),
        length_mm: 30.0,
        grips_from_mm: 0.5,
        grips_to_mm: 0.4,
        basis: basis(),
    };
    let tool = Accessory::InsertionTool {
        name: "tool".to_owned(),
        length_mm: 100.0,
        inner_mm: 1.2,
        outer_mm: 1.2,
        basis: basis(),
    };
    let valve = Accessory::Valve {
        name: String::new(),
        length_mm: 0.0,
        passes_mm: 3.0,
        basis: basis(),
    };
    let told = |part: &Accessory| -> Vec<String> {
        part.check().iter().map(ToString::to_string).collect()
    };
    assert!(
        told(&clip)[0].starts_with("grips_to: "),
        "{:?}",
        told(&clip)
    );
    assert!(told(&tool)[0].starts_with("inner: "), "{:?}", told(&tool));
    assert_eq!(told(&valve).len(), 2, "{:?}", told(&valve));
}
