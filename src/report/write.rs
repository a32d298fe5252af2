//! Output written whole or not at all.
//!
//! Files are written into a hidden directory beside the final one, which takes its place only
//! when everything is there. A run that is interrupted, or fails, leaves the last good result.

use std::ffi::{OsStr, OsString};
use std::fmt;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tempfile::TempDir;

use super::Figure;

/// Names the files of a result, so that nothing else is ever thrown away.
const MANIFEST: &str = ".openshut-files";

/// Why a result could not be written.
#[derive(Debug, thiserror::Error)]
pub enum OutputError {
    /// The path cannot be a directory's name, such as `/` or `..`.
    NoName {
        /// The path given.
        path: PathBuf,
    },
    /// A file stands where the directory would go.
    IsAFile {
        /// The path given.
        path: PathBuf,
    },
    /// The directory holds files, but no earlier result.
    NotAResult {
        /// The path given.
        path: PathBuf,
    },
    /// The operating system refused.
    Io {
        /// The path it concerns.
        path: PathBuf,
        /// What was being done.
        doing: &'static str,
        /// What the operating system says.
        source: io::Error,
    },
}

impl OutputError {
    /// What is wrong, with the path.
    pub fn what(&self) -> String {
        match self {
            Self::NoName { path } => {
                format!("{}: not a name for a result's directory", path.display())
            }
            Self::IsAFile { path } => {
                format!(
                    "{}: is a file, and results need a directory",
                    path.display()
                )
            }
            Self::NotAResult { path } => format!(
                "{}: holds files, but no result of an earlier run",
                path.display()
            ),
            Self::Io {
                path,
                doing,
                source,
            } => format!("{}: could not {doing}: {source}", path.display()),
        }
    }

    /// What to do about it.
    pub fn advice(&self) -> &'static str {
        match self {
            Self::NoName { .. } => "name one, such as out/house",
            Self::IsAFile { .. } => "name another directory or move the file away",
            Self::NotAResult { .. } => {
                "name an empty or new directory, so that nothing of yours is replaced"
            }
            Self::Io { source, .. } => advice(source),
        }
    }
}

impl fmt::Display for OutputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.what(), self.advice())
    }
}

fn advice(error: &io::Error) -> &'static str {
    match error.kind() {
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "choose a directory you may write to"
        }
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "free some space or choose another disk; the last result is untouched"
        }
        io::ErrorKind::NotADirectory | io::ErrorKind::AlreadyExists => {
            "a part of the path is a file; choose another directory"
        }
        _ => "check the path and try again; the last result is untouched",
    }
}

fn failed(path: &Path, doing: &'static str) -> impl FnOnce(io::Error) -> OutputError {
    let path = path.to_owned();
    move |source| OutputError::Io {
        path,
        doing,
        source,
    }
}

/// What this process has open, for [`OutputDir::abandon`].
static OPEN: Mutex<Open> = Mutex::new(Open {
    partial: Vec::new(),
    committed: 0,
});

struct Open {
    /// Hidden directories being written into.
    partial: Vec<PathBuf>,
    /// Results put in their place.
    committed: usize,
}

fn open() -> MutexGuard<'static, Open> {
    OPEN.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes a hidden directory off the list when it is gone.
#[derive(Debug)]
struct Listed(PathBuf);

impl Drop for Listed {
    fn drop(&mut self) {
        open().partial.retain(|p| *p != self.0);
    }
}

/// Where a result goes.
pub(crate) struct OutputDir;

