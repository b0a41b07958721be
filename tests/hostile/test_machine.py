"""A machine on a bad day: what cannot be read, written, printed or compiled is told as that, and nothing is lost."""

import os
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hostile_sites import write_base

from cli.main import app
from pipelines.deliverables.files import place
from terrain import compiled
from terrain.errors import LotshedError

ROOT = Path(__file__).parents[2]
POSIX = pytest.mark.skipif(os.name == "nt", reason="there are no such files")
FULL = Path("/dev/full")
AS_ROOT = hasattr(os, "geteuid") and os.geteuid() == 0
SITE = '[elevation]\nfile = "ground.tif"\nunit = "m"\ngrounds = 1\n[parcel]\nfile = "parcel.gpkg"\n'


def lotshed(*arguments: str, **options: object) -> "subprocess.CompletedProcess[str]":
    given = {"cwd": ROOT, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, **options}
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **given.pop("env", {})}  # type: ignore[dict-item]
    return subprocess.run([sys.executable, "-m", "cli", *arguments], env=environment, check=False, **given)  # type: ignore[call-overload, no-any-return]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Site file of a good lot."""
    folder = write_base(tmp_path_factory.mktemp("lot"))
    (folder / "site.toml").write_text(SITE)
    return folder / "site.toml"


def screen(site: Path, out: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["screen", str(site), "--out", str(out), *options])


def one_message(done: "Result | subprocess.CompletedProcess[str]") -> str:
    code = done.exit_code if isinstance(done, Result) else done.returncode
    assert code == 2, done.stderr
    assert done.stderr.count("Error: ") == 1
    assert "Traceback" not in done.stderr
    assert "defect" not in done.stderr
    return str(done.stderr)


@POSIX
@pytest.mark.skipif(not FULL.exists(), reason="there is no device that is always full")
def test_an_answer_that_cannot_be_printed_is_told() -> None:
    with FULL.open("w") as full:
        assert "the answer cannot be printed: No space left on device" in one_message(lotshed("--version", stdout=full))
        # nobody can read that message; the code still says so
        assert lotshed("screen", "no.toml", "--dry-run", stderr=full).returncode == 2


@POSIX
def test_closed_streams_end_nothing() -> None:
    shell = f'exec "{sys.executable}" -m cli "$@"'
    for closed, arguments, code in ((">&-", ("--version",), 0), ("2>&-", ("screen", "no.toml", "--dry-run"), 2)):
        done = subprocess.run(
            ["sh", "-c", f"{shell} {closed}", "sh", *arguments], cwd=ROOT, capture_output=True, check=False
        )
        assert done.returncode == code
        assert b"Traceback" not in done.stdout + done.stderr


@POSIX
def test_a_reader_that_has_seen_enough_ends_nothing() -> None:
    shell = f'"{sys.executable}" -m cli steps | head -n 1; exit "${{PIPESTATUS[0]}}"'
    done = subprocess.run(["bash", "-c", shell], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_terminal_without_utf_8_gets_escapes(site: Path) -> None:
    named = site.with_name("accents.toml")
    named.write_text('name = "Caf\u00e9 \U0001f4a7"\n' + SITE, encoding="utf-8")
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "PYTHONIOENCODING": "ascii"}
    done = lotshed("screen", str(named), "--dry-run", env=plain)
    assert done.returncode == 0, done.stderr
    assert "Caf\\u00e9 \\ud83d\\udca7" in done.stdout


