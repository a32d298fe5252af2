//! Alternatives that keep a small zone from getting the whole fan: a relief, and what people do instead.
//!
//! Each alternative is a family of what-ifs along one *strength*: a whole number from 0 upwards, of which more
//! always means less pressure and velocity at the outlets. Because the air network is monotone, the
//! least strength that is enough is found by halving. To add one, write a function that returns
//! its [`Alternative`] and name it in [`instead`].

use super::case::{Case, Edit, has};
use crate::measure::Note;
use crate::plant::duct::Section;
use crate::plant::relief::Relief;
use crate::plant::unit::UnitKind;
use crate::quantity::Dimension;

/// Nominal sizes of round ducts, mm: the R20 sizes and the additional ones in use of ISO 7807 and
/// EN 1506, from memory.
pub(crate) const ROUND_DUCTS_MM: [u32; 17] = [
    80, 100, 125, 150, 160, 180, 200, 224, 250, 280, 315, 355, 400, 450, 500, 560, 630,
];

/// Lowest opening pressure of a weighted blade or setpoint of a motorised relief that is tried, Pa:
/// common practice, no source.
pub(crate) const MINIMUM_OPENING_PA: f64 = 15.0;
/// Slowest fan that is tried, hundredths of its rated speed: below, a coil made for the rated flow is
/// no longer that unit (our own choice).
const SLOWEST_FAN: u32 = 40;

/// An alternative with its strengths.
pub(crate) struct Alternative<'a> {
    /// Stable name, for files.
    pub key: String,
    /// Plain words.
    pub title: String,
    /// The strongest there is; 0 when there is nothing to choose.
    pub strongest: u32,
    /// What a person would write for a strength.
    pub edits: Box<dyn Fn(u32) -> Vec<Edit> + Sync + 'a>,
    /// What a strength means, in words.
    pub words: Box<dyn Fn(u32) -> Note + Sync + 'a>,
}

/// What alternatives have in common.
struct Base<'a> {
    case: &'a Case,
    no_relief: Vec<Edit>,
    /// Static that the opening pressure starts from, Pa.
    static_pa: f64,
}

/// The file as written, and without its relief.
pub(crate) fn references(case: &Case) -> Vec<Alternative<'_>> {
    let mut out = vec![fixed("as-written", "file as written", Vec::new())];
    if case.scenario.relief.is_some() {
        out.push(fixed(
            "no-relief",
            "no relief and nothing instead",
            vec![Edit::Without("relief".into())],
        ));
    }
    out
}

fn fixed<'a>(key: &str, title: &str, edits: Vec<Edit>) -> Alternative<'a> {
    Alternative {
        key: key.into(),
        title: title.into(),
        strongest: 0,
        edits: Box::new(move |_| edits.clone()),
        words: Box::new(|_| Note::default()),
    }
}

/// Reliefs to the return plenum, one a diameter, smallest first.
pub(crate) fn reliefs(case: &Case) -> Vec<Alternative<'_>> {
    let base = Base::new(case);
    ROUND_DUCTS_MM
        .iter()
        .map(|&mm| base.relief(mm, None, &[]))
        .collect()
}

/// The same with a variable-speed unit; none when the unit is one.
pub(crate) fn reliefs_with_variable_speed(case: &Case) -> Vec<Alternative<'_>> {
    if is_variable(case) {
        return Vec::new();
    }
    let base = Base::new(case);
    let extra = [Edit::text("unit.kind", "variable speed")];
    ROUND_DUCTS_MM
        .iter()
        .map(|&mm| base.relief(mm, None, &extra))
        .collect()
}

/// Reliefs that are dumped into a room, one a diameter.
pub(crate) fn dumps<'a>(case: &'a Case, room: &str) -> Vec<Alternative<'a>> {
    let base = Base::new(case);
    ROUND_DUCTS_MM
        .iter()
        .map(|&mm| base.relief(mm, Some(room), &[]))
        .collect()
}

