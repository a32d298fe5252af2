use super::*;
use crate::scenario::reader::Reading;
use crate::scenario::shelf::SHELF;
use crate::scenario::tree;
use std::collections::BTreeSet;

#[test]
fn declarations_hang_together() {
    let path_exists = |path: &str| {
        let (table, key) = path.rsplit_once('.').unwrap();
        find(table).is_some_and(|t| t.named(key).next().is_some())
    };
    for table in TABLES {
        assert_eq!(TABLES.iter().filter(|t| t.path == table.path).count(), 1);
        for key in table.keys {
            let at = format!("{}.{}", table.path, key.name);
            assert!(key.about.ends_with('.'), "{at}");
            match (key.default, key.kind) {
                (Default::Number(value, source), _) => {
                    assert!((key.range.0..=key.range.1).contains(&value), "{at}");
                    assert!(!source.is_empty(), "{at}");
                }
                (Default::Word(word, _), Kind::Choice(words)) => {
                    assert!(words.contains(&word), "{at}");
                }
                (Default::Word(..), _) => panic!("{at} has a word and no choice"),
                (Default::Flag(..), kind) => assert_eq!(kind, Kind::Flag, "{at}"),
                (Default::As(path), _) => assert!(path_exists(path), "{at}: {path}"),
                _ => {}
            }
            for when in key.when {
                let known = |name: &str| table.named(name).next().is_some();
                match when {
                    When::Is(name, words) if name.contains('.') => {
                        assert!(path_exists(name) && !words.is_empty(), "{at}");
                    }
                    When::Is(name, words) => {
                        let key = table.named(name).next().unwrap();
                        match key.kind {
                            Kind::Choice(all) => {
                                assert!(words.iter().all(|w| all.contains(w)), "{at}: {words:?}");
                            }
                            kind => assert_eq!(kind, Kind::Flag, "{at}"),
                        }
                    }
                    When::With(name) | When::Without(name) => {
                        assert!(known(name) || table.names().contains(name), "{at}: {name}");
                    }
                }
            }
            let twins = table.named(key.name).count();
            assert!(twins == 1 || !key.when.is_empty(), "{at} is declared twice");
        }
    }
}

/// What the shipped scenarios leave unsaid: one text for each word that opens keys.
const OTHERS: &[&str] = &[
    "[relief]\nkind = \"motorised\"\nsetpoint = \"80 Pa\"\nchannel = 9\ndiameter = \"200 mm\"\n[unit]\nkind = \"two stage\"\n",
    "[weather]\nkind = \"constant\"\ntemperature = \"30 °C\"\n[fan]\ndrive = \"constant torque\"\n\
     points = [{ flow = \"0 L/s\", pressure = \"300 Pa\" }, { flow = \"700 L/s\", pressure = \"0 Pa\" }]\n",
    "[weather]\nkind = \"winter day\"\nminimum = \"-3 °C\"\n[control]\nmode = \"weighted vote\"\n[control.optimum_start]\n",
    "[control]\nmode = \"lead zone\"\nlead_zone = \"study\"\n[protection.high_static]\nfitted = true\n\
     [sound]\nfan_levels = [\"60 dB\", \"60 dB\", \"60 dB\", \"60 dB\", \"60 dB\", \"60 dB\", \"60 dB\", \"60 dB\"]\n",
    "without = [\"return.grille\"]\n[outlet.loft]\nroom = \"study\"\ndiameter = \"100 mm\"\n[outlet.study]\ngrille_levels = [\"30 dB\", \"30 dB\", \"30 dB\", \"30 dB\", \"30 dB\", \"30 dB\", \"30 dB\", \"30 dB\"]\n\
     [uncertainty]\nstandard = true\n",
    "[[action]]\nat = \"12:00\"\nzone = \"study\"\nswitch = \"off\"\n[[fault]]\nkind = \"damper stuck\"\noutlet = \"study\"\n\
     [[fault]]\nkind = \"dampers crossed\"\nzones = [\"study\", \"living\"]\n[[fault]]\nkind = \"relief stuck\"\nposition = 0\n\
     [[fault]]\nkind = \"relief undersized\"\n[[fault]]\nkind = \"filter blocked\"\n[[fault]]\nkind = \"sensor lost\"\nzone = \"study\"\n\
     [[fault]]\nkind = \"sensor frozen\"\nzone = \"study\"\n[[fault]]\nkind = \"sensor offset\"\nzone = \"study\"\noffset = \"1 K\"\n\
     [[fault]]\nkind = \"sensor in sun\"\nzone = \"study\"\nfaces = \"west\"\n[[fault]]\nkind = \"damper bus open\"\nafter_damper = 2\n\
     [[fault]]\nkind = \"radio lost\"\nzone = \"study\"\n[[fault]]\nkind = \"wrong mode\"\n",
    "[uncertainty.\"fan.flow\"]\ndistribution = \"normal\"\nsigma = \"20 L/s\"\n\
     [uncertainty.\"fan.pressure\"]\ndistribution = \"lognormal\"\nsigma = 0.2\n\
     [uncertainty.\"filter.loading\"]\ndistribution = \"triangular\"\nlow = 1\nmode = 1.5\nhigh = 2\n\
     [uncertainty.\"house.sun_to_air\"]\ndistribution = \"beta\"\nalpha = 2\nbeta = 2\n\
     [uncertainty.\"coil.drop\"]\ndistribution = \"discrete\"\nvalues = [\"40 Pa\"]\n",
];

