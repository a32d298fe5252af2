//! Octaves of the loudest minute over the NC curves, source by source: what to change.

use super::canvas::{Canvas, Stroke, sheet};
use super::context::Context;
use super::lettering::{Align, BODY, SMALL, Type, elide, text_width};
use super::palette::{
    BLUE, BLUISH_GREEN, Colour, FRAME, GRID, INK, LIMIT, MUTED, Marker, ORANGE, PAPER, QUIET,
    REDDISH_PURPLE, VERMILLION, marker,
};
use super::panel::{BODY_TOP, EDGE, HEADING, NOTE, Panel, WIDTH, header, nice_scale, notes};
use super::{Figure, FigureError, Story, StorySpectrum, UnitSystem};
use crate::measure::noise_rating::{NC_CURVES, nc_rating};
use crate::measure::sound::octave_text;
use crate::plant::sound::octave::{Octaves, to_db};
use crate::plant::sound::{Source, SourceShare};
use crate::trace::Trace;

const TALL: f64 = 430.0;
/// Width of the list of sources, px.
const LIST: f64 = 268.0;
const ROW: f64 = 25.0;
/// Grey of the NC curves.
const CURVE: Colour = Colour(0xBF, 0xBF, 0xBF);

/// Draws the octave spectrum of the loudest minute in the room that exceeds its limit most, or
/// comes nearest to it: all sources together, each source, the NC curves and the limit.
///
/// # Errors
/// When the trace spans no time or holds no sound, or the story has no spectrum.
pub fn spectrum(story: &Story, trace: &Trace, units: UnitSystem) -> Result<Figure, FigureError> {
    let context = Context::new("spectrum", story, trace, units)?;
    let heard = story.sound.as_ref().and_then(|s| s.spectrum.as_ref());
    let room = heard.map_or("NAME", |h| h.room.as_str());
    context.need(&format!("room.{room}.sound_dBA"))?;
    let Some(heard) = heard else {
        return Err(FigureError::NoColumn {
            figure: "spectrum",
            column: "room.NAME.sound_dBA".to_owned(),
        });
    };
    let total = to_db(&heard.sound.total());
    let limit = nc_curve(heard.limit_nc.value);
    let most = total.iter().chain(&limit).copied().fold(30.0, f64::max);
    let scale = nice_scale(0.0, most + 5.0, 8.0);
    let ranking = heard.sound.ranking();
    let mut remarks = remarks(&context, heard, &total, &ranking);
    remarks.extend(story.sound.as_ref().map(|s| s.expected.clone()));
    let axis = 44.0;
    let bottom = BODY_TOP + HEADING + TALL + axis;
    let height = bottom + NOTE * remarks.len() as f64 + 16.0;

    sheet(
        "spectrum",
        "Octave spectrum of the loudest minute",
        (WIDTH, height.ceil()),
        |canvas| {
            let title = format!(
                "What is heard in {}: octaves of its loudest minute",
                heard.room
            );
            header(canvas, &title, &context);
            let top = BODY_TOP + HEADING;
            let panel = Panel {
                left: EDGE + 54.0,
                top,
                right: WIDTH - EDGE - LIST,
                bottom: top + TALL,
                time: (-0.5, 7.7),
                value: (scale.0, scale.1),
                step: scale.2,
            };
            ground(canvas, &panel);
            curves(canvas, &panel, heard.limit_nc.value, &limit);
            for share in ranking.iter().rev() {
                let levels = to_db(heard.sound.of(share.source));
                line(canvas, &panel, share.source, &levels);
            }
            let stroke = Stroke::new(INK, 2.6);
            canvas.path(&panel.points(&points(&total)), stroke);
            governing(canvas, &panel, heard, &total);
            panel.value_axis(canvas, "Sound pressure level in the room, dB");
            let from = context.clock(heard.at_s);
            panel.heading(
                canvas,
                &format!("Octaves in {}, minute from {from}", heard.room),
            );
            list(canvas, &panel, heard, &total, &ranking);
            notes(canvas, &remarks, bottom);
        },
    )
}

fn points(levels: &Octaves) -> Vec<(f64, f64)> {
    (0..8)
        .map(|b| b as f64)
        .zip(levels.iter().copied())
        .collect()
}

fn ground(canvas: &mut Canvas<'_>, panel: &Panel) {
    for band in 0..8 {
        let x = panel.x(f64::from(band));
        canvas.line((x, panel.top), (x, panel.bottom), Stroke::new(GRID, 1.0));
        canvas.line(
            (x, panel.bottom),
            (x, panel.bottom + 5.0),
            Stroke::new(FRAME, 1.0),
        );
        let kind = Type::new(SMALL).muted().align(Align::Centre);
        canvas.text(&octave_text(band as usize), (x, panel.bottom + 15.0), kind);
    }
    let kind = Type::new(SMALL).muted().align(Align::Centre);
    let middle = (panel.left + panel.right) / 2.0;
    canvas.text("Octave band", (middle, panel.bottom + 34.0), kind);
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

fn curves(canvas: &mut Canvas<'_>, panel: &Panel, limit_nc: f64, limit: &Octaves) {
    let end = |canvas: &mut Canvas<'_>, levels: &Octaves, text: &str, kind: Type| {
        let (x, y) = panel.at((7.0, levels[7]));
        canvas.label(text, (x + 8.0, y), kind, PAPER);
    };
    for (nc, levels) in &NC_CURVES {
        // The limit's own line stands for its neighbour.
        if (nc - limit_nc).abs() < 2.5 {
            continue;
        }
        let shown: Vec<_> = points(levels)
            .into_iter()
            .filter(|p| p.1 <= panel.value.1)
            .collect();
        canvas.path(&panel.points(&shown), Stroke::new(CURVE, 1.1));
        if levels[7] <= panel.value.1 {
            end(
                canvas,
                levels,
                &format!("NC-{nc:.0}"),
                Type::new(SMALL).muted(),
            );
        }
    }
    let stroke = Stroke::new(LIMIT, 1.8).dashed(10.0, 4.0);
    canvas.path(&panel.points(&points(limit)), stroke);
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
fn line(canvas: &mut Canvas<'_>, panel: &Panel, source: Source, levels: &Octaves) {
    let all = points(levels);
    let low = panel.value.0;
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
        canvas.path(&panel.points(&piece), stroke(source));
    }
    for &point in all.iter().filter(|p| p.1 >= low) {
        let at = panel.at(point);
        canvas.marker(marker(source as usize), at, 4.4, colour(source));
    }
}

