"""The command line: one thin module a command. Each takes its options, makes one call, shows what came of it
and says how it ended: 0 done, 1 the input or the key has faults, 2 the command line is wrong."""


def run() -> None:
    """Run the command that stands on the command line."""
    from classifier.commands.application import application

    application()


__all__ = ["run"]
