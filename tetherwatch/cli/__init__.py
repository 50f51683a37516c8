"""Parse, call, print. Typed errors become advice here and nowhere else."""
