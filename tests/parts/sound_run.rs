//! Sound through a run: from scenario to levels, measures, events and files.
//!
//! The numbers a run should come to are our own; what is checked is that they hang together (energy
//! means, drops, limits) and that they move the way the physics asks.

use crate::engine::Engine;
use crate::engine::event::What;
use crate::engine::sample::SoundSample;
use crate::engine::sound::SoundStage;
use crate::measure::Measure;
use crate::measure::noise_rating::{ROOM_LIMITS, room_limit};
use crate::plant::air_side::{AirCommand, AirScratch, AirSide, AirState};
use crate::plant::sound::heard::Heard;
use crate::plant::sound::octave::energy_to_db;
use crate::plant::sound::{RoomSound, Source};
use crate::run::{Outcome, simulate, sound_record};
use crate::scenario::Scenario;
use proptest::prelude::*;

fn embedded(name: &str) -> Scenario {
    Scenario::embedded(name).unwrap()
}

fn run(name: &str) -> (Scenario, Outcome) {
    let scenario = embedded(name);
    let outcome = simulate(&scenario, |_| ()).unwrap();
    (scenario, outcome)
}

fn value(outcome: &Outcome, key: &str, room: &str) -> f64 {
    outcome.measure(key, room).unwrap().value
}

fn loudest<'a>(s: &Scenario, outcome: &'a Outcome, room: &str) -> &'a RoomSound {
    let index = s.rooms.iter().position(|r| r.name == room).unwrap();
    &outcome
        .loudest
        .iter()
        .find(|l| l.room == index)
        .unwrap()
        .stretch
        .sound
}

fn level(sound: &RoomSound, source: Source) -> f64 {
    sound
        .ranking()
        .into_iter()
        .find(|s| s.source == source)
        .unwrap()
        .dba
}

/// A small change of the family house.
fn changed(text: &str) -> Scenario {
    let text = format!("based_on = \"family-house.toml\"\n{text}");
    Scenario::from_text("changed", &text).unwrap_or_else(|e| panic!("{}", e.render(false)))
}

fn refused(text: &str) -> String {
    let text = format!("based_on = \"family-house.toml\"\n{text}");
    Scenario::from_text("changed", &text)
        .unwrap_err()
        .render(false)
}

// ---- the shipped pairs -------------------------------------------------------------------------

#[test]
fn relief_quietens_the_smallest_zone_and_the_return() {
    let (s, without) = run("small-zone-no-relief");
    let (r, with) = run("small-zone-relief");
    let (loud, quiet) = (loudest(&s, &without, "study"), loudest(&r, &with, "study"));
    // Face velocity falls from about 4.0 to 2.4 m/s, 60 lg of which is 13 dB: at least 10 dB
    // of it must show in the grille's own sound.
    assert_eq!(loud.ranking()[0].source, Source::Grille);
    assert!(level(loud, Source::Grille) - level(quiet, Source::Grille) > 10.0);
    let fall = |key: &str, room: &str| value(&without, key, room) - value(&with, key, room);
    assert!(fall("sound_loudest", "study") > 3.0);
    assert!(fall("sound_laeq_day", "study") > 3.0);
    assert!(fall("sound_nc", "study") > 3.0);
    // The fan works against less pressure, which every room hears.
    assert!(fall("sound_loudest", "hall") > 0.5);
    // Relief air itself is heard through the return only.
    assert!(level(quiet, Source::Relief).is_infinite());
    assert!(level(loudest(&r, &with, "hall"), Source::Relief).is_finite());
}

#[test]
fn a_second_outlet_quietens_the_big_room() {
    let (s, one) = run("living-one-outlet");
    let (t, two) = run("living-two-outlets");
    let (loud, quiet) = (loudest(&s, &one, "living"), loudest(&t, &two, "living"));
    assert!(value(&one, "sound_loudest", "living") > value(&two, "sound_loudest", "living"));
    // Two grilles at a lower velocity are quieter than one, though there are two of them.
    assert!(level(loud, Source::Grille) > level(quiet, Source::Grille) + 6.0);
    assert_eq!(loud.ranking()[0].source, Source::Grille);
}

