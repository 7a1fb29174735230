"""Lets the tests of the proving checker share random_keys.py, oracle.py and planting.py."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
