"""Text that came from outside, made fit to be shown.

File names, head keys and cells of somebody else's file may hold terminal commands, line breaks or letters that
turn the reading direction; shown raw they could move the cursor, forge a verdict or hide a line.
"""

import unicodedata

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
    seen = "".join(
        letter
        for letter in text
        if unicodedata.category(letter) not in _UNPRINTABLE and letter not in _BLANK_LETTERS
    ).strip()
    return seen if any(letter.isalnum() for letter in seen) else ""


def quoted(text: str, at_most: int = 40) -> str:
    """``text`` made printable, cut to ``at_most`` letters, between quotes: for error messages."""
    shown = printable(text)
    return f"'{shown}'" if len(shown) <= at_most else f"'{shown[:at_most]}...'"


_KEPT_IN_NAMES = frozenset(" -_.()+,=@'&")
# Names that Windows gives to devices, whatever ending they have (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(10))}
_LONGEST_NAME = 80


def file_name(text: str) -> str:
    r"""``text`` as one part of a file name on any system: it can't leave its folder, hide, or be a device.

    >>> file_name("../../quarry loader"), file_name("nul.csv"), file_name("C:\\temp")
    ('-.-quarry loader', '_nul.csv', 'C--temp')
    """
    kept = "".join(letter if letter.isalnum() or letter in _KEPT_IN_NAMES else "-" for letter in text)
    kept = kept.replace("..", ".").lstrip(". ").rstrip(". ")[:_LONGEST_NAME]
    return f"_{kept}" if kept.partition(".")[0].strip().upper() in _DEVICES or not kept else kept


def counted(number: int, word: str) -> str:
    """``1 throw``, ``2 throws``.

    >>> counted(1, "throw"), counted(0, "order")
    ('1 throw', '0 orders')
    """
    return f"{number} {word}{'' if number == 1 else 's'}"
