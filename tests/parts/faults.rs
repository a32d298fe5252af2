//! Faults: what each does to the readings, held to the fault catalogue of our own reference sheet
//! (equipment.md, section 5, worked out on a small network; no outside source), and what the layer
//! must leave alone.

use crate::engine::event::What;
use crate::fault::{Fault, FaultState, Kind, Plant, Readings, Scheduled, SensorSun, SunOnSensor};
use crate::plant::air_side::Impairment;
use crate::report::UnitSystem;
use crate::report::faults::test_words;
use crate::run::{Outcome, simulate};
use crate::scenario::Scenario;
use crate::study::faults::functional_test::{self, FunctionalTest};
use crate::study::faults::symptoms::{Direction, Symptom, symptoms};

use Direction::{Down, Same, Up};

const LIVING: usize = 0;
const PARENTS: usize = 1;
const STUDY: usize = 3;

/// The family house with a fixed-speed unit on a hot afternoon, thermostats all day in their bands
/// unless `zones` says otherwise, protections taken out unless asked for.
fn house(more: &str, zones: [&str; 4], idle: f64) -> Scenario {
    let all = "schedule = [{ from = \"00:00\", to = \"24:00\" }]";
    let band = |i: usize| if zones[i].is_empty() { all } else { zones[i] };
    let text = format!(
        "based_on = \"family-house.toml\"\n\
         [run]\nstart = \"2027-01-18 12:00\"\nduration = \"6 h\"\nwarm_up = \"12 h\"\nstep = \"2 s\"\n\
         [control]\nguard = false\n\
         [zone.living]\nopening_when_satisfied = {idle:.2}\n{}\n[zone.parents]\n{}\n[zone.children]\n{}\n\
         [zone.study]\n{}\n{more}\n",
        band(0),
        band(1),
        band(2),
        band(3),
    );
    Scenario::from_text("faults-test", &text).unwrap_or_else(|e| panic!("{e}"))
}

const OFF: &str = "schedule = []";
/// Calls all day, at a setpoint out of reach.
const HARD: &str = "cooling = \"17 °C\"\nschedule = [{ from = \"00:00\", to = \"24:00\" }]";
/// A unit that the hottest hours outrun: with capacity in hand thermostats hide a weak airflow.
const AT_ITS_END: &str = "[unit]\nkind = \"fixed speed\"\ncooling_capacity = \"4.5 kW\"\n";
const NO_TRIPS: &str =
    "[protection.low_supply]\nfitted = false\n[protection.coil_freeze]\nfitted = false\n";
const FIXED: &str = "[unit]\nkind = \"fixed speed\"\n";

fn run(s: &Scenario) -> Outcome {
    simulate(s, |_| ()).unwrap_or_else(|e| panic!("{e}"))
}

fn with(s: &Scenario, faults: Vec<Scheduled>) -> Scenario {
    Scenario {
        faults,
        ..s.clone()
    }
}

/// One damper stuck, its motor turning on.
fn stuck_at(outlet: usize, position: f64) -> Fault {
    Fault::DamperStuck {
        outlets: vec![outlet],
        position: Some(position),
        blade_reported_by: Vec::new(),
    }
}

/// Symptoms of one fault that lasts all through the run.
struct Seen(Vec<Symptom>);

impl Seen {
    fn of(s: &Scenario, fault: Fault) -> Seen {
        let fault = Scheduled::always(fault);
        let (healthy, faulty) = (run(s), run(&with(s, vec![fault.clone()])));
        Seen(symptoms(s, &fault, &healthy, &faulty))
    }

    fn get(&self, key: &str, subject: &str) -> &Symptom {
        let found = self.0.iter().find(|t| t.key == key && t.subject == subject);
        found.unwrap_or_else(|| panic!("no symptom {key} of {subject}"))
    }

    fn way(&self, key: &str, subject: &str) -> Direction {
        let t = self.get(key, subject);
        println!("{key} {subject}: {:.3} -> {:.3}", t.healthy, t.faulty);
        t.direction()
    }
}

fn test_of(s: &Scenario, fault: Fault) -> FunctionalTest {
    let prepared = functional_test::prepare(s).unwrap_or_else(|e| panic!("{e}"));
    prepared
        .run(&[Scheduled::always(fault)])
        .unwrap_or_else(|e| panic!("{e}"))
}

fn healthy_test(s: &Scenario) -> FunctionalTest {
    let prepared = functional_test::prepare(s).unwrap_or_else(|e| panic!("{e}"));
    prepared.run(&[]).unwrap_or_else(|e| panic!("{e}"))
}

/// The house with its doors shut, as the functional test wants it.
fn doors_shut() -> Scenario {
    let mut s = house(NO_TRIPS, [""; 4], 0.0);
    s.doors.iter_mut().for_each(|d| d.open.clear());
    s
}

// --- Signatures, row by row of the sheet's table -------------------------------------------------

