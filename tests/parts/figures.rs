//! Figures from made-up runs: what every sheet must say, and that PNGs are what the SVG draws.
//!
//! The numbers are invented to look like a hot day; nothing here is a check of physics. Look at
//! the drawings themselves in `target/figures/` after running these tests.

use crate::control::NoticeKind;
use crate::engine::event::{Event, What};
use crate::engine::meter::Closure;
use crate::measure::loudest_minute::LoudStretch;
use crate::measure::sound::LoudRoom;
use crate::measure::{Limit, Measure};
use crate::plant::sound::{RoomSound, Source};
use crate::quantity::Dimension;
use crate::report::{FIGURES, Figure, FigureData, FigureError, PNG_SCALE, UnitSystem, draw_all};
use crate::run::Outcome;
use crate::scenario::Scenario;
use crate::trace::Trace;
use chrono::{NaiveDate, Timelike};
use std::collections::HashSet;
use std::f64::consts::TAU;
use std::path::Path;
use tiny_skia::Pixmap;

const ROOMS: [&str; 16] = [
    "Living",
    "Kitchen",
    "Main bedroom",
    "Office",
    "Nursery",
    "Guest room",
    "Bath",
    "Hall",
    "Waiting room",
    "Reception",
    "Consulting 1",
    "Consulting 2",
    "Laboratory",
    "Store",
    "Staff room",
    "Consulting room on the north side",
];

/// The family house with its rooms, outlets and zones named anew and as many as asked: figures read
/// nothing else of them.
fn renamed(title: &str, groups: &[usize], from_hour: u32) -> Scenario {
    let mut s = Scenario::embedded("family-house").unwrap();
    s.title = title.to_owned();
    s.run.start = NaiveDate::from_ymd_opt(2026, 7, 14)
        .unwrap()
        .and_hms_opt(from_hour, 0, 0)
        .unwrap();
    s.limits.static_pa = Limit::at_most(125.0, "duct construction class of the job");
    let (room, outlet, zone) = (s.rooms[0].clone(), s.outlets[0].clone(), s.zones[0].clone());
    let mut limit = s.sound.limits[0].clone();
    limit.dba = Limit::at_most(30.0, "WHO Guidelines for Community Noise 1999");
    limit.nc = Limit::at_most(25.0, "as above");
    s.rooms.clear();
    s.outlets.clear();
    s.zones.clear();
    s.sound.limits.clear();
    for &count in groups {
        let first = s.rooms.len();
        let mut zone = zone.clone();
        zone.room = first;
        zone.outlets.clear();
        for name in &ROOMS[first..first + count] {
            let mut named = |name: String| {
                let mut outlet = outlet.clone();
                outlet.name = name;
                outlet.room = s.rooms.len();
                zone.outlets.push(s.outlets.len());
                s.outlets.push(outlet);
            };
            named((*name).to_owned());
            if count == 1 && s.zones.is_empty() {
                named(format!("{name} 2"));
            }
            let mut room = room.clone();
            room.name = (*name).to_owned();
            s.rooms.push(room);
            s.sound.limits.push(limit.clone());
        }
        zone.name = match count {
            1 => ROOMS[first].to_owned(),
            _ => format!("{} side", ROOMS[first]),
        };
        s.zones.push(zone);
    }
    s
}

/// A hot day's wiggles for `groups` of rooms, `days` long, recorded every `step_s`.
fn made_up(
    title: &str,
    groups: &[usize],
    from_hour: u32,
    days: f64,
    step_s: f64,
) -> (Scenario, Outcome) {
    let s = renamed(title, groups, from_hour);
    let (trace, events) = record(&s, days, step_s);
    let nothing = Closure {
        stored: 0.0,
        net_inflow: 0.0,
        throughput: 0.0,
        residual: 0.0,
        relative: 0.0,
    };
    let outcome = Outcome {
        trace,
        sound: Vec::new(),
        loudest: (0..s.rooms.len()).map(|r| loud(&s, r)).collect(),
        events,
        handed_on: false,
        measures: (s.rooms.iter())
            .map(|r| {
                let key = "sound_above_day";
                Measure::new(key, key, &r.name, 5400.0, Dimension::Time)
            })
            .collect(),
        heat: nothing,
        moisture: nothing,
        steps: 0,
    };
    (s, outcome)
}

