//! Parts of a sweep joined into the whole.

use std::path::PathBuf;

use super::store::{self, PlanFile};
use super::{Case, Shard, Sweep, SweepError};

/// Reads the parts of one sweep and joins them. Cases may be missing; see [`Sweep::missing`].
///
/// # Errors
/// A folder without a plan, parts of different plans, a case that two parts hold.
pub fn merge(folders: &[PathBuf]) -> Result<Sweep, SweepError> {
    let mut whole: Option<(PlanFile, PathBuf)> = None;
    let mut held: Vec<(Case, usize)> = Vec::new();
    for (number, folder) in folders.iter().enumerate() {
        let part = PlanFile::of_folder(folder)?.ok_or_else(|| SweepError::Folder {
            path: folder.clone(),
            what: "holds no part of a sweep".into(),
            advice: "name folders that `openshut sweep --shard k/n` left".into(),
        })?;
        let cases = store::read(folder, &part.plan)?.cases;
        held.extend(cases.into_iter().map(|c| (c, number)));
        match &whole {
            None => whole = Some((part, folder.clone())),
            Some((first, at)) if first.plan != part.plan => {
                return Err(SweepError::Folder {
                    path: folder.clone(),
                    what: format!(
                        "is part of another sweep than {}: {}",
                        at.display(),
                        first.plan.differences(&part.plan).join("; ")
                    ),
                    advice: "merge parts of one sweep: same file, arguments and version".into(),
                });
            }
            Some(_) => {}
        }
    }
    let Some((first, _)) = whole else {
        return Err(SweepError::Argument {
            what: "there is nothing to merge".into(),
            advice: "name the folders of the parts".into(),
        });
    };
    held.sort_by_key(|(c, number)| (c.index, *number));
    if let Some(pair) = held.windows(2).find(|w| w[0].0.index == w[1].0.index) {
        return Err(SweepError::Folder {
            path: folders[pair[1].1].clone(),
            what: format!(
                "holds case {}, which {} holds too",
                pair[0].0.index,
                folders[pair[0].1].display()
            ),
            advice: "leave one of the two out".into(),
        });
    }
    Ok(Sweep {
        plan: first.plan,
        shard: Shard::WHOLE,
        cases: held.into_iter().map(|(c, _)| c).collect(),
    })
}

/// Numbers in words, runs of neighbours joined: "0 to 4, 7 and 11 more".
pub fn numbers_text(numbers: &[usize]) -> String {
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
    use super::numbers_text;

    #[test]
    fn neighbours_are_joined() {
        assert_eq!(numbers_text(&[0, 1, 2, 5, 7, 8]), "0 to 2, 5, 7, 8");
        let odd: Vec<usize> = (0..20).map(|i| 2 * i + 1).collect();
        assert!(numbers_text(&odd).ends_with("23 and 8 more"));
    }
}
