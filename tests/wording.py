"""How hard each text is to read that a person meets: school grade, words a sentence, the longest sentence.

    python -m tests.wording [NAME]       # NAME: also the sentences of that text that are too long, and its hardest

One reader for each kind of text gives its sentences. Code, numbers standing alone and short labels are none. What stands in a cell
of a table, a heading or a list without a full stop counts as a sentence from nine words on. Grade: Flesch-Kincaid (J. P. Kincaid et
al., Research Branch Report 8-75, 1975). Syllables are those of the CMU dictionary, else hyphenation. A number, a piece of code and
what a program fills in are one word of one syllable.
"""

import ast
import re
import sys
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import click

from tests.house import product_sources

TOP = Path(__file__).parents[1]
GUIDE = TOP / "logger/throwbook/guide"
LABEL = 9
"""From how many words on a text without a full stop is a sentence, not a label."""

_END = re.compile(r"(?<!\b[A-Z]\.)(?<=[.!?])[\"')*]*\s+(?=[\"'(*]*[A-Z0-9])")
_WORD = re.compile(r"[^\W_]")
_NO_TEXT = re.compile(r"\b(SELECT|INSERT INTO|UPDATE|CREATE|DELETE FROM|PRAGMA)\b|<svg|:root")
_STARTS = re.compile(r"[A-Za-z][a-z ]{1,16}: |Because ")


class Text(NamedTuple):
    """One text, by the name it has in the table."""

    name: str
    sentences: tuple[str, ...]

    @property
    def grade(self) -> float:
        """School years that it asks of its reader."""
        import textstat

        plain = (re.sub(r"[.!?]", "", sentence) for sentence in self.sentences)
        return float(textstat.flesch_kincaid_grade(". ".join(plain) + "."))

    @property
    def longest(self) -> int:
        """Words of the longest sentence."""
        return max(map(words, self.sentences), default=0)

    @property
    def mean(self) -> float:
        """Words a sentence."""
        return sum(map(words, self.sentences)) / max(1, len(self.sentences))


def words(sentence: str) -> int:
    return sum(bool(_WORD.search(part)) for part in sentence.split())


def sentences(block: str) -> Iterator[str]:
    """Sentences of one paragraph, label or cell."""
    block = " ".join(block.split())
    for each in _END.split(block):
        letters = re.findall(r"[A-Za-z]{2,}", each)
        if (each.rstrip("\"')*").endswith((".", "!", "?")) and len(letters) > 1) or words(each) >= LABEL:
            yield each


def text(name: str, blocks: Iterable[str]) -> Text:
    """The text of these blocks; a sentence that stands in it more than once counts once."""
    return Text(name, tuple(dict.fromkeys(each for block in blocks for each in sentences(block))))


# ---- one reader for each kind ----


def markdown(page: str) -> Iterator[str]:
    """Paragraphs, headings, items, cells and the words of pictures."""
    page = re.sub(r"<!--.*?-->", "", page, flags=re.DOTALL)
    page = re.sub(r"^```.*?^```", "", page, flags=re.DOTALL | re.MULTILINE)
    page = re.sub(r"`[^`]+`", "Code", page)
    yield from re.findall(r"!\[([^\]]*)\]", page)
    page = re.sub(r"!\[[^\]]*\]\([^)]*\)", "", page)
    page = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", page)
    block: list[str] = []
    item = False
    for line in [*page.splitlines(), ""]:
        bare = line.strip()
        starts = bool(re.match(r"([-*]|\d+\.)\s", bare))
        code = line.startswith("    ") and not block
        if not bare or starts or code or bare.startswith(("#", "|")):
            yield " ".join(block).replace("**", "").replace("*", "")
            block = []
            item = starts or (item and code)
        if not bare or (code and not item):
            continue
        if bare.startswith("|"):
            yield from (cell.replace("*", "") for cell in bare.split("|"))
        elif bare.startswith("#"):
            yield bare.lstrip("# ")
        else:
            block.append(re.sub(r"^([-*]|\d+\.)\s+", "", bare))


def help_of(command: click.Command) -> Iterator[str]:
    """Paragraphs of a help text but for what it sets off (examples), and its options."""
    for paragraph in (command.help or "").replace("\f", "").split("\n\n"):
        if not paragraph.strip().startswith(("\b", "Example")):
            yield re.sub(r"\'[^\']+\'", "Code", paragraph)
    yield from (one.help or "" for one in command.params if isinstance(one, click.Option))


