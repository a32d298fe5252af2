//! What faults need to know of a system.

use super::Fault;

/// A zone.
#[derive(Clone, Copy, Debug)]
pub struct ZonePart<'a> {
    /// Its name.
    pub name: &'a str,
    /// The outlets it drives, by index.
    pub outlets: &'a [usize],
}

/// An outlet.
#[derive(Clone, Copy, Debug)]
pub struct OutletPart<'a> {
    /// Its name.
    pub name: &'a str,
    /// Channel of its damper, by index of the controller.
    pub channel: Option<usize>,
    /// Flow it is laid out for, m³/s.
    pub design_flow_m3_s: f64,
}

/// Names, who drives what, and the order of the dampers on their bus.
#[derive(Clone, Debug)]
pub struct Parts<'a> {
    /// Zones in the order of the file.
    pub zones: Vec<ZonePart<'a>>,
    /// Outlets in the order of the file.
    pub outlets: Vec<OutletPart<'a>>,
    /// Channels, by index of the controller, in the order of their numbers.
    pub bus: Vec<usize>,
    /// Whether there is a relief damper.
    pub relief: bool,
}

impl Parts<'_> {
    pub(super) fn zone_name(&self, zone: usize) -> &str {
        self.zones.get(zone).map_or("?", |z| z.name)
    }

    /// All dampers of a zone go by its name.
    pub(super) fn outlet_names(&self, outlets: &[usize]) -> String {
        match self.zones.iter().find(|z| z.outlets == outlets) {
            Some(z) if outlets.len() > 1 => z.name.to_string(),
            _ => {
                let name = |&o: &usize| self.outlets.get(o).map_or("?", |o| o.name);
                outlets.iter().map(name).collect::<Vec<_>>().join(" and ")
            }
        }
    }

    pub(super) fn zones_with(&self, outlet: impl Fn(usize) -> bool) -> Vec<usize> {
        let drives = |&z: &usize| self.zones[z].outlets.iter().any(|&o| outlet(o));
        (0..self.zones.len()).filter(drives).collect()
    }

    /// Outlets of a zone that have a damper, with its channel.
    pub fn dampers(&self, zone: usize) -> Vec<(usize, usize)> {
        let outlets = self.zones.get(zone).map_or(&[][..], |z| z.outlets);
        let channel = |&o: &usize| Some((o, self.outlets.get(o)?.channel?));
        outlets.iter().filter_map(channel).collect()
    }

    /// Two zones crossed whole: every damper of one gets the other's command. A zone commands all its
    /// dampers alike. `None` unless they are two zones with a damper each.
    pub fn crossed(&self, zones: [usize; 2]) -> Option<Fault> {
        let channels = zones.map(|z| self.dampers(z).into_iter().map(|d| d.1).collect::<Vec<_>>());
        let two = zones[0] != zones[1] && channels.iter().all(|c| !c.is_empty());
        two.then_some(Fault::DampersCrossed { zones, channels })
    }

    /// The bus open after so many dampers; `None` when no damper is beyond.
    pub fn bus_open(&self, after_damper: usize) -> Option<Fault> {
        let beyond = self.bus.get(after_damper..).filter(|b| !b.is_empty())?;
        Some(Fault::BusOpen {
            after_damper,
            beyond: beyond.to_vec(),
        })
    }

    /// Zones by design flow, smallest first; of equals the first in the file.
    pub(super) fn by_size(&self) -> Vec<usize> {
        let flow = |z: usize| -> f64 {
            let outlets = self.zones[z].outlets.iter();
            outlets.map(|&o| self.outlets[o].design_flow_m3_s).sum()
        };
        let mut zones: Vec<usize> = (0..self.zones.len()).collect();
        zones.sort_by(|&a, &b| flow(a).total_cmp(&flow(b)));
        zones
    }
}
