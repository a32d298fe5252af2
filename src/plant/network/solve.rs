//! Newton's method on the node pressures.
//!
//! The imbalance of the nodes is the gradient of a convex function of the pressures (the
//! co-content of the network), and its matrix is a weighted graph Laplacian, so a Newton step
//! always points downhill and a line search only has to keep it from overshooting. When the
//! imbalance is small the last step is carried into the flows themselves: flows then balance at
//! every node to rounding, about 1e-15 m³/s, whatever the tolerance.

use super::element::Memo;
use super::{Change, ElementId, Network, NetworkState};
use thiserror::Error;

/// Largest imbalance of a node that counts as solved before the last correction, m³/s.
pub(super) const FLOW_TOLERANCE_M3_S: f64 = 1e-9;
/// Largest last correction of a pressure, Pa.
pub(super) const PRESSURE_TOLERANCE_PA: f64 = 1e-8;
/// Newton step within which the laws are asked whether its tangents will do, Pa.
const NEAR_PA: f64 = 0.05;
/// Share of the largest pressure that the factors of the last solution are trusted over.
const FURTHEST: f64 = 0.2;
/// Iterations of plain Newton before the damped search takes over.
const PLAIN: usize = 40;
/// Iterations in all.
const MOST: usize = 400;
/// Smallest slope of an element in the matrix, m³/s per Pa: keeps nodes joined that only hang on
/// a fan holding its flow.
const LEAST_SLOPE: f64 = 1e-10;

/// How a solution went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Solved {
    /// Newton steps, the last correction not counted.
    pub iterations: usize,
    /// Evaluations of all laws.
    pub evaluations: usize,
}

/// Why a network could not be solved.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum NetworkError {
    /// A flow is not a number: some law has figures it cannot have.
    #[error(
        "the flow through `{element}` is not a number; its resistance or opening cannot be right"
    )]
    NotFinite {
        /// Name of the element.
        element: String,
    },
    /// A node has no path to a fixed pressure.
    #[error("no air path joins `{node}` to a fixed pressure")]
    Sealed {
        /// Name of the node.
        node: String,
    },
    /// The search did not end.
    #[error(
        "air flows did not balance after {iterations} iterations: {imbalance_m3_s:e} m³/s is left at `{node}`, mostly through `{element}`"
    )]
    NotConverged {
        /// Name of the node with the largest imbalance.
        node: String,
        /// Name of the element with the largest flow at that node.
        element: String,
        /// Imbalance left at that node, m³/s.
        imbalance_m3_s: f64,
        /// Iterations made.
        iterations: usize,
    },
    /// The state was made for another network.
    #[error("the state belongs to another air network")]
    WrongState,
}

impl Network {
    /// Finds pressures and flows, starting from those in `state`; allocates nothing.
    ///
    /// After it, the flows at every node to be found add up to zero within rounding, about
    /// 1e-15 m³/s per element, and agree with their laws within 1e-9 m³/s.
    ///
    /// # Errors
    /// [`NetworkError`]; `state` then starts afresh next time.
    pub fn solve(&mut self, state: &mut NetworkState) -> Result<Solved, NetworkError> {
        self.solve_from(state, 0, &[])
    }

    /// The same where only these elements have another law than at the solution in `state`: their push is
    /// spread over the network before the search begins. The answer is the same; it is found sooner.
    ///
    /// # Errors
    /// As [`Network::solve`].
    pub fn solve_changed(
        &mut self,
        changed: &[ElementId],
        state: &mut NetworkState,
    ) -> Result<Solved, NetworkError> {
        self.solve_from(state, 0, changed)
    }

    /// The same, starting from where the pressures will be if they go on as they did over the last
    /// solutions since [`Network::solve`], at most three: for dampers and fans that go on moving. The
    /// answer is the same; it is found sooner.
    ///
    /// # Errors
    /// As [`Network::solve`].
    pub fn solve_ahead(&mut self, state: &mut NetworkState) -> Result<Solved, NetworkError> {
        self.solve_from(state, state.motion, &[])
    }

