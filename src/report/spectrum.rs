//! Octaves of the loudest minute over the NC curves, source by source: what to change.

use super::canvas::{Canvas, Stroke};
use super::data::{FigureData, capital, source};
use super::lettering::{Align, BODY, SMALL, Type, text_width, wrapped};
use super::palette::{
    BLUE, BLUISH_GREEN, Colour, INK, LIMIT, MUTED, Marker, ORANGE, QUIET, REDDISH_PURPLE,
    VERMILLION, marker,
};
use super::plot::{EDGE, HEADING, NOTE, Plot, Scale, WIDTH, header, notes};
use super::{Figure, FigureError};
use crate::measure::noise_rating::{NC_CURVES, NcValue, nc_rating};
use crate::measure::sound::{LoudRoom, expected_band, octave_text};
use crate::plant::sound::octave::{Octaves, to_db};
use crate::plant::sound::{Source, SourceShare};
use crate::scenario::sound::RoomSoundLimit;

const TALL: f64 = 430.0;
/// Width of the list of sources, px.
const LIST: f64 = 268.0;
const ROW: f64 = 25.0;
/// Grey of the NC curves.
const CURVE: Colour = Colour(0xBF, 0xBF, 0xBF);

/// The loudest minute of one room.
struct Heard<'a> {
    room: &'a str,
    loud: &'a LoudRoom,
    limit: &'a RoomSoundLimit,
    total: Octaves,
    ranking: [SourceShare; 6],
}

/// Draws the octave spectrum of the loudest minute in the room that exceeds its limit most, or
/// comes nearest to it: all sources together, each source, the NC curves and the limit.
///
/// # Errors
/// When the run has no sound.
pub(crate) fn spectrum(data: &FigureData<'_>) -> Result<Figure, FigureError> {
    let heard = worst(data).ok_or_else(|| data.lacks("room.NAME.sound_dBA"))?;
    let limit = nc_curve(heard.limit.nc.value);
    let most = heard
        .total
        .iter()
        .chain(&limit)
        .copied()
        .fold(30.0, f64::max);
    let sheet = data.sheet(title(&heard));
    let mut remarks = remarks(data, &heard);
    remarks.push(expected_band(data.scenario.sound.measured_fan));
    Ok(super::canvas::sheet(
        "spectrum",
        &sheet.title,
        WIDTH,
        |canvas| {
            let top = header(canvas, &sheet.title, &sheet.subtitle, &[]) + HEADING;
            let plot = Plot {
                left: EDGE + 54.0,
                top,
                right: WIDTH - EDGE - LIST,
                bottom: top + TALL,
                time: (-0.5, 7.7),
                scale: Scale::over(0.0, most + 5.0, 8.0),
            };
            plot.grid(canvas, (0..8).map(f64::from));
            let names: Vec<String> = (0..8).map(octave_text).collect();
            let bands = (0..8).map(f64::from).zip(names.iter().map(String::as_str));
            plot.foot_axis(canvas, bands, "Octave band", 34.0);
            curves(canvas, &plot, heard.limit.nc.value, &limit);
            for share in heard.ranking.iter().rev() {
                let levels = to_db(heard.loud.stretch.sound.of(share.source));
                line(canvas, &plot, share.source, &levels);
            }
            canvas.path(&plot.points(&points(&heard.total)), Stroke::new(INK, 2.6));
            governing(canvas, &plot, &heard);
            plot.value_axis(canvas, "Sound pressure level in the room, dB");
            let from = data.clock(heard.loud.stretch.start_s);
            let heading = format!("Octaves in {}, minute from {from}", heard.room);
            canvas.text(&heading, (plot.left, top - 12.0), Type::new(BODY).bold());
            list(canvas, &plot, &heard);
            notes(canvas, &remarks, plot.bottom + 58.0)
        },
    ))
}

/// The room furthest over its limit by whichever rating is worse, or nearest below it.
fn worst<'a>(data: &FigureData<'a>) -> Option<Heard<'a>> {
    let limits = &data.scenario.sound.limits;
    let excess = |l: &LoudRoom| {
        let nc = match l.nc().value {
            NcValue::Within(nc) => nc - limits[l.room].nc.value,
            NcValue::Below15 => f64::NEG_INFINITY,
            NcValue::Above65 => f64::INFINITY,
        };
        nc.max(l.stretch.sound.dba() - limits[l.room].dba.value)
    };
    let rooms = data.outcome.loudest.iter();
    let loud = rooms.max_by(|a, b| excess(a).total_cmp(&excess(b)))?;
    let room = data.scenario.rooms[loud.room].name.as_str();
    data.column(&format!("room.{room}.sound_dBA"))?;
    Some(Heard {
        room,
        loud,
        limit: &limits[loud.room],
        total: to_db(&loud.stretch.sound.total()),
        ranking: loud.stretch.sound.ranking(),
    })
}