#[test]
fn every_key_is_read_by_somebody() {
    let mut asked = BTreeSet::new();
    let mut read = |text: &str| {
        let mut all = vec![("it.toml", text)];
        all.extend(SHELF);
        let tree = tree::load_embedded("it.toml", &all).unwrap();
        let found = crate::scenario::check::check(&tree);
        assert!(found.faults.is_empty(), "{:?}", found.faults);
        let reading = Reading::new(&tree);
        crate::scenario::read(&reading.top(), &tree, "it", std::path::Path::new("")).unwrap();
        asked.extend(reading.asked.take());
    };
    for (name, _) in SHELF {
        read(&format!("based_on = \"{name}\"\n"));
    }
    for text in OTHERS {
        read(&format!("based_on = \"family-house.toml\"\n{text}"));
    }
    // Taken by the merging of files, for people, and by the reader of weather files.
    let elsewhere = [
        ("", "about"),
        ("", "based_on"),
        ("", "without"),
        ("site", "place"),
        ("weather", "file"),
    ];
    // Numbers in the unit of another key are taken apart by their own reader.
    let apart = |table: &str, key: &Key| {
        elsewhere.contains(&(table, key.name)) || matches!(key.kind, Kind::Loose | Kind::Looses)
    };
    let keys = TABLES
        .iter()
        .flat_map(|t| t.keys.iter().map(move |key| (t.path, key)));
    let unread: Vec<_> = keys
        .filter(|(table, key)| !apart(table, key) && !asked.contains(&(*table, key.name)))
        .map(|(table, key)| format!("{table}.{}", key.name))
        .collect();
    assert!(unread.is_empty(), "{unread:#?}");
}

/// `scenarios/KEYS.md` shows the catalogue; `OPENSHUT_WRITE_KEYS=1 cargo test keys_md` writes it anew.
#[test]
fn keys_md_shows_the_catalogue() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/scenarios/KEYS.md");
    if std::env::var_os("OPENSHUT_WRITE_KEYS").is_some() {
        std::fs::write(path, markdown()).unwrap();
    }
    let there = std::fs::read_to_string(path).unwrap_or_default();
    assert!(
        there == markdown(),
        "scenarios/KEYS.md is not what the catalogue says"
    );
}

/// A scenario as JSON, as editors of TOML hand it to a validator.
fn json(text: &str) -> serde_json::Value {
    fn value(node: &crate::scenario::tree::Value) -> serde_json::Value {
        use crate::scenario::tree::Value;
        match node {
            Value::Text(text) | Value::DateTime(text) => text.as_str().into(),
            Value::Number(number) => (*number).into(),
            Value::Integer(number) => (*number).into(),
            Value::Flag(flag) => (*flag).into(),
            Value::List(items) => items.iter().map(|item| value(&item.value)).collect(),
            Value::Table(table) => {
                let entries = table.entries.iter();
                entries
                    .map(|(key, entry)| (key.clone(), value(&entry.node.value)))
                    .collect()
            }
        }
    }
    // The keys that tie files together are taken out by the reader of files.
    let (head, tree) = match text.lines().find(|line| line.starts_with("based_on")) {
        None => (false, tree::load_text("x", text)),
        Some(line) => {
            let text = text.replacen(line, "", 1);
            let without = text.lines().filter(|line| !line.starts_with("without"));
            (
                true,
                tree::load_text("x", &without.collect::<Vec<_>>().join("\n")),
            )
        }
    };
    let root = crate::scenario::tree::Value::Table(tree.unwrap().root);
    let mut json = value(&root);
    if head {
        json["based_on"] = "family-house.toml".into();
    }
    json
}

#[test]
fn the_schema_takes_what_ships_and_refuses_what_is_broken() {
    let validator = jsonschema::draft202012::new(&schema::schema()).unwrap();
    let starter = crate::scenario::shelf::STARTER;
    for (name, text) in SHELF.iter().chain([&("starter", starter)]) {
        let errors: Vec<_> = validator
            .iter_errors(&json(text))
            .map(|e| e.to_string())
            .collect();
        assert!(errors.is_empty(), "{name}: {errors:#?}");
    }
    for text in OTHERS {
        let text = format!("based_on = \"family-house.toml\"\n{text}");
        let errors: Vec<_> = validator
            .iter_errors(&json(&text))
            .map(|e| e.to_string())
            .collect();
        assert!(errors.is_empty(), "{text}: {errors:#?}");
    }
    for (from, to) in [
        ("flow = \"260 L/s\"", "flow = 260"),
        ("flow = \"260 L/s\"", "flow = \"260 Pa\""),
        ("cooling_capacity = \"5 kW\"\n", ""),
        ("kind = \"variable speed\"", "kind = \"variabel speed\""),
        ("[relief]", "[releif]"),
        ("shading_factor = 0.5", "shading_factor = 1.5"),
        ("shading_factor", "shading"),
        ("channels = [1]", "channels = []"),
        ("from = \"07:00\"", "from = \"seven\""),
        ("[room.living]", "[room.\"the living\"]"),
        ("area = \"30 m2\"\n", ""),
        (
            "walls = [{ faces = \"north\", area = \"16 m2\" }]",
            "walls = [{ faces = \"north\" }]",
        ),
        ("start = \"2027-01-18 00:00\"", "start = \"18 January\""),
    ] {
        assert!(starter.contains(from), "{from}");
        let broken = starter.replacen(from, to, 1);
        assert!(!validator.is_valid(&json(&broken)), "{to} passes");
    }
}
