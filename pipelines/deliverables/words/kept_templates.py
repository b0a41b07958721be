"""Templates as Python compiled them before, kept beside the code where it takes files, as Python keeps its own."""

import contextlib
import sys
from functools import cache
from pathlib import Path

from jinja2 import BytecodeCache, FileSystemBytecodeCache
from jinja2.bccache import Bucket

FOLDER = Path(__file__).with_name("__pycache__")


@cache
def kept_templates() -> BytecodeCache:
    """For environments that fold no constants, so that what is kept hangs on the template's text alone."""
    return _Kept(str(FOLDER), "template-%s.cache")


class _Kept(FileSystemBytecodeCache):
    """What cannot be read or written is compiled anew."""

    def load_bytecode(self, bucket: Bucket) -> None:
        """Take what was kept of a template, where there is something whole."""
        with contextlib.suppress(OSError):
            super().load_bytecode(bucket)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep a template, where Python would keep what it compiles."""
        if not sys.dont_write_bytecode:
            with contextlib.suppress(OSError):
                super().dump_bytecode(bucket)
