use super::*;
use crate::quantity::Dimension::{AirFlow, Fraction, Pressure, Temperature};
use crate::scenario::tree::{load_embedded, load_text};
use proptest::prelude::*;

/// Reads `text` with `read` and gives back the fault with its file, line and marked text.
fn fault(
    text: &str,
    read: impl FnOnce(&Section<'_>) -> Result<(), Diagnostic>,
) -> (usize, String, String, String) {
    let tree = load_text("house.toml", text).unwrap();
    let ledger = Ledger::default();
    let top = Section::root(&tree, &ledger);
    let fault = read(&top).expect_err(text);
    let place = fault.place().expect("a place");
    assert_eq!(place.file, "house.toml");
    let marked = place.text[place.span.clone()].to_owned();
    (
        place.line,
        marked,
        fault.what().into(),
        fault.advice().unwrap_or("").into(),
    )
}

fn case<'e>(
    (line, marked, what, advice): (usize, String, String, String),
    expected: (usize, &'e str, &'e str, &'e str),
) {
    assert_eq!((line, &*marked, &*what, &*advice), expected);
}

fn flow(top: &Section<'_>) -> Result<(), Diagnostic> {
    let fan = top.table("fan")?;
    fan.quantity("flow", AirFlow).within(0.01, 5.0).required()?;
    fan.quantity("pressure", Pressure)
        .or(150.0, "common practice, no source")?;
    fan.finish()?;
    top.finish()
}

#[test]
fn quantities_are_read_bounded_and_faults_say_what_to_write() {
    let bare = (
        2,
        "350",
        "`flow` is a bare number, and needs a unit of air flow",
        "write \"350 L/s\" (or cfm, m3/h)",
    );
    case(fault("[fan]\nflow = 350\n", flow), bare);
    case(
        fault("[fan]\nflow = \"60 Pa\"\n", flow),
        (
            2,
            "\"60 Pa\"",
            "`flow`: \"Pa\" is a unit of pressure, and air flow is due",
            "write \"350 L/s\" (or cfm, m3/h)",
        ),
    );
    case(
        fault("[fan]\nflow = \"20000 cfm\"\n", flow),
        (
            2,
            "\"20000 cfm\"",
            "`flow` is 20000 cfm, which is out of bounds",
            "write a value from 21.1888 cfm to 10594.4 cfm",
        ),
    );
    case(
        fault("[fan]\nflow = true\n", flow),
        (
            2,
            "true",
            "`flow` is true or false, and air flow is due",
            "write flow = \"350 L/s\" (or cfm, m3/h)",
        ),
    );
    case(
        fault("x = 1\n[fan]\n", flow),
        (
            2,
            "[fan]",
            "[fan] needs `flow`",
            "write flow = \"350 L/s\" (or cfm, m3/h)",
        ),
    );
    case(
        fault("\n", flow),
        (
            1,
            "",
            "the scenario needs [fan] with `flow`",
            "write flow = \"350 L/s\" (or cfm, m3/h)",
        ),
    );
    case(
        fault("[fan]\nflwo = \"1 L/s\"\n", flow),
        (
            2,
            "flwo",
            "[fan] needs `flow`, and has `flwo`",
            "if `flwo` is meant as `flow`, rename it; else write flow = \"350 L/s\" (or cfm, m3/h)",
        ),
    );
    case(
        fault("fan = 3\n", flow),
        (
            1,
            "3",
            "`fan` is a number, and a table is due",
            "write [fan] and its keys below",
        ),
    );
    let cold = |top: &Section<'_>| {
        top.quantity("t", Temperature)
            .above(0.0)
            .required()
            .map(drop)
    };
    case(
        fault("t = \"32 °F\"\n", cold),
        (
            1,
            "\"32 °F\"",
            "`t` is 32 °F, which is out of bounds",
            "write more than 32 °F",
        ),
    );
}

