//! Figures from made-up runs: what every sheet must say, and that PNGs are what the SVG draws.
//!
//! The numbers are invented to look like a hot day; nothing here is a check of physics. Look at
//! the drawings themselves in `target/figures/` after running these tests.

use crate::plant::sound::{RoomSound, Source};
use crate::report::{
    Differential, EventKind, FIGURES, Figure, FigureError, PNG_SCALE, Story, StoryEvent,
    StoryLimit, StoryLimits, StoryRoomSound, StorySound, StorySpectrum, StoryStatic, StoryZone,
    UnitSystem, draw_all, pressure, supply, timeline,
};
use crate::trace::Trace;
use chrono::{NaiveDate, NaiveDateTime, Timelike};
use resvg::tiny_skia::Pixmap;
use std::collections::HashSet;
use std::f64::consts::TAU;
use std::path::Path;

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

fn limit(value: f64, source: &str) -> Option<StoryLimit> {
    Some(StoryLimit {
        value,
        source: source.to_owned(),
    })
}

/// A hot day's wiggles for `groups` of rooms, `days` long, recorded every `step_s`.
fn made_up(
    title: &str,
    groups: &[usize],
    from_hour: u32,
    days: f64,
    step_s: f64,
) -> (Story, Trace) {
    let start = NaiveDate::from_ymd_opt(2026, 7, 14)
        .unwrap()
        .and_hms_opt(from_hour, 0, 0)
        .unwrap();
    let mut zones = Vec::new();
    let mut names = ROOMS.iter();
    for &count in groups {
        let rooms: Vec<String> = names
            .by_ref()
            .take(count)
            .map(|r| (*r).to_string())
            .collect();
        let mut outlets = rooms.clone();
        if count == 1 && zones.is_empty() {
            outlets.push(format!("{} 2", rooms[0]));
        }
        let name = if count == 1 {
            rooms[0].clone()
        } else {
            format!("{} side", rooms[0])
        };
        zones.push(StoryZone {
            name,
            rooms,
            outlets,
        });
    }
    let (trace, events) = record(&zones, start, days, step_s);
    let rooms: Vec<&String> = zones.iter().flat_map(|z| &z.rooms).collect();
    let sound = heard(&rooms);
    let story = Story {
        title: title.to_owned(),
        start,
        zones,
        other_rooms: Vec::new(),
        differential: Differential::centred(1.0),
        limits: StoryLimits {
            static_pa: limit(
                125.0,
                "duct construction class of the job, 125 Pa (0.5 inH2O)",
            ),
            supply_low_trip_c: limit(4.0, "unit data sheet, low supply-air protection"),
            supply_low_reset_c: limit(8.0, "unit data sheet"),
            supply_high_trip_c: limit(65.0, "unit data sheet, high supply-air protection"),
            supply_high_reset_c: limit(50.0, "unit data sheet"),
        },
        static_pressure: None,
        sound: Some(sound),
        events,
    };
    (story, trace)
}

/// A made-up loudest minute, and limits of 30 dB(A).
fn heard(rooms: &[&String]) -> StorySound {
    let mut sound = RoomSound::SILENT;
    for (source, level) in [
        (Source::Fan, 52.0),
        (Source::Grille, 34.0),
        (Source::Background, 40.0),
    ] {
        let slope = if source == Source::Grille { 1.0 } else { 6.0 };
        sound.by_source[source as usize] =
            std::array::from_fn(|b| 10f64.powf(0.1 * (level - slope * b as f64)));
    }
    let thirty = || limit(30.0, "WHO Guidelines for Community Noise 1999").unwrap();
    let room = |name: &&String| StoryRoomSound {
        name: (*name).clone(),
        limit: thirty(),
        loudest: Some((3600.0, 38.0)),
        above_s: 5400.0,
        ruling: "grille 60 %".to_owned(),
    };
    StorySound {
        rooms: rooms.iter().map(room).collect(),
        spectrum: Some(StorySpectrum {
            room: rooms[0].clone(),
            at_s: 3600.0,
            combination: format!("calling: {}", rooms[0]),
            limit_dba: thirty(),
            limit_nc: limit(25.0, "as above").unwrap(),
            sound,
        }),
        expected: "Expect sound levels within ±8 dB(A); tones are not predicted.".to_owned(),
    }
}

