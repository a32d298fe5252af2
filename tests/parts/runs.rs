//! Whole runs: every shipped scenario, the trace's contract, balances, and what the pairs teach.

use crate::run::{Outcome, simulate};
use crate::scenario::Scenario;
use crate::scenario::shelf::SHELF;
use crate::trace::Trace;

fn names() -> impl Iterator<Item = &'static str> {
    SHELF.iter().map(|(file, _)| file.trim_end_matches(".toml"))
}

fn run(name: &str) -> (Scenario, Outcome) {
    let s = Scenario::embedded(name).unwrap_or_else(|e| panic!("{}", e.render(false)));
    let outcome = simulate(&s, |_| {}).unwrap_or_else(|e| panic!("{name}: {e}"));
    (s, outcome)
}

fn what_if(text: &str) -> (Scenario, Outcome) {
    let s = Scenario::from_text("what-if", text).unwrap_or_else(|e| panic!("{}", e.render(false)));
    let outcome = simulate(&s, |_| {}).unwrap_or_else(|e| panic!("{e}"));
    (s, outcome)
}

fn value(outcome: &Outcome, key: &str, subject: &str) -> f64 {
    outcome
        .measure(key, subject)
        .unwrap_or_else(|| panic!("no measure {key} of {subject}"))
        .value
}

/// The shelf holds what the folder holds, so that nothing shipped goes untested.
#[test]
fn the_shelf_is_complete() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios");
    let mut files: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|f| f.unwrap().file_name().into_string().unwrap())
        .filter(|f| f.ends_with(".toml"))
        .collect();
    files.sort();
    let mut shelf: Vec<&str> = SHELF.iter().map(|(f, _)| *f).collect();
    shelf.sort_unstable();
    assert_eq!(files, shelf);
}

#[test]
fn every_shipped_scenario_runs_and_balances() {
    for name in names() {
        let (s, outcome) = run(name);
        assert!(
            outcome.heat.relative < 1e-9,
            "{name}: heat {:?}",
            outcome.heat
        );
        assert!(outcome.heat.throughput > 1e7, "{name}: {:?}", outcome.heat);
        assert!(
            outcome.moisture.relative < 1e-9,
            "{name}: moisture {:?}",
            outcome.moisture
        );
        let rows = (s.run.duration_s / s.run.record_s) as usize + 1;
        assert_eq!(outcome.trace.rows(), rows, "{name}");
        for column in outcome
            .trace
            .columns()
            .iter()
            // No setpoint outside the bands, no NC below NC-15, no air from a grille at rest.
            .filter(|c| {
                let at_grille = c.starts_with("outlet.") && c.ends_with(".air_C");
                !c.ends_with("setpoint_C") && !c.ends_with(".nc") && !at_grille
            })
        {
            let values = outcome.trace.column(column).unwrap();
            assert!(values.iter().all(|v| v.is_finite()), "{name}: {column}");
        }
        for o in &s.outlets {
            let column = |what: &str| {
                let name = format!("outlet.{}.{what}", o.name);
                outcome.trace.column(&name).unwrap()
            };
            for (air, flow) in column("air_C").iter().zip(column("flow_m3_s")) {
                let arrives = flow.abs() > 1e-4;
                assert_eq!(air.is_finite(), arrives, "{name}: {} {flow}", o.name);
            }
        }
        // Rooms of people: nothing freezes, nothing boils.
        for r in &s.rooms {
            let air = outcome
                .trace
                .column(&format!("room.{}.air_C", r.name))
                .unwrap();
            assert!(
                air.iter().all(|t| (5.0..50.0).contains(t)),
                "{name}: {}",
                r.name
            );
        }
    }
}