def screen(shown: str) -> Iterator[str]:
    """Sentences of a screen as it stood: rows that run on are joined, columns and drawings part them."""
    block = ""
    for row in [*shown.partition("\n\n ")[0].splitlines(), ""]:
        pieces = [
            piece for piece in re.split(r"\s{2,}|[\u2500-\u28ff]+", row.strip()) if re.search("[a-z]", piece)
        ]
        if pieces and _STARTS.match(pieces[0]):
            yield block
            block = ""
        if len(pieces) == 1 and (block or len(row.rstrip()) > 20):
            block = f"{block} {pieces[0]}"
            if len(row.rstrip()) > 55 and not pieces[0].endswith((".", "?", "!")):
                continue
            pieces = []
        yield block
        yield from pieces
        block = ""


def paper(words_of_it: str) -> Iterator[str]:
    """Lines of a paper; cells of its tables."""
    for line in words_of_it.splitlines():
        yield from re.split(r" \| |\s{3,}", line)


def strings(source: str) -> Iterator[str]:
    """What a module may say: its strings, without docstrings, patterns and queries."""
    nodes = list(ast.walk(ast.parse(source)))
    hidden = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    lists = [node.value for node in nodes if isinstance(node, ast.Attribute) and node.attr == "split"]
    named = {each.id for each in lists if isinstance(each, ast.Name)}
    for node in nodes:
        if (
            isinstance(node, ast.Assign)
            and isinstance(node.targets[0], ast.Name)
            and node.targets[0].id in named
        ):
            lists.append(node.value)
    hidden |= set(map(id, lists))
    for node in nodes:
        said = ""
        if isinstance(node, ast.JoinedStr):
            hidden.update(id(part) for part in node.values)
            said = "".join(str(part.value) if isinstance(part, ast.Constant) else "9" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in hidden:
            said = re.sub(r"\{[^}]*\}", "9", node.value)
        if (
            len(re.findall(r"\b[A-Za-z]?[a-z]+\b", said)) > 3
            and not _NO_TEXT.search(said)
            and "\\" not in said
        ):
            yield from _blocks(re.sub(r"`[^`]+`", "Code", said))


def _blocks(said: str) -> Iterator[str]:
    """Paragraphs; of a file with keys and values its comments."""
    if re.search(r"^\w+ = ", said, re.MULTILINE):
        yield from (line.partition("#")[2] for line in said.splitlines())
    else:
        yield from re.split(r"\n\s*\n|\n(?=\s)", said)


# ---- every text ----


@cache
def texts() -> dict[str, Text]:
    """Every text by its name."""
    from throwbook.cli.guide import CODES, VARIABLES, commands
    from throwbook.cli.main import throwbook

    pages = [TOP / name for name in ("README.md", "CHANGELOG.md", "DEVELOPERS.md", "sample-runs/README.md")]
    pages += sorted((TOP / "firmware-sketches").rglob("*.md")) + sorted(GUIDE.glob("*.md"))
    found = [text(page.relative_to(TOP).as_posix(), markdown(page.read_text("utf-8"))) for page in pages]
    found += [text(f"help {name}", help_of(command)) for name, command in commands(throwbook)]
    found.append(text("manual page", [what for _, what in (*CODES, *VARIABLES)]))
    for folder in sorted((TOP / "tests/tui/screens").iterdir()):
        shown = [path.read_text("utf-8") for path in sorted(folder.glob("*.txt"))]
        found.append(text(f"screens {folder.name}", (block for each in shown for block in screen(each))))
    for path in sorted((TOP / "tests/golden").rglob("*.txt")):
        found.append(text(f"{path.parent.name} {path.name}", paper(path.read_text("utf-8"))))
    rooms: dict[str, list[str]] = {}
    for path, source in product_sources().items():
        inside = path.parts[2:-1]
        room = "tui" if path.parts[0] == "tui" else "/".join(inside[:2]) or "throwbook"
        rooms.setdefault(room, []).extend(strings(source))
    found += [text(f"strings {room}", said) for room, said in rooms.items()]
    return {each.name: each for each in found if each.sentences}


def table() -> Iterator[str]:
    """A row for each text, as measured.md shows it."""
    yield "| text | sentences | words a sentence | grade | longest |"
    yield "|---|---|---|---|---|"
    for each in texts().values():
        yield f"| {each.name} | {len(each.sentences)} | {each.mean:.1f} | {each.grade:.1f} | {each.longest} |"


def main(asked: list[str]) -> None:
    for line in table() if not asked else ():
        print(line)
    for name in asked:
        one = texts()[name]
        print(f"{name}: grade {one.grade:.1f}, longest {one.longest}")
        for each in sorted(one.sentences, key=lambda said: -Text("", (said,)).grade)[:25]:
            print(f"  {words(each):3d} words, grade {Text('', (each,)).grade:4.1f}: {each}")


if __name__ == "__main__":
    main(sys.argv[1:])
