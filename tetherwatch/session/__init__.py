"""The session: metered captures in, numbered frame records with their calls out. Screens only read its records."""
