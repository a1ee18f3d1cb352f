"""A mistake of a robot file in plain words, and what the model itself refuses: keys, types, ranges."""

from __future__ import annotations

import datetime
import difflib
import re
from collections.abc import Collection, Mapping

from pydantic import BaseModel, ValidationError

from telemetry import robot as sections
from telemetry.dataclass import dataclass
from telemetry.plain import shown
from telemetry.toml_lines import KeyPath

__all__ = ["Mistake", "Tree", "dotted", "found", "model_mistakes", "nearest", "quoted"]

Tree = Mapping[str, object]
"""A robot file as tomllib reads it, right or wrong."""

_ONE_OF_A_KIND: Mapping[str, type[BaseModel]] = {
    "robot": sections.RobotSection, "log": sections.LogSection, "match": sections.MatchSection,
    "launcher": sections.Launcher, "contact": sections.ContactSource, "supply": sections.SupplySection,
    "indicator": sections.Indicator,
}  # fmt: skip
_NAMED: Mapping[str, type[BaseModel]] = {
    "motors": sections.Motor, "beams": sections.Beam, "limits": sections.Limit, "ranges": sections.Range,
    "harnesses": sections.Harness,
}  # fmt: skip
_NAMES_SHOWN = 8
_MATCHED_LENGTH = 200


@dataclass(frozen=True)
class Mistake:
    """One mistake: its key, a sentence, and where a name was wrong, that name and the valid ones."""

    path: KeyPath
    text: str
    wrong: str | None = None
    valid: Collection[str] = ()

    def sentence(self) -> str:
        """The sentence with the nearest valid name, or a few valid names where none is near."""
        if self.wrong is None:
            return self.text
        near = nearest(self.wrong, self.valid)
        if near is not None:
            return f"{self.text}; did you mean {quoted(near)}?"
        return f"{self.text}; there is {_listed(self.valid, self.wrong)}"


def dotted(path: KeyPath) -> str:
    """A key as the file would spell it, places in lists left out, safe to show: `motors.feed.current`."""
    keys = [part for part in path if isinstance(part, str)]
    return ".".join(key if re.fullmatch(r"[A-Za-z0-9_-]{1,60}", key) else quoted(key) for key in keys)


def nearest(wrong: str, valid: Collection[str]) -> str | None:
    """The valid name most like a wrong one, upper and lower case aside; None where none is near."""
    by_plain = {name[:_MATCHED_LENGTH].casefold(): name for name in valid}
    plain = wrong[:_MATCHED_LENGTH].casefold()
    close = difflib.get_close_matches(plain, list(by_plain), n=1, cutoff=0.6)
    return by_plain[close[0]] if close else None


def model_mistakes(error: ValidationError, tree: Tree) -> list[Mistake]:
    """What the model refused, one mistake a key, in plain words."""
    mistakes: dict[KeyPath, Mistake] = {}
    for item in error.errors(include_url=False):
        path = _path_in(tree, item["loc"], missing=item["type"] == "missing")
        mistakes.setdefault(path, _model_mistake(path, item["type"], item.get("ctx", {}), _at(tree, path)))
    return list(mistakes.values())


def _model_mistake(path: KeyPath, kind: str, context: Mapping[str, object], value: object) -> Mistake:
    if kind == "extra_forbidden":
        return _unknown_key(path)
    if kind == "missing" and value is None:
        return Mistake(path, f"is missing; wanted {_wanted(path, kind, context)}")
    if kind == "literal_error":
        return _not_one_of(path, re.findall(r"'([^']*)'", str(context["expected"])), value)
    return Mistake(path, f"found {found(value)}, wanted {_wanted(path, kind, context)}")


def _not_one_of(path: KeyPath, valid: list[str], value: object) -> Mistake:
    """A value, or a key (then the value is a list or a table), that is not one of a few words."""
    wrong = value if isinstance(value, str) else str(path[-1])
    what = found(value) if isinstance(value, str | int | float) else f"the key {quoted(wrong)}"
    near = wrong if nearest(wrong, valid) else None
    return Mistake(path, f"found {what}, wanted {' or '.join(valid)}", near, valid)


