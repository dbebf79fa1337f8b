"""The verdict: what is missed, what was not looked at, and what the rest covers."""

from __future__ import annotations

from dataclasses import dataclass

NAMED = 3  # things not judged that the sentence itself names


@dataclass(frozen=True)
class Miss:
    """One requirement that is missed, or that could not be decided.

    Attributes
    ----------
    kind : str
        The question it belongs to, such as "clearance".
    what : str
        What misses it: a pair, a surface and way, a rod.
    how_much : str
        What was found against what is required, each with its unit.
    where : str
        The stick position in words, "" where it is none in particular.
    decided : bool
        False where neither met nor missed could be shown.
    short : float
        How bad it is among its kind: greater is worse.
    """

    kind: str
    what: str
    how_much: str
    where: str = ""
    decided: bool = True
    short: float = 0.0

    @property
    def sentence(self) -> str:
        """What is missed, by how much and where."""
        start = f"{self.what}: {self.how_much}" if self.what else self.how_much
        at = f", at {self.where}" if self.where else ""
        return f"{start}{at}"

    @property
    def word(self) -> str:
        """MISS, or UNDECIDED."""
        return "MISS" if self.decided else "UNDECIDED"


@dataclass(frozen=True)
class Standing:
    """How one question came out, for the chapter that shows it.

    Attributes
    ----------
    kind, chapter : str
    missed : tuple of Miss
    judged : str
        What was judged, such as "6 travels"; "" where nothing was.
    left : tuple of str
        A sentence for each thing that it could not judge.
    """

    kind: str
    chapter: str
    missed: tuple[Miss, ...]
    judged: str
    left: tuple[str, ...]


@dataclass(frozen=True)
class Verdict:
    """What one look at a system came to.

    Attributes
    ----------
    missed : tuple of Miss
        In the order of the questions (directions first), the worst of each first.
    unknown : tuple of str
        What could not be judged and why, a sentence each.
    set_aside : tuple of str
        What is left out on purpose: waivers with their reasons, what was not asked for.
    met : tuple of str
        What was judged and is met, each with how much of it was judged.
    covers : tuple of str
        For which travel and build that holds.
    build : str
        Which build decides.
    standings : tuple of Standing
        The same, question by question.
    """

    missed: tuple[Miss, ...]
    unknown: tuple[str, ...]
    set_aside: tuple[str, ...]
    met: tuple[str, ...]
    covers: tuple[str, ...]
    build: str = "as drawn"
    standings: tuple[Standing, ...] = ()

    @property
    def not_looked_at(self) -> tuple[str, ...]:
        """Both: what could not be judged first."""
        return self.unknown + self.set_aside

    @property
    def exit_code(self) -> int:
        """0 met, 1 missed or not decided."""
        return 1 if self.missed else 0

    @property
    def sentence(self) -> str:
        """The verdict in one sentence, which says no more than what was worked out."""
        undecided = sum(not miss.decided for miss in self.missed)
        missed = len(self.missed) - undecided
        parts = [f"{count} requirement{'s' if count > 1 else ''} {word}"
                 for count, word in ((missed, "missed"), (undecided, "not decided")) if count]
        if parts:
            return f"{', '.join(parts)} ({self.build})."
        if not self.met:
            return "Nothing was required of what was looked at, so nothing is missed."
        if self.unknown:
            words = [sentence.split(":")[0].split(", ")[0] for sentence in self.unknown]
            more = f" and {len(words) - NAMED} more" if len(words) > NAMED else ""
            return (f"Nothing that was judged is missed, as computed ({self.build}): "
                    f"{', '.join(self.met)}; but not everything could be judged: "
                    f"{'; '.join(words[:NAMED])}{more}.")
        return (f"Every requirement that was judged is met, as computed ({self.build}): "
                f"{', '.join(self.met)}.")
