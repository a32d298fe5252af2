//! What a sweep leaves: tables and figures, written whole or not at all.

use std::path::{Path, PathBuf};

use chrono::NaiveDateTime;

use super::statistics::{mean, quantile, sorted};
use super::store::{JOURNAL, PLAN, PlanFile};
use super::summary::{Summary, by_variant, group};
use super::{Plan, Sweep, SweepError};
use crate::quantity::{Dimension, UnitSystem};
use crate::report::{
    BandPanel, BandPoint, BandSheet, Figure, OutputDir, TornadoBar, TornadoPanel, TornadoSheet,
    bands, in_words, tornado,
};

/// Panels of the band figure at most.
const BAND_PANELS: usize = 8;
/// Bars in a panel of the tornado at most.
const BARS: usize = 12;
/// Panels of the tornado at most.
const TORNADO_PANELS: usize = 3;

/// Dimensions that measures have, by the word the plan records.
const DIMENSIONS: [Dimension; 14] = [
    Dimension::Temperature,
    Dimension::TemperatureDifference,
    Dimension::AirFlow,
    Dimension::Pressure,
    Dimension::Velocity,
    Dimension::Time,
    Dimension::Power,
    Dimension::Energy,
    Dimension::Mass,
    Dimension::Fraction,
    Dimension::SoundLevel,
    Dimension::Length,
    Dimension::HumidityRatio,
    Dimension::Count,
];

/// The dimension that a plan's word stands for; a bare number when it is none of a measure's.
pub fn dimension(word: &str) -> Dimension {
    let mut all = DIMENSIONS.iter();
    let found = all.find(|d| format!("{d:?}") == word);
    found.copied().unwrap_or(Dimension::Count)
}

fn number(v: f64) -> String {
    if v.is_finite() {
        v.to_string()
    } else {
        String::new()
    }
}

fn csv_table<R, F>(header: &[&str], rows: R) -> Result<Vec<u8>, SweepError>
where
    R: IntoIterator<Item = F>,
    F: AsRef<[String]>,
{
    let mut w = csv::Writer::from_writer(Vec::new());
    w.write_record(header)?;
    for row in rows {
        w.write_record(row.as_ref())?;
    }
    w.into_inner()
        .map_err(|e| SweepError::Table(csv::Error::from(e.into_error())))
}

fn with_unit(name: &str, unit: &str) -> String {
    if unit.is_empty() || unit == "1" {
        name.to_string()
    } else {
        format!("{name}_{}", unit.replace([' ', '/'], "_"))
    }
}

fn cases_csv(sweep: &Sweep) -> Result<Vec<u8>, SweepError> {
    let plan = &sweep.plan;
    let mut header: Vec<String> = ["case", "variant", "sample", "fault"]
        .map(String::from)
        .into();
    header.extend(plan.vary.iter().map(|v| v.key.clone()));
    let drawn = plan.inputs.iter();
    header.extend(drawn.map(|i| with_unit(&format!("draw.{}", i.name), &i.unit)));
    let measures = plan.measures.iter();
    header.extend(measures.map(|m| with_unit(&format!("{}.{}", m.key, m.subject), &m.unit)));
    let header: Vec<&str> = header.iter().map(String::as_str).collect();
    let rows = sweep.cases.iter().map(|c| {
        let (variant, sample) = plan.place(c.index);
        let sample = if plan.samples > 0 {
            sample.to_string()
        } else {
            String::new()
        };
        let mut row = vec![
            c.index.to_string(),
            variant.to_string(),
            sample,
            c.fault.clone().unwrap_or_default(),
        ];
        row.extend(plan.varied(variant).into_iter().map(String::from));
        row.extend(c.draws.iter().chain(&c.values).map(|v| number(*v)));
        row
    });
    csv_table(&header, rows)
}

fn quantiles_csv(plan: &Plan, s: &Summary) -> Result<Vec<u8>, SweepError> {
    let header = [
        "variant", "measure", "subject", "unit", "cases", "q05", "q50", "q95",
    ];
    csv_table(
        &header,
        s.spreads.iter().map(|q| {
            let m = &plan.measures[q.measure];
            let [low, middle, high] = q.quantiles.map(number);
            [
                s.groups[q.group].clone(),
                m.key.clone(),
                m.subject.clone(),
                m.unit.clone(),
                q.count.to_string(),
                low,
                middle,
                high,
            ]
        }),
    )
}