#[test]
fn stray_keys_are_sent_where_they_belong() {
    case(
        fault("[fan]\nflow = \"1 m3/s\"\npresure = \"1 Pa\"\n", flow),
        (
            3,
            "presure",
            "[fan] knows no key `presure`",
            "did you mean `pressure`?",
        ),
    );
    case(
        fault("[fann]\nx = 1\n[fan]\nflow = \"1 m3/s\"\n", flow),
        (
            1,
            "fann",
            "the scenario knows no key `fann`",
            "did you mean `fan`?",
        ),
    );
    case(
        fault("pressure = 1\n[fan]\nflow = \"1 m3/s\"\n", flow),
        (
            1,
            "pressure",
            "the scenario knows no key `pressure`",
            "`pressure` belongs in [fan]",
        ),
    );
    case(
        fault("[fan]\nflow = \"1 m3/s\"\nzzz = 1\n", flow),
        (
            3,
            "zzz",
            "[fan] knows no key `zzz`",
            "its keys are: flow, pressure",
        ),
    );
    let elsewhere = |top: &Section<'_>| {
        top.ledger.register_keys("zone.<name>", &["thermostat"]);
        top.table("fan")?.finish()
    };
    case(
        fault("[fan]\nthermostat = 1\n", elsewhere),
        (
            2,
            "thermostat",
            "[fan] knows no key `thermostat`",
            "`thermostat` belongs in [zone.<name>]",
        ),
    );
}

#[test]
fn a_fault_in_an_inherited_value_points_into_the_base() {
    let shelf = [
        ("base.toml", "\n[fan]\nflow = 350\n"),
        (
            "top.toml",
            "based_on = \"base.toml\"\n[fan]\npressure = \"100 Pa\"\n",
        ),
    ];
    let tree = load_embedded("top.toml", &shelf).unwrap();
    let ledger = Ledger::default();
    let fault = flow(&Section::root(&tree, &ledger)).unwrap_err();
    assert_eq!(
        fault.to_string(),
        "base.toml:3: `flow` is a bare number, and needs a unit of air flow; write \"350 L/s\" (or cfm, m3/h)"
    );
}

#[test]
fn a_fault_in_an_argument_shows_the_argument() {
    let mut tree = load_text("house", "[fan]\nflow = \"1 m3/s\"\n").unwrap();
    tree.set_path("fan.flow", "9 m3/s").unwrap();
    let ledger = Ledger::default();
    let fault = flow(&Section::root(&tree, &ledger)).unwrap_err();
    assert_eq!(
        fault.to_string(),
        "--set fan.flow=9 m3/s: `flow` is 9 m3/s, which is out of bounds; write a value from 0.01 m3/s to 5 m3/s"
    );
    assert!(
        fault.render(false).contains("--> command line:1:16"),
        "{}",
        fault.render(false)
    );
}

#[test]
fn defaults_of_every_kind_go_into_the_ledger() {
    let tree = load_text("house", "[room.a]\n").unwrap();
    let ledger = Ledger::default();
    let top = Section::root(&tree, &ledger);
    let room = top.tables("room").unwrap().remove(0).1;
    assert_eq!(
        room.quantity("p", Pressure).or(249.088_91, "s1").unwrap(),
        249.088_91
    );
    assert_eq!(room.fraction("f").or(0.25, "s2").unwrap(), 0.25);
    assert_eq!(room.number("cop").or(3.2, "s3").unwrap(), 3.2);
    assert_eq!(room.integer("i").or(-2, "s4").unwrap(), -2);
    assert_eq!(room.count("n").or(4, "s5").unwrap(), 4);
    assert!(!room.flag("flag").or(false, "s6").unwrap());
    assert_eq!(room.text("t").or("x".into(), "s7").unwrap(), "x");
    assert_eq!(
        room.choice("k", &[("one", 1), ("two", 2)])
            .or(2, "s8")
            .unwrap(),
        2
    );
    assert_eq!(room.time_of_day("from").or(390, "s9").unwrap(), 390);
    assert_eq!(room.weekdays("days").or(0b11111, "s10").unwrap(), 0b11111);
    assert_eq!(
        room.quantities("l", Pressure)
            .or(vec![1.0, 2.0], "s11")
            .unwrap(),
        [1.0, 2.0]
    );
    assert!(
        top.table("unit")
            .unwrap()
            .flag("fan")
            .or(true, "s12")
            .unwrap()
    );
    assert_eq!(room.quantity("q", Pressure).optional().unwrap(), None);
    drop((top, room));
    assert_eq!(ledger.unfinished(), ["", "room.a", "unit"]);
    let entries = ledger.into_entries();
    let shown: Vec<_> = entries.iter().map(ToString::to_string).collect();
    assert_eq!(
        shown,
        [
            "room.a.p = 249.089 Pa (s1)",
            "room.a.f = 25 % (s2)",
            "room.a.cop = 3.2 (s3)",
            "room.a.i = -2 (s4)",
            "room.a.n = 4 (s5)",
            "room.a.flag = false (s6)",
            "room.a.t = x (s7)",
            "room.a.k = two (s8)",
            "room.a.from = 06:30 (s9)",
            "room.a.days = mon-fri (s10)",
            "room.a.l = [1 Pa, 2 Pa] (s11)",
            "unit.fan = true (s12)",
        ]
    );
    assert_eq!(entries[0].quantity, Some((249.088_91, Pressure)));
    assert_eq!(entries[0].shown_in(UnitSystem::Ip), "1 inWC");
}

