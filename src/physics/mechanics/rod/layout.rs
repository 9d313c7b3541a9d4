//! The discretisation: where the nodes sit, which degrees of freedom they share, and which terms the
//! energy has. It changes when stations, tips or containers do.

use super::batch::{FrameBatch, Rows};
use super::contact_placement::ContactPlacer;
use super::contact_terms::ContactTerms;
use super::dof::short;
use super::nodes::{Nodes, RodNodes};
use super::numbering::{Numberer, Numbering, Sharing};
use super::scene::{End, Rod, Roll, Scene, StartSupport};
use super::sections::Sections;
use super::settings::Settings;
use super::terms::{EndTerm, Member, ShapedTerm, VertexTerm};
use crate::geometry::Frame;

/// Nodes, unknowns and terms.
#[derive(Debug, Clone, Default)]
pub(crate) struct Layout {
    pub(crate) frames: Vec<Frame>,
    pub(crate) frame_batch: FrameBatch,
    pub(crate) rods: Vec<RodNodes>,
    pub(crate) nodes: Nodes,
    pub(crate) numbering: Numbering,
    /// How many rolls of pre-shaped tips are unknown.
    pub(crate) free_rolls: usize,
    pub(crate) vertices: Vec<VertexTerm>,
    /// By node: its vertex, where that counts fully.
    vertex_of: Vec<Option<u32>>,
    pub(crate) members: Vec<Member>,
    pub(crate) rows: Rows,
    pub(crate) ends: Vec<EndTerm>,
    pub(crate) shaped: Vec<ShapedTerm>,
    pub(crate) contacts: ContactTerms,
}

/// Whether a rod's roll is unknown.
fn is_free(rod: &Rod) -> bool {
    matches!(rod.natural.map(|n| n.roll), Some(Roll::Free(_)))
}

impl Layout {
    /// Sets out the nodes; [`Self::lay_out_terms`] follows when their offsets are guessed.
    pub(crate) fn lay_out_nodes(&mut self, scene: &Scene<'_>) {
        self.frames.clear();
        self.frames.extend(scene.tube.iter().map(|t| t.frame));
        self.rods.clear();
        self.nodes.clear();
        for rod in scene.rods {
            let nodes = RodNodes::of(rod, scene.tube, self.nodes.len());
            for i in 0..=nodes.last_regular {
                self.nodes.push(short(i), scene.tube[i].s_mm);
            }
            if let End::Tip(tip) = &rod.end {
                self.nodes.push(short(self.frames.len()), tip.s_mm);
                self.frames.push(tip.frame);
            }
            self.rods.push(nodes);
        }
        self.frame_batch.set_frames(&self.frames);
    }

    /// Gives nodes their unknowns and lists the terms of the energy. Needs distances from the tip
    /// and diameters to find the tight fits.
    pub(crate) fn lay_out_terms(
        &mut self,
        scene: &Scene<'_>,
        settings: &Settings,
        sharing: Sharing,
        sections: &Sections,
    ) {
        let numberer = Numberer {
            scene,
            sharing,
            rods: &self.rods,
            sections,
        };
        numberer.number(&mut self.nodes, &mut self.numbering);
        self.free_rolls = scene.rods.iter().filter(|rod| is_free(rod)).count();
        self.vertices.clear();
        self.members.clear();
        self.ends.clear();
        self.shaped.clear();
        for k in 0..scene.rods.len() {
            self.add_bending(scene, k);
            self.add_shape(scene, k, sections);
        }
        let placer = ContactPlacer {
            scene,
            rods: &self.rods,
            nodes: &self.nodes,
            device_stiffness_n_per_mm2: settings.device_stiffness_n_per_mm2,
        };
        placer.place(&mut self.contacts);
        self.rows.set(&self.vertices, &self.members);
    }

    /// How many unknown offsets there are.
    pub(crate) fn unknowns(&self) -> usize {
        self.numbering.unknowns
    }

    /// The frame of a node.
    #[inline(always)]
    pub(crate) fn frame(&self, node: usize) -> &Frame {
        &self.frames[self.nodes.frame[node] as usize]
    }

    /// Number of the edge and the cell of a rod that leave its last regular node out.
    pub(crate) fn skipping(&self, rod: usize) -> usize {
        self.nodes.len() + rod
    }

    /// Members of a rod.
    pub(crate) fn members_of(&self, rod: usize) -> &[Member] {
        let first = self.members.partition_point(|m| (m.rod as usize) < rod);
        let count = self.members[first..].partition_point(|m| m.rod as usize == rod);
        &self.members[first..first + count]
    }

