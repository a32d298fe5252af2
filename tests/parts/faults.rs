//! Faults: what each does to the readings, held to the fault catalogue of our own reference sheet
//! (equipment.md, section 5, worked out on a small network; no outside source), and what the layer
//! must leave alone.

use crate::engine::event::What;
use crate::fault::{
    ChainBroken, DamperStuck, DampersCrossed, Fault, FilterBlocked, RadioLost, ReliefStuck,
    ReliefUndersized, Scheduled, SensorFrozen, SensorInSun, SensorLost, SensorOffset, SunOnSensor,
    WrongMode,
};
use crate::run::{Outcome, simulate};
use crate::scenario::Scenario;
use crate::study::faults::drill::{self, Drill};
use crate::study::faults::separate::drill_words;
use crate::study::faults::telltales::{Direction, Telltale, telltales};

use Direction::{Down, Same, Up};

const LIVING: usize = 0;
const PARENTS: usize = 1;
const STUDY: usize = 3;

/// The family house with a fixed-speed unit on a hot afternoon, thermostats all day in their bands
/// unless `zones` says otherwise, protections taken out unless asked for.
fn house(more: &str, zones: [&str; 4], idle: f64) -> Scenario {
    let all = "bands = [{ from = \"00:00\", to = \"24:00\" }]";
    let band = |i: usize| if zones[i].is_empty() { all } else { zones[i] };
    let text = format!(
        "based_on = \"family-house.toml\"\n\
         [run]\nstart = \"2027-01-18 12:00\"\nduration = \"6 h\"\nwarm_up = \"12 h\"\nstep = \"2 s\"\n\
         [control]\nguard = false\n\
         [zone.living]\nidle_open = {idle:.2}\n{}\n[zone.parents]\n{}\n[zone.children]\n{}\n\
         [zone.study]\n{}\n{more}\n",
        band(0),
        band(1),
        band(2),
        band(3),
    );
    Scenario::from_text("faults-test", &text).unwrap_or_else(|e| panic!("{e}"))
}

const OFF: &str = "bands = []";
/// Calls all day, at a setpoint out of reach.
const HARD: &str = "cooling = \"17 °C\"\nbands = [{ from = \"00:00\", to = \"24:00\" }]";
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

/// Telltales of one fault that lasts all through the run.
struct Seen(Vec<Telltale>);

impl Seen {
    fn of(s: &Scenario, fault: impl Fault + 'static) -> Seen {
        let fault = Scheduled::always(fault);
        let (healthy, faulty) = (run(s), run(&with(s, vec![fault.clone()])));
        Seen(telltales(s, &fault, &healthy, &faulty))
    }

    fn get(&self, key: &str, subject: &str) -> &Telltale {
        let found = self.0.iter().find(|t| t.key == key && t.subject == subject);
        found.unwrap_or_else(|| panic!("no telltale {key} of {subject}"))
    }

    fn way(&self, key: &str, subject: &str) -> Direction {
        let t = self.get(key, subject);
        println!("{key} {subject}: {:.3} -> {:.3}", t.healthy, t.faulty);
        t.direction()
    }
}

fn fault_of(s: &Scenario, fault: impl Fault + 'static) -> Drill {
    let ready = drill::ready(s).unwrap_or_else(|e| panic!("{e}"));
    ready
        .run(&[Scheduled::always(fault)])
        .unwrap_or_else(|e| panic!("{e}"))
}

fn healthy_drill(s: &Scenario) -> Drill {
    let ready = drill::ready(s).unwrap_or_else(|e| panic!("{e}"));
    ready.run(&[]).unwrap_or_else(|e| panic!("{e}"))
}

/// The house with its doors shut, as a drill wants it.
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
    let seen = Seen::of(&s, DamperStuck::at(2, 0.0));
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
    let seen = Seen::of(&s, DamperStuck::at(2, 0.0));
    assert_eq!(seen.way("protection_acts", "house"), Up);
    assert_eq!(seen.way("room_air", "parents"), Up);
}

#[test]
fn a_damper_stuck_open() {
    // The sheet: over-conditioned only while others call, below its setpoint in cooling; static lower
    // than expected for the commanded set; supply milder; fewer starts, the caller's run time longer.
    let s = house(&format!("{FIXED}{NO_TRIPS}"), [OFF, "", OFF, OFF], 0.0);
    let stuck = || DamperStuck::at(5, 1.0);
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
    let lenient = "cooling = \"28 °C\"\nbands = [{ from = \"00:00\", to = \"24:00\" }]";
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
    let stuck = || DamperStuck::at(2, 0.25);
    let s = house(&format!("{FIXED}{NO_TRIPS}"), [""; 4], 0.0);
    let peak = Seen::of(&s, stuck());
    assert_eq!(peak.way("setpoint_error", "parents"), Up);
    assert_eq!(peak.way("blade_off_report", "parents"), Up);
    assert_eq!(peak.way("flow_reported_open", "parents"), Down);
    let shut = Seen::of(&s, DamperStuck::at(2, 0.0));
    let of = |seen: &Seen| seen.get("static_full_speed", "house").difference().abs();
    assert!(of(&peak) < of(&shut), "{} {}", of(&peak), of(&shut));
    let mild = "[weather]\nkind = \"summer day\"\nmaximum = \"29 °C\"\n";
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
    let cross = DampersCrossed::zones(&s, [PARENTS, STUDY]).expect("two zones");
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
    let cross = |s: &Scenario| DampersCrossed::zones(s, [PARENTS, STUDY]).expect("two zones");
    // Setpoints out of reach: both call throughout and open fully, so both commands are one.
    for zones in [[HARD; 4], [OFF; 4]] {
        let s = house(&format!("{AT_ITS_END}{NO_TRIPS}"), zones, 0.0);
        let fault = cross(&s);
        let seen = Seen::of(&s, fault);
        for t in &seen.0 {
            assert_eq!(t.direction(), Same, "{t:?}");
        }
    }
    // Static is as it would be for the dampers that do stand open: the drill's rows change places.
    let s = doors_shut();
    let (sound, crossed) = (healthy_drill(&s), fault_of(&s, cross(&s)));
    assert!((sound.tests[2].static_pa - crossed.tests[5].static_pa).abs() < 0.5);
    assert!((sound.tests[5].static_pa - crossed.tests[2].static_pa).abs() < 0.5);
}