impl OutputDir {
    /// Opens a hidden directory beside `final_path` to write into, making parents as needed.
    ///
    /// If an earlier process died between taking the old result away and putting the new one in
    /// place, the old one is put back first.
    ///
    /// # Errors
    /// When the path is no name for a directory, is a file, holds somebody else's files, or may
    /// not be written.
    pub(crate) fn stage(final_path: impl AsRef<Path>) -> Result<Staged, OutputError> {
        let given = final_path.as_ref();
        // A link to a directory is followed, so that the link stays and its target is replaced.
        let path = fs::canonicalize(given).unwrap_or_else(|_| given.to_owned());
        let name = path.file_name().ok_or_else(|| OutputError::NoName {
            path: given.to_owned(),
        })?;
        let parent = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        let aside = parent.join(hidden(name, ".previous"));
        if path.is_file() {
            return Err(OutputError::IsAFile {
                path: given.to_owned(),
            });
        }
        if !path.exists() && aside.is_dir() {
            fs::rename(&aside, &path).map_err(failed(&path, "put the last result back"))?;
        }
        if path.is_dir() && !path.join(MANIFEST).is_file() {
            let mut entries = fs::read_dir(&path).map_err(failed(&path, "list the directory"))?;
            if entries.next().is_some() {
                return Err(OutputError::NotAResult {
                    path: given.to_owned(),
                });
            }
        }
        fs::create_dir_all(&parent).map_err(failed(&parent, "make the directory"))?;
        let prefix = hidden(name, ".");
        let mut builder = tempfile::Builder::new();
        builder.prefix(&prefix).suffix(".partial");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // Temporary directories are private by default, and results are not; umask applies.
            builder.permissions(fs::Permissions::from_mode(0o777));
        }
        let directory = builder
            .tempdir_in(&parent)
            .map_err(failed(&parent, "write here"))?;
        let listed = Listed(directory.path().to_owned());
        open().partial.push(listed.0.clone());
        Ok(Staged {
            directory,
            path,
            given: given.to_owned(),
            aside,
            listed,
        })
    }

    /// Tests that a result can be put at `final_path`, for those who have long work to do first.
    /// Leaves nothing but parents that were missing.
    ///
    /// # Errors
    /// As [`OutputDir::stage`].
    pub(crate) fn test(final_path: impl AsRef<Path>) -> Result<(), OutputError> {
        OutputDir::stage(final_path).map(drop)
    }

    /// Removes what was staged and not put in place, for a process that is about to end, and
    /// returns how many results it had put in place before. From then on nothing can be staged,
    /// written or put in place: whoever tries waits until the process has ended.
    pub(crate) fn abandon() -> usize {
        let open = open();
        for partial in &open.partial {
            // What cannot be removed cannot be helped any more.
            let _ = fs::remove_dir_all(partial);
        }
        let committed = open.committed;
        std::mem::forget(open);
        committed
    }
}

fn hidden(name: &OsStr, ending: &str) -> OsString {
    let mut hidden = OsString::from(".");
    hidden.push(name);
    hidden.push(ending);
    hidden
}

/// A result being written. Dropped without [`Staged::commit`], it leaves nothing behind.
#[derive(Debug)]
pub(crate) struct Staged {
    directory: TempDir,
    path: PathBuf,
    /// As whoever asked wrote it, for people.
    given: PathBuf,
    aside: PathBuf,
    // Last, so that the directory is gone before it leaves the list.
    listed: Listed,
}

impl Staged {
    /// The hidden directory, for writers that want a path.
    pub(crate) fn path(&self) -> &Path {
        self.directory.path()
    }

    /// Writes one file, given as a path within the result; directories are made as needed.
    ///
    /// # Errors
    /// When the file cannot be made or written.
    pub(crate) fn write(&self, name: impl AsRef<Path>, bytes: &[u8]) -> Result<(), OutputError> {
        self.write_with(name, |file| file.write_all(bytes))
    }

    /// Writes figures and their PNGs into `figures/`.
    ///
    /// # Errors
    /// When a file cannot be made or written.
    pub(crate) fn figures(&self, drawn: &[(Figure, Vec<u8>)]) -> Result<(), OutputError> {
        for (figure, png) in drawn {
            let name = format!("figures/{}", figure.name);
            self.write(format!("{name}.svg"), figure.svg.as_bytes())?;
            self.write(format!("{name}.png"), png)?;
        }
        Ok(())
    }

