//! Parts of a sweep joined into the whole.

use std::path::PathBuf;

use super::store::{self, PlanFile};
use super::{Case, Shard, Sweep, SweepError};

/// Reads the parts of one sweep and joins them. Cases may be missing; see [`Sweep::missing`].
///
/// # Errors
/// A folder without a plan, parts of different plans, a case that two parts hold.
pub(crate) fn merge(folders: &[PathBuf]) -> Result<Sweep, SweepError> {
    let mut whole: Option<(PlanFile, PathBuf)> = None;
    let mut held: Vec<(Case, usize)> = Vec::new();
    for (number, folder) in folders.iter().enumerate() {
        let part = PlanFile::of_folder(folder)?.ok_or_else(|| SweepError::Folder {
            path: folder.clone(),
            what: "has no part of a sweep".into(),
            advice: "name folders that `openshut sweep --shard K/N` left".into(),
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
                "has case {}, which {} has too",
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
