"""Compiled templates, kept where Python keeps compiled modules: in `__pycache__` beside their source.

Compiling our templates takes as long as judging a match. What is kept is trusted no more and no less than
our own `.pyc` files: whoever can write one can write the other. Where nothing may be written, as when Python
is told not to (`PYTHONDONTWRITEBYTECODE`), templates are compiled anew, and nothing is said.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from importlib.util import cache_from_source
from pathlib import Path

import jinja2
from jinja2.bccache import Bucket

__all__ = ["TemplateCache"]


class TemplateCache(jinja2.BytecodeCache):
    """Kept code is used as long as the template, jinja2 and how it compiles are the same."""

    def get_bucket(
        self, environment: jinja2.Environment, name: str, filename: str | None, source: str
    ) -> Bucket:
        """The place of a template's code, filled where what is kept there fits."""
        settings = environment.autoescape, environment.trim_blocks, environment.lstrip_blocks
        checksum = self.get_source_checksum(f"{jinja2.__version__} {settings} {source}")
        bucket = Bucket(environment, cache_from_source(filename or name), checksum)
        self.load_bytecode(bucket)
        return bucket

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fills the bucket, unless nothing fit is kept."""
        try:
            with Path(bucket.key).open("rb") as kept:
                bucket.load_bytecode(kept)
        except Exception:  # a damaged file can raise anything; the template is then compiled anew
            bucket.reset()

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keeps the bucket's code where that may be written."""
        if sys.dont_write_bytecode:
            return
        place = Path(bucket.key)
        part = place.with_name(f"{place.name}.{os.getpid()}")
        with suppress(OSError):
            place.parent.mkdir(exist_ok=True, parents=True)
            with part.open("wb") as file:
                bucket.write_bytecode(file)
            part.replace(place)
