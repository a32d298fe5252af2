//! Whether to colour, and how: bold and dim only, so that meaning never hangs on a colour.

use std::io::IsTerminal;

/// What the terminal may be sent.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Style {
    /// Standard output is a terminal and `NO_COLOR` is not set.
    pub colour: bool,
    /// Standard error is a terminal and `NO_COLOR` is not set.
    pub colour_errors: bool,
    /// Standard error is a terminal, so a progress bar may move there.
    pub progress: bool,
}

impl Style {
    /// Asks the terminal and `NO_COLOR` (<https://no-color.org>).
    pub(crate) fn of_terminal() -> Style {
        let wanted = std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty());
        Style {
            colour: wanted && std::io::stdout().is_terminal(),
            colour_errors: wanted && std::io::stderr().is_terminal(),
            progress: std::io::stderr().is_terminal(),
        }
    }

    /// `text` in bold where that is possible.
    pub(crate) fn bold(self, text: &str) -> String {
        if self.colour {
            format!("\x1b[1m{text}\x1b[0m")
        } else {
            text.to_string()
        }
    }
}