@POSIX
def test_a_folder_that_was_deleted_under_ones_feet_is_told(tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    shell = f'cd "{gone}" && rmdir "{gone}" && exec "{sys.executable}" -m cli --version'
    done = subprocess.run(
        ["sh", "-c", shell], env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False
    )
    assert "the folder you stand in was deleted" in one_message(done)


@POSIX
def test_a_place_that_takes_no_result_is_one_message(site: Path, tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    for out, told in (
        (Path("/"), "/ cannot be swapped"),
        (tmp_path / ("n" * 300), "too long"),
        (tmp_path / "a", "in a circle"),
        (tmp_path / "a" / "x", "in a circle"),
        (FULL, "is a file"),
        (site / "x", "is a file"),
    ):
        for arguments in (["screen", str(site)], ["swale", str(site)]):
            done = CliRunner().invoke(app, [*arguments, "--out", str(out)])
            assert told in one_message(done), out
    done = CliRunner().invoke(app, ["screen", str(tmp_path / "a"), "--out", str(tmp_path / "x")])
    assert "Too many levels of symbolic links" in one_message(done)


@POSIX
@pytest.mark.skipif(AS_ROOT, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written_is_told_as_that(site: Path, tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        assert "you may not write" in one_message(screen(site, tmp_path / "out"))
    finally:
        tmp_path.chmod(0o700)


def test_a_disk_that_fills_leaves_the_earlier_result(
    site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert screen(site, tmp_path / "out").exit_code == 0
    before = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}

    def full(source: object, target: object) -> None:
        raise OSError(28, "No space left on device", str(target))

    monkeypatch.setattr(place.os, "rename", full)
    assert "No space left on device" in one_message(screen(site, tmp_path / "out", "--overwrite"))
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


# a folder that goes while a library lists it leaves a list that nobody closed
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_two_runs_into_one_folder_give_one_whole_result(tmp_path: Path) -> None:
    out, told = tmp_path / "out", []

    def write(number: int) -> None:
        for _ in range(12):
            try:
                place.hand_over(
                    out,
                    {
                        "a.txt": lambda path: path.write_text(f"{number}"),
                        "b.txt": lambda path: path.write_text(f"{number}"),
                    },
                    overwrite=True,
                )
            except LotshedError as error:
                told.append(str(error))

    # what is in place is a result to both
    original = place.listed_files
    place.listed_files = lambda folder: {"a.txt", "b.txt"}
    try:
        runs = [threading.Thread(target=write, args=(number,)) for number in range(3)]
        for each in runs:
            each.start()
        for each in runs:
            each.join()
    finally:
        place.listed_files = original
    assert told == []
    assert (out / "a.txt").read_text() == (out / "b.txt").read_text()
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_only_what_nobody_builds_any_more_is_cleared_away(tmp_path: Path) -> None:
    out = tmp_path / "out"
    left, used, strange = (tmp_path / f".out.building-{name}" for name in ("999999999-a", f"{os.getpid()}-b", "notes"))
    for each in (left, used, strange):
        each.mkdir()
    held = place._hold(used)
    place.prepare_place(out, overwrite=False)
    assert (left.exists(), used.exists(), strange.exists()) == (False, True, True)
    place._let_go(held)
    place.prepare_place(out, overwrite=False)
    assert not used.exists()


@pytest.fixture
def nowhere_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A machine on which neither the installation nor the user's cache can be written; its temporary folder."""
    monkeypatch.setattr(compiled, "_given", None)
    monkeypatch.setattr(compiled, "_beside_the_code", lambda: False)
    monkeypatch.setattr(compiled, "_users_own", lambda: False)
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr(compiled.tempfile, "tempdir", str(tmp_path))
    monkeypatch.setitem(
        sys.modules, "numba", __import__("types").SimpleNamespace(config=__import__("types").SimpleNamespace())
    )
    yield tmp_path
    os.environ.pop("NUMBA_CACHE_DIR", None)


@POSIX
def test_loops_are_kept_in_a_private_folder_where_no_other_takes_them(nowhere_kept: Path) -> None:
    compiled.ensure_cache()
    kept = compiled.private_cache()
    assert kept == nowhere_kept / f"lotshed-compiled-{os.getuid()}"
    assert kept.stat().st_mode & 0o777 == 0o700
    assert os.environ["NUMBA_CACHE_DIR"] == str(kept)


@POSIX
@pytest.mark.parametrize("planted", ["open", "link", "file"])
def test_a_folder_that_others_may_write_is_not_taken(nowhere_kept: Path, planted: str) -> None:
    place_of_ours = nowhere_kept / f"lotshed-compiled-{os.getuid()}"
    if planted == "open":
        place_of_ours.mkdir()
        place_of_ours.chmod(0o777)
    elif planted == "link":
        (nowhere_kept / "theirs").mkdir(mode=0o700)
        place_of_ours.symlink_to(nowhere_kept / "theirs")
    else:
        place_of_ours.touch()
    compiled.ensure_cache()
    assert compiled.private_cache() not in (None, place_of_ours)


def test_where_nothing_can_be_kept_it_says_what_to_set(nowhere_kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiled.tempfile, "tempdir", str(nowhere_kept / "none"))
    with pytest.raises(LotshedError, match="set TMPDIR or NUMBA_CACHE_DIR"):
        compiled.ensure_cache()


@POSIX
@pytest.mark.skipif(not AS_ROOT or shutil.which("unshare") is None, reason="needs to mount, as root may")
def test_another_users_installation_without_a_home_finds_a_place(tmp_path: Path) -> None:
    code = "import terrain.kernels.flood; from terrain.first_run import compiling_words; print(compiling_words())"
    mounts = " && ".join(
        f'mount --bind "{each}" "{each}" && mount -o remount,ro,bind "{each}"' for each in (ROOT, sys.prefix)
    )
    told = f'HOME=/proc/none TMPDIR="{tmp_path}" PYTHONPATH="{ROOT}"'
    script = f'{mounts} && exec env -i {told} "{sys.executable}" -c "{code}"'
    done = subprocess.run(["unshare", "-m", "sh", "-c", script], capture_output=True, text=True, check=False)
    if "mount: " in done.stderr or "unshare: " in done.stderr:
        pytest.skip("may not mount here")
    assert re.search(r"kept nowhere but in .*lotshed-compiled-0", done.stdout), done.stderr


@POSIX
def test_a_temporary_folder_that_is_gone_ends_nothing(site: Path, tmp_path: Path) -> None:
    done = lotshed(
        "screen",
        str(site),
        "--out",
        str(tmp_path / "out"),
        env={"TMPDIR": str(tmp_path / "gone"), "HOME": "/proc/none"},
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert str(tmp_path) not in (tmp_path / "out" / "summary.json").read_text()


@POSIX
@pytest.mark.thorough
@pytest.mark.skipif(not AS_ROOT, reason="needs to mount, as root may")
def test_a_small_disk_that_fills_at_twenty_sizes_loses_nothing(site: Path, tmp_path: Path) -> None:
    assert screen(site, tmp_path / "first").exit_code == 0
    whole = sum(path.stat().st_size for path in (tmp_path / "first").iterdir()) // 1024
    disk = tmp_path / "disk"
    disk.mkdir()
    codes = []
    for number in range(20):
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={whole + whole * number // 12 + 8}k", "tmpfs", disk], check=True
        )
        try:
            shutil.copytree(tmp_path / "first", disk / "out")
            done = screen(site, disk / "out", "--overwrite")
            codes.append(done.exit_code)
            if done.exit_code != 0:
                assert re.search("No space left|disk is full|disk I/O|cannot be written", one_message(done))
                assert {path.name: path.read_bytes() for path in (disk / "out").iterdir()} == {
                    path.name: path.read_bytes() for path in (tmp_path / "first").iterdir()
                }
            assert [path.name for path in disk.iterdir()] == ["out"]
        finally:
            subprocess.run(["umount", disk], check=True)
    assert {0, 2} == set(codes)