#[test]
fn a_damper_stuck_shut() {
    // The sheet: the zone drifts while calling, never satisfied; static up when others open too;
    // supply colder; few, long runs.
    let s = house(&format!("{FIXED}{NO_TRIPS}"), [""; 4], 0.0);
    let seen = Seen::of(&s, stuck_at(2, 0.0));
    assert_eq!(seen.way("room_air", "parents"), Up);
    assert_eq!(seen.way("setpoint_error", "parents"), Up);
    assert_eq!(seen.way("calling_share", "parents"), Up);
    assert!(
        seen.get("calling_share", "parents").faulty > 0.97,
        "never satisfied"
    );
    assert_eq!(seen.way("static_full_speed", "house"), Up);
    assert_eq!(seen.way("supply_air", "house"), Down);
    assert_ne!(seen.way("running_share", "house"), Down, "long runs");
    assert_ne!(seen.way("starts_per_hour", "house"), Up);
    // The motor reports that it is open; the flow says otherwise.
    assert_eq!(seen.way("blade_off_report", "parents"), Up);
    assert_eq!(seen.way("flow_reported_open", "parents"), Down);
    assert_eq!(seen.way("blade_off_report", "study"), Same);
}

#[test]
fn a_damper_stuck_shut_trips_the_unit_when_its_zone_calls_alone() {
    // The sheet: "or protection trips if alone".
    let s = house(FIXED, [OFF, "", OFF, OFF], 0.0);
    let seen = Seen::of(&s, stuck_at(2, 0.0));
    assert_eq!(seen.way("protection_acts", "house"), Up);
    assert_eq!(seen.way("room_air", "parents"), Up);
}

#[test]
fn a_damper_stuck_open() {
    // The sheet: over-conditioned only while others call, below its setpoint in cooling; static lower
    // than expected for the commanded set; supply milder; fewer starts, the caller's run time longer.
    let s = house(&format!("{FIXED}{NO_TRIPS}"), [OFF, "", OFF, OFF], 0.0);
    let stuck = || stuck_at(5, 1.0);
    let seen = Seen::of(&s, stuck());
    assert_eq!(seen.way("room_air", "study"), Down);
    assert_eq!(seen.way("static_full_speed", "house"), Down);
    assert_eq!(seen.way("supply_air", "house"), Up);
    assert_eq!(seen.way("flow_reported_shut", "study"), Up);
    // A caller whose runs are longer than the least run time: it shares its air, so they grow
    // longer still and fewer.
    let living = house(&format!("{FIXED}{NO_TRIPS}"), ["", OFF, OFF, OFF], 0.0);
    let seen = Seen::of(&living, stuck());
    assert_eq!(seen.way("running_share", "house"), Up);
    assert_ne!(seen.way("starts_per_hour", "house"), Up);
    // It follows the unit, not its own setpoint: with that at 28 °C it is cooled far below.
    let lenient = "cooling = \"28 °C\"\nschedule = [{ from = \"00:00\", to = \"24:00\" }]";
    let follows = house(&format!("{FIXED}{NO_TRIPS}"), ["", "", "", lenient], 0.0);
    let seen = Seen::of(&follows, stuck());
    assert_eq!(seen.way("setpoint_error", "study"), Down);
    assert!(seen.get("setpoint_error", "study").faulty < -1.0);
    // While nobody else calls it is as any other room.
    let idle = house(&format!("{FIXED}{NO_TRIPS}"), [OFF; 4], 0.0);
    let seen = Seen::of(&idle, stuck());
    assert_eq!(seen.get("room_air", "study").difference(), 0.0);
}

#[test]
fn a_damper_stuck_part_open() {
    // The sheet: right at one load, wrong at peak; feedback and flow disagree; static slightly off.
    let stuck = || stuck_at(2, 0.25);
    let s = house(&format!("{FIXED}{NO_TRIPS}"), [""; 4], 0.0);
    let peak = Seen::of(&s, stuck());
    assert_eq!(peak.way("setpoint_error", "parents"), Up);
    assert_eq!(peak.way("blade_off_report", "parents"), Up);
    assert_eq!(peak.way("flow_reported_open", "parents"), Down);
    let shut = Seen::of(&s, stuck_at(2, 0.0));
    let of = |seen: &Seen| seen.get("static_full_speed", "house").difference().abs();
    assert!(of(&peak) < of(&shut), "{} {}", of(&peak), of(&shut));
    let mild = "[weather]\nkind = \"summer day\"\nmaximum = \"28 °C\"\n";
    let s = house(&format!("{FIXED}{NO_TRIPS}{mild}"), [""; 4], 0.0);
    let seen = Seen::of(&s, stuck());
    let off = |seen: &Seen| seen.get("setpoint_error", "parents").faulty;
    println!("peak {:.2} K, mild {:.2} K", off(&peak), off(&seen));
    assert!(off(&seen) < 0.5, "right at a mild load");
}

