//! What a run means.
pub mod noise_rating;
