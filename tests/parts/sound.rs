//! Octave-band sound and its ratings, against the worked examples of `tests/reference/`
//! (`sound_examples.json`: computed apart from this crate, values rounded to 0.1 dB) and against
//! python-acoustics (`sound_rating.json`, made by `sound_rating.py`).

use crate::measure::loudest_minute::LoudestMinute;
use crate::measure::noise_rating::{NC_CURVES, NcValue, ROOM_LIMITS, nc_rating, room_limit};
use crate::plant::sound::attenuation::{
    Elbow, Element, FLEXIBLE_LIMIT_M, bare_rectangular_db_m, bare_round_db_m, flexible_db,
    lined_round_db_m, path_loss_db, rectangular_lining_db_m,
};
use crate::plant::sound::chain::background_db;
use crate::plant::sound::damper::{DamperSize, DamperSource, constricted_velocity};
use crate::plant::sound::end_reflection::end_reflection_db;
use crate::plant::sound::fan::{
    FORWARD_CURVED, FORWARD_CURVED_LOWER, FORWARD_CURVED_UPPER, FanSpec, SpecificLevels,
};
use crate::plant::sound::grille::{GrilleShape, GrilleSource, GrilleSpec, RatedGrille};
use crate::plant::sound::heard::Heard;
use crate::plant::sound::octave::{
    A_WEIGHT_DB, OCTAVE_HZ, Octaves, add, dba, energy_to_db, sum_levels_db, to_db, to_energy,
};
use crate::plant::sound::room::furnished_room_db;
use crate::plant::sound::{
    DamperPosition, Operating, OutletOperating, OutletSpec, ReliefSpec, ReturnSpec, RoomSound,
    RoomSpec, SoundError, SoundModel, SoundSpec, SoundState, Source,
};
use proptest::prelude::*;
use serde_json::Value;

// ---- reading the reference values ------------------------------------------------------------

fn examples() -> Value {
    serde_json::from_str(include_str!("../reference/sound_examples.json")).unwrap()
}

fn library() -> Value {
    serde_json::from_str(include_str!("../reference/sound_rating.json")).unwrap()
}

fn octaves(value: &Value) -> Octaves {
    let list: Vec<f64> = value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect();
    list.try_into().unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

#[track_caller]
fn assert_bands(what: &str, got: &Octaves, expected: &Octaves, tolerance_db: f64) {
    for (band, (g, e)) in got.iter().zip(expected).enumerate() {
        let hz = OCTAVE_HZ[band];
        assert!(
            (g - e).abs() <= tolerance_db,
            "{what}, {hz} Hz: {g} instead of {e}"
        );
    }
}

#[track_caller]
fn assert_near(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!(
        (got - expected).abs() <= tolerance,
        "{what}: {got} instead of {expected}"
    );
}

/// Printed to 0.1 dB: half a digit, and a hair for the halves themselves.
const PRINTED: f64 = 0.0501;
/// Worst error of the whole powers of velocity in the damper, as stated with their derivation.
const DAMPER_POWERS_DB: f64 = 0.54;

// ---- the system of the worked example --------------------------------------------------------

const BRANCH_M2: f64 = std::f64::consts::FRAC_PI_4 * 0.2 * 0.2;
const SILENCE: Octaves = [f64::NEG_INFINITY; 8];

fn main_duct() -> Element {
    Element::Rectangular {
        width_m: 0.5,
        height_m: 0.3,
        length_m: 2.0,
        lining_m: 0.0,
    }
}

fn division() -> Element {
    Element::Branch {
        branch_m2: BRANCH_M2,
        branches_m2: 5.0 * BRANCH_M2,
        trunk_m2: 0.15,
    }
}

fn flexible(length_m: f64) -> Element {
    Element::Flexible {
        diameter_m: 0.2,
        length_m,
        porous_core: true,
    }
}

const ELBOW: Element = Element::Elbow {
    kind: Elbow::Round,
    width_m: 0.2,
};

fn fan(levels: SpecificLevels) -> FanSpec {
    FanSpec::Specific {
        levels,
        blade_pass_hz: 665.0,
    }
}

fn spec_a() -> SoundSpec {
    SoundSpec {
        fan: fan(FORWARD_CURVED),
        rooms: vec![RoomSpec {
            volume_m3: 34.0,
            background_db: SILENCE,
        }],
        outlets: vec![OutletSpec {
            room: 0,
            trunk: vec![main_duct(), division()],
            branch: vec![ELBOW, flexible(3.0)],
            damper: Some((DamperSize::round(0.2), DamperPosition::TakeOff)),
            grille: GrilleSpec::register(0.3 * 0.15),
            distance_m: 1.5,
        }],
        returns: vec![],
        relief: None,
    }
}

const OUTLET_A: [OutletOperating; 1] = [OutletOperating {
    flow_m3_s: 0.09,
    damper_drop_pa: 5.0,
}];

fn operating_a(outlets: &[OutletOperating]) -> Operating<'_> {
    Operating {
        fan_flow_m3_s: 0.4,
        fan_static_pa: 150.0,
        fan_efficiency_ratio: None,
        outlets,
        relief_flow_m3_s: 0.0,
        relief_drop_pa: 0.0,
        return_flow_m3_s: 0.0,
    }
}

fn heard(spec: &SoundSpec, now: &Operating) -> SoundState {
    let model = SoundModel::new(spec).unwrap();
    let mut state = model.initial();
    model.step(now, &mut state);
    state
}

