//! Settled sets of zones against full runs held until nothing moves, and what the command leaves.

use crate::control::Mode;
use crate::engine::Engine;
use crate::engine::sample::Sample;
use crate::plant::air::MoistAir;
use crate::study::case::{Case, Edit};
use crate::study::combinations::{
    Combination, Dampers, Options, SpeedOf, SteadyStates, combinations,
};
use crate::study::criteria::CRITERIA;

/// Rooms so heavy that nothing warms or cools them, the same weather for ever, no protections, and only
/// `calling` in a scheduled period, at a setpoint that is never reached.
fn held_case(base: &str, calling: &[&str], mode: Mode, extra: &[Edit]) -> Case {
    let case = Case::embedded(base).unwrap();
    let (outdoor, setpoint, initial) = match mode {
        Mode::Cooling => ("36 °C", "cooling = \"20 °C\"", "26 °C"),
        Mode::Heating => ("2 °C", "heating = \"26 °C\"", "20 °C"),
    };
    let mut edits = vec![
        Edit::Without("weather".into()),
        Edit::text("weather.kind", "constant"),
        Edit::text("weather.temperature", outdoor),
        Edit::text("house.initial_temperature", initial),
        Edit::text("run.duration", "2 h"),
        Edit::text("run.warm_up", "0 s"),
        Edit::text("control.mode", mode.name()),
        Edit::set("control.guard", "false"),
        Edit::set("filter.growth_per_1000_h", "0.0"),
        Edit::text("dampers.control", "two-position"),
        Edit::set("dampers.motor_dead_band", "0.0"),
    ];
    if case.written("relief.kind").as_deref() == Some("weighted blade") {
        edits.push(Edit::text("relief.friction", "0 Pa"));
    }
    for trip in ["low_supply", "coil_freeze", "high_supply"] {
        edits.push(Edit::set(format!("protection.{trip}.fitted"), "false"));
    }
    for room in &case.scenario.rooms {
        for store in ["air", "contents", "fabric"] {
            let key = format!("room.{}.{store}_capacity", room.name);
            edits.push(Edit::text(key, "1000000 MJ/K"));
        }
    }
    // The settled state has doors shut.
    for door in &case.scenario.doors {
        if crate::study::case::has(&case.tree, &format!("door.{}", door.name)) {
            edits.push(Edit::text(format!("door.{}.open", door.name), "never"));
        }
    }
    for zone in &case.scenario.zones {
        let on = calling.contains(&zone.name.as_str());
        let bands = if on {
            "[{ from = \"00:00\", to = \"24:00\" }]"
        } else {
            "[]"
        };
        edits.push(Edit::Without(format!("zone.{}", zone.name)));
        edits.push(Edit::text(
            format!("zone.{}.thermostat", zone.name),
            case.scenario.rooms[zone.room].name.clone(),
        ));
        let channels: Vec<String> = zone
            .outlets
            .iter()
            .map(|&o| case.scenario.outlets[o].channel.unwrap().to_string())
            .collect();
        let list = format!("[{}]", channels.join(", "));
        edits.push(Edit::set(format!("zone.{}.channels", zone.name), list));
        edits.push(Edit::set(format!("zone.{}.schedule", zone.name), bands));
        let (key, value) = setpoint.split_once(" = ").unwrap();
        edits.push(Edit::set(format!("zone.{}.{key}", zone.name), value));
    }
    edits.extend_from_slice(extra);
    Case::from_text("held", &case.what_if(&edits)).unwrap()
}

/// Runs the engine to its end and settles the same set with rooms as the run left them.
fn run_and_settled(case: &Case, calling: &[&str]) -> (Sample, Combination) {
    let s = &case.scenario;
    let engine = Engine::new(s).unwrap();
    let (mut state, mut scratch) = (engine.initial_state(), engine.scratch());
    let mut events = Vec::new();
    let steps = (s.run.duration_s / s.run.step_s) as u64;
    let mut sample = None;
    for _ in 0..steps {
        engine.step(&mut state, &mut scratch, &mut events).unwrap();
        sample = Some(state.sample.clone());
    }
    let sample = sample.unwrap();
    let rooms: Vec<MoistAir> = (0..s.rooms.len())
        .map(|r| state.plant.house.rooms.air(r))
        .collect();
    let outdoor = Some(sample.outdoor_c);
    let options = Options {
        cooling_outdoor_c: outdoor,
        heating_outdoor_c: outdoor,
        rooms: Some(rooms),
        ..Options::default()
    };
    let calls = s
        .zones
        .iter()
        .enumerate()
        .filter(|(_, z)| calling.contains(&z.name.as_str()))
        .fold(0, |set, (i, _)| set | 1 << i);
    let mut bench = SteadyStates::new(s, &options).unwrap();
    let found: Combination = bench.combination(calls, 0).unwrap();
    assert!(found.permitted);
    assert!(
        sample.unit.speed > 0.0,
        "the run must be running at its end"
    );
    (sample, found)
}

