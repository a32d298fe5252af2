//! What the controller reports: one line for each thing it decides, with its cause.

use super::protection::Sense;
use std::fmt::Write as _;

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum NoticeKind {
    /// A zone began to call.
    CallBegan,
    /// A zone's call ended.
    CallEnded,
    /// The unit started.
    Start,
    /// The unit stopped.
    Stop,
    /// A start or a stop was held back.
    Held,
    /// The stage changed.
    StageChange,
    /// A protection lowered the capacity.
    SteppedDown,
    /// A protection tripped.
    Trip,
    /// A protection reset.
    Reset,
    /// A protection locked the unit out.
    LockOut,
    /// A person cleared the lock-out.
    LockOutCleared,
    /// A scheduled period began.
    PeriodBegan,
    /// A scheduled period ended.
    PeriodEnded,
    /// The unit changed between cooling and heating.
    ModeChange,
    /// A zone waits for the other mode.
    ZoneWaiting,
    /// A zone started ahead of its scheduled period.
    OptimumStartBegan,
    /// A person changed something.
    Override,
    /// An override ran out or was released.
    OverrideEnded,
    /// A zone's sensor was lost.
    SensorLost,
    /// A zone's sensor reads again.
    SensorBack,
}

impl NoticeKind {
    /// Every kind.
    pub const ALL: [Self; 20] = [
        Self::CallBegan,
        Self::CallEnded,
        Self::Start,
        Self::Stop,
        Self::Held,
        Self::StageChange,
        Self::SteppedDown,
        Self::Trip,
        Self::Reset,
        Self::LockOut,
        Self::LockOutCleared,
        Self::PeriodBegan,
        Self::PeriodEnded,
        Self::ModeChange,
        Self::ZoneWaiting,
        Self::OptimumStartBegan,
        Self::Override,
        Self::OverrideEnded,
        Self::SensorLost,
        Self::SensorBack,
    ];

    /// Stable name, for files.
    pub fn name(self) -> &'static str {
        match self {
            Self::CallBegan => "call-began",
            Self::CallEnded => "call-ended",
            Self::Start => "start",
            Self::Stop => "stop",
            Self::Held => "held",
            Self::StageChange => "stage-change",
            Self::SteppedDown => "stepped-down",
            Self::Trip => "trip",
            Self::Reset => "reset",
            Self::LockOut => "lock-out",
            Self::LockOutCleared => "lock-out-cleared",
            Self::PeriodBegan => "period-began",
            Self::PeriodEnded => "period-ended",
            Self::ModeChange => "mode-change",
            Self::ZoneWaiting => "zone-waiting",
            Self::OptimumStartBegan => "optimum-start-began",
            Self::Override => "override",
            Self::OverrideEnded => "override-ended",
            Self::SensorLost => "sensor-lost",
            Self::SensorBack => "sensor-back",
        }
    }
}

/// Why it happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Cause {
    /// A zone calls (named in [`Notice::zone`]).
    Call,
    /// The zones have what they asked for.
    Satisfied,
    /// A scheduled period began or ended.
    Schedule,
    /// A person asked for it.
    Person,
    /// A protection acted (named in [`Notice::protection`]).
    Protection,
    /// The unit changes between cooling and heating.
    ModeChange,
    /// The sensor was lost.
    SensorLost,
    /// The minimum off-time has not passed.
    MinimumOff,
    /// The minimum run time has not passed.
    MinimumRun,
    /// The off-time between cooling and heating has not passed.
    ModeChangeOff,
    /// The delay after power-up has not passed.
    PowerUp,
    /// No damper of a calling zone has opened.
    DampersShut,
    /// The zones voted.
    Vote,
    /// The lead zone asked for it.
    LeadZone,
    /// A zone had waited as long as it may.
    WaitLimit,
}

impl Cause {
    /// Stable name, for files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Call => "call",
            Self::Satisfied => "satisfied",
            Self::Schedule => "schedule",
            Self::Person => "person",
            Self::Protection => "protection",
            Self::ModeChange => "mode-change",
            Self::SensorLost => "sensor-lost",
            Self::MinimumOff => "minimum-off",
            Self::MinimumRun => "minimum-run",
            Self::ModeChangeOff => "mode-change-off",
            Self::PowerUp => "power-up",
            Self::DampersShut => "dampers-shut",
            Self::Vote => "vote",
            Self::LeadZone => "lead-zone",
            Self::WaitLimit => "wait-limit",
        }
    }

    /// The cause as the end of a sentence.
    pub fn phrase(self) -> &'static str {
        match self {
            Self::Call => "a zone calls",
            Self::Satisfied => "satisfied",
            Self::Schedule => "by the timetable",
            Self::Person => "by a person",
            Self::Protection => "by a protection",
            Self::ModeChange => "to change between cooling and heating",
            Self::SensorLost => "its sensor was lost",
            Self::MinimumOff => "the minimum off-time has not passed",
            Self::MinimumRun => "the minimum run time has not passed",
            Self::ModeChangeOff => "the off-time between cooling and heating has not passed",
            Self::PowerUp => "the delay after power-up has not passed",
            Self::DampersShut => "no damper of a calling zone is open",
            Self::Vote => "the zones voted for it",
            Self::LeadZone => "the lead zone asked for it",
            Self::WaitLimit => "a zone had waited as long as it may",
        }
    }
}

