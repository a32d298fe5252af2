//! Times of day, dates and days of the week, as people write them.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime};

const DAYS: [&str; 7] = [
    "monday",
    "tuesday",
    "wednesday",
    "thursday",
    "friday",
    "saturday",
    "sunday",
];

/// Minutes after midnight of `"06:30"`; `"24:00"` is 1440.
pub(super) fn time_of_day(text: &str) -> Option<u32> {
    let mut parts = text.trim().split(':');
    let (hours, minutes) = (two_digits(parts.next()?)?, parts.next()?);
    if minutes.len() != 2 {
        return None;
    }
    let minutes = two_digits(minutes)?;
    // TOML's own times may carry seconds; whole minutes only.
    if let Some(seconds) = parts.next()
        && (two_digits(seconds)? != 0 || parts.next().is_some())
    {
        return None;
    }
    let total = hours * 60 + minutes;
    (minutes < 60 && total <= 1440).then_some(total)
}

fn two_digits(text: &str) -> Option<u32> {
    let ok = (1..=2).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    if ok { text.parse().ok() } else { None }
}

/// A date and time without an offset; a date alone is its midnight.
pub(super) fn datetime(text: &str) -> Option<NaiveDateTime> {
    let text = text.trim();
    if let Ok(date) = NaiveDate::parse_from_str(text, "%Y-%m-%d") {
        return Some(date.and_time(NaiveTime::MIN));
    }
    [
        "%Y-%m-%d %H:%M",
        "%Y-%m-%dT%H:%M",
        "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%dT%H:%M:%S",
    ]
    .iter()
    .find_map(|format| NaiveDateTime::parse_from_str(text, format).ok())
}

/// Days of the week as a mask, bit 0 Monday.
pub(super) fn weekdays(text: &str) -> Option<u8> {
    let text = text.trim().to_lowercase().replace(['–', '−', '—'], "-");
    match text.as_str() {
        "every day" | "all days" | "daily" => return Some(0b111_1111),
        "weekdays" => return Some(0b001_1111),
        "weekends" | "weekend" => return Some(0b110_0000),
        _ => {}
    }
    text.split(',').try_fold(0, |mask, part| {
        let days = match part.split_once('-') {
            None => 1 << day(part)?,
            Some((first, last)) => {
                let (first, last) = (day(first)?, day(last)?);
                // "fri-mon" runs over the end of the week.
                let length = (last + 7 - first) % 7;
                (0..=length).fold(0, |mask, step| mask | 1 << ((first + step) % 7))
            }
        };
        Some(mask | days)
    })
}

fn day(text: &str) -> Option<u8> {
    let text = text.trim();
    let index = DAYS
        .iter()
        .position(|name| text.len() >= 3 && name.starts_with(text))?;
    u8::try_from(index).ok()
}
