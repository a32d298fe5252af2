//! `openshut keys`.

use super::{Context, Failure, Status};
use crate::scenario::catalogue::constants::CONSTANTS;
use crate::scenario::catalogue::{self, Key, TABLES, TableSpec};
use crate::scenario::diagnostic::{Diagnostic, nearest};
use comfy_table::{ContentArrangement, Table, presets};

#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// A table such as fan or room, a key such as fan.flow, or a key alone; `constants` for what no key changes.
    #[arg(value_name = "TABLE|KEY")]
    what: Option<String>,
}

/// Prints all keys, those of one table, or one key at length.
pub(super) fn keys(context: &Context, args: &Args) -> Result<Status, Failure> {
    let text = match args.what.as_deref() {
        None => all(context),
        Some("constants") => constants(context),
        Some(what) => match of(context, what) {
            Some(text) => text,
            None => {
                let known = TABLES
                    .iter()
                    .flat_map(TableSpec::names)
                    .chain(["constants"]);
                let fault = Diagnostic::plain(format!("there is no table or key `{what}`"));
                let advice = match nearest(what, known) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => "`openshut keys` lists all of them".to_string(),
                };
                return Err(fault.advise(advice).into());
            }
        },
    };
    super::say(&text);
    Ok(Status::Ran)
}

/// The name of a table in an argument: `room` for `room.<name>`, `walls` for `room.<name>.walls[]`.
fn is_called(table: &TableSpec, what: &str) -> bool {
    let plain = table
        .path
        .replace(".<name>", "")
        .replace(".<key>", "")
        .replace("[]", "");
    let last = plain.rsplit('.').next().unwrap_or(&plain);
    table.path == what || plain == what || (!table.path.is_empty() && last == what)
}

fn of(context: &Context, what: &str) -> Option<String> {
    let tables: Vec<_> = TABLES.iter().filter(|t| is_called(t, what)).collect();
    if !tables.is_empty() {
        let texts: Vec<_> = tables
            .iter()
            .map(|table| table_text(context, table))
            .collect();
        return Some(texts.join("\n"));
    }
    let (table, key) = what.rsplit_once('.').unwrap_or(("", what));
    let tables = TABLES
        .iter()
        .filter(|t| table.is_empty() || is_called(t, table));
    let found: Vec<(&TableSpec, &Key)> = tables
        .flat_map(|t| t.named(key).map(move |key| (t, key)))
        .collect();
    let texts = found
        .iter()
        .map(|(table, key)| catalogue::key_text(table, key, context.units));
    let texts: Vec<String> = texts.collect();
    (!texts.is_empty()).then(|| texts.join("\n"))
}

fn all(context: &Context) -> String {
    let texts: Vec<_> = TABLES
        .iter()
        .map(|table| table_text(context, table))
        .collect();
    format!("{}\n{}", texts.join("\n"), constants(context))
}

fn new_table(header: &[&str]) -> Table {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(super::width())
        .set_header(header.to_vec());
    table
}

fn table_text(context: &Context, spec: &TableSpec) -> String {
    let mut text = format!("{}: {}\n", spec.header(), spec.about);
    if !spec.keys.is_empty() {
        let mut table = new_table(&["key", "meaning", "value", "default"]);
        table.add_rows(catalogue::rows(spec, context.units));
        text += &table.trim_fmt();
        text.push('\n');
    }
    text
}

fn constants(context: &Context) -> String {
    let mut table = new_table(&["assumption that no key changes", "value", "source"]);
    for constant in CONSTANTS {
        let (about, source) = (constant.about.to_owned(), constant.source.to_owned());
        table.add_row([about, constant.shown(context.units), source]);
    }
    format!("{}\n", table.trim_fmt())
}
