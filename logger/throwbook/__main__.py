"""Run the command line as ``python -m throwbook``."""

from throwbook.cli.main import main

main()