/// What people do instead of a relief.
pub(crate) fn instead(case: &Case) -> Vec<Alternative<'_>> {
    let base = Base::new(case);
    [
        Some(base.slower_fan()),
        Some(base.minimum_opening()),
        base.open_outlet(),
        base.larger_ducts(),
        base.variable_speed(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn is_variable(case: &Case) -> bool {
    matches!(case.scenario.unit.unit.kind, UnitKind::VariableSpeed { .. })
}

impl<'a> Base<'a> {
    fn new(case: &'a Case) -> Base<'a> {
        Base {
            case,
            no_relief: vec![Edit::Without("relief".into())],
            static_pa: case.scenario.limits.static_pa.value,
        }
    }

    /// Strength is how far the opening pressure lies below the static limit, in whole pascals.
    fn relief(&self, mm: u32, to: Option<&str>, extra: &[Edit]) -> Alternative<'a> {
        let case = self.case;
        let motorised = case
            .scenario
            .relief
            .is_some_and(|r| matches!(r.relief, Relief::Motorised(_)));
        let highest = self.static_pa.floor().max(MINIMUM_OPENING_PA);
        let mut kept = Vec::new();
        for key in ["length", "material", "fitting_loss", "location", "channel"] {
            let path = format!("relief.{key}");
            match case.written(&path) {
                Some(v) if key == "channel" && motorised => kept.push(Edit::set(path, v)),
                Some(v) if key == "fitting_loss" => kept.push(Edit::set(path, v)),
                Some(v) if key != "channel" => kept.push(Edit::text(path, v)),
                _ => {}
            }
        }
        if !kept
            .iter()
            .any(|e| matches!(e, Edit::Set(k, _) if k == "relief.length"))
        {
            kept.push(Edit::text("relief.length", "2 m"));
        }
        let to = to.map(str::to_string);
        let target = to.clone();
        let extra = extra.to_vec();
        let variable = !extra.is_empty();
        let edits = move |strength: u32| {
            let pa = format!("{:.0} Pa", highest - f64::from(strength));
            let mut edits = vec![Edit::Without("relief".into())];
            edits.extend(extra.iter().cloned());
            let kind = if motorised {
                "motorised"
            } else {
                "weighted blade"
            };
            edits.push(Edit::text("relief.kind", kind));
            edits.push(Edit::text("relief.diameter", format!("{mm} mm")));
            edits.extend(kept.iter().cloned());
            if let Some(room) = &target {
                edits.push(Edit::text("relief.discharge_to", room));
            }
            let pressure = if motorised {
                "setpoint"
            } else {
                "opening_pressure"
            };
            edits.push(Edit::text(format!("relief.{pressure}"), pa));
            edits
        };
        let kind = if motorised {
            "motorised relief (bypass) damper"
        } else {
            "weighted relief (bypass) damper"
        };
        let (key, title) = match (&to, variable) {
            (Some(room), _) => (format!("dump-{mm}"), format!("{kind}, dumped into {room}")),
            (None, true) => (
                format!("variable-relief-{mm}"),
                format!("variable-speed unit and {kind}"),
            ),
            (None, false) => (format!("relief-{mm}"), format!("{kind} to the return")),
        };
        let verb = if motorised { "holding" } else { "opening at" };
        Alternative {
            key,
            title,
            strongest: (highest - MINIMUM_OPENING_PA) as u32,
            edits: Box::new(edits),
            words: Box::new(move |strength| {
                Note::default()
                    .value(f64::from(mm) / 1000.0, Dimension::Length)
                    .words(format!(", {verb} "))
                    .value(highest - f64::from(strength), Dimension::Pressure)
            }),
        }
    }

    /// A fan whose every speed is a factor lower: by the affinity laws a rated point at that factor of
    /// flow and its square of pressure.
    fn slower_fan(&self) -> Alternative<'a> {
        let case = self.case;
        let no_relief = self.no_relief.clone();
        let rated = case.scenario.rated_flow_m3_s;
        let points: Vec<(f64, f64)> = fan_points(case);
        let rated_pa = case.scenario.air.fan.curve.pressure_pa(rated);
        let edits = move |strength: u32| {
            let f = f64::from(100 - strength) / 100.0;
            let mut edits = no_relief.clone();
            if points.is_empty() {
                edits.push(Edit::text(
                    "fan.pressure",
                    format!("{:.1} Pa", rated_pa * f * f),
                ));
            } else {
                let scaled: Vec<String> = points
                    .iter()
                    .map(|(q, p)| {
                        format!(
                            "{{ flow = \"{:.2} L/s\", pressure = \"{:.2} Pa\" }}",
                            1000.0 * q * f,
                            p * f * f
                        )
                    })
                    .collect();
                edits.push(Edit::set("fan.points", format!("[{}]", scaled.join(", "))));
            }
            edits.push(Edit::text(
                "fan.flow",
                format!("{:.1} L/s", 1000.0 * rated * f),
            ));
            // Resistances given at the fan's rated flow must not move with it.
            for part in ["filter", "coil", "return"] {
                if !has(&case.tree, &format!("{part}.at_flow")) {
                    edits.push(Edit::text(
                        format!("{part}.at_flow"),
                        format!("{:.1} L/s", 1000.0 * rated),
                    ));
                }
            }
            edits
        };
        Alternative {
            key: "slower-fan".into(),
            title: "slower fan, no relief".into(),
            strongest: 100 - SLOWEST_FAN,
            edits: Box::new(edits),
            words: Box::new(|strength| format!("{} % of its speed", 100 - strength).into()),
        }
    }

    /// Every zone keeps some opening while it is scheduled and does not call.
    fn minimum_opening(&self) -> Alternative<'a> {
        let (zones, no_relief) = (self.zones(), self.no_relief.clone());
        Alternative {
            key: "minimum-opening".into(),
            title: "opening when satisfied for every zone, no relief".into(),
            strongest: 100,
            edits: Box::new(move |strength| {
                let mut edits = no_relief.clone();
                for (name, idle, _) in &zones {
                    let open = idle.max(f64::from(strength) / 100.0);
                    edits.push(Edit::set(
                        format!("zone.{name}.opening_when_satisfied"),
                        decimal(open),
                    ));
                }
                edits
            }),
            words: Box::new(|strength| format!("each at minimum {strength} % open").into()),
        }
    }

    /// The largest zone stays open while it is scheduled.
    fn open_outlet(&self) -> Option<Alternative<'a>> {
        let zones = self.zones();
        let (name, idle, _) = zones.into_iter().max_by(|a, b| a.2.total_cmp(&b.2))?;
        let no_relief = self.no_relief.clone();
        let open = move |strength: u32| idle.max(f64::from(strength) / 100.0);
        let of = name.clone();
        Some(Alternative {
            key: "open-outlet".into(),
            title: format!("opening when satisfied for {name} alone, no relief"),
            strongest: 100,
            edits: Box::new(move |strength| {
                let mut edits = no_relief.clone();
                let key = format!("zone.{name}.opening_when_satisfied");
                edits.push(Edit::set(key, decimal(open(strength))));
                edits
            }),
            words: Box::new(move |strength| {
                format!("{of} at minimum {:.0} % open", 100.0 * open(strength)).into()
            }),
        })
    }

    /// The smallest zone's ducts and grilles grow, one nominal size a step.
    fn larger_ducts(&self) -> Option<Alternative<'a>> {
        let s = &self.case.scenario;
        let design = |z: &crate::scenario::control::Zone| -> f64 {
            z.outlets
                .iter()
                .map(|&o| s.outlets[o].design_flow_m3_s)
                .sum()
        };
        let zone = s
            .zones
            .iter()
            .min_by(|a, b| design(a).total_cmp(&design(b)))?;
        let mut outlets = Vec::new();
        for &o in &zone.outlets {
            let outlet = &s.outlets[o];
            let Section::Round { diameter_m } = outlet.run.duct.section else {
                return None;
            };
            let grille = self.case.written(&format!("outlet.{}.grille", outlet.name));
            outlets.push((
                outlet.name.clone(),
                1000.0 * diameter_m,
                grille,
                outlet.face_area_m2,
            ));
        }
        let largest = outlets.iter().map(|o| o.1).fold(0.0, f64::max);
        let sizes: Vec<u32> = ROUND_DUCTS_MM
            .into_iter()
            .filter(|&mm| f64::from(mm) > largest + 0.5)
            .collect();
        let strongest = sizes.len() as u32;
        let no_relief = self.no_relief.clone();
        let names: Vec<String> = outlets.iter().map(|o| o.0.clone()).collect();
        let of = sizes.clone();
        Some(Alternative {
            key: "larger-ducts".into(),
            title: format!("larger ducts and grilles to {}, no relief", zone.name),
            strongest,
            edits: Box::new(move |strength| {
                let mut edits = no_relief.clone();
                let Some(&mm) = sizes.get((strength as usize).wrapping_sub(1)) else {
                    return edits;
                };
                for (name, old_mm, grille, face_m2) in &outlets {
                    let ratio = f64::from(mm) / old_mm;
                    edits.push(Edit::text(
                        format!("outlet.{name}.diameter"),
                        format!("{mm} mm"),
                    ));
                    edits.push(match grille.as_deref().and_then(|g| enlarged(g, ratio)) {
                        Some(grille) => Edit::text(format!("outlet.{name}.grille"), grille),
                        None => Edit::text(
                            format!("outlet.{name}.grille_area"),
                            format!("{:.4} m2", face_m2 * ratio * ratio),
                        ),
                    });
                }
                edits
            }),
            words: Box::new(
                move |strength| match of.get((strength as usize).wrapping_sub(1)) {
                    Some(&mm) => Note::from(format!("{} at ", names.join(", ")))
                        .value(f64::from(mm) / 1000.0, Dimension::Length),
                    None => "as they are".into(),
                },
            ),
        })
    }

    /// A variable-speed unit in place of the one written; none when it is one.
    fn variable_speed(&self) -> Option<Alternative<'a>> {
        if is_variable(self.case) {
            return None;
        }
        let mut edits = self.no_relief.clone();
        edits.push(Edit::text("unit.kind", "variable speed"));
        Some(fixed(
            "variable-speed",
            "variable-speed unit, no relief",
            edits,
        ))
    }

    /// Name, opening when satisfied and design flow (m³/s) of each zone.
    fn zones(&self) -> Vec<(String, f64, f64)> {
        let s = &self.case.scenario;
        let specs = &s.control.controller.spec().zones;
        let zones = s.zones.iter().zip(specs);
        zones
            .map(|(z, spec)| {
                let design = |&o: &usize| s.outlets[o].design_flow_m3_s;
                let flow = z.outlets.iter().map(design).sum();
                (z.name.clone(), spec.opening_when_satisfied, flow)
            })
            .collect()
    }
}

