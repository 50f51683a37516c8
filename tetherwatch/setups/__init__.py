"""Lighting setups: judged frames in, the stretches of one light, returns, drift and matches out."""