/// One thing that happened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Notice {
    /// When, seconds since the start of the run.
    pub t_s: f64,
    /// What.
    pub kind: NoticeKind,
    /// The zone it concerns: an index into the controller's zones.
    pub zone: Option<usize>,
    /// The protection it concerns: an index into the controller's protections.
    pub protection: Option<usize>,
    /// Why.
    pub cause: Option<Cause>,
    /// A figure that goes with it, SI: the reading at a trip or reset, the speed at a stage
    /// change, the shift of a setpoint. NaN where there is none.
    pub value: f64,
}

impl Notice {
    /// A notice of `kind` at `t_s` and nothing else.
    // Nearly every step has nothing to report: cold keeps notices off its path.
    #[cold]
    pub fn new(t_s: f64, kind: NoticeKind) -> Self {
        Self {
            t_s,
            kind,
            zone: None,
            protection: None,
            cause: None,
            value: f64::NAN,
        }
    }

    /// Names the zone.
    pub fn zone(self, zone: usize) -> Self {
        Self {
            zone: Some(zone),
            ..self
        }
    }

    /// Names the protection.
    pub fn protection(self, protection: usize) -> Self {
        Self {
            protection: Some(protection),
            ..self
        }
    }

    /// Names the cause.
    pub fn cause(self, cause: Cause) -> Self {
        Self {
            cause: Some(cause),
            ..self
        }
    }

    /// Adds a figure.
    pub fn value(self, value: f64) -> Self {
        Self { value, ..self }
    }

    /// A sentence for people, with the name of the zone, and the name and sense of the protection,
    /// where they are known.
    pub fn sentence(&self, zone: Option<&str>, protection: Option<(&str, Sense)>) -> String {
        let zone = zone.unwrap_or("a zone");
        let guard = protection.map_or("a protection", |(name, _)| name);
        let mut s = match self.kind {
            NoticeKind::CallBegan => format!("{zone} calls"),
            NoticeKind::CallEnded => format!("{zone} no longer calls"),
            NoticeKind::Start => format!("Unit starts for {zone}"),
            NoticeKind::Stop => "Unit stops".to_owned(),
            NoticeKind::Held => match self.cause {
                Some(Cause::MinimumRun) => "Stop held back".to_owned(),
                _ => "Start held back".to_owned(),
            },
            NoticeKind::StageChange => format!("Stage changes to {:.0} %", 100.0 * self.value),
            NoticeKind::SteppedDown => format!("Capacity lowered by {guard}"),
            NoticeKind::Trip => match protection {
                Some((_, sense)) => format!("Trip: {guard} at {}", sense.shown(self.value)),
                None => format!("Trip: {guard} at {:.1}", self.value),
            },
            NoticeKind::Reset => format!("Reset: {guard}"),
            NoticeKind::LockOut => format!("Lock-out by {guard}: too many trips"),
            NoticeKind::LockOutCleared => "Lock-out cleared".to_owned(),
            NoticeKind::PeriodBegan => format!("Scheduled period of {zone} begins"),
            NoticeKind::PeriodEnded => format!("Scheduled period of {zone} ends"),
            NoticeKind::ModeChange => "Unit changes between cooling and heating".to_owned(),
            NoticeKind::ZoneWaiting => format!("{zone} waits for the other mode"),
            NoticeKind::OptimumStartBegan => format!("{zone} starts ahead of its schedule"),
            NoticeKind::Override => match self.zone {
                Some(_) => format!("{zone} overridden"),
                None => "System overridden".to_owned(),
            },
            NoticeKind::OverrideEnded => format!("Override of {zone} ends"),
            NoticeKind::SensorLost => format!("Sensor of {zone} lost"),
            NoticeKind::SensorBack => format!("Sensor of {zone} reads again"),
        };
        match (self.cause, self.protection) {
            // Already said by the sentence itself.
            (Some(Cause::Call), _) | (None, _) => {}
            (Some(Cause::Protection), Some(_)) => {
                // Writing to a String cannot fail.
                let _ = write!(s, ": {guard}");
            }
            (Some(cause), _) => {
                let _ = write!(s, ": {}", cause.phrase());
            }
        }
        s.push('.');
        s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_unique_and_kebab() {
        let mut seen = std::collections::HashSet::new();
        for k in NoticeKind::ALL {
            assert!(seen.insert(k.name()));
            assert!(k.name().chars().all(|c| c.is_ascii_lowercase() || c == '-'));
        }
    }

    #[test]
    fn sentences_name_who_and_why() {
        let n = Notice::new(0.0, NoticeKind::CallEnded)
            .zone(1)
            .cause(Cause::Satisfied);
        assert_eq!(
            n.sentence(Some("North"), None),
            "North no longer calls: satisfied."
        );
        let n = Notice::new(0.0, NoticeKind::Stop)
            .cause(Cause::Protection)
            .protection(0);
        assert_eq!(
            n.sentence(None, Some(("coil freeze", Sense::CoilSurfaceLow))),
            "Unit stops: coil freeze."
        );
    }

    #[test]
    fn a_trip_says_the_unit_of_its_reading() {
        for (sense, said) in [
            (Sense::SupplyLow, "−3.5 °C"),
            (Sense::SupplyHigh, "−3.5 °C"),
            (Sense::CoilSurfaceLow, "−3.5 °C"),
            (Sense::StaticHigh, "−3.5 Pa"),
            (Sense::CoilFlowLow, "−350.0 % of rated"),
        ] {
            let n = Notice::new(0.0, NoticeKind::Trip).protection(0).value(-3.5);
            let text = n.sentence(None, Some(("guard", sense)));
            assert_eq!(text, format!("Trip: guard at {said}."));
        }
    }
}
