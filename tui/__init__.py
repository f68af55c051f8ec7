"""The terminal UI: screens over the same jobs as the command line."""

import os

# A lone Esc can only be told from the head of another key by waiting; a tenth of a second, as is usual, can be felt.
os.environ.setdefault("ESCDELAY", "20")
