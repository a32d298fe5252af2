//! From columns to what is drawn: fewer points, spans of time, ranges.

/// A line in pieces of `(s, shown unit)`, parted where values are missing.
pub(crate) type Pieces = Vec<Vec<(f64, f64)>>;

/// Spans of time, s.
pub(crate) type Spans = Vec<(f64, f64)>;

/// A column as a line. Gaps of NaN part it into pieces.
pub(crate) fn pieces(t: &[f64], y: &[f64]) -> Pieces {
    let points: Vec<(f64, f64)> = t.iter().copied().zip(y.iter().copied()).collect();
    let parts = points.split(|(t, y)| !(t.is_finite() && y.is_finite()));
    parts.filter(|p| !p.is_empty()).map(<[_]>::to_vec).collect()
}

/// Of each run of points within `cell` px of breadth, the first, lowest, highest and last in their order:
/// all that can be seen of them (U. Jugel et al., "M4", VLDB 2014).
pub(crate) fn thinned(points: &[(f64, f64)], cell: f64) -> Vec<(f64, f64)> {
    let of = |p: &(f64, f64)| (p.0 / cell).floor();
    let mut kept = Vec::new();
    for run in points.chunk_by(|a, b| of(a) == of(b)) {
        let by = |a: &usize, b: &usize| run[*a].1.total_cmp(&run[*b].1);
        let ends = |i: Option<usize>| i.unwrap_or_default();
        let (low, high) = (
            ends((0..run.len()).min_by(by)),
            ends((0..run.len()).max_by(by)),
        );
        let mut rows = [0, low.min(high), low.max(high), run.len() - 1].to_vec();
        rows.dedup();
        kept.extend(rows.into_iter().map(|i| run[i]));
    }
    kept
}

/// Turns a line through samples into one that holds each value until the next. Of samples that
/// stay at one value, only the first and last are kept.
pub(crate) fn held(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut steps: Vec<(f64, f64)> = Vec::with_capacity(points.len() * 2);
    for &(t, y) in points {
        if let Some(&(_, before)) = steps.last()
            && before != y
        {
            steps.push((t, before));
        }
        if let [.., a, b] = steps.as_mut_slice()
            && a.1 == y
            && b.1 == y
        {
            b.0 = t;
        } else {
            steps.push((t, y));
        }
    }
    steps
}

/// Spans of time during which `holds` is true of the rows; a row lasts until the next.
pub(crate) fn spans(t: &[f64], holds: impl Fn(usize) -> bool) -> Spans {
    let mut spans = Vec::new();
    let mut since = None;
    for (i, &now) in t.iter().enumerate() {
        match (holds(i), since) {
            (true, None) => since = Some(now),
            (false, Some(from)) => {
                spans.push((from, now));
                since = None;
            }
            _ => {}
        }
    }
    if let (Some(from), Some(&end)) = (since, t.last())
        && end > from
    {
        spans.push((from, end));
    }
    spans
}

/// Joins spans less than `gap` apart.
pub(crate) fn joined(spans: &[(f64, f64)], gap: f64) -> Spans {
    let mut out: Spans = Vec::with_capacity(spans.len());
    for &(from, to) in spans {
        match out.last_mut() {
            Some(last) if from - last.1 < gap => last.1 = to,
            _ => out.push((from, to)),
        }
    }
    out
}

/// Lowest and highest finite value.
pub(crate) fn range<'a>(values: impl IntoIterator<Item = &'a f64>) -> Option<(f64, f64)> {
    values
        .into_iter()
        .filter(|v| v.is_finite())
        .fold(None, |range, &v| match range {
            None => Some((v, v)),
            Some((low, high)) => Some((low.min(v), high.max(v))),
        })
}

/// The smallest range that covers both.
pub(crate) fn cover(a: Option<(f64, f64)>, b: Option<(f64, f64)>) -> Option<(f64, f64)> {
    match (a, b) {
        (Some(a), Some(b)) => Some((a.0.min(b.0), a.1.max(b.1))),
        (a, b) => a.or(b),
    }
}