/// At every row, as written to the file, fan flow = outlets + relief.
#[test]
fn what_the_fan_moves_arrives() {
    for name in names() {
        let (s, outcome) = run(name);
        let mut csv = Vec::new();
        outcome.trace.write_csv(&mut csv).unwrap();
        let written = Trace::read_csv(csv.as_slice()).unwrap();
        let column = |n: &str| {
            written
                .column(n)
                .unwrap_or_else(|| panic!("{name}: no {n}"))
        };
        let (fan, relief) = (column("fan.flow_m3_s"), column("relief.flow_m3_s"));
        let outlets: Vec<&[f64]> = s
            .outlets
            .iter()
            .map(|o| column(&format!("outlet.{}.flow_m3_s", o.name)))
            .collect();
        let mut moved = false;
        for row in 0..written.rows() {
            let arrived: f64 = outlets.iter().map(|o| o[row]).sum::<f64>() + relief[row];
            let off = (fan[row] - arrived).abs();
            assert!(
                off <= 1e-6 * fan[row].abs(),
                "{name} row {row}: {} against {arrived}",
                fan[row]
            );
            moved |= fan[row] > 0.0;
        }
        assert!(moved, "{name}: the fan never ran");
    }
}

#[test]
fn column_names_are_a_contract() {
    let (_, outcome) = run("family-house");
    for name in [
        "time_s",
        "outdoor.air_C",
        "fan.flow_m3_s",
        "fan.speed",
        "supply_plenum.static_Pa",
        "return_plenum.static_Pa",
        "relief.flow_m3_s",
        "relief.opening",
        "unit.speed",
        "unit.entering_C",
        "unit.supply_C",
        "unit.sensible_W",
        "unit.latent_W",
        "unit.power_W",
        "room.living.air_C",
        "room.living.rh_pct",
        "outlet.parents.flow_m3_s",
        "outlet.parents.opening",
        "zone.children.sensor_C",
        "zone.children.setpoint_C",
        "zone.children.call",
    ] {
        assert!(outcome.trace.column(name).is_some(), "{name} is missing");
    }
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let bytes = || {
        let (_, outcome) = run("small-zone-relief");
        let mut csv = Vec::new();
        outcome.trace.write_csv(&mut csv).unwrap();
        csv
    };
    assert_eq!(bytes(), bytes());
    let (_, other) = what_if("based_on = \"small-zone-relief.toml\"\n[run]\nseed = 2\n");
    let mut csv = Vec::new();
    other.trace.write_csv(&mut csv).unwrap();
    assert_ne!(bytes(), csv, "another seed is another day");
}

/// What the pair of small-zone scenarios teaches, as directions.
#[test]
fn relief_saves_the_ducts_and_not_the_coil() {
    let (_, without) = run("small-zone-no-relief");
    let (_, with) = run("small-zone-relief");
    let worst = |o: &Outcome| value(o, "static_worst", "house");
    assert!(
        worst(&without) > 2.0 * worst(&with),
        "{} and {}",
        worst(&without),
        worst(&with)
    );
    let velocity = |o: &Outcome| value(o, "face_velocity_worst", "study");
    assert!(velocity(&without) > 1.2 * velocity(&with));
    assert!(value(&with, "trips", "house") > value(&without, "trips", "house"));
    // Relief air has been cooled already: the coil's entering air falls well below any room.
    let entering = with.trace.column("unit.entering_C").unwrap();
    let study = with.trace.column("room.study.air_C").unwrap();
    assert!(entering.iter().zip(study).any(|(e, r)| *e < r - 8.0));
}

#[test]
fn a_second_outlet_feeds_the_big_room() {
    let (_, one) = run("living-one-outlet");
    let (_, two) = run("living-two-outlets");
    let flow = |o: &Outcome, outlets: &[&str]| -> f64 {
        outlets
            .iter()
            .map(|n| {
                o.trace
                    .column(&format!("outlet.{n}.flow_m3_s"))
                    .unwrap()
                    .iter()
                    .sum::<f64>()
            })
            .sum()
    };
    let (a, b) = (
        flow(&one, &["living-north"]),
        flow(&two, &["living-north", "living-south"]),
    );
    assert!(b > 1.2 * a, "{a} and {b}");
    let velocity = |o: &Outcome| value(o, "face_velocity_worst", "living-north");
    assert!(velocity(&one) > velocity(&two));
}