// ---- a run hangs together ----------------------------------------------------------------------

#[test]
fn records_measures_and_means_agree() {
    let (s, outcome) = run("small-zone-no-relief");
    let rooms = s.rooms.len();
    let rows = &outcome.sound;
    assert_eq!(rows.len(), outcome.trace.rows() * rooms);
    for (i, room) in s.rooms.iter().enumerate() {
        // The first row is the instant of the start; the others cover the run, all of it by day.
        let own: Vec<_> = rows
            .iter()
            .filter(|r| usize::from(r.room) == i)
            .skip(1)
            .collect();
        let energy: f64 = own.iter().map(|r| 10f64.powf(0.1 * f64::from(r.dba))).sum();
        let mean = energy_to_db(energy / own.len() as f64);
        let laeq = value(&outcome, "sound_laeq_day", &room.name);
        assert!((mean - laeq).abs() < 1e-4, "{}: {mean} {laeq}", room.name);
        assert!(
            outcome
                .measure("sound_laeq_night", &room.name)
                .unwrap()
                .value
                .is_nan()
        );
        // No clock minute is louder than the loudest minute, and that is no louder than the worst
        // second of it could be.
        let peak = own.iter().map(|r| f64::from(r.dba)).fold(0.0, f64::max);
        let most = value(&outcome, "sound_loudest", &room.name);
        assert!(peak <= most + 1e-4 && most >= laeq, "{}", room.name);
        let column = outcome
            .trace
            .column(&format!("room.{}.sound_dBA", room.name))
            .unwrap();
        assert_eq!(column[5], f64::from(rows[5 * rooms + i].dba));
        for row in &own {
            let shares: f32 = row.shares.iter().sum();
            assert!((shares - 1.0).abs() < 1e-5);
        }
    }
}

#[test]
fn a_room_above_its_limit_says_so_and_does_not_chatter() {
    let (s, outcome) = run("small-zone-no-relief");
    let mut above = vec![false; s.rooms.len()];
    let mut last = vec![f64::NEG_INFINITY; s.rooms.len()];
    let events: Vec<_> = outcome
        .events
        .iter()
        .filter(|e| e.what == What::Sound)
        .collect();
    assert!(!events.is_empty());
    for e in events {
        let room = s.rooms.iter().position(|r| r.name == e.subject).unwrap();
        let limit = s.sound.limits[room].dba.value;
        above[room] = !above[room];
        if above[room] {
            assert!(
                e.value > limit && e.text.contains("goes above"),
                "{}",
                e.text
            );
        } else {
            assert!(
                e.value <= limit - 1.0 && e.text.contains("back within"),
                "{}",
                e.text
            );
        }
        assert!(e.cause.contains("dominant source"), "{}", e.cause);
        assert!(e.t_s - last[room] >= 60.0 - 1e-6);
        last[room] = e.t_s;
    }
}

#[test]
fn the_second_table_has_a_line_for_every_room_and_record() {
    let (s, outcome) = run("small-zone-relief");
    let names: Vec<String> = s.rooms.iter().map(|r| r.name.clone()).collect();
    let mut bytes = Vec::new();
    sound_record::write_csv(&outcome.sound, &names, &mut bytes).unwrap();
    let text = String::from_utf8(bytes).unwrap();
    let mut lines = text.lines();
    assert_eq!(
        lines.next().unwrap(),
        "time_s,room,octave_63_Hz_dB,octave_125_Hz_dB,octave_250_Hz_dB,octave_500_Hz_dB,\
         octave_1000_Hz_dB,octave_2000_Hz_dB,octave_4000_Hz_dB,octave_8000_Hz_dB,sound_dBA,nc,\
         governing_Hz,share_fan,share_damper,share_grille,share_relief,share_return,share_background"
    );
    let count = lines.clone().count();
    assert_eq!(count, outcome.sound.len());
    assert!(lines.all(|l| l.split(',').count() == 19));
}