fn title(heard: &Heard<'_>) -> String {
    let rating = nc_rating(&heard.total);
    let limit = heard.limit.nc.value;
    let above = match rating.value {
        NcValue::Below15 => false,
        NcValue::Within(value) => value - 1e-9 > limit,
        NcValue::Above65 => true,
    };
    let side = if above { "above" } else { "within" };
    let main = heard.loud.stretch.sound.loudest_in(rating.governing_band);
    format!(
        "{} reaches {}, {side} its limit of NC-{limit:.0}: the {} dominates at {}",
        capital(heard.room),
        rating.value,
        main.name(),
        octave_text(rating.governing_band)
    )
}

fn points(levels: &Octaves) -> Vec<(f64, f64)> {
    (0..8)
        .map(|b| b as f64)
        .zip(levels.iter().copied())
        .collect()
}

/// Levels of an NC curve, between the tabled ones in proportion.
fn nc_curve(nc: f64) -> Octaves {
    let (first, last) = (NC_CURVES[0].0, NC_CURVES[NC_CURVES.len() - 1].0);
    let nc = nc.clamp(first, last);
    let below = NC_CURVES.iter().rev().find(|c| c.0 <= nc);
    let above = NC_CURVES.iter().find(|c| c.0 >= nc);
    let (Some((n0, low)), Some((n1, high))) = (below, above) else {
        return NC_CURVES[0].1;
    };
    let part = if n1 > n0 { (nc - n0) / (n1 - n0) } else { 0.0 };
    std::array::from_fn(|b| low[b] + part * (high[b] - low[b]))
}

fn curves(canvas: &mut Canvas, plot: &Plot, limit_nc: f64, limit: &Octaves) {
    let end = |canvas: &mut Canvas, levels: &Octaves, text: &str, kind: Type| {
        let (x, y) = plot.at((7.0, levels[7]));
        canvas.label(text, (x + 8.0, y), kind);
    };
    for (nc, levels) in &NC_CURVES {
        // The limit's own line stands for its neighbour.
        if (nc - limit_nc).abs() < 2.5 {
            continue;
        }
        let shown: Vec<_> = points(levels)
            .into_iter()
            .filter(|p| p.1 <= plot.scale.high)
            .collect();
        canvas.path(&plot.points(&shown), Stroke::new(CURVE, 1.1));
        if levels[7] <= plot.scale.high {
            end(
                canvas,
                levels,
                &format!("NC-{nc:.0}"),
                Type::new(SMALL).muted(),
            );
        }
    }
    let stroke = Stroke::new(LIMIT, 1.8).dashed(10.0, 4.0);
    canvas.path(&plot.points(&points(limit)), stroke);
    let kind = Type::new(SMALL).bold().colour(LIMIT);
    end(canvas, limit, &format!("limit NC-{limit_nc:.0}"), kind);
}

fn colour(source: Source) -> Colour {
    match source {
        Source::Fan => BLUE,
        Source::Damper => ORANGE,
        Source::Grille => VERMILLION,
        Source::Relief => REDDISH_PURPLE,
        Source::Return => BLUISH_GREEN,
        Source::Background => QUIET,
    }
}

fn stroke(source: Source) -> Stroke {
    let stroke = Stroke::new(colour(source), 1.8);
    match source {
        Source::Background => stroke.dashed(3.0, 3.0),
        _ => stroke,
    }
}

/// A source's line where it is on the scale, with its marker at every octave.
fn line(canvas: &mut Canvas, plot: &Plot, source: Source, levels: &Octaves) {
    let all = points(levels);
    let low = plot.scale.low;
    let mut piece: Vec<(f64, f64)> = Vec::new();
    for ends in all.windows(2) {
        let (a, b) = (ends[0], ends[1]);
        // Cut where the line leaves the scale at its foot.
        let cut = |from: (f64, f64), to: (f64, f64)| {
            let part = (low - from.1) / (to.1 - from.1);
            (from.0 + part * (to.0 - from.0), low)
        };
        piece.clear();
        match (a.1 >= low, b.1 >= low) {
            (true, true) => piece.extend([a, b]),
            (true, false) if b.1.is_finite() => piece.extend([a, cut(a, b)]),
            (false, true) if a.1.is_finite() => piece.extend([cut(a, b), b]),
            _ => continue,
        }
        canvas.path(&plot.points(&piece), stroke(source));
    }
    for &point in all.iter().filter(|p| p.1 >= low) {
        let at = plot.at(point);
        canvas.marker(marker(source as usize), at, 4.4, colour(source));
    }
}

/// Marks the octave that sets the NC, and the source that dominates there.
fn governing(canvas: &mut Canvas, plot: &Plot, heard: &Heard<'_>) {
    let rating = nc_rating(&heard.total);
    let band = rating.governing_band;
    let level = heard.total.get(band).copied().unwrap_or(0.0);
    let (x, y) = plot.at((band as f64, level));
    canvas.marker(Marker::Down, (x, y - 9.0), 5.5, INK);
    let source = heard.loud.stretch.sound.loudest_in(band).name();
    let text = format!("{} is set here, by the {source}", rating.value);
    // Spectra fall to the right, so there is room above them on that side.
    let x = (x + 12.0).min(plot.right - text_width(&text, SMALL, true) - 6.0);
    let kind = Type::new(SMALL).bold();
    canvas.label(&text, (x, (y - 16.0).max(plot.top + 9.0)), kind);
}

