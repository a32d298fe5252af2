//! A break in the chain of dampers.

use super::{Concerns, Fault, Now, Readings, zones_of};
use crate::control::Commands;
use crate::scenario::Scenario;

/// Dampers strung one behind the other in the order of their channel numbers, with a break between
/// two of them: those beyond get no command, hold their position and report nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChainBroken {
    /// How many dampers lie before the break.
    pub behind: usize,
    /// Channels beyond it, by index of the controller.
    pub beyond: Vec<usize>,
}

impl ChainBroken {
    /// A chain of all channels, broken behind the damper of that count.
    pub fn behind(scenario: &Scenario, behind: usize) -> ChainBroken {
        let mut chain: Vec<(u32, usize)> = scenario
            .outlets
            .iter()
            .zip(&scenario.control.outlet_channel)
            .filter_map(|(o, c)| o.channel.zip(*c))
            .collect();
        let relief = scenario.relief.and_then(|r| r.channel);
        chain.extend(relief.zip(scenario.control.relief_channel));
        chain.sort_unstable();
        let beyond = chain.iter().skip(behind).map(|c| c.1).collect();
        ChainBroken { behind, beyond }
    }
}

impl Fault for ChainBroken {
    fn kind(&self) -> &'static str {
        "chain broken"
    }

    fn subject(&self, _s: &Scenario) -> String {
        "dampers".to_string()
    }

    fn words(&self, _s: &Scenario) -> String {
        format!("chain broken behind damper {}", self.behind)
    }

    fn concerns(&self, s: &Scenario) -> Concerns {
        let beyond = |&o: &usize| {
            let channel = s.control.outlet_channel.get(o).copied().flatten();
            channel.is_some_and(|c| self.beyond.contains(&c))
        };
        let outlets: Vec<usize> = (0..s.outlets.len()).filter(beyond).collect();
        Concerns {
            zones: zones_of(s, &outlets),
            outlets,
        }
    }

    fn readings(&self, _now: &Now, _held: &mut [f64], readings: &mut Readings<'_>) {
        for &c in &self.beyond {
            if let Some(p) = readings.damper_position.get_mut(c) {
                *p = f64::NAN;
            }
        }
    }

    fn commands(&self, _now: &Now, _held: &mut [f64], commands: &mut Commands) {
        // A motor without command keeps its position.
        for &c in &self.beyond {
            if let Some(opening) = commands.channel_opening.get_mut(c) {
                *opening = f64::NAN;
            }
        }
    }
}
