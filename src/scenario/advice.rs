//! What can be run but is seldom meant: worth a look before the figures are believed.

use super::Scenario;
use crate::plant::air_side::leakage;
use crate::plant::door::orifice_quadratic;
use crate::quantity::{Dimension, UnitSystem};

/// Sun time and clock differ by less than this in every time zone in use, h (the widest, by about
/// 3 h, in the west of zones that span a continent; common practice, no source).
const CLOCK_H: f64 = 3.0;
/// Air over a cooling coil at rating, m³/s per W; makers rate between 40 and 60 L/s per kW or so, the
/// rest is slack (common practice, no source).
const PER_W: (f64, f64) = (30e-6, 80e-6);
/// Outlets' design flows together over the fan's rated flow (our own choice).
const OUTLETS: (f64, f64) = (0.6, 1.6);

impl Scenario {
    /// Sentences on what may be a mistake, each with what was found and what would be usual. Empty for an
    /// ordinary scenario.
    pub fn advice(&self, units: UnitSystem) -> Vec<String> {
        let mut said = Vec::new();
        let shown = |value: f64, dimension| units.show(value, dimension);
        let sun_h = self.site.longitude_deg_east / 15.0;
        let clock_h = f64::from(self.site.utc_offset_s) / 3600.0;
        // Round the globe the short way.
        let apart_h = (sun_h - clock_h + 12.0).rem_euclid(24.0) - 12.0;
        if apart_h.abs() > CLOCK_H {
            said.push(format!(
                "the sun is {apart_h:+.1} h from the clock: site.longitude {:.1} deg (west is negative) \
                 does not go with site.utc_offset {clock_h:+.1} h",
                self.site.longitude_deg_east
            ));
        }
        for (i, room) in self.rooms.iter().enumerate() {
            let served = self.outlets.iter().any(|o| o.room == i);
            let drawn = self.air.returns.iter().any(|r| r.room == i);
            if !served && !drawn {
                said.push(format!(
                    "room {} has neither outlet nor return: only doors and walls cool or heat it",
                    room.name
                ));
            }
        }
        if let Some(coil) = &self.unit.unit.cooling {
            let cooling_w = coil.rated_total_w();
            let per_w = self.rated_flow_m3_s / cooling_w;
            if !(PER_W.0..=PER_W.1).contains(&per_w) {
                said.push(format!(
                    "fan.flow {} for {} of cooling is {}; coils are rated at {} to {} or so",
                    shown(self.rated_flow_m3_s, Dimension::AirFlow),
                    shown(cooling_w, Dimension::Power),
                    shown(per_w, Dimension::FlowPerPower),
                    shown(40e-6, Dimension::FlowPerPower),
                    shown(60e-6, Dimension::FlowPerPower),
                ));
            }
        }
        let outlets: f64 = self.outlets.iter().map(|o| o.design_flow_m3_s).sum();
        let share = outlets / self.rated_flow_m3_s;
        if !(OUTLETS.0..=OUTLETS.1).contains(&share) {
            said.push(format!(
                "the outlets' flows add up to {}, {} of fan.flow",
                shown(outlets, Dimension::AirFlow),
                shown(share, Dimension::Fraction)
            ));
        }
        let stuffy: Vec<_> = (0..self.rooms.len())
            .filter_map(|r| self.stuffy(r))
            .collect();
        if let Some(first) = stuffy.first() {
            let rooms: Vec<String> = stuffy.iter().map(|room| room.text(units)).collect();
            said.push(format!(
                "room pressure exceeds {} behind shut doors: {}. Cure: more `undercut` or a transfer grille (`transfer_area`), as in \
                 [door.{}] with transfer_area = \"{}\"",
                shown(self.limits.room_pressure_pa.value, Dimension::Pressure),
                rooms.join(", "),
                first.door,
                shown(first.wanted_m2 - first.area_m2, Dimension::Area),
            ));
        }
        said
    }

