"""Lets the linkage's tests find their helper module."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
