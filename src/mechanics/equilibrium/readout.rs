//! What is read off a model in balance.

use super::settle::Settle;
use super::solution::{Contact, Flag, RodState, Solution, Status};
use crate::geometry::Vector;
use crate::math;
use crate::mechanics::error::MechanicsError;
use crate::mechanics::rod::contact_law::Keep;
use crate::mechanics::rod::contact_terms::Axis;
use crate::mechanics::rod::scene::{Container, Scene};

/// Indentation of a vessel wall worth a flag, mm.
const DEEP_MM: f64 = 0.1;
/// Cosine of the angle at which a pre-shaped tip is held to turn back: 85 degrees, short of where a rod
/// cannot be told by stations any more.
const TURNED_BACK: f64 = 0.087;

impl Settle {
    /// Reads the state off the model.
    pub(crate) fn finish(
        &mut self,
        scene: &Scene<'_>,
        passed_saddle: bool,
    ) -> Result<Solution, MechanicsError> {
        self.model.store(&self.newton.x);
        self.model.coefficients.relaxation.halved = false;
        self.model.update_sections(scene);
        // stiffness and natural curvature as they were solved for
        self.model.measure_followed(&self.newton.rolls);
        let mut flags = Vec::new();
        if passed_saddle || self.between {
            flags.push(Flag::SeveralEquilibria);
        }
        if self.unsettled_n > 0.0 {
            flags.push(Flag::Unsettled {
                load_n: self.unsettled_n,
            });
        }
        let smallest = if self.settings.smallest_eigenvalue {
            self.newton.lowest_mode(&mut self.model)
        } else {
            None
        };
        let rods: Vec<RodState> = (0..scene.rods.len())
            .map(|k| self.rod_state(scene, k))
            .collect();
        let (contacts, contact_energy_n_mm) = self.contacts();
        self.check_fits(scene, &mut flags)?;
        let deepest = contacts
            .iter()
            .filter(|c| c.other.is_none())
            .max_by(|a, b| a.indentation_mm.total_cmp(&b.indentation_mm));
        if let Some(deepest) = deepest.filter(|c| c.indentation_mm > DEEP_MM) {
            flags.push(Flag::DeepIndentation {
                rod: deepest.rod,
                station_mm: deepest.station_mm,
                indentation_mm: deepest.indentation_mm,
            });
        }
        let history = std::mem::take(&mut self.newton.history);
        Ok(Solution {
            status: self.status(scene),
            rods,
            contacts,
            contact_energy_n_mm,
            residual_n: history.residuals_n.last().copied().unwrap_or(f64::NAN),
            load_off_n: self.off_n,
            length_off_mm: self.model.coefficients.relaxation.slid_mm,
            factorised_unknowns: self.worked(),
            steps: history.steps,
            factorisations: history.factorisations,
            residuals_n: history.residuals_n,
            energies_n_mm: history.energies_n_mm,
            smallest_eigenvalue_n_per_mm: smallest,
            flags,
            factorisation_flops: self.model.at.matrix.flops(),
            compliance_mm_per_n: self.model.compliance_mm_per_n(),
            moved_mm: self.moved_mm(),
        })
    }

    fn rod_state(&self, scene: &Scene<'_>, k: usize) -> RodState {
        let model = &self.model;
        let (shape, sections) = (model.shape(), &model.coefficients.sections);
        let range = model.layout.rods[k].range();
        let count = range.len();
        let mut curvature_per_mm = vec![0.0; count];
        let mut moment_n_mm = vec![0.0; count];
        let (mut bending, mut path) = (0.0, 0.0);
        // elastic moments, about their axes; a node that is handed over has a part of its weight
        let mut moments = vec![(Vector::zeros(), 0.0); count];
        // members of a node follow one another
        let mut before: Option<(usize, [Vector; 2])> = None;
        for member in model.layout.members_of(k) {
            let node = member.node as usize;
            let vertex = shape.vertex(member.vertex);
            let (b, natural) = (sections.stiffness[node], sections.natural[node]);
            let mut bent = vertex.curvature_per_mm();
            let mut energy = b * vertex.cell.bending();
            if natural > 0.0 {
                let frame = model.layout.frame(node);
                let towards = frame.across(self.newton.rolls[k]);
                bent -= shape.tilt_at(member).carry(towards) * natural;
                energy = 0.5 * b * bent.norm_squared() * vertex.cell.arc_mm();
            }
            bending += member.weight * energy;
            path += member.weight * vertex.cell.arc_mm();
            let (moment, weight) = &mut moments[node - range.start];
            *moment += vertex.tangent().cross(&bent) * (member.weight * b);
            *weight += member.weight;
            let mut sums = [
                vertex.curvature_per_mm() * member.weight,
                bent * (member.weight * b),
            ];
            if let Some((_, [curvature, moment])) = before.filter(|(n, _)| *n == node) {
                sums[0] += curvature;
                sums[1] += moment;
            }
            curvature_per_mm[node - range.start] = sums[0].norm();
            moment_n_mm[node - range.start] = sums[1].norm();
            before = Some((node, sums));
        }
        for end in &model.layout.ends {
            if range.contains(&(end.node as usize)) {
                path += end.weight * model.at.edges.length_mm(end.edge as usize);
            }
        }
        let correction = self.averaging_n_mm(range.start, &moments);
        let last = range.end - 1;
        let (end, ..) = model.at.edges.edge(last - 1);
        let axis = model.layout.frame(last).tangent;
        RodState {
            station_mm: model.layout.nodes.s_mm[range.clone()].to_vec(),
            offset_mm: model.offset[range.clone()].to_vec(),
            position_mm: range.clone().map(|node| model.place(node)).collect(),
            from_tip_mm: sections.from_tip[range.clone()].to_vec(),
            curvature_per_mm,
            moment_n_mm,
            load_n: range.clone().map(|node| model.load_at(k, node)).collect(),
            bending_energy_n_mm: bending + correction,
            averaging_n_mm: correction,
            path_length_mm: path,
            centre_line_mm: model.layout.nodes.s_mm[last] - scene.tube[0].s_mm,
            roll_rad: self.newton.rolls[k],
            end_angle_rad: math::acos(end.dot(&axis).clamp(-1.0, 1.0)),
            last_weight: model.layout.rods[k].blend,
        }
    }

