"""The random small cases and the enumerator lie with the oracle."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "oracle"))
