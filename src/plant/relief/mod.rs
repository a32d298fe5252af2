//! Relief between the supply plenum and the return plenum, or a room.
//!
//! Where the air ends is the network's affair: the same element runs to the return plenum, or to
//! a room it is dumped into. In the network each relief is one element whose flow rises with its
//! pressure drop, so that the balance keeps a single answer. The strategies are listed in
//! [`Relief`]: adding one is one file and one entry there.

mod motorised;
mod weighted_blade;

pub use motorised::MotorisedRelief;
pub use weighted_blade::WeightedBlade;

/// What relieves the supply plenum.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Relief {
    /// Nothing.
    #[default]
    None,
    /// A blade held shut by a weight.
    WeightedBlade(WeightedBlade),
    /// A motorised damper moved by the controller.
    Motorised(MotorisedRelief),
}