    /// By how much nodes' energies fall short because each takes the mean of the curvature over the two
    /// edges at it, N mm, for the elastic moments at the nodes from `first` on and their weights.
    ///
    /// The mean is `kappa + h² kappa''/12`; summed by parts this takes `h²/12` times the integral of
    /// `B kappa'²` off the energy, and where a moment steps in slope, at contacts on nodes, and at clamped
    /// and free ends nothing else of that order is left. Of second order itself, so that what is left
    /// after it is of fourth where contacts lie on nodes. With `M = B kappa`, which goes on where
    /// stiffness or natural curvature steps.
    fn averaging_n_mm(&self, first: usize, moments: &[(Vector, f64)]) -> f64 {
        let model = &self.model;
        let whole = |(moment, weight): &(Vector, f64)| {
            if *weight > 0.0 {
                moment / *weight
            } else {
                *moment
            }
        };
        let mut sum = 0.0;
        for (i, pair) in moments.windows(2).enumerate() {
            let change = whole(&pair[1]) - whole(&pair[0]);
            let b = &model.coefficients.sections.stiffness[first + i..first + i + 2];
            let compliance = 0.5 * (1.0 / b[0] + 1.0 / b[1]);
            let length_mm = model.at.edges.length_mm(first + i);
            sum += length_mm * change.norm_squared() * compliance / 12.0;
        }
        sum
    }

    /// Direction of a rod at a place, not of unit length.
    fn tangent(&self, rod: usize, place: &Axis) -> Vector {
        let range = self.model.layout.rods[rod].range();
        let at_node = |node: usize| {
            let before = node.checked_sub(1).filter(|b| *b >= range.start);
            let after = Some(node).filter(|a| a + 1 < range.end);
            let edges = before.into_iter().chain(after);
            edges.map(|e| self.model.at.edges.edge(e).0).sum::<Vector>()
        };
        let parts = self.model.layout.contacts.weights(place);
        parts.map(|(node, weight)| at_node(node) * weight).sum()
    }

    fn contacts(&self) -> (Vec<Contact>, f64) {
        let model = &self.model;
        let mut contacts = Vec::with_capacity(model.active_contacts());
        let mut energy = 0.0;
        let terms = &model.layout.contacts;
        for (i, law, offset, pressed) in model.contacts().active_at(&self.newton.x) {
            let term = &terms.list[i];
            energy += pressed.energy;
            let force = pressed.gradient.map(|g| -g);
            // The directions at the place: those of its node, or of the two around it.
            let mut across = Vector::zeros();
            let mut axis = Vector::zeros();
            for (node, weight) in model.layout.contacts.weights(&term.inside) {
                let frame = model.layout.frame(node);
                across += (frame.n1 * force[0] + frame.n2 * force[1]) * weight;
                axis += frame.tangent * weight;
            }
            let (rod, other) = (term.rod as usize, term.other.map(|j| j as usize));
            let along = self.tangent(rod, &term.inside)
                + match (other, &term.around) {
                    (Some(other), Some(around)) => self.tangent(other, around),
                    _ => Vector::zeros(),
                };
            let space = across - axis * (across.dot(&along) / axis.dot(&along));
            contacts.push(Contact {
                rod,
                other,
                station_mm: term.s_mm,
                length_mm: term.weight_mm,
                force_n: force,
                force_in_space_n: space,
                force_across_n: across,
                indentation_mm: law.indentation_mm(offset),
            });
        }
        contacts.sort_by(|a, b| {
            (a.station_mm.total_cmp(&b.station_mm)).then((a.rod, a.other).cmp(&(b.rod, b.other)))
        });
        (contacts, energy)
    }

