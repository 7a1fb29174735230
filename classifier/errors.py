"""The few error classes. A caller treats each of them differently; every message names the thing and the remedy."""


class CallkeyError(Exception):
    """Root of all expected failures. Its text is one readable sentence: what is wrong, where, and the remedy."""


class InputError(CallkeyError):
    """A file, folder or table that was given cannot be used (exit code 1)."""


class ParameterError(CallkeyError, ValueError):
    """A number or word passed to a function lies outside what it allows; the message says which, and what it allows."""


class KeyFaultError(CallkeyError):
    """A key has faults. ``diagnostics`` holds every one of them, in the order of the text."""

    def __init__(self, message, diagnostics=()):
        super().__init__(message)
        self.diagnostics = tuple(diagnostics)