/// A made-up loudest minute; the first room's is a little louder.
fn loud(s: &Scenario, room: usize) -> LoudRoom {
    let mut sound = RoomSound::SILENT;
    let more = if room == 0 { 1.0 } else { 0.0 };
    for (source, level) in [
        (Source::Fan, 52.0),
        (Source::Grille, 34.0),
        (Source::Background, 40.0),
    ] {
        let slope = if source == Source::Grille { 1.0 } else { 6.0 };
        sound.by_source[source as usize] =
            std::array::from_fn(|b| 10f64.powf(0.1 * (level + more - slope * b as f64)));
    }
    LoudRoom {
        room,
        stretch: LoudStretch {
            start_s: 3600.0,
            duration_s: 60.0,
            sound,
        },
        combination: format!("calling: {}", s.rooms[room].name),
    }
}

fn event(t_s: f64, kind: NoticeKind, subject: &str, text: &str) -> Event {
    Event {
        t_s,
        what: What::Control(kind),
        subject: subject.to_owned(),
        cause: String::new(),
        value: f64::NAN,
        text: text.to_owned(),
    }
}

fn record(s: &Scenario, days: f64, step_s: f64) -> (Trace, Vec<Event>) {
    let (zones, start) = (&s.zones, s.run.start);
    let rooms_of = |z: &crate::scenario::control::Zone| -> Vec<String> {
        let mut rooms: Vec<String> = Vec::new();
        for &o in &z.outlets {
            let room = &s.rooms[s.outlets[o].room].name;
            if !rooms.contains(room) {
                rooms.push(room.clone());
            }
        }
        rooms
    };
    let mut columns: Vec<String> = [
        "time_s",
        "outdoor.air_C",
        "fan.flow_m3_s",
        "fan.speed",
        "supply_plenum.static_Pa",
        "return_plenum.static_Pa",
        "relief.flow_m3_s",
        "relief.opening",
        "unit.speed",
        "unit.heating",
        "unit.entering_C",
        "unit.supply_C",
        "unit.surface_C",
    ]
    .map(str::to_owned)
    .to_vec();
    for zone in zones {
        for key in ["sensor_C", "setpoint_C", "call", "scheduled"] {
            columns.push(format!("zone.{}.{key}", zone.name));
        }
        let rooms = rooms_of(zone);
        columns.extend(rooms.iter().map(|r| format!("room.{r}.air_C")));
        columns.extend(rooms.iter().map(|r| format!("room.{r}.sound_dBA")));
        for &outlet in &zone.outlets {
            let outlet = &s.outlets[outlet].name;
            columns.push(format!("outlet.{outlet}.flow_m3_s"));
            columns.push(format!("outlet.{outlet}.opening"));
        }
    }
    let mut trace = Trace::new(columns);
    let mut events = Vec::new();
    let sizes: Vec<usize> = zones.iter().map(|z| rooms_of(z).len()).collect();
    let rooms: usize = sizes.iter().sum();
    let mut air: Vec<f64> = (0..rooms).map(|i| 24.4 + 0.15 * (i % 5) as f64).collect();
    let mut calling = vec![false; zones.len()];
    let mut opening = vec![0.0f64; zones.len()];
    let (mut speed, mut supply, mut post, mut blocked) = (0.0f64, 24.0f64, 0.0f64, 0.0f64);
    let mut cold = 0.0;
    let mut row = Vec::new();
    for k in 0..=(days * 86_400.0 / step_s) as usize {
        let t = k as f64 * step_s;
        let hour = (t / 3600.0 + f64::from(start.hour())) % 24.0;
        let outdoor = 28.0 + 8.0 * ((hour - 15.5) / 24.0 * TAU).cos() + 0.3 * (t / 1100.0).sin();
        let mut first = 0;
        let mut wanted = 0.0;
        let mut setpoints = Vec::new();
        for (z, zone) in zones.iter().enumerate() {
            let open = z % 3 == 0 || (6.0 + z as f64 * 0.5..22.0).contains(&hour);
            let setpoint = if (22.0..24.0).contains(&hour) || hour < 6.0 {
                25.0
            } else {
                24.0
            };
            let lead = air[first];
            if !open {
                calling[z] = false;
            } else if lead > setpoint + 0.5 {
                calling[z] = true;
            } else if lead < setpoint - 0.5 {
                calling[z] = false;
            }
            wanted += if calling[z] {
                zone.outlets.len() as f64
            } else {
                0.0
            };
            setpoints.push((setpoint, open));
            first += sizes[z];
        }
        blocked = (blocked - step_s).max(0.0);
        let run = wanted > 0.0 && blocked == 0.0;
        if run && speed == 0.0 {
            events.push(event(t, NoticeKind::Start, "unit", "call"));
        }
        if !run && speed > 0.0 {
            events.push(event(t, NoticeKind::Stop, "unit", "satisfied"));
            post = 90.0;
            blocked = blocked.max(180.0);
        }
        speed = if run {
            (0.4 + 0.15 * wanted).min(1.0)
        } else {
            0.0
        };
        post = (post - step_s).max(0.0);
        let fan: f64 = if run {
            0.16 + 0.24 * speed
        } else if post > 0.0 {
            0.12
        } else {
            0.0
        };
        for (z, open) in opening.iter_mut().enumerate() {
            let aim = if calling[z] && (run || post > 0.0) {
                1.0
            } else {
                0.0
            };
            *open += (aim - *open).clamp(-step_s / 90.0, step_s / 90.0);
        }
        let area: f64 = zones
            .iter()
            .zip(&opening)
            .map(|(z, o)| z.outlets.len() as f64 * (0.03 + o))
            .sum();
        let bare = 9.0 * (fan / 0.08 / (area + 0.2)).powi(2) * 6.0;
        let relief_opening =
            ((bare - 60.0) / 240.0).clamp(0.0, 1.0) * if fan > 0.0 { 1.0 } else { 0.0 };
        let pressure = if fan > 0.0 {
            bare.min(60.0 + (bare - 60.0).max(0.0).sqrt() * 5.0)
                .min(230.0)
                + 2.0 * (t / 37.0).sin()
        } else {
            0.0
        };
        let relief = fan * 0.6 * relief_opening;
        let share = if fan > 0.0 { relief / fan } else { 0.0 };
        let entering = 24.5 * (1.0 - share) + supply * share;
        let aim = if run {
            entering - 11.0 - 9.0 * share - 1.5 * speed
        } else {
            23.0
        };
        supply += (aim - supply) * (1.0 - (-step_s / 75.0).exp());
        cold = if run && supply < 4.0 {
            cold + step_s
        } else {
            0.0
        };
        if cold > 60.0 {
            events.push(event(
                t,
                NoticeKind::Trip,
                "low supply air",
                "supply air too cold",
            ));
            blocked = 600.0;
            cold = 0.0;
        }
        let mut i = 0;
        for z in 0..zones.len() {
            for r in 0..sizes[z] {
                let gain = (outdoor - air[i]) / 15_000.0 * (1.0 + 0.25 * r as f64)
                    + 1.3e-4 * (1.0 + ((hour - 10.0 - 2.0 * z as f64) / 24.0 * TAU).cos());
                let cooling = opening[z] * fan.min(0.4) * (air[i] - supply).max(0.0) / 1700.0;
                air[i] += step_s * (gain - cooling * (1.0 - 0.2 * r as f64));
                i += 1;
            }
        }
        row.clear();
        row.extend([
            t,
            outdoor,
            fan,
            fan / 0.4,
            pressure,
            -0.3 * pressure,
            relief,
            relief_opening,
            speed,
            f64::from(u8::from((15.0..16.0).contains(&hour))),
            entering,
            supply,
            supply - 2.0 * speed,
        ]);
        let mut i = 0;
        for (z, zone) in zones.iter().enumerate() {
            let (setpoint, open) = setpoints[z];
            let bit = |b: bool| f64::from(u8::from(b));
            row.extend([
                air[i] + 0.1 * (t / 400.0).sin(),
                setpoint,
                bit(calling[z]),
                bit(open),
            ]);
            row.extend(&air[i..i + sizes[z]]);
            let loud = if fan > 0.0 {
                24.0 + 14.0 * opening[z]
            } else {
                20.0
            };
            row.extend((0..sizes[z]).map(|_| loud));
            i += sizes[z];
            for _ in &zone.outlets {
                row.extend([
                    (fan - relief) * (0.03 + opening[z]) / area.max(0.03),
                    opening[z],
                ]);
            }
        }
        trace.push_row(&row);
    }
    (trace, events)
}