#[test]
fn crossed_dampers_drift_apart() {
    // The sheet: A calls, B's temperature moves; A runs away from its setpoint, B to the other side.
    let s = house(&format!("{FIXED}{NO_TRIPS}"), [OFF, "", OFF, OFF], 0.0);
    let cross = s.parts().crossed([PARENTS, STUDY]).expect("two zones");
    let seen = Seen::of(&s, cross);
    assert_eq!(seen.way("room_air", "parents"), Up);
    assert_eq!(seen.way("room_air", "study"), Down);
    assert!(
        seen.get("room_air", "study").faulty < 24.0,
        "beyond its setpoint"
    );
    assert_eq!(seen.way("running_share", "house"), Up, "long runs");
}

#[test]
fn crossed_dampers_are_right_when_both_call_or_neither() {
    let cross = |s: &Scenario| s.parts().crossed([PARENTS, STUDY]).expect("two zones");
    // Setpoints out of reach: both call throughout and open fully, so both commands are one.
    for zones in [[HARD; 4], [OFF; 4]] {
        let s = house(&format!("{AT_ITS_END}{NO_TRIPS}"), zones, 0.0);
        let fault = cross(&s);
        let seen = Seen::of(&s, fault);
        for t in &seen.0 {
            assert_eq!(t.direction(), Same, "{t:?}");
        }
    }
    // Static is as it would be for the dampers that do stand open: the rows of the functional test change places.
    let s = doors_shut();
    let (sound, crossed) = (healthy_test(&s), test_of(&s, cross(&s)));
    assert!((sound.tests[2].static_pa - crossed.tests[5].static_pa).abs() < 0.5);
    assert!((sound.tests[5].static_pa - crossed.tests[2].static_pa).abs() < 0.5);
}

#[test]
fn a_relief_stuck_shut() {
    // The sheet: high static and trips when few zones call. Its numbers also say that the supply
    // air is less cold than with the relief at work (1.0 against -3.8 °C), for no cold air goes round.
    let alone = house(FIXED, [OFF, OFF, OFF, ""], 0.0);
    let shut = || Fault::ReliefStuck { position: 0.0 };
    let seen = Seen::of(&alone, shut());
    assert_eq!(seen.way("static_full_speed", "house"), Up);
    assert_eq!(seen.way("static_worst", "house"), Up);
    let unprotected = house(&format!("{FIXED}{NO_TRIPS}"), [OFF, OFF, OFF, ""], 0.0);
    let seen = Seen::of(&unprotected, shut());
    assert_eq!(seen.way("supply_air", "house"), Up);
    // With everything open the relief has nothing to do.
    let all = house(&format!("{FIXED}{NO_TRIPS}"), [HARD; 4], 0.0);
    let seen = Seen::of(&all, shut());
    assert_eq!(seen.way("static_worst", "house"), Same);
}

#[test]
fn a_relief_stuck_open() {
    // The sheet: all rooms slow, static low always, supply colder than with all open, long runs.
    let s = house(&format!("{AT_ITS_END}{NO_TRIPS}"), [""; 4], 0.0);
    let seen = Seen::of(&s, Fault::ReliefStuck { position: 1.0 });
    for zone in ["living", "parents", "children", "study"] {
        assert_eq!(seen.way("room_air", zone), Up, "{zone}");
    }
    assert_eq!(seen.way("static_full_speed", "house"), Down);
    assert_eq!(seen.way("static_worst", "house"), Down);
    assert_eq!(seen.way("supply_air", "house"), Down);
    assert_ne!(seen.way("running_share", "house"), Down);
}

#[test]
fn a_relief_too_small_shows_only_with_the_smallest_zones() {
    let small = || Fault::ReliefUndersized { flow_fraction: 0.4 };
    let rise = |zones: [&str; 4]| {
        let s = house(&format!("{FIXED}{NO_TRIPS}"), zones, 0.0);
        let seen = Seen::of(&s, small());
        let way = seen.way("static_full_speed", "house");
        (way, seen.get("static_full_speed", "house").difference())
    };
    let alone = rise([OFF, OFF, OFF, HARD]);
    let living = rise([HARD, OFF, OFF, OFF]);
    let all = rise([HARD; 4]);
    assert_eq!((alone.0, all.0), (Up, Same));
    assert!(alone.1 > 3.0 * living.1 && living.1 > all.1);
}

#[test]
fn a_blocked_filter() {
    // The sheet: all rooms slow, supply static falls, suction rises, supply colder. The suction that
    // rises is that between filter and fan; in the return plenum before the filter it falls with the
    // flow, which the sheet's lumped return-and-filter resistance does not show.
    let s = house(&format!("{AT_ITS_END}{NO_TRIPS}"), [""; 4], 0.0);
    let fault = || Fault::FilterBlocked {
        resistance_factor: 6.0,
    };
    let seen = Seen::of(&s, fault());
    assert_eq!(seen.way("static_full_speed", "house"), Down);
    assert_eq!(seen.way("return_static", "house"), Up);
    assert_eq!(seen.way("fan_flow_full_speed", "house"), Down);
    assert_eq!(seen.way("supply_air", "house"), Down);
    let warmer: Vec<f64> = ["living", "parents", "children", "study"]
        .iter()
        .map(|z| seen.get("room_air", z).difference())
        .collect();
    println!("rooms {warmer:?}");
    // A coil with a fifth less air gives nearly the same cooling, colder: the rooms lose little.
    assert!(warmer.iter().all(|d| *d > 0.05), "every room is slower");
    assert_ne!(seen.way("running_share", "house"), Down);
    let [sound, blocked] = [run(&s), run(&with(&s, vec![Scheduled::always(fault())]))];
    let deepest = |o: &Outcome| {
        let column = o.trace.column("return_plenum.static_Pa").unwrap_or(&[]);
        column.iter().copied().fold(0.0, f64::min)
    };
    assert!(
        deepest(&blocked) > deepest(&sound),
        "before the filter suction falls"
    );
}