    /// Writes one file through a function that is given a buffered writer.
    ///
    /// # Errors
    /// When the file cannot be made or written, or the function fails.
    pub(crate) fn write_with<E: Into<io::Error>>(
        &self,
        name: impl AsRef<Path>,
        fill: impl FnOnce(&mut BufWriter<File>) -> Result<(), E>,
    ) -> Result<(), OutputError> {
        let known = self.given.join(name.as_ref());
        let mut file = self.create(name)?;
        fill(&mut file).map_err(|e| failed(&known, "write the file")(e.into()))?;
        file.flush().map_err(failed(&known, "write the file"))
    }

    /// Opens one file to be written little by little; buffered. Whoever writes flushes it.
    ///
    /// # Errors
    /// When the file cannot be made.
    pub(crate) fn create(&self, name: impl AsRef<Path>) -> Result<BufWriter<File>, OutputError> {
        let name = name.as_ref();
        // Waits for ever when all was abandoned.
        let _open = open();
        // Errors name the place people know, not the hidden one.
        let known = self.given.join(name);
        let file = self.path().join(name);
        if let Some(parent) = file.parent() {
            fs::create_dir_all(parent).map_err(failed(&known, "make its directory"))?;
        }
        let file = File::create(&file).map_err(failed(&known, "create the file"))?;
        Ok(BufWriter::with_capacity(1 << 16, file))
    }

    /// Puts the result in its place. The earlier result, if any, is taken aside, then removed;
    /// files in it that no run wrote are kept. If anything fails, the earlier result is put back.
    ///
    /// # Errors
    /// When a directory cannot be renamed; the earlier result is then in place as before.
    pub(crate) fn commit(self) -> Result<PathBuf, OutputError> {
        let Self {
            directory,
            path,
            given,
            aside,
            listed,
        } = self;
        let manifest = entries(directory.path())
            .map_err(failed(&given, "list the new result"))?
            .iter()
            .map(|name| name.to_string_lossy().into_owned() + "\n")
            .collect::<String>();
        fs::write(directory.path().join(MANIFEST), manifest)
            .map_err(failed(&given, "write the list of files"))?;
        // Held until the new result is in place, so that no interruption falls between.
        let mut open = open();
        let had = path.is_dir();
        if had {
            if aside.is_dir() {
                fs::remove_dir_all(&aside).map_err(failed(&aside, "remove an old result"))?;
            }
            fs::rename(&path, &aside).map_err(failed(&given, "take the last result aside"))?;
        }
        if let Err(error) = fs::rename(directory.path(), &path) {
            if had {
                fs::rename(&aside, &path).map_err(failed(&aside, "put the last result back"))?;
            }
            return Err(failed(&given, "put the new result in place")(error));
        }
        // It has moved, so there is nothing left for the guard to remove.
        let _ = directory.keep();
        open.partial.retain(|p| *p != listed.0);
        open.committed += 1;
        if had {
            keep_foreign(&aside, &path).map_err(failed(&aside, "keep your own files"))?;
            fs::remove_dir_all(&aside).map_err(failed(&aside, "remove the last result"))?;
        }
        Ok(given)
    }
}

fn entries(directory: &Path) -> io::Result<Vec<OsString>> {
    let mut names = fs::read_dir(directory)?
        .map(|entry| entry.map(|e| e.file_name()))
        .collect::<io::Result<Vec<_>>>()?;
    names.sort();
    Ok(names)
}

/// Moves what no run wrote from the old result into the new one.
fn keep_foreign(old: &Path, new: &Path) -> io::Result<()> {
    let manifest = fs::read_to_string(old.join(MANIFEST)).unwrap_or_default();
    for name in entries(old)? {
        let ours = name == MANIFEST || manifest.lines().any(|line| OsStr::new(line) == name);
        if !ours && !new.join(&name).exists() {
            fs::rename(old.join(&name), new.join(&name))?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