#[test]
fn every_kind_is_read_as_written() {
    let text = "cop = 3\nlist = [1, 0.5]\nn = 7\nflag = true\nwords = \"two\"\nname = \"bed-1\"\nnames = [\"a\", \"b\"]\n\
                share = \"25 %\"\nbare = 0.25\ncurve = [\"1 Pa\", \"1 kPa\"]\nstart = 2025-01-15T06:00:00\n\
                day = \"2025-01-15\"\nat = 06:30:00\n";
    let tree = load_text("house", text).unwrap();
    let ledger = Ledger::default();
    let top = Section::root(&tree, &ledger);
    assert_eq!(top.number("cop").required().unwrap(), 3.0);
    assert_eq!(
        top.numbers("list").within(0.0, 1.0).required().unwrap(),
        [1.0, 0.5]
    );
    assert_eq!(top.integer("n").within(0.0, 9.0).required().unwrap(), 7);
    assert!(top.flag("flag").required().unwrap());
    assert_eq!(
        top.choice("words", &[("one", 1), ("two", 2)])
            .required()
            .unwrap(),
        2
    );
    assert_eq!(top.name("name").required().unwrap().as_str(), "bed-1");
    let names = top.names("names").required().unwrap();
    assert_eq!(names[1].text, "b");
    assert_eq!(names[1].at.text(), "\"b\"");
    assert_eq!(top.fraction("share").required().unwrap(), 0.25);
    assert_eq!(top.fraction("bare").required().unwrap(), 0.25);
    assert_eq!(
        top.quantities("curve", Pressure).required().unwrap(),
        [1.0, 1000.0]
    );
    let start = top.datetime("start").required().unwrap();
    assert_eq!(start.to_string(), "2025-01-15 06:00:00");
    assert_eq!(
        top.datetime("day").required().unwrap().to_string(),
        "2025-01-15 00:00:00"
    );
    assert_eq!(top.time_of_day("at").required().unwrap(), 390);
    top.finish().unwrap();
    assert!(ledger.unfinished().is_empty());
}

