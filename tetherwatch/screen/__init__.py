"""The live terminal dashboard. Panels are pure functions (records, size) -> rich renderables; one app hosts them."""
