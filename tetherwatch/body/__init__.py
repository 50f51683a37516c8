"""Camera bodies: a profile file in, a frozen record of dials, noise, ceiling and grey out."""
