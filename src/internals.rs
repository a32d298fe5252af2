//! Parts that the benches and the tests of whole runs take apart. Not part of the library's face: no promise
//! is made about any of them.

pub use crate::control::{Calendar, Readings};
pub use crate::engine::PlantState;
pub use crate::engine::event::Event;
pub use crate::engine::house::House;
pub use crate::engine::sample::Sample;
pub use crate::engine::sound::SoundStage;
pub use crate::math::lanes::{Lanes, Seat, blocks, gather};
pub use crate::math::sparse_lu::SparseLu;
pub use crate::measure::loudest_minute::LoudestMinute;
pub use crate::measure::noise_rating::nc_rating;
pub use crate::measure::sound::Sound;
pub use crate::measure::{Observer, observers};
pub use crate::plant::air::{MoistAir, STANDARD_PRESSURE, SaturationTable};
pub use crate::plant::air_side::{AirCommand, AirScratch, AirSide, AirState};
pub use crate::plant::coupled_rooms::{
    BalanceLanes, CoupledRooms, DoorWay, MiddleLanes, RoomStores, RoomsState,
};
pub use crate::plant::damper::{Damper, KINDS as DAMPER_KINDS, LeakageClass};
pub use crate::plant::doorway::{Doorway, with_net_flow};
pub use crate::plant::drivers::Drivers;
pub use crate::plant::duct::{Air, Duct};
pub use crate::plant::fan::{Drive, Fan, FanCurve, FanLaw, PowerCurve};
pub use crate::plant::grille::Grille;
pub use crate::plant::network::{ElementId, Law, LinearQuadratic, Network, NetworkState, Power};
pub use crate::plant::room::{CP_MOIST, Stores};
pub use crate::plant::sound::attenuation::{Elbow, Element};
pub use crate::plant::sound::chain::background_db;
pub use crate::plant::sound::damper::DamperSize;
pub use crate::plant::sound::fan::FanSpec;
pub use crate::plant::sound::grille::GrilleSpec;
pub use crate::plant::sound::heard::Heard;
pub use crate::plant::sound::octave::to_db;
pub use crate::plant::sound::{
    DamperPosition, Operating, OutletOperating, OutletSpec, ReliefSpec, ReturnSpec, RoomSound,
    RoomSpec, SoundModel, SoundSpec,
};
pub use crate::plant::transport::{Spaces, Transport};
pub use crate::plant::unit::{CoilMemory, CoolingCoil, Mode, UnitCommand, UnitInlet, UnitState};
pub use crate::report::sweep::open;
pub use crate::report::sweep::write as write_tables;
pub use crate::run::record::Recorder;
pub use crate::scenario::uncertainty::STANDARD;
pub use crate::study::sweep::inputs::apply;
pub use crate::study::sweep::summary::Summary;
pub use crate::study::sweep::{Adjustment, Options as SweepOptions, Shard, Study, Sweep};