/// Places labels of height `gap` as near as may be to where they want to be, within `low` to
/// `high`, none over another. Answers in the order asked.
pub(crate) fn spread(wanted: &[f64], gap: f64, (low, high): (f64, f64)) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|&a, &b| wanted[a].total_cmp(&wanted[b]));
    // Labels that would collide share a block, centred on the mean of what they want.
    let mut blocks: Vec<(f64, usize)> = Vec::new();
    let room = |count: usize| (high - low - gap * (count as f64 - 1.0)).max(0.0);
    let place = |mean: f64, count: usize| {
        let half = gap * (count as f64 - 1.0) / 2.0;
        mean.clamp(low + half, low + half + room(count))
    };
    for &i in &order {
        let mut block = (place(wanted[i], 1), 1);
        while let Some(&(mean, count)) = blocks.last() {
            let apart = gap * (count + block.1) as f64 / 2.0;
            if block.0 - mean >= apart {
                break;
            }
            blocks.pop();
            let total = count + block.1;
            let sum = mean * count as f64 + block.0 * block.1 as f64;
            block = (place(sum / total as f64, total), total);
        }
        blocks.push(block);
    }
    let mut placed = vec![0.0; wanted.len()];
    let mut next = order.iter();
    for (mean, count) in blocks {
        let first = mean - gap * (count as f64 - 1.0) / 2.0;
        for (k, &i) in next.by_ref().take(count).enumerate() {
            placed[i] = first + gap * k as f64;
        }
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn thinning_keeps_ends_extremes_and_order(
            y in prop::collection::vec(-50.0f64..50.0, 1..4000), width in 20usize..400
        ) {
            let wide = width as f64 / y.len() as f64;
            let line: Vec<(f64, f64)> = (0..y.len()).map(|i| (i as f64 * wide, y[i])).collect();
            let points = thinned(&line, 2.0);
            prop_assert!(points.len() <= 4 * (width / 2 + 1));
            prop_assert!(points.windows(2).all(|w| w[0].0 < w[1].0));
            prop_assert_eq!(points.first(), line.first());
            prop_assert_eq!(points.last(), line.last());
            let kept: Vec<f64> = points.iter().map(|p| p.1).collect();
            prop_assert_eq!(range(&kept), range(&y));
        }

        #[test]
        fn labels_never_overlap_and_stay_inside(
            wanted in prop::collection::vec(-20.0f64..220.0, 1..10)
        ) {
            let placed = spread(&wanted, 15.0, (0.0, 200.0));
            let mut sorted = placed.clone();
            sorted.sort_by(f64::total_cmp);
            prop_assert!(sorted.windows(2).all(|w| w[1] - w[0] > 15.0 - 1e-9));
            prop_assert!(sorted[0] > -1e-9 && sorted[sorted.len() - 1] < 200.0 + 1e-9);
        }
    }

    #[test]
    fn gaps_part_the_line() {
        let t = [0.0, 1.0, 2.0, 3.0, 4.0];
        let y = [1.0, 2.0, f64::NAN, 4.0, 5.0];
        assert_eq!(
            pieces(&t, &y),
            [vec![(0.0, 1.0), (1.0, 2.0)], vec![(3.0, 4.0), (4.0, 5.0)]]
        );
        assert!(pieces(&t, &[f64::NAN; 5]).is_empty());
    }

    #[test]
    fn labels_with_room_stay_where_they_are() {
        assert_eq!(
            spread(&[50.0, 10.0, 100.0], 15.0, (0.0, 200.0)),
            [50.0, 10.0, 100.0]
        );
        assert_eq!(spread(&[50.0, 50.0], 20.0, (0.0, 200.0)), [40.0, 60.0]);
    }

    #[test]
    fn a_row_lasts_until_the_next() {
        let on = [false, true, true, false, true];
        let t = [0.0, 10.0, 20.0, 30.0, 40.0];
        assert_eq!(spans(&t, |i| on[i]), [(10.0, 30.0)]);
        assert_eq!(
            joined(&[(0.0, 1.0), (1.5, 2.0), (9.0, 10.0)], 1.0),
            [(0.0, 2.0), (9.0, 10.0)]
        );
    }

    #[test]
    fn steps_hold_the_value_before() {
        assert_eq!(
            held(&[(0.0, 0.0), (5.0, 1.0)]),
            [(0.0, 0.0), (5.0, 0.0), (5.0, 1.0)]
        );
        assert_eq!(
            held(&[(0.0, 2.0), (1.0, 2.0), (2.0, 2.0), (3.0, 1.0), (4.0, 1.0)]),
            [(0.0, 2.0), (2.0, 2.0), (3.0, 2.0), (3.0, 1.0), (4.0, 1.0)]
        );
    }
}