fn limits_csv(plan: &Plan, s: &Summary) -> Result<Vec<u8>, SweepError> {
    let header = [
        "variant",
        "measure",
        "subject",
        "side",
        "limit",
        "unit",
        "cases",
        "broken",
        "share",
        "low95",
        "high95",
        "mandatory",
        "source",
    ];
    csv_table(
        &header,
        s.limits.iter().map(|b| {
            let m = &plan.measures[b.measure];
            let limit = m.limit(b.group);
            let (low, high) = if plan.samples > 0 && b.count > 0 {
                b.interval
            } else {
                (f64::NAN, f64::NAN)
            };
            [
                s.groups[b.group].clone(),
                m.key.clone(),
                m.subject.clone(),
                limit
                    .map_or("", |l| if l.at_most { "at most" } else { "at least" })
                    .into(),
                limit.map_or(String::new(), |l| number(l.value.0)),
                m.unit.clone(),
                b.count.to_string(),
                b.broken.to_string(),
                number(b.share()),
                number(low),
                number(high),
                limit
                    .map_or("", |l| if l.mandatory { "yes" } else { "no" })
                    .into(),
                limit.map_or(String::new(), |l| l.source.clone()),
            ]
        }),
    )
}

fn correlations_csv(plan: &Plan, s: &Summary) -> Result<Vec<u8>, SweepError> {
    let header = [
        "measure",
        "subject",
        "input",
        "rank_correlation",
        "mean_low_third",
        "mean_high_third",
        "unit",
    ];
    let known = s.effects.iter().filter(|e| e.rank_correlation.is_finite());
    csv_table(
        &header,
        known.map(|e| {
            let m = &plan.measures[e.measure];
            [
                m.key.clone(),
                m.subject.clone(),
                s.inputs[e.input].clone(),
                number(e.rank_correlation),
                number(e.thirds.0),
                number(e.thirds.1),
                m.unit.clone(),
            ]
        }),
    )
}

fn paired_csv(plan: &Plan, s: &Summary) -> Result<Vec<u8>, SweepError> {
    let header = [
        "variant",
        "against",
        "measure",
        "subject",
        "unit",
        "pairs",
        "mean_difference",
        "low95",
        "high95",
    ];
    csv_table(
        &header,
        s.paired.iter().filter(|p| p.count > 0).map(|p| {
            let m = &plan.measures[p.measure];
            [
                s.groups[p.variant].clone(),
                s.groups[0].clone(),
                m.key.clone(),
                m.subject.clone(),
                m.unit.clone(),
                p.count.to_string(),
                number(p.mean.0),
                number(p.mean.1),
                number(p.mean.2),
            ]
        }),
    )
}

/// Quantiles of a room's temperature at every instant over some cases, in the unit of a person.
fn room_band(sweep: &Sweep, room: usize, only: Option<usize>, units: UnitSystem) -> Vec<BandPoint> {
    let plan = &sweep.plan;
    let n = plan.instants_s.len();
    let unit = Dimension::Temperature.shown_unit(units);
    let one = |k: usize| {
        let cases = sweep.cases.iter();
        let cases = cases.filter(|c| only.is_none_or(|g| group(plan, c.index) == g));
        let values = sorted(cases.map(|c| c.rooms_c[room * n + k]));
        BandPoint {
            t_s: plan.instants_s[k].0,
            quantiles: [0.05, 0.5, 0.95].map(|q| unit.from_si(quantile(&values, q))),
        }
    };
    (0..n).map(one).collect()
}

fn widest(band: &[BandPoint]) -> f64 {
    let width = band.iter().map(|p| p.quantiles[2] - p.quantiles[0]);
    width.filter(|w| w.is_finite()).fold(0.0, f64::max)
}

fn band_figure(sweep: &Sweep, units: UnitSystem) -> Option<BandSheet> {
    let plan = &sweep.plan;
    if sweep.cases.len() < 2 || plan.instants_s.len() < 2 {
        return None;
    }
    let all: Vec<Vec<BandPoint>> = (0..plan.rooms.len())
        .map(|r| room_band(sweep, r, None, units))
        .collect();
    // Rooms whose band is widest come in when there is no place for all.
    let mut order: Vec<usize> = (0..all.len()).collect();
    order.sort_by(|&a, &b| widest(&all[b]).total_cmp(&widest(&all[a])).then(a.cmp(&b)));
    let &worst = order.first()?;
    let mut notes = Vec::new();
    let (title, panels) = if by_variant(plan) {
        let shown = plan.variants().min(BAND_PANELS);
        if shown < plan.variants() {
            notes.push(format!(
                "The first {shown} of {} variants.",
                plan.variants()
            ));
        }
        notes.push(
            "Every variant sees the same draws. The room shown is that with the widest band."
                .into(),
        );
        let panel = |v| BandPanel {
            heading: plan.label(v),
            points: room_band(sweep, worst, Some(v), units),
        };
        let title = format!("Air temperature of {}, by variant", plan.rooms[worst]);
        (title, (0..shown).map(panel).collect())
    } else {
        order.truncate(BAND_PANELS);
        if all.len() > order.len() {
            notes.push(format!(
                "The {BAND_PANELS} of {} rooms whose bands are widest.",
                all.len()
            ));
        }
        order.sort_unstable();
        let panel = |&r: &usize| BandPanel {
            heading: plan.rooms[r].clone(),
            points: all[r].clone(),
        };
        let title = format!("Room air temperature over {} cases", sweep.cases.len());
        (title, order.iter().map(panel).collect())
    };
    notes.push("Each instant by itself: no single case need follow an edge of the band.".into());
    Some(BandSheet {
        title,
        scenario: plan.title.clone(),
        start: NaiveDateTime::parse_from_str(&plan.start, "%Y-%m-%dT%H:%M:%S").ok()?,
        axis: Dimension::Temperature.shown_unit(units).symbol.to_string(),
        panels,
        notes,
    })
}

