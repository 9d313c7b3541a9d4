//! One row of the table: what was published, what we find, how far apart.

use super::pose::Parameters;

/// What a row may say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A force of a push or a pull, or how one grows from tip to hub.
    Force,
    /// A limit that the published forces stayed below: it can be broken, and says nothing about a ratio.
    Below,
    /// A parameter of ours was set by it: no test.
    SetBy,
    /// Suction: pressure and area, without friction.
    Suction,
    /// A length: held against its own spread, not against a widened one.
    Length,
}

/// A bench: what was published, and how we find the same.
pub(super) struct Bench {
    pub(super) source: &'static str,
    pub(super) what: &'static str,
    pub(super) kind: Kind,
    /// Least and most published.
    pub(super) published: [f64; 2],
    /// What of the bench is known, and what was assumed.
    pub(super) geometry: &'static str,
    /// Ours, of a shape: of three the one that is most like what the source tells comes second.
    pub(super) find: Box<dyn Fn(usize, Parameters) -> f64>,
}

/// A bench with what we find.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub(super) source: &'static str,
    pub(super) what: &'static str,
    pub(super) kind: Kind,
    pub(super) published: [f64; 2],
    geometry: &'static str,
    /// In the likely shape: least, usual, most.
    known: [f64; 3],
    /// Usual values over three shapes, least and most.
    shapes: [f64; 2],
}

/// Shape of three that is most like what the source tells.
const LIKELY: usize = 1;

impl Bench {
    pub(super) fn row(&self) -> Row {
        let known = Parameters::RANGE.map(|with| (self.find)(LIKELY, with));
        let others = [0, 2].map(|shape| (self.find)(shape, Parameters::USUAL));
        let usual = [others[0], known[1], others[1]];
        Row {
            source: self.source,
            what: self.what,
            kind: self.kind,
            published: self.published,
            geometry: self.geometry,
            known,
            shapes: [
                usual.into_iter().fold(f64::INFINITY, f64::min),
                usual.into_iter().fold(0.0, f64::max),
            ],
        }
    }

    /// Published over ours with these parameters, in the likely shape.
    pub(super) fn ratio(&self, with: Parameters) -> f64 {
        (self.published[0] * self.published[1]).sqrt() / (self.find)(LIKELY, with)
    }
}

impl Row {
    /// Middle of the published band, by ratio, over ours with usual values in the likely shape.
    pub(super) fn ratio(&self) -> f64 {
        (self.published[0] * self.published[1]).sqrt() / self.known[1]
    }

    /// Factor by which ours lies outside the published band; 1 inside.
    pub(super) fn off(&self) -> f64 {
        let [least, most] = self.published;
        let ours = self.known[1];
        let too_small = if self.kind == Kind::Below {
            1.0
        } else {
            least / ours
        };
        too_small.max(ours / most).max(1.0)
    }

    /// Whether ours lies in the published band, widened by a half either way where it is one of forces.
    pub(super) fn inside(&self) -> bool {
        match self.kind {
            Kind::Length => self.off() <= 1.0,
            _ => self.off() <= 1.5,
        }
    }

    /// Whether the published band meets what least and most friction and stiffness give.
    pub(super) fn in_range(&self) -> bool {
        let [least, _, most] = self.known;
        !(self.published[1] < least || self.published[0] > most)
    }

    pub(super) fn print(&self) {
        let [least, usual, most] = self.known;
        let [of_shapes, to_shapes] = self.shapes;
        let mark = match (self.kind, self.inside()) {
            (Kind::SetBy, _) => "set by it",
            (_, true) => "inside",
            (_, false) => "MISSED",
        };
        let published = match self.published {
            _ if self.kind == Kind::Below => format!("< {:.2}", self.published[1]),
            [a, b] if a < b => format!("{a:.2}-{b:.2}"),
            [a, _] => format!("{a:.2}"),
        };
        println!(
            "{:<45} {published:>11} {usual:>7.3} ({least:.3}-{most:.3}) {of_shapes:.3}-{to_shapes:.3} {:>5.2} {mark:<9} {}; {}",
            self.what,
            self.ratio(),
            self.source,
            self.geometry
        );
    }
}
