//! Which lengths of a person a way through the vessel is made of, and what each of them is known to.

use super::around::reading_mm;
use super::kept::{End, Stretch, route};
use super::ledger::{Origin, ValueNote};
use super::means::{Population, source};
use crate::geometry::{GeometryError, Place, Track, Tree};

/// Stations of one place, found in two ways, differ by rounding and by what ostia are kept to, mm.
const SAME_MM: f64 = 0.3;

/// Stretches that are drawn as one piece with their neighbours and lie nowhere on their own: the landmarks around.
const BETWEEN: [(&str, &str, &str); 2] = [
    ("petrous.vertical_length", "skull-base", "cavernous-start"),
    ("petrous.horizontal_length", "skull-base", "cavernous-start"),
];
/// The whole way from the groin to the arch where it was measured as one, and what its parts are called then.
const WHOLE: &str = "femoral.puncture_to_left_subclavian";

/// A length that a route is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct RouteLength {
    /// The field of the form (`common_carotid.length`).
    pub field: String,
    /// Its value, mm.
    pub value_mm: f64,
    /// One standard deviation of what it may be, mm: of the population it is the mean of, or of the reading.
    pub spread_mm: f64,
    /// What value and spread rest on.
    pub known: Known,
    /// Landmarks of the route that lie so much farther from the access as the length is longer; all others stay where
    /// they are.
    pub moves: Vec<String>,
}

/// What a length rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// Read off the person's own angiogram.
    Measured,
    /// The mean of people who were measured: how many, and who they were.
    Like {
        /// How many; mean and spread of a few are themselves known badly.
        people: f64,
        /// Who, as in `100 elderly CTs`; none where mean and spread are from memory.
        whom: Option<&'static str>,
    },
}

impl RouteLength {
    /// By how much a landmark moves with the length: 0 or 1.
    #[must_use]
    pub fn moves(&self, landmark: &str) -> f64 {
        match self.moves.iter().any(|name| name == landmark) {
            true => 1.0,
            false => 0.0,
        }
    }
}

/// The lengths that the way from an access to a target is made of, with what each is known to.
///
/// `track` is the route from `access` to `target` through `tree`; `lengths` and `values` are those of the
/// [`Anatomy`](super::Anatomy). Lengths without spread, which nobody has published one of, are left out.
///
/// # Errors
/// As [`Tree::track_with`] for the places and the ostia between them.
pub fn route_lengths(
    tree: &Tree,
    [access, target]: [Place; 2],
    track: &Track,
    lengths: &[Stretch],
    values: &[ValueNote],
) -> Result<Vec<RouteLength>, GeometryError> {
    let way = route(tree, access, target)?;
    let mut placed = Vec::new();
    for stretch in lengths {
        let end = match stretch.to {
            End::At(place) | End::Beyond(place) => way.locate(place),
            End::Along(mm) => way
                .extent(stretch.from.branch, stretch.from.at_mm, mm)
                .map(|extent| extent.1),
        };
        if let (Some(from_mm), Some(to_mm)) = (way.locate(stretch.from), end) {
            let against = matches!(stretch.to, End::At(to) if to.branch == stretch.from.branch && to.at_mm < stretch.from.at_mm);
            placed.push(Placed {
                field: &stretch.field,
                value_mm: stretch.entered_mm,
                from_mm,
                to_mm,
                against,
            });
        }
    }
    let station = |name: &str| track.landmark(name).ok();
    for (field, from, to) in BETWEEN {
        let value = number(values, field);
        if let (Some(value_mm), Some(from_mm), Some(to_mm)) = (value, station(from), station(to)) {
            placed.push(Placed {
                field,
                value_mm,
                from_mm,
                to_mm,
                against: false,
            });
        }
    }
    let shared_out = number(values, WHOLE).is_some();
    if shared_out {
        measured_whole(&mut placed, values);
    }
    let found = placed
        .iter()
        .map(|length| length.known(track, &placed, values));
    Ok(found.filter(|length| length.spread_mm > 0.0).collect())
}

/// A length and where it lies on the route.
#[derive(Debug, Clone, Copy)]
struct Placed<'a> {
    field: &'a str,
    value_mm: f64,
    from_mm: f64,
    to_mm: f64,
    /// The route runs along its vessel against the flow: places in it are counted from its far end.
    against: bool,
}

/// The number that was entered or assumed for a field.
fn number(values: &[ValueNote], field: &str) -> Option<f64> {
    let note = values.iter().find(|note| note.name == field)?;
    match note.value {
        super::NoteValue::Number(value) => Some(value),
        _ => None,
    }
}

