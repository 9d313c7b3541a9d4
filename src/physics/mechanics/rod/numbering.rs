//! Which nodes share degrees of freedom, and how these are numbered: station by station, so that the
//! matrix is a narrow band.

use super::dof::{Dof, short};
use super::nodes::{Nodes, RodNodes};
use super::scene::{Container, End, MOST_RODS, Scene, StartSupport};
use super::sections::Sections;

/// Which rods share degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Sharing {
    /// All of them: the composite rod.
    All,
    /// Those whose gap, half the difference of the diameters, is below this, mm.
    TightFits(f64),
}

/// The unknowns of a layout.
#[derive(Debug, Clone, Default)]
pub(crate) struct Numbering {
    /// How many there are.
    pub(crate) unknowns: usize,
    /// By station.
    pub(crate) block_sizes: Vec<usize>,
    /// Rod and arc length of each pair of unknowns.
    pub(crate) owner: Vec<(u32, f64)>,
    /// Whether rods share some.
    pub(crate) shared: bool,
}

/// What decides who shares with whom.
pub(crate) struct Numberer<'a> {
    pub(crate) scene: &'a Scene<'a>,
    pub(crate) sharing: Sharing,
    pub(crate) rods: &'a [RodNodes],
    /// Diameters.
    pub(crate) sections: &'a Sections,
}

impl Numbering {
    fn next(&mut self, rod: usize, s_mm: f64) -> Dof {
        self.owner.push((short(rod), s_mm));
        self.unknowns += 2;
        Dof::new(self.unknowns - 2)
    }
}

impl Numberer<'_> {
    /// Gives all nodes their degrees of freedom.
    pub(crate) fn number(&self, nodes: &mut Nodes, out: &mut Numbering) {
        out.block_sizes.clear();
        out.owner.clear();
        out.shared = self.sharing == Sharing::All;
        out.unknowns = 0;
        for i in 0..self.scene.tube.len() {
            // Regular nodes first.
            let lead = self.leads(i, out);
            self.number_regular(i, &lead, nodes, out);
            self.number_tips(i, nodes, out);
            out.block_sizes.push(out.unknowns);
        }
        for i in (1..out.block_sizes.len()).rev() {
            out.block_sizes[i] -= out.block_sizes[i - 1];
        }
    }

    fn is_present(&self, k: usize, station: usize) -> bool {
        station <= self.rods[k].last_regular
    }

    fn container_at(&self, k: usize, s_mm: f64) -> Container {
        let containers = &self.scene.rods[k].containers;
        let at = containers.iter().find(|c| s_mm <= c.to_mm);
        at.map_or(Container::Vessel, |c| c.container)
    }

    /// Half the difference of lumen and outer diameter, mm.
    fn is_tight(&self, around: usize, inside: usize) -> bool {
        let gap_mm = 0.5 * (self.sections.inner[around] - self.sections.outer[inside]);
        match self.sharing {
            Sharing::All => true,
            Sharing::TightFits(most_mm) => gap_mm < most_mm,
        }
    }

    /// The rod with whose regular node at a station that of rod `k` shares its own, if any.
    fn shares_with(&self, k: usize, station: usize) -> Option<usize> {
        if self.sharing == Sharing::All {
            return (0..k).find(|j| self.is_present(*j, station));
        }
        match self.container_at(k, self.scene.tube[station].s_mm) {
            Container::Rod(j) if self.is_present(j, station) => {
                let [inside, around] = [k, j].map(|r| self.rods[r].first + station);
                self.is_tight(around, inside).then_some(j)
            }
            _ => None,
        }
    }

    /// By rod: the one whose unknowns it uses at a station.
    fn leads(&self, station: usize, out: &mut Numbering) -> [usize; MOST_RODS] {
        let count = self.rods.len();
        let mut lead: [usize; MOST_RODS] = std::array::from_fn(|k| k);
        for k in (0..count).filter(|k| self.is_present(*k, station)) {
            let Some(j) = self.shares_with(k, station) else {
                continue;
            };
            out.shared = true;
            let (from, to) = (lead[k].max(lead[j]), lead[k].min(lead[j]));
            for l in &mut lead[..count] {
                if *l == from {
                    *l = to;
                }
            }
        }
        lead
    }

    fn number_regular(
        &self,
        station: usize,
        lead: &[usize; MOST_RODS],
        nodes: &mut Nodes,
        out: &mut Numbering,
    ) {
        let count = self.rods.len();
        let last = self.scene.tube.len() - 1;
        let held = |k: usize| {
            let rod = &self.scene.rods[k];
            (station == 0 && rod.start != StartSupport::Free)
                || (station == last && rod.exits_on_axis && matches!(rod.end, End::ExitPlane))
        };
        for k in (0..count).filter(|k| self.is_present(*k, station)) {
            nodes.dof[self.rods[k].first + station] = if lead[k] != k {
                nodes.dof[self.rods[lead[k]].first + station]
            } else if (0..count).any(|j| lead[j] == k && held(j) && self.is_present(j, station)) {
                Dof::FIXED
            } else {
                out.next(k, self.scene.tube[station].s_mm)
            };
        }
    }

    /// Tips whose last regular node is at a station.
    fn number_tips(&self, station: usize, nodes: &mut Nodes, out: &mut Numbering) {
        for k in 0..self.rods.len() {
            if !(self.rods[k].tip && self.rods[k].last_regular == station) {
                continue;
            }
            let tip = self.rods[k].tip_node();
            let s_mm = nodes.s_mm[tip];
            let twin = (0..k).find(|j| {
                let rod = &self.rods[*j];
                rod.tip
                    && (nodes.s_mm[rod.tip_node()] - s_mm).abs() < 1e-9
                    && (self.sharing == Sharing::All
                        || (self.container_at(k, s_mm) == Container::Rod(*j)
                            && self.is_tight(rod.tip_node(), tip)))
            });
            nodes.dof[tip] = match twin {
                Some(j) => nodes.dof[self.rods[j].tip_node()],
                None => out.next(k, s_mm),
            };
        }
    }
}
