"""Independent random streams from one seed, so that one more fault leaves the rest of a match as it was."""

import zlib

import numpy as np

__all__ = ["stream"]


def stream(seed: int, subject: str) -> np.random.Generator:
    """The stream of one subject under this seed."""
    return np.random.default_rng([seed, zlib.crc32(subject.encode())])