/// Static, every flow, temperatures, heat, power and sound of the settled set within a thousandth of those
/// at the end of the run.
fn run_and_settle(case: &Case, calling: &[&str], mode: Mode) {
    let s = &case.scenario;
    let (sample, found) = run_and_settled(case, calling);
    assert_eq!(found.mode, mode);
    let state = found.controlled().unwrap();
    assert_eq!(state.dampers, Dampers::Full);
    let p = &state.point;
    let within = |what: &str, settled: f64, run: f64, scale: f64| {
        assert!(
            (settled - run).abs() <= 1e-3 * scale.abs().max(run.abs()),
            "{what}: settled {settled}, run {run}"
        );
    };
    within("speed", p.speed, sample.unit.speed, 0.0);
    within("static", p.supply_pa, sample.air.supply_static_pa, 0.0);
    within(
        "return static",
        p.return_pa,
        sample.air.return_static_pa,
        0.0,
    );
    within("fan flow", p.fan_m3_s, sample.air.fan_flow_m3_s, 0.0);
    within(
        "relief flow",
        p.relief_m3_s,
        sample.air.relief_flow_m3_s,
        1e-6,
    );
    for (i, outlet) in sample.outlets.iter().enumerate() {
        within(
            &s.outlets[i].name,
            p.outlets_m3_s[i],
            outlet.flow_m3_s,
            1e-6,
        );
    }
    // A thousandth of the difference between room and supply air is stricter than of degrees Celsius.
    let span = sample.rooms[0].air_c - sample.unit.supply_c;
    within(
        "supply air",
        p.supply.t_c - 20.0,
        sample.unit.supply_c - 20.0,
        0.0,
    );
    assert!((p.supply.t_c - sample.unit.supply_c).abs() < 1e-3 * span.abs());
    assert!((p.entering.t_c - sample.unit.entering_c).abs() < 1e-3 * span.abs());
    assert!((p.surface_c - sample.unit.surface_c).abs() < 2e-3 * span.abs());
    let heat = (sample.unit.sensible_w + sample.unit.latent_w).abs();
    within("heat", p.total_w, heat, 0.0);
    within("power", p.power_w, sample.unit.compressor_w, 0.0);
    for (settled, heard) in p.sound.iter().zip(&sample.sound.heard) {
        // A thousandth of flow is 0.03 dB of a grille whose level goes with its sixth power.
        assert!((settled.dba - heard.dba()).abs() < 0.03);
    }
}

#[test]
fn fixed_speed_with_a_weighted_relief_settles_as_a_run_does() {
    for calling in [
        &["study"][..],
        &["parents", "study"],
        &["living", "children"],
    ] {
        let case = held_case("small-zone-relief", calling, Mode::Cooling, &[]);
        run_and_settle(&case, calling, Mode::Cooling);
    }
}

/// A run starts its fan with dampers half open, which blows the blade further open than it needs to be in
/// the end; friction holds it there. The run must come to rest between the two ends that are judged.
#[test]
fn a_blade_with_friction_comes_to_rest_between_the_ends_that_are_judged() {
    let extra = [Edit::text("relief.friction", "4 Pa")];
    let calling = &["study"];
    let case = held_case("small-zone-relief", calling, Mode::Cooling, &extra);
    let (sample, found) = run_and_settled(&case, calling);
    let ends: Vec<&crate::study::settled::Point> = found
        .states
        .iter()
        .filter(|s| s.speed_of == SpeedOf::Controlled)
        .map(|s| &s.point)
        .collect();
    let [shut, open] = ends[..] else {
        panic!("{ends:?}")
    };
    assert!(shut.supply_pa > open.supply_pa + 1.0 && shut.supply.t_c > open.supply.t_c);
    let between = |low: f64, value: f64, high: f64| {
        let slack = 1e-3 * (high - low).abs();
        assert!(
            low - slack <= value && value <= high + slack,
            "{low} {value} {high}"
        );
    };
    between(open.supply_pa, sample.air.supply_static_pa, shut.supply_pa);
    between(
        shut.bypass_fraction(),
        sample.air.relief_flow_m3_s / sample.air.fan_flow_m3_s,
        open.bypass_fraction(),
    );
    between(open.supply.t_c, sample.unit.supply_c, shut.supply.t_c);
}

