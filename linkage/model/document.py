"""A TOML text changed only where its values change: comments, order and spelling stay.

Nothing here knows what a key means; tomlkit keeps the text, and this says which items of it
become others, which lines come in and which go.
"""

from __future__ import annotations

import json
import tomllib
from difflib import SequenceMatcher
from typing import Any

from ..errors import LinkageError

WIDE = 100  # columns that a line written here takes at most, where it can be broken


def edited(text: str, wanted: dict) -> str:
    r"""The text with as few lines changed as make it read as `wanted`.

    Parameters
    ----------
    text : str
        TOML; line ends, comments, order, quotes and what stays the same are kept as they are.
    wanted : dict
        What `tomllib` is to read; a new key stands after the one before it here.

    Returns
    -------
    str

    Raises
    ------
    LinkageError
        When the text can't be changed so.

    Examples
    --------
    >>> print(edited('a = 1.0  # one\nb = { c = "x" }', {"a": 2.0, "b": {"c": "x", "d": [1]}}))
    a = 2.0  # one
    b = { c = "x", d = [1] }
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    newline = "\r\n" if "\r\n" in text else "\n"
    try:
        document = tomlkit.parse(text)
        faithful = tomlkit.dumps(document) == text
        if faithful:
            _edit_table([document.body], tomllib.loads(text), wanted, _Place((), newline, document))
            after = tomlkit.dumps(document)
            faithful = tomllib.loads(after) == wanted
    except (TOMLKitError, tomllib.TOMLDecodeError, IndexError, KeyError) as problem:
        raise LinkageError(f"can't be changed in place ({problem})") from problem
    if not faithful:
        raise LinkageError("can't be changed in place without losing how it is written")
    return after


class _Place:
    """Where an edit is: the path of its table, the line end of the text, the whole document."""

    def __init__(self, path, newline, document, dotted=()):
        self.path, self.newline, self.document, self.dotted = path, newline, document, dotted

    def into(self, key, dotted: bool = False) -> _Place:
        return _Place((*self.path, key), self.newline, self.document,
                      (*self.dotted, key) if dotted else ())

    def line(self, key, value) -> str:
        return f"{_path((*self.dotted, key))} = {plain(value)}\n"

    def item(self, raw: str):
        import tomlkit

        return tomlkit.value(raw.replace("\n", self.newline))


def _edit_table(bodies, old: dict, new: dict, place) -> None:
    """Edit a table that stands in one or more fragments, each a list of (key, item)."""
    for key in [key for key in old if key not in new]:
        for body, i in reversed(_places(bodies, key)):
            del body[i]
    for key, value in old.items():
        if key in new and not _equal(value, new[key]):
            _edit_value(bodies, key, (value, new[key]), place)
    for key in new:
        if key not in old:
            _add(bodies, key, new, place)


def _equal(one, other) -> bool:
    return one == other and isinstance(one, bool) == isinstance(other, bool)


def _places(bodies, key):
    return [(body, i) for body in bodies for i, (each, _) in enumerate(body)
            if each is not None and each.key == key]


def _edit_value(bodies, key, values, place) -> None:
    from tomlkit.items import AoT, Table

    places = _places(bodies, key)
    items = [body[i][1] for body, i in places]
    old, new = values
    if _all_are(Table, items) and isinstance(new, dict):
        _edit_table([item.value.body for item in items], old, new, place.into(
            key, places[0][0][places[0][1]][0].is_dotted()))
    elif _all_are(AoT, items) and _is_tables(new):
        _edit_tables(items, old, new, place.into(key))
    elif isinstance(items[0], (AoT, Table)):
        for body, i in reversed(places):
            del body[i]
        _add(bodies, key, {key: new}, place)
    else:
        body, i = places[0]
        width = _width(items[0])
        body[i] = (body[i][0], _changed(items[0], old, new, place))
        _keep_column(body[i][1], _width(body[i][1]) - width)


def _all_are(cls, items) -> bool:
    return all(isinstance(item, cls) for item in items)


def _is_tables(value) -> bool:
    return isinstance(value, list) and bool(value) and _all_are(dict, value)


def _edit_tables(items, old, new, place) -> None:
    """Edit an array of tables: each table in place, then those too many or too few."""
    tables = [(item.body, table) for item in items for table in item.body]
    for (_, table), before, after in zip(tables, old, new, strict=False):
        if before != after:
            _edit_table([table.value.body], before, after, place)
    for body, table in tables[len(new):]:
        body.remove(table)
    for after in new[len(old):]:
        _write_after(_last(tables[-1][1]), "\n" + _block(place.path, after, "[[]]"), place)


def _changed(item, old, new, place):
    """The item for a new value: the same one changed inside where it can be, else a fresh one."""
    from tomlkit.items import Array, InlineTable

    if isinstance(item, Array) and isinstance(new, list):
        fresh = _changed_array(item, old, new, place)
    elif isinstance(item, InlineTable) and isinstance(new, dict):
        fresh = _changed_inline(item, old, new, place)
    else:
        fresh = place.item(_like(item.as_string(), new))
    if fresh is not item:
        for word in ("indent", "comment_ws", "comment", "trail"):
            setattr(fresh.trivia, word, getattr(item.trivia, word))
    return fresh


def _width(item) -> int:
    return len(item.as_string().rpartition("\n")[2])


def _keep_column(item, wider: int) -> None:
    """A remark behind a value stays in its column where there is room for that."""
    gap = item.trivia.comment_ws
    if wider and len(gap) > 1 and set(gap) == {" "}:
        item.trivia.comment_ws = " " * max(1, len(gap) - wider)


def _changed_inline(item, old, new, place):
    from tomlkit.items import Null

    body = item.value.body
    for key, value in old.items():
        if key not in new:
            for fragment, i in _places([body], key):
                fragment[i] = (None, Null())
        elif not _equal(value, new[key]):
            _edit_value([body], key, (value, new[key]), place)
    more = [f"{_key(key)} = {plain(value)}" for key, value in new.items() if key not in old]
    if not more:
        return item
    inside = item.as_string()[1:-1]
    text = inside.rstrip()
    start, gap = (f"{text}, ", inside[len(text):]) if text.strip() else (" ", " ")
    return place.item(f"{{{start}{', '.join(more)}{gap}}}")


def _changed_array(item, old, new, place):
    steps = _steps_between(old, new)
    staying = sum(i2 - i1 for op, i1, i2, _, _ in steps if op == "equal")
    if len(old) != len(new) and 2 * staying < len(old):
        return place.item(plain(new))
    for op, i1, i2, j1, j2 in reversed(steps):
        if op != "equal":
            _change_run(item, (old, i1, i2), (new, j1, j2), place)
    return item


def _steps_between(old, new):
    """What makes the one list the other, as `SequenceMatcher.get_opcodes` says it."""
    if len(old) == len(new):
        return [("replace", 0, len(old), 0, len(new))]
    return SequenceMatcher(None, [repr(v) for v in old], [repr(v) for v in new],
                           autojunk=False).get_opcodes()


def _change_run(item, before, after, place) -> None:
    """Change a run of an array's items in place, and take out or put in what is more of one."""
    (old, i1, i2), (new, j1, j2) = before, after
    both = min(i2 - i1, j2 - j1)
    for k in range(i2 - 1, i1 + both - 1, -1):
        del item[k]
    for k in range(j2 - 1, j1 + both - 1, -1):
        item.insert(i1 + both, place.item(plain(new[k], "  ")))
    for i, j in zip(range(i1, i1 + both), range(j1, j1 + both), strict=True):
        if not _equal(old[i], new[j]):
            item[i] = _changed(item.item(i), old[i], new[j], place)


