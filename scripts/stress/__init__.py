"""Damage and mass: captures as nobody should make them, and more of them than anybody will."""
