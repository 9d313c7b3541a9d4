//! Length left outside, step by step, one narrow plot for each device.

use super::Sheet;
use super::svg::{Figure, Scale, WIDTH, cut, num, points, staying, step_axis};
use super::text::fixed;
use crate::rehearsal::DeviceRow;
use maud::{Markup, html};

const ROW: f64 = 46.0;
const LEFT: f64 = 112.0;
const RIGHT: f64 = 150.0;
const TOP: f64 = 8.0;

/// Length left outside of each device over the steps.
#[expect(clippy::cast_precision_loss, reason = "a script has some dozen steps")]
pub(super) fn figure(sheet: &Sheet<'_>) -> Figure {
    let steps = &sheet.outcome().steps;
    let count = steps.len().max(2);
    let scale = Scale::new((1.0, count as f64), (LEFT + 8.0, WIDTH - RIGHT - 8.0));
    let devices: Vec<(usize, Vec<(usize, &DeviceRow)>)> = (0..sheet.plan.devices.len())
        .map(|i| {
            let name = &sheet.plan.devices[i].name;
            let rows = steps.iter().filter_map(|s| {
                let row = s.devices.iter().find(|d| d.name == *name)?;
                Some((s.number, row))
            });
            (i, rows.collect())
        })
        // an access sheath is meant to go in to its hub
        .filter(|(_, rows): &(usize, Vec<(usize, &DeviceRow)>)| {
            rows.iter().any(|(_, row)| row.outside_mm.abs() > 0.5)
        })
        .collect();
    let bottom = TOP + ROW * devices.len() as f64;
    let stripes = |width: f64| {
        html! {
            @for line in (0..devices.len()).step_by(2) {
                rect.row x="0" y=(num(TOP + ROW * line as f64)) width=(num(width)) height=(num(ROW)) {}
            }
        }
    };
    let names = html! {
        (stripes(LEFT - 2.0))
        @for (line, (i, _)) in devices.iter().enumerate() {
            @let y = TOP + ROW * line as f64;
            rect class={ "d" (i) } x="0" y=(num(y + 10.0)) width="5" height=(num(ROW - 20.0)) {}
            text.b x="10" y=(num(y + 0.5 * ROW + 4.0)) { (cut(&sheet.plan.devices[*i].name, LEFT - 14.0)) }
        }
    };
    let body = html! {
        (stripes(WIDTH))
        (step_axis(&scale, count, TOP, bottom))
        text.t.mid x=(num(f64::midpoint(LEFT, WIDTH - RIGHT))) y=(num(bottom + 31.0)) { "step" }
        @for (line, (i, rows)) in devices.iter().enumerate() {
            (device(sheet, *i, rows, &scale, TOP + ROW * line as f64))
        }
        (staying(LEFT - 2.0, TOP, bottom, &names))
    };
    Figure {
        name: "outside".into(),
        title: "Length left outside, step by step".into(),
        words: "One row for each device with a hub or a free end outside: how much of it is left outside the hub it enters through. Each row has its own scale from nought; the dashed line is what a hand needs to hold a wire or pusher. The least is written at the right.".into(),
        size: (WIDTH, bottom + 38.0),
        body,
    }
}

#[expect(clippy::cast_precision_loss, reason = "a script has some dozen steps")]
fn device(
    sheet: &Sheet<'_>,
    i: usize,
    rows: &[(usize, &DeviceRow)],
    scale: &Scale,
    top: f64,
) -> Markup {
    let most_mm = rows.iter().map(|r| r.1.outside_mm).fold(1.0, f64::max);
    let least_mm = rows.iter().map(|r| r.1.outside_mm).fold(0.0, f64::min);
    let up = Scale::new((least_mm, most_mm), (top + ROW - 6.0, top + 7.0));
    let device = &sheet.plan.devices[i];
    let grip_mm = device.grip_mm(&sheet.plan.rules);
    let least = rows
        .iter()
        .min_by(|a, b| a.1.margin_mm.total_cmp(&b.1.margin_mm));
    let half = 0.5 * (scale.at(2.0) - scale.at(1.0));
    html! {
        line.axis x1=(num(scale.at(1.0) - half)) x2=(num(scale.places.1 + half)) y1=(num(up.at(0.0))) y2=(num(up.at(0.0))) {}
        @if grip_mm > 0.0 && grip_mm < most_mm {
            line.limit x1=(num(scale.at(1.0) - half)) x2=(num(scale.places.1 + half)) y1=(num(up.at(grip_mm))) y2=(num(up.at(grip_mm))) {}
        }
        @for run in runs(rows) {
            @let line = run.iter().flat_map(|(step, row)| {
                let (x, y) = (scale.at(*step as f64), up.at(row.outside_mm));
                [(x - half, y), (x + half, y)]
            }).collect::<Vec<_>>();
            @let floor = up.at(0.0);
            polygon class={ "d" (i) } fill-opacity="0.25" points={
                (points(line.iter().copied()))
                @if let (Some(first), Some(last)) = (line.first(), line.last()) {
                    " " (points([(last.0, floor), (first.0, floor)]))
                }
            } {}
            polyline class={ "line s" (i) } points=(points(line.iter().copied())) {}
        }
        @if let Some((step, row)) = least {
            @let x = scale.at(*step as f64);
            circle.tip cx=(num(x)) cy=(num(up.at(row.outside_mm))) r="3.2" {}
            text x=(num(WIDTH - RIGHT + 6.0)) y=(num(top + 0.5 * ROW - 2.0)) data-mm=(num(row.outside_mm)) data-kind="l" data-before="least " {
                "least " (fixed(row.outside_mm, 0)) " mm"
            }
            text.t x=(num(WIDTH - RIGHT + 6.0)) y=(num(top + 0.5 * ROW + 13.0)) { "at step " (step) }
        }
    }
}

/// Stretches of steps without a gap.
fn runs<'a>(rows: &[(usize, &'a DeviceRow)]) -> Vec<Vec<(usize, &'a DeviceRow)>> {
    let mut out: Vec<Vec<(usize, &DeviceRow)>> = Vec::new();
    for (step, row) in rows {
        match out.last_mut() {
            Some(run) if run.last().is_some_and(|(last, _)| last + 1 == *step) => {
                run.push((*step, row));
            }
            _ => out.push(vec![(*step, row)]),
        }
    }
    out
}