fn clinic() -> (Scenario, Outcome) {
    made_up(
        "Five rooms, four zones, a hot day",
        &[2, 1, 1, 1],
        0,
        1.0,
        30.0,
    )
}

/// Draws every figure and leaves them where a person can look.
fn draw(name: &str, s: &Scenario, outcome: &Outcome, units: UnitSystem) -> Vec<(Figure, Vec<u8>)> {
    let figures = draw_all(s, outcome, units).unwrap();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("target/figures")
        .join(name);
    std::fs::create_dir_all(&folder).unwrap();
    for (figure, png) in &figures {
        std::fs::write(folder.join(format!("{}.svg", figure.name)), &figure.svg).unwrap();
        std::fs::write(folder.join(format!("{}.png", figure.name)), png).unwrap();
    }
    figures
}

/// Numbers of an SVG's attributes are numbers, and the PNG is the drawing and not blank.
fn sound(figures: &[(Figure, Vec<u8>)]) {
    assert_eq!(figures.len(), FIGURES.len());
    for ((figure, png), (name, _)) in figures.iter().zip(FIGURES) {
        assert_eq!(figure.name, *name);
        for bad in ["NaN", "inf,", "-2147483648", "2147483647"] {
            assert!(!figure.svg.contains(bad), "{name}: {bad}");
        }
        let image = Pixmap::decode_png(png).unwrap();
        assert_eq!(image.width(), figure.width_px * PNG_SCALE as u32, "{name}");
        assert_eq!(
            image.height(),
            figure.height_px * PNG_SCALE as u32,
            "{name}"
        );
        // Not blank: paper, grid, axes, and this figure's own data, each in full strength.
        let colours: HashSet<_> = image
            .pixels()
            .iter()
            .map(|p| (p.red(), p.green(), p.blue()))
            .collect();
        let data = match *name {
            "rooms" | "outlets" => (0xE6, 0x9F, 0x00),
            "timeline" => (0x56, 0xB4, 0xE9),
            _ => (0x00, 0x72, 0xB2),
        };
        for colour in [
            (0xFF, 0xFF, 0xFF),
            (0xE3, 0xE3, 0xE3),
            (0x22, 0x22, 0x22),
            data,
        ] {
            assert!(colours.contains(&colour), "{name} lacks {colour:?}");
        }
        // Letters and slanting lines are smoothed, which a blank sheet with a frame has none of.
        assert!(colours.len() > 32, "{name}: {} colours", colours.len());
    }
}