    /// Number of the edge, and of a cell it is the second edge of, from node to node of rod `k`.
    fn edge(&self, k: usize, from: usize, to: usize) -> u32 {
        short(if to == from + 1 {
            from
        } else {
            self.skipping(k)
        })
    }

    /// Adds the vertex of three nodes of rod `k`, or lets it share an equal one of an earlier rod.
    fn add_vertex(&mut self, k: usize, nodes: [usize; 3], clamp: bool, weight: f64) {
        let frame = nodes.map(|n| self.nodes.frame[n]);
        let dof = nodes.map(|n| self.nodes.dof[n]);
        let middle = nodes[1];
        let earlier = if self.numbering.shared { k } else { 0 };
        let equal = (0..earlier).find_map(|j| {
            let i = middle - self.rods[k].first;
            let twin = self.rods[j].first + i;
            if i > self.rods[j].last_regular {
                return None;
            }
            let at = self.vertex_of[twin]?;
            let vertex = self.vertices.get(at as usize)?;
            (vertex.dof == dof && vertex.frame == frame && vertex.clamp == clamp).then_some(at)
        });
        let vertex = equal.unwrap_or_else(|| {
            let cell = self.edge(k, nodes[1], nodes[2]);
            let first = if clamp {
                cell
            } else {
                self.edge(k, nodes[0], nodes[1])
            };
            self.vertices.push(VertexTerm {
                frame,
                dof,
                edge: [first, cell],
                cell,
                clamp,
            });
            short(self.vertices.len() - 1)
        });
        if weight >= 1.0 {
            self.vertex_of[middle] = Some(vertex);
        }
        self.members.push(Member {
            rod: short(k),
            vertex,
            node: short(middle),
            nodes: nodes.map(short),
            weight,
        });
    }

    fn add_bending(&mut self, scene: &Scene<'_>, k: usize) {
        self.vertex_of.resize(self.nodes.len(), None);
        let RodNodes {
            first,
            last_regular: m,
            tip,
            blend,
            ..
        } = self.rods[k];
        for n in first..first + self.rods[k].count() {
            self.vertex_of[n] = None;
        }
        if scene.rods[k].start == StartSupport::Clamped {
            self.add_vertex(k, [first, first, first + 1], true, 1.0);
        } else {
            self.add_end(k, first, [first, first + 1], 0.5);
        }
        let full = if tip && blend < 1.0 { m - 2 } else { m - 1 };
        for i in 1..=full {
            self.add_vertex(k, [first + i - 1, first + i, first + i + 1], false, 1.0);
        }
        if !tip {
            self.add_end(k, first + m, [first + m - 1, first + m], 0.5);
            return;
        }
        let t = first + m + 1;
        if blend < 1.0 {
            self.add_vertex(k, [t - 3, t - 2, t - 1], false, blend);
            self.add_vertex(k, [t - 3, t - 2, t], false, 1.0 - blend);
            self.add_end(k, t, [t - 2, t], 0.5 * (1.0 - blend));
        }
        self.add_vertex(k, [t - 2, t - 1, t], false, blend);
        self.add_end(k, t, [t - 1, t], 0.5 * blend);
    }

    fn add_end(&mut self, k: usize, node: usize, nodes: [usize; 2], weight: f64) {
        self.ends.push(EndTerm {
            rod: short(k),
            node: short(node),
            edge: self.edge(k, nodes[0], nodes[1]),
            frame: nodes.map(|n| self.nodes.frame[n]),
            dof: nodes.map(|n| self.nodes.dof[n]),
            weight,
        });
    }

    fn add_shape(&mut self, scene: &Scene<'_>, k: usize, sections: &Sections) {
        let rod = &scene.rods[k];
        let Some(bend) = &rod.natural else {
            return;
        };
        let free = scene.rods[..k].iter().filter(|rod| is_free(rod)).count();
        let border = is_free(rod).then_some(free);
        // Distances from the tip move while the shape settles: take a few cells more.
        let reach = bend.length_mm * 1.2 + 5.0 * (scene.tube[1].s_mm - scene.tube[0].s_mm);
        let range = self.rods[k].range();
        let reached = |m: &&Member| {
            let node = m.node as usize;
            range.contains(&node) && sections.from_tip[node] <= reach
        };
        let turns = rod.turns_by_rounds();
        let terms = self
            .members
            .iter()
            .filter(reached)
            .map(|member| ShapedTerm {
                rod: k,
                border,
                member: *member,
                turns,
            });
        self.shaped.extend(terms);
    }
}
