//! Weekly schedule: when a zone is in use, and at which setpoints.

use std::fmt;

use chrono::Weekday;
use thiserror::Error;

use super::clock::{MINUTES_PER_DAY, MINUTES_PER_WEEK, weekday_of};
use super::mode::Mode;

/// A pair of setpoints, °C. A zone cools above the one and heats below the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setpoints {
    /// Cooling setpoint, °C.
    pub cooling_c: f64,
    /// Heating setpoint, °C; below the cooling setpoint.
    pub heating_c: f64,
}

impl Setpoints {
    /// Both setpoints shifted by `shift_k`.
    pub fn shifted(self, shift_k: f64) -> Self {
        Self {
            cooling_c: self.cooling_c + shift_k,
            heating_c: self.heating_c + shift_k,
        }
    }

    /// The one of a mode, °C.
    #[inline]
    pub fn of(self, mode: Mode) -> f64 {
        match mode {
            Mode::Cooling => self.cooling_c,
            Mode::Heating => self.heating_c,
        }
    }

    /// Distance between the two, K.
    pub fn gap_k(self) -> f64 {
        self.cooling_c - self.heating_c
    }
}

/// A set of weekdays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Days(u8);

impl Days {
    /// Every day of the week.
    pub const ALL: Self = Self(0b111_1111);
    /// Monday to Friday.
    pub const WORKDAYS: Self = Self(0b001_1111);
    /// Saturday and Sunday.
    pub const WEEKEND: Self = Self(0b110_0000);

    /// The set of the given days.
    pub fn of(days: &[Weekday]) -> Self {
        Self(
            days.iter()
                .fold(0, |mask, d| mask | 1 << d.num_days_from_monday()),
        )
    }

    /// Whether the set holds `day`.
    pub fn contains(self, day: Weekday) -> bool {
        self.0 & (1 << day.num_days_from_monday()) != 0
    }

    /// Whether the set holds no day.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }
}

/// One scheduled period: half-open `[from, to)` in minutes of the day, starting on each of `days`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Period {
    /// Days on which the period starts.
    pub days: Days,
    /// First minute of the period, 0 to 1439.
    pub from_min: u16,
    /// First minute after the period, 1 to 1440. At or below `from_min` the period crosses midnight
    /// into the next day; equal to it is an error.
    pub to_min: u16,
    /// Setpoints in the period.
    pub setpoints: Setpoints,
}

impl Period {
    /// Length, minutes.
    fn length_min(&self) -> u16 {
        if self.to_min > self.from_min {
            self.to_min - self.from_min
        } else {
            MINUTES_PER_DAY - self.from_min + self.to_min
        }
    }

    /// The minutes of the week at which the period starts.
    fn starts(&self) -> impl Iterator<Item = u16> {
        let (days, from) = (self.days, self.from_min);
        (0..7)
            .map(move |d| d * MINUTES_PER_DAY + from)
            .filter(move |&m| days.contains(weekday_of(m)))
    }
}

impl fmt::Display for Period {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let clock = |m: u16| format!("{:02}:{:02}", m / 60, m % 60);
        let mut first = true;
        for day in 0..7 {
            let day = weekday_of(day * MINUTES_PER_DAY);
            if self.days.contains(day) {
                write!(f, "{}{day}", if first { "" } else { "," })?;
                first = false;
            }
        }
        write!(f, " {} to {}", clock(self.from_min), clock(self.to_min))
    }
}