    /// A room whose outlets' air does not find its way out behind shut doors.
    fn stuffy(&self, room: usize) -> Option<Stuffy<'_>> {
        let served = self.outlets.iter().filter(|o| o.room == room);
        let flow_m3_s: f64 = served.map(|o| o.design_flow_m3_s).sum();
        let drawn = self.air.returns.iter().any(|r| r.room == room);
        let doors = self.doors.iter().filter(|d| d.between.contains(&room));
        let area_m2: f64 = doors.clone().map(|d| d.shut_area_m2).sum();
        let door = doors.clone().next()?;
        if flow_m3_s <= 0.0 || drawn {
            return None;
        }
        // Through cracks to outdoors, and through one m² of door, at a pressure.
        let law = leakage(&self.rooms[room]);
        let cracks = |pa: f64| law.flow_and_slope(pa).0;
        let density = self.air.air.density_kg_m3;
        let b = orifice_quadratic(1.0, door.opening.discharge, density);
        let gaps = |pa: f64| (pa / b).sqrt();
        let limit_pa = self.limits.room_pressure_pa.value;
        let wanted_m2 = (flow_m3_s - cracks(limit_pa)) / gaps(limit_pa);
        if wanted_m2 <= area_m2 {
            return None;
        }
        let (mut low_pa, mut high_pa) = (limit_pa, 2000.0);
        for _ in 0..60 {
            let pa = 0.5 * (low_pa + high_pa);
            if cracks(pa) + area_m2 * gaps(pa) < flow_m3_s {
                low_pa = pa;
            } else {
                high_pa = pa;
            }
        }
        Some(Stuffy {
            room: &self.rooms[room].name,
            door: &door.name,
            pressure_pa: low_pa,
            area_m2,
            wanted_m2,
        })
    }
}

/// What the air of a room lacks behind shut doors.
struct Stuffy<'a> {
    room: &'a str,
    /// The first of its doors.
    door: &'a str,
    pressure_pa: f64,
    /// Free area of its shut doors, and what would keep the limit.
    area_m2: f64,
    wanted_m2: f64,
}

impl Stuffy<'_> {
    fn text(&self, units: UnitSystem) -> String {
        format!(
            "{} {} (gaps of {}, {} needed)",
            self.room,
            units.show(self.pressure_pa, Dimension::Pressure),
            units.show(self.area_m2, Dimension::Area),
            units.show(self.wanted_m2, Dimension::Area)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::shelf;

    fn with(changes: &str) -> Vec<String> {
        let text = format!("based_on = \"family-house.toml\"\n{changes}");
        Scenario::from_text("changed", &text)
            .unwrap()
            .advice(UnitSystem::Si)
    }

    #[test]
    fn what_ships_needs_no_advice() {
        let starter = Scenario::from_text("house", shelf::STARTER).unwrap();
        assert_eq!(starter.advice(UnitSystem::Si), Vec::<String>::new());
        for (name, _) in shelf::SHELF {
            let name = name.trim_end_matches(".toml");
            let mut said = Scenario::embedded(name).unwrap().advice(UnitSystem::Si);
            // The family house shows what doors without grilles do.
            let doors = said.len();
            said.retain(|s| !s.contains("behind shut doors"));
            assert!(name != "winter-morning" || said.len() == doors, "{name}");
            assert_eq!(said, Vec::<String>::new(), "{name}");
        }
    }

    #[test]
    fn slips_are_seen() {
        let one = |changes: &str, part: &str| {
            let mut said = with(changes);
            said.retain(|s| !s.contains("behind shut doors"));
            assert!(
                said.len() == 1 && said[0].contains(part),
                "{changes}: {said:?}"
            );
        };
        one("[site]\nlongitude = \"-149.6 deg\"", "the sun is");
        one("[unit]\ncooling_capacity = \"100 kW\"", "(L/s)/kW");
        one(
            "[room.attic]\nuse = \"bedroom\"\narea = \"9 m2\"",
            "room attic has neither",
        );
        // Nothing is said of a room whose door has what it wants, nor where doors have a grille each.
        let said = with("[door.study]\ntransfer_area = \"150 cm2\"");
        let doors = said.iter().find(|s| s.contains("behind shut doors"));
        assert!(doors.is_some_and(|s| s.contains("parents") && !s.contains("study")));
        let said = with("[fan]\nflow = \"5500 L/s\"");
        assert!(said.iter().any(|s| s.contains("(L/s)/kW")), "{said:?}");
        assert!(said.iter().any(|s| s.contains("of fan.flow")), "{said:?}");
    }
}
