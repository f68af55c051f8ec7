"""Photographs of pins, from the file to the sheet: kept beside an answer, never instead of one."""

import csv
import hashlib
import json
import sys
from datetime import datetime, timedelta
from html import escape

import pytest
from pypdf import PdfReader

from tests.cli.sheet_steps import GOOD, RIG, TOLD, UNSEEN, accept, enter, status
from tests.command import as_file_name
from tests.keyboard import at_a_terminal, plain
from tests.made_pictures import as_bytes, drawn, noise, photo
from tests.odd_names import MARK, odd, odd_names
from tests.raw_file import raw
from tests.report.page_words import squeezed
from throwbook.core.records import Photograph
from throwbook.logbook import open_logbook

SHEET = f"{RIG}-1"
ANSWERS = ("--left-pin", "yes", "--right-pin", "yes", "--seen-how", "torch")


def soon(**later) -> datetime:
    return datetime.now() + timedelta(**later)  # noqa: DTZ005 (a camera writes no offset)


@pytest.fixture
def files(tmp_path):
    """A photograph of each pin, taken just now."""
    place = {"left": photo(tmp_path / "IMG 1.jpg", soon(), 6, place=True)}
    return place | {"right": photo(tmp_path / "IMG 2.png", soon())}


def both(files):
    return ("--left-photo", str(files["left"]), "--right-photo", str(files["right"]))


def see(run, *words, throw=1):
    return run("sheet", "see", SHEET, "--throw", str(throw), *words, "--by", "M. K.")


def kept(run, throw=1):
    found = json.loads(run("sheet", "show", SHEET, "--json")[1])
    return {one["pin"]: one for one in found["throws"][throw - 1]["photographs"]}


