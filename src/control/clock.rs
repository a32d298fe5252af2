//! Local clock time from a start instant and the seconds simulated since.

use chrono::{Datelike, Duration, NaiveDateTime, Timelike, Weekday};

/// Minutes in a week: the range of [`Clock::minute_of_week`].
pub(crate) const MINUTES_PER_WEEK: u16 = 7 * MINUTES_PER_DAY;
/// Minutes in a day.
pub(crate) const MINUTES_PER_DAY: u16 = 1440;

const MS_PER_MINUTE: i64 = 60_000;
const MS_PER_WEEK: i64 = MINUTES_PER_WEEK as i64 * MS_PER_MINUTE;

/// The origin of simulated time. Local clock, without daylight-saving shifts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Calendar {
    start: NaiveDateTime,
    start_ms_of_week: i64,
}

impl Calendar {
    /// A calendar whose `t_s = 0` is `start`, in local clock time.
    pub fn new(start: NaiveDateTime) -> Self {
        let minutes = i64::from(start.weekday().num_days_from_monday())
            * i64::from(MINUTES_PER_DAY)
            + i64::from(start.hour()) * 60
            + i64::from(start.minute());
        // A leap second reads as 1000 ms or more here; the modulo in `clock` absorbs it.
        let ms = minutes * MS_PER_MINUTE
            + i64::from(start.second()) * 1000
            + i64::from(start.nanosecond() / 1_000_000);
        Self {
            start,
            start_ms_of_week: ms,
        }
    }

    /// The clock at `t_s` seconds after the start (negative is allowed), to the nearest
    /// millisecond so that sums of time steps fall on the minute they stand for.
    pub fn clock(&self, t_s: f64) -> Clock {
        // The cast saturates, and a NaN becomes 0: no panic whatever the input.
        // Rounded by adding a half: a call to `round` would cost more than all the rest.
        let since_ms = (t_s * 1000.0 + 0.5_f64.copysign(t_s)) as i64;
        let ms = self
            .start_ms_of_week
            .saturating_add(since_ms)
            .rem_euclid(MS_PER_WEEK);
        let minute_of_week = (ms / MS_PER_MINUTE) as u16;
        Clock {
            t_s,
            minute_of_week,
            ms_of_minute: (ms % MS_PER_MINUTE) as u16,
        }
    }

    /// The date and time at `t_s` seconds after the start; `None` beyond the range of the
    /// calendar.
    pub fn date_time(&self, t_s: f64) -> Option<NaiveDateTime> {
        let since = Duration::try_milliseconds((t_s * 1000.0).round() as i64)?;
        self.start.checked_add_signed(since)
    }
}

/// What the controller knows of time at one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clock {
    /// Seconds since the start of the run.
    pub t_s: f64,
    /// Whole minutes since Monday 00:00 local, 0 to 10 079.
    pub minute_of_week: u16,
    /// Milliseconds into that minute.
    ms_of_minute: u16,
}

impl Clock {
    /// Seconds into the minute, 0 to below 60.
    pub fn second_of_minute(&self) -> f64 {
        f64::from(self.ms_of_minute) / 1000.0
    }

    /// Day of the week.
    pub fn weekday(&self) -> Weekday {
        weekday_of(self.minute_of_week)
    }

    /// Minutes since local midnight, 0 to 1439.
    pub fn minute_of_day(&self) -> u16 {
        self.minute_of_week % MINUTES_PER_DAY
    }
}

/// Day of the week of a minute of the week.
pub(crate) fn weekday_of(minute_of_week: u16) -> Weekday {
    const DAYS: [Weekday; 7] = [
        Weekday::Mon,
        Weekday::Tue,
        Weekday::Wed,
        Weekday::Thu,
        Weekday::Fri,
        Weekday::Sat,
        Weekday::Sun,
    ];
    DAYS[usize::from(minute_of_week / MINUTES_PER_DAY) % 7]
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    fn calendar(y: i32, m: u32, d: u32, h: u32, min: u32, s: u32) -> Calendar {
        Calendar::new(
            NaiveDate::from_ymd_opt(y, m, d)
                .unwrap()
                .and_hms_opt(h, min, s)
                .unwrap(),
        )
    }

    #[test]
    fn agrees_with_chrono_over_a_fortnight() {
        // 31 December 2026 is a Thursday.
        let cal = calendar(2026, 12, 31, 23, 58, 30);
        for k in 0..20_000 {
            let t = f64::from(k) * 61.0;
            let c = cal.clock(t);
            let d = cal.date_time(t).unwrap();
            assert_eq!(c.weekday(), d.weekday());
            assert_eq!(u32::from(c.minute_of_day()), d.hour() * 60 + d.minute());
            assert_eq!(c.second_of_minute(), f64::from(d.second()));
        }
    }

    #[test]
    fn summed_steps_fall_on_their_minute() {
        let cal = calendar(2026, 1, 5, 0, 0, 0);
        let mut t = 0.0;
        for _ in 0..200 {
            t += 0.3;
        }
        assert!(t < 60.0, "the sum falls short of a minute: {t}");
        assert_eq!(cal.clock(t).minute_of_week, 1);
    }

    #[test]
    fn wild_times_do_not_panic() {
        let cal = calendar(2026, 1, 5, 0, 0, 0);
        for t in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, 1e300] {
            assert!(cal.clock(t).minute_of_week < MINUTES_PER_WEEK);
            let _ = cal.date_time(t);
        }
        assert_eq!(cal.clock(-1.0).weekday(), Weekday::Sun);
    }
}
