//! Axial loads where the energy takes them: at vertices and ends.

use super::batch::clear_for_vectors;
use super::layout::Layout;

/// Load by vertex, in a list as long as vectors read, and by end, N.
#[derive(Debug, Clone, Default)]
pub(crate) struct LoadLists {
    pub(crate) vertex_n: Vec<f64>,
    pub(crate) end_n: Vec<f64>,
}

impl LoadLists {
    /// Sets all of them to nought.
    pub(crate) fn clear(&mut self, layout: &Layout) {
        clear_for_vectors(&mut self.vertex_n, layout.vertices.len());
        self.end_n.clear();
        self.end_n.resize(layout.ends.len(), 0.0);
    }

    /// Adds loads known by node.
    pub(crate) fn add_by_node(&mut self, layout: &Layout, load_n: &[f64]) {
        for member in &layout.members {
            self.vertex_n[member.vertex as usize] += member.weight * load_n[member.node as usize];
        }
        for (end, at) in layout.ends.iter().zip(&mut self.end_n) {
            *at += end.weight * load_n[end.node as usize];
        }
    }

    /// Adds a load that is the same all along each rod, where it has one.
    pub(crate) fn add_by_rod(&mut self, layout: &Layout, load_n: impl Fn(usize) -> Option<f64>) {
        for member in &layout.members {
            if let Some(load_n) = load_n(member.rod as usize) {
                self.vertex_n[member.vertex as usize] += member.weight * load_n;
            }
        }
        for (end, at) in layout.ends.iter().zip(&mut self.end_n) {
            if let Some(load_n) = load_n(end.rod as usize) {
                *at += end.weight * load_n;
            }
        }
    }
}

/// Stiffness by vertex, in a list as long as vectors read: that of its members summed, N mm2.
pub(crate) fn sum_stiffness(layout: &Layout, by_node: &[f64], by_vertex: &mut Vec<f64>) {
    clear_for_vectors(by_vertex, layout.vertices.len());
    for member in &layout.members {
        by_vertex[member.vertex as usize] += member.weight * by_node[member.node as usize];
    }
}
