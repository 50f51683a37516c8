"""Readings become calls: the plan, the levers and the one setting to move. Pure: no files but plan text, no clock."""
