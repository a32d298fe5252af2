//! Cooling or heating: one mode for the whole unit, and how it is chosen.

use super::notice::Cause;

/// What the unit does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mode {
    /// Cooling.
    Cooling,
    /// Heating.
    Heating,
}

impl Mode {
    /// The other one.
    pub fn other(self) -> Self {
        match self {
            Self::Cooling => Self::Heating,
            Self::Heating => Self::Cooling,
        }
    }

    /// Stable name, for files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Cooling => "cooling",
            Self::Heating => "heating",
        }
    }
}

/// Who decides the mode.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ModeRule {
    /// One mode, set by hand.
    Fixed(Mode),
    /// The other mode as soon as it alone is called for.
    FirstCall,
    /// The lead zone's call decides, whatever the others want.
    LeadZone {
        /// Index of the lead zone.
        zone: usize,
    },
    /// The side with more calling zones; a tie keeps the mode.
    HeadCount,
    /// The side with the greater weighted error; a tie keeps the mode.
    WeightedVote {
        /// Lead the other side needs, K (weights sum to 1); 0.2 K is common practice.
        margin_k: f64,
    },
}

/// The choice of mode and its timers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModeSpec {
    /// Who decides.
    pub rule: ModeRule,
    /// Mode at the start of a run.
    pub initial: Mode,
    /// How long the other side must keep its claim, s; 600 to 900 s is common practice.
    pub qualify_s: f64,
    /// Least time in one mode before it may change, s. A person's choice does not wait.
    pub hold_s: f64,
    /// Compressor off-time between cooling and heating, s; 300 to 600 s is common practice.
    pub change_off_s: f64,
    /// Longest a zone waits for the other mode, s; then it gets its turn. Infinite for never.
    /// 1800 to 3600 s is common practice. Does not apply to a fixed mode.
    pub max_wait_s: f64,
}

/// What the zones want.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Votes {
    /// Weighted need of cooling: sum of w max(0, T - Tc), K.
    pub cooling_k: f64,
    /// Weighted need of heating: sum of w max(0, Th - T), K.
    pub heating_k: f64,
    /// Zones that call for cooling.
    pub cooling_calls: usize,
    /// Zones that call for heating.
    pub heating_calls: usize,
    /// What the lead zone calls for.
    pub lead: Option<Mode>,
    /// Longest wait of a zone for the other mode, s.
    pub longest_wait_s: f64,
}

impl Votes {
    /// Adds the need of one zone, in degrees: reading and setpoints °C, weight as a share of 1.
    pub fn add_need(&mut self, weight: f64, reading_c: f64, cooling_c: f64, heating_c: f64) {
        self.cooling_k += weight * (reading_c - cooling_c).max(0.0);
        self.heating_k += weight * (heating_c - reading_c).max(0.0);
    }

    fn calls(&self, mode: Mode) -> usize {
        match mode {
            Mode::Cooling => self.cooling_calls,
            Mode::Heating => self.heating_calls,
        }
    }

    fn need_k(&self, mode: Mode) -> f64 {
        match mode {
            Mode::Cooling => self.cooling_k,
            Mode::Heating => self.heating_k,
        }
    }
}

impl ModeRule {
    /// The mode these votes ask for, coming from `current`. Ties keep the mode.
    pub fn choice(&self, current: Mode, votes: &Votes) -> Mode {
        let other = current.other();
        let change = match *self {
            Self::Fixed(mode) => return mode,
            Self::FirstCall => votes.calls(current) == 0 && votes.calls(other) > 0,
            Self::LeadZone { .. } => votes.lead == Some(other),
            Self::HeadCount => votes.calls(other) > votes.calls(current),
            Self::WeightedVote { margin_k } => {
                // Zones inside their differential have a need but no call: nothing to change for.
                votes.calls(other) > 0 && votes.need_k(other) > votes.need_k(current) + margin_k
            }
        };
        if change { other } else { current }
    }
}

/// The mode in force and the change being prepared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModeState {
    /// Mode in force.
    pub mode: Mode,
    /// Since when, s.
    pub since_s: f64,
    /// A change that has been decided and waits for the unit to stop, with its reason.
    pub pending: Option<(Mode, Cause)>,
    /// A person's choice, which replaces the rule.
    pub person: Option<Mode>,
    claimed_since_s: Option<f64>,
}

impl ModeSpec {
    /// The state at the start of a run.
    pub fn initial_state(&self) -> ModeState {
        let mode = match self.rule {
            ModeRule::Fixed(mode) => mode,
            _ => self.initial,
        };
        ModeState {
            mode,
            since_s: f64::NEG_INFINITY,
            pending: None,
            person: None,
            claimed_since_s: None,
        }
    }

    /// Whether zones of the other mode may hope for a turn.
    pub fn may_change(&self, state: &ModeState) -> bool {
        state.person.is_none() && !matches!(self.rule, ModeRule::Fixed(_))
    }

    /// Decides, and carries out a decided change when the compressor is off. Returns the cause of
    /// a change made now.
    ///
    /// A vote, head count or first call changes the mode only when no zone calls in the present
    /// one; the lead zone and the wait limit also stop a run (after its minimum run time).
    #[inline]
    pub fn step(&self, t_s: f64, votes: &Votes, running: bool, s: &mut ModeState) -> Option<Cause> {
        self.decide(t_s, votes, s);
        match s.pending {
            Some((mode, cause)) if !running => {
                s.mode = mode;
                s.since_s = t_s;
                s.pending = None;
                s.claimed_since_s = None;
                Some(cause)
            }
            _ => None,
        }
    }