    /// Starts from the last pressures (`order` 0) or from those on a straight line (1) or a parabola
    /// (2 and more) through the last.
    fn solve_from(
        &mut self,
        state: &mut NetworkState,
        order: u8,
        changed: &[ElementId],
    ) -> Result<Solved, NetworkError> {
        if state.pressures.len() != self.nodes.len() || state.flows.len() != self.laws.len() {
            return Err(NetworkError::WrongState);
        }
        let (line, parabola) = (f64::from(order.min(1)), f64::from(order / 2));
        for (pressure, change) in state.pressures.iter_mut().zip(&mut state.changes) {
            let last = *pressure - change.from;
            let bend = last - change.by;
            *change = Change {
                from: *pressure,
                by: last,
            };
            *pressure += line * last + parabola * bend;
        }
        state.motion = (order + 1).min(2);
        for &i in &self.fixed {
            state.pressures[i] = self.nodes[i].fixed_pa.unwrap_or(0.0);
        }
        let warm = state.warm && state.pressures.iter().all(|p| p.is_finite());
        state.warm = false;
        if !warm {
            self.rough_start(state)?;
        } else if !changed.is_empty() && self.has_factors_of(state) {
            self.spread(changed, state);
        }
        self.factors_of.fill(f64::NAN);
        let mut counts = Solved {
            iterations: 0,
            evaluations: 0,
        };
        self.search(state, &mut counts)?;
        state.warm = true;
        self.factors_of.copy_from_slice(&state.slopes);
        Ok(counts)
    }

    /// Sees to it that `lu` holds the factors of the solution in `state`; false where it has none.
    fn has_factors_of(&mut self, state: &NetworkState) -> bool {
        let differing = |d: u64, (a, b): (&f64, &f64)| d | (a.to_bits() ^ b.to_bits());
        let pairs = self.factors_of.iter().zip(&state.slopes);
        pairs.fold(0, differing) == 0 || self.factor(0.0, state).is_ok()
    }

    /// Goes where the laws that changed push: a step with the factors of the last solution, at a
    /// fraction of the cost of a Newton step and nearly as good where little changed.
    fn spread(&mut self, changed: &[ElementId], state: &mut NetworkState) {
        self.chord.fill(0.0);
        for &ElementId(e) in changed {
            let wire = &self.wires[e];
            let drop = state.pressures[wire.from] - state.pressures[wire.to];
            let (flow, _) = self.laws[e].flow_and_slope(drop, &mut state.memos[e]);
            let more = flow - state.flows[e];
            self.chord[wire.from] -= more;
            self.chord[wire.to] += more;
        }
        for &i in &self.fixed {
            self.chord[i] = 0.0;
        }
        self.lu.solve_symmetric(&mut self.chord);
        if largest_of(&self.chord) <= FURTHEST * largest_of(&state.pressures) {
            for (pressure, step) in state.pressures.iter_mut().zip(&self.chord) {
                *pressure += step;
            }
        }
    }

    /// Pressures of the network with every law replaced by a straight line.
    fn rough_start(&mut self, state: &mut NetworkState) -> Result<(), NetworkError> {
        self.imbalance.fill(0.0);
        for (pressure, node) in state.pressures.iter_mut().zip(&self.nodes) {
            *pressure = node.fixed_pa.unwrap_or(0.0);
        }
        for (e, wire) in self.wires.iter().enumerate() {
            state.memos[e] = Memo::default();
            let (flow, slope) = self.laws[e].rough_line(&mut state.memos[e]);
            let drop = state.pressures[wire.from] - state.pressures[wire.to];
            state.slopes[e] = slope.max(LEAST_SLOPE);
            let flow = flow + state.slopes[e] * drop;
            if !flow.is_finite() {
                return Err(self.not_finite(e));
            }
            self.imbalance[wire.from] -= flow;
            self.imbalance[wire.to] += flow;
        }
        self.hold_fixed();
        self.newton_step(0.0, state)
            .map_err(|node| self.sealed(node))?;
        for (pressure, step) in state.pressures.iter_mut().zip(&self.step) {
            *pressure += step;
        }
        Ok(())
    }