#[test]
fn a_lost_sensor_stops_its_calls() {
    let s = house(FIXED, [OFF, "", OFF, OFF], 0.0);
    let seen = Seen::of(&s, Fault::SensorLost { zone: PARENTS });
    assert_eq!(seen.way("sensor_lost_share", "parents"), Up);
    assert_eq!(seen.get("calling_share", "parents").faulty, 0.0);
    assert_eq!(
        seen.get("running_share", "house").faulty,
        0.0,
        "calls stop entirely"
    );
}

#[test]
fn a_frozen_reading_calls_for_ever_or_never() {
    let s = house(&format!("{FIXED}{NO_TRIPS}"), [""; 4], 0.0);
    for (reading, share) in [(26.0, 1.0), (22.0, 0.0)] {
        let frozen = Fault::SensorFrozen {
            zone: PARENTS,
            reading_c: Some(reading),
        };
        let seen = Seen::of(&s, frozen);
        assert_eq!(seen.get("calling_share", "parents").faulty, share);
        assert!(
            seen.get("sensor_spread", "parents").faulty < 1e-9,
            "no variance"
        );
        assert!(
            seen.get("sensor_spread", "children").faulty > 0.01,
            "neighbours move"
        );
        let way = if share == 1.0 { Down } else { Up };
        assert_eq!(seen.way("room_air", "parents"), way);
    }
}

#[test]
fn an_offset_is_a_constant_error() {
    let s = house(NO_TRIPS, [""; 4], 0.0);
    let seen = Seen::of(
        &s,
        Fault::SensorOffset {
            zone: PARENTS,
            offset_k: 1.5,
        },
    );
    assert!((seen.get("sensor_error", "parents").difference() - 1.5).abs() < 0.15);
    assert_eq!(seen.way("room_air", "parents"), Down);
}

#[test]
fn sun_on_a_sensor_over_cools_the_afternoon_every_day() {
    let mild = "[weather]\nmaximum = \"30 °C\"\n";
    let mut s = house(&format!("{NO_TRIPS}{mild}"), [""; 4], 0.0);
    s.run.duration_s = 32.0 * 3600.0;
    let sun = Scheduled::always(Fault::SensorInSun {
        zone: PARENTS,
        rise_k: 3.0,
        sun: SunOnSensor::Hours {
            from_s: 14.0 * 3600.0,
            to_s: 18.0 * 3600.0,
        },
    });
    let (healthy, faulty) = (run(&s), run(&with(&s, vec![sun.clone()])));
    let part = |from_h: f64, to_h: f64| {
        let window = Scheduled {
            from_s: from_h * 3600.0,
            until_s: to_h * 3600.0,
            ..sun.clone()
        };
        Seen(symptoms(&s, &window, &healthy, &faulty))
    };
    for day in [0.0, 24.0] {
        // While the sun grows on it; later the room, too cold, calls less.
        let seen = part(day + 2.0, day + 4.0);
        assert_eq!(seen.way("room_air", "parents"), Down, "day {day}");
        assert_eq!(seen.way("sensor_error", "parents"), Up);
        assert_eq!(seen.way("calling_share", "parents"), Up, "extra calls");
    }
    let night = part(12.0, 20.0);
    assert_eq!(night.way("sensor_error", "parents"), Same);
    let (noon, night) = (
        part(2.0, 4.0),
        night.get("room_air", "parents").difference(),
    );
    // The walls keep a little of the cold.
    assert!(night.abs() < 0.2 * noon.get("room_air", "parents").difference().abs());
}

#[test]
fn an_oversized_and_an_undersized_unit() {
    // No faults of a part, so no [[fault]]: the file says it. The sheet: oversized, wide swings and
    // starts up; undersized, never at its setpoint at peak and always on.
    let unit = |kw: &str, most: &str| {
        let size = format!("[unit]\nkind = \"fixed speed\"\ncooling_capacity = \"{kw} kW\"\n");
        let weather = format!("[weather]\nmaximum = \"{most} °C\"\n");
        let s = house(&format!("{size}{NO_TRIPS}{weather}"), [""; 4], 0.0);
        let outcome = run(&s);
        let fault = Scheduled::always(Fault::SensorLost { zone: 0 });
        Seen(symptoms(&s, &fault, &outcome, &outcome))
    };
    let (right, large) = (unit("6", "31"), unit("12", "31"));
    let starts = |s: &Seen| s.get("starts_per_hour", "house").healthy;
    println!("starts {} {}", starts(&right), starts(&large));
    assert!(starts(&large) > starts(&right));
    let small = unit("3", "37");
    assert_eq!(starts(&small), 0.0, "always on");
    assert_eq!(small.get("running_share", "house").healthy, 1.0);
    assert!(small.get("setpoint_error", "living").healthy > 1.0);
}

