"""Run the command line as ``python -m logger``."""

from logger.cli.main import main

main()