#[test]
fn faults_of_the_other_kinds() {
    let ask = |text: &str, read: fn(&Section<'_>) -> Result<(), Diagnostic>| fault(text, read);
    case(
        ask("k = \"fixd speed\"", |s| {
            s.choice("k", &[("fixed speed", 1), ("stages", 2)])
                .required()
                .map(drop)
        }),
        (
            1,
            "\"fixd speed\"",
            "`k` cannot be \"fixd speed\"",
            "did you mean \"fixed speed\"? The choices are \"fixed speed\", \"stages\"",
        ),
    );
    case(
        ask("k = \"zzz\"", |s| {
            s.choice("k", &[("one", 1), ("two", 2)]).or(1, "").map(drop)
        }),
        (
            1,
            "\"zzz\"",
            "`k` cannot be \"zzz\"",
            "write one of \"one\", \"two\"",
        ),
    );
    case(
        ask("f = 25", |s| s.fraction("f").required().map(drop)),
        (
            1,
            "25",
            "`f` is 25, which is out of bounds",
            "write a value from 0 to 1; 25 per cent is \"25 %\"",
        ),
    );
    case(
        ask("f = \"120 %\"", |s| s.fraction("f").optional().map(drop)),
        (
            1,
            "\"120 %\"",
            "`f` is 120 %, which is out of bounds",
            "write a value from 0 % to 100 %",
        ),
    );
    case(
        ask("c = \"3.2\"", |s| s.number("c").required().map(drop)),
        (
            1,
            "\"3.2\"",
            "`c` is a text, and a bare number is due",
            "write a bare number: c = 3.2",
        ),
    );
    case(
        ask("n = -1", |s| s.count("n").required().map(drop)),
        (
            1,
            "-1",
            "`n` cannot be -1",
            "write a whole number, 0 or more: n = 2",
        ),
    );
    case(
        ask("n = 1.5", |s| s.integer("n").required().map(drop)),
        (
            1,
            "1.5",
            "`n` is a number, and a whole number is due",
            "write a whole number: n = 2",
        ),
    );
    case(
        ask("l = [\n\"1 Pa\",\n\"3 Pa\",\n]", |s| {
            s.quantities("l", Pressure)
                .at_most(2.0)
                .required()
                .map(drop)
        }),
        (
            3,
            "\"3 Pa\"",
            "`l` is 3 Pa, which is out of bounds",
            "write at most 2 Pa",
        ),
    );
    case(
        ask("t = \" \"", |s| s.text("t").required().map(drop)),
        (1, "\" \"", "`t` is blank", "write t = \"...\""),
    );
    case(
        ask("n = \"1st\"", |s| s.name("n").required().map(drop)),
        (
            1,
            "\"1st\"",
            "\"1st\" cannot be a name",
            "start with a letter, then letters, digits, - and _, such as bed-1",
        ),
    );
    case(
        ask("n = [\"a\", \"a\"]", |s| s.names("n").required().map(drop)),
        (1, "\"a\"", "`n` lists \"a\" twice", "take one out"),
    );
    case(
        ask("n = \"a\"", |s| s.names("n").required().map(drop)),
        (
            1,
            "\"a\"",
            "`n` is a text, and a list is due",
            "write a list of names: n = [\"living\", \"bed-1\"]",
        ),
    );
    case(
        ask("t = \"25:00\"", |s| s.time_of_day("t").required().map(drop)),
        (
            1,
            "\"25:00\"",
            "`t`: \"25:00\" is not a time of day",
            "write hours and minutes: t = \"06:30\"",
        ),
    );
    case(
        ask("t = 2025-01-15T06:00:00+10:00", |s| {
            s.datetime("t").required().map(drop)
        }),
        (
            1,
            "2025-01-15T06:00:00+10:00",
            "`t`: \"2025-01-15T06:00:00+10:00\" is not a date and time",
            "write local clock time: t = \"2025-01-15 06:00\"",
        ),
    );
    case(
        ask("d = [\"sat\", \"sonday\"]", |s| {
            s.weekdays("d").required().map(drop)
        }),
        (
            1,
            "\"sonday\"",
            "`d`: \"sonday\" is not days of the week",
            "write d = \"mon-fri\", [\"sat\", \"sun\"] or \"every day\"",
        ),
    );
    case(
        ask("[room]\nliving = 3", |s| s.tables("room").map(drop)),
        (
            2,
            "living",
            "`living` in [room] is a number, and a table is due",
            "give each a name of its own: [room.main]",
        ),
    );
    case(
        ask("[[room]]\nx = 3", |s| s.tables("room").map(drop)),
        (
            1,
            "[[room]]",
            "`room` is a list, and tables with names is due",
            "give each a name of its own: [room.main]",
        ),
    );
    case(
        ask("[room.\"my room\"]", |s| s.tables("room").map(drop)),
        (
            1,
            "\"my room\"",
            "\"my room\" cannot be a name",
            "start with a letter, then letters, digits, - and _, such as bed-1",
        ),
    );
    case(
        ask("w = [{}, 3]", |s| s.list("w").map(drop)),
        (
            1,
            "3",
            "this is a number, and `w` lists tables",
            "write w = [{ ... }]",
        ),
    );
}

#[test]
fn rules_and_names_across_keys_point_at_their_value() {
    let text = "low = \"30 Pa\"\nhigh = \"20 Pa\"\nroom = \"livin\"\n[[w]]\n[[w]]\nx = 1\n";
    let rule = |s: &Section<'_>| {
        let low = s.quantity("low", Pressure).required()?;
        s.quantity("high", Pressure)
            .check(|high| {
                (*high < low).then(|| ("`high` is below `low`".into(), "swap them".into()))
            })
            .required()
            .map(drop)
    };
    case(
        fault(text, rule),
        (2, "\"20 Pa\"", "`high` is below `low`", "swap them"),
    );
    let direct = |s: &Section<'_>| Err(s.error_at("low", "no", "yes"));
    case(fault(text, direct), (1, "\"30 Pa\"", "no", "yes"));
    let name = |s: &Section<'_>| {
        Err(s
            .name("room")
            .required()?
            .unknown("room", ["hall", "living"]))
    };
    case(
        fault(text, name),
        (
            3,
            "\"livin\"",
            "there is no room \"livin\"",
            "did you mean \"living\"?",
        ),
    );
    let listed = |s: &Section<'_>| {
        let windows = s.list("w")?;
        assert_eq!(windows[1].path(), "w[2]");
        windows.iter().try_for_each(Section::finish)
    };
    case(
        fault(text, listed),
        (6, "x", "[w[2]] knows no key `x`", "take it out"),
    );
}

