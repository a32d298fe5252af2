//! The figures of a sweep: bands of room temperature, and what matters most.

use chrono::NaiveDateTime;

use crate::quantity::{Dimension, UnitSystem};
use crate::report::{BandPanel, BandPoint, BandSheet, TornadoBar, TornadoPanel, TornadoSheet};
use crate::study::sweep::Sweep;
use crate::study::sweep::statistics::{mean, quantile, sorted};
use crate::study::sweep::summary::{Summary, by_variant, group};

/// Panels of the band figure at most.
const BAND_PANELS: usize = 8;
/// Bars in a panel of the tornado at most.
const BARS: usize = 12;
/// Panels of the tornado at most.
const TORNADO_PANELS: usize = 3;

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
            t_s: plan.instants_s[k],
            quantiles: [0.05, 0.5, 0.95].map(|q| unit.express(quantile(&values, q))),
        }
    };
    (0..n).map(one).collect()
}

fn widest(band: &[BandPoint]) -> f64 {
    let width = band.iter().map(|p| p.quantiles[2] - p.quantiles[0]);
    width.filter(|w| w.is_finite()).fold(0.0, f64::max)
}

/// Room temperatures over the cases; `None` where there is nothing to spread.
pub(crate) fn band_figure(sweep: &Sweep, units: UnitSystem) -> Option<BandSheet> {
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
            "Every variant has the same draws. The room shown is the one with the widest band."
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
    notes.push(
        "Each instant is taken by itself: no single case need follow an edge of the band.".into(),
    );
    Some(BandSheet {
        title,
        scenario: plan.title.clone(),
        start: NaiveDateTime::parse_from_str(&plan.start, "%Y-%m-%dT%H:%M:%S").ok()?,
        axis: Dimension::Temperature.shown_unit(units).symbol.to_string(),
        panels,
        notes,
    })
}

/// The inputs that move the judged measures most.
pub(crate) fn tornado_figure(
    sweep: &Sweep,
    s: &Summary,
    units: UnitSystem,
) -> Option<TornadoSheet> {
    let plan = &sweep.plan;
    let panel = |m: usize| {
        let planned = &plan.measures[m];
        let unit = planned.dimension.shown_unit(units);
        let values = sorted(sweep.cases.iter().map(|c| c.values[m]));
        let bars = s.strongest(m).into_iter().take(BARS).map(|e| TornadoBar {
            name: s.inputs[e.input].clone(),
            ends: (unit.express(e.thirds.0), unit.express(e.thirds.1)),
            rank_correlation: e.rank_correlation,
        });
        TornadoPanel {
            heading: format!("{} ({})", planned.title, planned.subject),
            axis: match unit.symbol {
                "" => planned.title.clone(),
                symbol => symbol.to_string(),
            },
            centre: unit.express(mean(&values)),
            limit: planned.limit(0).map(|l| unit.express(l.value)),
            bars: bars.collect(),
        }
    };
    let at_stake = s.most_at_stake(plan, TORNADO_PANELS);
    let panels: Vec<TornadoPanel> = at_stake.into_iter().map(panel).collect();
    (!panels.is_empty()).then(|| TornadoSheet {
        title: "Inputs that matter most".into(),
        scenario: format!("{} · {} cases", plan.title, sweep.cases.len()),
        panels,
        notes: vec![
            "Bars run from the mean of all cases to the mean of those in which the input is in its lowest third, and in its highest.".into(),
            "Measures shown: those that fail their limits most often. A rank correlation does not prove a cause.".into(),
        ],
    })
}
