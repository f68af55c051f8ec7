"""``export --audit``, as the owner types it for an auditor."""

import json
import zipfile

import pytest

from tests.cli.sheet_steps import RIG


def test_one_file_is_written_and_the_sum_of_its_list_is_said(run, tmp_path):
    code, out, err = run("export", RIG, "--audit", str(tmp_path / "a.zip"), "--issued", "2026-04-01")
    assert (code, err) == (0, "")
    assert "HOW-TO-CHECK.txt in it says how to check them." in out
    code, told, _ = run(
        "export", "--rig", RIG, "--audit", str(tmp_path / "b.zip"), "--issued", "2026-04-01", "--json"
    )
    record = json.loads(told)
    assert out.splitlines()[-1] == record["list_sha256"]
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        assert len(archive.namelist()) == record["files"]
        assert "No sheet of this rig is sealed." in archive.read("HOW-TO-CHECK.txt").decode()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--audit", "a.zip"), "--audit: it needs one rig. Give --rig NAME too"),
        (("folder", "--rig", RIG, "--audit", "a.zip"), "folder: a folder and --audit at once."),
        (("folder", "--issued", "2026-04-01"), "--issued: it is for --audit."),
    ],
)
def test_what_does_not_go_together_is_refused(run, words, said):
    code, _, err = run("export", *words)
    assert code == 2
    assert said in err
