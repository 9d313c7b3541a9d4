//! Lesions and the clot, put onto the finished tree.

use super::super::{Clot, GeometryError, Lesion, LesionKind, stenosed_mm};
use super::draft::{Draft, refuse};
use super::form::{ClotPlace, LesionForm, LesionPlace, Measurements, WallDisease};
use super::head::Head;
use super::means::fixed;
use super::pen::diameter_mm;

/// A lesion's stretch on one branch, mm.
struct Stretch {
    branch: usize,
    start_mm: f64,
    length_mm: f64,
}

/// Puts one lesion onto the tree; one that crosses the bifurcation becomes two.
pub(super) fn lesion(
    form: &Measurements,
    index: usize,
    draft: &mut Draft,
    common_carotid: usize,
    head: &Head,
    skull_base_mm: f64,
) -> Result<(), GeometryError> {
    let entered = &form.lesions[index];
    let field = |name: &str| format!("lesions[{index}].{name}");
    if entered.length <= 0.0 {
        return Err(refuse(
            field("length"),
            format!("{} mm", entered.length),
            "above 0",
            "enter the length of the narrowed stretch",
        ));
    }
    let carotid_mm = draft.length_mm(common_carotid);
    let origin_mm = landmark_mm(draft, "common-carotid-origin");
    let place_field = field("place");
    let (default_name, (counted_from, base_mm), above_mm, branch, room_from_mm, room_to_mm) =
        match entered.place {
            LesionPlace::Neck { above_bifurcation } => (
                "neck-lesion",
                ((common_carotid, carotid_mm), 0.0),
                above_bifurcation,
                head.internal_carotid,
                origin_mm - carotid_mm,
                skull_base_mm,
            ),
            LesionPlace::CommonCarotid { above_origin } => (
                "common-carotid-lesion",
                ((common_carotid, origin_mm), origin_mm),
                above_origin,
                common_carotid,
                origin_mm,
                carotid_mm,
            ),
            LesionPlace::Intracranial { above_skull_base } => (
                "intracranial-lesion",
                ((head.internal_carotid, skull_base_mm), skull_base_mm),
                above_skull_base,
                head.internal_carotid,
                skull_base_mm,
                draft.length_mm(head.internal_carotid),
            ),
            LesionPlace::M1 { beyond_terminus } => (
                "m1-lesion",
                ((head.m1, 0.0), 0.0),
                beyond_terminus,
                head.m1,
                0.0,
                draft.length_mm(head.m1),
            ),
        };
    let above = draft.allowances.length(&place_field, above_mm);
    let length = draft.allowances.length(&field("length"), entered.length);
    let start_mm = base_mm + above.drawn_mm;
    let end_mm = start_mm + length.drawn_mm;
    let slack_mm = draft.allowances.slack_mm();
    if start_mm < room_from_mm - slack_mm || end_mm > room_to_mm + slack_mm {
        return Err(refuse(
            field("length"),
            format!("{:.0} mm from {start_mm:.0} mm", entered.length),
            format!("inside its vessel, {room_from_mm:.0} to {room_to_mm:.0} mm"),
            "move or shorten the lesion, or lengthen the vessel",
        ));
    }
    let start_mm = start_mm.max(room_from_mm);
    let end_mm = end_mm.min(room_to_mm);
    let stretches = if start_mm < 0.0 {
        let below = Stretch {
            branch: common_carotid,
            start_mm: carotid_mm + start_mm,
            length_mm: (end_mm - start_mm).min(-start_mm),
        };
        let above = Stretch {
            branch: head.internal_carotid,
            start_mm: 0.0,
            length_mm: end_mm,
        };
        if end_mm > 0.0 {
            vec![below, above]
        } else {
            vec![below]
        }
    } else {
        vec![Stretch {
            branch,
            start_mm,
            length_mm: end_mm - start_mm,
        }]
    };
    let first = stretches
        .first()
        .map_or((branch, start_mm), |s| (s.branch, s.start_mm));
    let last = stretches
        .last()
        .map_or((branch, end_mm), |s| (s.branch, s.start_mm + s.length_mm));
    draft.beyond(place_field, counted_from, first, above.entered_mm);
    draft.stretch(field("length"), first, last, length.entered_mm);

    check_kind(entered, index)?;
    let collapsed = entered.near_occlusion || entered.nascet_percent >= 100.0;
    if collapsed && entered.reference.is_none() {
        return Err(refuse(
            field("reference"),
            "left out",
            "entered for an occlusion or a near-occlusion",
            "enter the diameter of the normal distal artery, for example of the other side",
        ));
    }
    // NASCET refers to the distal internal carotid; elsewhere to the vessel's own distal lumen
    let reference_at_mm = match entered.place {
        LesionPlace::Neck { .. } => skull_base_mm,
        _ => end_mm,
    };
    let derived_mm = diameter_mm(&draft.tree.branches[branch].lumen, reference_at_mm);
    let ledger = &mut draft.ledger;
    let reference_mm = ledger.mm(
        field("reference"),
        entered.reference,
        fixed(derived_mm, "derived: lumen of the vessel beyond the lesion"),
    );
    let measured = |value| (Some(value), fixed(value, ""));
    let (value, mean) = measured(entered.length);
    ledger.mm(field("length"), value, mean);
    let (value, mean) = measured(entered.nascet_percent);
    ledger.number(field("nascet_percent"), "%", value, mean);
    if let Some(false_lumen_mm) = entered.false_lumen {
        let (value, mean) = measured(false_lumen_mm);
        ledger.mm(field("false_lumen"), value, mean);
    }
    let residual_mm = stenosed_mm(reference_mm, entered.nascet_percent);
    let healthy_mm = stretches.iter().fold(f64::INFINITY, |least, s| {
        let lumen = &draft.tree.branches[s.branch].lumen;
        least
            .min(diameter_mm(lumen, s.start_mm))
            .min(diameter_mm(lumen, s.start_mm + s.length_mm))
    });
    if residual_mm > healthy_mm {
        return Err(refuse(
            field("nascet_percent"),
            format!(
                "{:.0} % of {reference_mm:.1} mm, a lumen of {residual_mm:.1} mm",
                entered.nascet_percent
            ),
            format!("a lumen below the healthy one, {healthy_mm:.1} mm"),
            "enter the percentage against the distal artery, or widen the vessel",
        ));
    }

    let name = entered.name.clone().unwrap_or_else(|| {
        let same = form.lesions[..index]
            .iter()
            .filter(|l| l.name.is_none() && same_vessel(&l.place, &entered.place))
            .count();
        match same {
            0 => default_name.to_owned(),
            n => format!("{default_name}-{}", n + 1),
        }
    });
    let torn = entered.kind != WallDisease::Plaque;
    let (first, last) = (&stretches[0], &stretches[stretches.len() - 1]);
    if torn {
        draft.mark(format!("{name}-entry"), first.branch, first.start_mm);
        draft.mark(
            format!("{name}-re-entry"),
            last.branch,
            last.start_mm + last.length_mm,
        );
    }
    let parts = stretches.len();
    for stretch in stretches {
        let below = parts == 2 && stretch.branch == common_carotid;
        draft.tree.lesions.push(Lesion {
            name: if below {
                format!("{name}-below-bifurcation")
            } else {
                name.clone()
            },
            kind: match entered.kind {
                WallDisease::Plaque => LesionKind::Plaque,
                WallDisease::Dissection => LesionKind::Dissection,
                WallDisease::PlaqueAndDissection => LesionKind::PlaqueAndDissection,
            },
            branch: stretch.branch,
            start_mm: stretch.start_mm,
            length_mm: stretch.length_mm,
            nascet_percent: entered.nascet_percent,
            reference_mm,
            false_lumen_mm: entered.false_lumen,
            rigid: entered.calcified_ring,
        });
    }
    Ok(())
}

