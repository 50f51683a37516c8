"""Which of several faces is metered."""

from tetherwatch.meter.records import Face, Point


def nearest(faces: tuple[Face, ...], near: Point | None) -> Face | None:
    """The face to meter of all that were found, largest first: the one nearest to `near`, without it the largest."""
    if near is None or not faces:
        return faces[0] if faces else None
    return min(faces, key=lambda face: (face.middle.x - near.x) ** 2 + (face.middle.y - near.y) ** 2)


def next_face(faces: tuple[Face, ...], now: Face | None) -> Face | None:
    """The face right of the one metered now, after the last one the first; None where there is no other."""
    others = [face for face in faces if face != now]
    right = [face for face in others if now is None or face.middle.x > now.middle.x]
    return min(right or others, key=lambda face: face.middle.x, default=None)