fn tornado_figure(sweep: &Sweep, s: &Summary, units: UnitSystem) -> Option<TornadoSheet> {
    let plan = &sweep.plan;
    let panel = |m: usize| {
        let planned = &plan.measures[m];
        let unit = dimension(&planned.dimension).shown_unit(units);
        let values = sorted(sweep.cases.iter().map(|c| c.values[m]));
        let bars = s.strongest(m).into_iter().take(BARS).map(|e| TornadoBar {
            name: s.inputs[e.input].clone(),
            ends: (unit.from_si(e.thirds.0), unit.from_si(e.thirds.1)),
            rank_correlation: e.rank_correlation,
        });
        TornadoPanel {
            heading: format!("{} ({})", in_words(&planned.title, units), planned.subject),
            axis: match unit.symbol {
                "" => planned.title.clone(),
                symbol => symbol.to_string(),
            },
            centre: unit.from_si(mean(&values)),
            limit: planned.limit(0).map(|l| unit.from_si(l.value.0)),
            bars: bars.collect(),
        }
    };
    let at_stake = s.most_at_stake(plan, TORNADO_PANELS);
    let panels: Vec<TornadoPanel> = at_stake.into_iter().map(panel).collect();
    (!panels.is_empty()).then(|| TornadoSheet {
        title: "What matters most".into(),
        scenario: format!("{} · {} cases", plan.title, sweep.cases.len()),
        panels,
        notes: vec![
            "Bars run from the mean of all cases to the mean of those in which the input is in its lowest third, and in its highest.".into(),
            "Measures shown: those whose limits are broken most often. A rank correlation says nothing of what lies behind it.".into(),
        ],
    })
}

/// Writes everything a sweep leaves into `folder`.
///
/// # Errors
/// The folder cannot be written, or a figure not be drawn; the folder is then as it was.
pub fn write(
    folder: &Path,
    sweep: &Sweep,
    summary: &Summary,
    units: UnitSystem,
    figures: bool,
) -> Result<PathBuf, SweepError> {
    let plan = &sweep.plan;
    let mut drawn: Vec<(Figure, Vec<u8>)> = Vec::new();
    if figures {
        let sheets = [
            band_figure(sweep, units).map(|s| bands(&s)),
            tornado_figure(sweep, summary, units).map(|s| Ok(tornado(&s))),
        ];
        for figure in sheets.into_iter().flatten() {
            let figure = figure?;
            let png = figure.png()?;
            drawn.push((figure, png));
        }
    }
    let staged = OutputDir::stage(folder)?;
    staged.write(PLAN, &PlanFile::new(plan, sweep.shard).text())?;
    staged.write_with(JOURNAL, |w| {
        use std::io::Write;
        sweep
            .cases
            .iter()
            .try_for_each(|c| w.write_all(c.line().as_bytes()))
    })?;
    staged.write("cases.csv", &cases_csv(sweep)?)?;
    staged.write("quantiles.csv", &quantiles_csv(plan, summary)?)?;
    staged.write("limits.csv", &limits_csv(plan, summary)?)?;
    staged.write("correlations.csv", &correlations_csv(plan, summary)?)?;
    if by_variant(plan) {
        staged.write("paired.csv", &paired_csv(plan, summary)?)?;
    }
    for (figure, png) in drawn {
        staged.write(
            format!("figures/{}.svg", figure.name),
            figure.svg.as_bytes(),
        )?;
        staged.write(format!("figures/{}.png", figure.name), &png)?;
    }
    Ok(staged.commit()?)
}
