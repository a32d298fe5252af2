//! Two zones' dampers wired the wrong way round.

use super::{Concerns, Fault, Now, Readings, zone_name};
use crate::control::Commands;
use crate::scenario::Scenario;

/// Crossed wires: each motor hears another channel's command and reports there. The controller's
/// map of channels stays as it is: it sees nothing amiss.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DampersCrossed {
    /// The zones whose dampers are crossed.
    pub zones: [usize; 2],
    /// Pairs of channels: the first one's motor is wired to the second one's terminals.
    pub wiring: Vec<(usize, usize)>,
}

impl DampersCrossed {
    /// Crosses two zones whole: every damper of one hears the other's command. A zone commands all
    /// its dampers alike, so the first channel of each stands for it. `None` unless they are two
    /// zones with a damper each.
    pub fn zones(scenario: &Scenario, zones: [usize; 2]) -> Option<DampersCrossed> {
        let channels = |z: usize| -> Vec<usize> {
            let outlets = scenario.zones.get(z).map_or(&[][..], |z| &z.outlets);
            let channel = |&o: &usize| scenario.control.outlet_channel.get(o).copied().flatten();
            outlets.iter().filter_map(channel).collect()
        };
        let (a, b) = (channels(zones[0]), channels(zones[1]));
        let (&first_a, &first_b) = (a.first()?, b.first()?);
        let wiring = a
            .iter()
            .map(|&c| (c, first_b))
            .chain(b.iter().map(|&c| (c, first_a)))
            .collect();
        (zones[0] != zones[1]).then_some(DampersCrossed { zones, wiring })
    }

    fn rewire(&self, held: &mut [f64], values: &mut [f64]) {
        for (&(_, from), held) in self.wiring.iter().zip(held.iter_mut()) {
            *held = values.get(from).copied().unwrap_or(f64::NAN);
        }
        for (&(to, _), held) in self.wiring.iter().zip(held) {
            if let Some(value) = values.get_mut(to) {
                *value = *held;
            }
        }
    }
}

impl Fault for DampersCrossed {
    fn kind(&self) -> &'static str {
        "dampers crossed"
    }

    fn subject(&self, s: &Scenario) -> String {
        let [a, b] = self.zones.map(|z| zone_name(s, z));
        if a == b {
            a.to_string()
        } else {
            format!("{a} and {b}")
        }
    }

    fn words(&self, s: &Scenario) -> String {
        format!("dampers of {} crossed", self.subject(s))
    }

    fn concerns(&self, s: &Scenario) -> Concerns {
        let crossed = |&o: &usize| {
            let channel = s.control.outlet_channel.get(o).copied().flatten();
            channel.is_some_and(|c| self.wiring.iter().any(|w| w.0 == c))
        };
        Concerns {
            zones: self.zones.to_vec(),
            outlets: (0..s.outlets.len()).filter(crossed).collect(),
        }
    }

    fn slots(&self) -> usize {
        self.wiring.len()
    }

    fn readings(&self, _now: &Now, held: &mut [f64], readings: &mut Readings<'_>) {
        self.rewire(held, readings.damper_position);
    }

    fn commands(&self, _now: &Now, held: &mut [f64], commands: &mut Commands) {
        self.rewire(held, &mut commands.channel_opening);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zone_of_two_dampers_crosses_with_a_zone_of_one() {
        let cross = DampersCrossed {
            zones: [0, 1],
            wiring: vec![(0, 2), (1, 2), (2, 0)],
        };
        let (mut held, mut values) = ([f64::NAN; 3], [0.8, 0.8, 0.1, 0.5]);
        cross.rewire(&mut held, &mut values);
        assert_eq!(values, [0.1, 0.1, 0.8, 0.5]);
    }
}
