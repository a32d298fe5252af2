//! Small words that every text needs.

/// `1 limit`, `3 limits`.
pub(crate) fn count(n: usize, noun: &str) -> String {
    if n == 1 {
        format!("1 {noun}")
    } else {
        format!("{n} {noun}s")
    }
}

/// `a, b and c`.
pub(crate) fn listed<T: AsRef<str>>(items: &[T]) -> String {
    match items {
        [] => String::new(),
        [one] => one.as_ref().into(),
        [first @ .., last] => {
            let first: Vec<&str> = first.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", first.join(", "), last.as_ref())
        }
    }
}

/// Numbers in words, runs of neighbours joined: "0 to 4, 7 and 11 more".
pub(crate) fn numbers(numbers: &[usize]) -> String {
    const MOST: usize = 12;
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for &n in numbers {
        match runs.last_mut() {
            Some(last) if last.1 + 1 == n => last.1 = n,
            _ => runs.push((n, n)),
        }
    }
    let shown = runs.iter().take(MOST).map(|&(from, to)| match to - from {
        0 => from.to_string(),
        1 => format!("{from}, {to}"),
        _ => format!("{from} to {to}"),
    });
    let mut text = shown.collect::<Vec<_>>().join(", ");
    let left: usize = runs.iter().skip(MOST).map(|r| r.1 - r.0 + 1).sum();
    if left > 0 {
        text += &format!(" and {left} more");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_and_numbers_read_as_people_write_them() {
        assert_eq!(listed(&["a", "b", "c"]), "a, b and c");
        assert_eq!(listed(&["a"]), "a");
        assert_eq!(count(1, "set"), "1 set");
        assert_eq!(count(0, "set"), "0 sets");
        assert_eq!(numbers(&[0, 1, 2, 5, 7, 8]), "0 to 2, 5, 7, 8");
        let odd: Vec<usize> = (0..20).map(|i| 2 * i + 1).collect();
        assert!(numbers(&odd).ends_with("23 and 8 more"));
    }
}
