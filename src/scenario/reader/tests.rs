use super::*;
use crate::scenario::check::check;
use crate::scenario::tree::{load_embedded, load_text};
use proptest::prelude::*;

/// A scenario with nothing wrong, to break in one place each.
const GOOD: &str = "[site]\nlatitude = \"-35 deg\"\nlongitude = \"149 deg\"\n\
    [run]\nstart = \"2027-01-18\"\n[weather]\nkind = \"constant\"\ntemperature = \"30 °C\"\n\
    [room.a]\narea = \"20 m2\"\n[room.hall]\narea = \"9 m2\"\n[fan]\nflow = \"350 L/s\"\n[return]\nrooms = [\"hall\"]\n\
    [outlet.a]\nroom = \"a\"\ndiameter = \"250 mm\"\nchannel = 1\n[unit]\ncooling_capacity = \"6 kW\"\n\
    [control]\nmode = \"cooling\"\n[zone.a]\nthermostat = \"a\"\nchannels = [1]\n";

/// The faults of a text, one line each.
fn faults(text: &str) -> Vec<String> {
    let tree = load_text("house.toml", text).unwrap();
    check(&tree)
        .faults
        .iter()
        .map(ToString::to_string)
        .collect()
}

/// The good scenario with `line` put below a header, held to give one fault at that line.
fn one(header: &str, line: &str, what: &str, advice: &str) {
    let header = format!("[{header}]\n");
    let text = match GOOD.contains(&header) {
        true => GOOD.replacen(&header, &format!("{header}{line}\n"), 1),
        false => format!("{GOOD}{header}{line}\n"),
    };
    let at = text.lines().position(|l| l == line).unwrap() + 1;
    assert_eq!(
        faults(&text),
        [format!("house.toml:{at}: {what}; {advice}")]
    );
}

#[test]
fn nothing_is_wrong_with_the_good_one() {
    assert_eq!(faults(GOOD), Vec::<String>::new());
}

#[test]
fn quantities_are_read_bounded_and_faults_say_what_to_write() {
    let flow = |value: &str| GOOD.replacen("\"350 L/s\"", value, 1);
    let place = "house.toml:14: `flow`";
    let write = "write \"350 L/s\" (or cfm, m3/h)";
    let key = "write flow = \"350 L/s\" (or cfm, m3/h)";
    for (value, said) in [
        (
            "350",
            format!(" is a bare number, and needs a unit of air flow; {write}"),
        ),
        (
            "\"60 Pa\"",
            format!(": \"Pa\" is a unit of pressure, and air flow is due; {write}"),
        ),
        (
            "true",
            format!(" is true or false, and air flow is due; {key}"),
        ),
        (
            "\"90000 cfm\"",
            " is 90000 cfm, which is out of bounds; write a value from 42.3776 cfm to 42377.6 cfm"
                .into(),
        ),
    ] {
        assert_eq!(faults(&flow(value)), [format!("{place}{said}")]);
    }
    let without = GOOD.replacen("flow = \"350 L/s\"\n", "", 1);
    assert_eq!(
        faults(&without),
        [format!("house.toml:13: [fan] needs `flow`; {key}")]
    );
    let gone = GOOD.replacen("[fan]\nflow = \"350 L/s\"\n", "", 1);
    let said = format!("house.toml:1: the scenario needs [fan] with `flow`; {key}");
    assert_eq!(faults(&gone), [said]);
    let table = format!("fan = 3\n{gone}");
    let said =
        "house.toml:1: `fan` is a number, and a table is due; write [fan] and its keys below";
    assert_eq!(faults(&table), [said]);
}

