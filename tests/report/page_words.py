"""Words on pages, and where they stand: what layout tests look at."""

import os
import re
import shutil
import subprocess
import sys
import unicodedata
from html.parser import HTMLParser
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

NO_SKIP = "THROWBOOK_NO_SKIP"


class Word(NamedTuple):
    """A word and its box on the page [pt], measured from the top left."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


def need(program: str, packages: str = "chromium poppler-utils") -> str:
    """The program's path. Skips the test where it isn't installed, or fails where a skip isn't wanted."""
    found = shutil.which(program)
    if found is None:
        reason = f"not installed: {program} (apt-get install {packages})"
        if os.environ.get(NO_SKIP) == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    return found


def words_on_pages(pdf: bytes, folder: Path) -> list[tuple[float, float, list[Word]]]:
    """Width, height and words of each page."""
    if sys.platform == "win32":
        return _words_by_pdfium(pdf)
    file = folder / "paper.pdf"
    file.write_bytes(pdf)
    done = subprocess.run(
        [need("pdftotext"), "-bbox", str(file), "-"], capture_output=True, text=True, check=True
    )
    pages = []
    for page in re.findall(r"<page (.*?)</page>", done.stdout, re.DOTALL):
        width, height = re.match(r'width="([\d.]+)" height="([\d.]+)"', page).groups()
        boxes = re.findall(
            r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>', page
        )
        pages.append((float(width), float(height), [Word(text, *map(float, box)) for *box, text in boxes]))
    return pages


def _words_by_pdfium(pdf: bytes) -> list[tuple[float, float, list[Word]]]:
    """The same where there is no pdftotext: it is brought by a wheel, and gives the same words in boxes of the same height."""
    import pypdfium2

    pages = []
    with pypdfium2.PdfDocument(pdf) as document:
        for page in document:
            (width, height), text = page.get_size(), page.get_textpage()
            words: list[Word] = []
            letters = [text.get_text_range(n, 1) for n in range(text.count_chars())]
            for n, letter in enumerate(letters):
                if not letter.strip():
                    continue
                left, bottom, right, top = text.get_charbox(n, loose=True)
                word = Word("", left, height - top, right, height - bottom)
                if n and letters[n - 1].strip():
                    word = words.pop()
                words.append(
                    Word(
                        word.text + letter,
                        min(word.left, left),
                        min(word.top, height - top),
                        max(word.right, right),
                        max(word.bottom, height - bottom),
                    )
                )
            pages.append((width, height, words))
    return pages


def overlapping(words: list[Word], shrink: float = 0.22) -> list[tuple[str, str]]:
    """Pairs of words whose boxes, made smaller by a share on each side, still lie on each other."""
    if not words:
        return []
    left, top, right, bottom = (np.array([word[side] for word in words]) for side in (1, 2, 3, 4))
    wide = np.minimum.outer(right, right) - np.maximum.outer(left, left)
    high = np.minimum.outer(bottom, bottom) - np.maximum.outer(top, top)
    lower = np.minimum.outer(bottom - top, bottom - top)
    on_each_other = np.triu((wide > 0.5) & (high > 2 * shrink * lower), 1)
    return [(words[one].text, words[other].text) for one, other in np.argwhere(on_each_other)]


class _Text(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self._off = 0

    def handle_starttag(self, tag, attrs):
        self._off += tag in ("style", "title")
        label = dict(attrs).get("aria-label")
        if tag == "svg" and label:
            self.said.append(label)

    def handle_endtag(self, tag):
        self._off -= tag in ("style", "title")

    def handle_data(self, data):
        if not self._off:
            self.said.append(data)


def html_text(html: str) -> str:
    """What a page says, drawings by their alt text."""
    reader = _Text()
    reader.feed(html)
    return " ".join(reader.said)


def squeezed(text: str) -> str:
    """Without any blank, ligatures taken apart: lines break at different places on different papers."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", text))
