//! `[[action]]`: what a person changes during the run.

use super::find_zone;
use crate::control::{Action, Hold, Mode};
use crate::scenario::diagnostic::Diagnostic;
use crate::scenario::reader::{Name, Section};
use crate::scenario::site::RunSpec;
use chrono::Timelike;

pub(in crate::scenario) const SWITCH: [(&str, bool); 2] = [("on", true), ("off", false)];

pub(in crate::scenario) const ACTION_MODES: [(&str, Option<Mode>); 3] = [
    ("cooling", Some(Mode::Cooling)),
    ("heating", Some(Mode::Heating)),
    ("by rule", None),
];

type Timed = (f64, Action, String);

pub(super) fn actions(
    top: &Section<'_>,
    zones: &[Name],
    run: &RunSpec,
) -> Result<Vec<Timed>, Diagnostic> {
    let sections = top.list("action");
    let mut actions = Diagnostic::gather(sections.iter().map(|a| action(a, zones, run)))?;
    actions.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(actions)
}

fn action(a: &Section<'_>, zones: &[Name], run: &RunSpec) -> Result<Timed, Diagnostic> {
    let at_s = time_s(a, run)?;
    let hold = a.opt("for")?.map_or(Hold::NextEdge, Hold::For);
    let zone: Option<Name> = a.opt("zone")?;
    let index = zone
        .as_ref()
        .map(|name| find_zone(name, zones))
        .transpose()?;
    let change: Option<f64> = a.opt("setpoint_change")?;
    let switch = a.choice_opt("switch", &SWITCH)?;
    let mode = a.choice_opt("mode", &ACTION_MODES)?;
    let clear = a.opt("clear_lock_out")?.unwrap_or(false);
    let who = zone.as_ref().map_or("system", Name::as_str);
    let (action, words) = match (index, change, switch, mode, clear) {
        (Some(zone), Some(change_k), None, None, false) => (
            Action::ZoneSetpoint {
                zone,
                change_k,
                hold,
            },
            format!("setpoint of {who} moved by {change_k:+.1} K"),
        ),
        (Some(zone), None, Some(true), None, false) => {
            (Action::ZoneOn { zone, hold }, format!("{who} switched on"))
        }
        (Some(zone), None, Some(false), None, false) => (
            Action::ZoneOff { zone, hold },
            format!("{who} switched off"),
        ),
        (None, None, Some(true), None, false) => {
            (Action::SystemOn, "whole system switched on".to_string())
        }
        (None, None, Some(false), None, false) => {
            (Action::SystemOff, "whole system switched off".to_string())
        }
        (None, None, None, Some(mode), false) => (
            Action::Mode(mode),
            mode.map_or("mode given back to the rule".to_string(), |m| {
                format!("mode set to {}", m.name())
            }),
        ),
        (None, None, None, None, true) => (Action::ClearLockOut, "lock-outs cleared".to_string()),
        _ => {
            return Err(a.error(
                "this action does not say one thing",
                "write one of: zone with setpoint_change = \"-1 K\" or switch = \"off\"; \
                 switch = \"off\" alone for the whole system; mode = \"heating\"; \
                 clear_lock_out = true",
            ));
        }
    };
    Ok((at_s, action, words))
}

/// `at` as a time of day on the first day that has it, or `after` the start.
fn time_s(a: &Section<'_>, run: &RunSpec) -> Result<f64, Diagnostic> {
    let ends = |key: &str, what: &str| {
        Err(a.error_at(
            key,
            what,
            "choose a time within the run, or lengthen [run] duration",
        ))
    };
    if let Some(after_s) = a.opt("after")? {
        if after_s > run.duration_s {
            return ends("after", "the run ends before that");
        }
        return Ok(after_s);
    }
    let minute: u32 = a.get("at")?;
    let begun = run.start.num_seconds_from_midnight();
    let t_s = (i64::from(minute) * 60 - i64::from(begun)).rem_euclid(86_400) as f64;
    if t_s > run.duration_s {
        return ends("at", "the run ends before this time of day comes");
    }
    Ok(t_s)
}
