"""Text that came from outside, made fit to be shown.

File names, head keys and cells of somebody else's file may hold terminal commands, line breaks or letters that
turn the reading direction; shown raw they could move the cursor, forge a verdict or hide a line.
"""

import shlex
import unicodedata
import zlib

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
