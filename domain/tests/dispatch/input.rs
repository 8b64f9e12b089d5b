//! Input that cannot be used: reasons, not failure.
