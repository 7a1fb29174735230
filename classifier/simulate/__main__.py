"""``python -m classifier.simulate RECIPE FOLDER``: make the recordings of a recipe."""

import sys

from classifier.errors import CallkeyError
from classifier.simulate.demo import make_demo


def main(arguments):
    """Run; 0 done, 1 a faulty recipe, 2 a wrong command line."""
    if len(arguments) != 2:
        print("usage: python -m classifier.simulate RECIPE FOLDER", file=sys.stderr)
        return 2
    try:
        demo = make_demo(arguments[1], recipe=arguments[0])
    except CallkeyError as error:
        print(error, file=sys.stderr)
        return 1
    print(f"{len(demo.recordings)} recordings and {demo.truth}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