def _add(bodies, key, new: dict, place) -> None:
    """Write a new key after the one before it, as a line or as a table with a heading."""
    value, names = new[key], list(new)
    before = names[:names.index(key)]
    lines = [(body, i) for body in bodies for i, (each, item) in enumerate(body)
             if each is not None and not _has_heading(each, item)]
    if not _wants_heading(bodies, value, place, before) and (lines or not place.path):
        _add_line(lines, before, (key, value), place)
        return
    text = _block((*place.path, key), value) if isinstance(value, dict) else \
        f"[{_path(place.path)}]\n{place.line(key, value)}"  # the table had headings of parts only
    _write_after(_last_of(bodies, before, place), f"\n{text}", place)


def _add_line(lines, before, new, place) -> None:
    """Write a new key as a line after the last of those before it, or after the last line."""
    named = [(body, i) for body, i in lines if body[i][0].key in before]
    body, i = (named or lines)[-1]
    item = _last(body[i][1], body[i][0])
    indent = item.trivia.indent.rpartition("\n")[2]
    _write_after(item, f"{indent}{place.line(*new)}", place)


def _last_of(bodies, before, place):
    """The item after which a table with a heading comes: the last of the nearest one before."""
    for name in reversed(before):
        for body, i in reversed(_places(bodies, name)):
            if _has_heading(*body[i]):
                return _last(body[i][1])
    keyed = [item for body in bodies for each, item in body if each is not None]
    return _last(keyed[-1]) if keyed and place.path else _last(place.document)


def _wants_heading(bodies, value, place, before) -> bool:
    """Whether a new table gets a heading: as the tables before it have, or at the top."""
    if not isinstance(value, dict):
        return False
    from tomlkit.items import InlineTable, Table

    kinds = [_has_heading(*body[i]) for name in before for body, i in _places(bodies, name)
             if isinstance(body[i][1], (InlineTable, Table))]
    return kinds[-1] if kinds else not place.path or len(one_line(value)) > WIDE


def _has_heading(key, item) -> bool:
    from tomlkit.items import AoT, Table

    return isinstance(item, AoT) or (isinstance(item, Table) and not key.is_dotted())