    fn search(
        &mut self,
        state: &mut NetworkState,
        counts: &mut Solved,
    ) -> Result<(), NetworkError> {
        self.pressures.copy_from_slice(&state.pressures);
        let mut largest = self.evaluate(state, counts)?;
        let first = largest.max(FLOW_TOLERANCE_M3_S);
        loop {
            // Past the plain iterations the diagonal is stiffened, less as the imbalance falls:
            // a march through pseudo-time that cannot cycle.
            let stiffness = if counts.iterations < PLAIN {
                0.0
            } else {
                let mean: f64 = state.slopes.iter().sum::<f64>() / state.slopes.len().max(1) as f64;
                mean * (largest / first).min(1.0)
            };
            self.newton_step(stiffness, state)
                .map_err(|node| self.sealed(node))?;
            let change = largest_of(&self.step);
            let settled = change <= PRESSURE_TOLERANCE_PA || counts.iterations >= PLAIN;
            if largest <= FLOW_TOLERANCE_M3_S && settled {
                if stiffness > 0.0 {
                    self.newton_step(0.0, state)
                        .map_err(|node| self.sealed(node))?;
                }
                self.correct(state);
                return Ok(());
            }
            if stiffness == 0.0 && change <= NEAR_PA && self.finish(state, change) {
                return Ok(());
            }
            if counts.iterations >= MOST {
                return Err(self.not_converged(state, counts.iterations));
            }
            counts.iterations += 1;
            largest = self.line_search(state, counts)?;
        }
    }

    /// Moves along the step, shortening it until the slope of the co-content no longer points
    /// back by more than a tenth of what it was; leaves flows and imbalance at the new place.
    /// Returns the largest imbalance.
    fn line_search(
        &mut self,
        state: &mut NetworkState,
        counts: &mut Solved,
    ) -> Result<f64, NetworkError> {
        let before = dot(&self.imbalance, &self.step);
        let mut length = 1.0;
        let mut largest = 0.0;
        for _ in 0..30 {
            let from = state.pressures.iter().zip(&self.step);
            for (trial, (pressure, step)) in self.pressures.iter_mut().zip(from) {
                *trial = pressure + length * step;
            }
            largest = self.evaluate(state, counts)?;
            let after = dot(&self.imbalance, &self.step);
            if after >= -0.1 * before.abs() {
                break;
            }
            length *= (before / (before - after)).clamp(0.1, 0.9);
        }
        state.pressures.copy_from_slice(&self.pressures);
        Ok(largest)
    }

    /// Flows, slopes and imbalance at the trial pressures; returns the largest imbalance.
    fn evaluate(
        &mut self,
        state: &mut NetworkState,
        counts: &mut Solved,
    ) -> Result<f64, NetworkError> {
        counts.evaluations += 1;
        self.imbalance.fill(0.0);
        // Of one length in the compiler's eyes, so that an index is checked once for both.
        let nodes = self.nodes.len();
        let (pressures, imbalance) = (&self.pressures[..nodes], &mut self.imbalance[..nodes]);
        let results = state.flows.iter_mut().zip(&mut state.slopes);
        let elements = self.wires.iter().zip(&self.laws).zip(&mut state.memos);
        for (((wire, law), memo), (to_flow, to_slope)) in elements.zip(results) {
            let drop = pressures[wire.from] - pressures[wire.to];
            let (flow, slope) = law.flow_and_slope(drop, memo);
            *to_flow = flow;
            *to_slope = if slope > LEAST_SLOPE {
                slope
            } else {
                LEAST_SLOPE
            };
            imbalance[wire.from] -= flow;
            imbalance[wire.to] += flow;
        }
        // What is not finite in a flow is not finite in the sum.
        if !imbalance.iter().sum::<f64>().is_finite() {
            let at = state.flows.iter().position(|q| !q.is_finite()).unwrap_or(0);
            return Err(self.not_finite(at));
        }
        self.hold_fixed();
        Ok(largest_of(&self.imbalance))
    }

    /// Whatever flows in at a fixed node flows out of the network.
    fn hold_fixed(&mut self) {
        for &i in &self.fixed {
            self.imbalance[i] = 0.0;
        }
    }

    /// Solves for the Newton step with every diagonal raised by `stiffness`.
    fn newton_step(&mut self, stiffness: f64, state: &NetworkState) -> Result<(), usize> {
        self.factor(stiffness, state)?;
        self.step.copy_from_slice(&self.imbalance);
        self.lu.solve_symmetric(&mut self.step);
        Ok(())
    }

