//! The run as a strip: unit, starts, trips and every zone's calls.

use super::canvas::{Canvas, Stroke, sheet};
use super::context::{Context, duration_text};
use super::lettering::{Align, BODY, SMALL, Type, elide};
use super::marks::Key;
use super::palette::{BAND, BLUE, FRAME, GRID, INK, LIMIT, Marker, PAPER, SKY_BLUE, VERMILLION};
use super::panel::{BODY_TOP, EDGE, NOTE, Panel, TIME_AXIS, WIDTH, header, notes};
use super::series::{held, joined, range, spans};
use super::{EventKind, Figure, FigureError, Story, UnitSystem};
use crate::trace::Trace;

const LEFT: f64 = 168.0;
const MARGIN: f64 = 126.0;
const SPEED_HEIGHT: f64 = 80.0;
/// Draws the run: unit speed as a filled strip, fan without compressor hatched, starts as
/// triangles counted by the hour, mode letters, trips as numbered flags, lock-outs as
/// bars, and a strip of calls for
/// every zone within its time bands.
///
/// # Errors
/// When the trace spans no time, or lacks `unit.speed`.
pub fn timeline(story: &Story, trace: &Trace, units: UnitSystem) -> Result<Figure, FigureError> {
    let context = Context::new("timeline", story, trace, units)?;
    let speed = context.need("unit.speed")?;
    let zone_height = if story.zones.len() > 8 { 26.0 } else { 34.0 };
    let modes: Vec<_> = story.events_of(EventKind::Mode).collect();
    let trips: Vec<_> = story.trips().collect();
    let starts: Vec<f64> = story.events_of(EventKind::Start).map(|e| e.t_s).collect();

    let mut remarks = vec![format!(
        "{} starts; {}.",
        starts.len(),
        worst_hour(&context, &starts).unwrap_or_else(|| "none in any hour".to_owned())
    )];
    remarks.extend(context.trip_notes(WIDTH - 2.0 * EDGE));
    let mode_height = if modes.is_empty() { 0.0 } else { 26.0 };
    let locked = context.locked_out();
    let trips_height = match (trips.is_empty(), locked.is_empty()) {
        (true, true) => 0.0,
        (false, true) => 34.0,
        _ => 40.0,
    };
    let top = BODY_TOP + 20.0;
    let fixed = mode_height + trips_height + SPEED_HEIGHT + 24.0 + 30.0 + 34.0;
    let bottom = top + fixed + zone_height * story.zones.len() as f64 + TIME_AXIS;
    let height = bottom + NOTE * remarks.len() as f64 + 16.0;

    sheet(
        "timeline",
        "Run timeline",
        (WIDTH, height.ceil()),
        |canvas| {
            header(canvas, "What ran, and who called", &context);
            let whole = Panel {
                left: EDGE + LEFT,
                top,
                right: WIDTH - EDGE - MARGIN,
                bottom: bottom - TIME_AXIS,
                time: context.span,
                value: (0.0, 1.0),
                step: 0.5,
            };
            let ticks = context.ticks(whole.right - whole.left);
            let strip = |y: f64, tall: f64| Panel {
                top: y,
                bottom: y + tall,
                ..whole
            };
            for tick in &ticks {
                let x = whole.x(tick.t_s);
                canvas.line((x, whole.top), (x, whole.bottom), Stroke::new(GRID, 1.0));
            }
            let mut y = top;
            if !modes.is_empty() {
                row_name(canvas, "Mode", y + 12.0);
                for (i, mode) in modes.iter().enumerate() {
                    let until = modes.get(i + 1).map_or(context.span.1, |next| next.t_s);
                    mode_letter(canvas, &strip(y, 24.0), (mode.t_s, until), &mode.text);
                }
                y += mode_height;
            }
            if trips_height > 0.0 {
                row_name(canvas, "Trips", y + 15.0);
                let times: Vec<f64> = trips.iter().map(|t| t.t_s).collect();
                // The lines reach down to the unit's strip, which shows what the trip stopped.
                let reach = trips_height + SPEED_HEIGHT;
                strip(y + 15.0, reach - 15.0).flag_lines(canvas, &times);
                strip(y + 15.0, reach - 15.0).lock_outs(canvas, &locked);
                strip(y + 15.0, reach).flags(canvas, &times);
                y += trips_height;
            }
            let mut key = unit_strip(canvas, &strip(y, SPEED_HEIGHT), &context, speed);
            if !locked.is_empty() {
                key.push((Key::Fill(LIMIT), "locked out"));
            }
            whole.key(canvas, &key);
            y += SPEED_HEIGHT + 4.0;
            row_name(canvas, "Starts", y + 9.0);
            let starts_row = strip(y, 20.0);
            for &t in &starts {
                canvas.marker(Marker::Up, (starts_row.x(t), y + 8.0), 5.0, INK);
            }
            total(canvas, &whole, y + 9.0, &format!("{} starts", starts.len()));
            y += 24.0;
            counts(canvas, &strip(y, 22.0), &context, &starts);
            y += 30.0 + 30.0;
            let heading = Panel { top: y, ..whole };
            canvas.text("Calls by zone", (EDGE, y - 12.0), Type::new(BODY).bold());
            heading.key(
                canvas,
                &[
                    (Key::Fill(SKY_BLUE), "calling"),
                    (Key::Fill(BAND), "time band open"),
                ],
            );
            y += 4.0;
            let highest = highest_call(&context);
            for zone in &story.zones {
                let row = Panel {
                    value: (0.0, highest),
                    ..strip(y, zone_height - 6.0)
                };
                let bands = context
                    .zone_band(zone)
                    .unwrap_or_else(|| vec![context.span]);
                row.shade(canvas, &bands);
                row_name(canvas, &zone.name, (row.top + row.bottom) / 2.0);
                let words = match trace.column(&format!("zone.{}.call", zone.name)) {
                    Some(call) => {
                        for piece in context.thin(call, 1500, f64::abs) {
                            fill_steps(canvas, &row, &held(&piece));
                        }
                        let called = spans(context.t, |i| call[i].abs() > 1e-9);
                        duration_text(called.iter().map(|s| s.1 - s.0).sum())
                    }
                    None => "not recorded".to_owned(),
                };
                let base = Stroke::new(FRAME, 0.8);
                canvas.line((row.left, row.bottom), (row.right, row.bottom), base);
                total(canvas, &whole, (row.top + row.bottom) / 2.0, &words);
                y += zone_height;
            }
            whole.time_axis(canvas, &ticks);
            notes(canvas, &remarks, bottom);
        },
    )
}

