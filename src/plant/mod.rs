//! Physics without opinions.

pub mod damper;
pub mod duct;
pub mod fan;
pub mod grille;
pub mod network;
pub mod relief;