    /// Factors of the slopes in `state`, with every diagonal raised by `stiffness`.
    fn factor(&mut self, stiffness: f64, state: &NetworkState) -> Result<(), usize> {
        self.lu.clear();
        for (wire, &slope) in self.wires.iter().zip(&state.slopes) {
            self.lu.add(wire.diagonal_from, slope);
            self.lu.add(wire.diagonal_to, slope);
            self.lu.add(wire.between, -slope);
        }
        // A row of its own needs a pivot even if no element ends there.
        for &i in &self.fixed {
            self.lu.add(self.diagonal[i], 1.0);
        }
        if stiffness > 0.0 {
            for &slot in &self.diagonal {
                self.lu.add(slot, stiffness);
            }
        }
        self.lu.factor_symmetric()
    }

    /// Carries the last step into pressures and, along the tangents, into the flows.
    fn correct(&mut self, state: &mut NetworkState) {
        let step = self.step.as_slice();
        let tangents = self.wires.iter().zip(&state.slopes);
        for (flow, (wire, slope)) in state.flows.iter_mut().zip(tangents) {
            *flow += slope * (step[wire.from] - step[wire.to]);
        }
        for (pressure, step) in state.pressures.iter_mut().zip(step) {
            *pressure += step;
        }
    }

    fn not_finite(&self, element: usize) -> NetworkError {
        let element = self.element_names.get(element).cloned().unwrap_or_default();
        NetworkError::NotFinite { element }
    }

    fn sealed(&self, node: usize) -> NetworkError {
        let node = self.nodes[node].name.clone();
        NetworkError::Sealed { node }
    }

    fn not_converged(&self, state: &NetworkState, iterations: usize) -> NetworkError {
        let mut worst = (0, 0.0_f64);
        for (node, value) in self.imbalance.iter().enumerate() {
            if value.abs() >= worst.1.abs() {
                worst = (node, *value);
            }
        }
        let mut element = (0, -1.0);
        for (e, wire) in self.wires.iter().enumerate() {
            let size = state.flows[e].abs();
            if (wire.from == worst.0 || wire.to == worst.0) && size > element.1 {
                element = (e, size);
            }
        }
        NetworkError::NotConverged {
            node: self.nodes[worst.0].name.clone(),
            element: self.element_names[element.0].clone(),
            imbalance_m3_s: worst.1,
            iterations,
        }
    }
}