fn has(figures: &[(Figure, Vec<u8>)], name: &str, texts: &[&str]) {
    let (figure, _) = figures.iter().find(|(f, _)| f.name == name).unwrap();
    for text in texts {
        assert!(figure.svg.contains(text), "{name} lacks `{text}`");
    }
}

#[test]
fn a_day_in_si_names_its_units_limits_and_times() {
    let (s, outcome) = clinic();
    let figures = draw("day", &s, &outcome, UnitSystem::Si);
    sound(&figures);
    // A spectrum is of one minute and has no time axis.
    for (figure, _) in figures.iter().filter(|(f, _)| f.name != "spectrum") {
        has(
            &figures,
            figure.name,
            &[
                "Local clock time, h:min",
                "Tue 14 July 2026, 00:00 to 24:00",
            ],
        );
    }
    has(
        &figures,
        "rooms",
        &[
            "°C",
            "Living side",
            "Outdoor air",
            "setpoint 25 °C",
            "scheduled period",
        ],
    );
    has(
        &figures,
        "pressure",
        &[
            "Static, Pa",
            "limit 125 Pa",
            "duct construction class of the job",
            "Opening, %",
            "Fraction, %",
            "worst ",
            "above the limit, ",
        ],
    );
    has(
        &figures,
        "supply",
        &[
            "Air temperature, °C",
            "low trip 5 °C",
            "low re-enable ",
            "High trip ",
            " (off the scale)",
            "(1) ",
            "below 5 °C for ",
        ],
    );
    has(
        &figures,
        "timeline",
        &[
            "share of full, %",
            "Starts per hour",
            "fan without compressor",
            "cooling",
            "(1) ",
            // An hour of heating leaves room for its letter alone.
            ">\nH\n<",
        ],
    );
    has(
        &figures,
        "outlets",
        &["Flow, L/s", "Opening, %", "Main bedroom", "relief"],
    );
    has(
        &figures,
        "sound",
        &[
            "dB(A)",
            "limit 30 dB(A)",
            "night, 22 to 07 h",
            "above the room",
            // By hand, A-weighted: fan 4837, grille 4107, background 305.
            "fan 52 %",
            "above for 1 h 30 min",
            "tones and whistles are not predicted",
        ],
    );
    has(
        &figures,
        "spectrum",
        &[
            "63 Hz",
            "8 kHz",
            "NC-40",
            "limit NC-25",
            "is set here, by the grille",
            "Octave band",
            "grille",
            "tones and whistles are not predicted",
        ],
    );
}