#[test]
fn an_open_bus_holds_the_dampers_beyond() {
    let s = house(NO_TRIPS, [""; 4], 0.0);
    let bus = s.parts().bus_open(3).expect("six dampers");
    let faulty = run(&with(&s, vec![Scheduled::always(bus.clone())]));
    for (o, outlet) in s.outlets.iter().enumerate() {
        let column = |what: &str| {
            let name = format!("outlet.{}.{what}", outlet.name);
            faulty.trace.column(&name).unwrap_or(&[])[1..].to_vec()
        };
        let opening = column("opening");
        let still = opening.iter().all(|p| *p == opening[0]);
        assert_eq!(still, o >= 3, "{}", outlet.name);
        assert_eq!(
            column("reported_opening").iter().all(|p| p.is_nan()),
            o >= 3
        );
    }
    assert!(matches!(bus, Fault::BusOpen { beyond, .. } if beyond.len() == 3));
}

#[test]
fn radio_contact_lost_holds_the_last_reading_and_then_falls_back() {
    let s = house(NO_TRIPS, [""; 4], 0.0);
    let mut lost = Scheduled::always(Fault::RadioLost {
        zone: PARENTS,
        fallback_s: 1800.0,
    });
    lost.from_s = 3600.0;
    let faulty = run(&with(&s, vec![lost]));
    let t = faulty.trace.column("time_s").unwrap_or(&[]);
    let read = faulty.trace.column("zone.parents.sensor_C").unwrap_or(&[]);
    let within = |from: f64, to: f64| {
        let rows = t
            .iter()
            .zip(read)
            .filter(move |(t, _)| **t > from && **t <= to);
        rows.map(|(_, r)| *r).collect::<Vec<f64>>()
    };
    let held = within(3600.0, 5400.0);
    assert!(held.len() > 20 && held.iter().all(|r| *r == held[0]));
    assert!(within(5401.0, 9000.0).iter().all(|r| r.is_nan()));
}

#[test]
fn a_unit_in_the_wrong_mode_warms_what_it_should_cool() {
    let s = house("", [""; 4], 0.0);
    let seen = Seen::of(&s, Fault::WrongMode { stuck_in: None });
    assert_eq!(seen.way("room_air", "living"), Up);
    assert_eq!(seen.way("supply_air", "house"), Up);
    assert_ne!(seen.way("calling_share", "living"), Down);
}

// --- The functional test ------------------------------------------------------------------------------------

#[test]
fn the_functional_test_of_a_healthy_house_is_diagonal() {
    let s = doors_shut();
    let sound = healthy_test(&s);
    assert_eq!(sound.tests.len(), 6);
    for t in &sound.tests {
        let own = t.rooms_k_h[s.outlets[t.outlet].room];
        for (r, response) in t.rooms_k_h.iter().enumerate() {
            let mine = r == s.outlets[t.outlet].room;
            assert!(if mine {
                own < -5.0
            } else {
                response.abs() < 0.4 * own.abs()
            });
        }
    }
    let words = test_words(&s, &sound, &sound, UnitSystem::Si);
    assert_eq!(words, ["as in the healthy system"]);
}

#[test]
fn the_functional_test_distinguishes_the_faults() {
    // The sheet: cross-link, swapped off-diagonals; stuck open, a full column; stuck shut, a zero row.
    let s = doors_shut();
    let sound = healthy_test(&s);
    let parents = s.outlets[2].room;
    let study = s.outlets[5].room;

    let crossed = s.parts().crossed([PARENTS, STUDY]).expect("two zones");
    let d = test_of(&s, crossed);
    assert!(d.tests[2].rooms_k_h[study] < 0.7 * sound.tests[5].rooms_k_h[study]);
    assert!(d.tests[5].rooms_k_h[parents] < 0.7 * sound.tests[2].rooms_k_h[parents]);
    assert!(d.tests[2].rooms_k_h[parents].abs() < 0.25 * sound.own_k_h(&s, 2));

    let d = test_of(&s, stuck_at(5, 1.0));
    for t in &d.tests {
        assert!(t.rooms_k_h[study] < 0.25 * sound.tests[5].rooms_k_h[study]);
    }

    let d = test_of(&s, stuck_at(2, 0.0));
    assert!(d.tests[2].rooms_k_h[parents].abs() < 0.2 * sound.own_k_h(&s, 2));
    for o in [0, 1, 3, 4, 5] {
        let share = d.own_k_h(&s, o) / sound.own_k_h(&s, o);
        assert!(
            (share - 1.0).abs() < 0.05,
            "others respond as before: {share}"
        );
    }

    // A thermostat that reads wrong leaves the rooms' responses as they are.
    let d = test_of(
        &s,
        Fault::SensorOffset {
            zone: LIVING,
            offset_k: 2.0,
        },
    );
    for (a, b) in d.tests.iter().zip(&sound.tests) {
        assert_eq!(a.rooms_k_h, b.rooms_k_h);
    }
    assert!((d.sensor_error_k[LIVING] - sound.sensor_error_k[LIVING] - 2.0).abs() < 1e-9);
}