/// Skipping a step whose flows did not change gives what computing it would have given, to the bit.
#[test]
fn unchanged_flows_sound_the_same() {
    let scenario = embedded("family-house");
    let engine = Engine::new(&scenario).unwrap();
    let (mut state, mut scratch) = (engine.initial_state(), engine.scratch());
    let mut events = Vec::new();
    let mut before: Option<(SoundSample, Vec<f64>, f64)> = None;
    let (mut kept, mut moved) = (0, 0);
    state.t_s = -6.0 * 3600.0;
    for _ in 0..6000 {
        engine.step(&mut state, &mut scratch, &mut events).unwrap();
        let sample = &state.sample;
        let flows: Vec<f64> = sample.outlets.iter().map(|o| o.flow_m3_s).collect();
        let now = (sample.sound.clone(), flows, sample.air.fan_flow_m3_s);
        if let Some(before) = &before {
            if before.0.changes == now.0.changes {
                assert_eq!(before, &now);
                kept += 1;
            } else {
                moved += 1;
            }
        }
        before = Some(now);
    }
    assert!(kept > 100 && moved > 100, "{kept} {moved}");
}

// ---- from the air side to the ears -------------------------------------------------------------

/// An air side solved once with these openings, and the sound of it.
fn heard(
    scenario: &Scenario,
    fan: f64,
    openings: &[f64],
) -> (AirSide, AirScratch, AirState, SoundSample) {
    let air_side = AirSide::new(scenario.air.clone(), &scenario.rooms, &scenario.doors).unwrap();
    let mut air = air_side.initial();
    let doors = vec![true; scenario.doors.len()];
    let command = AirCommand {
        fan,
        openings,
        relief: 0.0,
        open_doors: &doors,
    };
    let mut scratch = air_side.scratch();
    air_side
        .step(&command, 1.0, &mut air, &mut scratch)
        .unwrap();
    let stage = SoundStage::new(scenario);
    let mut own = SoundStage::scratch(scenario.outlets.len());
    let mut sound = stage.initial();
    stage.step(&air_side, &air, &mut scratch, &mut own, &mut sound);
    let once = sound.clone();
    stage.step(&air_side, &air, &mut scratch, &mut own, &mut sound);
    assert_eq!(once.state, sound.state);
    // Sources that a room does not have are passed over; what is left out is nothing.
    let afresh: Vec<Heard> = sound.state.rooms.iter().map(Heard::of).collect();
    assert_eq!(sound.heard, afresh);
    (air_side, scratch, air, sound)
}

