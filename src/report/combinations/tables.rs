//! Files of sets of calling zones: one table of verdicts, one of every steady state.

use super::supply_c;
use crate::report::table::{Table, Value};
use crate::scenario::Scenario;
use crate::study::combinations::{Combinations, members};
use crate::study::criteria::{CRITERIA, Facts};

pub(super) fn combinations(s: &Scenario, c: &Combinations) -> Table {
    let mut names: Vec<String> = [
        "rank",
        "calling",
        "zones",
        "mode",
        "outdoor_C",
        "scheduled",
        "open_when_satisfied",
        "passes",
        "fails",
        "fails_at_rated",
    ]
    .map(String::from)
    .to_vec();
    for k in CRITERIA {
        let unit = k.dimension.si_symbol();
        names.push(format!("{}_{unit}", k.key));
        names.push(format!("{}_limit_{unit}", k.key));
        for what in ["where", "dampers", "speed", "at_rated"] {
            names.push(format!("{}_{what}", k.key));
        }
    }
    names.extend(
        [
            "supply_C",
            "controlled_speed",
            "controlled_fan_flow_m3_s",
            "controlled_external_static_Pa",
            "controlled_coil_air_m3_s_per_kW",
            "controlled_room_air_m3_s_per_kW",
        ]
        .map(String::from),
    );
    let mut table = Table::named(names);
    let facts = Facts::new(s);
    for (rank, k) in c.list.iter().enumerate() {
        let at = c.modes.iter().find(|m| m.mode == k.mode);
        let keys = |list: &mut dyn Iterator<Item = usize>| -> String {
            let keys: Vec<&str> = list.map(|i| CRITERIA[i].key).collect();
            keys.join(" ")
        };
        let open: Vec<&str> = members(k.idle).map(|i| c.zones[i].as_str()).collect();
        let mut cells: Vec<Value> = vec![
            (rank + 1).into(),
            k.names(&c.zones, "+").into(),
            (k.calls.count_ones() as usize).into(),
            k.mode.name().into(),
            at.map(|m| m.outdoor_c).into(),
            k.permitted.into(),
            open.join("+").into(),
            k.passes().into(),
            keys(&mut k.failed()).into(),
            keys(&mut k.failed_at_rated()).into(),
        ];
        for (w, rated) in k.worst.iter().zip(&k.rated) {
            match w {
                None => cells.extend(std::iter::repeat_n(Value::None, 5)),
                Some(w) => {
                    let state = &k.states[w.state];
                    cells.extend([
                        w.finding.value.into(),
                        w.finding.limit.value.into(),
                        w.finding.place.as_str().into(),
                        state.dampers.name().into(),
                        state.point.speed.into(),
                    ]);
                }
            }
            cells.push(rated.as_ref().map(|w| w.finding.value).into());
        }
        cells.push(supply_c(&facts, k).into());
        match k.controlled() {
            None => cells.extend(std::iter::repeat_n(Value::None, 5)),
            Some(state) => {
                let p = &state.point;
                cells.extend([
                    p.speed.into(),
                    p.fan_m3_s.into(),
                    p.external_pa().into(),
                    (1000.0 * p.coil_air_per_w()).into(),
                    (1000.0 * p.room_air_per_w()).into(),
                ]);
            }
        }
        table.row(cells);
    }
    table
}

pub(super) fn states(s: &Scenario, c: &Combinations) -> Table {
    let mut names: Vec<String> = [
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
    names.extend(s.rooms.iter().flat_map(|r| {
        let name = &r.name;
        [
            format!("room.{name}.sound_dBA"),
            format!("room.{name}.sound_dominant_source"),
        ]
    }));
    let outlets = s.outlets.iter();
    names.extend(outlets.map(|o| format!("outlet.{}.flow_m3_s", o.name)));
    let mut table = Table::named(names);
    for (rank, k) in c.list.iter().enumerate() {
        for state in &k.states {
            let p = &state.point;
            let mut cells: Vec<Value> = vec![
                (rank + 1).into(),
                k.names(&c.zones, "+").into(),
                k.mode.name().into(),
                state.dampers.name().into(),
                state.speed_of.name().into(),
                state.approach.name().into(),
                state.counts().into(),
                p.speed.into(),
                p.fan_m3_s.into(),
                p.fan_speed.into(),
                p.fan_w.into(),
                p.stalled.into(),
                p.supply_pa.into(),
                p.return_pa.into(),
                p.relief_m3_s.into(),
                p.relief_opening.into(),
                p.entering.t_c.into(),
                p.entering.w.into(),
                p.supply.t_c.into(),
                p.supply.w.into(),
                p.surface_c.into(),
                p.total_w.into(),
                p.power_w.into(),
                p.beyond_map.into(),
            ];
            for level in &p.sound {
                cells.extend([level.dba.into(), level.dominant.name().into()]);
            }
            cells.extend(p.outlets_m3_s.iter().map(|q| Value::from(*q)));
            table.row(cells);
        }
    }
    table
}
