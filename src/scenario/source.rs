//! The texts a scenario was read from, and places in them.

use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Where a text came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A file on disk.
    File(PathBuf),
    /// A text that has a name and no file: built into the program, or given by a library user.
    Named(String),
    /// An argument of the command line.
    Argument,
}

/// One text, whole, without its byte-order mark.
#[derive(Debug, PartialEq, Eq)]
pub struct Source {
    origin: Origin,
    text: String,
    line_starts: Vec<usize>,
}

impl Source {
    /// Takes a text in. A leading byte-order mark is dropped.
    pub fn new(origin: Origin, text: &str) -> Arc<Self> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text).to_owned();
        let line_starts = std::iter::once(0)
            .chain(
                text.bytes()
                    .enumerate()
                    .filter(|(_, byte)| *byte == b'\n')
                    .map(|(i, _)| i + 1),
            )
            .collect();
        Arc::new(Self {
            origin,
            text,
            line_starts,
        })
    }

    /// Where the text came from.
    pub fn origin(&self) -> &Origin {
        &self.origin
    }

    /// The name to show: the path, the name, or `command line`.
    pub fn name(&self) -> String {
        match &self.origin {
            Origin::File(path) => path.display().to_string(),
            Origin::Named(name) => name.clone(),
            Origin::Argument => "command line".into(),
        }
    }

    /// The file, if it is one.
    pub fn path(&self) -> Option<&Path> {
        match &self.origin {
            Origin::File(path) => Some(path),
            Origin::Named(_) | Origin::Argument => None,
        }
    }

    /// The whole text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Line and column (both from 1, the column in characters) of a byte offset.
    pub fn line_column(&self, offset: usize) -> (usize, usize) {
        let offset = self.floor(offset);
        let line = self.line_starts.partition_point(|start| *start <= offset);
        let start = self
            .line_starts
            .get(line.saturating_sub(1))
            .copied()
            .unwrap_or(0);
        (line.max(1), self.text[start..offset].chars().count() + 1)
    }

    /// The byte range of a line (from 1), without its line ending.
    pub fn line_range(&self, line: usize) -> Range<usize> {
        let start = self
            .line_starts
            .get(line.saturating_sub(1))
            .copied()
            .unwrap_or(self.text.len());
        let end = self
            .line_starts
            .get(line)
            .copied()
            .unwrap_or(self.text.len());
        start..start + self.text[start..end].trim_end_matches(['\r', '\n']).len()
    }

    /// The nearest character border at or before `offset`.
    fn floor(&self, offset: usize) -> usize {
        let mut offset = offset.min(self.text.len());
        while !self.text.is_char_boundary(offset) {
            offset -= 1;
        }
        offset
    }
}

/// A place: a byte range of a source. Cheap to clone, and complete in itself.
#[derive(Clone, PartialEq, Eq)]
pub struct At {
    /// The text.
    pub source: Arc<Source>,
    /// Bytes of it.
    pub span: Range<usize>,
}

impl std::fmt::Debug for At {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{self}")
    }
}

impl At {
    /// A place in a source.
    pub fn new(source: &Arc<Source>, span: Range<usize>) -> Self {
        Self {
            source: Arc::clone(source),
            span,
        }
    }

    /// Line and column of its start, both from 1.
    pub fn line_column(&self) -> (usize, usize) {
        self.source.line_column(self.span.start)
    }

    /// The text it covers.
    pub fn text(&self) -> &str {
        let start = self.source.floor(self.span.start);
        let end = self.source.floor(self.span.end).max(start);
        &self.source.text[start..end]
    }
}

/// `file:line`, or the argument itself.
impl std::fmt::Display for At {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.source.origin {
            Origin::Argument => f.write_str(&self.source.text),
            Origin::File(_) | Origin::Named(_) => {
                write!(f, "{}:{}", self.source.name(), self.line_column().0)
            }
        }
    }
}

/// Every text that went into a scenario, the one asked for first, its bases after it, arguments last.
#[derive(Clone, Debug, Default)]
pub struct SourceMap {
    sources: Vec<Arc<Source>>,
}

impl SourceMap {
    /// The texts in order.
    pub fn iter(&self) -> impl Iterator<Item = &Arc<Source>> {
        self.sources.iter()
    }

    /// Adds a text.
    pub fn push(&mut self, source: Arc<Source>) {
        self.sources.push(source);
    }

    /// Appends all of another map.
    pub fn extend(&mut self, other: Self) {
        self.sources.extend(other.sources);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_and_columns_count_characters_and_ignore_carriage_returns() {
        let source = Source::new(Origin::Named("x".into()), "\u{feff}a = 1\r\nb° = 2\r\n");
        assert_eq!(source.line_column(0), (1, 1));
        let two = source.text().find('2').unwrap();
        assert_eq!(source.line_column(two), (2, 6));
        assert_eq!(&source.text()[source.line_range(1)], "a = 1");
        assert_eq!(&source.text()[source.line_range(2)], "b° = 2");
        assert_eq!(
            source.line_range(99),
            source.text().len()..source.text().len()
        );
        assert_eq!(source.line_column(9999), (3, 1));
        // In the middle of the degree sign.
        assert_eq!(
            source.line_column(source.text().find('°').unwrap() + 1),
            (2, 2)
        );
    }

    #[test]
    fn a_place_shows_as_file_and_line_or_as_the_argument() {
        let file = Source::new(Origin::File("dir/a.toml".into()), "x\ny");
        assert_eq!(At::new(&file, 2..3).to_string(), "dir/a.toml:2");
        let argument = Source::new(Origin::Argument, "--set fan.speed=2");
        assert_eq!(At::new(&argument, 16..17).to_string(), "--set fan.speed=2");
        assert_eq!(At::new(&argument, 16..17).text(), "2");
    }
}