#[test]
fn ip_units_replace_si_everywhere() {
    let (s, outcome) = clinic();
    let figures = draw("day-ip", &s, &outcome, UnitSystem::Ip);
    sound(&figures);
    has(&figures, "rooms", &["°F", "setpoint 77 °F"]);
    has(&figures, "pressure", &["Static, inWC", "limit 0.502 inWC"]);
    has(
        &figures,
        "supply",
        &["Air temperature, °F", "low trip 41 °F"],
    );
    has(&figures, "outlets", &["Flow, cfm"]);
    let (rooms, _) = &figures[0];
    assert!(!rooms.svg.contains("°C"));
}

#[test]
fn one_room_and_sixteen_zones_both_draw() {
    let (s, outcome) = made_up("One room", &[1], 11, 0.25, 15.0);
    sound(&draw("one", &s, &outcome, UnitSystem::Si));
    let (s, outcome) = made_up("Sixteen zones", &[1; 16], 0, 3.0, 60.0);
    let figures = draw("sixteen", &s, &outcome, UnitSystem::Si);
    sound(&figures);
    has(&figures, "rooms", &["Thu 16 Jul", "Staff room"]);
    let (s, outcome) = made_up("Sixteen rooms, three zones", &[9, 4, 3], 0, 7.0, 120.0);
    sound(&draw("week", &s, &outcome, UnitSystem::Si));
}

#[test]
fn the_same_run_draws_the_same_bytes() {
    let (s, outcome) = clinic();
    let once = draw_all(&s, &outcome, UnitSystem::Si).unwrap();
    assert_eq!(once, draw_all(&s, &outcome, UnitSystem::Si).unwrap());
}

#[test]
fn a_trace_that_cannot_be_drawn_says_why() {
    let (s, mut outcome) = made_up("Short", &[1], 0, 0.01, 60.0);
    outcome.trace = Trace::new(vec!["time_s".into()]);
    let error = draw_all(&s, &outcome, UnitSystem::Si).unwrap_err();
    assert!(matches!(error, FigureError::NoTime { .. }), "{error}");
    outcome.trace.push_row(&[0.0]);
    outcome.trace.push_row(&[60.0]);
    for (name, _) in FIGURES {
        let error = one(name, &s, &outcome).unwrap_err().to_string();
        assert!(
            error.starts_with(&format!("figure `{name}`: the trace has no column")),
            "{error}"
        );
    }
}