#[test]
fn stray_keys_are_sent_where_they_belong() {
    one(
        "fan",
        "presure = 1",
        "[fan] knows no key `presure`",
        "did you mean `pressure`?",
    );
    one(
        "fan",
        "thermostat = 1",
        "[fan] knows no key `thermostat`",
        "`thermostat` belongs in: top of the file, [zone.<name>]",
    );
    one(
        "fan",
        "opening_pressur = 1",
        "[fan] knows no key `opening_pressur`",
        "did you mean `opening_pressure` of [relief]?",
    );
    one(
        "coil",
        "zzz = 1",
        "[coil] knows no key `zzz`",
        "its keys are: drop, at_flow, exponent",
    );
    // A slip is not missed as well.
    let slip = GOOD.replacen("flow = \"350", "flwo = \"350", 1);
    let said = "house.toml:14: [fan] knows no key `flwo`; did you mean `flow`?";
    assert_eq!(faults(&slip), [said]);
    let slip = GOOD.replacen("[zone.a]", "[zoen.a]", 1);
    let said = "house.toml:25: the scenario knows no key `zoen`; did you mean `zone`?";
    assert_eq!(faults(&slip), [said]);
}

#[test]
fn a_fault_in_an_inherited_value_points_into_the_base() {
    let base = GOOD.replacen("\"350 L/s\"", "350", 1);
    let shelf = [
        ("base.toml", &*base),
        (
            "top.toml",
            "based_on = \"base.toml\"\n[fan]\npressure = \"100 Pa\"\n",
        ),
    ];
    let found = check(&load_embedded("top.toml", &shelf).unwrap()).faults;
    assert_eq!(
        found[0].to_string(),
        "base.toml:14: `flow` is a bare number, and needs a unit of air flow; write \"350 L/s\" (or cfm, m3/h)"
    );
}

#[test]
fn a_fault_in_an_argument_shows_the_argument() {
    let mut tree = load_text("house", GOOD).unwrap();
    tree.set_path("fan.flow", "90 m3/s").unwrap();
    let found = check(&tree).faults;
    assert_eq!(
        found[0].to_string(),
        "--set fan.flow=90 m3/s: `flow` is 90 m3/s, which is out of bounds; write a value from 0.02 m3/s to 20 m3/s"
    );
    let shown = found[0].render(false);
    assert!(shown.contains("--> command line:1:16"), "{shown}");
}

#[test]
fn values_and_defaults_are_read_and_defaults_told_once() {
    let text = format!("{GOOD}[relief]\nkind = \"weighted blade\"\n[filter]\nexponent = 2\n");
    let tree = load_text("house", &text).unwrap();
    let reading = Reading::new(&tree);
    let top = reading.top();
    let fan = top.table("fan");
    assert!((fan.get::<f64>("flow").unwrap() - 0.35).abs() < 1e-12);
    assert_eq!(fan.get::<f64>("pressure").unwrap(), 150.0);
    assert_eq!(fan.get::<f64>("pressure").unwrap(), 150.0);
    assert_eq!(fan.get::<String>("drive").unwrap(), "fixed speed");
    // Not told: it does not apply to a fixed speed.
    assert_eq!(fan.get::<f64>("maximum_speed").unwrap(), 1.25);
    assert_eq!(top.table("filter").get::<f64>("exponent").unwrap(), 2.0);
    assert_eq!(top.table("filter").or("at_flow", 0.35).unwrap(), 0.35);
    assert!(top.table("control").get::<bool>("guard").unwrap());
    let start: chrono::NaiveDateTime = top.table("run").get("start").unwrap();
    assert_eq!(start.to_string(), "2027-01-18 00:00:00");
    let rooms: Vec<Name> = top.table("return").get("rooms").unwrap();
    assert_eq!(
        (rooms[0].as_str(), rooms[0].at.text()),
        ("hall", "\"hall\"")
    );
    assert_eq!(top.tables("room")[1].1.path(), "room.hall");
    // Another kind than the catalogue has, and a key that it lacks, are faults of the program.
    assert!(fan.get::<bool>("flow").is_err() && fan.get::<f64>("flwo").is_err());
    let shown: Vec<_> = reading.into_defaults();
    let told: Vec<_> = shown.iter().map(ToString::to_string).collect();
    assert_eq!(
        told[1],
        "fan.drive = fixed speed (the plainest drive; our own choice)"
    );
    assert_eq!(told[2], "filter.at_flow = 350 L/s (the fan's rated flow)");
    assert_eq!(told.len(), 4, "{told:?}");
    assert_eq!(shown[0].shown_in(UnitSystem::Ip), "0.602 inWC");
}

