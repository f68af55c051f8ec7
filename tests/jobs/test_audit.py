"""Everything of one rig in one file, checked with nothing but a SHA-256, as an auditor without this program would."""

import hashlib
import json
import shutil
import subprocess
import sys
import zipfile
from datetime import UTC, date, datetime

import pytest

from tests.tui.bench import RIG
from tests.tui.logbooks import commissioned
from throwbook.core.status.latch import raise_order
from throwbook.errors import InputError
from throwbook.jobs.audit import LIST_NAME, PAGE_NAME, write_audit
from throwbook.logbook import open_logbook

ISSUED = date(2026, 4, 1)


@pytest.fixture(scope="module")
def accepted(tmp_path_factory):
    """A rig with an accepted commissioning sheet."""
    return commissioned(tmp_path_factory.mktemp("accepted"))


MEANWHILE = "came while the audit was written"


@pytest.fixture(scope="module")
def written(accepted, tmp_path_factory):
    """The file, and what it unpacks to; another program writes an order between its papers and its tables."""
    folder = tmp_path_factory.mktemp("audit")
    copy = shutil.copy(accepted, folder / "logbook")

    def progress(done, total):
        with open_logbook(copy) as book, book.transaction():
            book.add_order(
                raise_order(RIG, "damage", MEANWHILE, datetime(2026, 4, 1, 9, tzinfo=UTC), "M. K.")
            )

    done = write_audit(copy, RIG, folder / "audit.zip", ISSUED, progress)
    with zipfile.ZipFile(done.file) as archive:
        archive.extractall(folder / "out")
    return done, folder / "out"


def sums(path):
    return [line.split("  ", 1) for line in path.read_text("utf-8").splitlines()]


def sha256(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_list_names_every_file_but_itself_with_its_sum(written):
    done, folder = written
    listed = sums(folder / LIST_NAME)
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert {name for _, name in listed} == there - {LIST_NAME}
    assert all(sha256(folder / name) == digest for digest, name in listed)
    assert done.list_sha256 == sha256(folder / LIST_NAME)
    assert done.files == len(there)


def test_papers_and_tables_are_as_of_one_moment(written):
    files = [path for path in written[1].rglob("*") if path.suffix in (".csv", ".html", ".json")]
    assert not [path.name for path in files if MEANWHILE in path.read_text("utf-8")]


@pytest.mark.skipif(sys.platform == "win32", reason="sha256sum is no tool of Windows")
def test_sha256sum_takes_both_lists_and_finds_a_change(written, tmp_path):
    shutil.copytree(written[1], tmp_path / "out")
    for name in (LIST_NAME, "seals/SEALS"):
        done = subprocess.run(
            ["sha256sum", "-c", name], cwd=tmp_path / "out", capture_output=True, check=False
        )
        assert done.returncode == 0, done.stderr
    with open(tmp_path / "out" / "tables" / "orders.csv", "a", encoding="utf-8") as file:
        file.write("x\n")
    done = subprocess.run(
        ["sha256sum", "-c", LIST_NAME], cwd=tmp_path / "out", capture_output=True, check=False
    )
    assert done.returncode == 1


def test_each_kind_of_thing_is_in_it(written):
    names = {path.relative_to(written[1]).as_posix() for path in written[1].rglob("*") if path.is_file()}
    assert {f"papers/report-{RIG}.pdf", f"papers/report-{RIG}.html", f"papers/sheet-{RIG}-1.pdf"} <= names
    assert {
        "tables/orders.csv",
        "tables/services.csv",
        "tables/columns.csv",
        f"{RIG}.toml",
        PAGE_NAME,
    } <= names
    assert any(name.startswith("tables/traces/") for name in names)
    assert any(name.startswith("seals/001-") for name in names)


def test_a_seal_is_made_again_from_its_two_files(written, accepted):
    folder = written[1] / "seals"
    with open_logbook(accepted, read_only=True) as book:
        stored = [one.digest for one in book.seals(RIG)]
        assert stored
        assert book.broken_seals(RIG) == []
    before = ""
    for digest, name in sums(folder / "SEALS"):
        path = folder / name.removeprefix("seals/")
        told = json.loads(path.read_text("utf-8"))
        content = path.with_name(path.name.replace(".seal.json", ".content.json"))
        assert told == {"form": "throwbook-seal-1", "before": before, "content": sha256(content)}
        assert sha256(path) == digest
        before = digest
    assert [digest for digest, _ in sums(folder / "SEALS")] == stored


def test_the_page_says_how_on_every_system_in_short_lines_without_a_claim(written):
    text = (written[1] / PAGE_NAME).read_text("utf-8")
    for words in (
        "sha256sum -c SHA256SUMS",
        "shasum -a 256 -c SHA256SUMS",
        "Get-FileHash",
        "throwbook check",
    ):
        assert words in text
    for claim in ("locked", "engaged", "safe"):
        assert claim not in text.lower()


def test_the_page_claims_no_more_than_the_sums_can_show(written):
    text = (written[1] / PAGE_NAME).read_text("utf-8")
    assert f"held of rig {RIG} on {ISSUED}" in text
    assert "since this seal was given to you. Keep the seal apart" in text
    assert "after its sheet was sealed" not in text


@pytest.mark.long
def test_the_same_logbook_and_day_give_the_same_bytes(written, accepted, tmp_path):
    again = write_audit(accepted, RIG, tmp_path / "again.zip", ISSUED)
    assert again.file.read_bytes() == written[0].file.read_bytes()


def test_what_cannot_be_written_is_refused(accepted, tmp_path):
    (tmp_path / "there.zip").write_text("mine")
    with pytest.raises(InputError, match="there already"):
        write_audit(accepted, RIG, tmp_path / "there.zip", ISSUED)
    with pytest.raises(InputError, match="no such folder"):
        write_audit(accepted, RIG, tmp_path / "no" / "a.zip", ISSUED)
    with pytest.raises(InputError, match="no rig 'nowhere'"):
        write_audit(accepted, "nowhere", tmp_path / "a.zip", ISSUED)
    assert (tmp_path / "there.zip").read_text() == "mine"