def _unknown_key(path: KeyPath) -> Mistake:
    wrong = str(path[-1])
    homes = [f"[{name}]" for name, model in _ONE_OF_A_KIND.items() if wrong in model.model_fields]
    homes += [f"[{name}.NAME]" for name, model in _NAMED.items() if wrong in model.model_fields]
    valid = list(_model_at(path[:-1]).model_fields)
    if nearest(wrong, valid) is None and homes:
        return Mistake(path, f"unknown key here; it belongs in {' or '.join(homes)}")
    return Mistake(path, "unknown key", wrong, valid)


def _model_at(path: KeyPath) -> type[BaseModel]:
    """The model of the table at a path that is known."""
    if not path:
        return sections.Robot
    if path[-1] == "chain" and path[0] == "motors":
        return sections.Chain
    return _ONE_OF_A_KIND.get(str(path[0])) or _NAMED[str(path[0])]


def _wanted(path: KeyPath, kind: str, context: Mapping[str, object]) -> str:
    if "breaker_curve" in path and kind in ("tuple_type", "missing", "too_long"):
        return "pairs [multiple of rating, seconds]"
    limit = next((f"{bound:g}" for bound in context.values() if isinstance(bound, int | float)), "")
    sentences = {
        "string_type": "text in quotes", "int_type": "a whole number", "float_type": "a number",
        "finite_number": "a finite number", "bool_type": "0, 1, true, false or a word",
        "list_type": "a list [...]", "tuple_type": "a list [...]", "dict_type": "a table",
        "model_type": "a table",
        "greater_than": f"more than {limit}", "greater_than_equal": f"at least {limit}",
        "less_than_equal": f"at most {limit}", "string_too_short": "a name of at least one character",
        "string_too_long": f"at most {limit} characters", "too_short": "at least one entry",
        "missing": "the name of a channel" if path[-1] == "signal" else "a value",
        "int_parsing_size": "a smaller number",
    }  # fmt: skip
    return sentences.get(kind, f"something else ({kind})")


def _path_in(tree: object, loc: tuple[str | int, ...], *, missing: bool) -> KeyPath:
    """Pydantic's location without what does not stand in the file: union members and `[key]`."""
    path: KeyPath = ()
    for number, part in enumerate(loc):
        is_there = (isinstance(tree, dict) and part in tree) or (isinstance(tree, list) and _fits(part, tree))
        if not is_there:
            is_missing_key = missing and isinstance(tree, dict) and number == len(loc) - 1
            return (*path, part) if is_missing_key else path
        tree = tree[part]  # type: ignore[index]
        path = (*path, part)
    return path


def _fits(part: str | int, values: list[object]) -> bool:
    return isinstance(part, int) and part < len(values)


def _at(tree: object, path: KeyPath) -> object:
    for part in path:
        if isinstance(tree, dict):
            tree = tree.get(part)
        elif isinstance(tree, list) and isinstance(part, int):
            tree = tree[part]
    return tree


def found(value: object) -> str:
    """A value of the file as a sentence names it, safe to show."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, int | float):
        return shown(str(value).removesuffix(".0"), 30)
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    if isinstance(value, datetime.date | datetime.time):
        return "a date or time"
    return "a table"


def quoted(name: str) -> str:
    """A name in quotes, safe to show."""
    return f'"{shown(name, 60)}"'


def _listed(names: Collection[str], wrong: str) -> str:
    """A few of the names, the ones most like the wrong one first."""
    if not names:
        return "none"
    match = difflib.SequenceMatcher(b=wrong[:_MATCHED_LENGTH].casefold())
    alike: dict[str, float] = {}
    for name in names:
        match.set_seq1(name[:_MATCHED_LENGTH].casefold())
        alike[name] = match.quick_ratio()
    first = sorted(names, key=lambda name: -alike[name])[:_NAMES_SHOWN]
    more = f" and {len(names) - len(first)} more" if len(names) > len(first) else ""
    return ", ".join(map(quoted, first)) + more