fn row_name(canvas: &mut Canvas<'_>, name: &str, y: f64) {
    let name = elide(name, BODY, false, LEFT - 14.0);
    canvas.text(&name, (EDGE, y), Type::new(BODY));
}

fn total(canvas: &mut Canvas<'_>, panel: &Panel, y: f64, text: &str) {
    canvas.text(text, (panel.right + 12.0, y), Type::new(SMALL).muted());
}

fn mode_letter(canvas: &mut Canvas<'_>, row: &Panel, (from, to): (f64, f64), mode: &str) {
    let (x0, x1) = (row.x(from), row.x(to));
    let y = row.top + 12.0;
    canvas.line((x0, y), (x1, y), Stroke::new(FRAME, 1.0));
    canvas.line((x0, y - 5.0), (x0, y + 5.0), Stroke::new(FRAME, 1.0));
    let mut word: String = mode.to_owned();
    if super::lettering::text_width(&word, SMALL, true) > x1 - x0 - 16.0 {
        word = mode.chars().take(1).flat_map(char::to_uppercase).collect();
    }
    if x1 - x0 > 14.0 {
        let kind = Type::new(SMALL).bold().align(Align::Left);
        canvas.label(&word, (x0 + 8.0, y), kind, PAPER);
    }
}

/// Fills the area below a held line, base line at the bottom of the panel.
fn fill_steps(canvas: &mut Canvas<'_>, row: &Panel, steps: &[(f64, f64)]) {
    let mut shape: Vec<(f64, f64)> = Vec::new();
    // One polygon a stretch above zero, so that zero draws nothing.
    let close = |shape: &mut Vec<(f64, f64)>, canvas: &mut Canvas<'_>| {
        if let (Some(&first), Some(&last)) = (shape.first(), shape.last()) {
            shape.push((last.0, row.bottom));
            shape.insert(0, (first.0, row.bottom));
            canvas.polygon(shape, SKY_BLUE);
        }
        shape.clear();
    };
    for &(t, v) in steps {
        if v > 0.0 {
            shape.push((row.x(t), row.y(v)));
        } else {
            close(&mut shape, canvas);
        }
    }
    close(&mut shape, canvas);
}