/// Where the way from groin to arch was measured as a whole, its error is one, and parts it was shared out to have none.
fn measured_whole(placed: &mut Vec<Placed<'_>>, values: &[ValueNote]) {
    let is_part = |length: &Placed<'_>| {
        let note = values.iter().find(|note| note.name == length.field);
        length.field.starts_with("femoral.")
            && note.is_some_and(|note| note.origin != Origin::Measured)
    };
    let parts: Vec<Placed<'_>> = placed.iter().copied().filter(is_part).collect();
    let Some(near_mm) = parts.iter().map(Placed::near_mm).min_by(f64::total_cmp) else {
        return;
    };
    placed.retain(|length| !is_part(length));
    placed.push(Placed {
        field: WHOLE,
        value_mm: number(values, WHOLE).unwrap_or(0.0),
        from_mm: near_mm,
        to_mm: parts.iter().map(Placed::far_mm).fold(near_mm, f64::max),
        against: true,
    });
}

impl Placed<'_> {
    fn near_mm(&self) -> f64 {
        self.from_mm.min(self.to_mm)
    }

    fn far_mm(&self) -> f64 {
        self.from_mm.max(self.to_mm)
    }

    /// The lesion or the clot whose place or length it is: `lesions[0]`, `clot`.
    fn disease(&self) -> Option<&str> {
        let (owner, _) = self.field.split_once('.')?;
        (owner.starts_with("lesions[") || owner == "clot").then_some(owner)
    }

    fn known(&self, track: &Track, placed: &[Placed<'_>], values: &[ValueNote]) -> RouteLength {
        let note = values.iter().find(|note| note.name == self.field);
        let assumed = note.and_then(|note| match note.origin {
            Origin::Assumed { source } => Some((source, note.spread)),
            Origin::Measured => None,
        });
        let (known, spread_mm) = match assumed {
            Some((source, spread_mm)) => {
                let Population { people, whom } = source::population(source);
                (Known::Like { people, whom }, spread_mm)
            }
            None => (Known::Measured, reading_mm(self.value_mm)),
        };
        RouteLength {
            field: self.field.to_owned(),
            value_mm: self.value_mm,
            spread_mm,
            known,
            moves: self.moved(track, placed),
        }
    }

    /// The landmarks that lie beyond it.
    fn moved(&self, track: &Track, placed: &[Placed<'_>]) -> Vec<String> {
        let owned = diseases(track, placed);
        let owner = |landmark: &str| {
            let found = owned.iter().find(|d| landmark.starts_with(d.name.as_str()));
            found.map(|d| (d.owner, d.counted_from_mm))
        };
        let marks = track.landmarks.iter();
        let moved = marks.filter(|mark| match (self.disease(), owner(&mark.name)) {
            (Some(mine), Some((owner, _))) if owner == mine => self.shifts_own(mark.s_mm),
            (Some(_), _) => false,
            // what belongs to a lesion stays where it is counted from
            (None, Some((_, from_mm))) => self.shifts(from_mm),
            (None, None) => self.shifts(mark.s_mm),
        });
        moved.map(|mark| mark.name.clone()).collect()
    }

    /// Whether a place of the vessel at a station moves with a length of the vessel.
    fn shifts(&self, s_mm: f64) -> bool {
        let inside = s_mm > self.near_mm() + SAME_MM;
        s_mm >= self.far_mm() - SAME_MM || (self.against && inside)
    }

    /// Whether an end of a lesion moves with that lesion's own place or length.
    fn shifts_own(&self, s_mm: f64) -> bool {
        self.field.ends_with(".place") || self.shifts(s_mm)
    }
}

/// A lesion or clot of the form, what its landmarks are called, and the station its place is counted from.
struct Disease<'a> {
    owner: &'a str,
    name: String,
    counted_from_mm: f64,
}

fn diseases<'a>(track: &Track, placed: &[Placed<'a>]) -> Vec<Disease<'a>> {
    let places = placed.iter().filter(|p| p.field.ends_with(".place"));
    places
        .filter_map(|place| {
            let (owner, _) = place.field.split_once('.')?;
            let lesions = track.lesions.iter().map(|l| (&l.name, l.start_mm));
            let clots = track.clots.iter().map(|c| (&c.name, c.start_mm));
            let near = |(_, start_mm): &(&String, f64)| (start_mm - place.to_mm).abs() < 1.0;
            let (name, _) = lesions.chain(clots).find(near)?;
            let name = name.strip_suffix("-below-bifurcation").unwrap_or(name);
            Some(Disease {
                owner,
                name: name.to_owned(),
                counted_from_mm: place.from_mm,
            })
        })
        .collect()
}
