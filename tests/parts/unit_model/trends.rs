//! What must hold for any operating point.

use super::common::{SAT, air, cool, heat};
use crate::plant::air::MoistAir;
use proptest::prelude::*;

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// A hotter outdoor costs capacity and takes power (rating-table trend, from memory).
    #[test]
    fn cooling_falls_with_outdoor_temperature(
        t in 14.0..30.0f64, rh in 0.15..0.8f64, flow in 0.2..0.75f64,
        outdoor in 20.0..43.0f64, speed in 0.25..1.2f64, warmer in 0.1..1.0f64,
    ) {
        let mild = cool(air(t, rh), flow, outdoor, speed);
        let hot = cool(air(t, rh), flow, outdoor + warmer, speed);
        // At the floor of the search the air decides, not the refrigerant.
        if hot.at_limit {
            prop_assert!(mild.at_limit && hot.total_w == mild.total_w);
        } else {
            prop_assert!(hot.total_w < mild.total_w);
            prop_assert!(hot.surface_c > mild.surface_c);
        }
    }

    /// Less air: no more capacity (the same where the map is held), colder surface and supply. The
    /// surface is found to 1e-8 K, and 0.7 kg/s of air at 3 kJ/(kg K) makes 2.1e-5 W of that.
    #[test]
    fn supply_falls_with_airflow(
        t in 18.0..30.0f64, rh in 0.1..0.8f64, flow in 0.1..0.7f64,
        outdoor in 20.0..44.0f64, speed in 0.25..1.2f64, less in 0.5..0.99f64,
    ) {
        let full = cool(air(t, rh), flow, outdoor, speed);
        let less = cool(air(t, rh), flow * less, outdoor, speed);
        prop_assert!(less.total_w <= full.total_w + 2.1e-5);
        prop_assert!(less.surface_c <= full.surface_c);
        prop_assert!(less.leaving.t_c < full.leaving.t_c + 1e-9);
    }

    /// Air and refrigerant agree, and the leaving air lies between surface and inlet.
    #[test]
    fn the_coil_keeps_its_balances(
        t in -20.0..50.0f64, rh in 0.0..1.0f64, flow in 0.0..2.0f64,
        outdoor in -10.0..60.0f64, speed in 0.0..2.0f64,
    ) {
        let inlet = air(t, rh);
        let state = cool(inlet, flow, outdoor, speed);
        let drop = inlet.enthalpy_j_kg() - state.leaving.enthalpy_j_kg();
        prop_assert!((flow * drop - state.total_w).abs() < 1e-6 * (1.0 + state.total_w));
        prop_assert!((state.sensible_w + state.latent_w - state.total_w).abs() < 1e-6);
        prop_assert!(state.total_w >= 0.0 && state.latent_w > -1e-6);
        prop_assert!(state.leaving.t_c <= inlet.t_c && state.leaving.t_c >= state.surface_c - 0.02);
        prop_assert!(state.leaving.w <= inlet.w + 1e-15);
        prop_assert!(state.compressor_w > 0.0 && state.surface_c.is_finite());
    }

    /// Across the point where the coil begins to condense nothing jumps.
    #[test]
    fn the_wet_and_dry_branches_meet(
        t in 20.0..32.0f64, flow in 0.3..0.75f64, outdoor in 20.0..44.0f64, speed in 0.25..1.2f64,
    ) {
        let (mut dry, mut wet) = (0.0, SAT.w_sat(t));
        let at = |w: f64| cool(MoistAir::new(t, w), flow, outdoor, speed);
        for _ in 0..40 {
            let middle = 0.5 * (dry + wet);
            if at(middle).condensate_kg_s > 0.0 { wet = middle } else { dry = middle }
        }
        let (below, above) = (at(dry), at(wet));
        prop_assert!((below.total_w - above.total_w).abs() < 1e-3);
        prop_assert!((below.leaving.t_c - above.leaving.t_c).abs() < 1e-6);
        prop_assert!((below.surface_c - above.surface_c).abs() < 1e-6);
        prop_assert!((below.compressor_w - above.compressor_w).abs() < 1e-3);
    }

    /// Heating: output falls with colder outdoor air outside the frost triangle, never cools,
    /// and moves no moisture.
    #[test]
    fn heating_trends(
        t in 14.0..30.0f64, flow in 0.3..0.75f64, outdoor in 7.0..17.0f64, speed in 0.25..1.2f64,
    ) {
        let (mild, cold) = (heat(t, flow, outdoor + 1.0, speed), heat(t, flow, outdoor, speed));
        prop_assert!(mild.total_w <= cold.total_w && cold.total_w < 0.0);
        prop_assert!(mild.leaving.t_c >= cold.leaving.t_c && cold.leaving.t_c > t);
        prop_assert!(cold.surface_c <= 63.0 && cold.latent_w.abs() < 1e-9);
        let balance = flow * (cold.leaving.t_c - t) * cold.leaving.specific_heat_j_kg_k();
        prop_assert!((balance + cold.total_w).abs() < 1e-6);
    }
}
