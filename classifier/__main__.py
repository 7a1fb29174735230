"""``python -m classifier`` and the command ``callkey``."""


def main():
    """Run the command line."""
    from classifier.commands import run

    run()


if __name__ == "__main__":
    main()
