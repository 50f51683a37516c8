"""The noise ladder: test frames in, figures per rung and the highest ISO worth using out."""
