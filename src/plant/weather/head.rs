//! The comment lines of our own weather file: place, clock, and what the values mean.

use super::Site;
use super::cells::nearest;
use super::error::{Place, WeatherError};

const KEYS: [&str; 7] = [
    "lat_deg",
    "lon_deg_east",
    "alt_m",
    "tz_offset_h",
    "averaging",
    "source",
    "licence",
];

/// What the comment lines say.
pub(super) struct Head {
    pub(super) site: Site,
    /// Whether values are means over their interval rather than momentary.
    pub(super) mean: bool,
}

impl Head {
    /// Reads the comment lines above the column names.
    pub(super) fn parse(text: &str, file: &str) -> Result<Self, WeatherError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut found: [Option<(u64, &str)>; KEYS.len()] = [None; KEYS.len()];
        let mut number = 0;
        for line in text.lines() {
            number += 1;
            let Some(comment) = line.strip_prefix('#') else {
                if line.trim().is_empty() {
                    continue;
                }
                break;
            };
            let Some((key, value)) = comment.split_once(':') else {
                continue;
            };
            let (key, value) = (key.trim(), value.trim());
            let wrong = |found: String, advice: String| {
                let at = Place {
                    file: file.to_owned(),
                    line: number,
                };
                Err(WeatherError::Header { at, found, advice })
            };
            match KEYS.iter().position(|k| *k == key) {
                Some(k) if found[k].is_some() => {
                    return wrong(format!("`{key}` again"), "give it once".into());
                }
                Some(k) => found[k] = Some((number, value)),
                None => {
                    // Anything else with a colon is a remark, unless it looks like a slip.
                    if let Some(near) = nearest(key, &KEYS) {
                        return wrong(format!("`{key}`"), format!("did you mean `{near}`?"));
                    }
                }
            }
        }
        let at = |line: u64| Place {
            file: file.to_owned(),
            line,
        };
        let need = |k: usize, example: &str| {
            found[k].ok_or_else(|| WeatherError::Header {
                at: at(number.max(1)),
                found: format!("no `# {}:` line above the column names", KEYS[k]),
                advice: format!("add `# {}: {example}`", KEYS[k]),
            })
        };
        let number_of = |k: usize, (line, value): (u64, &str), example: &str| {
            value
                .parse::<f64>()
                .ok()
                .filter(|v| v.is_finite())
                .ok_or_else(|| WeatherError::Header {
                    at: at(line),
                    found: format!("`{value}` for `{}`", KEYS[k]),
                    advice: format!("write a plain number, such as {example}"),
                })
        };
        let latitude = number_of(0, need(0, "-33.87")?, "-33.87")?;
        let longitude = number_of(1, need(1, "151.21")?, "151.21")?;
        let altitude = found[2].map_or(Ok(0.0), |f| number_of(2, f, "39"))?;
        let offset_h = number_of(3, need(3, "10")?, "10 or -5 or 9.5")?;
        let (averaging_line, averaging) = need(4, "mean_of_interval")?;
        let mean = match averaging {
            "mean_of_interval" => true,
            "instant" => false,
            other => {
                return Err(WeatherError::Header {
                    at: at(averaging_line),
                    found: format!("`{other}` for `averaging`"),
                    advice: "write `instant` or `mean_of_interval`".into(),
                });
            }
        };
        let site = Site::new(
            latitude,
            longitude,
            altitude,
            (offset_h * 3600.0).round() as i32,
        )
        .map_err(|error| site_error(error, &at, &found))?;
        Ok(Self { site, mean })
    }
}

/// Turns a refused site setting into a message about the line that gave it.
fn site_error(
    error: WeatherError,
    at: &dyn Fn(u64) -> Place,
    found: &[Option<(u64, &str)>; KEYS.len()],
) -> WeatherError {
    let WeatherError::Setting {
        what,
        found: value,
        advice,
    } = error
    else {
        return error;
    };
    let key = match what {
        "latitude" => 0,
        "longitude" => 1,
        "altitude" => 2,
        _ => 3,
    };
    let line = found[key].map_or(1, |(line, _)| line);
    WeatherError::Header {
        at: at(line),
        found: format!("{what} {value}"),
        advice,
    }
}