fn nc_value(sound: &RoomSound) -> (f64, usize) {
    let rating = nc_rating(&to_db(&sound.total()));
    match rating.value {
        NcValue::Within(value) => (value, rating.governing_band),
        other => panic!("{other}"),
    }
}

// ---- example A -------------------------------------------------------------------------------

#[test]
fn example_a_band_by_band() {
    let json = examples();
    let steps: Vec<Octaves> = json["example_A"]["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| octaves(&s["octaves_dB"]))
        .collect();

    let spec = spec_a();
    let outlet = &spec.outlets[0];
    let fan_db = to_db(&spec.fan.power(0.4, 150.0, None));
    assert_bands("fan", &fan_db, &steps[0], PRINTED);
    assert_bands("main duct", &main_duct().loss_db(), &steps[1], PRINTED);
    assert_bands("branch division", &division().loss_db(), &steps[2], PRINTED);
    let trunk_db = path_loss_db(&outlet.trunk);
    let entering: Octaves = std::array::from_fn(|b| fan_db[b] - trunk_db[b]);
    assert_bands("fan entering branch", &entering, &steps[3], PRINTED);
    let damper_db = DamperSize::round(0.2).level_db(0.09, 5.0);
    assert_bands("damper", &damper_db, &steps[4], PRINTED);
    assert_bands("elbow", &ELBOW.loss_db(), &steps[6], PRINTED);
    assert_bands(
        "flexible duct",
        &flexible(3.0).loss_db(),
        &steps[7],
        PRINTED,
    );
    let reflection_db = end_reflection_db(outlet.grille.area_m2);
    assert_bands("end reflection", &reflection_db, &steps[8], PRINTED);
    assert_bands("grille", &outlet.grille.level_db(0.09), &steps[10], PRINTED);
    assert_bands("room", &furnished_room_db(1.5, 34.0), &steps[12], PRINTED);

    // The whole chain, through the step. The grille's table and the damper's whole powers share
    // the tenth that rounding leaves.
    let sound = heard(&spec, &operating_a(&OUTLET_A)).rooms[0];
    let room_db = to_db(&sound.total());
    assert_bands("level at the listener", &room_db, &steps[13], 0.1);
    let weighted: Octaves = std::array::from_fn(|b| room_db[b] + A_WEIGHT_DB[b]);
    assert_bands("A-weighted", &weighted, &steps[14], 0.1);

    let result = &json["example_A"]["result"];
    assert_near("dB(A)", sound.dba(), number(&result["dBA"]), PRINTED);
    let (nc, band) = nc_value(&sound);
    assert_near("NC", nc, number(&result["NC_classic"]["value"]), PRINTED);
    assert_eq!(
        OCTAVE_HZ[band],
        number(&result["NC_classic"]["governing_Hz"])
    );
    assert_eq!(nc_rating(&room_db).value.to_string(), "NC-25");

    let shares = &result["A_weighted_contribution_dBA"];
    let own = |source: Source| dba(sound.of(source));
    assert_near("fan", own(Source::Fan), number(&shares["fan"]), PRINTED);
    assert_near(
        "grille",
        own(Source::Grille),
        number(&shares["grille"]),
        PRINTED,
    );
    let damper = number(&shares["damper"]);
    assert_near(
        "damper",
        own(Source::Damper),
        damper,
        DAMPER_POWERS_DB + PRINTED,
    );
    let ranking = sound.ranking();
    assert_eq!(ranking[0].source, Source::Fan);
    assert_eq!(ranking[1].source, Source::Grille);
    assert_near("shares", ranking.iter().map(|s| s.share).sum(), 1.0, 1e-12);
    assert_eq!(sound.loudest_in(1), Source::Fan);
    assert_eq!(sound.loudest_in(3), Source::Grille);
}

#[test]
fn damper_sweep_at_constant_flow() {
    for row in examples()["sweep_constant_flow"].as_array().unwrap() {
        let drop_pa = number(&row["damper_Pa"]);
        let flow = number(&row["Q_Ls"]) / 1000.0;
        assert_near(
            "constricted velocity",
            constricted_velocity(flow / BRANCH_M2, drop_pa),
            number(&row["U_c"]),
            0.00501,
        );
        let level_db = DamperSize::round(0.2).level_db(flow, drop_pa);
        assert_bands(
            "damper",
            &level_db,
            &octaves(&row["damper_Lw_octaves"]),
            PRINTED,
        );
        let sum = number(&row["damper_Lw_sum"]);
        assert_near("damper overall", sum_levels_db(level_db), sum, PRINTED);

        let outlets = [OutletOperating {
            flow_m3_s: flow,
            damper_drop_pa: drop_pa,
        }];
        let sound = heard(&spec_a(), &operating_a(&outlets)).rooms[0];
        assert_near("dB(A)", sound.dba(), number(&row["dBA"]), 0.1);
        assert_near("NC", nc_value(&sound).0, number(&row["NC"]), 0.1);
        assert_near(
            "damper dB(A)",
            dba(sound.of(Source::Damper)),
            number(&row["src"]["damper"]),
            DAMPER_POWERS_DB + PRINTED,
        );
    }
}

#[test]
fn sensitivity_of_example_a() {
    let json = examples();
    let check = |name: &str, sound: &RoomSound| {
        let row = &json["sensitivity_of_A"][name];
        assert_near(name, sound.dba(), number(&row["dBA"]), 0.1);
        let (nc, band) = nc_value(sound);
        assert_near(name, nc, number(&row["NC"]), 0.1);
        assert_eq!(OCTAVE_HZ[band], number(&row["at"]), "{name}");
    };
    let with = |change: &dyn Fn(&mut SoundSpec)| {
        let mut spec = spec_a();
        change(&mut spec);
        heard(&spec, &operating_a(&OUTLET_A)).rooms[0]
    };
    check("base A", &with(&|_| ()));
    check(
        "fan Kw lower published set",
        &with(&|s| s.fan = fan(FORWARD_CURVED_LOWER)),
    );
    check(
        "fan Kw upper published set",
        &with(&|s| s.fan = fan(FORWARD_CURVED_UPPER)),
    );
    check(
        "flex 1.8 m instead of 3.0",
        &with(&|s| s.outlets[0].branch[1] = flexible(1.8)),
    );
    check(
        "flex attenuation removed",
        &with(&|s| s.outlets[0].branch.truncate(1)),
    );
    check(
        "end reflection halved in dB",
        &with(&|s| {
            let half_back = end_reflection_db(0.3 * 0.15).map(|l| -0.5 * l);
            s.outlets[0].branch.push(Element::Given(half_back));
        }),
    );
    check(
        "room 60 m3, 3 m",
        &with(&|s| {
            s.rooms[0].volume_m3 = 60.0;
            s.outlets[0].distance_m = 3.0;
        }),
    );
    let slow = [OutletOperating {
        flow_m3_s: 0.7 * 0.09,
        damper_drop_pa: 0.49 * 5.0,
    }];
    let now = Operating {
        fan_flow_m3_s: 0.7 * 0.4,
        fan_static_pa: 0.49 * 150.0,
        ..operating_a(&slow)
    };
    check(
        "whole system slowed to 70 % (flow x0.7, pressures x0.49)",
        &heard(&spec_a(), &now).rooms[0],
    );
}

// ---- sources ---------------------------------------------------------------------------------

#[test]
fn fan_follows_fifty_log_speed() {
    // Fan laws (AMCA): flow as speed, pressure as its square, sound as its fifth power.
    let measured = FanSpec::Measured {
        level_db: [70.0, 68.0, 64.0, 61.0, 58.0, 55.0, 51.0, 45.0],
        flow_m3_s: 0.35,
        static_pa: 120.0,
        efficiency_ratio: Some(0.98),
    };
    for spec in [FanSpec::forward_curved(), measured] {
        for speed in [0.3, 0.5, 0.7, 1.2] {
            let at = |n: f64| to_db(&spec.power(0.35 * n, 120.0 * n * n, Some(0.98)));
            let (full, slow) = (at(1.0), at(speed));
            let change: Octaves = std::array::from_fn(|b| slow[b] - full[b]);
            assert_bands("fan", &change, &[50.0 * f64::log10(speed); 8], 1e-9);
        }
    }
}

#[test]
fn a_measured_fan_is_itself_at_its_point_and_moves_with_efficiency() {
    let level_db = [70.0, 68.0, 64.0, 61.0, 58.0, 55.0, 51.0, 45.0];
    let spec = FanSpec::Measured {
        level_db,
        flow_m3_s: 0.35,
        static_pa: 120.0,
        efficiency_ratio: Some(0.80),
    };
    assert_bands(
        "at its point",
        &to_db(&spec.power(0.35, 120.0, Some(0.80))),
        &level_db,
        1e-9,
    );
    // 34 dB for each unit of efficiency ratio lost, so 3.4 dB from 0.80 to 0.70.
    let louder = level_db.map(|l| l + 3.4);
    assert_bands(
        "off its peak",
        &to_db(&spec.power(0.35, 120.0, Some(0.70))),
        &louder,
        0.01,
    );
}

#[test]
fn blade_increment_goes_into_one_octave() {
    let plain = FORWARD_CURVED.levels_db;
    let unit = to_db(&fan(FORWARD_CURVED).unit_power());
    let added: Octaves = std::array::from_fn(|b| unit[b] - plain[b]);
    assert_bands(
        "blade tone",
        &added,
        &[0.0, 0.0, 0.0, 2.0, 0.0, 0.0, 0.0, 0.0],
        1e-9,
    );
}

#[test]
fn whole_powers_of_velocity_stay_within_their_stated_error() {
    // 0.42 dB for the sixth power and 0.54 dB for the power 8.5, from 2 to 32 m/s.
    for diameter in [0.15, 0.2, 0.3] {
        let size = DamperSize::round(diameter);
        let source = DamperSource::new(&size);
        let (mut worst_low, mut worst_high) = (0.0f64, 0.0f64);
        for i in 0..=200 {
            let fast = 2.0 * 16f64.powf(f64::from(i) / 200.0);
            let velocity = 0.2 * fast;
            let drop_pa = 0.602 * (fast - velocity) * (fast - velocity);
            let flow = velocity * size.area_m2;
            let exact = size.level_db(flow, drop_pa);
            let power = source.energy(flow, drop_pa);
            for band in 0..8 {
                let error = (energy_to_db(power[band]) - exact[band]).abs();
                // The branches of the spectrum cross at a Strouhal number near 25.
                let low = OCTAVE_HZ[band] * diameter / fast < 25.0;
                let worst = if low { &mut worst_low } else { &mut worst_high };
                *worst = worst.max(error);
            }
        }
        assert!(worst_low <= 0.422, "{diameter} m: {worst_low}");
        assert!(worst_high <= 0.542, "{diameter} m: {worst_high}");
    }
}

#[test]
fn doubling_a_damper_drop_adds_nine_decibels_at_the_limit() {
    // 60.7 lg of the constricted velocity, itself duct velocity plus a jet as the root of the
    // drop: under 9.14 dB a doubling, nearer to it the smaller the duct velocity.
    let size = DamperSize::round(0.2);
    let flow = 1.0 * size.area_m2;
    let (mut last, mut drop_pa) = (0.0, 5.0);
    // A velocity 19 times that of the duct is where the damper starts to count as shutting.
    while constricted_velocity(1.0, 2.0 * drop_pa) < 20.0 {
        let (once, twice) = (
            size.level_db(flow, drop_pa),
            size.level_db(flow, 2.0 * drop_pa),
        );
        for band in 0..3 {
            let more = twice[band] - once[band];
            let expected = 60.7
                * (constricted_velocity(1.0, 2.0 * drop_pa) / constricted_velocity(1.0, drop_pa))
                    .log10();
            assert_near("a doubling", more, expected, 1e-9);
        }
        let more = twice[0] - once[0];
        assert!(
            more > last && more < 60.7 * 0.5 * 2f64.log10(),
            "{drop_pa} Pa: {more}"
        );
        (last, drop_pa) = (more, 1.1 * drop_pa);
    }
    assert!((8.4..9.14).contains(&last), "{last}");
    // The step's whole powers do the same: 60 lg, 9.03 dB at the limit.
    let source = DamperSource::new(&size);
    let at = |drop_pa: f64| {
        let power = source.energy(flow, drop_pa);
        to_db(&power)[0]
    };
    let ratio = constricted_velocity(1.0, 200.0) / constricted_velocity(1.0, 100.0);
    assert_near(
        "in the step",
        at(200.0) - at(100.0),
        60.0 * ratio.log10(),
        1e-9,
    );
}

#[test]
fn a_damper_goes_quiet_as_it_shuts_and_silent_when_shut() {
    let size = DamperSize::round(0.2);
    let source = DamperSource::new(&size);
    let overall = |flow: f64| {
        let power = source.energy(flow, 60.0);
        power.iter().sum::<f64>()
    };
    assert_eq!(overall(0.0), 0.0);
    assert_eq!(size.level_db(0.0, 60.0), [f64::NEG_INFINITY; 8]);
    // Under a blockage factor of 0.05 the power is as the flow, nearly.
    let leak = 1e-4;
    assert_near(
        "half the leak",
        overall(leak) / overall(0.5 * leak),
        2.0,
        0.01,
    );
    let mut last = 0.0;
    for i in 0..200 {
        let now = overall(0.02 * f64::from(i) / 200.0);
        assert!(now >= last, "quieter with more flow at one drop");
        last = now;
    }
}

#[test]
fn doubling_the_flow_of_a_grille_adds_eighteen_decibels() {
    // 60 lg 2 overall; the shape moves up an octave with the peak, so band b of one is band b + 1
    // of the other.
    for shape in [GrilleShape::Round, GrilleShape::Rectangular] {
        let spec = GrilleSpec {
            shape,
            ..GrilleSpec::register(0.045)
        };
        let (once, twice) = (spec.level_db(0.09), spec.level_db(0.18));
        for band in 0..7 {
            // The nominal 63 and 125 Hz are not quite an octave apart.
            if band > 0 {
                assert_near(
                    "shifted",
                    twice[band + 1] - once[band],
                    60.0 * 2f64.log10(),
                    1e-9,
                );
            }
        }
        let at = |flow: f64| {
            let power = GrilleSource::new(&spec).energy(flow);
            energy_to_db(power.iter().sum())
        };
        // Peak well inside the eight bands: the sum sees all of the spectrum both times.
        assert_near("overall", at(0.36) - at(0.18), 18.06, 0.1);
    }
    let rated = RatedGrille {
        level_db: [30.0, 30.0, 28.0, 26.0, 22.0, 17.0, 11.0, 5.0],
        flow_m3_s: 0.1,
    };
    let spec = GrilleSpec {
        rated: Some(rated),
        ..GrilleSpec::register(0.05)
    };
    let power = GrilleSource::new(&spec).energy(0.2);
    let expected = rated.level_db.map(|l| l + 60.0 * 2f64.log10());
    assert_bands("rated", &to_db(&power), &expected, 1e-9);
    assert_bands("rated, exact", &spec.level_db(0.2), &expected, 1e-9);
}

#[test]
fn grille_total_is_thirty_log_of_its_drop() {
    // 16.6 + 10 lg S + 30 lg dp; example A: 15 Pa over 0.045 m² is 38.43 dB, peak 320 Hz. Whole
    // octave terms under the peak sum to the total: C at A = lg2(320/f) for a rectangular face.
    let json = examples();
    let grille = &json["example_A"]["grille"];
    let spec = GrilleSpec::register(0.045);
    assert_near(
        "loss coefficient",
        spec.loss_coefficient,
        number(&grille["xi"]),
        0.00501,
    );
    let above = (number(&grille["f_peak"]) / 500.0).log2();
    let octave_term = -11.82 - 0.15 * above - 1.13 * above * above;
    let total = number(&grille["Lw_total"]);
    assert_near(
        "500 Hz",
        spec.level_db(0.09)[3],
        total + octave_term,
        0.00501,
    );
    let by_drop = 16.6 + 10.0 * 0.045f64.log10() + 30.0 * 15f64.log10();
    assert_near("by its drop", by_drop, total, 0.02);
}

// ---- attenuation -----------------------------------------------------------------------------

#[test]
fn duct_tables() {
    // ASHRAE values in dB/m printed to 0.1 (see the sheet of formulae and secondary texts behind
    // each function).
    let bare = bare_rectangular_db_m(0.5, 0.3);
    assert_bands(
        "bare 500 x 300",
        &bare,
        &[1.2, 0.7, 0.4, 0.2, 0.2, 0.2, 0.2, 0.2],
        PRINTED,
    );
    let lined = |side: f64| {
        add(
            &bare_rectangular_db_m(side, side),
            &rectangular_lining_db_m(side, side, 0.0254),
        )
    };
    let printed = [1.8, 2.0, 3.2, 6.9, 15.6, 14.3, 9.6, 7.3];
    assert_bands("lined 300 x 300", &lined(0.3), &printed, PRINTED);
    let printed = [2.6, 3.0, 4.3, 8.5, 20.7, 19.7, 11.5, 8.0];
    assert_bands("lined 200 x 200", &lined(0.2), &printed, PRINTED);
    let printed = [1.2, 1.9, 3.0, 5.0, 7.1, 7.6, 6.7, 4.1];
    assert_bands(
        "round lined 150",
        &lined_round_db_m(0.1524, 0.0254),
        &printed,
        PRINTED,
    );
    let printed = [1.1, 1.8, 2.9, 4.9, 7.2, 7.1, 6.0, 3.9];
    assert_bands(
        "round lined 200",
        &lined_round_db_m(0.2032, 0.0254),
        &printed,
        PRINTED,
    );
    let printed = [0.10, 0.10, 0.10, 0.16, 0.23, 0.23, 0.23, 0.26];
    assert_bands("round bare 200", &bare_round_db_m(0.2), &printed, 1e-12);
}

#[test]
fn more_lining_never_passes_more_sound() {
    let mut last = ([0.0; 8], [0.0; 8]);
    for i in 0..=60 {
        let lining_m = 0.001 * f64::from(i);
        let now = (
            rectangular_lining_db_m(0.3, 0.2, lining_m),
            lined_round_db_m(0.2, lining_m),
        );
        for band in 0..8 {
            assert!(now.0[band] >= last.0[band], "rectangular, {lining_m} m");
            assert!(now.1[band] >= last.1[band] - 1e-12, "round, {lining_m} m");
        }
        last = now;
    }
}

#[test]
fn lined_runs_are_capped() {
    assert_eq!(flexible_db(0.15, 30.0), flexible_db(0.15, FLEXIBLE_LIMIT_M));
    let pipe = |length_m: f64| Element::Flexible {
        diameter_m: 0.15,
        length_m,
        porous_core: true,
    };
    // Two 3.7 m runs of 150 mm lose 66 to 80 dB by the table in the middle bands; 40 is the cap,
    // and the elbow between them stays on top.
    let elbow = Element::Elbow {
        kind: Elbow::Round,
        width_m: 0.15,
    };
    let loss = path_loss_db(&[pipe(3.7), elbow, pipe(3.7)]);
    let expected = [16.0, 24.0, 34.0, 41.0, 42.0, 43.0, 43.0, 43.0];
    let elbow_db = elbow.loss_db();
    assert_bands(
        "elbow",
        &elbow_db,
        &[0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 3.0, 3.0],
        1e-12,
    );
    assert_bands("capped", &loss, &expected, 1e-9);
    let long = Element::Rectangular {
        width_m: 0.2,
        height_m: 0.2,
        length_m: 9.0,
        lining_m: 0.0254,
    };
    assert!(long.loss_db().iter().all(|l| *l <= 40.0));
    let tight = Element::Flexible {
        diameter_m: 0.15,
        length_m: 1.8,
        porous_core: false,
    };
    let half = flexible_db(0.15, 1.8).map(|l| 0.5 * l);
    assert_bands("airtight core", &tight.loss_db(), &half, 1e-12);
}

#[test]
fn energy_is_kept_where_a_trunk_divides() {
    // Branches that together match the trunk take all of its sound and no more.
    let areas = [0.02, 0.03, 0.05];
    let all: f64 = areas.iter().sum();
    let part = |branch_m2: f64, trunk_m2: f64| {
        Element::Branch {
            branch_m2,
            branches_m2: all,
            trunk_m2,
        }
        .loss_db()[0]
    };
    let sum = |trunk_m2: f64| sum_levels_db(areas.map(|a| -part(a, trunk_m2)));
    assert_near("matched", sum(all), 0.0, 1e-12);
    assert!(sum(2.0 * all) < 0.0 && sum(0.5 * all) < 0.0);
    // What a mismatched division reflects is what a step of area reflects.
    let step = Element::AreaStep {
        from_m2: 2.0 * all,
        to_m2: all,
    }
    .loss_db()[0];
    assert_near("as a step", sum(2.0 * all), -step, 1e-12);
}

#[test]
fn end_reflection_against_its_printed_table() {
    // Flush, ASHRAE 2011 form, whole dB: diameter, then 63 Hz to 1 kHz.
    let rows: [(f64, [f64; 5]); 6] = [
        (0.10, [22.0, 16.0, 10.0, 5.0, 2.0]),
        (0.15, [18.0, 12.0, 7.0, 3.0, 1.0]),
        (0.20, [16.0, 10.0, 5.0, 2.0, 1.0]),
        (0.25, [14.0, 8.0, 4.0, 1.0, 0.0]),
        (0.30, [12.0, 7.0, 3.0, 1.0, 0.0]),
        (0.40, [10.0, 5.0, 2.0, 1.0, 0.0]),
    ];
    for (diameter, printed) in rows {
        let area = std::f64::consts::FRAC_PI_4 * diameter * diameter;
        let loss = end_reflection_db(area);
        for (band, expected) in printed.into_iter().enumerate() {
            assert_near(
                &format!("{diameter} m, band {band}"),
                loss[band],
                expected,
                0.501,
            );
        }
    }
}

#[test]
fn room_relations() {
    // Schultz: 3 dB per doubling of distance, nothing nearer than 1 m.
    let (near, far) = (furnished_room_db(1.5, 34.0), furnished_room_db(3.0, 34.0));
    let fall: Octaves = std::array::from_fn(|b| near[b] - far[b]);
    assert_bands("distance", &fall, &[10.0 * 2f64.log10(); 8], 1e-12);
    assert_eq!(furnished_room_db(0.2, 34.0), furnished_room_db(1.0, 34.0));
}

// ---- ratings ---------------------------------------------------------------------------------

#[test]
fn weights_and_curves_are_those_of_python_acoustics() {
    let json = library();
    assert_eq!(A_WEIGHT_DB, octaves(&json["a_weight_db"]));
    for (nc, curve) in NC_CURVES {
        assert_eq!(
            curve,
            octaves(&json["nc_curves"][nc.to_string()]),
            "NC-{nc}"
        );
    }
}

#[test]
fn spectra_rate_as_in_python_acoustics() {
    // Its nc() gives the next curve, in steps of 5, that no octave exceeds.
    let (mut below, mut within, mut above) = (0, 0, 0);
    for spectrum in library()["spectra"].as_array().unwrap() {
        let levels = octaves(&spectrum["levels_db"]);
        let nc = spectrum["nc"].as_str().unwrap();
        assert_near(
            "dB(A)",
            dba(&to_energy(&levels)),
            number(&spectrum["dba"]),
            1e-9,
        );
        match nc_rating(&levels).value {
            NcValue::Below15 => {
                below += 1;
                assert_eq!(nc, "15");
            }
            NcValue::Within(value) => {
                within += 1;
                assert_eq!(nc, (5.0 * (value / 5.0 - 1e-9).ceil()).to_string());
            }
            NcValue::Above65 => {
                above += 1;
                assert!(nc.starts_with("70"), "{nc}");
            }
        }
    }
    assert!(within > 30, "{below} below, {within} within, {above} above");
}

#[test]
fn nc_by_hand() {
    // On a curve, every octave gives its number; one octave raised governs alone.
    for (nc, curve) in NC_CURVES {
        assert_eq!(nc_rating(&curve).value, NcValue::Within(nc));
    }
    let mut levels = NC_CURVES[2].1; // NC-25
    levels[1] = 45.5; // 44 at NC-25, 48 at NC-30: 25 + 5 · 1.5 / 4
    let rating = nc_rating(&levels);
    assert_eq!(
        (rating.value, rating.governing_band),
        (NcValue::Within(26.875), 1)
    );
    assert_eq!(rating.value.to_string(), "NC-27");
    assert_eq!(rating.value.rounded_up(), Some(27.0));

    let quiet = NC_CURVES[0].1.map(|l| l - 0.1);
    assert_eq!(nc_rating(&quiet).value, NcValue::Below15);
    assert_eq!(
        nc_rating(&[f64::NEG_INFINITY; 8]).value.to_string(),
        "<NC-15"
    );
    let mut loud = NC_CURVES[10].1.map(|l| l - 30.0);
    loud[6] = 63.1;
    let rating = nc_rating(&loud);
    assert_eq!((rating.value, rating.governing_band), (NcValue::Above65, 6));
    assert_eq!(rating.value.to_string(), ">NC-65");
}

#[test]
fn default_background_is_the_lowest_curve_lowered_to_20_dba() {
    let background = background_db(20.0);
    assert_near("dB(A)", dba(&to_energy(&background)), 20.0, 1e-9);
    let shift = background[0] - NC_CURVES[0].1[0];
    assert_bands(
        "shape",
        &background,
        &NC_CURVES[0].1.map(|l| l + shift),
        1e-9,
    );
    assert_eq!(nc_rating(&background).value, NcValue::Below15);
}

#[test]
fn limits_name_their_source_and_can_be_found() {
    for limit in ROOM_LIMITS {
        assert!(!limit.source.is_empty());
        assert_eq!(room_limit(limit.room_use), Some(limit));
        // Every published pair has dB(A) about 5 over NC.
        assert_near(limit.room_use, limit.dba - limit.nc, 5.0, 0.0);
    }
    assert_eq!(
        room_limit("bedroom").map(|l| (l.dba, l.nc)),
        Some((30.0, 25.0))
    );
    assert_eq!(room_limit("boiler room"), None);
}

// ---- over time -------------------------------------------------------------------------------

/// One room, all its sound at 1 kHz from the fan, at a level in dB.
fn tone(level_db: f64) -> SoundState {
    let mut room = RoomSound::SILENT;
    room.by_source[Source::Fan as usize][4] = 10f64.powf(level_db / 10.0);
    SoundState { rooms: vec![room] }
}

#[test]
fn the_loudest_minute_is_found_with_its_spectrum() {
    // Checked against every window worked out afresh, for several lengths of step.
    for step_s in [1.0, 5.0, 20.0, 60.0, 90.0] {
        let level =
            |i: usize| 30.0 + 12.0 * (i as f64 * 0.11 * step_s / 5.0).sin() + 0.001 * i as f64;
        let mut finder = LoudestMinute::new(1, step_s);
        assert_eq!(finder.loudest(0), None);
        // Only the fan changes in a tone: another that keeps nothing else finds the same.
        let always = tone(level(0)).rooms;
        let mut short = LoudestMinute::with_sources(always, |_| &[Source::Fan], step_s);
        let window = (60.0f64 / step_s).round().max(1.0) as usize;
        let mean = |end: usize| {
            let from = (end + 1).saturating_sub(window);
            let sum: f64 = (from..=end)
                .map(|i| tone(level(i)).rooms[0].a_energy())
                .sum();
            (sum / (end + 1 - from) as f64, from)
        };
        for now in 0..400 {
            let state = tone(level(now));
            let heard = [Heard::of(&state.rooms[0])];
            finder.push(1000.0 + step_s * now as f64, &state, &heard);
            short.push(1000.0 + step_s * now as f64, &state, &heard);
            assert_eq!(finder.loudest(0), short.loudest(0));
            let full = (window - 1).min(now)..=now;
            let best = full.map(mean).max_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
            let found = finder.loudest(0).unwrap();
            assert_near("level", found.sound.dba(), energy_to_db(best.0), 1e-9);
            assert_eq!(found.start_s, 1000.0 + step_s * best.1 as f64);
            assert_eq!(found.duration_s, step_s * window.min(now + 1) as f64);
            assert_eq!(found.sound.loudest_in(4), Source::Fan);
        }
        assert_eq!(finder.loudest(1), None);
    }
}

// ---- the whole chain -------------------------------------------------------------------------

/// Two rooms, three outlets, a return in the second room and relief to the return.
fn house(relief: Option<ReliefSpec>) -> SoundSpec {
    let one = |room: usize, position: DamperPosition| OutletSpec {
        room,
        damper: Some((DamperSize::round(0.2), position)),
        ..spec_a().outlets.remove(0)
    };
    let room = RoomSpec {
        volume_m3: 34.0,
        background_db: background_db(20.0),
    };
    SoundSpec {
        fan: FanSpec::forward_curved(),
        rooms: vec![room.clone(), room],
        outlets: vec![
            one(0, DamperPosition::TakeOff),
            one(1, DamperPosition::TakeOff),
            one(1, DamperPosition::Outlet),
        ],
        returns: vec![ReturnSpec {
            room: 1,
            path: vec![flexible(2.0)],
            grille: GrilleSpec::register(0.12),
            distance_m: 2.0,
        }],
        relief,
    }
}

fn to_return() -> Option<ReliefSpec> {
    let path = vec![ELBOW];
    Some(ReliefSpec::ToReturn {
        damper: DamperSize::round(0.25),
        path,
    })
}

/// The house with every flow times `n` and every pressure times its square.
fn running(n: f64, outlets: &mut [OutletOperating; 3]) -> Operating<'_> {
    *outlets = [(0.08, 4.0), (0.06, 30.0), (0.05, 50.0)].map(|(flow, drop)| OutletOperating {
        flow_m3_s: flow * n,
        damper_drop_pa: drop * n * n,
    });
    Operating {
        fan_flow_m3_s: 0.26 * n,
        fan_static_pa: 150.0 * n * n,
        fan_efficiency_ratio: Some(0.9),
        outlets,
        relief_flow_m3_s: 0.07 * n,
        relief_drop_pa: 60.0 * n * n,
        return_flow_m3_s: 0.19 * n,
    }
}