fn unit_strip(
    canvas: &mut Canvas<'_>,
    panel: &Panel,
    context: &Context<'_>,
    speed: &[f64],
) -> Vec<(Key, &'static str)> {
    let panel = Panel {
        top: panel.top + 6.0,
        value: (0.0, range(speed).map_or(1.0, |r| r.1.max(1.0))),
        ..*panel
    };
    let mut key = vec![(Key::Fill(SKY_BLUE), "compressor on")];
    if let Some(flow) = context.trace.column("fan.flow_m3_s") {
        let fan_only = spans(context.t, |i| {
            flow[i] > super::context::FAN_RUNS_M3_S && speed[i] <= 0.0
        });
        let hair = context.length_s() / (panel.right - panel.left);
        for &(from, to) in &joined(&fan_only, hair) {
            let x = panel.x(from);
            let place = (x, panel.y(0.4), panel.x(to).max(x + 1.5), panel.bottom);
            canvas.rect(place.0, place.1, place.2, place.3, VERMILLION.tint(0.08));
            canvas.hatch(place, 4.5, true, Stroke::new(VERMILLION, 0.9));
            canvas.line(
                (place.0, place.1),
                (place.2, place.1),
                Stroke::new(VERMILLION, 0.9),
            );
        }
        if !fan_only.is_empty() {
            key.push((
                Key::Hatch(VERMILLION, VERMILLION.tint(0.08)),
                "fan without compressor",
            ));
        }
        let runs = spans(context.t, |i| speed[i] > 0.0);
        let on = duration_text(runs.iter().map(|s| s.1 - s.0).sum());
        total(canvas, &panel, panel.bottom - 34.0, "compressor on");
        total(canvas, &panel, panel.bottom - 17.0, &on);
    }
    for piece in context.thin(speed, 1500, |v| v) {
        let steps = held(&piece);
        fill_steps(canvas, &panel, &steps);
        canvas.path(&panel.points(&steps), Stroke::new(BLUE, 0.9));
    }
    canvas.text("Unit speed", (EDGE, panel.top + 12.0), Type::new(BODY));
    canvas.text(
        "share of full, %",
        (EDGE, panel.top + 30.0),
        Type::new(SMALL).muted(),
    );
    for v in [0.0, 0.5, 1.0] {
        let kind = Type::new(SMALL).muted().align(Align::Right);
        canvas.text(
            &format!("{:.0}", v * 100.0),
            (panel.left - 7.0, panel.y(v)),
            kind,
        );
    }
    canvas.line(
        (panel.left, panel.bottom),
        (panel.right, panel.bottom),
        Stroke::new(FRAME, 1.0),
    );
    key
}

/// Starts counted in each cell of clock time, cells wide enough for their number.
fn counts(canvas: &mut Canvas<'_>, row: &Panel, context: &Context<'_>, starts: &[f64]) {
    use chrono::Timelike;
    let width = row.right - row.left;
    let hours = [1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 168.0]
        .into_iter()
        .find(|h| h * 3600.0 / context.length_s() * width >= 19.0)
        .unwrap_or(672.0);
    let cell = hours * 3600.0;
    let name = if hours == 1.0 {
        "Starts per hour".to_owned()
    } else {
        format!("Starts per {hours:.0} h")
    };
    row_name(canvas, &name, (row.top + row.bottom) / 2.0);
    let midnight = f64::from(context.story.start.num_seconds_from_midnight());
    let mut from = ((context.span.0 + midnight) / cell).floor() * cell - midnight;
    while from < context.span.1 {
        let count = starts
            .iter()
            .filter(|t| (from..from + cell).contains(*t))
            .count();
        let (x0, x1) = (row.x(from), row.x(from + cell));
        canvas.outline(x0, row.top, x1, row.bottom, Stroke::new(GRID, 1.0));
        if x1 - x0 >= 14.0 {
            let kind = Type::new(SMALL).align(Align::Centre);
            let kind = if count == 0 {
                kind.colour(FRAME)
            } else {
                kind.bold()
            };
            let at = ((x0 + x1) / 2.0, (row.top + row.bottom) / 2.0);
            canvas.text(&count.to_string(), at, kind);
        }
        from += cell;
    }
}

/// "worst hour 7 starts, 14:20 to 15:20", counting any 60 minutes from a start on.
fn worst_hour(context: &Context<'_>, starts: &[f64]) -> Option<String> {
    let (from, count) = starts
        .iter()
        .map(|&from| {
            (
                from,
                starts
                    .iter()
                    .filter(|t| (from..from + 3600.0).contains(*t))
                    .count(),
            )
        })
        .fold(None, |best: Option<(f64, usize)>, next| match best {
            Some(best) if best.1 >= next.1 => Some(best),
            _ => Some(next),
        })?;
    let to = (from + 3600.0).min(context.span.1);
    let (a, b) = (context.clock(from), context.clock(to));
    Some(format!("most in any 60 minutes: {count}, from {a} to {b}"))
}

fn highest_call(context: &Context<'_>) -> f64 {
    let calls = context
        .story
        .zones
        .iter()
        .filter_map(|zone| range(context.trace.column(&format!("zone.{}.call", zone.name))?));
    calls.map(|r| r.0.abs().max(r.1.abs())).fold(1.0, f64::max)
}
