"""A folder becomes metered captures: events and rescans, settling, pairing, worker processes and their supervision.

A folder path and an aim enter; `Metered`, `Problem` and `Health` records leave, newest capture first.
"""
