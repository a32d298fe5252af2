//! Physics without opinions: air, rooms, weather and sun, fan, ducts, dampers, relief, network, unit,
//! sound.

pub(crate) mod air;
pub(crate) mod air_side;
pub(crate) mod coupled_rooms;
pub(crate) mod damper;
pub(crate) mod door;
pub(crate) mod doorway;
pub(crate) mod drivers;
pub(crate) mod duct;
pub(crate) mod fan;
pub(crate) mod grille;
pub(crate) mod network;
pub(crate) mod relief;
pub(crate) mod room;
pub(crate) mod sound;
pub(crate) mod sun;
pub(crate) mod sun_track;
pub(crate) mod transport;
pub(crate) mod unit;
pub(crate) mod weather;