/// One figure in SI.
fn one(name: &str, s: &Scenario, outcome: &Outcome) -> Result<Figure, FigureError> {
    let (name, draw) = FIGURES.iter().find(|(n, _)| *n == name).unwrap();
    draw(&FigureData::new(name, s, outcome, UnitSystem::Si)?)
}

/// The limit of static pressure that the scenario has, and a worst beyond it for `above_s`.
fn worst_static(s: &Scenario, pa: f64, above_s: f64) -> [Measure; 2] {
    let measure = |key, value, dimension| Measure::new(key, key, "house", value, dimension);
    [
        measure("static_worst", pa, Dimension::Pressure)
            .at(1801.0, "calling: Living")
            .judged(&s.limits.static_pa),
        measure("static_above_limit", above_s, Dimension::Time),
    ]
}

/// Trips are numbered as measures count them; a lock-out is a bar, told from when to when.
#[test]
fn a_lock_out_is_no_trip() {
    let (s, mut outcome) = made_up("Locked", &[1, 1], 12, 0.2, 30.0);
    let trip = What::Control(NoticeKind::Trip);
    outcome.events.retain(|e| e.what != trip);
    let by = "some protection";
    for (t_s, kind) in [
        (600.0, NoticeKind::Trip),
        (3000.0, NoticeKind::Trip),
        (3000.0, NoticeKind::LockOut),
    ] {
        outcome
            .events
            .push(event(t_s, kind, by, "below 4 °C for 60 s"));
    }
    let open = "Locked out by some protection from 12:50 to the end of the run.";
    let told = "2 trips, some protection, below 4 °C for 60 s: (1) 12:10, (2) 12:50.";
    for figure in ["timeline", "supply"] {
        let svg = one(figure, &s, &outcome).unwrap().svg;
        assert!(svg.contains(open) && svg.contains(told), "{figure}");
        assert!(!svg.contains("(3)"));
    }
    outcome
        .events
        .push(event(7200.0, NoticeKind::LockOutCleared, by, ""));
    let svg = one("timeline", &s, &outcome).unwrap().svg;
    assert!(
        svg.contains("from 12:50 to 14:00."),
        "until a person clears it"
    );
}

/// The verdict's figure, which the recorded rows may not have.
#[test]
fn the_worst_pressure_is_that_of_every_step() {
    let (s, mut outcome) = made_up("Spike", &[1, 1], 12, 0.2, 30.0);
    outcome.measures.extend(worst_static(&s, 347.7, 1.0));
    let svg = one("pressure", &s, &outcome).unwrap().svg;
    assert!(svg.contains("worst 348 Pa at 12:30"));
    assert!(svg.contains("The worst is that of every step"));
    assert!(svg.contains("Above the limit 1 s"));
}

/// A title is a finding; also that nothing was exceeded is one.
#[test]
fn titles_say_what_was_found() {
    let (s, outcome) = made_up("House", &[1, 1], 12, 0.2, 30.0);
    let title = |measures: Vec<Measure>, figure: &str| {
        let (s, mut outcome) = made_up("House", &[1, 1], 12, 0.2, 30.0);
        outcome.measures = measures;
        let svg = one(figure, &s, &outcome).unwrap().svg;
        svg.split_once("<title>")
            .unwrap()
            .1
            .split_once("</title>")
            .unwrap()
            .0
            .to_owned()
    };
    assert_eq!(
        title(worst_static(&s, 300.0, 1728.0).into(), "pressure"),
        "Static exceeds 125 Pa for 10 % of the time: 300 Pa when only zone Living calls"
    );
    assert_eq!(
        title(worst_static(&s, 82.9, 0.0).into(), "pressure"),
        "Static stays below 125 Pa: at most 82.9 Pa when only zone Living calls"
    );
    let measure = |key, value, limit| {
        Measure::new(key, key, "house", value, Dimension::Count)
            .judged(&Limit::at_most(limit, "common practice"))
    };
    let starts = |n| {
        vec![
            measure("trips", 0.0, 0.0),
            measure("starts", 9.0, 99.0),
            measure("starts_worst_hour", n, 6.0),
        ]
    };
    assert_eq!(
        title(starts(7.0), "timeline"),
        "9 starts, at most 7 in an hour: more than the limit of 6"
    );
    assert_eq!(
        title(starts(4.0), "timeline"),
        "9 starts, at most 4 in an hour: within the limit of 6"
    );
    let sound = one("sound", &s, &outcome).unwrap().svg;
    assert!(sound.contains("Living exceeds 30 dB(A) for 1 h 30 min: "));
    let spectrum = one("spectrum", &s, &outcome).unwrap().svg;
    assert!(spectrum.contains("above its limit of NC-25: the "));
}