// --- The layer ------------------------------------------------------------------------------------

fn text(faults: &str) -> String {
    format!(
        "based_on = \"family-house.toml\"\n[run]\nstart = \"2027-01-18 12:00\"\nduration = \"2 h\"\n\
         warm_up = \"2 h\"\nstep = \"2 s\"\n{faults}"
    )
}

#[test]
fn a_fault_that_never_begins_changes_no_bit() {
    let scenario = |faults: &str| {
        Scenario::from_text("layer", &text(faults)).unwrap_or_else(|e| panic!("{e}"))
    };
    let all = "[[fault]]\nkind = \"damper stuck\"\noutlet = \"parents\"\nposition = 0.3\nafter = \"3 h\"\n\
               [[fault]]\nkind = \"filter blocked\"\nafter = \"2 h\"\n\
               [[fault]]\nkind = \"relief undersized\"\nafter = \"2 h\"\n\
               [[fault]]\nkind = \"sensor lost\"\nzone = \"study\"\nafter = \"5 h\"\n\
               [[fault]]\nkind = \"wrong mode\"\nafter = \"2 h\"\n";
    let (bare, later) = (run(&scenario("")), run(&scenario(all)));
    let bits = |o: &Outcome| -> Vec<Vec<u64>> {
        let column = |n: &String| {
            o.trace
                .column(n)
                .unwrap_or(&[])
                .iter()
                .map(|v| v.to_bits())
                .collect()
        };
        o.trace.columns().iter().map(column).collect()
    };
    assert_eq!(bits(&bare), bits(&later));
    assert_eq!(bare.events.len(), later.events.len());
}

#[test]
fn a_fault_is_told_when_it_begins_and_ends_and_repeats_exactly() {
    let faults = "[[fault]]\nkind = \"damper stuck\"\noutlet = \"living-north\"\nposition = 0.3\n\
                  at = \"12:30\"\nuntil = \"13:15\"\n";
    let s = Scenario::from_text("told", &text(faults)).unwrap_or_else(|e| panic!("{e}"));
    let (a, b) = (run(&s), run(&s));
    let told: Vec<(f64, String)> = a
        .events
        .iter()
        .filter(|e| e.what == What::Fault)
        .map(|e| (e.t_s, e.text.clone()))
        .collect();
    let words = "damper of living-north stuck at 30 %";
    assert_eq!(
        told,
        [
            (1800.0, format!("fault begins: {words}")),
            (4500.0, format!("fault ends: {words}")),
        ]
    );
    for name in a.trace.columns() {
        let bits = |o: &Outcome| -> Vec<u64> {
            let column = o.trace.column(name).unwrap_or(&[]);
            column.iter().map(|v| v.to_bits()).collect()
        };
        assert_eq!(bits(&a), bits(&b), "{name}");
    }
    let t = a.trace.column("time_s").unwrap_or(&[]);
    let opening = a.trace.column("outlet.living-north.opening").unwrap_or(&[]);
    for (t, p) in t.iter().zip(opening) {
        if *t > 1800.0 && *t <= 4500.0 {
            assert_eq!(*p, 0.3, "at {t} s");
        }
    }
}

#[test]
fn crossed_dampers_leave_the_map_of_channels_alone() {
    let crossed = "[[fault]]\nkind = \"dampers crossed\"\nzones = [\"living\", \"parents\"]\n";
    let bare = Scenario::from_text("map", &text("")).unwrap_or_else(|e| panic!("{e}"));
    let s = Scenario::from_text("map", &text(crossed)).unwrap_or_else(|e| panic!("{e}"));
    let owners = |s: &Scenario| {
        (
            s.control.controller.spec().channels.clone(),
            s.control.outlet_channel.clone(),
            s.zones.clone(),
        )
    };
    let before = owners(&s);
    assert_eq!(before, owners(&bare));
    run(&s);
    assert_eq!(before, owners(&s));
}

