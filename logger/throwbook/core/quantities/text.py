"""Text that came from outside, made fit to be shown; days and times of day as a person types them.

File names, head keys and cells of somebody else's file may hold terminal commands, line breaks or letters that
turn the reading direction; shown raw they could move the cursor, forge a verdict or hide a line.
"""

import re
import shlex
import unicodedata
import zlib
from datetime import date, datetime, time

from throwbook.errors import InputError

# Cc controls, Cf invisible formatting (direction overrides among them), Cs lone halves from odd file names,
# Zl and Zp line and paragraph separators.
_UNPRINTABLE = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


def printable(text: str) -> str:
    r"""``text`` with every control and invisible character replaced by a visible mark.

    >>> printable("pin\x1b[2Jok")
    'pin\ufffd[2Jok'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        "\N{REPLACEMENT CHARACTER}" if unicodedata.category(letter) in _UNPRINTABLE else letter
        for letter in text
    )


_HALF_LETTERS = re.compile("[\ud800-\udfff]")


def storable(text: str) -> str:
    r"""A file's name as a logbook can hold it: half letters, as names from other computers leave them, become a visible mark.

    >>> storable("F\udce9vrier.jpg")
    'F\ufffdvrier.jpg'
    """
    return _HALF_LETTERS.sub("\N{REPLACEMENT CHARACTER}", text)


# Letters by their class, blank on the screen: the fillers of the Korean syllable blocks.
_BLANK_LETTERS = frozenset("\u115f\u1160\u3164\uffa0")


def written(text: str) -> str:
    r"""What a person can be said to have written: ``text`` without blanks around it and without invisible characters.

    Empty unless at least one letter or digit of it can be seen, so that neither a dash nor a letter without width
    passes for a signature, a reason or a cause.

    >>> written(" M. K. "), written("\u200b\u3164"), written(" - ")
    ('M. K.', '', '')
    """
    if text.isascii() and text.isprintable():
        seen = text.strip()
    else:
        seen = "".join(
            letter
            for letter in text
            if unicodedata.category(letter) not in _UNPRINTABLE and letter not in _BLANK_LETTERS
        ).strip()
    return seen if any(letter.isalnum() for letter in seen) else ""


def is_name(text: str) -> bool:
    """Whether ``text`` can be the name of who signs: a letter of it can be seen.

    >>> is_name("M. K."), is_name("0"), is_name("-")
    (True, False, False)
    """
    return any(letter.isalpha() for letter in written(text))


def quoted(text: str, at_most: int = 40) -> str:
    """``text`` made printable, cut to ``at_most`` letters, between quotes: for error messages."""
    shown = printable(text)
    return f"'{shown}'" if len(shown) <= at_most else f"'{shown[:at_most]}...'"


_KEPT_IN_NAMES = frozenset(" -_.()+,=@'&")
# Names that Windows gives to devices, whatever ending they have (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = {"CON", "PRN", "AUX", "NUL"} | {
    f"{port}{number}" for port in ("COM", "LPT") for number in "0123456789¹²³"
}
_LONGEST_NAME_BYTES = 120
"""A file system takes 255 bytes, of which date, direction and ending need their share."""


def file_name(text: str) -> str:
    r"""``text`` as one part of a file name on any system: it can't leave its folder, hide, or be a device.

    A longer one is cut and ends in a number made from the whole, so that two with the same beginning stay two.

    >>> file_name("../../quarry loader"), file_name("nul.csv"), file_name("C:\\temp")
    ('-.-quarry loader', '_nul.csv', 'C--temp')
    """
    kept = "".join(letter if letter.isalnum() or letter in _KEPT_IN_NAMES else "-" for letter in text)
    kept = kept.replace("..", ".").lstrip(". ").rstrip(". ")
    if len(kept.encode()) > _LONGEST_NAME_BYTES:
        number = f"-{zlib.crc32(text.encode(errors='replace')):08x}"
        kept = kept.encode()[: _LONGEST_NAME_BYTES - len(number)].decode(errors="ignore") + number
    return f"_{kept}" if kept.partition(".")[0].strip().upper() in _DEVICES or not kept else kept


def for_shell(text: str) -> str:
    """``text`` as one word of a command to be typed, so that no letter of a name does anything in the shell.

    Double quotes, which every system takes, where only blanks or Windows' own paths ask for them; else those of a POSIX shell.

    >>> for_shell("yard-loader-1"), for_shell("yard loader"), for_shell("$(cd) loader")
    ('yard-loader-1', '"yard loader"', "'$(cd) loader'")
    >>> print(for_shell("C:\\\\rigs\\\\yard.toml"))
    "C:\\rigs\\yard.toml"
    """
    one_way = "\\\\" not in text and not text.endswith("\\")  # what a backslash does in double quotes
    if text and one_way and all(letter.isalnum() or letter in "-_./ :\\" for letter in text):
        return f'"{text}"' if set(text) & set(" \\") else text
    return shlex.quote(text)


def counted(number: int, word: str) -> str:
    """``1 throw``, ``2 throws``.

    >>> counted(1, "throw"), counted(0, "order")
    ('1 throw', '0 orders')
    """
    return f"{number} {word}{'' if number == 1 else 's'}"


# ---- days and times of day: 2026-03-14, 14.3.2026, 3/14/2026, 8:00, 3/14/2026 8:05 pm ----

# With US units the month comes first. Elsewhere figures with strokes between them are taken only where one reading is
# possible; with points between them the day comes first (common practice, no source).
_DAY = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})")
_MOMENT = re.compile(r"(?:(\S+)[T\s]\s*)?(\d{1,2}):(\d{2})(?::(\d{2}))?(?:\s*([ap])\.?m\.?)?", re.IGNORECASE)


def day_typed(text: str, month_first: bool = False, where: str = "") -> date:
    """The day that is meant. Raises InputError where it is none, or where two are possible.

    >>> day_typed("2026-11-02") == day_typed("2.11.2026") == day_typed("11/2/2026", month_first=True)
    True
    >>> day_typed("11/2/2026")
    Traceback (most recent call last):
    throwbook.errors.InputError: 11 February or 2 November? Write 2026-02-11 or 2026-11-02.
    """
    plain = text.strip()
    found = _DAY.fullmatch(plain)
    if found is None:
        try:
            return date.fromisoformat(plain)
        except ValueError:
            raise _no_day(text, where) from None
    first, second, year = int(found[1]), int(found[3]), int(found[4])
    possible = [day for day in (_day(year, second, first), _day(year, first, second)) if day is not None]
    if not possible:
        raise _no_day(text, where)
    if month_first:
        return possible[-1]
    if found[2] == "." or possible[0] == possible[-1]:
        return possible[0]
    one, other = possible
    what = f"{one.day} {one:%B} or {other.day} {other:%B}?"
    raise InputError(what, where, f"Write {one} or {other}.")


def _no_day(text: str, where: str) -> InputError:
    return InputError(f"{quoted(text)} is not a date", where, "Write it as 2026-03-14.")


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def moment_typed(text: str, today: date | None, month_first: bool = False, where: str = "") -> datetime:
    """A day, a day and a time, or a time of day alone, which is ``today``'s (None: it needs a day). Raises InputError as above.

    >>> str(moment_typed("8:00", date(2026, 3, 14))), str(moment_typed("3/14/2026 8:05 pm", date(2026, 3, 15), True))
    ('2026-03-14 08:00:00', '2026-03-14 20:05:00')
    """
    plain = text.strip()
    try:
        return datetime.fromisoformat(plain)
    except ValueError:
        found = _MOMENT.fullmatch(plain)
    if found is None and ":" not in plain:
        return datetime.combine(day_typed(plain, month_first, where), time())
    clock = _clock(found) if found is not None else None
    on = day_typed(found[1], month_first, where) if found is not None and found[1] else today
    if clock is None or on is None:
        raise InputError(f"{quoted(text)} is not a date and time", where, "Write it as 2026-03-14T09:12.")
    return datetime.combine(on, clock)


def _clock(found: "re.Match[str]") -> time | None:
    hour, half = int(found[2]), (found[5] or "").casefold()
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + 12 * (half == "p")
    try:
        return time(hour, int(found[3]), int(found[4] or 0))
    except ValueError:
        return None
