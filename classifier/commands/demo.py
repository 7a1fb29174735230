EXAMPLE = "callkey demo"


def demo() -> None:
    """Show."""
