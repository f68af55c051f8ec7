"""Everything of one rig in one file for an auditor: papers, tables, traces, photographs, seals, and how to check them."""

import hashlib
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from throwbook.core.quantities.text import file_name
from throwbook.core.records import OPEN
from throwbook.errors import InputError, OutsideError
from throwbook.files.tables import whole_file
from throwbook.jobs.find import opened
from throwbook.jobs.logbook_care import export_in
from throwbook.jobs.papers import Issue, report_rig_in, report_sheet_in
from throwbook.logbook import Logbook

LIST_NAME = "SHA256SUMS"
PAGE_NAME = "HOW-TO-CHECK.txt"
_SAME_TIME = (1980, 1, 1, 0, 0, 0)
"""Every file in the archive has it, so that the same content gives the same bytes."""
_PLAIN_FILE = 0o100644 << 16

Progress = Callable[[int, int], None]
"""Called with (papers written, how many there are)."""


@dataclass(frozen=True)
class Audit:
    """The file that was written."""

    file: Path
    files: int
    """In it, list and page included."""
    list_sha256: str
    """Of the hash list: who knows it knows all of them."""


def write_audit(
    logbook: str | Path | None,
    rig: str,
    file: Path,
    issued: date,
    progress: Progress = lambda done, total: None,
) -> Audit:
    """Write the file; the same logbook, version and day of issue give the same bytes.

    Raises InputError for a rig that isn't there or a file that is, OutsideError where the disk refuses.
    """
    if file.exists():
        raise InputError("something with this name is there already", str(file), "Name a new file")
    if not file.parent.is_dir():
        raise InputError("there is no such folder", str(file.parent), "Make it first, or name another one")
    try:
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch)
            with opened(logbook, read_only=True) as book, book.snapshot():
                _write_content(book, rig, folder, issued, progress)
            listed = _hash_list(folder)
            (folder / LIST_NAME).write_text(listed, "utf-8", newline="\n")
            with whole_file(file) as part:
                return Audit(file, _pack(folder, part), hashlib.sha256(listed.encode()).hexdigest())
    except OSError as error:
        what = f"writing failed ({error.strerror or error})"
        raise OutsideError(what, str(file), "Nothing was written; make room and do it again") from error


def _write_content(book: Logbook, rig: str, folder: Path, issued: date, progress: Progress) -> None:
    """Everything but the hash list, as of one moment."""
    rig, toml = book.rig(rig).rig, book.rig(rig).toml
    (folder / f"{file_name(rig)}.toml").write_text(toml, "utf-8", newline="\n")
    issue = Issue(folder / "papers", issued)
    decided = [state.name for state in book.sheets(rig) if state.state != OPEN]
    report_rig_in(book, rig, issue)
    for number, name in enumerate(decided, 1):
        progress(number, len(decided) + 1)
        report_sheet_in(book, name, issue)
    export_in(book, folder / "tables", "csv", rig, traces=True)
    page = _page(rig, issued, _write_seals(book, rig, folder / "seals"))
    (folder / PAGE_NAME).write_text(page, "utf-8", newline="\n")


def _write_seals(book: Logbook, rig: str, folder: Path) -> list[str]:
    """For each seal what it sums; gives a line for each, oldest first."""
    folder.mkdir()
    names = {state.sheet.id: state.name for state in book.sheets(rig)}
    lines = []
    for number, (seal, content, last) in enumerate(book.summed(rig), 1):
        sheet = names.get(seal.sheet, seal.sheet[:8])
        stem = f"{number:03d}-{file_name(sheet)}"
        (folder / f"{stem}.content.json").write_text(content, "utf-8", newline="")
        (folder / f"{stem}.seal.json").write_text(last, "utf-8", newline="")
        lines.append(f"{seal.digest}  seals/{stem}.seal.json")
    if lines:
        (folder / "SEALS").write_text("".join(f"{line}\n" for line in lines), "utf-8", newline="\n")
    return lines