    /// Rods too wide for the rod around them are refused, for the vessel flagged.
    fn check_fits(&self, scene: &Scene<'_>, flags: &mut Vec<Flag>) -> Result<(), MechanicsError> {
        /// Rounding of two diameters read from profiles, mm.
        const ROUNDING_MM: f64 = 1e-9;
        let layout = &self.model.layout;
        let sections = &self.model.coefficients.sections;
        let laws = &self.model.coefficients.contact_laws.laws;
        let mut widest: Vec<Option<(f64, f64)>> = vec![None; scene.rods.len()];
        for (term, law) in layout.contacts.list.iter().zip(laws) {
            if law.keep == Keep::Apart || law.limit_mm >= -ROUNDING_MM {
                continue;
            }
            let rod = term.rod as usize;
            if let (Some(outer), Some(around)) = (term.other, &term.around) {
                if scene.rods[rod].yields {
                    continue;
                }
                return Err(MechanicsError::DoesNotFit {
                    inner: rod,
                    outer: outer as usize,
                    station_mm: term.s_mm,
                    outer_diameter_mm: layout.contacts.value(&term.inside, &sections.outer),
                    lumen_mm: layout.contacts.value(around, &sections.inner),
                });
            }
            let excess = -2.0 * law.limit_mm;
            if widest[rod].is_none_or(|(_, e)| e < excess) {
                widest[rod] = Some((term.s_mm, excess));
            }
        }
        // Rods on one axis have no contact term of their own.
        for (k, rod) in scene.rods.iter().enumerate().filter(|(_, r)| !r.yields) {
            for stretch in &rod.containers {
                let Container::Rod(j) = stretch.container else {
                    continue;
                };
                let (inside, around) = (&layout.rods[k], &layout.rods[j]);
                for i in 0..=inside.last_regular.min(around.last_regular) {
                    let (a, b) = (inside.first + i, around.first + i);
                    let s = layout.nodes.s_mm[a];
                    if s >= stretch.from_mm
                        && s <= stretch.to_mm
                        && sections.outer[a] > sections.inner[b] + ROUNDING_MM
                    {
                        return Err(MechanicsError::DoesNotFit {
                            inner: k,
                            outer: j,
                            station_mm: s,
                            outer_diameter_mm: sections.outer[a],
                            lumen_mm: sections.inner[b],
                        });
                    }
                }
            }
        }
        for (rod, found) in widest.iter().enumerate() {
            if let Some((station_mm, excess_mm)) = *found {
                flags.push(Flag::WiderThanLumen {
                    rod,
                    station_mm,
                    excess_mm,
                });
            }
        }
        Ok(())
    }

    /// The largest angle between a rod and the centre line, where shapes were last looked at: rod, place mm,
    /// degrees.
    ///
    /// A pre-shaped tip points aside by nature; it counts only from where it turns back.
    pub(crate) fn largest_angle(&self, scene: &Scene<'_>) -> (usize, f64, f64) {
        let model = &self.model;
        let mut worst = (1.0_f64, 0, 0.0);
        for k in 0..scene.rods.len() {
            let range = model.layout.rods[k].range();
            let shaped_mm = scene.rods[k].natural.map_or(0.0, |n| n.length_mm);
            for a in range.start..range.end - 1 {
                let (t, ..) = model.at.edges.edge(a);
                let (fa, fb) = (model.layout.frame(a), model.layout.frame(a + 1));
                let along = fa.tangent + fb.tangent;
                let cosine = t.dot(&along) / along.norm();
                let shaped = model.coefficients.sections.from_tip[a + 1] < shaped_mm;
                if cosine < worst.0 && !(shaped && cosine > TURNED_BACK) {
                    worst = (cosine, k, model.layout.nodes.s_mm[a]);
                }
            }
        }
        let angle = math::acos(worst.0.clamp(-1.0, 1.0));
        (worst.1, worst.2, angle.to_degrees())
    }

    fn status(&self, scene: &Scene<'_>) -> Status {
        let (rod, station_mm, angle_deg) = self.largest_angle(scene);
        if angle_deg > self.settings.prolapse_deg {
            Status::OutsideModel {
                rod,
                station_mm,
                angle_deg,
            }
        } else if self.unsettled_n > 0.0 {
            Status::Unsettled {
                load_n: self.unsettled_n,
            }
        } else {
            Status::Converged
        }
    }
}
