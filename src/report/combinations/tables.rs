//! CSV of sets of calling zones: one table of verdicts, one of every settled state.

use super::supply_c;
use crate::report::results::{symbol_of, table_of};
use crate::scenario::Scenario;
use crate::study::combinations::{Combinations, members};
use crate::study::criteria::{CRITERIA, Facts};

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

pub(super) fn csv(s: &Scenario, c: &Combinations) -> Vec<u8> {
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

pub(super) fn states_csv(s: &Scenario, c: &Combinations) -> Vec<u8> {
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