fn record(
    zones: &[StoryZone],
    start: NaiveDateTime,
    days: f64,
    step_s: f64,
) -> (Trace, Vec<StoryEvent>) {
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
        "unit.entering_C",
        "unit.supply_C",
        "unit.surface_C",
    ]
    .map(str::to_owned)
    .to_vec();
    for zone in zones {
        for key in ["sensor_C", "setpoint_C", "call", "in_band"] {
            columns.push(format!("zone.{}.{key}", zone.name));
        }
        columns.extend(zone.rooms.iter().map(|r| format!("room.{r}.air_C")));
        columns.extend(zone.rooms.iter().map(|r| format!("room.{r}.sound_dBA")));
        for outlet in &zone.outlets {
            columns.push(format!("outlet.{outlet}.flow_m3_s"));
            columns.push(format!("outlet.{outlet}.opening"));
        }
    }
    let mut trace = Trace::new(columns);
    let event = |t_s: f64, kind, subject: &str, text: &str| StoryEvent {
        t_s,
        kind,
        subject: subject.to_owned(),
        text: text.to_owned(),
    };
    let mut events = vec![event(0.0, EventKind::Mode, "unit", "cooling")];
    let rooms: usize = zones.iter().map(|z| z.rooms.len()).sum();
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
            first += zone.rooms.len();
        }
        blocked = (blocked - step_s).max(0.0);
        let run = wanted > 0.0 && blocked == 0.0;
        if run && speed == 0.0 {
            events.push(event(t, EventKind::Start, "unit", "call"));
        }
        if !run && speed > 0.0 {
            events.push(event(t, EventKind::Stop, "unit", "satisfied"));
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
                EventKind::Trip,
                "unit",
                "supply air below 4 °C for 60 s",
            ));
            blocked = 600.0;
            cold = 0.0;
        }
        let mut i = 0;
        for (z, zone) in zones.iter().enumerate() {
            for r in 0..zone.rooms.len() {
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
            row.extend(&air[i..i + zone.rooms.len()]);
            let loud = if fan > 0.0 {
                24.0 + 14.0 * opening[z]
            } else {
                20.0
            };
            row.extend(zone.rooms.iter().map(|_| loud));
            i += zone.rooms.len();
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

fn clinic() -> (Story, Trace) {
    made_up(
        "Five rooms, four zones, a hot day",
        &[2, 1, 1, 1],
        0,
        1.0,
        30.0,
    )
}

/// Draws every figure and leaves them where a person can look.
fn draw(name: &str, story: &Story, trace: &Trace, units: UnitSystem) -> Vec<(Figure, Vec<u8>)> {
    let figures = draw_all(story, trace, units).unwrap();
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
    let (story, trace) = clinic();
    let figures = draw("day", &story, &trace, UnitSystem::Si);
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
            "time band open",
        ],
    );
    has(
        &figures,
        "pressure",
        &[
            "Static pressure, Pa",
            "limit 125 Pa",
            "duct construction class of the job",
            "Opening, %",
            "Share, %",
            "worst ",
            "above limit, ",
        ],
    );
    has(
        &figures,
        "supply",
        &[
            "Air temperature, °C",
            "low trip 4 °C",
            "low reset 8 °C",
            "High trip 65 °C (off the scale)",
            "(1) ",
            "supply air below 4 °C for 60 s",
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
            "most in any 60 minutes",
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
            "grille 60 %",
            "above for 1 h 30 min",
            "tones are not predicted",
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
            "tones are not predicted",
        ],
    );
}

#[test]
fn ip_units_replace_si_everywhere() {
    let (story, trace) = clinic();
    let figures = draw("day-ip", &story, &trace, UnitSystem::Ip);
    sound(&figures);
    has(&figures, "rooms", &["°F", "setpoint 77 °F"]);
    has(
        &figures,
        "pressure",
        &["Static pressure, inWC", "limit 0.502 inWC"],
    );
    has(
        &figures,
        "supply",
        &["Air temperature, °F", "low trip 39.2 °F"],
    );
    has(&figures, "outlets", &["Flow, cfm"]);
    let (rooms, _) = &figures[0];
    assert!(!rooms.svg.contains("°C"));
}

#[test]
fn one_room_and_sixteen_zones_both_draw() {
    let (story, trace) = made_up("One room", &[1], 11, 0.25, 15.0);
    sound(&draw("one", &story, &trace, UnitSystem::Si));
    let (story, trace) = made_up("Sixteen zones", &[1; 16], 0, 3.0, 60.0);
    let figures = draw("sixteen", &story, &trace, UnitSystem::Si);
    sound(&figures);
    has(&figures, "rooms", &["Thu 16 Jul", "Staff room"]);
    let (story, trace) = made_up("Sixteen rooms, three zones", &[9, 4, 3], 0, 7.0, 120.0);
    sound(&draw("week", &story, &trace, UnitSystem::Si));
}

