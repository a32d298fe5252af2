//! A sensible instance of every kind of fault for a scenario. To add one: append it to the list.

use crate::fault::{
    ChainBroken, DamperStuck, DampersCrossed, Feedback, FilterBlocked, RadioLost, ReliefStuck,
    ReliefUndersized, Scheduled, SensorFrozen, SensorInSun, SensorLost, SensorOffset, WrongMode,
};
use crate::plant::sun::Surface;
use crate::scenario::Scenario;
use crate::scenario::fault::on_facade;

/// Outlets of a zone that have a damper.
fn dampers(s: &Scenario, zone: usize) -> Vec<usize> {
    let has = |&&o: &&usize| s.control.outlet_channel[o].is_some();
    s.zones[zone].outlets.iter().filter(has).copied().collect()
}

/// Zones by design flow, smallest first; of equals the first in the file.
fn by_size(s: &Scenario) -> Vec<usize> {
    let flow = |z: usize| -> f64 {
        let outlets = s.zones[z].outlets.iter();
        outlets.map(|&o| s.outlets[o].design_flow_m3_s).sum()
    };
    let mut zones: Vec<usize> = (0..s.zones.len()).collect();
    zones.sort_by(|&a, &b| flow(a).total_cmp(&flow(b)));
    zones
}

/// The suspects, all from the start of the run: dampers of the largest and smallest zone, the first
/// two zones crossed, the relief, the filter, the thermostat of the largest zone, the chain broken in
/// its middle, the unit's mode.
pub fn suspects(s: &Scenario) -> Vec<Scheduled> {
    let mut out = Vec::new();
    let zones = by_size(s);
    let (Some(&small), Some(&large)) = (zones.first(), zones.last()) else {
        return out;
    };
    let stuck = |zone: usize, position: f64| {
        let outlets = dampers(s, zone);
        (!outlets.is_empty()).then(|| {
            Scheduled::always(DamperStuck {
                outlets,
                position: Some(position),
                feedback: Feedback::Motor,
            })
        })
    };
    out.extend(stuck(large, 0.0));
    out.extend(stuck(small, 1.0));
    out.extend(stuck(large, 0.3));
    if s.zones.len() > 1 {
        out.extend(DampersCrossed::zones(s, [0, 1]).map(Scheduled::always));
    }
    if s.relief.is_some() {
        out.push(Scheduled::always(ReliefStuck { position: 0.0 }));
        out.push(Scheduled::always(ReliefStuck { position: 1.0 }));
        out.push(Scheduled::always(ReliefUndersized { factor: 0.5 }));
    }
    out.push(Scheduled::always(FilterBlocked { factor: 6.0 }));
    out.push(Scheduled::always(SensorLost { zone: large }));
    out.push(Scheduled::always(SensorFrozen {
        zone: large,
        reading_c: None,
    }));
    out.push(Scheduled::always(SensorOffset {
        zone: large,
        offset_k: 2.0,
    }));
    out.push(Scheduled::always(SensorInSun {
        zone: large,
        rise_k: 3.0,
        sun: on_facade(&Surface::vertical(270.0), s),
    }));
    out.push(Scheduled::always(RadioLost {
        zone: large,
        fallback_s: 1800.0,
    }));
    let chain = ChainBroken::behind(s, s.control.actuators.len() / 2);
    if !chain.beyond.is_empty() {
        out.push(Scheduled::always(chain));
    }
    out.push(Scheduled::always(WrongMode { stuck_in: None }));
    out
}