#[test]
fn faults_of_the_other_kinds() {
    one(
        "fan",
        "drive = \"fixd speed\"",
        "`drive` cannot be \"fixd speed\"",
        "did you mean \"fixed speed\"? The choices are \"fixed speed\", \"constant torque\", \"constant airflow\"",
    );
    one(
        "relief",
        "kind = \"zzz\"",
        "`kind` cannot be \"zzz\"",
        "write one of \"none\", \"weighted blade\", \"motorised\"",
    );
    let bounds = "is 25, which is out of bounds";
    let advice = "write a value from 0 to 1; 25 per cent is \"25 %\"";
    one(
        "house",
        "gains_to_air = 25",
        &format!("`gains_to_air` {bounds}"),
        advice,
    );
    one(
        "house",
        "gains_to_air = \"120 %\"",
        "`gains_to_air` is 120 %, which is out of bounds",
        "write a value from 0 % to 100 %",
    );
    one(
        "filter",
        "loading = \"3.2\"",
        "`loading` is a text, and a bare number is due",
        "write a bare number: loading = 3.2",
    );
    one(
        "sound",
        "elbows = -1",
        "`elbows` is -1, which is out of bounds",
        "write a value from 0 to 20",
    );
    one(
        "sound",
        "elbows = 1.5",
        "`elbows` is a number, and a whole number is due",
        "write a whole number: elbows = 2",
    );
    one(
        "site",
        "place = \" \"",
        "`place` is blank",
        "write place = \"...\"",
    );
    let names = "start with a letter, then letters, digits, - and _, such as bed-1; 40 at most";
    one(
        "trunk.x",
        "from = \"1st\"",
        "\"1st\" cannot be a name",
        names,
    );
}

#[test]
fn lists_names_and_calendar_have_their_faults() {
    let with = |old: &str, new: &str| faults(&GOOD.replacen(old, new, 1)).join("\n");
    let rooms = |list: &str| with("rooms = [\"hall\"]", list);
    assert!(rooms("rooms = [\"a\", \"a\"]").contains("`rooms` lists \"a\" twice; take one out"));
    assert!(rooms("rooms = \"a\"").contains("`rooms` is a text, and a list is due"));
    assert!(
        rooms("rooms = [\"hal\"]").contains("there is no room \"hal\"; did you mean \"hall\"?")
    );
    let line = |table: &str, line: &str| faults(&format!("{GOOD}[{table}]\n{line}\n")).join("\n");
    let people = line(
        "[room.a.people]",
        "from = \"25:00\"\nto = \"08:00\"\ndays = [\"sonday\"]",
    );
    assert!(people.contains("`from`: \"25:00\" is not a time of day; write hours and minutes"));
    assert!(people.contains("`days`: \"sonday\" is not days of the week"));
    let start = with("\"2027-01-18\"", "2025-01-15T06:00:00+10:00");
    assert!(
        start.contains("is not a date and time; write local clock time"),
        "{start}"
    );
    let walls = with(
        "area = \"20 m2\"",
        "area = \"20 m2\"\nwalls = [{ faces = \"north\", area = \"9 m2\" }, 3]",
    );
    assert!(
        walls.contains("this is a number, and `walls` lists tables"),
        "{walls}"
    );
    let walls = with(
        "area = \"20 m2\"",
        "area = \"20 m2\"\nwalls = [{ faces = \"north\", area = \"9 m2\", x = 1 }]",
    );
    assert!(
        walls.contains("[room.a.walls[1]] knows no key `x`"),
        "{walls}"
    );
    let levels = line("sound", "fan_levels = [\"60 dB\", \"190 dB\"]");
    assert!(
        levels.contains("`fan_levels` is 190 dB, which is out of bounds"),
        "{levels}"
    );
    let living = with("[room.hall]", "[room]\nliving = 3\n[room.hall]");
    assert!(
        living.contains("`living` in [room] is a number, and a table is due"),
        "{living}"
    );
    let many: String = (0..65)
        .map(|i| format!("[room.r{i}]\narea = \"9 m2\"\n"))
        .collect();
    let many = faults(&format!("{GOOD}{many}")).join("\n");
    assert!(many.contains("67 tables [room] are more than this program takes; keep to 64"));
}

