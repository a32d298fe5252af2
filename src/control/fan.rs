//! The fan's command: a fraction of full speed, or of full airflow for a constant-airflow drive.

use super::staging::Stages;

/// How the fan follows the unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FanLaw {
    /// One fraction a stage. A variable-speed unit takes `low` at its minimum and `full` from rated
    /// speed up, linear between.
    PerStage {
        /// Fraction at the low stage.
        low: f64,
        /// Fraction at full.
        full: f64,
    },
    /// at_zero + (1 - at_zero) x speed, up to `maximum`.
    Linear {
        /// Fraction the line reaches at speed 0; 0.4 in the generic unit (our own choice).
        at_zero: f64,
        /// Greatest fraction.
        maximum: f64,
    },
}

/// The fan's commands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FanSpec {
    /// While the compressor runs.
    pub law: FanLaw,
    /// Fraction during the post-run.
    pub post_run: f64,
}

impl FanSpec {
    /// Fraction at a unit speed.
    pub fn running(&self, speed: f64, stages: &Stages) -> f64 {
        match self.law {
            FanLaw::PerStage { low, full } => {
                let minimum = stages.minimum();
                if minimum >= 1.0 || speed >= 1.0 {
                    full
                } else {
                    let x = ((speed - minimum) / (1.0 - minimum)).clamp(0.0, 1.0);
                    low + (full - low) * x
                }
            }
            FanLaw::Linear { at_zero, maximum } => {
                (at_zero + (1.0 - at_zero) * speed).min(maximum).max(0.0)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn follows_the_stage() {
        let fan = FanSpec {
            law: FanLaw::PerStage {
                low: 0.7,
                full: 1.0,
            },
            post_run: 0.5,
        };
        assert_eq!(fan.running(1.0, &Stages::FixedSpeed), 1.0);
        assert_eq!(fan.running(0.6, &Stages::TwoStage { low: 0.6 }), 0.7);
        assert_eq!(fan.running(1.0, &Stages::TwoStage { low: 0.6 }), 1.0);
        let line = FanSpec {
            law: FanLaw::Linear {
                at_zero: 0.4,
                maximum: 1.0,
            },
            post_run: 0.5,
        };
        let any = Stages::VariableSpeed {
            minimum: 0.25,
            maximum: 1.2,
            ramp_per_s: 0.01,
        };
        assert!((line.running(0.25, &any) - 0.55).abs() < 1e-12);
        assert_eq!(line.running(1.2, &any), 1.0);
    }
}
