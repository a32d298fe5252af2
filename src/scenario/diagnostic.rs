//! What is wrong, where, and what to do about it.

use super::source::{At, Origin};
use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use std::ops::Range;

/// A fault in a scenario, complete in itself: it carries the file name, line, column and text of the line, so it can be
/// shown when the file is long gone.
///
/// `Display` is one line, `file:line: what; advice`; [`render`](Self::render) draws the source line.
#[derive(Clone, PartialEq, Eq)]
pub struct Diagnostic {
    // Boxed, so that a `Result` holding one stays small.
    inner: Box<Inner>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Inner {
    what: String,
    label: String,
    advice: Option<String>,
    place: Option<Place>,
    others: Vec<(Place, String)>,
    warning: bool,
    of_catalogue: bool,
    more: Vec<Diagnostic>,
}

/// A place in a text, with the line it is on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The name of the file, or what stands for it.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// The line.
    pub text: String,
    /// The bytes of `text` that are meant.
    pub span: Range<usize>,
    is_argument: bool,
}

impl Place {
    fn of(at: &At) -> Self {
        let (line, column) = at.line_column();
        let range = at.source.line_range(line);
        let text = at.source.text()[range.clone()].to_owned();
        let border = |offset: usize| {
            let mut offset = offset.saturating_sub(range.start).min(text.len());
            while !text.is_char_boundary(offset) {
                offset -= 1;
            }
            offset
        };
        let start = border(at.span.start);
        let span = start..border(at.span.end).max(start);
        let is_argument = *at.source.origin() == Origin::Argument;
        Self {
            file: at.source.name(),
            line,
            column,
            text,
            span,
            is_argument,
        }
    }
}

impl Diagnostic {
    /// A fault that has no place in a text, such as a file that cannot be read.
    pub fn plain(what: impl Into<String>) -> Self {
        Self {
            inner: Box::new(Inner {
                what: what.into(),
                label: String::new(),
                advice: None,
                place: None,
                others: Vec::new(),
                warning: false,
                of_catalogue: false,
                more: Vec::new(),
            }),
        }
    }

    /// A fault at a place.
    pub fn at(at: &At, what: impl Into<String>) -> Self {
        let mut diagnostic = Self::plain(what);
        diagnostic.inner.place = Some(Place::of(at));
        diagnostic
    }

    /// Says what to write or do instead.
    #[must_use]
    pub fn advise(mut self, advice: impl Into<String>) -> Self {
        self.inner.advice = Some(advice.into());
        self
    }