/// What can be wrong in a timetable. Periods are numbered from 1, in the order given.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum TimetableError {
    /// Times outside the day, or no length.
    #[error(
        "period {period}: from {from_min} to {to_min} minutes is not a period; write a start of 00:00 \
         to 23:59 and another end, up to 24:00 (all day is 00:00 to 24:00)"
    )]
    Times {
        /// The period.
        period: usize,
        /// Its start, minutes.
        from_min: u16,
        /// Its end, minutes.
        to_min: u16,
    },
    /// No day in the period.
    #[error("period {period} falls on no day; name at least one")]
    NoDays {
        /// The period.
        period: usize,
    },
    /// Two periods claim the same minute.
    #[error(
        "period {first} ({first_text}) and period {second} ({second_text}) overlap on {weekday} at \
         {clock}; end one where the other begins"
    )]
    Overlap {
        /// The earlier period in the list.
        first: usize,
        /// The later period in the list.
        second: usize,
        /// The earlier period, written out.
        first_text: String,
        /// The later period, written out.
        second_text: String,
        /// Day of the first shared minute.
        weekday: Weekday,
        /// Clock time of the first shared minute.
        clock: String,
    },
    /// More periods than the table can number.
    #[error("{0} periods in one timetable; at most 250 are possible")]
    TooMany(usize),
}

const NONE: u8 = u8::MAX;

/// The week of one zone: its periods, and which of them is in force at each minute.
#[derive(Debug, Clone, PartialEq)]
pub struct Timetable {
    periods: Vec<Period>,
    /// Index of the period in force at each minute of the week, `NONE` outside every period.
    in_force: Vec<u8>,
    /// Minutes of the week at which some period starts, with its index, sorted.
    starts: Vec<(u16, u8)>,
}

impl Timetable {
    /// Checks the periods and builds the table.
    ///
    /// # Errors
    /// A period without length or day, or two periods that share a minute: overlap is refused, and
    /// both periods are named.
    pub fn new(periods: Vec<Period>) -> Result<Self, TimetableError> {
        if periods.len() > 250 {
            return Err(TimetableError::TooMany(periods.len()));
        }
        let mut in_force = vec![NONE; usize::from(MINUTES_PER_WEEK)];
        let mut starts = Vec::new();
        for (i, period) in periods.iter().enumerate() {
            let Period {
                days,
                from_min,
                to_min,
                ..
            } = *period;
            if from_min >= MINUTES_PER_DAY
                || to_min > MINUTES_PER_DAY
                || from_min == to_min
                || (to_min == 0 && from_min == 0)
            {
                return Err(TimetableError::Times {
                    period: i + 1,
                    from_min,
                    to_min,
                });
            }
            if days.is_empty() {
                return Err(TimetableError::NoDays { period: i + 1 });
            }
            for start in period.starts() {
                starts.push((start, i as u8));
                for m in start..start + period.length_min() {
                    let minute = m % MINUTES_PER_WEEK;
                    let slot = &mut in_force[usize::from(minute)];
                    if *slot != NONE {
                        let other = usize::from(*slot);
                        return Err(TimetableError::Overlap {
                            first: other + 1,
                            second: i + 1,
                            first_text: periods[other].to_string(),
                            second_text: period.to_string(),
                            weekday: weekday_of(minute),
                            clock: format!("{:02}:{:02}", minute % 1440 / 60, minute % 60),
                        });
                    }
                    *slot = i as u8;
                }
            }
        }
        starts.sort_unstable();
        Ok(Self {
            periods,
            in_force,
            starts,
        })
    }

    /// One period, all week, at fixed setpoints.
    pub fn always(setpoints: Setpoints) -> Self {
        Self {
            periods: vec![Period {
                days: Days::ALL,
                from_min: 0,
                to_min: MINUTES_PER_DAY,
                setpoints,
            }],
            in_force: vec![0; usize::from(MINUTES_PER_WEEK)],
            starts: (0..7).map(|d| (d * MINUTES_PER_DAY, 0)).collect(),
        }
    }

    /// The periods, in the order given.
    pub fn periods(&self) -> &[Period] {
        &self.periods
    }

    /// Index of the period in force at a minute of the week; `None` outside every period.
    pub fn period_at(&self, minute_of_week: u16) -> Option<usize> {
        match self.in_force.get(usize::from(minute_of_week)) {
            Some(&i) if i != NONE => Some(usize::from(i)),
            _ => None,
        }
    }