#[test]
fn no_relief_and_heating_settle_as_runs_do() {
    let calling = &["parents"];
    let case = held_case("small-zone-no-relief", calling, Mode::Cooling, &[]);
    run_and_settle(&case, calling, Mode::Cooling);
    let calling = &["living", "study"];
    let case = held_case("small-zone-relief", calling, Mode::Heating, &[]);
    run_and_settle(&case, calling, Mode::Heating);
}

/// The two-stage unit stays low when the low stage's air cannot carry full capacity, and a
/// variable-speed one at its least speed when one zone's weight asks for no more.
#[test]
fn the_controllers_speed_is_the_one_that_a_run_comes_to() {
    let two_stage = [Edit::text("unit.kind", "two stage")];
    for calling in [&["study"][..], &["living", "parents", "children", "study"]] {
        let case = held_case("small-zone-relief", calling, Mode::Cooling, &two_stage);
        run_and_settle(&case, calling, Mode::Cooling);
    }
    let calling = &["study"];
    let case = held_case("family-house", calling, Mode::Cooling, &[]);
    run_and_settle(&case, calling, Mode::Cooling);
}

#[test]
fn a_motorised_relief_settles_as_a_run_does() {
    let calling = &["treatment", "staff"];
    // Without a dead band of its motor, and a quick law, it comes to rest within the run.
    let extra = [Edit::text("relief.dead_band", "0 Pa")];
    let case = held_case("clinic-twelve-rooms", calling, Mode::Cooling, &extra);
    run_and_settle(&case, calling, Mode::Cooling);
}

/// Relief air dumped into the hall that holds the return grille is drawn back before the hall mixes with
/// it: the coil's entering air must be the mixture of the two flows.
#[test]
fn relief_dumped_into_the_return_room_reaches_the_coil() {
    let edits = [Edit::text("relief.discharge_to", "hall")];
    let case = Case::embedded("small-zone-relief")
        .unwrap()
        .with("dumped", &edits)
        .unwrap();
    let mut bench = SteadyStates::new(&case.scenario, &Options::default()).unwrap();
    let held_c = bench.modes()[0].1.rooms[0].t_c;
    let found = bench.combination(0b1000, 0).unwrap();
    let p = &found.controlled().unwrap().point;
    assert!(p.bypass_fraction() > 0.5, "{p:?}");
    let mixed_c = held_c - p.bypass_fraction() * (held_c - p.supply.t_c);
    // Enthalpies mix, not temperatures: less than a two-hundredth of the span apart.
    let span_k = held_c - p.supply.t_c;
    assert!(
        (p.entering.t_c - mixed_c).abs() < span_k / 200.0,
        "{mixed_c} {p:?}"
    );
}

#[test]
fn every_set_is_there_once_and_the_worst_first() {
    let s = Case::embedded("family-house").unwrap().scenario;
    let found = combinations(&s, &Options::default(), &|_, _| {}).unwrap();
    assert!(found.every_set);
    let mut sets: Vec<u64> = found.list.iter().map(|c| c.calls).collect();
    sets.sort_unstable();
    assert_eq!(sets, (1..=15).collect::<Vec<u64>>());
    let broken: Vec<bool> = found.list.iter().map(|c| !c.passes()).collect();
    assert!(broken.windows(2).all(|w| w[0] >= w[1]));
    let held: Vec<f64> = found
        .list
        .iter()
        .filter(|c| c.passes())
        .map(|c| c.used())
        .collect();
    assert!(held.windows(2).all(|w| w[0] >= w[1]));
    for c in &found.list {
        assert_eq!(c.worst.len(), CRITERIA.len());
        // The verdict must be that of the states that count.
        for (criterion, worst) in CRITERIA.iter().zip(&c.worst) {
            let Some(worst) = worst else { continue };
            let state = &c.states[worst.state];
            assert!(state.counts());
            if criterion.key == "static" {
                assert_eq!(worst.finding.value, state.point.external_pa());
                let highest = c
                    .states
                    .iter()
                    .filter(|s| s.counts())
                    .map(|s| s.point.external_pa());
                assert_eq!(worst.finding.value, highest.fold(0.0, f64::max));
            }
        }
        assert!(
            c.states.iter().any(|s| s.point.speed == 1.0),
            "rated is always shown"
        );
        assert!(c.states.iter().any(|s| s.speed_of == SpeedOf::Controlled));
    }
}

