from __future__ import annotations

import tomllib
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.toml_lines import KeyPath, key_lines, line_of

TEXT = '''\
top = 1
[log]  # a comment with [brackets] and = signs
units = { a = "mA", "b [c]" = "V" }
text = """
[not.a.table]
key = 1 ""\\"
"""
literal = \'\'\'
y = 2\'\'\'\'
[motors."left [front]".chain]
teeth = 12
[[harnesses]]
order = [
  "one", # ] still open
  ["]", { k = 1 }],

  "two",
]
[[harnesses]]
sub.key = 1979-05-27 07:32:00
[harnesses.deep]
'single "quoted"' = 0x1F
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 1),
        (("log",), 2),
        (("log", "units"), 3),
        (("log", "units", "b [c]"), 3),
        (("log", "text"), 4),
        (("log", "literal"), 8),
        (("motors", "left [front]"), 10),
        (("motors", "left [front]", "chain", "teeth"), 11),
        (("harnesses", 0), 12),
        (("harnesses", 0, "order"), 13),
        (("harnesses", 0, "order", 0), 14),
        (("harnesses", 0, "order", 1, 1, "k"), 15),
        (("harnesses", 0, "order", 2), 17),
        (("harnesses", 1), 19),
        (("harnesses", 1, "sub", "key"), 20),
        (("harnesses", 1, "deep", 'single "quoted"'), 22),
    ],
)
def test_every_way_to_write_a_key_is_found_on_its_line(path: KeyPath, line: int) -> None:
    assert key_lines(TEXT)[path] == line


def test_nothing_inside_a_text_or_a_comment_counts_as_a_key() -> None:
    assert not any("not" in path or "brackets" in path or "y" in path for path in key_lines(TEXT))


def test_every_key_and_element_that_tomllib_finds_has_a_line() -> None:
    assert set(_paths(tomllib.loads(TEXT))) <= set(key_lines(TEXT))


def test_a_key_that_is_not_written_down_takes_the_line_of_its_table() -> None:
    lines = key_lines(TEXT)
    assert line_of(lines, ("harnesses", 1, "deep", "missing")) == 21
    assert line_of(lines, ("nowhere", "at all")) is None


_NAMES = st.one_of(
    st.from_regex(r"[a-z0-9_-]{1,4}", fullmatch=True),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=4),
)
_VALUES = st.recursive(
    st.just(None),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_NAMES, inner, max_size=3)),
    max_leaves=6,
)


@given(st.dictionaries(_NAMES, st.dictionaries(_NAMES, _VALUES, max_size=4), max_size=4))
def test_a_text_whose_every_number_is_its_own_line_agrees(tables: dict[str, dict[str, object]]) -> None:
    text = "\n".join(_Writer().document(tables))
    lines = key_lines(text)
    for path, value in _leaves(tomllib.loads(text)):
        assert lines[path] == value


@pytest.mark.parametrize(
    "broken",
    ["a=", "[", "[[", "[a", "a=[1,", "a={b=", "a={b", "=", '"', 'a="""', "a=]", "a=[}", "[]", "a=[1"],
)
def test_what_tomllib_refuses_does_not_hang_or_raise(broken: str) -> None:
    assert all(line == 1 for line in key_lines(broken).values())


class _Writer:
    """Writes tables as TOML, each leaf as the number of the line it stands on."""

    def __init__(self) -> None:
        self.lines = [""]

    def document(self, tables: dict[str, dict[str, object]]) -> list[str]:
        for name, table in tables.items():
            self._end_line(f"[{_quoted(name)}]")
            for key, value in table.items():
                self.lines[-1] += f"{_quoted(key)} = "
                self._value(value, may_break=True)
                self._end_line(" # ] } = [x]")
        return self.lines

    def _value(self, value: object, *, may_break: bool) -> None:
        if isinstance(value, list):
            self.lines[-1] += "["
            for item in value:
                if may_break:
                    self._end_line("# ]")
                self._value(item, may_break=may_break)
                self.lines[-1] += ","
            self.lines[-1] += "]"
        elif isinstance(value, dict):
            self.lines[-1] += "{"
            for number, (key, item) in enumerate(value.items()):
                self.lines[-1] += f"{', ' if number else ''}{_quoted(key)} = "
                self._value(item, may_break=False)
            self.lines[-1] += "}"
        else:
            self.lines[-1] += str(len(self.lines))

    def _end_line(self, text: str) -> None:
        self.lines[-1] += text
        self.lines.append("")


def _quoted(key: str) -> str:
    return '"' + "".join(f"\\U{ord(c):08x}" if not c.isalnum() or ord(c) > 127 else c for c in key) + '"'


def _paths(tree: object, path: KeyPath = ()) -> Iterator[KeyPath]:
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in items:
        yield (*path, key)
        yield from _paths(value, (*path, key))


def _leaves(tree: object, path: KeyPath = ()) -> Iterator[tuple[KeyPath, object]]:
    if isinstance(tree, dict | list):
        for key, value in tree.items() if isinstance(tree, dict) else enumerate(tree):
            yield from _leaves(value, (*path, key))
    else:
        yield path, tree