/// The damper's own drop is what the rest of its branch leaves of the pressure from plenum to room.
#[test]
fn damper_drops_are_what_the_branch_leaves() {
    let scenario = embedded("small-zone-no-relief");
    let openings: Vec<f64> = (0..scenario.outlets.len())
        .map(|i| 0.15 + 0.15 * i as f64)
        .collect();
    let (air_side, mut scratch, air, _) = heard(&scenario, 1.0, &openings);
    let mut drops = vec![f64::NAN; scenario.outlets.len()];
    air_side.damper_drops(&air, &mut scratch, &mut drops);
    for ((o, drop), q) in scenario.outlets.iter().zip(&drops).zip(&air.outlets_m3_s) {
        let mut from = air.supply_pa;
        let mut trunk = o.trunk;
        while let Some(t) = trunk {
            let run = &scenario.air.trunks[t].run;
            from -= run.duct.law(&scenario.air.air).drop_pa(air.trunks_m3_s[t]);
            trunk = scenario.air.trunks[t].parent;
        }
        let duct = o.run.duct.law(&scenario.air.air).in_series(o.balancing);
        let rest = duct.in_series(o.grille).drop_pa(*q);
        let left = from - air.rooms_pa[o.room] - rest;
        assert!(
            (left - drop).abs() < 1e-5 * left.abs().max(1.0),
            "{}: {left} {drop}",
            o.name
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Closing dampers of other zones never quietens the grille that stays open, in any octave,
    /// at a fixed speed of the fan.
    #[test]
    fn closing_others_never_quietens_an_open_grille(
        open in 0usize..6,
        fan in 0.3f64..1.0,
        start in prop::collection::vec(0.0f64..1.0, 6),
        closing in prop::collection::vec(0.0f64..1.0, 6),
    ) {
        let scenario = embedded("small-zone-no-relief");
        prop_assert_eq!(scenario.outlets.len(), 6);
        let room = scenario.outlets[open].room;
        // Two outlets serve the living room: the other one stays as it is there.
        let mut before = start;
        before[open] = 1.0;
        let after: Vec<f64> = (0..6)
            .map(|i| if scenario.outlets[i].room == room { before[i] } else { before[i] * closing[i] })
            .collect();
        let (_, _, _, loose) = heard(&scenario, fan, &before);
        let (_, _, _, tight) = heard(&scenario, fan, &after);
        let grille = |s: &SoundSample| *s.state.rooms[room].of(Source::Grille);
        for (a, b) in grille(&loose).iter().zip(grille(&tight)) {
            prop_assert!(b >= a * (1.0 - 1e-9), "{a} {b}");
        }
    }
}

// ---- what a scenario says ----------------------------------------------------------------------

#[test]
fn limits_go_by_use_unless_the_scenario_sets_them() {
    let by_use = embedded("family-house");
    for (use_, limit) in by_use.room_uses.iter().zip(&by_use.sound.limits) {
        assert!(
            ROOM_LIMITS
                .iter()
                .any(|l| l.dba == limit.dba.value && l.source == limit.dba.source)
        );
        if use_.is_bedroom() {
            assert_eq!(limit.nc.value, room_limit("bedroom").unwrap().nc);
        }
        assert!(!limit.dba.mandatory);
    }
    let set = changed(
        "[limits]\nsound = \"28 dB(A)\"\nmandatory = [\"sound\"]\n[room.study]\nsound_limit = \"33 dB\"\n",
    );
    for (room, limit) in set.rooms.iter().zip(&set.sound.limits) {
        let want = if room.name == "study" { 33.0 } else { 28.0 };
        assert_eq!((limit.dba.value, limit.nc.value), (want, want - 5.0));
        assert!(limit.dba.mandatory && limit.nc.mandatory);
    }
    let outcome = simulate(
        &changed(
            "[run]\nstart = \"2027-01-18 12:00\"\nduration = \"2 h\"\nwarm_up = \"0 s\"\n\
         [limits]\nsound = \"15 dB\"\nmandatory = [\"sound\"]\n",
        ),
        |_| (),
    )
    .unwrap();
    assert!(
        outcome
            .measures
            .iter()
            .any(|m| m.key == "sound_loudest" && m.fails_mandatory())
    );
}

#[test]
fn every_default_of_sound_names_its_source() {
    let scenario = embedded("family-house");
    for key in [
        "sound.blades",
        "sound.listener_distance",
        "sound.elbows",
        "sound.lining",
        "sound.flexible_core",
        "outlet.study.flexible_length",
        "sound.damper_position",
        "sound.background_sound",
        "return.length",
        "return.diameter",
        "room.study.sound_limit",
    ] {
        let taken: Vec<_> = scenario.defaults.iter().filter(|d| d.path == key).collect();
        assert_eq!(taken.len(), 1, "{key}");
        assert!(!taken[0].source.is_empty());
    }
}

/// A lower level where more is put in its way, and a narrower band with a measured fan.
#[test]
fn what_is_written_is_heard() {
    let openings = [1.0; 6];
    let study = |s: &Scenario| {
        let room = s.rooms.iter().position(|r| r.name == "study").unwrap();
        heard(s, 1.0, &openings).3.state.rooms[room]
    };
    let base = study(&embedded("family-house"));
    let fan = |s: &RoomSound| level(s, Source::Fan);
    for quieter in [
        "[room.study]\narea = \"20 m2\"\n",
        "[outlet.study]\nlistener_distance = \"3 m\"\n",
        "[sound]\nfan_levels = [\"60 dB\", \"60 dB\", \"55 dB\", \"50 dB\", \"45 dB\", \"40 dB\", \"35 dB\", \"30 dB\"]\n",
    ] {
        assert!(
            fan(&study(&changed(quieter))) < fan(&base) - 1.0,
            "{quieter}"
        );
    }
    // Two round bends of 150 mm more: 2 dB each at 1 kHz (0.15 m kHz), none at 125 Hz.
    let bends = study(&changed("[outlet.study]\nelbows = 3\n"));
    let at = |s: &RoomSound, band: usize| energy_to_db(s.of(Source::Fan)[band]);
    assert!((at(&base, 4) - at(&bends, 4) - 4.0).abs() < 1e-9);
    assert!((at(&base, 1) - at(&bends, 1)).abs() < 1e-9);
    for louder in [
        "[outlet.study]\nflexible_length = \"1 m\"\n",
        "[sound]\nflexible_core = \"airtight\"\n",
        "[outlet.study]\nmaterial = \"galvanised\"\n",
    ] {
        assert!(fan(&study(&changed(louder))) > fan(&base) + 1.0, "{louder}");
    }
    let lined = study(&changed(
        "[outlet.study]\nmaterial = \"galvanised\"\nlining = \"25 mm\"\n",
    ));
    let bare = study(&changed("[outlet.study]\nmaterial = \"galvanised\"\n"));
    assert!(fan(&lined) < fan(&bare) - 3.0);
    let near = study(&changed("[outlet.study]\ndamper_position = \"outlet\"\n"));
    assert!(level(&near, Source::Damper) > level(&base, Source::Damper) + 5.0);
    let bent = study(&changed("[sound]\ngrille_disturbed = \"7 dB\"\n"));
    assert!((level(&bent, Source::Grille) - level(&base, Source::Grille) - 7.0).abs() < 1e-9);
    assert!(!embedded("family-house").sound.measured_fan);
}

#[test]
fn faults_in_a_file_are_shown_where_they_stand() {
    let seven = refused(
        "[sound]\nfan_levels = [\"60 dB\", \"60 dB\", \"55 dB\", \"50 dB\", \"45 dB\", \"40 dB\", \"35 dB\"]\n",
    );
    assert!(
        seven.contains("7 levels") && seven.contains("fan_levels"),
        "{seven}"
    );
    let stiff = refused("[outlet.study]\nmaterial = \"galvanised\"\nflexible_length = \"2 m\"\n");
    assert!(stiff.contains("not flexible"), "{stiff}");
    let stray = refused("[sound]\nlinning = \"25 mm\"\n");
    assert!(stray.contains("`lining`"), "{stray}");
    let limit = refused("[limits]\nmandatory = [\"sounds\"]\n");
    assert!(limit.contains("sound"), "{limit}");
}

// ---- judged ------------------------------------------------------------------------------------

#[test]
fn every_level_is_judged_with_a_source_and_told_once() {
    let (_, outcome) = run("living-two-outlets");
    let sound: Vec<&Measure> = outcome
        .measures
        .iter()
        .filter(|m| m.key.starts_with("sound_"))
        .collect();
    for m in sound.iter().filter(|m| !m.key.contains("above")) {
        assert!(
            m.limit.as_ref().is_some_and(|l| !l.source.is_empty()),
            "{} {}",
            m.key,
            m.subject
        );
        assert!(m.value.is_finite());
    }
    for m in sound.iter().filter(|m| m.key == "sound_loudest") {
        for word in ["dominates", "LAeq", "open"] {
            assert!(m.note.to_string().contains(word), "{}", m.note);
        }
    }
}