#[test]
fn a_relief_stuck_shut() {
    // The sheet: high static and trips when few zones call. Its numbers also say that the supply
    // air is less cold than with the relief at work (1.0 against -3.8 °C), for no cold air goes round.
    let alone = house(FIXED, [OFF, OFF, OFF, ""], 0.0);
    let shut = || ReliefStuck { position: 0.0 };
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
    let seen = Seen::of(&s, ReliefStuck { position: 1.0 });
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
    let small = || ReliefUndersized { factor: 0.4 };
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
    let fault = || FilterBlocked { factor: 6.0 };
    let seen = Seen::of(&s, fault());
    assert_eq!(seen.way("static_full_speed", "house"), Down);
    assert_eq!(seen.way("return_suction", "house"), Up);
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
    let seen = Seen::of(&s, SensorLost { zone: PARENTS });
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
        let frozen = SensorFrozen {
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
        SensorOffset {
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
    let sun = Scheduled::always(SensorInSun {
        zone: PARENTS,
        rise_k: 3.0,
        sun: SunOnSensor::Hours {
            start_s: 12.0 * 3600.0,
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
        Seen(telltales(&s, &window, &healthy, &faulty))
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
        let fault = Scheduled::always(SensorLost { zone: 0 });
        Seen(telltales(&s, &fault, &outcome, &outcome))
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
fn a_broken_chain_holds_what_lies_beyond() {
    let s = house(NO_TRIPS, [""; 4], 0.0);
    let chain = ChainBroken::behind(&s, 3);
    let faulty = run(&with(&s, vec![Scheduled::always(chain.clone())]));
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
    assert_eq!(chain.beyond.len(), 3);
}

#[test]
fn radio_contact_lost_holds_the_last_reading_and_then_falls_back() {
    let s = house(NO_TRIPS, [""; 4], 0.0);
    let mut lost = Scheduled::always(RadioLost {
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
    let seen = Seen::of(&s, WrongMode { stuck_in: None });
    assert_eq!(seen.way("room_air", "living"), Up);
    assert_eq!(seen.way("supply_air", "house"), Up);
    assert_ne!(seen.way("calling_share", "living"), Down);
}

// --- The drill ------------------------------------------------------------------------------------

#[test]
fn the_drill_of_a_healthy_house_is_diagonal() {
    let s = doors_shut();
    let sound = healthy_drill(&s);
    assert_eq!(sound.tests.len(), 6);
    for t in &sound.tests {
        let own = t.rooms_k_h[s.outlets[t.outlet].room];
        for (r, answer) in t.rooms_k_h.iter().enumerate() {
            let mine = r == s.outlets[t.outlet].room;
            assert!(if mine {
                own < -5.0
            } else {
                answer.abs() < 0.4 * own.abs()
            });
        }
    }
    let words = drill_words(&s, &sound, &sound);
    assert_eq!(words, ["as in the healthy system"]);
}

#[test]
fn the_drill_tells_the_faults_apart() {
    // The sheet: cross-link, swapped off-diagonals; stuck open, a full column; stuck shut, a zero row.
    let s = doors_shut();
    let sound = healthy_drill(&s);
    let parents = s.outlets[2].room;
    let study = s.outlets[5].room;

    let crossed = DampersCrossed::zones(&s, [PARENTS, STUDY]).expect("two zones");
    let d = fault_of(&s, crossed);
    assert!(d.tests[2].rooms_k_h[study] < 0.7 * sound.tests[5].rooms_k_h[study]);
    assert!(d.tests[5].rooms_k_h[parents] < 0.7 * sound.tests[2].rooms_k_h[parents]);
    assert!(d.tests[2].rooms_k_h[parents].abs() < 0.25 * sound.own_k_h(&s, 2));

    let d = fault_of(&s, DamperStuck::at(5, 1.0));
    for t in &d.tests {
        assert!(t.rooms_k_h[study] < 0.25 * sound.tests[5].rooms_k_h[study]);
    }

    let d = fault_of(&s, DamperStuck::at(2, 0.0));
    assert!(d.tests[2].rooms_k_h[parents].abs() < 0.2 * sound.own_k_h(&s, 2));
    for o in [0, 1, 3, 4, 5] {
        let share = d.own_k_h(&s, o) / sound.own_k_h(&s, o);
        assert!(
            (share - 1.0).abs() < 0.05,
            "others answer as before: {share}"
        );
    }

    // A thermostat that reads wrong leaves the rooms' answers as they are.
    let d = fault_of(
        &s,
        SensorOffset {
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
            "kind = \"chain broken\"\nbehind = 6",
            "has 6 dampers",
            "from 0 to 5",
        ),
        (
            "kind = \"filter blocked\"\nfactor = 0.5",
            "factor",
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
        said.contains("bad.toml:3") && said.contains("no relief"),
        "{said}"
    );
}

// --- The study ------------------------------------------------------------------------------------

#[test]
fn the_study_says_the_same_on_one_thread_and_on_two_and_writes_it_whole() {
    use crate::report::UnitSystem;
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
            "telltales.csv",
            "drill.csv",
            "suspects.csv",
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