pub(super) fn largest_of(values: &[f64]) -> f64 {
    values.iter().fold(0.0_f64, |m, v| m.max(v.abs()))
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::network::{ElementId, Law, LinearQuadratic, Power};

    /// The damped search is for networks plain Newton cannot solve; here it starts at once.
    #[test]
    fn the_damped_search_ends_where_newton_does() {
        let mut builder = Network::builder();
        let outdoors = builder.fixed("outdoors", 0.0);
        let plenum = builder.node("plenum");
        let room = builder.node("room");
        builder.element("supply", outdoors, plenum, Law::ConstantFlow(0.2));
        let outlet = LinearQuadratic { a: 5.0, b: 2e3 };
        builder.element("outlet", plenum, room, Law::LinearQuadratic(outlet));
        let shut = LinearQuadratic { a: 0.0, b: 2e8 };
        builder.element("shut", plenum, outdoors, Law::LinearQuadratic(shut));
        let crack = Power {
            k: 0.02,
            m: 0.65,
            soft_pa: 0.01,
        };
        builder.element("crack", room, outdoors, Law::Power(crack));
        let mut network = builder.build().unwrap();
        let mut plain = NetworkState::new(&network);
        network.solve(&mut plain).unwrap();
        for start in [-300.0, 0.0, 300.0] {
            let mut damped = NetworkState::new(&network);
            damped.set_start(plenum, start);
            let mut counts = Solved {
                iterations: PLAIN,
                evaluations: 0,
            };
            network.search(&mut damped, &mut counts).unwrap();
            same_flows(&plain, &damped);
        }
    }

    /// Asserts that two states of a network have the same flows, m³/s.
    #[track_caller]
    fn same_flows(a: &NetworkState, b: &NetworkState) {
        for (a, b) in a.flows_m3_s().iter().zip(b.flows_m3_s()) {
            assert!((a - b).abs() < 1e-9, "{a} against {b}");
        }
    }

    fn law(b: f64) -> Law {
        Law::LinearQuadratic(LinearQuadratic { a: 2.0, b })
    }

    /// Two rooms behind dampers, each with a crack.
    fn two_rooms() -> (Network, [ElementId; 2]) {
        let mut builder = Network::builder();
        let outdoors = builder.fixed("outdoors", 0.0);
        let plenum = builder.node("plenum");
        let rooms = [builder.node("one"), builder.node("two")];
        builder.element("supply", outdoors, plenum, Law::ConstantFlow(0.1));
        let dampers = rooms.map(|room| {
            let name = format!("damper of {}", room.index());
            builder.element(&name, plenum, room, law(5e3))
        });
        for room in rooms {
            let crack = Power {
                k: 0.01,
                m: 0.65,
                soft_pa: 0.01,
            };
            let name = format!("crack of {}", room.index());
            builder.element(&name, room, outdoors, Law::Power(crack));
        }
        (builder.build().unwrap(), dampers)
    }

    /// A damper shuts, stops and opens again: from ahead or not, the same answer.
    #[test]
    fn starting_ahead_changes_the_way_not_the_answer() {
        let (mut network, dampers) = two_rooms();
        let mut ahead = NetworkState::new(&network);
        let mut evaluations = [0, 0];
        let mut plain = ahead.clone();
        for step in 0..120_u32 {
            let shut = f64::from(step.min(50)) - f64::from(step.max(70) - 70);
            network.set_law(dampers[0], law(5e3 * 1.1_f64.powf(shut)));
            evaluations[0] += network.solve_ahead(&mut ahead).unwrap().evaluations;
            evaluations[1] += network.solve(&mut plain).unwrap().evaluations;
            let mut cold = NetworkState::new(&network);
            network.solve(&mut cold).unwrap();
            same_flows(&ahead, &plain);
            same_flows(&ahead, &cold);
        }
        assert!(evaluations[0] < evaluations[1], "{evaluations:?}");
    }

    /// Another network of the same plan and laws, which has never been solved, goes on from a state bit by bit
    /// as the one that made it.
    #[test]
    fn a_state_is_all_that_a_solution_depends_on() {
        let (mut network, dampers) = two_rooms();
        let mut state = NetworkState::new(&network);
        for step in 0..40_u32 {
            let resistance = 5e3 * 1.1_f64.powi(step as i32 % 7);
            let mut fresh = two_rooms().0;
            for e in 0..network.laws.len() {
                fresh.set_law(ElementId(e), network.laws[e].clone());
            }
            let mut restored = state.clone();
            for (network, state) in [(&mut network, &mut state), (&mut fresh, &mut restored)] {
                network.set_law(dampers[0], law(resistance));
                if step % 3 == 0 {
                    network.solve_ahead(state).unwrap();
                } else {
                    network.solve_changed(&[dampers[0]], state).unwrap();
                }
            }
            assert_eq!(state, restored, "step {step}");
        }
    }

    /// Dampers move by fits and starts: a step with the last factors finds the same answer sooner.
    #[test]
    fn knowing_what_changed_changes_the_way_not_the_answer() {
        let (mut network, dampers) = two_rooms();
        let mut told = NetworkState::new(&network);
        let mut evaluations = [0, 0];
        let mut plain = told.clone();
        for step in 0..60_i32 {
            let apart = f64::from((step * 7 % 11 - 5) * (step % 3));
            let moved = dampers[usize::from(step % 2 == 0)];
            network.set_law(moved, law(5e3 * 1.02_f64.powf(apart)));
            let solved = network.solve_changed(&[moved], &mut told).unwrap();
            evaluations[0] += solved.evaluations;
            evaluations[1] += network.solve(&mut plain).unwrap().evaluations;
            same_flows(&told, &plain);
        }
        assert!(evaluations[0] + 15 < evaluations[1], "{evaluations:?}");
    }
}
