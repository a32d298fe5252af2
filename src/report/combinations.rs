//! What the sets of calling zones tell: verdict, table, heat map, CSV.

use std::path::{Path, PathBuf};

use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};

use super::heat_map::{HeatCell, HeatMap, HeatRow, heat_map};
use super::results::{ResultsError, symbol_of, table_of};
use super::verdict::show;
use super::{Figure, FigureError, OutputDir, UnitSystem};
use crate::measure::Side;
use crate::quantity::{self, Dimension};
use crate::scenario::Scenario;
use crate::study::combinations::{ALL_SETS_UP_TO, Combination, Combinations, Worst, members};
use crate::study::criteria::{CRITERIA, Facts};

/// Rows of the heat map.
const MAP_ROWS: usize = 40;

/// The verdict and the `most` worst sets for a terminal.
pub fn text(
    s: &Scenario,
    c: &Combinations,
    units: UnitSystem,
    width: u16,
    most: usize,
    bold: impl Fn(&str) -> String,
) -> String {
    let mut out = format!("{} ({})\n", bold(&s.title), at(c, units));
    out += &bold(&verdict(c));
    out.push('\n');
    for sentence in findings(c, units) {
        out += &sentence;
        out.push('\n');
    }
    out.push('\n');
    out += &rows(s, c, units, width, most);
    if c.list.len() > most {
        out += &format!(
            "The {most} worst of {} are shown; combinations.csv has all (--rows shows more).\n",
            c.list.len()
        );
    }
    for remark in remarks(c) {
        out += &remark;
        out.push('\n');
    }
    out
}

fn at(c: &Combinations, units: UnitSystem) -> String {
    let at: Vec<String> = c
        .modes
        .iter()
        .map(|m| {
            let outdoor = show(m.outdoor_c, Dimension::Temperature, units);
            format!("{} at {outdoor} outdoors", m.mode.name())
        })
        .collect();
    at.join(", ")
}

fn verdict(c: &Combinations) -> String {
    let (all, broken) = (c.list.len(), c.broken());
    let word = if c.modes.len() > 1 {
        "sets and modes"
    } else {
        "sets of calling zones"
    };
    match broken {
        0 => format!("Every one of {all} {word} keeps its limits."),
        _ => {
            let permitted = c.list.iter().filter(|k| !k.holds() && k.permitted).count();
            let bands = if permitted < broken {
                format!(", {permitted} of them possible within the time bands")
            } else {
                String::new()
            };
            format!("{broken} of {all} {word} break a limit{bands}.")
        }
    }
}

/// For each criterion that is broken, by which set worst.
fn findings(c: &Combinations, units: UnitSystem) -> Vec<String> {
    let worst = |i: usize| {
        let broken = c.list.iter().filter(|k| k.broken().any(|b| b == i));
        let count = broken.clone().count();
        broken
            .filter_map(|k| Some((k, k.worst[i].as_ref()?)))
            .max_by(|a, b| a.1.finding.used().total_cmp(&b.1.finding.used()))
            .map(|(k, w)| (k, w, count))
    };
    CRITERIA
        .iter()
        .enumerate()
        .filter_map(|(i, criterion)| {
            let (k, w, count) = worst(i)?;
            let place = if w.finding.place.is_empty() {
                String::new()
            } else {
                format!(" ({})", w.finding.place)
            };
            let side = match w.finding.limit.side {
                Side::AtMost => "at most",
                Side::AtLeast => "at least",
            };
            Some(format!(
                "{}{place}: {count} broken, worst {} with {} calling in {}; {side} {} ({}).",
                criterion.title,
                show(w.finding.value, criterion.dimension, units),
                calling(k, &c.zones),
                k.mode.name(),
                show(w.finding.limit.value, criterion.dimension, units),
                w.finding.limit.source,
            ))
        })
        .collect()
}

fn remarks(c: &Combinations) -> Vec<String> {
    let mut remarks = vec![
        "Settled state, protections not acting, rooms at their setpoints, filter as at the start. \
         Judged: dampers of calling zones full, unit at its least speed and at the highest that the \
         controller brings about; one zone full and the others at their least opening, unit at the highest; \
         all at their least opening, unit at its least."
            .to_string(),
        "\"At rated\" is what the limits would be if nothing held the unit back from rated speed; it \
         does not count."
            .to_string(),
    ];
    if c.list.iter().any(|k| !k.permitted) {
        remarks.push(
            "\"By hand\" marks sets that no minute of the time bands has; a person can still bring them \
             about."
                .into(),
        );
    }
    if c.faults_left_out {
        remarks.push("Faults in the file are left out: this is the healthy system.".into());
    }
    if !c.every_set {
        remarks.push(format!(
            "More than {ALL_SETS_UP_TO} zones: all sets of 1, 2, n−1 and n zones, and from the 8 worst \
             of them one zone more or less at a time as long as it got worse. Other sets were not \
             looked at."
        ));
    }
    remarks
}

