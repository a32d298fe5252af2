//! Bad input gets clear errors, all in one go: file, line, what was found, what would be right.

use crate::scenario::Scenario;
use crate::scenario::diagnostic::Diagnostic;
use crate::scenario::shelf::STARTER;

/// The starter with `from` replaced by `to`, and the line on which the change stands.
fn broken(from: &str, to: &str) -> (Diagnostic, usize) {
    assert!(STARTER.contains(from), "the starter has no {from:?}");
    let text = STARTER.replacen(from, to, 1);
    let at = STARTER.find(from).unwrap();
    let line =
        STARTER[..at].lines().count() + usize::from(at == 0 || STARTER[..at].ends_with('\n'));
    let fault = Scenario::from_text("house", &text).expect_err("this must be refused");
    (fault, line)
}

/// Asserts file, line, what was found and the advice.
fn refused(from: &str, to: &str, line_offset: isize, what: &str, advice: &str) {
    let (fault, line) = broken(from, to);
    let shown = fault.render(false);
    assert!(
        fault.what().contains(what),
        "what: {}\n{shown}",
        fault.what()
    );
    let given = fault.advice().unwrap_or_default();
    assert!(given.contains(advice), "advice: {given}\n{shown}");
    let place = format!(
        "house.toml:{}:",
        line.checked_add_signed(line_offset).unwrap()
    );
    assert!(shown.contains(&place), "not at {place}\n{shown}");
}

#[test]
fn the_starter_itself_is_good() {
    let s = Scenario::from_text("house", STARTER).unwrap_or_else(|e| panic!("{}", e.render(false)));
    assert_eq!(s.zones.len(), 2);
    assert!(!s.defaults.is_empty());
    assert!(s.defaults.iter().all(|d| !d.source.is_empty()));
}

#[test]
fn toml_that_cannot_be_read() {
    refused(
        "latitude = \"-35 deg\"",
        "latitude = ",
        0,
        "no value after",
        "write latitude",
    );
}

#[test]
fn a_bare_number_where_a_unit_is_due() {
    refused("flow = \"260 L/s\"", "flow = 260", 0, "flow", "260 L/s");
}

#[test]
fn an_unknown_unit() {
    refused("\"260 L/s\"", "\"260 litres\"", 0, "litres", "L/s");
}

#[test]
fn a_unit_of_another_dimension() {
    refused("\"260 L/s\"", "\"260 Pa\"", 0, "pressure", "L/s");
}

#[test]
fn a_value_out_of_range() {
    refused("area = \"30 m2\"", "area = \"0.2 m2\"", 0, "0.2", "1 m2");
}

#[test]
fn an_unknown_key() {
    refused("utc_offset", "utc_ofset", 0, "utc_ofset", "utc_offset");
}

#[test]
fn an_unknown_section() {
    refused("[relief]", "[releif]", 0, "releif", "relief");
}

#[test]
fn a_missing_key() {
    refused("flow = \"260 L/s\"\n", "", -1, "[fan]", "350 L/s");
}

#[test]
fn an_unknown_choice() {
    refused(
        "kind = \"variable speed\"",
        "kind = \"variabel speed\"",
        0,
        "variabel",
        "variable speed",
    );
}

#[test]
fn a_room_that_does_not_exist() {
    refused(
        "room = \"living\"",
        "room = \"livng\"",
        0,
        "livng",
        "living",
    );
}

#[test]
fn a_channel_that_no_zone_owns() {
    let extra = "[outlet.extra]\nroom = \"bed\"\ndiameter = \"150 mm\"\nchannel = 7\n\n[relief]";
    refused("[relief]", extra, 3, "channel 7", "channels of one zone");
}

#[test]
fn a_channel_owned_twice() {
    refused(
        "channels = [2]",
        "channels = [2, 1]",
        0,
        "owned twice",
        "exactly one zone",
    );
}

#[test]
fn a_channel_that_drives_nothing() {
    refused(
        "channels = [2]",
        "channels = [2, 5]",
        0,
        "no damper has channel 5",
        "in use are 1, 2",
    );
}

#[test]
fn two_dampers_on_one_channel() {
    refused(
        "grille = \"300 mm x 200 mm\"\nchannel = 2",
        "grille = \"300 mm x 200 mm\"\nchannel = 1",
        1,
        "already drives another damper",
        "2 is free",
    );
}

