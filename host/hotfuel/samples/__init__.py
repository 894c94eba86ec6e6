"""Frames to numbers: numpy tables of a whole log, messages of a growing one, and the clock between board and wall."""

from hotfuel.samples.decoded import Decoded, decode

__all__ = ["Decoded", "decode"]
