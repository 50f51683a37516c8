"""A simulated studio and camera that writes real captures with known truth.

A scene name and a seed enter; DNG or JPEG files and `truth.jsonl` leave. Imports only `exposure` from the other parts.
"""