/// Sources by their part in what is heard.
fn list(canvas: &mut Canvas, plot: &Plot, heard: &Heard<'_>) {
    let left = plot.right + 26.0;
    let right = WIDTH - EDGE;
    let mut y = plot.top + 10.0;
    canvas.line((left, y), (left + 26.0, y), Stroke::new(INK, 2.6));
    canvas.text("all together", (left + 36.0, y), Type::new(BODY).bold());
    let kind = Type::new(BODY).bold().align(Align::Right);
    canvas.text(
        &format!("{:.0} dB(A)", heard.loud.stretch.sound.dba()),
        (right, y),
        kind,
    );
    y += ROW;
    let rating = nc_rating(&heard.total);
    let limit = format!(
        "limit {:.0} dB(A) and NC-{:.0}; {}",
        heard.limit.dba.value, heard.limit.nc.value, rating.value
    );
    canvas.text(&limit, (left, y), Type::new(SMALL).colour(LIMIT));
    y += ROW + 8.0;
    let kind = Type::new(SMALL).muted();
    canvas.text("source", (left + 36.0, y), kind);
    let tail = kind.align(Align::Right);
    canvas.text("dB(A)", (right - 62.0, y), tail);
    canvas.text("share", (right, y), tail);
    y += ROW;
    for share in heard.ranking.iter().filter(|s| s.dba.is_finite()) {
        let source = share.source;
        canvas.line((left, y), (left + 26.0, y), stroke(source));
        canvas.marker(
            marker(source as usize),
            (left + 13.0, y),
            4.4,
            colour(source),
        );
        canvas.text(source.name(), (left + 36.0, y), Type::new(BODY));
        let kind = Type::new(BODY).align(Align::Right);
        let level = if share.dba >= 0.0 {
            format!("{:.0}", share.dba)
        } else {
            "< 0".to_owned()
        };
        canvas.text(&level, (right - 62.0, y), kind);
        canvas.text(&format!("{:.0} %", 100.0 * share.share), (right, y), kind);
        y += ROW;
    }
    y += 10.0;
    for text in wrapped(
        cure(heard.ranking[0].source),
        (SMALL, false),
        right - left,
        9,
    ) {
        canvas.text(&text, (left, y), Type::new(SMALL).colour(MUTED));
        y += NOTE;
    }
}

/// What quietens a source.
fn cure(source: Source) -> &'static str {
    match source {
        Source::Fan => {
            "The fan dominates: run it slower (a fifth less speed is 5 dB less), let it work against less pressure, or put lined duct between it and the room."
        }
        Source::Damper => {
            "A damper dominates: take pressure off it, or put it at the take-off with lined duct behind it."
        }
        Source::Grille => {
            "A grille dominates: less air through it or a larger face. Half the flow is 18 dB less, a fifth less is 6 dB less."
        }
        Source::Relief => {
            "The relief damper dominates: a larger relief at less pressure, or lined duct behind it."
        }
        Source::Return => {
            "The return dominates: lined or longer return duct, a bend more, a second return, or a slower fan."
        }
        Source::Background => {
            "The background dominates, which is there with the system off: the system adds little."
        }
    }
}

fn remarks(data: &FigureData<'_>, heard: &Heard<'_>) -> Vec<String> {
    let over = heard.loud.stretch.sound.dba() - heard.limit.dba.value;
    let rating = nc_rating(&heard.total);
    let nc = format!("{}, limit NC-{:.0}", rating.value, heard.limit.nc.value);
    let side = if over > 0.0 { "over" } else { "under" };
    vec![
        format!(
            "Of all rooms {} is worst against its limit: {:.0} dB {side} its {:.0} dB(A), {nc}. Loudest minute of the run, {}.",
            heard.room,
            over.abs(),
            heard.limit.dba.value,
            data.clock(heard.loud.stretch.start_s),
        ),
        format!("Zones in that minute: {}.", heard.loud.combination),
        format!(
            "Lines add as energies, not as decibels: a source 10 dB under another hardly counts. The {} has {:.0} % of the A-weighted energy.",
            heard.ranking[0].source.name(),
            100.0 * heard.ranking[0].share
        ),
        format!(
            "Limit: {}. NC by tangency against the classic curves.",
            source(&heard.limit.dba.source)
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn curves_between_the_tabled_ones_are_in_proportion() {
        assert_eq!(nc_curve(30.0), NC_CURVES[3].1);
        assert_eq!(nc_curve(28.0)[4], 0.4 * 27.0 + 0.6 * 31.0);
        assert_eq!(nc_curve(5.0), NC_CURVES[0].1);
        assert_eq!(nc_curve(99.0), NC_CURVES[10].1);
    }
}
