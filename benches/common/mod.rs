//! A house of any number of rooms, with everything on, for benches and tests.

use super::Scenario;

/// Scenario text of `rooms` rooms: a hall and `rooms − 1` bedrooms, each a zone of its own with a
/// modulating damper, on trunks of four outlets; weighted relief; a variable-speed unit.
pub fn text(rooms: usize) -> String {
    let served = rooms - 1;
    let flow = 60 * served;
    let mut text = format!(
        r#"title = "House of {rooms} rooms"
[site]
latitude = "-33.4 deg"
longitude = "149.6 deg"
utc_offset = "10 h"
[run]
start = "2027-01-18 00:00"
duration = "24 h"
[weather]
kind = "summer day"
maximum = "37 °C"
daily_range = "13 K"
dew_point = "16 °C"
[house]
construction = "medium"
[room.hall]
use = "hall"
area = "{hall} m2"
[fan]
flow = "{flow} L/s"
pressure = "180 Pa"
drive = "fixed speed"
[filter]
drop = "25 Pa"
at_flow = "{flow} L/s"
[coil]
drop = "45 Pa"
at_flow = "{flow} L/s"
[return]
rooms = ["hall"]
drop = "20 Pa"
at_flow = "{flow} L/s"
grille = "{grille} mm x 900 mm"
[ducts]
material = "flexible"
insulation = "1.0 m2K/W"
location = "roof"
[relief]
kind = "weighted blade"
diameter = "{relief} mm"
length = "2 m"
opening_pressure = "60 Pa"
full_open_pressure = "110 Pa"
[unit]
kind = "variable speed"
cooling_capacity = "{capacity} W"
minimum_speed = 0.25
[control]
mode = "cooling"
minimum_run = "5 min"
[dampers]
control = "modulating"
minimum_opening = 0.5
"#,
        hall = 6 + served,
        grille = 60 * served,
        relief = 250 + 4 * served,
        capacity = 1100 * served,
    );
    for i in 1..rooms {
        let trunk = (i - 1) / 4;
        if (i - 1) % 4 == 0 {
            text.push_str(&format!(
                "[trunk.t{trunk}]\ndiameter = \"300 mm\"\nlength = \"{} m\"\nfitting_loss = 0.5\n",
                4 + trunk % 3
            ));
        }
        let faces = ["north", "east", "south", "west"][i % 4];
        text.push_str(&format!(
            r#"[room.r{i}]
use = "bedroom"
area = "{area} m2"
walls = [{{ faces = "{faces}", area = "9 m2" }}]
windows = [{{ faces = "{faces}", area = "2 m2", shading_factor = 0.5 }}]
people = [{{ from = "20:30", to = "07:30", count = 1 }}]
equipment = [{{ from = "08:00", to = "22:00", power = "{power} W" }}]
[door.r{i}]
between = ["r{i}", "hall"]
open = [{{ from = "07:00", to = "21:00" }}]
[outlet.r{i}]
room = "r{i}"
from = "t{trunk}"
diameter = "150 mm"
length = "{length} m"
fitting_loss = 1.2
grille = "300 mm x 150 mm"
channel = {i}
flow = "60 L/s"
[zone.r{i}]
thermostat = "r{i}"
channels = [{i}]
cooling = "24 °C"
schedule = [{{ from = "06:00", to = "23:00" }}]
"#,
            area = 12 + i % 3 * 2,
            power = 80 + 20 * (i % 5),
            length = 4 + i % 4,
        ));
    }
    text
}

/// The same, checked.
pub fn house(rooms: usize) -> Scenario {
    match Scenario::from_text("house", &text(rooms)) {
        Ok(scenario) => scenario,
        Err(e) => panic!("{}", e.render(false)),
    }
}