/// Long titles are cut, in time that grows with their length and no faster.
#[test]
fn a_very_long_title_is_cut() {
    let (mut s, outcome) = made_up("Long", &[1, 1], 12, 0.1, 30.0);
    s.title = "a house ".repeat(12_500);
    let svg = one("rooms", &s, &outcome).unwrap().svg;
    assert!(svg.contains("a house…") || svg.contains("a hous…") || svg.contains("a…"));
    assert!(svg.len() < 100_000 + 60_000, "{}", svg.len());
}

#[test]
fn gaps_and_flat_lines_draw() {
    let (s, mut outcome) = made_up("Gaps", &[1, 1], 12, 0.2, 30.0);
    let trace = &outcome.trace;
    let mut holed = Trace::new(trace.columns().to_vec());
    for i in 0..trace.rows() {
        let row: Vec<f64> = trace
            .columns()
            .iter()
            .enumerate()
            .map(|(c, name)| match name.as_str() {
                "time_s" => trace.column(name).unwrap()[i],
                "outdoor.air_C" => 30.0,
                _ if c > 0 && (i / 40) % 3 == 1 => f64::NAN,
                _ => trace.column(name).unwrap()[i],
            })
            .collect();
        holed.push_row(&row);
    }
    outcome.trace = holed;
    sound(&draw("gaps", &s, &outcome, UnitSystem::Si));
}

#[test]
fn names_are_escaped() {
    let (mut s, outcome) = clinic();
    s.title = "R&D <wing> \"B\"".to_owned();
    let figures = draw_all(&s, &outcome, UnitSystem::Si).unwrap();
    has(&figures, "rooms", &["R&amp;D &lt;wing&gt; &quot;B&quot;"]);
}

/// Flows as written balance: fan = outlets + relief at every row.
#[test]
fn flows_balance_as_written() {
    let (s, outcome) = clinic();
    let mut csv = Vec::new();
    outcome.trace.write_csv(&mut csv).unwrap();
    let back = Trace::read_csv(csv.as_slice()).unwrap();
    let column = |name: &str| back.column(name).unwrap();
    for i in 0..back.rows() {
        let outlets = s.outlets.iter();
        let out: f64 = outlets
            .map(|o| column(&format!("outlet.{}.flow_m3_s", o.name))[i])
            .sum();
        let fan = column("fan.flow_m3_s")[i];
        let sum = out + column("relief.flow_m3_s")[i];
        assert!(
            (fan - sum).abs() <= 1e-6 * fan.abs(),
            "row {i}: {fan} {sum}"
        );
    }
}

/// Titles take their numbers from measures by key: a run has those that the title of supply air asks for.
#[test]
fn a_run_gives_the_title_of_supply_air_its_numbers() {
    let mut s = Scenario::embedded("family-house").unwrap();
    (s.run.duration_s, s.run.warm_up_s) = (7200.0, 3600.0);
    let outcome = crate::run::simulate(&s, |_| {}).unwrap();
    let svg = one("supply", &s, &outcome).unwrap().svg;
    assert!(svg.contains("<title>Supply air keeps "), "{}", &svg[..400]);
}
