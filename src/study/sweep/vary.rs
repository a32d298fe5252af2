//! `--vary key=a,b,c` and `--vary key=lo..hi/n`.

use serde::{Deserialize, Serialize};

use super::SweepError;
use crate::quantity::significant;
use crate::scenario::uncertainty::split_number;

/// A key with the values it takes in turn.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Varied {
    /// Path of the key.
    pub key: String,
    /// Its values as they would be written in the file.
    pub values: Vec<String>,
}

fn faulty(text: &str, what: &str) -> SweepError {
    SweepError::Argument {
        what: format!("--vary \"{text}\": {what}"),
        advice: "write --vary \"fan.flow=400 L/s,440 L/s\" or --vary \"relief.opening_pressure=60 Pa..90 Pa/4\""
            .into(),
    }
}

impl Varied {
    /// Reads the text behind `--vary`.
    ///
    /// # Errors
    /// No key, no value, a range whose ends are not numbers of one unit or whose count is below 2.
    pub fn parse(text: &str) -> Result<Varied, SweepError> {
        let (key, list) = text
            .split_once('=')
            .ok_or_else(|| faulty(text, "there is no `=`"))?;
        let (key, list) = (key.trim(), list.trim());
        if key.is_empty() {
            return Err(faulty(text, "there is no key before the `=`"));
        }
        let values = match list.split_once("..") {
            Some((low, rest)) => range(text, low, rest)?,
            None => parts(list),
        };
        if values.iter().any(String::is_empty) {
            return Err(faulty(text, "a value is empty"));
        }
        if let Some(twice) = values
            .iter()
            .enumerate()
            .find_map(|(i, v)| values[..i].contains(v).then_some(v))
        {
            return Err(faulty(text, &format!("{twice} is there twice")));
        }
        Ok(Varied {
            key: key.to_string(),
            values,
        })
    }

    /// The values as numbers, when all are numbers of one unit.
    pub fn numbers(&self) -> Option<Vec<f64>> {
        let split: Option<Vec<_>> = self.values.iter().map(|v| split_number(v)).collect();
        let split = split?;
        let unit = split.first()?.1;
        split
            .iter()
            .all(|s| s.1 == unit)
            .then(|| split.iter().map(|s| s.0).collect())
    }
}

fn range(text: &str, low: &str, rest: &str) -> Result<Vec<String>, SweepError> {
    // The unit may hold a stroke of its own (`L/s`), so the count is behind the last.
    let (high, count) = rest
        .rsplit_once('/')
        .ok_or_else(|| faulty(text, "a range needs the number of values behind a `/`"))?;
    let count: usize = count
        .trim()
        .parse()
        .ok()
        .filter(|n| (2..=10_000).contains(n))
        .ok_or_else(|| {
            faulty(
                text,
                "the number of values must be a whole one from 2 to 10000",
            )
        })?;
    let number = |end: &str| {
        split_number(end)
            .map(|(v, unit)| (v, unit.to_string()))
            .ok_or_else(|| faulty(text, "the ends of a range must be numbers"))
    };
    let ((low, low_unit), (high, unit)) = (number(low)?, number(high)?);
    if !low_unit.is_empty() && low_unit != unit {
        return Err(faulty(text, "the ends of a range must be in one unit"));
    }
    let value = |i: usize| {
        let share = i as f64 / (count - 1) as f64;
        let shown = significant(low * (1.0 - share) + high * share, 12);
        format!("{shown} {unit}").trim_end().to_string()
    };
    Ok((0..count).map(value).collect())
}

/// Parts a list at its commas, save those within quotes or brackets.
fn parts(list: &str) -> Vec<String> {
    let (mut out, mut now) = (Vec::new(), String::new());
    let (mut quoted, mut depth) = (None, 0i32);
    for c in list.chars() {
        match (c, quoted) {
            ('"' | '\'', None) => quoted = Some(c),
            (_, Some(q)) if c == q => quoted = None,
            ('[' | '{', None) => depth += 1,
            (']' | '}', None) => depth -= 1,
            (',', None) if depth <= 0 => {
                out.push(std::mem::take(&mut now).trim().to_string());
                continue;
            }
            _ => {}
        }
        now.push(c);
    }
    out.push(now.trim().to_string());
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(text: &str) -> Vec<String> {
        Varied::parse(text).unwrap().values
    }

    #[test]
    fn lists_and_ranges() {
        assert_eq!(values("a.b=0.3, 0.5"), ["0.3", "0.5"]);
        assert_eq!(
            values("unit.cooling_capacity=10 kW..14 kW/5"),
            ["10 kW", "11 kW", "12 kW", "13 kW", "14 kW"]
        );
        assert_eq!(
            values("fan.flow=400..440 L/s/3"),
            ["400 L/s", "420 L/s", "440 L/s"]
        );
        assert_eq!(values("a=0..0.3/4"), ["0", "0.1", "0.2", "0.3"]);
        assert_eq!(
            values("relief.kind=none,\"weighted blade\""),
            ["none", "\"weighted blade\""]
        );
        assert_eq!(values("zone.a.channels=[1, 2],[1]"), ["[1, 2]", "[1]"]);
        assert_eq!(values("zone.a.cooling=-1 °C..1 °C/2"), ["-1 °C", "1 °C"]);
    }

    #[test]
    fn faults_say_what_to_write() {
        for (text, what) in [
            ("fan.flow", "no `=`"),
            ("=3", "no key"),
            ("a=", "empty"),
            ("a=1,,2", "empty"),
            ("a=1,1", "twice"),
            ("a=1..2", "behind a `/`"),
            ("a=1..2/1", "from 2 to 10000"),
            ("a=1..x/3", "must be numbers"),
            ("a=1 K..2 Pa/3", "one unit"),
        ] {
            let fault = Varied::parse(text).unwrap_err().to_string();
            assert!(fault.contains(what), "{text}: {fault}");
        }
    }

    #[test]
    fn words_have_no_order() {
        let numbers = |t| Varied::parse(t).unwrap().numbers();
        assert_eq!(numbers("a=1 K,3 K"), Some(vec![1.0, 3.0]));
        assert_eq!(numbers("a=none,3 K"), None);
        assert_eq!(numbers("a=1 K,3 s"), None);
    }
}