def _last(item, key=None):
    """The last item of a table, or its heading where it holds none; any other item itself."""
    from tomlkit.container import Container
    from tomlkit.items import AoT, Table

    while isinstance(item, (Container, AoT, Table)):
        if isinstance(item, AoT):
            item = item.body[-1]
            continue
        body = item.body if isinstance(item, Container) else item.value.body
        inner = [each for each in body if each[0] is not None]
        if not inner:
            break
        item = inner[-1][1]
    if isinstance(item, Container):
        raise KeyError("nothing is left to write behind")
    return item


def _write_after(item, lines: str, place) -> None:
    """Lines behind an item; a text that ends without a line end still does."""
    lines = lines.replace("\n", place.newline)
    if item.trivia.trail.endswith("\n"):
        item.trivia.trail += lines
    else:
        item.trivia.trail += place.newline + lines.removesuffix(place.newline)


def _key(key: str) -> str:
    bare = key and key.isascii() and all(c.isalnum() or c in "-_" for c in key)
    return key if bare else _text(key)


def _path(path) -> str:
    return ".".join(_key(key) for key in path)


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _like(raw: str, value) -> str:
    """A value spelled as the one it replaces: its quotes, its decimals."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        return plain(value)
    if isinstance(value, str):
        literal = raw.startswith("'") and "'" not in value and value.isprintable()
        return f"'{value}'" if literal else _text(value)
    return number_like(raw, value)


def number_like(raw: str, value: float) -> str:
    """A number with the decimals of the text it replaces, as far as they say nothing else.

    Parameters
    ----------
    raw : str
    value : float

    Returns
    -------
    str

    Examples
    --------
    >>> number_like("61", 62.0), number_like("61.0", 62), number_like("0.010", 0.02)
    ('62', '62.0', '0.020')
    """
    text = repr(float(value) + 0.0)
    if "e" in text or "n" in text:
        return text
    whole, _, part = text.partition(".")
    written = raw.strip().partition(".")[2]
    if part == "0" and "." not in raw and raw.strip().lstrip("+-").isdigit():
        return whole
    if written.isdigit() and written.endswith("0"):
        part = part.ljust(len(written), "0")
    return f"{whole}.{part}"


def one_line(value: Any) -> str:
    """A value as TOML on one line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, float):
        return repr(value + 0.0)
    if isinstance(value, dict):
        inner = ", ".join(f"{_key(key)} = {one_line(item)}" for key, item in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, list):
        return f"[{', '.join(map(one_line, value))}]"
    return str(value)


def plain(value: Any, indent: str = "", room: int = WIDE) -> str:
    """A value as TOML, its lists broken into lines where one line would be too long."""
    line = one_line(value)
    if len(line) + len(indent) <= room or not isinstance(value, (dict, list)):
        return line
    if isinstance(value, dict):
        inner = ", ".join(f"{_key(key)} = {plain(item, indent, room // 3)}"
                          for key, item in value.items())
        return f"{{ {inner} }}"
    if room < WIDE and not any(isinstance(item, (dict, list)) for item in value):
        return line
    lines = _filled([plain(item, indent + "  ") + "," for item in value], WIDE - len(indent) - 2)
    return "\n".join(["[", *(f"{indent}  {line}" for line in lines), f"{indent}]"])


def _filled(texts, room: int) -> list[str]:
    """Texts on as few lines as hold them; one of several lines has them to itself."""
    lines = []
    for text in texts:
        if lines and "\n" not in lines[-1] + text and len(lines[-1]) + 1 + len(text) <= room:
            lines[-1] += f" {text}"
        else:
            lines.append(text)
    return lines


def _block(path, value: dict, brackets: str = "[]") -> str:
    """A table with its heading; a table in it that takes more than a line has one of its own."""
    if brackets == "[]" and _is_group(path, value):
        return "\n".join(_block((*path, key), item) for key, item in value.items())
    half = len(brackets) // 2
    inner = {key: item for key, item in value.items()
             if brackets == "[]" and _wants_block(path, key, item)}
    lines = [f"{brackets[:half]}{_path(path)}{brackets[half:]}"]
    lines += [f"{_key(key)} = {plain(item, '', WIDE - len(_key(key)) - 3)}"
              for key, item in value.items() if key not in inner]
    return "\n".join([*lines, ""]) + "".join(_block((*path, key), item)
                                             for key, item in inner.items())


def _is_group(path, value: dict) -> bool:
    """Whether a table at the top holds tables alone, as that of the rods: it has no heading."""
    return len(path) == 1 and bool(value) and _all_are(dict, value.values())


def _wants_block(path, key: str, item) -> bool:
    """Whether a table is too long for a line, and no solid of a body, which stand in lines."""
    return isinstance(item, dict) and len(_key(key)) + 3 + len(one_line(item)) > WIDE \
        and (len(path) < 3 or all(isinstance(v, dict) or key == "points" for v in item.values()))
