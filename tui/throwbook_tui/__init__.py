"""The terminal UI: screens over the same jobs as the command line."""

import os

# A lone Esc can only be told from the head of another key by waiting; a tenth of a second, as is usual, can be felt.
os.environ.setdefault("ESCDELAY", "20")
# What a key changes is drawn at the next beat of the terminal library; at its usual 60 a second that alone is up to 17 ms.
os.environ.setdefault("TEXTUAL_FPS", "120")