#[test]
fn a_zone_that_owns_the_relief() {
    refused(
        "kind = \"weighted blade\"       # or \"motorised\" (with channel and setpoint), or \"none\"",
        "kind = \"motorised\"\nsetpoint = \"80 Pa\"\nchannel = 2",
        2,
        "already drives another damper",
        "3 is free",
    );
}

#[test]
fn a_thermostat_in_a_room_the_zone_does_not_serve() {
    refused(
        "thermostat = \"bed\"",
        "thermostat = \"living\"",
        0,
        "none of its outlets",
        "bed",
    );
}

#[test]
fn overlapping_periods_of_a_schedule() {
    refused(
        "schedule = [{ from = \"07:00\", to = \"23:00\" }]",
        "schedule = [{ from = \"07:00\", to = \"23:00\" }, { from = \"22:00\", to = \"24:00\" }]",
        0,
        "period",
        "overlap",
    );
}

#[test]
fn hours_that_end_when_they_begin() {
    refused(
        "from = \"17:00\", to = \"23:00\"",
        "from = \"17:00\", to = \"17:00\"",
        0,
        "end when they begin",
        "24:00",
    );
}

#[test]
fn a_time_that_is_none() {
    refused("from = \"17:00\"", "from = \"25:00\"", 0, "25:00", "06:30");
}

#[test]
fn a_grille_without_a_size() {
    refused(
        "\"400 mm x 250 mm\"",
        "\"400 mm\"",
        0,
        "400 mm",
        "300 mm x 150 mm",
    );
}

#[test]
fn a_duct_both_round_and_rectangular() {
    let to = "diameter = \"250 mm\"\nwidth = \"200 mm\"";
    let (fault, _) = broken("diameter = \"250 mm\"", to);
    assert!(
        fault.what().contains("neither round nor rectangular"),
        "{}",
        fault.what()
    );
    assert!(fault.advice().unwrap_or_default().contains("diameter"));
    assert!(fault.render(false).contains("house.toml:"));
}

#[test]
fn steps_that_do_not_fit_the_run() {
    refused(
        "duration = \"24 h\"",
        "duration = \"1000.5 s\"",
        0,
        "whole number of steps",
        "1001 s",
    );
}

#[test]
fn a_base_file_that_is_missing() {
    let text = format!("based_on = \"famly-house.toml\"\n{STARTER}");
    let fault = Scenario::from_text("house", &text).expect_err("no such base");
    let shown = fault.render(false);
    assert!(shown.contains("house.toml:1:"), "{shown}");
    assert!(
        shown.contains("family-house.toml"),
        "the nearest name is due\n{shown}"
    );
}

#[test]
fn taking_out_what_is_not_there() {
    let text = "based_on = \"family-house.toml\"\nwithout = [\"outlet.living-sout\"]\n";
    let fault = Scenario::from_text("what-if", text).expect_err("no such outlet");
    let shown = fault.render(false);
    assert!(shown.contains("what-if.toml:2:"), "{shown}");
    assert!(shown.contains("outlet.living-south"), "{shown}");
}

#[test]
fn a_fault_in_the_base_is_shown_in_the_base() {
    // The trunk that the inherited outlets come from is taken away.
    let text = "based_on = \"family-house.toml\"\nwithout = [\"trunk.day\"]\n";
    let fault = Scenario::from_text("what-if", text).expect_err("outlets hang in the air");
    let shown = fault.render(false);
    assert!(shown.contains("family-house.toml:"), "{shown}");
    assert!(fault.what().contains("day"), "{shown}");
}

#[test]
fn an_action_that_says_nothing() {
    let text = format!("{STARTER}\n[[action]]\nat = \"15:00\"\nzone = \"day\"\n");
    let line = text.lines().position(|l| l == "[[action]]").unwrap() + 1;
    let fault = Scenario::from_text("house", &text).expect_err("what shall it do?");
    let shown = fault.render(false);
    assert!(
        shown.contains(&format!("house.toml:{line}:")),
        "line {line}\n{shown}"
    );
    assert!(
        fault
            .advice()
            .unwrap_or_default()
            .contains("setpoint_change"),
        "{shown}"
    );
}

