//! Physics without opinions: air, rooms, weather and sun, fan, ducts, dampers, relief, network, unit.

pub mod air;
pub mod doorway;
pub mod room;
pub mod sun;
pub mod thermal;
