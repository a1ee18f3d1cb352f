"""Where each key of a TOML text stands: tomllib tells values, not lines."""

from __future__ import annotations

import re
import tomllib
from typing import Literal, NamedTuple

__all__ = ["KeyPath", "key_lines", "line_of"]

KeyPath = tuple[str | int, ...]
"""Keys from the root down; an int is a place in a list or in an array of tables, from 0."""

_TOKEN = re.compile(
    r"""
    (?P<newline>\r?\n)
  | (?P<blank>[ \t]+ | \#[^\n]*)
  | (?P<quoted>\"\"\"(?:\\.|(?!\"\"\").)*\"\"\"+ | '''(?:(?!''').)*'''+ | "(?:\\.|[^"\\\n])*" | '[^'\n]*')
  | (?P<bare>[A-Za-z0-9_+:-]+)
  | (?P<mark>.)
    """,
    re.VERBOSE | re.DOTALL,
)


class _Token(NamedTuple):
    kind: str
    """`newline`, `quoted`, `bare`, `mark` or `end`; never a blank."""

    text: str
    line: int


class _Open(NamedTuple):
    """A list or an inline table that has not been closed yet; `place` counts its elements."""

    closes: Literal["]", "}"]
    path: KeyPath
    place: int


def key_lines(text: str) -> dict[KeyPath, int]:
    """The line, from 1, on which each key, list element and table of a valid TOML text first stands.

    A text that tomllib refuses gives whatever was understood, never an error.
    """
    return _Scanner(text).scan()


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int | None:
    """The line of a key, or of the nearest table around it that is written down; None where there is none."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


class _Scanner:
    def __init__(self, text: str) -> None:
        self._tokens = _tokens(text)
        self._next = 0
        self._lines: dict[KeyPath, int] = {}
        self._tables_in: dict[KeyPath, int] = {}

    def scan(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        while (token := self._peek()).kind != "end":
            if token.kind == "newline":
                self._next += 1
            elif token.text == "[" and token.kind == "mark":
                table = self._header()
            else:
                self._value(self._key(table))
        return self._lines

    def _header(self) -> KeyPath:
        """Reads `[a.b]` or `[[a.b]]`; the path it opens."""
        is_array = self._tokens[self._next + 1].text == "["
        self._next += 2 if is_array else 1
        line, parts = self._peek().line, self._dotted()
        self._next += 2 if is_array else 1
        path: KeyPath = ()
        for number, part in enumerate(parts, start=1):
            path = (*path, part)
            self._lines.setdefault(path, line)
            if is_array and number == len(parts):
                self._tables_in[path] = self._tables_in.get(path, -1) + 1
            if path in self._tables_in:
                path = (*path, self._tables_in[path])
                self._lines.setdefault(path, line)
        return path

    def _key(self, table: KeyPath) -> KeyPath:
        """Reads `a.b =`; the path of the value that follows."""
        line, path = self._peek().line, table
        for part in self._dotted():
            path = (*path, part)
            self._lines.setdefault(path, line)
        self._next += 1
        return path

    def _dotted(self) -> list[str]:
        parts = []
        while (token := self._peek()).kind in ("bare", "quoted") or token.text == ".":
            self._next += 1
            if token.text != ".":
                parts.append(_key_text(token))
        return parts

    def _value(self, path: KeyPath) -> None:
        """Reads one value, with whatever lists and inline tables stand inside it."""
        inside: list[_Open] = []
        self._begin(path, inside)
        while inside:
            token, innermost = self._skip_newlines(), inside[-1]
            if token.kind == "end":
                return
            if token.text == innermost.closes:
                self._next += 1
                inside.pop()
            elif token.text == ",":
                self._next += 1
                inside[-1] = innermost._replace(place=innermost.place + 1)
            elif innermost.closes == "]":
                self._begin((*innermost.path, innermost.place), inside)
            else:
                self._begin(self._key(innermost.path), inside)

    def _begin(self, path: KeyPath, inside: list[_Open]) -> None:
        """Passes over a whole number, date or text, or over the bracket that opens a list or a table."""
        token = self._peek()
        self._lines.setdefault(path, token.line)
        self._next += 1
        if token.text == "[":
            inside.append(_Open("]", path, 0))
        elif token.text == "{":
            inside.append(_Open("}", path, 0))
        else:
            while (token := self._peek()).kind not in ("newline", "end") and token.text not in (
                ",",
                "]",
                "}",
            ):
                self._next += 1

    def _skip_scalar(self) -> None:
        while (token := self._peek()).kind not in ("newline", "end") and token.text not in (",", "]", "}"):
            self._next += 1

    def _skip_newlines(self) -> _Token:
        while self._peek().kind == "newline":
            self._next += 1
        return self._peek()

    def _peek(self) -> _Token:
        return self._tokens[min(self._next, len(self._tokens) - 1)]


def _tokens(text: str) -> list[_Token]:
    tokens, line = [], 1
    for match in _TOKEN.finditer(text):
        kind, content = match.lastgroup, match.group()
        if kind is not None and kind != "blank":
            tokens.append(_Token(kind, content, line))
        line += content.count("\n")
    return [*tokens, _Token("end", "", line)]


def _key_text(token: _Token) -> str:
    if token.kind != "quoted":
        return token.text
    try:
        return str(tomllib.loads(f"key = {token.text}")["key"])
    except tomllib.TOMLDecodeError:
        return token.text