#[test]
fn a_table_misspelt_is_pointed_at_before_what_it_lacks() {
    refused("[control]", "[contol]", 0, "`contol`", "`control`");
    refused("[zone.day]", "[zones.day]", 0, "`zones`", "`zone`");
}

#[test]
fn a_door_named_after_a_room_leads_to_the_return() {
    // The starter's doors say nothing of what they join.
    let s = Scenario::from_text("house", STARTER).unwrap_or_else(|e| panic!("{}", e.render(false)));
    let door = s.doors.iter().find(|d| d.name == "bed").unwrap();
    let [from, to] = door.between.map(|r| s.rooms[r].name.as_str());
    assert_eq!(from, "bed");
    assert!(s.air.returns.iter().any(|r| s.rooms[r.room].name == to));
    // One that is named after nothing must say what it joins.
    let text = format!("{STARTER}\n[door.attic]\nundercut = \"20 mm\"\n");
    let fault = Scenario::from_text("house", &text).expect_err("this must be refused");
    assert!(fault.what().contains("[door.attic] needs `between`"));
}

#[test]
fn every_fault_is_told_in_one_go_in_file_order() {
    let text = STARTER
        .replacen("flow = \"260 L/s\"", "flow = 260", 1)
        .replacen("utc_offset", "utc_ofset", 1)
        .replacen("thermostat = \"bed\"", "thermostat = \"bet\"", 1)
        .replacen(
            "from = \"17:00\", to = \"23:00\"",
            "from = \"17:00\", to = \"17:00\"",
            1,
        );
    let fault = Scenario::from_text("house", &text).expect_err("four faults");
    let told: Vec<_> = fault.each().map(|f| f.what().to_owned()).collect();
    assert_eq!(told.len(), 4, "{}", fault.render(false));
    for (what, part) in told
        .iter()
        .zip(["utc_ofset", "end when they begin", "`flow`", "\"bet\""])
    {
        assert!(what.contains(part), "{what}: {part}");
    }
    assert!(fault.render(false).ends_with("4 faults in all"));
}

#[test]
fn a_key_that_does_not_apply_is_a_warning_and_its_value_is_held_to_its_kind() {
    let with = |line: &str| {
        let kind = "kind = \"weighted blade\"";
        Scenario::from_text(
            "house",
            &STARTER.replacen(kind, &format!("{line}\n{kind}"), 1),
        )
    };
    let scenario = with("gain = 0.01").unwrap_or_else(|e| panic!("{}", e.render(false)));
    let warnings: Vec<_> = scenario.warnings.iter().map(ToString::to_string).collect();
    assert_eq!(warnings.len(), 1, "{warnings:?}");
    assert!(warnings[0].contains("relief.gain does not apply: relief.kind is \"weighted blade\""));
    assert!(scenario.defaults.iter().all(|d| d.path != "relief.gain"));
    assert!(with("setpoint = \"3\"").is_err());
    // A what-if that takes the relief away leaves its figures in the base file.
    let none = "based_on = \"family-house.toml\"\n[relief]\nkind = \"none\"\n";
    let none =
        Scenario::from_text("what-if", none).unwrap_or_else(|e| panic!("{}", e.render(false)));
    assert!(none.relief.is_none() && none.warnings.len() == 1);
    let faulty = "based_on = \"family-house.toml\"\n[relief]\nkind = \"none\"\nsetpoint = \"3\"\n";
    assert!(Scenario::from_text("what-if", faulty).is_err());
}

#[test]
fn every_limit_can_be_mandatory() {
    let text =
        format!("{STARTER}\n[limits]\nmandatory = [\"face_velocity\", \"sound\", \"swing\"]\n");
    let s = Scenario::from_text("house", &text).unwrap_or_else(|e| panic!("{}", e.render(false)));
    assert!(s.limits.face_velocity(true).mandatory && s.limits.cycle_k.mandatory);
    assert!(!s.limits.trips.mandatory);
    let fault = Scenario::from_text("house", &text.replace("\"swing\"", "\"swings\"")).unwrap_err();
    assert!(
        fault
            .advice()
            .unwrap_or_default()
            .contains("did you mean \"swing\"?")
    );
}
