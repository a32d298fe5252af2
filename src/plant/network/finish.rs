//! The end of the search: flows that balance, held against their laws.
//!
//! Carried along the tangents of a Newton step, flows balance at every node to rounding, and what
//! is left is how far each law bends away from its tangent. That is measured, element by element,
//! at less than half the cost of another evaluation: a damper's flow gives its drop without a root.
//! What is too much is mended with the factors at hand (a chord step), which near the answer is as
//! good as a Newton step and needs neither slopes nor factors.

use super::element::is_straight;
use super::solve::{FLOW_TOLERANCE_M3_S, PRESSURE_TOLERANCE_PA, largest_of};
use super::{Network, NetworkState};

/// Share of the tolerances that may be left where nothing is mended any more: flows of two solutions
/// then agree within a tenth of the tolerance.
const LEFT: f64 = 0.03;
/// Most chord steps.
const CHORDS: usize = 3;
/// A chord step longer than this share of the step before mends too little to go on.
const SHORTER: f64 = 0.1;

/// How far the laws are from the flows along their tangents.
struct Missed {
    /// Sum over all elements, m³/s: no node's imbalance exceeds it, nor would any flow change by more.
    flow: f64,
    /// Sum over all elements of the drops that stand for it, Pa: no pressure would change by more,
    /// for a source of pressure in one branch of a grounded network of resistances moves no node by
    /// more than itself.
    pressure: f64,
    /// Whether every law is close to straight over the step.
    straight: bool,
}

impl Network {
    /// Takes the Newton step, of which the largest change is `change`, and mends it until all laws
    /// are met. Returns whether that was reached; if not, pressures in `state` are as they were.
    pub(super) fn finish(&mut self, state: &mut NetworkState, mut change: f64) -> bool {
        self.pressures.copy_from_slice(&state.pressures);
        self.chord.copy_from_slice(&self.step);
        self.missing.fill(0.0);
        // Whether all laws have been close to straight since slopes were taken.
        let mut straight = true;
        for _ in 0..=CHORDS {
            self.follow_tangents(state);
            let missed = self.misses(state);
            straight &= missed.straight;
            if missed.flow <= LEFT * FLOW_TOLERANCE_M3_S
                && missed.pressure <= LEFT * PRESSURE_TOLERANCE_PA
            {
                state.pressures.copy_from_slice(&self.pressures);
                return true;
            }
            self.lu.solve_symmetric(&mut self.chord);
            let next = largest_of(&self.chord);
            // Where no slope has gone stale, a chord step leaves a few hundredths of the miss; else
            // what it leaves is measured again.
            if missed.flow <= FLOW_TOLERANCE_M3_S && next <= PRESSURE_TOLERANCE_PA && straight {
                self.follow_tangents(state);
                state.pressures.copy_from_slice(&self.pressures);
                return true;
            }
            if next > SHORTER * change || missed.flow.is_nan() {
                return false;
            }
            change = next;
        }
        false
    }

    /// Carries the chord step into the trial pressures and, along the tangents through what the laws
    /// asked for, into the flows.
    fn follow_tangents(&mut self, state: &mut NetworkState) {
        let step = self.chord.as_slice();
        let tangents = self.wires.iter().zip(&state.slopes).zip(&self.missing);
        for (flow, ((wire, slope), missing)) in state.flows.iter_mut().zip(tangents) {
            *flow += missing + slope * (step[wire.from] - step[wire.to]);
        }
        for (pressure, step) in self.pressures.iter_mut().zip(step) {
            *pressure += step;
        }
    }

    /// Asks every law at the trial pressures, and fills `chord` with the imbalance it would make.
    fn misses(&mut self, state: &mut NetworkState) -> Missed {
        self.chord.fill(0.0);
        let nodes = self.nodes.len();
        let (pressures, chord) = (&self.pressures[..nodes], &mut self.chord[..nodes]);
        let elements = self.wires.iter().zip(&self.laws).zip(&mut state.memos);
        let tangents = state.flows.iter().zip(&state.slopes).zip(&mut self.missing);
        let mut missed = Missed {
            flow: 0.0,
            pressure: 0.0,
            straight: true,
        };
        for (((wire, law), memo), ((&flow, &slope), missing)) in elements.zip(tangents) {
            let drop = pressures[wire.from] - pressures[wire.to];
            let (miss, miss_pa) = law.miss(drop, flow, slope, memo);
            *missing = miss;
            chord[wire.from] -= miss;
            chord[wire.to] += miss;
            missed.flow += miss.abs();
            missed.pressure += miss_pa.abs();
            missed.straight &= is_straight(miss_pa, drop);
        }
        for &i in &self.fixed {
            self.chord[i] = 0.0;
        }
        missed
    }
}