#[test]
fn at_rest_there_is_background_only() {
    let model = SoundModel::new(&house(to_return())).unwrap();
    let mut state = model.initial();
    let rest = state.clone();
    let mut outlets = [OutletOperating::default(); 3];
    model.step(&running(1.0, &mut outlets), &mut state);
    assert!(state != rest);
    let still = [OutletOperating {
        flow_m3_s: 0.0,
        damper_drop_pa: 40.0,
    }; 3];
    let now = Operating {
        fan_flow_m3_s: 0.0,
        relief_flow_m3_s: 0.0,
        return_flow_m3_s: 0.0,
        outlets: &still,
        ..running(1.0, &mut outlets)
    };
    model.step(&now, &mut state);
    assert_eq!(state, rest);
    for room in &state.rooms {
        assert_near("background", room.dba(), 20.0, 1e-9);
        assert_eq!(room.ranking()[0].source, Source::Background);
    }
}

#[test]
fn every_source_is_heard_where_it_should_be() {
    let mut outlets = [OutletOperating::default(); 3];
    let now = running(1.0, &mut outlets);
    let state = heard(&house(to_return()), &now);
    let silent = |room: usize, source: Source| *state.rooms[room].of(source) == [0.0; 8];
    for source in [Source::Fan, Source::Damper, Source::Grille] {
        assert!(
            !silent(0, source) && !silent(1, source),
            "{}",
            source.name()
        );
    }
    assert!(silent(0, Source::Return) && silent(0, Source::Relief));
    assert!(!silent(1, Source::Return) && !silent(1, Source::Relief));
    // A damper behind the grille is louder than one at the take-off by the elbow and the duct.
    let near = DamperSize::round(0.2).level_db(0.05, 50.0);
    let reflection = end_reflection_db(0.045);
    let room = furnished_room_db(1.5, 34.0);
    let alone = Operating {
        outlets: &[now.outlets[0], OutletOperating::default(), now.outlets[2]],
        ..now
    };
    let state = heard(&house(to_return()), &alone);
    let expected: Octaves = std::array::from_fn(|b| near[b] - reflection[b] + room[b]);
    let got = to_db(state.rooms[1].of(Source::Damper));
    assert_bands("behind the grille", &got, &expected, DAMPER_POWERS_DB);
}