/// Marks the octave that sets the NC, and who rules it.
fn governing(canvas: &mut Canvas<'_>, panel: &Panel, heard: &StorySpectrum, total: &Octaves) {
    let rating = nc_rating(total);
    let band = rating.governing_band;
    let level = total.get(band).copied().unwrap_or(0.0);
    let (x, y) = panel.at((band as f64, level));
    canvas.marker(Marker::Down, (x, y - 9.0), 5.5, INK);
    let source = heard.sound.loudest_in(band).name();
    let text = format!("{} is set here, by the {source}", rating.value);
    // Spectra fall to the right, so there is room above them on that side.
    let x = (x + 12.0).min(panel.right - text_width(&text, SMALL, true) - 6.0);
    let kind = Type::new(SMALL).bold();
    canvas.label(&text, (x, (y - 16.0).max(panel.top + 9.0)), kind, PAPER);
}

/// Sources by their part in what is heard.
fn list(
    canvas: &mut Canvas<'_>,
    panel: &Panel,
    heard: &StorySpectrum,
    total: &Octaves,
    ranking: &[SourceShare; 6],
) {
    let left = panel.right + 26.0;
    let right = WIDTH - EDGE;
    let mut y = panel.top + 10.0;
    canvas.line((left, y), (left + 26.0, y), Stroke::new(INK, 2.6));
    canvas.text("all together", (left + 36.0, y), Type::new(BODY).bold());
    let kind = Type::new(BODY).bold().align(Align::Right);
    canvas.text(&format!("{:.0} dB(A)", heard.sound.dba()), (right, y), kind);
    y += ROW;
    let rating = nc_rating(total);
    let limit = format!(
        "limit {:.0} dB(A) and NC-{:.0}; {}",
        heard.limit_dba.value, heard.limit_nc.value, rating.value
    );
    canvas.text(&limit, (left, y), Type::new(SMALL).colour(LIMIT));
    y += ROW + 8.0;
    let kind = Type::new(SMALL).muted();
    canvas.text("source", (left + 36.0, y), kind);
    let tail = kind.align(Align::Right);
    canvas.text("dB(A)", (right - 62.0, y), tail);
    canvas.text("share", (right, y), tail);
    y += ROW;
    for share in ranking.iter().filter(|s| s.dba.is_finite()) {
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
    for text in wrapped(mend(ranking[0].source), SMALL, right - left) {
        canvas.text(&text, (left, y), Type::new(SMALL).colour(MUTED));
        y += NOTE;
    }
}

/// What quietens a source.
fn mend(source: Source) -> &'static str {
    match source {
        Source::Fan => {
            "The fan rules: run it slower (a fifth less speed is 5 dB less), let it work against less pressure, or put lined duct between it and the room."
        }
        Source::Damper => {
            "A damper rules: take pressure off it, or put it at the take-off with lined duct behind it."
        }
        Source::Grille => {
            "A grille rules: less air through it or a larger face. Half the flow is 18 dB less, a fifth less is 6 dB less."
        }
        Source::Relief => {
            "The relief rules: a larger relief at less pressure, or lined duct behind it."
        }
        Source::Return => {
            "The return rules: lined or longer return duct, a bend more, a second return, or a slower fan."
        }
        Source::Background => "What is there with the system off rules: the system adds little.",
    }
}

/// A text cut into lines no wider than `width` px.
fn wrapped(text: &str, size: f64, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if text_width(&format!("{line} {word}"), size, false) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(elide(word, size, false, width)),
        }
    }
    lines
}

fn remarks(
    context: &Context<'_>,
    heard: &StorySpectrum,
    total: &Octaves,
    ranking: &[SourceShare; 6],
) -> Vec<String> {
    let over = heard.sound.dba() - heard.limit_dba.value;
    let rating = nc_rating(total);
    let nc = format!("{}, limit NC-{:.0}", rating.value, heard.limit_nc.value);
    let side = if over > 0.0 { "over" } else { "under" };
    vec![
        format!(
            "Of all rooms {} stands worst against its limit: {:.0} dB {side} its {:.0} dB(A), {nc}. Loudest minute of the run, {}.",
            heard.room,
            over.abs(),
            heard.limit_dba.value,
            context.clock(heard.at_s),
        ),
        format!("Zones in that minute: {}.", heard.combination),
        format!(
            "Lines add as energies, not as decibels: a source 10 dB under another hardly counts. The {} has {:.0} % of the A-weighted energy.",
            ranking[0].source.name(),
            100.0 * ranking[0].share
        ),
        format!(
            "Limit: {}. NC by tangency against the classic curves.",
            heard.limit_dba.source.trim_end_matches('.')
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

    #[test]
    fn words_wrap_within_their_width() {
        let lines = wrapped(mend(Source::Grille), SMALL, 200.0);
        assert!(lines.len() > 2);
        assert!(lines.iter().all(|l| text_width(l, SMALL, false) <= 200.0));
        assert_eq!(lines.join(" "), mend(Source::Grille));
    }
}