#[test]
fn all_faults_come_in_one_go() {
    let text = GOOD
        .replacen("\"350 L/s\"", "350", 1)
        .replacen("\"6 kW\"", "\"6 kg\"", 1)
        .replacen("channel = 1", "channel = 0", 1);
    assert_eq!(faults(&text).len(), 3, "{:?}", faults(&text));
}

#[test]
fn days_and_times_are_read() {
    for (text, mask) in [
        ("mon-fri", 0b001_1111),
        ("Monday", 1),
        ("sat, sun", 0b110_0000),
        ("every day", 0b111_1111),
        ("fri-mon", 0b111_0001),
        ("mon–wed, tues, thurs", 0b000_1111),
        ("sun-sun", 0b100_0000),
        ("sun-sat", 0b111_1111),
    ] {
        assert_eq!(calendar::weekdays(text), Some(mask), "{text}");
    }
    for text in ["", "mo", "m-f", "mon-", "mon;tue", "mon-fri-sun", "mondays"] {
        assert_eq!(calendar::weekdays(text), None, "{text}");
    }
    for minutes in 0..=1440 {
        let text = format!("{:02}:{:02}", minutes / 60, minutes % 60);
        assert_eq!(calendar::time_of_day(&text), Some(minutes));
    }
    assert_eq!(calendar::time_of_day("6:05"), Some(365));
    for text in [
        "24:01",
        "6",
        "6:5",
        "06:30:15",
        "-1:00",
        "+6:00",
        "06:60",
        "6:30 pm",
        "06:30:00:00",
    ] {
        assert_eq!(calendar::time_of_day(text), None, "{text}");
    }
}

#[test]
fn numbers_part_from_their_units() {
    for (text, split) in [
        ("0.3 1/h", (0.3, "1/h")),
        ("-1.5 K", (-1.5, "K")),
        ("440L/s", (440.0, "L/s")),
        ("1e-3 m", (0.001, "m")),
        ("2 e", (2.0, "e")),
        ("30 %", (30.0, "%")),
    ] {
        assert_eq!(split_number(text), Some(split));
    }
    assert_eq!((split_number("north"), split_number("")), (None, None));
}

proptest! {
    #[test]
    fn days_and_times_never_panic(text in ".*") {
        let _ = (calendar::weekdays(&text), calendar::time_of_day(&text), calendar::datetime(&text));
    }

    #[test]
    fn any_value_under_any_key_is_read_or_refused(
        table in 0..catalogue::TABLES.len(),
        value in prop::sample::select(vec!["1", "-1", "1.5", "true", "\"\"", "\"a\"", "\"1 Pa\"", "[]", "[[]]", "[1, \"a\"]", "{}",
            "{ a = 1 }", "06:30:00", "2025-01-15", "9223372036854775807", "1e300", "\"1e308 kPa\""]),
    ) {
        for key in catalogue::TABLES[table].keys {
            let tree = load_text("x", &format!("k = {value}")).unwrap();
            let _ = parse(key, tree.root.get("k").unwrap());
        }
    }
}