/// Fewer open dampers never lower the static of a fixed-speed fan: the network is monotone.
#[test]
fn static_never_falls_when_a_zone_stops_calling() {
    let edits = [
        Edit::Without("relief".into()),
        Edit::set("zone.living.opening_when_satisfied", "0.0"),
    ];
    let case = Case::embedded("small-zone-no-relief")
        .unwrap()
        .with("all-day", &edits)
        .unwrap();
    let found = combinations(&case.scenario, &Options::default(), &|_, _| {}).unwrap();
    let of = |set: u64| {
        let c = found.list.iter().find(|c| c.calls == set).unwrap();
        c.controlled().unwrap().point.external_pa()
    };
    for set in 1..16_u64 {
        for zone in (0..4).filter(|z| set >> z & 1 == 1 && set != 1 << z) {
            assert!(of(set & !(1 << zone)) > of(set), "{set:b} less {zone}");
        }
    }
}

fn thirteen_zones() -> Case {
    // Every outlet of the clinic is a zone, and one more of the waiting room's.
    let case = Case::embedded("clinic-twelve-rooms").unwrap();
    let mut edits: Vec<Edit> = case
        .scenario
        .zones
        .iter()
        .map(|z| Edit::Without(format!("zone.{}", z.name)))
        .collect();
    for (i, outlet) in case.scenario.outlets.iter().enumerate() {
        let zone = format!("zone.z{i:02}");
        let room = case.scenario.rooms[outlet.room].name.clone();
        edits.push(Edit::text(format!("{zone}.thermostat"), room));
        let channel = outlet.channel.unwrap();
        edits.push(Edit::set(
            format!("{zone}.channels"),
            format!("[{channel}]"),
        ));
    }
    for (key, value) in [
        ("room", "\"corridor\""),
        ("diameter", "\"150 mm\""),
        ("channel", "20"),
        ("flow", "\"30 L/s\""),
    ] {
        edits.push(Edit::set(format!("outlet.corridor.{key}"), value));
    }
    edits.push(Edit::text("zone.z99.thermostat", "corridor"));
    edits.push(Edit::set("zone.z99.channels", "[20]"));
    Case::from_text("thirteen", &case.what_if(&edits)).unwrap()
}

/// The search of larger houses must find what looking at everything finds; 8191 sets of 13 zones are few
/// enough to look at.
#[test]
fn the_search_of_a_large_house_finds_its_worst_set() {
    let s = thirteen_zones().scenario;
    assert_eq!(s.zones.len(), 13);
    let found = combinations(&s, &Options::default(), &|_, _| {}).unwrap();
    assert!(!found.every_set && found.list.len() > 13 + 13 + 78 && found.list.len() < 2000);
    let bench = SteadyStates::new(&s, &Options::default()).unwrap();
    let jobs: Vec<(u64, usize)> = (1..1 << 13).step_by(7).map(|set| (set, 0)).collect();
    let some = crate::study::combinations::settle_all(&bench, &jobs, &|_, _| {}).unwrap();
    for (i, criterion) in CRITERIA.iter().enumerate() {
        let worst = |list: &[Combination]| {
            let used = list
                .iter()
                .filter_map(|c| Some(c.worst[i].as_ref()?.finding.used()));
            used.fold(f64::NEG_INFINITY, f64::max)
        };
        assert!(
            worst(&found.list) >= worst(&some) - 1e-9,
            "{}",
            criterion.key
        );
    }
}
