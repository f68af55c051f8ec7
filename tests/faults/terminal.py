"""A real terminal with a program in it: tmux without a window, asked what it shows."""

import os
import shlex
import subprocess
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

LIMIT_S = 60.0
STEP_S = 0.05
KEYS_TO_ARM = (
    ("not commissioned", ["Enter"]),
    ("T one throw", ["t"]),
    ("before anything moves", list("123456")),
    ("Ctrl-S keep", ["C-s"]),
    ("NEXT: lock throw 1 of 1", ["Enter"]),
    ("Enter arm", ["Enter"]),
)
"""What the screen shows, and what is pressed then."""


class Terminal:
    """One program in one terminal of its own."""

    def __init__(self, tmux: str, socket: Path) -> None:
        self._tmux = [tmux, "-S", str(socket), "-f", os.devnull]

    def __call__(self, *words: str) -> str:
        # A line editor in this process may have put its own size into the environment of what it starts.
        env = {name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")}
        done = subprocess.run([*self._tmux, *words], env=env, capture_output=True, text=True, check=True)
        return done.stdout

    def press(self, *keys: str) -> None:
        """Keys as tmux names them."""
        self("send-keys", *keys)

    def resize(self, columns: int, lines: int) -> None:
        """As if somebody pulled at the corner of the window."""
        self("resize-window", "-x", str(columns), "-y", str(lines))

    def vanish(self) -> None:
        """The window is closed, the line is cut: the program's terminal is no more."""
        self("kill-server")

    @property
    def screen(self) -> str:
        """What stands on it now."""
        return self("capture-pane", "-p")

    def until(self, text: str, also: Callable[[str], bool] = lambda screen: True) -> str:
        """The screen, as soon as it shows ``text`` and ``also`` agrees."""
        pause, screen = threading.Event(), ""
        for _ in range(int(LIMIT_S / STEP_S)):
            screen = self.screen
            if text in screen and also(screen):
                return screen
            pause.wait(STEP_S)
        raise AssertionError(f"{text!r} isn't shown within {LIMIT_S} s, but this:\n{screen}")


@contextmanager
def terminal(
    tmux: str, folder: Path, line: list[str], variables: Mapping[str, str], columns: int = 80, lines: int = 24
) -> Iterator[Terminal]:
    """The program runs until the block is left; when it ends by itself, ``ENDED`` and its exit code are shown."""
    made = Terminal(tmux, folder / "tmux")
    given = [word for name, value in variables.items() for word in ("-e", f"{name}={value}")]
    shell = f"{shlex.join(line)}; echo ENDED $?; read -r end"
    size = ("-x", str(columns), "-y", str(lines))
    made("new-session", "-d", *size, *given, "sh", "-c", shell)
    try:
        yield made
    finally:
        with suppress(subprocess.CalledProcessError):  # it vanished already
            made.vanish()
