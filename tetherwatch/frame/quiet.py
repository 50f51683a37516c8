"""Decoders in C print to the error stream, raw file names included. Nothing of that may reach the user's terminal."""

import os
from collections.abc import Iterator
from contextlib import contextmanager

_ERROR_STREAM = 2


@contextmanager
def quiet_decoder() -> Iterator[None]:
    """Discard what the process writes to its error stream meanwhile, from C as well: no other thread may need it."""
    try:
        kept = os.dup(_ERROR_STREAM)
    except OSError:  # there is no error stream
        yield
        return
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, _ERROR_STREAM)
        os.close(nowhere)
        yield
    finally:
        os.dup2(kept, _ERROR_STREAM)
        os.close(kept)
