"""One error family: each error is one sentence for a builder, and stores the facts in it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class LinkageError(ValueError):
    """Something a builder can mend: one sentence, and the facts that it was made from.

    Parameters
    ----------
    sentence : str
        Which part, what it got with its unit, what would do, what to try.
    **facts
        The values in the sentence, kept for callers that want them.

    Examples
    --------
    >>> error = LinkageError("rod 'tie' has length 0 mm; give a length above 0", length=0.0)
    >>> error.facts["length"]
    0.0
    """

    def __init__(self, sentence: str, **facts):
        sentence = shown_text(" ".join(sentence.split()))  # one line, whatever a name holds
        super().__init__(sentence)
        self.sentence = sentence
        self.facts = facts

    def __reduce__(self):
        return (_rebuilt, (type(self), self.sentence, self.facts))


class ModelError(LinkageError):
    """A part that can't be built as described; ``facts["place"]`` says where in the model."""


class FileError(LinkageError):
    """A file that can't be read or written as asked; ``facts["path"]`` says which."""


class MotionError(LinkageError):
    """A system that can't be moved as described, or a question its motion can't answer."""


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
    return f"known here: {', '.join(known)}" if known else "none is known here"


def _rebuilt(kind, sentence, facts):
    return kind(sentence, **facts)
