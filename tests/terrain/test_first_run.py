import os
import subprocess
import sys
from pathlib import Path

CODE = "from terrain.first_run import compiles_first; print(compiles_first())"


def _answer(cache: Path, code: str = CODE) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "NUMBA_CACHE_DIR": str(cache)}, capture_output=True, text=True
    )
    return done.stdout.strip()


def test_a_new_machine_compiles_and_one_that_has_compiled_does_not(tmp_path: Path) -> None:
    assert _answer(tmp_path) == "True"
    code = "from terrain.kernels.flood import flood; print(flood.stats.cache_path)"
    folder = Path(_answer(tmp_path, code))
    folder.mkdir(parents=True, exist_ok=True)
    kept = folder / f"flood.flood-13.py{sys.version_info.major}{sys.version_info.minor}.nbi"
    kept.touch()
    assert _answer(tmp_path) == "False"
    os.utime(kept, (0, 0))
    assert _answer(tmp_path) == "True", "the kernel was written after that copy"
    kept.rename(folder / "flood.flood-13.py39.nbi")
    assert _answer(tmp_path) == "True", "another Python compiled that copy"
