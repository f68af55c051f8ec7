"""How every drawing of ours looks: readable in print, without colour, and by colour-blind eyes.

Lines differ by stroke and shade first, by colour second. Colours are from a published colour-blind safe set (Okabe and
Ito, "Color Universal Design", 2008): orange, sky blue, bluish green, blue and vermillion beside black and grey.
Drawing goes through a figure of its own, never through the global state of pyplot, and leaves the same bytes each time.
"""

import os
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from throwbook.errors import InputError, OutsideError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BLACK = "#000000"
GREY = "#767676"
LIGHT_GREY = "#d9d9d9"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
GREEN = "#009E73"
ORANGE = "#E69F00"
SKY = "#56B4E9"

MEASURED: dict[str, Any] = {"color": BLACK, "linewidth": 1.1, "linestyle": "-"}
SECOND: dict[str, Any] = {"color": BLUE, "linewidth": 1.1, "linestyle": (0, (6, 1.5))}
LIMIT: dict[str, Any] = {"color": VERMILLION, "linewidth": 1.2, "linestyle": (0, (8, 2, 1.5, 2))}
EXPECTED: dict[str, Any] = {"color": GREEN, "linewidth": 1.2, "linestyle": (0, (3, 2))}
EVENT: dict[str, Any] = {"color": GREY, "linewidth": 0.9, "linestyle": (0, (1, 1.5))}
BAND: dict[str, Any] = {"facecolor": LIGHT_GREY, "edgecolor": GREY, "linewidth": 0.5}

# ending: what has to be left out so that two runs give the same bytes
FORMATS: dict[str, dict[str, Any]] = {
    "png": {"Software": None},
    "svg": {"Date": None},
    "pdf": {"CreationDate": None},
}

_SETTINGS: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    # Where it would stand anyway; looking for it anew takes as long as drawing the axes.
    "axes.titley": 1.0,
    "axes.grid": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "grid.color": "#e6e6e6",
    "grid.linewidth": 0.6,
    "legend.frameon": False,
    "legend.fontsize": 8.0,
    "pdf.fonttype": 42,
    "svg.fonttype": "path",
    "svg.hashsalt": "throwbook",
    # A $ in a file name is a $, not the beginning of a formula.
    "text.parse_math": False,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Settings of our own, whatever the user's own matplotlib settings are."""
    import matplotlib

    plain: dict[Any, Any] = {
        key: value for key, value in matplotlib.rcParamsDefault.items() if not key.startswith("backend")
    }
    with matplotlib.rc_context(plain | _SETTINGS), warnings.catch_warnings():
        # A letter that the bundled font lacks is drawn as a box; that is no reason to write to stderr.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        yield


def format_of(path: str | Path) -> str:
    """``png``, ``svg`` or ``pdf`` by the ending of ``path``. Raises InputError for any other."""
    ending = Path(path).suffix.lower().lstrip(".")
    if ending not in FORMATS:
        raise InputError(f"'{ending}' is no kind of drawing", str(path), "End the name in .png, .svg or .pdf")
    return ending


@contextmanager
def pages(path: str | Path, count: int) -> Iterator[Callable[["Figure"], None]]:
    """Give a function that adds one figure to the file at ``path``; a PDF takes any number, others one.

    The file appears whole when the last figure is in, or not at all. Raises InputError for a wrong ending or too many
    figures (before anything is drawn), OutsideError when the disk refuses.
    """
    ending = format_of(path)
    if ending != "pdf" and count > 1:
        raise InputError(
            f"a .{ending} file holds one drawing, not {count}", str(path), "End the name in .pdf"
        )
    part = Path(f"{path}.part")
    try:
        part.unlink(missing_ok=True)  # a link that somebody put there isn't written through
        if ending == "pdf":
            from matplotlib.backends.backend_pdf import PdfPages

            # Fonts are embedded when the book closes: our settings must still hold then.
            with drawing(), PdfPages(part, metadata=FORMATS[ending]) as book:
                yield book.savefig
        else:
            with drawing():
                yield lambda figure: figure.savefig(part, format=ending, dpi=150, metadata=FORMATS[ending])
        os.replace(part, path)
    except OSError as error:
        raise OutsideError(
            f"writing failed ({error.strerror})", str(path), "Check the folder and the free space"
        ) from error
    finally:
        part.unlink(missing_ok=True)


def label_line(axes: "Axes", value: float, text: str, color: str, *, below: bool = False) -> None:
    """Write ``text`` beside the right end of a horizontal line at ``value``, where no curve runs through it.

    Where two lines lie near each other one goes a little ``below`` its line and the other above.
    """
    axes.annotate(
        text,
        xy=(1.0, value),
        xycoords=("axes fraction", "data"),
        xytext=(4, 3 if below else -3),
        textcoords="offset points",
        ha="left",
        va="top" if below else "bottom",
        fontsize=7.5,
        color=color,
    )