def _hash_list(folder: Path) -> str:
    """As ``sha256sum`` writes and reads it."""
    return "".join(
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {name}\n" for name, path in _files(folder)
    )


def _files(folder: Path) -> list[tuple[str, Path]]:
    found = [(path.relative_to(folder).as_posix(), path) for path in folder.rglob("*") if path.is_file()]
    return sorted(found)


def _pack(folder: Path, target: Path) -> int:
    """Every file by name, with the same time and rights; gives how many."""
    files = _files(folder)
    with zipfile.ZipFile(target, "w") as archive:
        for name, path in files:
            entry = zipfile.ZipInfo(name, _SAME_TIME)
            entry.create_system, entry.external_attr = 3, _PLAIN_FILE
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, path.read_bytes(), compresslevel=6)
    return len(files)


def _page(rig: str, issued: date, seals: list[str]) -> str:
    return f"""Everything that the logbook held of rig {rig} on {issued}.

Nothing in here says where the lock pins are now. Look at both pins every time.


1. What is here

  papers/               the report of the rig, and of each decided sheet: PDF and HTML
  tables/               the entries as CSV, in SI units: sheets, throws, services, orders and more
  tables/columns.csv    what each column means
  tables/traces/        each recorded throw, named after its id in the tables
  tables/photographs/   photographs of the pins, as they are kept
  {file_name(rig) + ".toml":<22}the values of the rig as they count now
  seals/                what each seal was made from
  {LIST_NAME:<22}the SHA-256 (FIPS 180-4) of every other file


2. Check that no file was changed since it was written

Unpack everything into one folder. Open a terminal in it.

  Linux:               sha256sum -c {LIST_NAME}
  macOS:               shasum -a 256 -c {LIST_NAME}
  Windows PowerShell:  Get-Content -Encoding UTF8 {LIST_NAME} | ForEach-Object {{ $h, $f = $_ -split '  ', 2; if ((Get-FileHash -LiteralPath $f).Hash -ne $h) {{ "CHANGED: $f" }} }}

Linux and macOS print OK for each file. PowerShell prints only what was changed.
The list itself could have been changed too. So ask whoever wrote this file for the SHA-256 of {LIST_NAME}, for example by telephone. Compare it with yours:

  Linux:               sha256sum {LIST_NAME}
  macOS:               shasum -a 256 {LIST_NAME}
  Windows PowerShell:  (Get-FileHash {LIST_NAME}).Hash


3. Check the seals

{_seals_page(seals)}


4. What this cannot show

The sums show a change. They do not show who wrote an entry, or whether it was true. Whoever holds the logbook could have
begun it again before anybody else had a seal. A seal that you were given earlier, and kept, shows that it was not.
Entries that came after the newest seal are not sealed yet.
"""


def _seals_page(seals: list[str]) -> str:
    if not seals:
        return "No sheet of this rig is sealed."
    sealed = "\n".join(f"  {line}" for line in seals)
    return f"""A sheet is sealed when it is accepted or rejected. Two files in seals/ belong to each seal, numbered from the oldest:

  NUMBER-SHEET.content.json   the entries that the seal covers, as they are stored now
  NUMBER-SHEET.seal.json      "content": the SHA-256 of that file.
                              "before": the seal before it; empty for the first one

The SHA-256 of NUMBER-SHEET.seal.json is the seal. It must be the one that was stored with the sheet:

  Linux:               sha256sum -c seals/SEALS
  macOS:               shasum -a 256 -c seals/SEALS
  Windows PowerShell:  Get-Content -Encoding UTF8 seals/SEALS | ForEach-Object {{ $h, $f = $_ -split '  ', 2; if ((Get-FileHash -LiteralPath $f).Hash -ne $h) {{ "CHANGED: $f" }} }}

{sealed}

If the sums agree, no sealed entry was changed since this seal was given to you. Keep the seal apart from the file.
A photograph's SHA-256 stands as "picture" in its sealed entry. The samples of a trace have a sum of their own there. Only
the program itself can check it: throwbook check."""