    /// A short word under the marked text.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.inner.label = label.into();
        self
    }

    /// Points at a second place that has to do with it.
    #[must_use]
    pub fn and_at(mut self, at: &At, label: impl Into<String>) -> Self {
        self.inner.others.push((Place::of(at), label.into()));
        self
    }

    /// Makes it a warning: the scenario can be run all the same.
    #[must_use]
    pub fn warn(mut self) -> Self {
        self.inner.warning = true;
        self
    }

    /// Marks it as found from the catalogue of keys, where the first look at a file finds it too.
    #[must_use]
    pub(super) fn of_catalogue(mut self) -> Self {
        self.inner.of_catalogue = true;
        self
    }

    pub(super) fn is_of_catalogue(&self) -> bool {
        self.inner.of_catalogue
    }

    /// This fault and those found with it, each by itself.
    pub fn each(&self) -> impl Iterator<Item = &Diagnostic> {
        std::iter::once(self).chain(&self.inner.more)
    }

    /// This fault without those found with it.
    #[must_use]
    pub(super) fn alone(mut self) -> Self {
        self.inner.more.clear();
        self
    }

    /// Several faults as one that carries them all; `None` of none.
    pub fn join(faults: impl IntoIterator<Item = Diagnostic>) -> Option<Self> {
        let mut all = Vec::new();
        for mut fault in faults {
            let more = std::mem::take(&mut fault.inner.more);
            all.push(fault);
            all.extend(more);
        }
        let mut all = all.into_iter();
        let mut first = all.next()?;
        first.inner.more = all.collect();
        Some(first)
    }

    /// Every value, or every fault.
    ///
    /// # Errors
    /// All faults among the results, as one.
    pub fn gather<T>(results: impl IntoIterator<Item = Result<T, Self>>) -> Result<Vec<T>, Self> {
        let (mut values, mut faults) = (Vec::new(), Vec::new());
        for result in results {
            match result {
                Ok(value) => values.push(value),
                Err(fault) => faults.push(fault),
            }
        }
        Self::join(faults).map_or(Ok(values), Err)
    }

    /// What is wrong.
    pub fn what(&self) -> &str {
        &self.inner.what
    }

    /// What to do about it.
    pub fn advice(&self) -> Option<&str> {
        self.inner.advice.as_deref()
    }

    /// Where it is.
    pub fn place(&self) -> Option<&Place> {
        self.inner.place.as_ref()
    }

    /// Draws it for a terminal: message, file:line:column, the line with the fault marked, a help line; then those
    /// found with it, and their number. Ends without a line break.
    pub fn render(&self, colour: bool) -> String {
        let mut drawn: Vec<String> = self.each().map(|one| one.draw(colour)).collect();
        if drawn.len() > 1 {
            drawn.push(format!("{} faults in all", drawn.len()));
        }
        drawn.join("\n\n")
    }

    fn draw(&self, colour: bool) -> String {
        let inner = &*self.inner;
        let level = if inner.warning {
            Level::WARNING
        } else {
            Level::ERROR
        };
        let mut group = Group::with_title(level.primary_title(&*inner.what));
        if let Some(place) = &inner.place {
            group = group.element(snippet(place, AnnotationKind::Primary, &inner.label));
        }
        for (place, label) in &inner.others {
            group = group.element(snippet(place, AnnotationKind::Context, label));
        }
        if let Some(advice) = &inner.advice {
            group = group.element(Level::HELP.message(&**advice));
        }
        let renderer = if colour {
            Renderer::styled()
        } else {
            Renderer::plain()
        };
        renderer.render(&[group])
    }
}

fn snippet<'a>(
    place: &'a Place,
    kind: AnnotationKind,
    label: &'a str,
) -> Snippet<'a, annotate_snippets::Annotation<'a>> {
    let mut annotation = kind.span(place.span.clone());
    if !label.is_empty() {
        annotation = annotation.label(label);
    }
    Snippet::source(&*place.text)
        .line_start(place.line)
        .path(&*place.file)
        .annotation(annotation)
}

impl std::fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match &self.inner.place {
            Some(place) if place.is_argument => write!(f, "{}: ", place.text)?,
            Some(place) => write!(f, "{}:{}: ", place.file, place.line)?,
            None => {}
        }
        f.write_str(&self.inner.what)?;
        if let Some(advice) = &self.inner.advice {
            write!(f, "; {advice}")?;
        }
        match self.inner.more.len() {
            0 => Ok(()),
            more => write!(f, " (and {more} more)"),
        }
    }
}

/// As `Display`, so that `unwrap` in a test reads well.
impl std::fmt::Debug for Diagnostic {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        std::fmt::Display::fmt(self, f)
    }
}

impl std::error::Error for Diagnostic {}

/// The candidate most like `word`, if any is like enough to have been meant.
pub(crate) fn nearest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let lower = word.to_lowercase();
    candidates
        .into_iter()
        .map(|candidate| {
            let other = candidate.to_lowercase();
            let edits = strsim::normalized_damerau_levenshtein(&lower, &other);
            let shared = strsim::jaro_winkler(&lower, &other);
            // Edits find slips of the finger; Jaro-Winkler finds words cut short.
            (
                edits.max(if shared > 0.88 { shared - 0.2 } else { 0.0 }),
                candidate,
            )
        })
        .filter(|(likeness, _)| *likeness >= 0.6)
        // The first of equals, so that the answer does not hang on the order of iteration.
        .fold(None, |best: Option<(f64, &str)>, next| match best {
            Some(best) if best.0 >= next.0 => Some(best),
            _ => Some(next),
        })
        .map(|(_, candidate)| candidate)
}