#[test]
fn relief_to_a_room_is_an_outlet_that_counts_as_relief() {
    let dump = OutletSpec {
        room: 0,
        ..spec_a().outlets.remove(0)
    };
    let mut as_outlet = house(None);
    as_outlet.outlets.push(dump.clone());
    let mut outlets = [OutletOperating::default(); 3];
    let now = running(1.0, &mut outlets);
    let relief = heard(&house(Some(ReliefSpec::ToRoom(dump))), &now);
    let with = OutletOperating {
        flow_m3_s: now.relief_flow_m3_s,
        damper_drop_pa: now.relief_drop_pa,
    };
    let four = [now.outlets[0], now.outlets[1], now.outlets[2], with];
    let outlet = heard(
        &as_outlet,
        &Operating {
            outlets: &four,
            ..now
        },
    );
    let (a, b) = (
        to_db(&relief.rooms[0].total()),
        to_db(&outlet.rooms[0].total()),
    );
    assert_bands("room 0", &a, &b, 1e-9);
    assert_eq!(relief.rooms[1], outlet.rooms[1]);
    assert!(dba(relief.rooms[0].of(Source::Relief)) > 0.0);
}

#[test]
fn backflow_sounds_like_flow_and_nonsense_is_no_sound() {
    let forward = heard(&spec_a(), &operating_a(&OUTLET_A));
    let back = [OutletOperating {
        flow_m3_s: -0.09,
        damper_drop_pa: 5.0,
    }];
    assert_eq!(heard(&spec_a(), &operating_a(&back)), forward);
    let suction = [OutletOperating {
        flow_m3_s: 0.0,
        damper_drop_pa: -5.0,
    }];
    let now = Operating {
        fan_static_pa: -20.0,
        ..operating_a(&suction)
    };
    assert_eq!(heard(&spec_a(), &now).rooms[0], RoomSound::SILENT);
}

