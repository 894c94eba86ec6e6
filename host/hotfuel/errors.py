"""The error types a user may meet. Everything a user can cause ends in one of these, and the command line prints it as one sentence."""


class HotfuelError(Exception):
    """Base of all errors meant for a person. `exit_code` is what the command line returns: 1 the data is bad, 2 wrong use."""

    exit_code = 1


class InputError(HotfuelError, ValueError):
    """A value, file or log cannot be used. The message is one sentence: what was seen, what is allowed, what to do."""


class UsageError(HotfuelError):
    """The command was asked for something it cannot do (missing option, contradicting options)."""

    exit_code = 2


class LinkError(HotfuelError):
    """The board or its port cannot be reached, or went away."""
