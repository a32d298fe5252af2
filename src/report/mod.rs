//! Figures a trainer can put on a wall, and output written whole or not at all.
//!
//! A figure is a function of [`FigureData`], a borrowed view of a scenario and its run. Figures over
//! time are sheets of panels described as data ([`sheet`]), laid out and drawn in one place
//! ([`draw`]). The shapes are written as SVG and rastered as PNG. The same input gives the same
//! bytes. To add a figure, write its file and add it to [`FIGURES`].

mod bands;
mod canvas;
pub(crate) mod combinations;
pub(crate) mod compare;
mod data;
mod draw;
pub(crate) mod fault_figure;
pub(crate) mod faults;
pub(crate) mod heat_map;
mod lettering;
mod marks;
mod outlets;
pub(crate) mod overlay;
mod palette;
mod plot;
mod pressure;
mod raster;
pub(crate) mod results;
mod rooms;
mod series;
mod sheet;
pub(crate) mod size_relief;
mod sound;
mod spectrum;
mod supply;
pub(crate) mod sweep;
pub(crate) mod table;
mod time_axis;
mod timeline;
mod tornado;
mod units;
pub(crate) mod verdict;
pub(crate) mod words;
mod write;

pub(crate) use bands::{BandPanel, BandPoint, BandSheet, bands};
pub(crate) use data::FigureData;
#[cfg(test)]
pub(crate) use raster::PNG_SCALE;
pub(crate) use tornado::{TornadoBar, TornadoPanel, TornadoSheet, tornado};
pub use units::{Quantity, UnitSystem};
pub(crate) use write::{OutputDir, OutputError, Staged};

use crate::run::Outcome;
use crate::scenario::Scenario;
use rayon::prelude::*;

/// Why a figure could not be drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FigureError {
    /// The trace lacks a column without which the figure has no meaning.
    #[error("figure `{figure}`: the trace has no column `{column}`; record it and run again")]
    NoColumn {
        /// Name of the figure.
        figure: &'static str,
        /// Name of the column.
        column: String,
    },
    /// The trace has fewer than two rows, or its time does not advance.
    #[error("figure `{figure}`: the trace spans no time; run for longer than one recorded step")]
    NoTime {
        /// Name of the figure.
        figure: &'static str,
    },
    /// Drawing or rasterising failed: an error in the program or too little memory.
    #[error("figure `{name}` could not be drawn: {why}")]
    Drawing {
        /// Name of the figure.
        name: &'static str,
        /// What the drawing library says.
        why: String,
    },
}

/// A finished drawing.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Figure {
    /// Name for files: `rooms`, `pressure`, ...
    pub name: &'static str,
    /// The drawing as an SVG document.
    pub svg: String,
    /// Width of the drawing, px. Its PNG is [`raster::PNG_SCALE`] times as wide.
    pub width_px: u32,
    /// Height of the drawing, px.
    pub height_px: u32,
    shapes: Vec<canvas::Shape>,
}

/// A function that draws a figure of a run.
pub(crate) type Draw = fn(&FigureData<'_>) -> Result<Figure, FigureError>;

/// Every figure of a run by name, in the order a person looks at them.
pub(crate) const FIGURES: &[(&str, Draw)] = &[
    ("rooms", rooms::rooms),
    ("timeline", timeline::timeline),
    ("pressure", pressure::pressure),
    ("supply", supply::supply),
    ("outlets", outlets::outlets),
    ("sound", sound::sound),
    ("spectrum", spectrum::spectrum),
];

/// Draws every figure in [`FIGURES`] with its PNG, in parallel, in their order.
///
/// # Errors
/// The first error of any figure.
pub(crate) fn draw_all(
    scenario: &Scenario,
    outcome: &Outcome,
    units: UnitSystem,
) -> Result<Vec<(Figure, Vec<u8>)>, FigureError> {
    FIGURES
        .par_iter()
        .map(|(name, draw)| {
            let figure = draw(&FigureData::new(name, scenario, outcome, units)?)?;
            let png = figure.png()?;
            Ok((figure, png))
        })
        .collect()
}
