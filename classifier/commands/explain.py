EXAMPLE = "callkey explain"


def explain() -> None:
    """Show."""
