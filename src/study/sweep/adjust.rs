//! Changes to a checked scenario that no single key of the file expresses, and the standard inputs
//! made of them.

use super::inputs::{Input, Target};
use crate::math::distribution::Distribution;
use crate::plant::door::Door;
use crate::plant::network::LinearQuadratic;
use crate::plant::room::{Gain, Hours, Room};
use crate::scenario::Scenario;
use crate::scenario::uncertainty::{STANDARD, Stream};

/// What a draw is done to. Names are those of rooms, doors, zones and outlets.
#[derive(Clone, Debug, PartialEq)]
pub enum Adjustment {
    /// Multiplies a room's conductances outwards.
    Envelope(String),
    /// Multiplies the leakage of all rooms.
    Leakage,
    /// Whether a door is open by day, 1 or 0. Comes before [`Adjustment::DoorNight`].
    DoorDay(String),
    /// Whether a door is open by night, 1 or 0.
    DoorNight(String),
    /// Discharge coefficient of an open door.
    DoorDischarge(String),
    /// Multiplies the sensible heat of all people.
    PeopleHeat,
    /// Multiplies the moisture of all people.
    PeopleMoisture,
    /// Multiplies the heat and moisture of a room's equipment.
    Appliances(String),
    /// Moves the hours of a room's people, min.
    Times(String),
    /// Adds to the constant error of a zone's thermostat, K.
    SensorOffset(String),
    /// Time constant of a zone's thermostat, s.
    SensorLag(String),
    /// Multiplies the flow that an outlet takes at the pressure it was designed for.
    Flow(String),
}

/// The day of [`Adjustment::DoorDay`]: 07:00 to 22:00; common practice, no source.
const DAY: Hours = Hours {
    days: Hours::ALWAYS.days,
    from_min: 7 * 60,
    to_min: 22 * 60,
};
const NIGHT: Hours = Hours {
    days: Hours::ALWAYS.days,
    from_min: 22 * 60,
    to_min: 7 * 60,
};

impl Adjustment {
    /// What a draw does, in words, and the unit of the draw.
    fn acts(&self) -> (&'static str, &'static str) {
        match self {
            Self::DoorDay(_) | Self::DoorNight(_) => ("open or shut", ""),
            Self::DoorDischarge(_) => ("value", ""),
            Self::SensorLag(_) => ("value", "s"),
            Self::SensorOffset(_) => ("offset", "K"),
            Self::Times(_) => ("offset", "min"),
            _ => ("factor", ""),
        }
    }

    /// Applies a draw to a scenario.
    pub fn apply(&self, s: &mut Scenario, draw: f64) {
        let room = |rooms: &mut Vec<Room>, name: &str, act: &dyn Fn(&mut Room)| {
            rooms.iter_mut().filter(|r| r.name == name).for_each(act);
        };
        let door = |doors: &mut Vec<Door>, name: &str, act: &dyn Fn(&mut Door)| {
            doors.iter_mut().filter(|d| d.name == name).for_each(act);
        };
        match self {
            Self::Envelope(name) => room(&mut s.rooms, name, &|r| {
                r.opaque.iter_mut().for_each(|o| o.ua_w_k *= draw);
                r.windows.iter_mut().for_each(|w| w.ua_w_k *= draw);
                r.ground_w_k *= draw;
            }),
            Self::Leakage => {
                for r in &mut s.rooms {
                    r.infiltration_ach *= draw;
                    r.leakage_50_m3_s *= draw;
                }
            }
            Self::DoorDay(name) => door(&mut s.doors, name, &|d| {
                let by_night = d.open.iter().any(|h| h.contains(2 * 60));
                d.open.clear();
                d.open.extend((draw > 0.5).then_some(DAY));
                d.open.extend(by_night.then_some(NIGHT));
            }),
            Self::DoorNight(name) => door(&mut s.doors, name, &|d| {
                d.open.retain(|h| *h != NIGHT);
                d.open.extend((draw > 0.5).then_some(NIGHT));
            }),
            Self::DoorDischarge(name) => door(&mut s.doors, name, &|d| d.opening.discharge = draw),
            Self::PeopleHeat => gains(&mut s.rooms, &|g| {
                if g.people > 0.0 {
                    g.sensible_w *= draw;
                }
            }),
            Self::PeopleMoisture => gains(&mut s.rooms, &|g| {
                if g.people > 0.0 {
                    g.moisture_kg_s *= draw;
                }
            }),
            Self::Appliances(name) => room(&mut s.rooms, name, &|r| {
                for g in r.gains.iter_mut().filter(|g| g.people == 0.0) {
                    g.sensible_w *= draw;
                    g.moisture_kg_s *= draw;
                }
            }),
            Self::Times(name) => room(&mut s.rooms, name, &|r| {
                for g in r.gains.iter_mut().filter(|g| g.people > 0.0) {
                    g.hours = moved(g.hours, draw.round() as i32);
                }
            }),
            Self::SensorOffset(name) => {
                for z in s.zones.iter_mut().filter(|z| z.name == *name) {
                    z.sensor.offset_k += draw;
                }
            }
            Self::SensorLag(name) => {
                for z in s.zones.iter_mut().filter(|z| z.name == *name) {
                    z.sensor.lag_s = draw;
                }
            }
            Self::Flow(name) => {
                resist(s, name, 1.0 / (draw * draw));
                s.outlets.clone_from(&s.air.outlets);
            }
        }
    }
}

