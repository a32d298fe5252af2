//! Ticks in local clock time, from minutes to weeks.

use chrono::{Datelike, NaiveDateTime, TimeDelta, Timelike};

/// One tick of the time axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Tick {
    /// Seconds since the start of the run.
    pub t_s: f64,
    /// Clock time, or a date when ticks are days apart.
    pub label: String,
    /// The date, on the first tick of a day when the axis spans more than one.
    pub date: Option<String>,
}

const MINUTE: i64 = 60;
const HOUR: i64 = 3600;
const DAY: i64 = 86_400;
const STEPS: [i64; 17] = [
    MINUTE,
    2 * MINUTE,
    5 * MINUTE,
    10 * MINUTE,
    15 * MINUTE,
    30 * MINUTE,
    HOUR,
    2 * HOUR,
    3 * HOUR,
    4 * HOUR,
    6 * HOUR,
    12 * HOUR,
    DAY,
    2 * DAY,
    7 * DAY,
    14 * DAY,
    28 * DAY,
];

/// Local clock time `t_s` seconds after `start`, to the nearest second.
pub(crate) fn clock(start: NaiveDateTime, t_s: f64) -> NaiveDateTime {
    if !t_s.is_finite() {
        return start;
    }
    TimeDelta::try_seconds(t_s.round() as i64)
        .and_then(|delta| start.checked_add_signed(delta))
        .unwrap_or(start)
}

/// "14:05", with the day before it when the span is longer than a day.
pub(crate) fn clock_text(start: NaiveDateTime, t_s: f64, with_day: bool) -> String {
    let format = if with_day { "%a %H:%M" } else { "%H:%M" };
    clock(start, t_s).format(format).to_string()
}

/// "Tue 14 July 2026, 00:00 to 24:00", or both dates when there are two.
pub(crate) fn span_text(start: NaiveDateTime, t0_s: f64, t1_s: f64) -> String {
    let (from, to) = (clock(start, t0_s), clock(start, t1_s));
    let midnight = to.num_seconds_from_midnight() == 0 && to > from;
    let last_day = if midnight {
        (to - TimeDelta::seconds(1)).date()
    } else {
        to.date()
    };
    let until = if midnight {
        "24:00".to_owned()
    } else {
        to.format("%H:%M").to_string()
    };
    if from.date() == last_day {
        format!(
            "{}, {} to {until}",
            from.format("%a %-d %B %Y"),
            from.format("%H:%M")
        )
    } else {
        format!(
            "{} to {} {until}",
            from.format("%a %-d %b %H:%M"),
            last_day.format("%a %-d %b %Y")
        )
    }
}

/// Ticks between `t0_s` and `t1_s` for an axis `width_px` long, on round clock times and at
/// least `gap_px` apart.
pub(crate) fn ticks(
    start: NaiveDateTime,
    (t0_s, t1_s): (f64, f64),
    width_px: f64,
    gap_px: f64,
) -> Vec<Tick> {
    let span = t1_s - t0_s;
    if !(span > 0.0 && span.is_finite() && width_px > 0.0) {
        return Vec::new();
    }
    let least = span * gap_px / width_px;
    let step = STEPS
        .iter()
        .copied()
        .find(|&s| s as f64 >= least)
        .unwrap_or_else(|| {
            let weeks = (least / (28 * DAY) as f64).ceil() as i64;
            weeks * 28 * DAY
        });
    let midnight = i64::from(start.num_seconds_from_midnight());
    let last = (t1_s.floor() as i64).saturating_add(midnight);
    let mut at = ((t0_s.ceil() as i64).saturating_add(midnight)).div_euclid(step) * step;
    let first_day = clock(start, t0_s).date();
    let many_days = clock(start, t1_s - 1.0).date() != first_day;
    let mut dated = None;
    let mut ticks = Vec::new();
    while at <= last {
        let t_s = (at - midnight) as f64;
        if t_s >= t0_s {
            let time = clock(start, t_s);
            if step >= DAY {
                ticks.push(Tick {
                    t_s,
                    label: time.format("%a %-d %b").to_string(),
                    date: None,
                });
            } else {
                let end_of_run = at == last && time.num_seconds_from_midnight() == 0;
                let new_day = dated != Some(time.ordinal()) && !end_of_run;
                let date = (many_days && new_day).then(|| time.format("%a %-d %b").to_string());
                dated = Some(time.ordinal());
                let label = if end_of_run && t_s > 0.0 {
                    "24:00".to_owned()
                } else {
                    time.format("%H:%M").to_string()
                };
                ticks.push(Tick { t_s, label, date });
            }
        }
        at += step;
    }
    ticks
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    fn at(day: u32, hour: u32, minute: u32) -> NaiveDateTime {
        NaiveDate::from_ymd_opt(2026, 7, day)
            .unwrap()
            .and_hms_opt(hour, minute, 0)
            .unwrap()
    }

    fn labels(ticks: &[Tick]) -> Vec<&str> {
        ticks.iter().map(|t| t.label.as_str()).collect()
    }

    #[test]
    fn a_day_has_round_hours_and_ends_at_24() {
        let ticks = ticks(at(14, 0, 0), (0.0, 86_400.0), 900.0, 70.0);
        let expected = [
            "00:00", "02:00", "04:00", "06:00", "08:00", "10:00", "12:00", "14:00", "16:00",
        ];
        assert_eq!(labels(&ticks)[..9], expected);
        assert_eq!(ticks.last().unwrap().label, "24:00");
        assert!(ticks.iter().all(|t| t.date.is_none()));
    }

    #[test]
    fn a_start_off_the_hour_still_ticks_on_the_hour() {
        let ticks = ticks(at(14, 6, 50), (0.0, 7200.0), 900.0, 100.0);
        assert_eq!(
            labels(&ticks),
            [
                "07:00", "07:15", "07:30", "07:45", "08:00", "08:15", "08:30", "08:45"
            ]
        );
        assert_eq!(ticks[0].t_s, 600.0);
    }

    #[test]
    fn some_days_show_dates_once_each() {
        let ticks = ticks(at(14, 12, 0), (0.0, 2.0 * 86_400.0), 900.0, 100.0);
        let dates: Vec<_> = ticks.iter().filter_map(|t| t.date.as_deref()).collect();
        assert_eq!(dates, ["Tue 14 Jul", "Wed 15 Jul", "Thu 16 Jul"]);
    }

    #[test]
    fn weeks_show_dates_alone() {
        let ticks = ticks(at(1, 0, 0), (0.0, 21.0 * 86_400.0), 900.0, 80.0);
        assert_eq!(labels(&ticks)[..2], ["Wed 1 Jul", "Fri 3 Jul"]);
    }

    #[test]
    fn spans_read_plainly() {
        assert_eq!(
            span_text(at(14, 0, 0), 0.0, 86_400.0),
            "Tue 14 July 2026, 00:00 to 24:00"
        );
        assert_eq!(
            span_text(at(14, 6, 0), 0.0, 86_400.0),
            "Tue 14 Jul 06:00 to Wed 15 Jul 2026 06:00"
        );
    }

    #[test]
    fn nothing_to_span_gives_no_ticks() {
        assert!(ticks(at(14, 0, 0), (0.0, 0.0), 900.0, 80.0).is_empty());
        assert!(ticks(at(14, 0, 0), (0.0, f64::NAN), 900.0, 80.0).is_empty());
    }
}
