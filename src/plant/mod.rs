//! Physics without opinions: air, rooms, weather and sun, fan, ducts, dampers, relief, network, unit,
//! sound.

pub mod air;
pub mod air_side;
pub mod coupled_rooms;
pub mod damper;
pub mod door;
pub mod doorway;
pub mod drivers;
pub mod duct;
pub mod fan;
pub mod grille;
pub mod network;
pub mod relief;
pub mod room;
pub mod sound;
pub mod sun;
pub mod sun_track;
pub mod transport;
pub mod unit;
pub mod weather;