fn gains(rooms: &mut [Room], act: &dyn Fn(&mut Gain)) {
    rooms.iter_mut().flat_map(|r| &mut r.gains).for_each(act);
}

/// Hours moved by some minutes; the days go along when the beginning crosses midnight.
fn moved(hours: Hours, minutes: i32) -> Hours {
    if hours.from_min == 0 && hours.to_min == 1440 {
        return hours;
    }
    let from = i32::from(hours.from_min) + minutes;
    let to = i32::from(hours.to_min) + minutes;
    let week = |days: u32| (days & 0x7f) as u8;
    let days = u32::from(hours.days);
    let days = match from.div_euclid(1440) {
        0 => hours.days,
        d if d > 0 => week(days << 1 | days >> 6),
        _ => week(days >> 1 | days << 6),
    };
    Hours {
        days,
        from_min: from.rem_euclid(1440) as u16,
        to_min: ((to - 1).rem_euclid(1440) + 1) as u16,
    }
}

/// Multiplies a branch's pressure loss at its design flow by `factor`, all of it in fittings,
/// balancing damper and grille, so that the duct keeps its length and heat gain. These never fall
/// below a twentieth.
fn resist(s: &mut Scenario, name: &str, factor: f64) {
    let air = s.air.air;
    for o in s.air.outlets.iter_mut().filter(|o| o.name == name) {
        let mut bare = o.run.duct;
        bare.fitting_c = 0.0;
        let flow = o.design_flow_m3_s;
        let friction = bare.pressure_loss_pa(flow, &air);
        let minor = o.run.duct.pressure_loss_pa(flow, &air) - friction
            + o.balancing.drop_pa(flow)
            + o.grille.drop_pa(flow);
        if minor <= 0.0 {
            continue;
        }
        let k = (((friction + minor) * factor - friction) / minor).max(0.05);
        let scaled = |law: LinearQuadratic| LinearQuadratic {
            a: law.a * k,
            b: law.b * k,
        };
        o.run.duct.fitting_c *= k;
        o.balancing = scaled(o.balancing);
        o.grille = scaled(o.grille);
    }
}