fn landmark_mm(draft: &Draft, name: &str) -> f64 {
    draft
        .tree
        .landmarks
        .iter()
        .find(|l| l.name == name)
        .map_or(0.0, |l| l.place.at_mm)
}

fn same_vessel(a: &LesionPlace, b: &LesionPlace) -> bool {
    std::mem::discriminant(a) == std::mem::discriminant(b)
}

fn check_kind(entered: &LesionForm, index: usize) -> Result<(), GeometryError> {
    let torn = entered.kind != WallDisease::Plaque;
    match (torn, entered.false_lumen) {
        (true, None) => Err(refuse(
            format!("lesions[{index}].false_lumen"),
            "left out",
            "entered for a dissection",
            "enter the diameter of the false lumen",
        )),
        (false, Some(mm)) => Err(refuse(
            format!("lesions[{index}].false_lumen"),
            format!("{mm:.1} mm"),
            "left out for plaque alone",
            "set kind: Dissection or PlaqueAndDissection, or leave it out",
        )),
        _ => Ok(()),
    }
}

/// Puts the clot onto the tree; it must end before the vessels do.
pub(super) fn clot(
    form: &Measurements,
    draft: &mut Draft,
    head: &Head,
) -> Result<(), GeometryError> {
    let Some(entered) = form.clot else {
        return Ok(());
    };
    let m1_mm = draft.length_mm(head.m1);
    let trunk_mm = draft
        .length_mm(head.m2_inferior)
        .min(draft.length_mm(head.m2_superior));
    let ica_mm = draft.length_mm(head.internal_carotid);
    let (branch, base_mm, beyond_base_mm, branch_mm, beyond_mm) = match entered.place {
        ClotPlace::Ica { before_terminus } => (
            head.internal_carotid,
            ica_mm,
            -before_terminus,
            ica_mm,
            m1_mm + trunk_mm,
        ),
        ClotPlace::M1 { beyond_terminus } => (head.m1, 0.0, beyond_terminus, m1_mm, trunk_mm),
        ClotPlace::M2Superior { beyond_division } => (
            head.m2_superior,
            0.0,
            beyond_division,
            draft.length_mm(head.m2_superior),
            0.0,
        ),
        ClotPlace::M2Inferior { beyond_division } => (
            head.m2_inferior,
            0.0,
            beyond_division,
            draft.length_mm(head.m2_inferior),
            0.0,
        ),
    };
    let place = draft.allowances.length("clot.place", beyond_base_mm);
    let length = draft.allowances.length("clot.length", entered.length);
    let slack_mm = draft.allowances.slack_mm();
    let start_mm = base_mm + place.drawn_mm;
    if !(-slack_mm..branch_mm + slack_mm).contains(&start_mm) {
        return Err(refuse(
            "clot.place",
            format!("{start_mm:.0} mm along its vessel"),
            format!("from 0 to less than {branch_mm:.0} mm"),
            "name the vessel that the clot starts in",
        ));
    }
    let start_mm = start_mm.clamp(0.0, branch_mm);
    let room_mm = branch_mm + beyond_mm - start_mm;
    if entered.length <= 0.0 || length.drawn_mm > room_mm + slack_mm {
        return Err(refuse(
            "clot.length",
            format!("{:.0} mm", entered.length),
            format!("above 0 and at most {room_mm:.0} mm, where the target ends"),
            "shorten the clot or lengthen the M2 trunks",
        ));
    }
    draft.ledger.mm(
        "clot.length",
        Some(entered.length),
        fixed(entered.length, ""),
    );
    draft.beyond(
        "clot.place",
        (branch, base_mm),
        (branch, start_mm),
        place.entered_mm,
    );
    draft.along(
        "clot.length",
        (branch, start_mm),
        length.drawn_mm,
        length.entered_mm,
    );
    draft.tree.clots.push(Clot {
        name: "clot".into(),
        branch,
        start_mm,
        length_mm: length.drawn_mm,
    });
    Ok(())
}