#[test]
fn the_same_run_draws_the_same_bytes() {
    let (story, trace) = clinic();
    let once = draw_all(&story, &trace, UnitSystem::Si).unwrap();
    assert_eq!(once, draw_all(&story, &trace, UnitSystem::Si).unwrap());
}

#[test]
fn a_trace_that_cannot_be_drawn_says_why() {
    let (story, _) = made_up("Short", &[1], 0, 0.01, 60.0);
    let mut trace = Trace::new(vec!["time_s".into()]);
    let error = draw_all(&story, &trace, UnitSystem::Si).unwrap_err();
    assert!(matches!(error, FigureError::NoTime { .. }), "{error}");
    trace.push_row(&[0.0]);
    trace.push_row(&[60.0]);
    for (name, draw) in FIGURES {
        let error = draw(&story, &trace, UnitSystem::Si)
            .unwrap_err()
            .to_string();
        assert!(
            error.starts_with(&format!("figure `{name}`: the trace has no column")),
            "{error}"
        );
    }
}

/// Trips are numbered as measures count them; a lock-out is a bar, told from when to when.
#[test]
fn a_lock_out_is_no_trip() {
    let (mut story, trace) = made_up("Locked", &[1, 1], 12, 0.2, 30.0);
    story.events.retain(|e| e.kind != EventKind::Trip);
    let mut add = |t_s, kind| {
        story.events.push(StoryEvent {
            t_s,
            kind,
            subject: "low supply air".into(),
            text: "below 4 °C for 60 s".into(),
        });
    };
    add(600.0, EventKind::Trip);
    add(3000.0, EventKind::Trip);
    add(3000.0, EventKind::LockOut);
    assert_eq!(story.trips().count(), 2);
    let open = "Locked out by low supply air from 12:50 to the end of the run.";
    let told = "2 trips, low supply air, below 4 °C for 60 s: (1) 12:10, (2) 12:50.";
    for figure in [timeline, supply] {
        let svg = figure(&story, &trace, UnitSystem::Si).unwrap().svg;
        assert!(svg.contains(open) && svg.contains(told));
        assert!(!svg.contains("(3)"));
    }
    story.events.push(StoryEvent {
        t_s: 7200.0,
        kind: EventKind::LockOutCleared,
        ..story.events.last().unwrap().clone()
    });
    let svg = timeline(&story, &trace, UnitSystem::Si).unwrap().svg;
    assert!(
        svg.contains("from 12:50 to 14:00."),
        "until a person clears it"
    );
}

/// The verdict's figure, which the recorded rows may not have.
#[test]
fn the_worst_pressure_is_that_of_every_step() {
    let (mut story, trace) = made_up("Spike", &[1, 1], 12, 0.2, 30.0);
    story.static_pressure = Some(StoryStatic {
        at_s: 1801.0,
        worst_pa: 347.7,
        above_s: 1.0,
    });
    let svg = pressure(&story, &trace, UnitSystem::Si).unwrap().svg;
    assert!(svg.contains("worst 348 Pa at 12:30"));
    assert!(svg.contains("The worst is that of every step"));
    assert!(svg.contains("Above the limit 1 s"));
}

#[test]
fn gaps_and_flat_lines_draw() {
    let (story, trace) = made_up("Gaps", &[1, 1], 12, 0.2, 30.0);
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
    sound(&draw("gaps", &story, &holed, UnitSystem::Si));
}

#[test]
fn names_are_escaped() {
    let (mut story, trace) = clinic();
    story.title = "R&D <wing> \"B\"".to_owned();
    let figures = draw_all(&story, &trace, UnitSystem::Si).unwrap();
    has(&figures, "rooms", &["R&amp;D &lt;wing&gt; &quot;B&quot;"]);
}

/// Flows as written balance: fan = outlets + relief at every row.
#[test]
fn flows_balance_as_written() {
    let (story, trace) = clinic();
    let mut csv = Vec::new();
    trace.write_csv(&mut csv).unwrap();
    let back = Trace::read_csv(csv.as_slice()).unwrap();
    let column = |name: &str| back.column(name).unwrap();
    for i in 0..back.rows() {
        let outlets = story.zones.iter().flat_map(|z| &z.outlets);
        let out: f64 = outlets
            .map(|o| column(&format!("outlet.{o}.flow_m3_s"))[i])
            .sum();
        let fan = column("fan.flow_m3_s")[i];
        let sum = out + column("relief.flow_m3_s")[i];
        assert!(
            (fan - sum).abs() <= 1e-6 * fan.abs(),
            "row {i}: {fan} {sum}"
        );
    }
}
