"""One error family: each error is one sentence for a builder, and stores the facts in it."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

LONGEST = 60  # letters shown of what stands between quotes
MOST_KNOWN = 6  # names shown where none is near
_LENGTH = re.compile("\ufdd0([^\ufdd1]*)\ufdd1")  # noncharacters, which no file can hold


class LinkageError(ValueError):
    """Something a builder can mend: one sentence, and the facts that it was made from.

    Parameters
    ----------
    sentence : str
        Which part, what it got with its unit, what would do, what to try.
        A length in it is written `mm(value)`, so that it can be said in the unit of the file.
    **facts
        The values in the sentence, kept for callers that want them.

    Examples
    --------
    >>> error = LinkageError("rod 'tie' has length 0 mm; give a length above 0", length=0.0)
    >>> error.facts["length"]
    0.0
    """

    def __init__(self, sentence: str, **facts: object):
        sentence = " ".join(sentence.split())  # one line, whatever a name holds
        marked = {text: [float(size) for size in text.split()] for text in
                  _LENGTH.findall(sentence)}
        lengths = {_said(sizes, 1.0, "mm"): sizes for sizes in marked.values()}
        sentence = _LENGTH.sub(lambda text: _said(marked[text[1]], 1.0, "mm"), sentence)
        sentence = re.sub('"[^"]*"', _clipped, shown_text(sentence))
        super().__init__(sentence)
        self.sentence = sentence
        self.facts = facts | ({"lengths": facts.get("lengths", {}) | lengths} if lengths else {})

    def say_lengths(self, size: float, unit: str) -> None:
        """Say the lengths of the sentence in a unit, once that of its file is known.

        Parameters
        ----------
        size : float
            Of the unit, mm.
        unit : str
        """
        lengths = self.facts.pop("lengths", {})
        for text in sorted(lengths, key=len, reverse=True):
            self.sentence = re.sub(rf"(?<![\d.-]){re.escape(text)}",
                                   _said(lengths[text], size, unit), self.sentence)
        self.args = (self.sentence,)

    def __reduce__(self):
        return (_rebuilt, (type(self), self.sentence, self.facts))


class ModelError(LinkageError):
    """A part that can't be built as described; ``facts["place"]`` says where in the model."""


class FileError(LinkageError):
    """A file that can't be read or written as asked; ``facts["path"]`` says which."""


class MotionError(LinkageError):
    """A system that can't be moved as described, or a question its motion can't answer."""


def mm(*lengths: float) -> str:
    """A length or a place within the sentence of an error, mm, until its file's unit is known.

    Examples
    --------
    >>> error = LinkageError(f"has a wall of {mm(3.175)}; make it thinner")
    >>> error.sentence
    'has a wall of 3.175 mm; make it thinner'
    >>> error.say_lengths(25.4, "in")
    >>> error.sentence
    'has a wall of 0.125 in; make it thinner'
    """
    return f"\ufdd0{' '.join(repr(float(length)) for length in lengths)}\ufdd1"


def _said(lengths, size: float, unit: str) -> str:
    numbers = [f"{length / size + 0.0:.5g}" for length in lengths]
    text = ", ".join(numbers)
    return f"[{text}] {unit}" if len(numbers) > 1 else f"{text} {unit}"


def counted(count: int, one: str, many: str = "") -> str:
    """How many of what; more than one have an s unless `many` says how.

    Examples
    --------
    >>> counted(1, "body", "bodies"), counted(0, "rod")
    ('1 body', '0 rods')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


def shown_text(text: str) -> str:
    r"""Text as a terminal may have it: control and direction marks spelled out.

    Examples
    --------
    >>> shown_text("pan\x1b[2J \u202eleft")
    'pan\\x1b[2J \\u202eleft'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c == "\n" else c.encode("unicode_escape").decode()
                   for c in text)


def nearest(word: str, known: Iterable[str]) -> str:
    """End of a sentence that points to the nearest known word.

    Examples
    --------
    >>> nearest("pivvot", ["pivot", "axis"])
    'did you mean "pivot"?'
    >>> nearest("zzz", ["pivot", "axis"])
    'known here: axis, pivot'
    """
    known = sorted(known)
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    if close:
        return f'did you mean "{close[0]}"?'
    more = f" and {len(known) - MOST_KNOWN} more" if len(known) > MOST_KNOWN + 1 else ""
    shown = known[:MOST_KNOWN] if more else known
    return f"known here: {', '.join(shown)}{more}" if known else "none is known here"


def _clipped(quoted) -> str:
    text = quoted[0]
    return text if len(text) <= LONGEST + 20 else f'{text[:LONGEST]}..."'


def _rebuilt(kind, sentence, facts):
    return kind(sentence, **facts)
