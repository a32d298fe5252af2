//! The scenarios built into the program.

/// File name and text of every scenario shipped in `scenarios/`.
pub(crate) const SHELF: &[(&str, &str)] = &[
    (
        "family-house.toml",
        include_str!("../../scenarios/family-house.toml"),
    ),
    (
        "living-one-outlet.toml",
        include_str!("../../scenarios/living-one-outlet.toml"),
    ),
    (
        "living-two-outlets.toml",
        include_str!("../../scenarios/living-two-outlets.toml"),
    ),
    (
        "small-zone-no-relief.toml",
        include_str!("../../scenarios/small-zone-no-relief.toml"),
    ),
    (
        "small-zone-relief.toml",
        include_str!("../../scenarios/small-zone-relief.toml"),
    ),
    (
        "winter-morning.toml",
        include_str!("../../scenarios/winter-morning.toml"),
    ),
    (
        "clinic-twelve-rooms.toml",
        include_str!("../../scenarios/clinic-twelve-rooms.toml"),
    ),
    (
        "faults-demo.toml",
        include_str!("../../scenarios/faults-demo.toml"),
    ),
];

/// The commented file that `openshut new` writes.
pub(crate) const STARTER: &str = include_str!("starter.toml");