    #[inline]
    fn decide(&self, t_s: f64, votes: &Votes, s: &mut ModeState) {
        let set_by_hand = match (s.person, self.rule) {
            (Some(mode), _) | (None, ModeRule::Fixed(mode)) => Some(mode),
            _ => None,
        };
        if let Some(mode) = set_by_hand {
            s.pending = (mode != s.mode).then_some((mode, Cause::Person));
            s.claimed_since_s = None;
        } else {
            self.weigh(t_s, votes, s);
        }
    }

    #[inline(never)]
    fn weigh(&self, t_s: f64, votes: &Votes, s: &mut ModeState) {
        let other = s.mode.other();
        // A change decided for someone who no longer wants it is dropped.
        if votes.calls(other) == 0 {
            s.pending = None;
            s.claimed_since_s = None;
            return;
        }
        if s.pending.is_some_and(|(_, cause)| cause != Cause::Person) {
            return;
        }
        s.pending = None;
        let claimed_s = if self.rule.choice(s.mode, votes) == other {
            t_s - *s.claimed_since_s.get_or_insert(t_s)
        } else {
            s.claimed_since_s = None;
            f64::NEG_INFINITY
        };
        if t_s - s.since_s < self.hold_s - EPS_S {
            return;
        }
        let idle = votes.calls(s.mode) == 0;
        let (needs_idle, cause) = match self.rule {
            ModeRule::LeadZone { .. } => (false, Cause::LeadZone),
            ModeRule::FirstCall => (true, Cause::Call),
            _ => (true, Cause::Vote),
        };
        if claimed_s >= self.qualify_s - EPS_S && (idle || !needs_idle) {
            s.pending = Some((other, cause));
        } else if votes.longest_wait_s >= self.max_wait_s - EPS_S {
            s.pending = Some((other, Cause::WaitLimit));
        }
    }
}

/// Slack for sums of time steps, s.
const EPS_S: f64 = 1e-6;

#[cfg(test)]
mod tests {
    use super::*;

    fn spec(rule: ModeRule) -> ModeSpec {
        ModeSpec {
            rule,
            initial: Mode::Cooling,
            qualify_s: 600.0,
            hold_s: 0.0,
            change_off_s: 300.0,
            max_wait_s: 1800.0,
        }
    }

    fn votes(cooling: (usize, f64), heating: (usize, f64), wait_s: f64) -> Votes {
        Votes {
            cooling_calls: cooling.0,
            cooling_k: cooling.1,
            heating_calls: heating.0,
            heating_k: heating.1,
            lead: None,
            longest_wait_s: wait_s,
        }
    }

    #[test]
    fn vote_needs_margin_time_and_an_idle_side() {
        let m = spec(ModeRule::WeightedVote { margin_k: 0.2 });
        let mut s = m.initial_state();
        for t in 0..600 {
            let t = f64::from(t);
            assert_eq!(
                m.step(t, &votes((0, 0.1), (1, 0.31), t), false, &mut s),
                None
            );
        }
        let change = m.step(600.0, &votes((0, 0.1), (1, 0.31), 600.0), false, &mut s);
        assert_eq!((change, s.mode), (Some(Cause::Vote), Mode::Heating));

        let mut s = m.initial_state();
        for t in 0..1500 {
            let t = f64::from(t);
            assert_eq!(m.step(t, &votes((1, 0.1), (1, 0.5), t), true, &mut s), None);
            assert_eq!(s.pending, None, "the cooling side still calls");
        }
    }

    #[test]
    fn wait_limit_gives_a_turn_once_the_unit_is_stopped() {
        let m = spec(ModeRule::WeightedVote { margin_k: 0.2 });
        let mut s = m.initial_state();
        let v = |wait| votes((3, 2.0), (1, 0.1), wait);
        assert_eq!(m.step(1799.0, &v(1799.0), true, &mut s), None);
        assert_eq!(s.pending, None);
        assert_eq!(m.step(1800.0, &v(1800.0), true, &mut s), None);
        assert_eq!(s.pending, Some((Mode::Heating, Cause::WaitLimit)));
        assert_eq!(
            m.step(1900.0, &v(1900.0), false, &mut s),
            Some(Cause::WaitLimit)
        );
        assert_eq!(s.mode, Mode::Heating);
    }

    #[test]
    fn a_person_overrules_at_once_and_gives_back() {
        let m = spec(ModeRule::Fixed(Mode::Cooling));
        let mut s = m.initial_state();
        s.person = Some(Mode::Heating);
        assert_eq!(
            m.step(0.0, &Votes::default(), false, &mut s),
            Some(Cause::Person)
        );
        s.person = None;
        assert_eq!(
            m.step(1.0, &Votes::default(), false, &mut s),
            Some(Cause::Person)
        );
        assert_eq!(s.mode, Mode::Cooling);
    }

    #[test]
    fn lead_zone_stops_a_run() {
        let m = spec(ModeRule::LeadZone { zone: 0 });
        let mut s = m.initial_state();
        let v = Votes {
            lead: Some(Mode::Heating),
            ..votes((3, 2.0), (1, 0.1), 0.0)
        };
        m.step(0.0, &v, true, &mut s);
        assert_eq!(s.pending, None);
        m.step(600.0, &v, true, &mut s);
        assert_eq!(s.pending, Some((Mode::Heating, Cause::LeadZone)));
    }
}
