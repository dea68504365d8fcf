"""How ``start.py`` decides what there is to do; that it works on a bare machine is tried there."""

import subprocess
import sys
from pathlib import Path

import pytest

import start

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def installed(tmp_path, monkeypatch) -> list[str]:
    """Notes what would be installed; environments are made for real, packages are not fetched."""
    notes: list[str] = []
    monkeypatch.setattr(start, "install", lambda venv, requirements: notes.append(requirements.read_text()))
    monkeypatch.setattr(start, "say", lambda line: None)
    (tmp_path / "requirements.txt").write_text("one==1\n")
    return notes


def prepare(folder: Path) -> bool:
    return start.prepare(folder / "venv", folder / "requirements.txt")


def test_the_first_start_installs_and_the_second_does_not(tmp_path, installed):
    assert (prepare(tmp_path), prepare(tmp_path)) == (True, False)
    assert installed == ["one==1\n"]


def test_other_requirements_are_installed_into_the_same_environment(tmp_path, installed):
    prepare(tmp_path)
    kept = tmp_path / "venv" / "kept"
    kept.touch()
    (tmp_path / "requirements.txt").write_text("one==2\n")
    assert prepare(tmp_path)
    assert installed == ["one==1\n", "one==2\n"]
    assert kept.exists()


def test_an_installation_that_failed_is_done_again(tmp_path, installed, monkeypatch):
    prepare(tmp_path)
    (tmp_path / "requirements.txt").write_text("one==2\n")
    with monkeypatch.context() as broken:
        broken.setattr(start, "install", lambda venv, requirements: sys.exit("no network"))
        with pytest.raises(SystemExit):
            prepare(tmp_path)
    (tmp_path / "requirements.txt").write_text("one==1\n")  # not even the old ones may be trusted now
    assert prepare(tmp_path)


def test_another_python_gets_an_environment_of_its_own(tmp_path, installed, monkeypatch):
    prepare(tmp_path)
    left_over = tmp_path / "venv" / "left-over"
    left_over.touch()
    monkeypatch.setattr(sys, "version", "3.99.0 (of the future)")
    assert prepare(tmp_path)
    assert not left_over.exists()


def test_a_broken_environment_is_made_anew(tmp_path, installed):
    prepare(tmp_path)
    (tmp_path / "venv" / "installed-from").unlink()
    python = tmp_path / "venv" / "bin" / "python"
    python.unlink()
    assert prepare(tmp_path)
    assert subprocess.run([python, "-c", ""], check=False).returncode == 0


def test_an_older_python_is_told_in_one_sentence(monkeypatch):
    monkeypatch.setattr(sys, "version_info", (3, 9, 2))
    monkeypatch.setattr(sys, "version", "3.9.2 (default)")
    with pytest.raises(SystemExit, match=r"^Bareframe needs Python 3.11 or newer; this is 3.9.2\."):
        start.refuse_old_python()


@pytest.mark.parametrize("program", ["start.py", "check.py"])
def test_it_needs_nothing_but_the_standard_library(program):
    """``-S`` hides installed packages."""
    done = subprocess.run([sys.executable, "-S", program, "--help"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_without_root_missing_libraries_are_named_and_nothing_stops(monkeypatch):
    lines: list[str] = []
    monkeypatch.setattr(start, "say", lines.append)
    monkeypatch.setattr(start.os, "geteuid", lambda: 1000)
    monkeypatch.setattr(start, "PDF_LIBRARIES", {"libabsent.so.9": "libabsent9"})
    start.prepare_system(may_install=True)
    assert lines[-1].strip() == "apt-get update && apt-get install -y --no-install-recommends libabsent9"


def test_as_root_they_are_installed_once_and_not_tried_at_every_start(monkeypatch):
    tried: list[list[str]] = []
    monkeypatch.setattr(start, "say", lambda line: None)
    monkeypatch.setattr(start.os, "geteuid", lambda: 0)
    monkeypatch.setattr(start.shutil, "which", lambda program: "/usr/bin/apt-get")
    monkeypatch.setattr(start, "apt_install", tried.append)
    monkeypatch.setattr(start, "PDF_LIBRARIES", {"libabsent.so.9": "libabsent9", "libc.so.6": "libc6"})
    start.prepare_system(may_install=True)
    start.prepare_system(may_install=False)
    assert tried == [["libabsent9"]]


def test_a_folder_that_cannot_be_is_told_in_a_sentence(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(SystemExit, match=r"cannot be written\. Give another folder with --home"):
        start.prepare_home(tmp_path / "file" / "home")


def test_the_folder_for_the_data_is_made(tmp_path):
    start.prepare_home(tmp_path / "a" / "home")
    assert (tmp_path / "a" / "home").is_dir()
