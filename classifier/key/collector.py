"""Python's collector of circular garbage, paused while a key is read, proven or laid out.

That makes hundred thousands of small objects which all live until the end and refer to each other in no circle, so that the
collector would go through all of them again and again and find nothing: a third of the time of a large key.
"""

import gc
from contextlib import contextmanager


@contextmanager
def collector_paused():
    """Pause it, unless it is paused already; also as a decorator."""
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        # What was made meanwhile counts as old at once, which saves going through it all now.
        gc.freeze()
        gc.unfreeze()
        gc.enable()