#[test]
fn days_and_times_are_read_both_ways() {
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
        assert_eq!(
            calendar::weekdays(&show_weekdays(mask)),
            Some(mask),
            "{text}"
        );
    }
    for text in ["", "mo", "m-f", "mon-", "mon;tue", "mon-fri-sun", "mondays"] {
        assert_eq!(calendar::weekdays(text), None, "{text}");
    }
    for minutes in 0..=1440 {
        assert_eq!(
            calendar::time_of_day(&show_time_of_day(minutes)),
            Some(minutes)
        );
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

proptest! {
    #[test]
    fn days_and_times_never_panic(text in ".*") {
        let _ = (calendar::weekdays(&text), calendar::time_of_day(&text), calendar::datetime(&text));
    }

    #[test]
    fn any_value_under_any_kind_is_read_or_refused(
        value in prop::sample::select(vec!["1", "-1", "1.5", "true", "\"\"", "\"a\"", "\"1 Pa\"", "[]", "[[]]", "[1, \"a\"]", "{}", "{ a = 1 }",
            "06:30:00", "2025-01-15", "9223372036854775807", "1e300", "\"1e308 kPa\""]),
    ) {
        let tree = load_text("x", &format!("k = {value}")).unwrap();
        let ledger = Ledger::default();
        let s = Section::root(&tree, &ledger);
        let _ = s.quantity("k", Pressure).within(0.0, 1.0).required();
        let _ = s.quantity("k", Fraction).above(0.0).optional();
        let _ = (s.quantities("k", AirFlow).at_most(0.0).optional(), s.numbers("k").at_least(1.0).optional());
        let _ = (s.number("k").optional(), s.integer("k").within(0.0, 1.0).optional(), s.count("k").optional());
        let _ = (s.flag("k").optional(), s.text("k").optional(), s.name("k").optional(), s.names("k").optional());
        let _ = (s.choice("k", &[("a", 1)]).optional(), s.time_of_day("k").optional(), s.datetime("k").optional());
        let _ = (s.weekdays("k").optional(), s.table("k").map(drop), s.tables("k").map(drop), s.list("k").map(drop));
        prop_assert!(s.finish().is_ok());
    }
}