/// Nothing on, nothing in: every room drifts to the outdoor temperature, the house's only fixed point.
#[test]
fn a_shut_house_comes_to_rest_outdoors() {
    let (_, o) = what_if(
        "based_on = \"family-house.toml\"\n\
         without = [\"weather\", \"room.living.people\", \"room.living.equipment\", \
         \"room.parents.people\", \"room.east-child.people\", \"room.west-child.people\", \
         \"room.study.people\", \"room.study.equipment\", \"room.hall.equipment\"]\n\
         [run]\nduration = \"30 d\"\nrecord = \"1 h\"\nstep = \"10 s\"\nwarm_up = \"0 s\"\n\
         [weather]\nkind = \"constant\"\ntemperature = \"18 °C\"\nhumidity = 0.5\n\
         [[action]]\nafter = \"0 s\"\nswitch = \"off\"\n",
    );
    // The roof radiates 4 K to the sky (sol-air), so rooms end a little below outdoors.
    let hall = o.trace.column("room.hall.air_C").unwrap();
    let last = hall[hall.len() - 1];
    assert!((14.0..18.1).contains(&last), "{last}");
    let before = hall[hall.len() - 25];
    assert!(
        (last - before).abs() < 0.01,
        "still moving: {before} to {last}"
    );
    assert_eq!(value(&o, "starts", "house"), 0.0);
}

/// Halving the step changes the day little. Cycles slip in phase (the controller samples once a
/// step), so what is compared is what cycles leave: energy, and the slow store's temperature.
#[test]
fn half_the_step_gives_the_same_day() {
    let day = |step: &str| {
        what_if(&format!(
            "based_on = \"family-house.toml\"\n[run]\nstep = \"{step}\"\n\
             [thermostat]\nnoise = \"0 K\"\n"
        ))
        .1
    };
    let (coarse, fine) = (day("1 s"), day("0.5 s"));
    let energy = |o: &Outcome| value(o, "energy_electric", "house");
    let ratio = energy(&coarse) / energy(&fine);
    assert!(
        (ratio - 1.0).abs() < 0.01,
        "{} and {} J",
        energy(&coarse),
        energy(&fine)
    );
    let mean = |o: &Outcome| {
        let t = o.trace.column("room.living.operative_C").unwrap();
        t.iter().sum::<f64>() / t.len() as f64
    };
    let (a, b) = (mean(&coarse), mean(&fine));
    // The dampers' dead band, 5 % of a proportional band of 1 K, leaves 0.05 K undetermined.
    assert!((a - b).abs() < 0.05, "{a} and {b} °C");
}

/// A person's actions come through: off is off, and the setpoint moves within its bounds.
#[test]
fn people_may_act() {
    let (_, o) = what_if(
        "based_on = \"family-house.toml\"\n\
         [run]\nstart = \"2027-01-18 12:00\"\nduration = \"4 h\"\n\
         [[action]]\nat = \"13:00\"\nzone = \"living\"\nsetpoint_change = \"+8 K\"\n\
         [[action]]\nat = \"14:00\"\nswitch = \"off\"\n",
    );
    let t = o.trace.column("time_s").unwrap();
    let at = |s: f64| t.iter().position(|x| *x == s).unwrap();
    let setpoint = o.trace.column("zone.living.setpoint_C").unwrap();
    assert_eq!(setpoint[at(3000.0)], 24.0);
    assert_eq!(
        setpoint[at(4200.0)],
        30.0,
        "8 K up is held to the highest setpoint"
    );
    let fan = o.trace.column("fan.flow_m3_s").unwrap();
    assert!(fan[at(3600.0)] > 0.0);
    assert_eq!(
        fan[at(9000.0)],
        0.0,
        "half an hour after the whole system went off"
    );
    assert!(o.events.iter().any(|e| e.what.name() == "action"));
}

#[test]
fn winter_heats_and_starts_early() {
    let (_, o) = run("winter-morning");
    let heat: f64 = o.trace.column("unit.sensible_W").unwrap().iter().sum();
    assert!(heat < 0.0, "heat into the air counts negative");
    assert!(
        o.events
            .iter()
            .any(|e| e.what.name() == "optimum-start-began")
    );
    let living = o.trace.column("zone.living.sensor_C").unwrap();
    let at_band = living[390];
    assert!(
        (at_band - 20.5).abs() < 1.5,
        "at half past six the living room reads {at_band}"
    );
}