fn rows(s: &Scenario, c: &Combinations, units: UnitSystem, width: u16, most: usize) -> String {
    let mut table = Table::new();
    let mut head = vec!["calling".to_string()];
    if c.modes.len() > 1 {
        head.push("mode".into());
    }
    head.extend(CRITERIA.iter().map(|k| k.heading.to_string()));
    head.extend(["supply air", "air per kW", "speed", "at rated", "verdict"].map(String::from));
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(width)
        .set_header(head);
    let facts = Facts::new(s);
    for k in c.list.iter().take(most) {
        let mut cells = vec![Cell::new(name(k, &c.zones))];
        if c.modes.len() > 1 {
            cells.push(Cell::new(k.mode.name()));
        }
        for (i, criterion) in CRITERIA.iter().enumerate() {
            cells.push(right(finding(
                k.worst[i].as_ref(),
                criterion.dimension,
                units,
                " *",
            )));
        }
        cells.push(right(extreme_supply(&facts, k, units)));
        cells.push(right(air_per_kw(k, units)));
        cells.push(right(speeds(k)));
        let rated: Vec<&str> = k.broken_at_rated().map(|i| CRITERIA[i].heading).collect();
        cells.push(Cell::new(if rated.is_empty() {
            "holds".to_string()
        } else {
            format!("breaks {}", rated.join(", "))
        }));
        cells.push(Cell::new(word(k)));
        table.add_row(cells);
    }
    let mut text = table.trim_fmt();
    text.push_str("\n* breaks its limit.\n");
    text
}

fn right(text: String) -> Cell {
    Cell::new(text).set_alignment(CellAlignment::Right)
}

/// Names of the calling zones; "all 8" for all of several.
fn calling(k: &Combination, zones: &[String]) -> String {
    if k.calls.count_ones() as usize == zones.len() && zones.len() > 1 {
        return format!("all {}", zones.len());
    }
    k.names(zones, " + ")
}

fn name(k: &Combination, zones: &[String]) -> String {
    let hand = if k.permitted { "" } else { " (by hand)" };
    format!("{}{hand}", calling(k, zones))
}

fn word(k: &Combination) -> String {
    let broken: Vec<&str> = k.broken().map(|i| CRITERIA[i].heading).collect();
    if broken.is_empty() {
        "holds".into()
    } else {
        format!("breaks {}", broken.join(", "))
    }
}

fn finding(w: Option<&Worst>, dimension: Dimension, units: UnitSystem, mark: &str) -> String {
    let Some(w) = w else { return "—".into() };
    let value = show(w.finding.value, dimension, units);
    let place = if w.finding.place.is_empty() {
        String::new()
    } else {
        format!(" {}", w.finding.place)
    };
    let mark = if w.finding.holds() { "" } else { mark };
    format!("{value}{place}{mark}")
}

/// Supply air where its margin is least among the states that count; at the controller's speed when no
/// trip is fitted.
fn supply_c(facts: &Facts, k: &Combination) -> Option<f64> {
    let counted = k.states.iter().filter(|s| s.counts());
    counted
        .min_by(|a, b| {
            let margin = |s: &&crate::study::combinations::StatePoint| {
                facts.margin_k(&s.point, k.mode).unwrap_or(0.0)
            };
            margin(a).total_cmp(&margin(b))
        })
        .map(|s| s.point.supply.t_c)
}

fn extreme_supply(facts: &Facts, k: &Combination, units: UnitSystem) -> String {
    supply_c(facts, k).map_or("—".into(), |t| show(t, Dimension::Temperature, units))
}

/// Coil air per heat moved at the controller's speed.
fn air_per_kw(k: &Combination, units: UnitSystem) -> String {
    let Some(state) = k.controlled() else {
        return "—".into();
    };
    let per_kw = 1000.0 * state.point.coil_air_per_w();
    format!(
        "{}/kW",
        quantity::display(per_kw, Dimension::AirFlow, units)
    )
}

fn speeds(k: &Combination) -> String {
    let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
    for s in k.states.iter().filter(|s| s.counts()) {
        least = least.min(s.point.speed);
        most = most.max(s.point.speed);
    }
    if (most - least).abs() < 0.005 {
        format!("{:.0} %", 100.0 * most)
    } else {
        format!("{:.0} to {:.0} %", 100.0 * least, 100.0 * most)
    }
}

