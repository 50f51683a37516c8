"""People: a frame in, faces and eyes out, with where they are and how sharp."""