/// The inputs of the standard groups that a scenario switches on. Sources: [`STANDARD`].
pub(super) fn standard(s: &Scenario) -> Vec<Input> {
    use Adjustment::*;
    use Distribution::{Discrete, Lognormal, Normal, Uniform};
    let mut out: Vec<Input> = Vec::new();
    let left_open = |key: &str| s.defaults.iter().any(|d| d.path == key);
    let (house, day) = (Stream::House, Stream::Day);
    let mut add = |group: &str, name: String, stream, distribution, adjustment: Adjustment| {
        let Some(group) = STANDARD.iter().find(|g| g.name == group) else {
            return;
        };
        if !s.uncertainty.standard.contains(&group.name) {
            return;
        }
        let (acts, unit) = adjustment.acts();
        out.push(Input {
            name,
            unit: unit.into(),
            stream,
            distribution,
            acts: acts.into(),
            source: group.source.into(),
            target: Target::Adjustment(adjustment),
        });
    };
    let lognormal = |sigma| Lognormal { median: 1.0, sigma };
    let about = |mean, sigma| Normal { mean, sigma };
    let coin = |open: f64| Discrete {
        values: vec![0.0, 1.0],
        weights: vec![1.0 - open, open],
    };
    let assumed = ["wall", "roof", "window"]
        .iter()
        .any(|part| left_open(&format!("house.{part}_u_value")));
    let sigma = if assumed { 0.30 } else { 0.15 };
    for r in &s.rooms {
        let name = format!("envelope.{}", r.name);
        add(
            "envelope",
            name,
            house,
            lognormal(sigma),
            Envelope(r.name.clone()),
        );
    }
    let sigma = if left_open("house.infiltration") {
        0.66
    } else {
        0.2
    };
    add(
        "leakage",
        "leakage".into(),
        house,
        lognormal(sigma),
        Leakage,
    );
    for d in &s.doors {
        let named = |what: &str| format!("{what}.{}", d.name);
        let by_bed = d.between.iter().any(|&r| s.room_uses[r].is_bedroom());
        let name = || d.name.clone();
        add(
            "doors",
            named("door_by_day"),
            day,
            coin(0.8),
            DoorDay(name()),
        );
        if by_bed {
            let night = named("door_by_night");
            add("doors", night, day, coin(0.5), DoorNight(name()));
        }
        let (low, high) = (0.4, 0.65);
        let discharge = named("door_discharge");
        add(
            "doors",
            discharge,
            house,
            Uniform { low, high },
            DoorDischarge(name()),
        );
    }
    add(
        "people",
        "people_heat".into(),
        day,
        about(1.0, 0.15),
        PeopleHeat,
    );
    let moisture = "people_moisture".into();
    add("people", moisture, day, about(1.0, 0.2), PeopleMoisture);
    for r in &s.rooms {
        let name = |what: &str| format!("{what}.{}", r.name);
        if r.gains.iter().any(|g| g.people == 0.0) {
            let adjustment = Appliances(r.name.clone());
            add(
                "appliances",
                name("appliances"),
                house,
                lognormal(0.5),
                adjustment,
            );
        }
        if r.gains.iter().any(|g| g.people > 0.0) {
            add(
                "times",
                name("times"),
                day,
                about(0.0, 37.5),
                Times(r.name.clone()),
            );
        }
    }
    for z in &s.zones {
        let named = |what: &str| format!("{what}.{}", z.name);
        let offset = || SensorOffset(z.name.clone());
        let (low, high) = (0.0, 0.5);
        let lag = Lognormal {
            median: 180.0,
            sigma: std::f64::consts::LN_2,
        };
        add(
            "sensors",
            named("sensor_offset"),
            house,
            about(0.0, 0.25),
            offset(),
        );
        add(
            "sensors",
            named("self_heating"),
            house,
            Uniform { low, high },
            offset(),
        );
        add(
            "sensors",
            named("sensor_lag"),
            house,
            lag,
            SensorLag(z.name.clone()),
        );
    }
    for o in &s.outlets {
        let name = format!("flow.{}", o.name);
        add("flow", name, house, lognormal(0.125), Flow(o.name.clone()));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hours(days: u8, from_min: u16, to_min: u16) -> Hours {
        Hours {
            days,
            from_min,
            to_min,
        }
    }

    #[test]
    fn hours_move_round_the_clock_with_their_days() {
        assert_eq!(
            moved(hours(0b11111, 510, 1020), 30),
            hours(0b11111, 540, 1050)
        );
        // Sunday 00:10 to 08:00, half an hour earlier, begins on Saturday.
        assert_eq!(
            moved(hours(0b1000000, 10, 480), -30),
            hours(0b0100000, 1420, 450)
        );
        assert_eq!(
            moved(hours(0b1000000, 1430, 480), 30),
            hours(0b0000001, 20, 510)
        );
        assert_eq!(moved(hours(1, 600, 1440), 0), hours(1, 600, 1440));
        assert_eq!(moved(Hours::ALWAYS, 90), Hours::ALWAYS);
    }

    #[test]
    fn a_branch_takes_the_factor_at_its_design_pressure() {
        let mut s = Scenario::embedded("family-house").unwrap();
        let loss = |s: &Scenario, flow: f64| {
            let o = &s.air.outlets[2];
            o.run.duct.pressure_loss_pa(flow, &s.air.air)
                + o.balancing.drop_pa(flow)
                + o.grille.drop_pa(flow)
        };
        let q = s.air.outlets[2].design_flow_m3_s;
        let before = loss(&s, q);
        let name = s.air.outlets[2].name.clone();
        for f in [0.9, 1.1] {
            let mut changed = s.clone();
            Adjustment::Flow(name.clone()).apply(&mut changed, f);
            // Exactly f² less at design flow; friction's share of it bends by a little at f times it.
            assert!((loss(&changed, q) * f * f / before - 1.0).abs() < 1e-9);
            assert!((loss(&changed, q * f) / before - 1.0).abs() < 0.02);
            assert_eq!(changed.outlets, changed.air.outlets);
        }
        Adjustment::Leakage.apply(&mut s, 2.0);
        let was = Scenario::embedded("family-house").unwrap();
        assert!((s.rooms[0].leakage_50_m3_s / was.rooms[0].leakage_50_m3_s - 2.0).abs() < 1e-12);
    }

    #[test]
    fn doors_by_day_and_by_night() {
        let mut s = Scenario::embedded("family-house").unwrap();
        let name = "parents".to_string();
        let at = |s: &Scenario, minute: u32| {
            let d = s.doors.iter().find(|d| d.name == "parents").unwrap();
            d.open.iter().any(|h| h.contains(minute))
        };
        Adjustment::DoorDay(name.clone()).apply(&mut s, 1.0);
        Adjustment::DoorNight(name.clone()).apply(&mut s, 1.0);
        assert!(at(&s, 12 * 60) && at(&s, 60));
        Adjustment::DoorNight(name.clone()).apply(&mut s, 0.0);
        assert!(at(&s, 12 * 60) && !at(&s, 60));
        Adjustment::DoorDay(name).apply(&mut s, 0.0);
        assert!(!at(&s, 12 * 60) && !at(&s, 60));
    }
}
