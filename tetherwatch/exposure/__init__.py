"""Stops, APEX values, dial series and settings. Numbers in, numbers out; imports nothing from the other parts."""