    /// The next period to start strictly after a minute of the week, and the whole minutes until
    /// then (1 to 10 080). `None` when there is no period at all.
    pub fn next_start(&self, minute_of_week: u16) -> Option<(u16, usize)> {
        let after = self.starts.partition_point(|&(m, _)| m <= minute_of_week);
        let (minute, period, lap) = match self.starts.get(after) {
            Some(&(m, b)) => (m, b, 0),
            None => {
                let &(m, b) = self.starts.first()?;
                (m, b, MINUTES_PER_WEEK)
            }
        };
        Some((minute + lap - minute_of_week, usize::from(period)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SET: Setpoints = Setpoints {
        cooling_c: 24.0,
        heating_c: 20.0,
    };

    fn period(days: Days, from_min: u16, to_min: u16) -> Period {
        Period {
            days,
            from_min,
            to_min,
            setpoints: SET,
        }
    }

    #[test]
    fn edges_are_half_open() {
        let t = Timetable::new(vec![period(Days::ALL, 420, 1320)]).unwrap();
        assert_eq!(t.period_at(419), None);
        assert_eq!(t.period_at(420), Some(0));
        assert_eq!(t.period_at(1319), Some(0));
        assert_eq!(t.period_at(1320), None);
    }

    #[test]
    fn crosses_midnight_and_the_end_of_the_week() {
        let t = Timetable::new(vec![period(Days::of(&[Weekday::Sun]), 1320, 360)]).unwrap();
        assert_eq!(t.period_at(6 * 1440 + 1319), None);
        assert_eq!(t.period_at(6 * 1440 + 1320), Some(0));
        assert_eq!(t.period_at(10_079), Some(0));
        assert_eq!(t.period_at(0), Some(0));
        assert_eq!(t.period_at(359), Some(0));
        assert_eq!(t.period_at(360), None);
    }

    #[test]
    fn touching_bands_are_allowed_and_overlap_names_both() {
        let ok = vec![period(Days::ALL, 0, 720), period(Days::ALL, 720, 1440)];
        let t = Timetable::new(ok).unwrap();
        assert!((0..10_080).all(|m| t.period_at(m) == Some(usize::from(m % 1440 >= 720))));
        let bad = vec![
            period(Days::WORKDAYS, 420, 1320),
            period(Days::WEEKEND, 480, 600),
            period(Days::of(&[Weekday::Wed]), 1319, 1400),
        ];
        let message = Timetable::new(bad).unwrap_err().to_string();
        assert!(
            message.contains("period 1 (Mon,Tue,Wed,Thu,Fri 07:00 to 22:00)"),
            "{message}"
        );
        assert!(
            message.contains("period 3 (Wed 21:59 to 23:20)"),
            "{message}"
        );
        assert!(message.contains("Wed at 21:59"), "{message}");
    }

    #[test]
    fn rejects_bands_without_length_or_day() {
        for (from, to) in [(0, 0), (600, 600), (1440, 10), (0, 1441)] {
            let e = Timetable::new(vec![period(Days::ALL, from, to)]).unwrap_err();
            assert!(matches!(e, TimetableError::Times { period: 1, .. }), "{e}");
        }
        let e = Timetable::new(vec![period(Days::of(&[]), 0, 10)]).unwrap_err();
        assert_eq!(e, TimetableError::NoDays { period: 1 });
    }

    #[test]
    fn next_start_wraps_the_week() {
        let t = Timetable::new(vec![
            period(Days::of(&[Weekday::Mon]), 420, 600),
            period(Days::of(&[Weekday::Thu]), 480, 600),
        ])
        .unwrap();
        assert_eq!(t.next_start(0), Some((420, 0)));
        assert_eq!(t.next_start(419), Some((1, 0)));
        assert_eq!(t.next_start(420), Some((3 * 1440 + 60, 1)));
        assert_eq!(t.next_start(10_079), Some((421, 0)));
        assert_eq!(Timetable::new(vec![]).unwrap().next_start(5), None);
    }
}
