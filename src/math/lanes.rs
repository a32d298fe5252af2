//! Rooms two at a time.
//!
//! What every room goes through in the same way is kept by quantity, two rooms side by side in
//! [`Lanes`], which adds and multiplies both in one instruction of the oldest x86-64. Wider blocks
//! were tried and were slower there: each sum becomes two instructions, and the code of a step no
//! longer fits the first-level cache. Lists of blocks are as long as needed; what lies past the last
//! room counts nothing.

/// Two numbers that go through the same sums.
pub type Lanes = wide::f64x2;

/// Rooms in a block.
pub(crate) const LANES: usize = 2;

/// Where a room sits: which block, and which of its places.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seat {
    /// The block.
    pub block: usize,
    /// The place in it.
    pub lane: usize,
}

impl Seat {
    /// The seat of a room, rooms being seated in order.
    #[inline]
    pub const fn of(room: usize) -> Seat {
        Seat {
            block: room / LANES,
            lane: room % LANES,
        }
    }

    /// Its number.
    #[inline]
    pub fn get(self, lanes: &Lanes) -> f64 {
        lanes.as_array()[self.lane % LANES]
    }

    /// Its number, to be changed.
    #[inline]
    pub fn of_mut(self, lanes: &mut Lanes) -> &mut f64 {
        &mut lanes.as_mut_array()[self.lane % LANES]
    }
}

/// Blocks needed for so many rooms.
pub const fn blocks(rooms: usize) -> usize {
    rooms.div_ceil(LANES)
}

/// The numbers of a block of rooms: `of` each room of the block `among` all rooms, `otherwise` where
/// there is none.
pub fn gather<T>(block: usize, among: &[T], otherwise: f64, of: impl Fn(&T) -> f64) -> Lanes {
    Lanes::from(std::array::from_fn(|lane| {
        among.get(LANES * block + lane).map_or(otherwise, &of)
    }))
}

/// The sum over the block.
#[inline]
pub(crate) fn sum(lanes: Lanes) -> f64 {
    lanes.to_array().iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_room_has_a_seat() {
        let rooms: Vec<f64> = (1..=5).map(f64::from).collect();
        let lanes: Vec<Lanes> = (0..blocks(rooms.len()))
            .map(|b| gather(b, &rooms, 0.0, |r| *r))
            .collect();
        assert_eq!(lanes.len(), rooms.len().div_ceil(LANES));
        for (i, want) in rooms.iter().enumerate() {
            let seat = Seat::of(i);
            assert_eq!(seat.get(&lanes[seat.block]), *want);
        }
        assert_eq!(lanes.iter().map(|l| sum(*l)).sum::<f64>(), 15.0);
    }
}