#[test]
fn what_cannot_be_is_refused_by_name() {
    let refused = |change: &dyn Fn(&mut SoundSpec)| {
        let mut spec = house(to_return());
        change(&mut spec);
        SoundModel::new(&spec).unwrap_err()
    };
    let error = refused(&|s| s.outlets[1].room = 7);
    assert_eq!(
        error,
        SoundError::Room {
            part: "outlet 1".into(),
            room: 7,
            rooms: 2
        }
    );
    assert_eq!(
        error.to_string(),
        "outlet 1 is in room 7, but there are 2 rooms, counted from 0"
    );
    let value = |part: &str, name: &'static str, value: f64| SoundError::Value {
        part: part.into(),
        name,
        value,
    };
    let error = refused(&|s| s.outlets[0].grille.area_m2 = 0.0);
    assert_eq!(error, value("outlet 0", "grille area_m2", 0.0));
    let error = refused(&|s| s.rooms[1].volume_m3 = -3.0);
    assert_eq!(error, value("room 1", "volume_m3", -3.0));
    let error = refused(&|s| s.returns[0].path = vec![flexible(-1.0)]);
    assert_eq!(error, value("return 0", "length_m", -1.0));
    let error = refused(&|s| {
        s.relief = Some(ReliefSpec::ToRoom(OutletSpec {
            room: 2,
            ..s.outlets[0].clone()
        }))
    });
    assert_eq!(
        error,
        SoundError::Room {
            part: "relief".into(),
            room: 2,
            rooms: 2
        }
    );
    // A silent background is fine, an infinite one is not.
    let mut spec = house(None);
    spec.rooms[0].background_db = SILENCE;
    assert!(SoundModel::new(&spec).is_ok());
    spec.rooms[0].background_db = [f64::INFINITY; 8];
    assert!(SoundModel::new(&spec).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn more_flow_is_never_quieter(n in 0.01f64..2.5, more in 1.0001f64..1.5) {
        let model = SoundModel::new(&house(to_return())).unwrap();
        let (mut slow, mut fast) = (model.initial(), model.initial());
        let mut outlets = [OutletOperating::default(); 3];
        model.step(&running(n, &mut outlets), &mut slow);
        model.step(&running(n * more, &mut outlets), &mut fast);
        for (slow, fast) in slow.rooms.iter().zip(&fast.rooms) {
            for (a, b) in slow.by_source.iter().flatten().zip(fast.by_source.iter().flatten()) {
                prop_assert!(b >= a, "{a} then {b}");
            }
        }
    }

    #[test]
    fn sources_sum_to_the_room(flow in -0.3f64..0.3, drop in 0.0f64..300.0, n in 0.0f64..2.0) {
        let mut outlets = [OutletOperating::default(); 3];
        running(n, &mut outlets);
        outlets[1] = OutletOperating { flow_m3_s: flow, damper_drop_pa: drop };
        let given = outlets;
        let now = Operating { outlets: &given, ..running(n, &mut outlets) };
        for room in heard(&house(to_return()), &now).rooms {
            prop_assert!(room.by_source.iter().flatten().all(|e| e.is_finite() && *e >= 0.0));
            let by_source = sum_levels_db(Source::ALL.map(|s| dba(room.of(s))));
            prop_assert!((by_source - room.dba()).abs() < 1e-9);
            let ranking = room.ranking();
            prop_assert!(ranking.windows(2).all(|w| w[0].share >= w[1].share));
            let shares: f64 = ranking.iter().map(|s| s.share).sum();
            prop_assert!((shares - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn raising_an_octave_never_lowers_a_rating(
        levels in prop::array::uniform8(-10.0f64..90.0), band in 0usize..8, more in 0.0f64..20.0,
    ) {
        let mut raised = levels;
        raised[band] += more;
        prop_assert!(nc_rating(&raised).value >= nc_rating(&levels).value);
        prop_assert!(dba(&to_energy(&raised)) >= dba(&to_energy(&levels)));
    }
}