/// Draws the heat map: the worst sets against the criteria.
///
/// # Errors
/// When drawing fails.
pub fn figure(s: &Scenario, c: &Combinations, units: UnitSystem) -> Result<Figure, FigureError> {
    let limit = |i: usize| -> String {
        let limits = c.list.iter().filter_map(|k| k.worst[i].as_ref());
        let mut limits: Vec<f64> = limits.map(|w| w.finding.limit.value).collect();
        limits.sort_by(f64::total_cmp);
        limits.dedup();
        let side = c
            .list
            .iter()
            .find_map(|k| k.worst[i].as_ref())
            .map(|w| w.finding.limit.side);
        let side = if side == Some(Side::AtLeast) {
            "at least"
        } else {
            "at most"
        };
        let shown: Vec<String> = limits
            .iter()
            .map(|l| show(*l, CRITERIA[i].dimension, units))
            .collect();
        match shown.as_slice() {
            [] => "not judged".into(),
            _ => format!("{side} {}", shown.join(" or ")),
        }
    };
    let mut columns: Vec<(String, String)> = CRITERIA
        .iter()
        .enumerate()
        .map(|(i, k)| (k.heading.to_string(), limit(i)))
        .collect();
    columns.push(("at rated speed".into(), "does not count".into()));
    let rows = c
        .list
        .iter()
        .take(MAP_ROWS)
        .map(|k| {
            let mode = if c.modes.len() > 1 {
                format!(", {}", k.mode.name())
            } else {
                String::new()
            };
            let mut cells: Vec<HeatCell> = k
                .worst
                .iter()
                .enumerate()
                .map(|(i, w)| HeatCell {
                    text: finding(w.as_ref(), CRITERIA[i].dimension, units, ""),
                    used: w.as_ref().map_or(f64::NAN, |w| w.finding.used()),
                    broken: w.as_ref().is_some_and(|w| !w.finding.holds()),
                })
                .collect();
            let rated: Vec<&str> = k.broken_at_rated().map(|i| CRITERIA[i].heading).collect();
            cells.push(HeatCell {
                text: if rated.is_empty() {
                    "holds".into()
                } else {
                    rated.join(", ")
                },
                used: f64::NAN,
                broken: false,
            });
            HeatRow {
                name: format!("{}{mode}", name(k, &c.zones)),
                cells,
            }
        })
        .collect();
    let mut remarks = remarks(c);
    if c.list.len() > MAP_ROWS {
        remarks.insert(
            0,
            format!(
                "The {MAP_ROWS} worst of {} are drawn; combinations.csv has all.",
                c.list.len()
            ),
        );
    }
    let remarks = remarks.iter().flat_map(|r| wrapped(r, 175)).collect();
    heat_map(
        "combinations",
        &HeatMap {
            title: "Sets of calling zones, worst first".into(),
            subtitle: format!("{} · {} · {}", s.title, at(c, units), verdict(c)),
            rows_are: "zones calling".into(),
            columns,
            rows,
            remarks,
        },
    )
}

fn wrapped(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let line = lines
            .last_mut()
            .filter(|l| l.chars().count() + word.len() < columns);
        match line {
            Some(line) if !line.is_empty() => *line = format!("{line} {word}"),
            Some(line) => *line = word.into(),
            None => lines.push(word.into()),
        }
    }
    lines
}

/// Writes tables and heat map into `out/combinations-<scenario>/`, whole or not at all.
///
/// # Errors
/// The folder cannot be written, or the figure not drawn.
pub fn write(
    out: &Path,
    s: &Scenario,
    c: &Combinations,
    units: UnitSystem,
    with_figures: bool,
) -> Result<PathBuf, ResultsError> {
    let drawn = match with_figures {
        true => {
            let figure = figure(s, c, units)?;
            let png = figure.png()?;
            Some((figure, png))
        }
        false => None,
    };
    let staged = OutputDir::stage(out.join(format!("combinations-{}", s.name)))?;
    staged.write("combinations.csv", &csv(s, c))?;
    staged.write("states.csv", &states_csv(s, c))?;
    if let Some((figure, png)) = &drawn {
        staged.write("figures/combinations.svg", figure.svg.as_bytes())?;
        staged.write("figures/combinations.png", png)?;
    }
    Ok(staged.commit()?)
}

fn number(v: f64) -> String {
    if v.is_finite() {
        v.to_string()
    } else {
        String::new()
    }
}

fn yes(flag: bool) -> String {
    if flag { "yes" } else { "no" }.to_string()
}

