"""callkey: a rule-based classifier of bat calls whose key is a plain text that its author owns."""

__version__ = "0.1.0"