/// A house that can have every fault.
fn whole_house() -> Scenario {
    Scenario::from_text("whole", &text("")).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn every_kind_is_in_the_standard_set_and_changes_something() {
    let s = whole_house();
    let standard = crate::fault::standard_set(&s.parts());
    for kind in Kind::ALL {
        let fault = standard.iter().find(|f| f.fault.kind() == *kind);
        let list = [fault.unwrap_or_else(|| panic!("no {kind:?}")).clone()];
        let mut state = FaultState::new(&list);
        state.turn(&list, 0.0, |_, _| ());
        let mut sun = SensorSun::new(&s.site, &s.weather, s.run.start, s.run.duration_s);
        let mut acted = false;
        // Once as it is, and once after everything has moved.
        for (t_s, moved) in [(0.0, 0.0), (3.0 * 3600.0, 0.2)] {
            let n = s.control.actuators.len();
            let zone_c = vec![24.0 + moved; s.zones.len()];
            let by_number = |n: usize| (0..n).map(|i| moved + 0.1 * i as f64).collect::<Vec<f64>>();
            let (positions, openings) = (by_number(n), by_number(s.outlets.len()));
            let mut told = (zone_c.clone(), positions.clone());
            let readings = &mut Readings {
                zone_c: &mut told.0,
                damper_position: &mut told.1,
            };
            state.readings(&list, t_s, &mut sun, readings);
            let mut commands = s.control.controller.commands();
            commands.channel_opening.clone_from(&positions);
            commands.unit.mode = Some(crate::control::Mode::Cooling);
            let wanted = commands.clone();
            state.commands(&list, &mut commands);
            let mut plant = (openings.clone(), Impairment::NONE);
            let parts = &mut Plant {
                openings: &mut plant.0,
                air: &mut plant.1,
            };
            state.plant(&list, parts);
            // As text, in which a lost value is like another.
            let before = format!("{zone_c:?} {positions:?} {wanted:?} {openings:?}");
            let after = format!("{:?} {:?} {commands:?} {:?}", told.0, told.1, plant.0);
            acted |= before != after || plant.1 != Impairment::NONE;
        }
        assert!(acted, "{kind:?} changes nothing");
    }
}

#[test]
fn each_kind_takes_its_own_keys_and_tells_of_others() {
    for kind in Kind::ALL {
        let needed = match kind {
            Kind::DamperStuck => "outlet = \"study\"",
            Kind::DampersCrossed => "zones = [\"living\", \"study\"]",
            Kind::ReliefStuck => "position = 0",
            Kind::ReliefUndersized | Kind::FilterBlocked | Kind::WrongMode => "",
            Kind::SensorLost | Kind::SensorFrozen | Kind::RadioLost => "zone = \"study\"",
            Kind::SensorOffset => "zone = \"study\"\noffset = \"1 K\"",
            Kind::SensorInSun => "zone = \"study\"\nfaces = \"west\"",
            Kind::BusOpen => "after_damper = 2",
        };
        let about = kind.about();
        let fault = format!("[[fault]]\nkind = \"{}\"\n{needed}\n", about.name);
        let s = Scenario::from_text("keys", &text(&fault)).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(s.faults[0].fault.kind(), *kind);
        let (of_another, line) = match kind {
            Kind::BusOpen => ("fallback_after", "fallback_after = \"60 s\""),
            _ => ("after_damper", "after_damper = 2"),
        };
        let s = Scenario::from_text("keys", &text(&format!("{fault}{line}\n")));
        let told: String = match &s {
            Ok(s) => s.warnings.iter().map(ToString::to_string).collect(),
            Err(faults) => faults.to_string(),
        };
        assert!(told.contains(of_another), "{}: {told}", about.name);
    }
}

#[test]
fn sun_on_a_sensor_follows_the_facade_and_depends_on_nothing_but_the_time() {
    let s = whole_house();
    let new = || SensorSun::new(&s.site, &s.weather, s.run.start, s.run.duration_s);
    let west = SunOnSensor::Facade(crate::plant::sun::Surface::vertical(270.0));
    let east = SunOnSensor::Facade(crate::plant::sun::Surface::vertical(90.0));
    let mut one = new();
    let times = [7200.0, 0.0, 450.0, 449.0, 300.0, 5000.0, 5000.0];
    for t_s in times {
        let share = one.share(&west, t_s);
        one.share(&east, t_s + 1000.0);
        assert_eq!(share.to_bits(), new().share(&west, t_s).to_bits());
        // The run begins at noon, clock time.
        assert_eq!(
            one.share(&east, 7200.0),
            0.0,
            "no sun from the east after noon"
        );
    }
    let between = 0.5 * (one.share(&west, 3600.0) + one.share(&west, 3900.0));
    assert!((one.share(&west, 3750.0) - between).abs() < 1e-12 && between > 0.1);
}

#[test]
fn sun_by_the_clock_is_half_a_sine_every_day() {
    let s = whole_house();
    let start = s.run.start - chrono::TimeDelta::hours(6);
    let mut sun = SensorSun::new(&s.site, &s.weather, start, s.run.duration_s);
    let hours = SunOnSensor::Hours {
        from_s: 15.0 * 3600.0,
        to_s: 19.0 * 3600.0,
    };
    for day in [0.0, 86_400.0] {
        let mut at = |hour: f64| sun.share(&hours, day + (hour - 6.0) * 3600.0);
        assert!(at(14.9) == 0.0 && at(19.0) == 0.0);
        assert!((at(17.0) - 1.0).abs() < 1e-12 && (at(16.0) - 0.5_f64.sqrt()).abs() < 1e-12);
    }
}

#[test]
fn bad_faults_are_refused_with_line_and_advice() {
    for (fault, what, advice) in [
        ("kind = \"damper stuk\"", "damper stuk", "damper stuck"),
        ("zone = \"study\"", "kind", "write kind"),
        (
            "kind = \"damper stuck\"\noutlet = \"parent\"",
            "no outlet \"parent\"",
            "did you mean \"parents\"",
        ),
        (
            "kind = \"damper stuck\"\nposition = 0.3",
            "needs `outlet`",
            "outlet =",
        ),
        (
            "kind = \"damper stuck\"\noutlet = \"study\"\nposition = 1.3",
            "position",
            "from 0 to 1",
        ),
        (
            "kind = \"damper stuck\"\noutlet = \"study\"\npositon = 0.3",
            "knows no key `positon`",
            "`position`",
        ),
        (
            "kind = \"sensor lost\"\nzone = \"attic\"",
            "no zone \"attic\"",
            "there are: living",
        ),
        (
            "kind = \"sensor lost\"\nzone = \"study\"\nat = \"10:00\"",
            "the run ends before",
            "within the run",
        ),
        (
            "kind = \"sensor lost\"\nzone = \"study\"\nat = \"25:00\"",
            "not a time of day",
            "06:30",
        ),
        (
            "kind = \"sensor lost\"\nzone = \"study\"\nat = \"12:30\"\nafter = \"1 h\"",
            "both `at` and `after`",
            "take one out",
        ),
        (
            "kind = \"sensor lost\"\nzone = \"study\"\nat = \"12:30\"\nuntil = \"12:30\"",
            "ends when it begins",
            "later",
        ),
        (
            "kind = \"sensor lost\"\nzone = \"study\"\nafter = \"-1 h\"",
            "after",
            "from 0",
        ),
        (
            "kind = \"dampers crossed\"\nzones = [\"living\"]",
            "names 1",
            "two names",
        ),
        (
            "kind = \"dampers crossed\"\noutlets = [\"living-north\", \"living-south\"]",
            "one zone",
            "two zones",
        ),
        (
            "kind = \"damper bus open\"\nafter_damper = 6",
            "has 6 dampers",
            "from 0 to 5",
        ),
        (
            "kind = \"filter blocked\"\nresistance_factor = 0.5",
            "resistance_factor",
            "from 1 to 100",
        ),
        (
            "kind = \"sensor in sun\"\nzone = \"study\"",
            "`faces`",
            "faces =",
        ),
        (
            "kind = \"sensor in sun\"\nzone = \"study\"\nfrom = \"19:00\"\nto = \"15:00\"",
            "leaves the sensor",
            "later",
        ),
    ] {
        let file = text(&format!("[[fault]]\n{fault}\n"));
        let Err(e) = Scenario::from_text("bad", &file) else {
            panic!("accepted: {fault}");
        };
        let said = e.to_string();
        println!("{said}");
        assert!(
            said.contains(what) && said.contains(advice),
            "{fault}\n  {said}"
        );
        assert!(said.starts_with("bad.toml:"), "no line: {said}");
    }
    let none = "based_on = \"small-zone-no-relief.toml\"\n[[fault]]\nkind = \"relief stuck\"\nposition = 0\n";
    let said = Scenario::from_text("bad", none)
        .err()
        .map(|e| e.to_string())
        .unwrap_or_default();
    assert!(
        said.contains("bad.toml:3") && said.contains("no relief damper"),
        "{said}"
    );
}

// --- The study ------------------------------------------------------------------------------------

#[test]
fn the_study_says_the_same_on_one_thread_and_on_two_and_writes_it_whole() {
    use crate::report::faults::{faults_text, write_faults};
    use crate::study::faults::study;
    let faults = "[[fault]]\nkind = \"sensor offset\"\nzone = \"study\"\noffset = \"2 K\"\n\
                  [[fault]]\nkind = \"sensor frozen\"\nzone = \"study\"\n\
                  [[fault]]\nkind = \"damper stuck\"\noutlet = \"parents\"\nposition = 0\n";
    let s = Scenario::from_text("study", &text(faults)).unwrap_or_else(|e| panic!("{e}"));
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("threads");
        let found = pool
            .install(|| study(&s, None, |_| ()))
            .unwrap_or_else(|e| panic!("{e}"));
        let words = faults_text(&s, &found, UnitSystem::Si, 132, str::to_string);
        let out = tempfile::tempdir().expect("a folder");
        let folder = write_faults(out.path(), &s, &found, UnitSystem::Si, true)
            .unwrap_or_else(|e| panic!("{e}"));
        let read =
            |name: &str| std::fs::read(folder.join(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
        let files = [
            "symptoms.csv",
            "functional_test.csv",
            "look_alikes.csv",
            "figures/01-sensor-offset.svg",
            "figures/03-damper-stuck.svg",
        ]
        .map(read);
        (words, files)
    };
    let (one, two) = (on(1), on(2));
    assert_eq!(one, two);
    assert!(
        one.0.contains("opening parents does not reach parents"),
        "{}",
        one.0
    );
    assert!(
        one.0.contains("the thermostat of study reads +2.0 K off"),
        "{}",
        one.0
    );
    assert!(
        one.0.contains("the thermostat of study never moves"),
        "{}",
        one.0
    );
}
