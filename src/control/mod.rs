//! The controller: it sees sensor readings and time, and gives commands. It knows no physics.
//!
//! [`Controller`] is what was configured, [`ControlState`] what it remembers, [`Readings`] what it
//! sees and [`Commands`] what it gives. One call of [`Controller::step`] is one time step; a person
//! acts through [`Controller::apply`]. What it decides it reports as [`Notice`]s, each with a cause.
//!
//! Two parts stand on the plant's side of the wires and are stepped by the run itself: the
//! [`thermostat::Sensor`], which makes readings (all of a house: [`thermostats`]), and the [`actuator::Actuator`], which follows
//! commands. Faults lie between them and the controller.
//!
//! In every step: zones (setpoints in force, wish to cool or heat), the unit's mode, calls,
//! protections, the unit's sequence, its stage, then dampers, relief and fan. Priority: safety trip,
//! minimum off-time, minimum run time, call.

mod action;
pub(crate) mod actuator;
pub(crate) mod clock;
mod controller;
pub(crate) mod damper;
pub(crate) mod fan;
mod io;
pub(crate) mod mode;
pub(crate) mod notice;
pub(crate) mod optimum_start;
pub(crate) mod protection;
mod quiet;
mod regime;
pub(crate) mod relief_pi;
#[cfg(test)]
mod remembered;
pub(crate) mod sequence;
mod spec;
pub(crate) mod staging;
pub(crate) mod thermostat;
pub(crate) mod thermostats;
pub(crate) mod timetable;
mod unit;
pub(crate) mod zone;

#[cfg(test)]
pub use action::ActionError;
pub use action::{Action, Hold};
pub use clock::Calendar;
pub use controller::{ControlState, Controller};
pub use io::{Commands, Readings};
pub use mode::Mode;
#[cfg(test)]
pub use notice::Cause;
pub use notice::{Notice, NoticeKind};
pub use spec::{ChannelOwner, ControlError, ControllerSpec};
