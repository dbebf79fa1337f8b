"""The page's program and style sheet, as they are handed to a browser.

The program is written as ES modules in ``js/`` and joined here into one: the notebook's widget
takes a single module, and a page from disk that may fetch nothing can't import from files.  So
the same text runs in both, with no build step: the modules one after another, lowest first,
without their types, ``import`` lines and ``export`` words.  Inside one module every top-level
name must be unique, which is checked.
"""

from __future__ import annotations

import functools
import re
from pathlib import Path

HERE = Path(__file__).parent
ENTRY = "view"

_IMPORT = re.compile(r'^import \{ ([^{}]*) \} from "\./([a-z_]+)\.js";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function|class|const|let) )", re.MULTILINE)
_TYPES = re.compile(r"^ */\*\*.*?\*/\n", re.MULTILINE | re.DOTALL)  # read by the checker alone
_LEFT_OVER = re.compile(r"^(?:import\b|export (?!default ))", re.MULTILINE)


@functools.cache
def script() -> str:
    """The page's program: one plain module, its default export an anywidget."""
    return join_modules({path.stem: path.read_text(encoding="utf-8")
                         for path in (HERE / "js").glob("*.js")}, ENTRY)


def style() -> str:
    """The page's style sheet."""
    return (HERE / "view.css").read_text(encoding="utf-8")


def join_modules(modules: dict[str, str], entry: str) -> str:
    r"""One module of several that import each other.

    Parameters
    ----------
    modules : dict
        ``{name: text}``; an import is written ``import { a, b } from "./name.js";``, an export is
        the word ``export`` before a function, a class or a constant.
    entry : str
        The module to begin with; its default export stays.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        When a module imports what is not there, when modules import each other in a circle, when
        two have a top-level name in common, or when a line can't be joined.

    Examples
    --------
    >>> print(join_modules({"a": 'import { b } from "./b.js";\nb();', "b":
    ...     "export function b() {}"}, "a"))
    function b() {}
    b();
    """
    order, owner, texts = [], {}, []
    _visit(entry, modules, order, ())
    for name in order:
        text = modules[name]
        for wanted, source in _IMPORT.findall(text):
            missing = {w.strip() for w in wanted.split(",")} - _exported(modules[source])
            if missing:
                raise ValueError(f"{name}.js imports {sorted(missing)} that {source}.js exports "
                                 "not")
        text = _EXPORT.sub("", _IMPORT.sub("", _TYPES.sub("", text)))
        if _LEFT_OVER.search(text):
            raise ValueError(f"{name}.js has an import or export that can't be joined")
        for top in _top_level(text):
            if owner.setdefault(top, name) != name:
                raise ValueError(f"{name}.js and {owner[top]}.js both have a name {top}")
        texts.append(text.strip())
    return "\n".join(texts)


def _visit(name, modules, order, above) -> None:
    if name in above:
        raise ValueError(f"modules import each other in a circle: {' > '.join((*above, name))}")
    if name not in modules:
        raise ValueError(f"{above[-1] if above else 'nothing'}.js imports {name}.js, which is not "
                         "there")
    if name not in order:
        for _, source in _IMPORT.findall(modules[name]):
            _visit(source, modules, order, (*above, name))
        order.append(name)


def _exported(text) -> set:
    return _top_level("".join(line[len("export "):] for line in text.splitlines(keepends=True)
                              if line.startswith("export ") and "default" not in line))


def _top_level(text) -> set:
    names = set()
    for line in text.splitlines():
        one = re.match(r"(?:async )?(?:function\*?|class) (\w+)", line)
        if one:
            names.add(one[1])
        elif re.match(r"(?:const|let) ", line):
            # constants of one line: name = value, name = value; a destructured one is no use here
            names |= set(re.findall(r"(?:^(?:const|let) |, )([A-Za-z_$][\w$]*) = ", line))
            names |= set(re.findall(r"^(?:const|let) ([A-Za-z_$][\w$]*)", line))
    return names
