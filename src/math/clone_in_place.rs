//! `Clone` that reuses memory: what the derived one does not.

/// Implements `Clone` with a `clone_from` that goes field by field, so that vectors keep their memory. Every
/// field must be named; the compiler refuses a list that forgets one.
macro_rules! clone_in_place {
    ($type:ty { $($field:ident),* $(,)? }) => {
        impl Clone for $type {
            fn clone(&self) -> Self {
                Self { $($field: self.$field.clone()),* }
            }

            fn clone_from(&mut self, source: &Self) {
                $(self.$field.clone_from(&source.$field);)*
            }
        }
    };
}

pub(crate) use clone_in_place;
