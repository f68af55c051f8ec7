"""These tests are for Windows alone: elsewhere they aren't collected."""

import sys

collect_ignore_glob = [] if sys.platform == "win32" else ["test_*.py"]