fn csv(s: &Scenario, c: &Combinations) -> Vec<u8> {
    let mut head: Vec<String> = [
        "rank",
        "calling",
        "zones",
        "mode",
        "outdoor_C",
        "within_bands",
        "idle_open",
        "holds",
        "breaks",
        "breaks_at_rated",
    ]
    .map(String::from)
    .to_vec();
    for k in CRITERIA {
        let unit = symbol_of(k.dimension);
        head.push(format!("{}_{unit}", k.key));
        head.push(format!("{}_limit_{unit}", k.key));
        for what in ["where", "dampers", "speed", "at_rated"] {
            head.push(format!("{}_{what}", k.key));
        }
    }
    for what in [
        "supply_C",
        "controlled_speed",
        "controlled_fan_flow_m3_s",
        "controlled_external_static_Pa",
        "controlled_coil_air_m3_s_per_kW",
        "controlled_room_air_m3_s_per_kW",
    ] {
        head.push(what.into());
    }
    let facts = Facts::new(s);
    let rows = c.list.iter().enumerate().map(|(rank, k)| {
        let outdoor = c
            .modes
            .iter()
            .find(|m| m.mode == k.mode)
            .map_or(f64::NAN, |m| m.outdoor_c);
        let keys = |list: Vec<usize>| -> String {
            list.iter()
                .map(|&i| CRITERIA[i].key)
                .collect::<Vec<_>>()
                .join(" ")
        };
        let idle: Vec<&str> = members(k.idle).map(|i| c.zones[i].as_str()).collect();
        let mut cells = vec![
            (rank + 1).to_string(),
            k.names(&c.zones, "+"),
            k.calls.count_ones().to_string(),
            k.mode.name().to_string(),
            number(outdoor),
            yes(k.permitted),
            idle.join("+"),
            yes(k.holds()),
            keys(k.broken().collect()),
            keys(k.broken_at_rated().collect()),
        ];
        for (w, rated) in k.worst.iter().zip(&k.rated) {
            match w {
                None => cells.extend(std::iter::repeat_n(String::new(), 5)),
                Some(w) => {
                    let state = &k.states[w.state];
                    cells.extend([
                        number(w.finding.value),
                        number(w.finding.limit.value),
                        w.finding.place.clone(),
                        state.dampers.name().into(),
                        number(state.point.speed),
                    ]);
                }
            }
            cells.push(
                rated
                    .as_ref()
                    .map_or(String::new(), |w| number(w.finding.value)),
            );
        }
        cells.push(supply_c(&facts, k).map_or(String::new(), number));
        match k.controlled() {
            None => cells.extend(std::iter::repeat_n(String::new(), 5)),
            Some(state) => {
                let p = &state.point;
                cells.extend([
                    number(p.speed),
                    number(p.fan_m3_s),
                    number(p.external_pa()),
                    number(1000.0 * p.coil_air_per_w()),
                    number(1000.0 * p.room_air_per_w()),
                ]);
            }
        }
        cells
    });
    table_of(&head, rows)
}

fn states_csv(s: &Scenario, c: &Combinations) -> Vec<u8> {
    let mut head: Vec<String> = [
        "rank",
        "calling",
        "mode",
        "dampers",
        "speed_of",
        "relief_from",
        "counts",
        "speed",
        "fan_flow_m3_s",
        "fan_speed",
        "fan_power_W",
        "fan_stalled",
        "supply_plenum.static_Pa",
        "return_plenum.static_Pa",
        "relief.flow_m3_s",
        "relief.opening",
        "entering_C",
        "entering_humidity_kg_kg",
        "supply_C",
        "supply_humidity_kg_kg",
        "surface_C",
        "heat_W",
        "unit_power_W",
        "beyond_data",
    ]
    .map(String::from)
    .to_vec();
    head.extend(s.rooms.iter().flat_map(|r| {
        let name = &r.name;
        [
            format!("room.{name}.sound_dBA"),
            format!("room.{name}.sound_ruled_by"),
        ]
    }));
    head.extend(
        s.outlets
            .iter()
            .map(|o| format!("outlet.{}.flow_m3_s", o.name)),
    );
    let rows = c.list.iter().enumerate().flat_map(|(rank, k)| {
        let calling = k.names(&c.zones, "+");
        k.states.iter().map(move |state| {
            let p = &state.point;
            let mut cells = vec![
                (rank + 1).to_string(),
                calling.clone(),
                k.mode.name().to_string(),
                state.dampers.name().to_string(),
                state.speed_of.name().to_string(),
                state.approach.name().to_string(),
                yes(state.counts()),
                number(p.speed),
                number(p.fan_m3_s),
                number(p.fan_speed),
                number(p.fan_w),
                yes(p.stalled),
                number(p.supply_pa),
                number(p.return_pa),
                number(p.relief_m3_s),
                number(p.relief_opening),
                number(p.entering.t_c),
                number(p.entering.w),
                number(p.supply.t_c),
                number(p.supply.w),
                number(p.surface_c),
                number(p.total_w),
                number(p.power_w),
                yes(p.beyond_map),
            ];
            for level in &p.sound {
                cells.extend([number(level.dba), level.ruled_by.name().to_string()]);
            }
            cells.extend(p.outlets_m3_s.iter().map(|q| number(*q)));
            cells
        })
    });
    table_of(&head, rows)
}
