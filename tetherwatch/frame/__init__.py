"""A file becomes pixels and settings: raw, picture and metadata decoders behind one interface (`load.open_frame`).

Paths enter, `Frame` and `Metadata` leave; a capture that cannot be metered leaves as a `CaptureError`. Captures are
opened read-only and closed at once.
"""