fn decimal(v: f64) -> String {
    format!("{v:.2}")
}

/// The points of a fan curve given by points; empty when it is given by its rated point.
fn fan_points(case: &Case) -> Vec<(f64, f64)> {
    use crate::quantity::{Dimension, parse};
    use crate::scenario::tree::Value;
    let Some(fan) = case.tree.root.get("fan") else {
        return Vec::new();
    };
    let Value::Table(fan) = &fan.value else {
        return Vec::new();
    };
    let Some(Value::List(points)) = fan.get("points").map(|n| &n.value) else {
        return Vec::new();
    };
    let read = |n: &crate::scenario::tree::Node| -> Option<(f64, f64)> {
        let Value::Table(point) = &n.value else {
            return None;
        };
        let text = |key: &str| match point.get(key).map(|n| &n.value) {
            Some(Value::Text(text)) => Some(text.clone()),
            _ => None,
        };
        Some((
            parse(&text("flow")?, Dimension::AirFlow).ok()?,
            parse(&text("pressure")?, Dimension::Pressure).ok()?,
        ))
    };
    points.iter().filter_map(read).collect()
}

/// `"300 mm x 150 mm"` with both sides longer by `ratio`, to the next 10 mm.
fn enlarged(grille: &str, ratio: f64) -> Option<String> {
    use crate::quantity::{Dimension, parse};
    let sides: Vec<f64> = grille
        .split(['x', '×'])
        .filter_map(|side| parse(side.trim(), Dimension::Length).ok())
        .map(|m| (100.0 * m * ratio - 1e-9).ceil() * 10.0)
        .collect();
    match sides.as_slice() {
        [w, h] => Some(format!("{w:.0} mm x {h:.0} mm")),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grilles_grow_to_the_next_centimetre() {
        assert_eq!(
            enlarged("250 mm x 150 mm", 200.0 / 150.0).unwrap(),
            "340 mm x 200 mm"
        );
        assert_eq!(enlarged("half", 2.0), None);
    }

    #[test]
    fn every_way_at_either_end_is_a_scenario() {
        for name in [
            "family-house",
            "clinic-twelve-rooms",
            "small-zone-no-relief",
        ] {
            let case = Case::embedded(name).unwrap();
            let room = case.scenario.rooms[case.scenario.air.returns[0].room]
                .name
                .clone();
            let all = references(&case)
                .into_iter()
                .chain(reliefs(&case))
                .chain(reliefs_with_variable_speed(&case))
                .chain(dumps(&case, &room))
                .chain(instead(&case));
            for alternative in all {
                for strength in [0, alternative.strongest] {
                    let made = case.with(&alternative.key, &(alternative.edits)(strength));
                    assert!(
                        made.is_ok(),
                        "{name} {} {strength}: {made:?}",
                        alternative.key
                    );
                }
            }
        }
    }

    /// Half the speed of a fan with a fixed-speed drive is what the slower fan's curve must give: the
    /// affinity laws.
    #[test]
    fn the_slower_fan_is_the_same_fan_at_a_lower_speed() {
        let case = Case::embedded("small-zone-no-relief").unwrap();
        let slow = case
            .with("slow", &(Base::new(&case).slower_fan().edits)(30))
            .unwrap();
        let (fast, slow) = (&case.scenario.air, &slow.scenario.air);
        for q in [0.0, 0.1, 0.2, 0.3] {
            let expected = 0.49 * fast.fan.curve.pressure_pa(q / 0.7);
            let got = slow.fan.curve.pressure_pa(q);
            assert!((got - expected).abs() < 0.2, "{q}: {got} {expected}");
        }
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-6 * b.abs();
        assert!(near(fast.coil.b, slow.coil.b) && near(fast.filter.a, slow.filter.a));
    }
}
