"""Run the command line as ``python -m throwbook``."""

import os
import sys

# Python looks in the folder it is started in first. Somebody's serial.py or numpy.py there is none of this program's.
_home = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
if not sys.flags.safe_path and sys.path[0] == os.getcwd() != _home:
    del sys.path[0]

from throwbook.cli.main import main  # noqa: E402

main()