def test_photographs_are_kept_beside_the_answer_that_came_with_them(run, files):
    enter(run, UNSEEN, *TOLD)
    code, out, err = see(run, *ANSWERS, *both(files))
    assert (code, err) == (0, "")
    assert "2 photographs kept, without place data. A photograph is no sighting." in out
    found = kept(run)
    assert {pin: one["file"] for pin, one in found.items()} == {"left": "IMG 1.jpg", "right": "IMG 2.png"}
    for pin, path in files.items():
        assert found[pin]["original"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert "photograph of the left pin: IMG 1.jpg" in run("sheet", "show", SHEET)[1]
    assert run("check")[0] == 0


def test_a_photograph_alone_answers_nothing(run, files):
    enter(run, UNSEEN, *TOLD)
    code, out, err = see(run, *both(files))
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "nobody has answered for the left pin of throw 1" in err
    assert kept(run) == {}
    _, _, err = accept(run, SHEET, left_pin=None)
    assert "--left-pin is missing" in err


def test_a_pin_that_nobody_looked_at_takes_no_photograph(run, files):
    enter(run, UNSEEN, *TOLD)
    code, _, err = see(run, "--left-pin", "yes", "--seen-how", "torch", *both(files))
    assert (code, "right pin of throw 1" in err) == (2, True)
    with open_logbook(run.path, read_only=True) as book:
        assert book.sightings(book.sheet(SHEET).sheet.id) == []


def test_it_may_come_after_the_answer_and_a_newer_one_stands_for_it(run, files, tmp_path):
    enter(run, GOOD, *TOLD)
    assert see(run, *both(files))[0] == 0
    better = photo(tmp_path / "better.jpg", soon(), size=(500, 300))
    assert see(run, "--left-photo", str(better))[0] == 0
    assert {pin: one["file"] for pin, one in kept(run).items()} == {
        "left": "better.jpg",
        "right": "IMG 2.png",
    }
    with open_logbook(run.path, read_only=True) as book:
        assert len(book.photographs(book.sheet(SHEET).sheet.id)) == 3


def test_it_belongs_to_one_lock_throw(run, files):
    enter(run, GOOD, *TOLD)
    for throws, said in (("1", "3"), "belongs to one throw"), (("2",), "not a lock throw"):
        words = [word for number in throws for word in ("--throw", number)]
        code, _, err = run("sheet", "see", SHEET, *words, *both(files))
        assert (code, said in err) == (2, True)
        code, _, err = run("sheet", "see", SHEET, *words, *ANSWERS, *both(files))
        assert (code, said in err) == (2, True)
    assert kept(run) == {}


def test_one_taken_an_hour_off_is_refused_in_a_pipe_with_the_option_that_answers(run, tmp_path):
    enter(run, GOOD, *TOLD)
    old = photo(tmp_path / "old.jpg", soon(hours=-3, minutes=-5))
    code, _, err = see(run, "--left-photo", str(old))
    assert (code, err.count("\n")) == (2, 1)
    assert "old.jpg: taken" in err
    assert "3 hours before throw 1" in err
    assert "--photo-time-known" in err
    assert see(run, "--left-photo", str(old), "--photo-time-known")[0] == 0
    assert kept(run)["left"]["reason"] == "taken 3 hours before the throw; confirmed"


@pytest.mark.parametrize(("minutes", "asked"), [(-65, True), (-50, False), (50, False), (65, True)])
def test_an_hour_is_the_bound_before_and_after(run, tmp_path, minutes, asked):
    enter(run, GOOD, *TOLD)
    path = photo(tmp_path / "a.jpg", soon(minutes=minutes))
    assert see(run, "--right-photo", str(path))[0] == (2 if asked else 0)


def test_one_without_a_date_is_not_asked_about(run, tmp_path):
    enter(run, GOOD, *TOLD)
    assert see(run, "--right-photo", str(photo(tmp_path / "a.png")))[0] == 0
    assert kept(run)["right"]["taken"] == ""


@pytest.mark.long
def test_at_a_terminal_another_time_is_asked_about(run, tmp_path):
    enter(run, UNSEEN, *TOLD)
    old = photo(tmp_path / "old.jpg", soon(days=-3))
    words = ["--logbook", run.path, "sheet", "see", SHEET, "--throw", "1", *ANSWERS, "--left-photo", old]
    line = [sys.executable, "-m", "throwbook", *map(str, words)]
    for answer, code in (("n", 2), ("y", 0)):
        done, shown = at_a_terminal(line, f"{answer}\r", after="Is it the right photograph?", columns=200)
        assert (done, "3 days before throw 1" in plain(shown)) == (code, True)
        assert set(kept(run)) == ({"left"} if answer == "y" else set())


REFUSED = "CREATE TRIGGER refused BEFORE INSERT ON photograph BEGIN SELECT RAISE(ABORT, 'no'); END"


@pytest.mark.parametrize("what", ["gone", "text", "old", "two throws", "not stored"])
def test_a_no_is_kept_whatever_becomes_of_its_photograph(run, tmp_path, what):
    enter(run, UNSEEN, *TOLD)
    path = tmp_path / "a.jpg"
    if what == "text":
        path.write_text("no picture")
    elif what != "gone":
        photo(path, soon(days=-2 if what == "old" else 0))
    if what == "not stored":
        with raw(run.path) as db:
            db.execute(REFUSED)
    more = ("--throw", "3") if what == "two throws" else ()
    code, out, err = see(run, "--left-pin", "no", "--right-pin", "yes", "--left-photo", str(path), *more)
    assert (code, out, err.count("\n")) == (3 if what == "not stored" else 2, "", 1)
    assert "The NO is recorded, without a photograph." in err
    assert status(run)["status"] == "do not use"
    assert kept(run) == {}


@odd_names
def test_a_name_from_an_older_computer_keeps_its_photograph(run, tmp_path):
    path = photo(tmp_path / odd("Fév rier.jpg"), soon())
    enter(run, UNSEEN, *TOLD)
    code, _, err = see(run, "--left-pin", "no", "--left-photo", str(path))
    assert (code, err) == (0, "")
    assert kept(run)["left"]["file"] == f"F{MARK}v rier.jpg"


def test_on_a_decided_sheet_only_a_no_brings_its_photograph(run, files):
    enter(run, GOOD, *TOLD)
    assert accept(run, SHEET)[0] == 0
    code, _, err = see(run, *both(files))
    assert (code, "accepted already" in err) == (2, True)
    code, _, _ = see(run, "--left-pin", "no", "--right-pin", "yes", "--seen-how", "torch", *both(files))
    assert code == 0
    assert set(kept(run)) == {"left", "right"}
    assert status(run)["status"] == "do not use"


def test_on_a_decided_sheet_the_pin_that_was_seen_takes_none_because_of_the_other(run, files):
    enter(run, GOOD, *TOLD)
    assert accept(run, SHEET)[0] == 0
    assert see(run, "--left-pin", "no", "--right-pin", "yes", "--seen-how", "torch")[0] == 0
    for refused in (both(files), both(files)[2:]):
        code, _, err = see(run, *refused)
        assert (code, "accepted already" in err) == (2, True)
    assert kept(run) == {}
    assert see(run, *both(files)[:2])[0] == 0
    assert set(kept(run)) == {"left"}


def test_no_photograph_ever_moves_a_status_or_fills_what_is_missing(run, files):
    enter(run, UNSEEN, *TOLD)
    before = json.loads(run("sheet", "show", SHEET, "--json")[1])["missing"]
    for throw in (1, 3, 5, 7, 9):
        see(run, *both(files), throw=throw)
    assert json.loads(run("sheet", "show", SHEET, "--json")[1])["missing"] == before
    assert status(run)["commissioned"] is False
    assert see(run, "--left-pin", "no", "--left-photo", str(files["left"]), throw=3)[0] == 0
    assert status(run)["status"] == "do not use"
    see(run, *both(files), throw=3)
    assert status(run)["status"] == "do not use"


def tamper(path, sql):
    with raw(path) as db:
        for name in (
            "picture_no_update",
            "photograph_no_update",
            "picture_no_delete",
            "photograph_no_delete",
        ):
            db.execute(f"DROP TRIGGER {name}")
        db.execute("PRAGMA foreign_keys = OFF")
        db.execute(sql)


TAMPERED = {
    "UPDATE picture SET data = (SELECT data FROM picture WHERE rowid = 2) WHERE rowid = 1": "was changed after it was stored",
    "UPDATE picture SET data = x'00' WHERE rowid = 2": "was changed after it was stored",
    "UPDATE photograph SET picture = (SELECT digest FROM picture WHERE rowid = 2)": "a row of photograph",
    "UPDATE photograph SET pin = 'right' WHERE pin = 'left'": "the seal doesn't match",
    "DELETE FROM photograph WHERE pin = 'left'": "a photograph of throw 1 of sheet 1 is missing",
    "DELETE FROM picture WHERE rowid = 1": "row of picture that is gone",
}


@pytest.mark.parametrize("sql", TAMPERED)
def test_check_finds_an_altered_picture_and_names_its_sheet(run, files, sql):
    enter(run, GOOD, *TOLD)
    see(run, *both(files))
    assert accept(run, SHEET)[0] == 0
    assert run("check")[0] == 0
    tamper(run.path, sql)
    code, out, _ = run("check")
    assert code == 1
    assert TAMPERED[sql] in out
    if "UPDATE" in sql:
        assert f"sheet {SHEET}" in out


def test_the_seal_covers_the_digest_of_the_stored_copy(run, files):
    enter(run, GOOD, *TOLD)
    see(run, *both(files))
    accept(run, SHEET)
    with open_logbook(run.path, read_only=True) as book:
        [seal] = book.seals(RIG)
        sealed = {row.content["picture"] for row in book.covered(seal) if row.table == "photograph"}
        assert sealed == {hashlib.sha256(book.picture(one)).hexdigest() for one in sealed}
        assert len(sealed) == 2


def test_a_merge_a_backup_and_a_restore_carry_them(run, files, tmp_path):
    enter(run, GOOD, *TOLD)
    assert run("backup", str(tmp_path / "before"))[0] == 0
    see(run, *both(files))
    assert accept(run, SHEET)[0] == 0
    found = kept(run)
    assert run("backup", str(tmp_path / "after"))[0] == 0
    code, _, err = run("backup", "--restore", str(tmp_path / "before"), "--by", "M. K.")
    assert (code, err) == (0, "")
    assert kept(run) == found
    assert run("check")[0] == 0
    other = tmp_path / "other"
    with open_logbook(other):
        pass
    for _ in range(2):
        code, out, err = run("--logbook", str(other), "merge", str(tmp_path / "after"))
        assert (code, err) == (0, "")
    assert "Nothing new" in out
    with open_logbook(other, read_only=True) as book:
        assert {one.pin for one in book.photographs(book.sheet(SHEET).sheet.id)} == {"left", "right"}
        assert len(book.picture(found["left"]["picture"])) > 100
    assert run("--logbook", str(other), "check")[0] == 0


def test_a_merge_refuses_an_altered_picture(run, files, tmp_path):
    enter(run, GOOD, *TOLD)
    see(run, *both(files))
    run("backup", str(tmp_path / "copy"))
    tamper(tmp_path / "copy", "UPDATE picture SET data = x'00' WHERE rowid = 1")
    with open_logbook(tmp_path / "other"):
        pass
    code, _, err = run("--logbook", str(tmp_path / "other"), "merge", str(tmp_path / "copy"))
    assert (code, "1 photographs were changed" in err) == (2, True)


@pytest.mark.long
def test_under_another_name_a_rig_keeps_its_photographs_and_its_seals(run, files, tmp_path):
    enter(run, GOOD, *TOLD)
    see(run, *both(files))
    accept(run, SHEET)
    run("backup", str(tmp_path / "copy"))
    with open_logbook(tmp_path / "other"):
        pass
    code, _, err = run(
        "--logbook", str(tmp_path / "other"), "merge", str(tmp_path / "copy"), "--rename", f"{RIG}=north"
    )
    assert (code, err) == (0, "")
    with open_logbook(tmp_path / "other", read_only=True) as book:
        assert len(book.photographs(book.sheet("north-1").sheet.id)) == 2
        assert book.broken_seals("north") == []
    assert run("--logbook", str(tmp_path / "other"), "check")[0] == 0


def test_an_export_writes_the_files_and_a_row_for_each(run, files, tmp_path):
    enter(run, GOOD, *TOLD)
    see(run, *both(files))
    assert run("export", str(tmp_path / "out"))[0] == 0
    with (tmp_path / "out" / "photographs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert sorted(row["pin"] for row in rows) == ["left", "right"]
    for row in rows:
        data = (tmp_path / "out" / "photographs" / row["file"]).read_bytes()
        assert hashlib.sha256(data).hexdigest() == row["picture"]
        assert row["counts"] == "yes"
        assert row["name"] in ("IMG 1.jpg", "IMG 2.png")


def test_a_logbook_without_photographs_exports_no_folder_for_them(run, tmp_path):
    enter(run, GOOD, *TOLD)
    assert run("export", str(tmp_path / "out"))[0] == 0
    assert not (tmp_path / "out" / "photographs").exists()


@pytest.mark.long
def test_of_twenty_photographs_the_logbook_grows_by_what_is_said(run, tmp_path):
    """A photograph of noise is the worst there is: no camera's comes near."""
    enter(run, GOOD, *TOLD)
    before = run.path.stat().st_size
    path = photo(tmp_path / "a.jpg", soon(), image=noise(1600, 1200), quality=90)
    see(run, "--left-photo", str(path))
    assert run.path.stat().st_size - before < 2_500_000


def printed(run, tmp_path, *command):
    folder = tmp_path / "papers"
    assert run(*command, "--folder", str(folder), "--issued", "2026-04-01")[0] == 0
    return {file.suffix: file for file in folder.iterdir()}


def test_a_report_prints_each_beside_its_sighting_and_says_whose_words_it_backs(run, files, tmp_path):
    enter(run, UNSEEN, *TOLD)
    see(run, *ANSWERS, *both(files))
    see(run, "--left-pin", "no", "--left-photo", str(files["right"]), throw=3)
    papers = printed(run, tmp_path, "sheet", "print", SHEET)
    page = papers[".html"].read_text("utf-8")
    for text in map(squeezed, (page, pdf_text(papers[".pdf"]))):
        assert squeezed("Throw 1, left pin. Backs M. K.: in its hole. File IMG 1.jpg, taken 20") in text
        assert squeezed("Throw 1, right pin. Backs M. K.: in its hole. File IMG 2.png") in text
        assert squeezed("Throw 3, left pin. Backs M. K.: NOT in its hole. File IMG 2.png") in text
        assert squeezed("A photograph is no sighting.") in text
    assert page.count('<img src="data:image/jpeg;base64,') == 3
    assert "http" not in page.replace("http://www.w3.org", "")
    assert len(pdf_pictures(papers[".pdf"])) >= 2  # one of them is shown twice
    rig = printed(run, tmp_path / "rig", "report", RIG)[".html"].read_text("utf-8")
    assert rig.count("<img ") == 3


def test_one_put_there_before_its_answer_was_corrected_backs_nobody(run, files, tmp_path):
    enter(run, UNSEEN, *TOLD)
    see(run, "--left-pin", "no", *ANSWERS[2:], *both(files))
    assert see(run, *ANSWERS, "--reason", "looked at the wrong machine")[0] == 0
    page = squeezed(printed(run, tmp_path, "sheet", "print", SHEET)[".html"].read_text("utf-8"))
    assert squeezed("left pin. Put there before the answer was corrected. File IMG 1.jpg") in page
    assert squeezed("right pin. Backs M. K.: in its hole.") in page


@pytest.mark.long
def test_twenty_photographs_of_noise_still_go_by_mail(run, tmp_path):
    pair = "lock 15.20s 2.10A 2.90A 12.40V both seen, load check done, stayed put\nunlock 14.60s 1.80A 2.40A 12.50V"
    enter(run, "\n".join([pair] * 10), *TOLD)
    for throw in range(1, 21, 2):
        for pin in ("left", "right"):
            image = noise(1100, 825, 100 * throw + len(pin))
            path = photo(tmp_path / f"{pin}.jpg", soon(), image=image, quality=80)
            assert see(run, f"--{pin}-photo", str(path), throw=throw)[0] == 0
    for file in printed(run, tmp_path, "sheet", "print", SHEET).values():
        assert file.stat().st_size < 5_000_000
    assert len(set(pdf_pictures(tmp_path / "papers" / f"sheet-{SHEET}.pdf"))) == 20


@pytest.mark.long
def test_the_same_photographs_give_the_same_files_and_another_one_another_number(run, files, tmp_path):
    enter(run, GOOD, *TOLD)
    see(run, *both(files))
    numbers = []
    for folder in ("one", "two", "three"):
        if folder == "three":
            see(run, "--left-photo", str(photo(tmp_path / "new.jpg", soon(), size=(90, 60))))
        words = (
            "sheet",
            "print",
            SHEET,
            "--folder",
            str(tmp_path / folder),
            "--issued",
            "2026-04-01",
            "--json",
        )
        numbers.append(json.loads(run(*words)[1])["number"])
    for ending in ("pdf", "html"):
        same = [(tmp_path / folder / f"sheet-{SHEET}.{ending}").read_bytes() for folder in ("one", "two")]
        assert same[0] == same[1]
    assert numbers[0] == numbers[1] != numbers[2]


def test_an_altered_picture_is_not_printed_and_the_report_says_so(run, files, tmp_path):
    enter(run, GOOD, *TOLD)
    see(run, *both(files))
    tamper(run.path, "UPDATE picture SET data = x'00' WHERE rowid = 1")
    page = printed(run, tmp_path, "sheet", "print", SHEET)[".html"].read_text("utf-8")
    assert "NOT PRINTED: it is lost, or is no photograph as it was stored." in page
    assert page.count("<img ") == 1


def test_a_name_made_to_do_harm_is_only_a_name(run, tmp_path):
    enter(run, GOOD, *TOLD)
    name = as_file_name("<script>alert(1)&.jpg")
    path = photo(tmp_path / name, soon())
    assert see(run, "--left-photo", str(path))[0] == 0
    page = printed(run, tmp_path, "sheet", "print", SHEET)[".html"].read_text("utf-8")
    assert "<script" not in page
    assert escape(name) in page
    assert run("export", str(tmp_path / "out"))[0] == 0
    assert all("<" not in file.name for file in (tmp_path / "out" / "photographs").iterdir())


def pdf_text(path):
    return " ".join(page.extract_text() for page in PdfReader(path).pages)


def pdf_pictures(path):
    """Names of the photographs in it, by what they hold."""
    return [image.name for page in PdfReader(path).pages for image in page.images]


FOREIGN = {"nothing": b"", "text": b"<script>", "a page": b"%PDF-1.7", "a large one": None}


@pytest.mark.parametrize("what", FOREIGN)
def test_what_another_logbook_calls_a_photograph_does_no_harm_on_paper(run, tmp_path, what):
    """Its digest and its id fit; what stands under them need not be what this program writes."""
    enter(run, GOOD, *TOLD)
    data = FOREIGN[what] if FOREIGN[what] is not None else as_bytes(drawn(9000, 7000), quality=10)
    digest = hashlib.sha256(data).hexdigest()
    with open_logbook(run.path) as book:
        trial = book.trials(rig=RIG)[0].id
        at = datetime.now().astimezone()
        row = Photograph(trial, "left", digest, "x", "\x1b[2J<b>.jpg", "yesterday <i>", at, "M. K.")
        book.add_photograph(row, data)
    assert run("check")[0] == 0
    page = printed(run, tmp_path, "sheet", "print", SHEET)[".html"].read_text("utf-8")
    assert "NOT PRINTED" in page
    assert not [tag for tag in ("<img", "<b>", "<i>", "<script", "\x1b") if tag in page]
    code, out, _ = run("sheet", "show", SHEET)
    assert (code, "\x1b[2J" in out) == (0, False)
    assert run("export", str(tmp_path / "out"))[0] == 0
