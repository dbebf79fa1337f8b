"""Everything found of one system, each answer worked out on first use and kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import gearing, loads, relief, rigging, stops
from ..clearances import clearance
from ..errors import LinkageError
from ..model import Plate, Washer
from ..model.file import model_digest
from ..motion import System
from ..units import lengths_said_in
from .second_core import Beside
from .sequence import rigging_sequence

if TYPE_CHECKING:
    import pandas as pd

    from ..gearing.gearing_sign import SignProof
    from ..gearing.surface_ways import Direction
    from ..rigging.builds import Builds
    from ..rigging.tolerances import Spot
    from ..stops.mapping import TravelMap
    from ..stops.real import RealTravel

AHEAD = ("real_travel",)  # what most of the others rest on
# each rests on those before it, so that on the second core they would be worked out again
FIRST_CORE = ("clearance", "stops", "travels", "bands")
# rest on none of the others, so that either core takes them
EITHER = ("chafing", "misalignment", "hands", "feel", "reach", "few_builds", "rig_pins")


class NothingAsked(LinkageError):
    """The file gives nothing that a question could be about: which key to add."""


class answer(cached_property):  # noqa: N801
    """An answer: worked out on first use and kept; None, and why in `lacking`, where it can't be.

    What the file asks for and can't be worked out is undecided; `NothingAsked` is no fault.
    """

    def __get__(self, results, owner=None):
        """Give the answer."""
        if results is None or self.attrname in results.__dict__:
            return self if results is None else results.__dict__[self.attrname]
        try:
            with lengths_said_in(results.system.model.length):
                return super().__get__(results, owner)
        except LinkageError as error:
            results.lacking[self.attrname] = error
            results.__dict__[self.attrname] = None
            return None


@dataclass(frozen=True, eq=False)
class Answers:
    """Everything found of one system; None where an answer can't be worked out.

    Attributes
    ----------
    system : System
    source : str
        The file's name, without its folders.
    digest : str
        Of the file, and of the files it uses.
    only : tuple of str
        Chapters to look at; all unless given.
    chance : rigging.Chance
        How builds are drawn for what chance shows.
    before : Answers, optional
        What it is set beside.
    after : DataFrame, optional
        Clearances of a like system, whose proof the one of this takes up.
    also_missed : tuple of Miss
        What the caller found missed besides.
    built : bool
        Whether clearance is proven for every build within the file's tolerances, not as drawn.
    tell : callable
        Told the name of an answer that takes long as it begins.
    checker : str
        What the checker of certificates says of the clearance proof; "" where it was not asked.
    lacking : dict
        ``{answer: LinkageError}`` of those that can't be worked out.
    """

    system: System
    source: str = ""
    digest: str = ""
    only: tuple[str, ...] = ()
    chance: rigging.Chance = rigging.Chance(rigged=True)
    before: Answers | None = None
    after: pd.DataFrame | None = None
    also_missed: tuple = ()
    built: bool = False
    tell: Callable = lambda phase: None
    checker: str = ""
    lacking: dict = field(default_factory=dict)

    @classmethod
    def of_file(cls, system: System, path: Path | str, **options: Any) -> Answers:
        """Answers of a system that came from a file."""
        return cls(system, Path(path).name, model_digest(path), **options)

    def __repr__(self) -> str:
        return f"<{type(self).__name__} of {self.system.model.title or self.source!r}>"

    def work_out(self, names: Iterable[str]) -> None:
        """Work out some answers, on two cores where the machine has them."""
        for name in AHEAD:
            if name in names:
                getattr(self, name)
        with Beside(self, [name for name in names if name not in (*AHEAD, *FIRST_CORE, *EITHER)],
                    [name for name in EITHER if name in names]):
            for name in FIRST_CORE:
                if name in names:
                    self.tell(name.replace("_", " "))
                    getattr(self, name)

    def keep(self, known: dict, lacking: dict) -> None:
        """Keep answers worked out elsewhere."""
        self.__dict__.update(known)
        self.lacking.update(lacking)

    def known_after(self, names: Iterable[str]) -> tuple[dict, dict]:
        """As `known`, worked out first."""
        for name in names:
            getattr(self, name)
        return self.known(names)

    def known(self, names: Iterable[str]) -> tuple[dict, dict]:
        """Answers among some names, and why others are lacking."""
        return ({name: self.__dict__[name] for name in names if name in self.__dict__},
                {name: self.lacking[name] for name in names if name in self.lacking})

    def why_not(self, name: str) -> str:
        """Why an answer is lacking, in a sentence; "" where it is not."""
        return self.lacking[name].sentence if name in self.lacking else ""

    def _given(self, thing, what: str, key: str):
        """Refuse a question that the file gives nothing for."""
        if not thing:
            raise NothingAsked(f"the file gives no {what}; add {key}")
        return thing

    @property
    def _tolerances(self):
        """Build tolerances, None where all is judged as drawn."""
        return self.system.model.tolerance if self.built else None

    def _needs(self, name: str):
        """Another answer, or the reason why it is lacking."""
        value = getattr(self, name)
        if value is None:
            raise self.lacking[name]
        return value

    @answer
    def margins(self) -> pd.DataFrame | None:
        """Over-centre margins of both ends of every rod."""
        return gearing.margins(self.system, stops.judged_box(self.system))

    @answer
    def directions(self) -> list[Direction] | None:
        """Which way every surface goes for each input that commands it, over the real travel."""
        real = self.real_travel
        return gearing.directions(self.system, None if real is None else real.travel.spread,
                                  tolerances=self._tolerances)

    @answer
    def reach(self) -> SignProof | None:
        """Whether every rod is proven to reach all over the real travel, and where not."""
        return stops.out_of_reach(self.system, stops.judged_travel(
            self.system, self._tolerances), self._tolerances)

    @answer
    def findings(self) -> list | None:
        """What a builder should know before trusting the numbers."""
        return gearing.find(self.system, self._needs("margins"), self._needs("directions"))

    @answer
    def travels(self) -> pd.DataFrame | None:
        """Required travels against found ones, at the stop where one governs; as built if so."""
        table = self.stops
        travels = gearing.required_travels(
            self.system, None if table is None else stops.drawn_ends(self.system, table))
        if not self.built or not len(travels):
            return travels
        return rigging.built_travels(self.system, travels, self._needs("spots"))

    @answer
    def bands(self) -> pd.DataFrame | None:
        """Required travels that the drawn stops let out of their band, other inputs moved."""
        try:
            real = stops.real_travel(self.system)
        except LinkageError:  # told where the stops are
            travel, fine = stops.judged_travel(self.system), {}
        else:
            travel, fine = real.travel, real.fine
        return gearing.bands(self.system, self._needs("travels"), travel.spread, fine)

    @answer
    def gearing(self) -> dict[str, pd.DataFrame] | None:
        """``{input: DataFrame}``: deflection and gearing along each input."""
        self._given(self.system.model.surfaces, "surface", '[surface."NAME"] with body')
        return {name: gearing.gearing_table(self.system, name)
                for name in self.system.travel_box()}

    @answer
    def differential(self) -> pd.DataFrame | None:
        """Up against down of each left and right pair."""
        return gearing.differential(self.system)

    @answer
    def cross_talk(self) -> pd.DataFrame | None:
        """What other inputs do to each surface."""
        return gearing.cross_talk(self.system)

    @answer
    def sticks(self) -> pd.DataFrame | None:
        """How far the sticks differ."""
        return gearing.stick_difference(self.system)

    @answer
    def symmetry(self) -> pd.DataFrame | None:
        """Left surface against right."""
        return gearing.symmetry(self.system)

    @answer
    def clearance(self) -> pd.DataFrame | None:
        """The proven clearance table."""
        self._given(self.system.model.solids, "solid", '[body."NAME".solid.NAME] with kind, or a '
                                                       "rod's diameter")
        real = self.real_travel
        return clearance(self.system, built=self.built, after=self.after,
                         real=None if real is None else real.travel)

    @answer
    def real_travel(self) -> RealTravel | None:
        """The travel that the stops leave."""
        return stops.real_travel(self.system, self._tolerances)

    @answer
    def stops(self) -> pd.DataFrame | None:
        """Where each stop is reached and whether it governs."""
        self._given(self.system.model.stops, "stop", '[stop."NAME"] with input, side and between')
        return stops.find_stops(self.system, self.__dict__.get("clearance"))

    @property
    def ends_missed(self) -> list:
        """Ends of travels that have stops of which none governs."""
        return [] if self.stops is None else stops.ends_without_stop(self.system, self.stops)

    @answer
    def travel_map(self) -> TravelMap | None:
        """What of the wanted travel of two inputs is free of contact."""
        table = self._needs("clearance")
        driving = len(self.system.travel_box())
        if driving < 2:
            raise NothingAsked(f"a travel map needs two inputs that drive something, and the file "
                               f'has {driving}; give a body input = "NAME"')
        return stops.travel_map(self.system, 0.0, stops.may_touch(self.system, table))

    @answer
    def drawn_map(self) -> TravelMap | None:
        """The same a little past the wanted travel, to be drawn; its share is that of the first."""
        narrow = self._needs("travel_map")
        return replace(stops.travel_map(self.system), usable=narrow.usable, sides=narrow.sides)

    @answer
    def reliefs(self) -> tuple[list, list[str]] | None:
        """Reliefs that cure a miss, and a sentence for each plate that can't be relieved.

        Cut for every build within the tolerances where clearance is proven so.
        """
        table, solids = self._needs("clearance"), self.system.model.solids
        missed = table[~table["ok"].astype(bool)]
        names = dict.fromkeys(side for pair in missed["pair"]
                              for side in reversed(pair.split(" | "))
                              if isinstance(solids[side], Plate | Washer))
        done, refused = [], []
        for name in names:
            try:
                done.append(relief.relieve(self.system, name, relief.Options(built=self.built)))
            except LinkageError as error:
                refused.append(str(error))
        return [each for each in done if each.needed], refused

    @answer
    def worst_loads(self) -> pd.DataFrame | None:
        """Greatest loads of every part, and where."""
        try:
            return loads.worst_loads(self.system)
        except LinkageError as error:
            if loads.cases(self.system):
                raise
            raise NothingAsked(error.sentence) from error

    @answer
    def rod_margins(self) -> pd.DataFrame | None:
        """Every rod against its greatest loads."""
        return loads.rod_margins(self.system, self._needs("worst_loads"))

    @answer
    def joint_margins(self) -> pd.DataFrame | None:
        """Every bolt, bearing and plate that the file describes."""
        return loads.joint_margins(self.system, self._needs("worst_loads"))

    @answer
    def fixing_margins(self) -> pd.DataFrame | None:
        """Every weld and set of bolts that the file gives of a plate."""
        return loads.fixing_margins(self.system, self._needs("worst_loads"))

    @answer
    def tube_margins(self) -> pd.DataFrame | None:
        """Every torque tube against its greatest moment."""
        return loads.tube_margins(self.system, self._needs("worst_loads"))

    @answer
    def lost_motion(self) -> pd.DataFrame | None:
        """How far surfaces give with the grip held."""
        self._needs("worst_loads")
        return loads.lost_motion_table(self.system)

    @answer
    def servos(self) -> pd.DataFrame | None:
        """Every servo: dead centre of its arm, force to overpower it, travel it takes away."""
        return loads.servo_table(self.system)

    @answer
    def stick_forces(self) -> dict[str, pd.DataFrame] | None:
        """``{input: DataFrame}``: force and friction along each input that has a grip."""
        return {name: loads.stick_force_table(self.system, name)
                for name in self.system.travel_box() if loads.grips(self.system, name)}

    @answer
    def needed_forces(self) -> dict[str, dict] | None:
        """``{input: dict}``: the pilot force that the system has to be made for."""
        return {name: loads.needed_force(self.system, name)
                for name in self.system.travel_box() if loads.grips(self.system, name)
                and loads.pilot_force(self.system, name) is not None}

    @answer
    def friction(self) -> pd.DataFrame | None:
        """Breakout friction of each joint carried to the grip, as `loads.friction_table` has it."""
        return loads.friction_table(self.system)

    @answer
    def feel(self) -> dict[str, loads.Felt] | None:
        """``{input: Felt}``: force in the hand along each input that anything acts on."""
        return {name: loads.whole_travel(self.system, name) for name in self.system.travel_box()
                if loads.is_felt(self.system, name)}

    @answer
    def releases(self) -> dict[str, list] | None:
        """``{input: list of Release}``: what each does when it is let go."""
        return {name: loads.let_go(felt) for name, felt in self._needs("feel").items()}

    @answer
    def trims(self) -> dict[str, pd.DataFrame] | None:
        """``{trim input: DataFrame}``: where it holds what it trims."""
        return {trim: loads.trim_table(self.system, trim)
                for trim, of in loads.trimmers(self.system).items() if of in self._needs("feel")}

    @answer
    def springs(self) -> pd.DataFrame | None:
        """Length and load of every spring."""
        return loads.spring_table(self.system)

    @answer
    def rods(self) -> pd.DataFrame | None:
        """Rods to make."""
        self._given(self.system.model.rods, "rod", '[rod."NAME"] with ends')
        return rigging.rod_sheet(self.system)

    @answer
    def rod_ends(self) -> pd.DataFrame | None:
        """Every rod end as fitted."""
        return rigging.end_sheet(self.system)

    @answer
    def turns(self) -> pd.DataFrame | None:
        """What a turn of a rod end does to each surface."""
        return rigging.turns(self.system)

    @answer
    def misalignment(self) -> pd.DataFrame | None:
        """Tilt of every rod end against what it allows."""
        return rigging.misalignment(self.system, self._tolerances)

    @answer
    def rig_pins(self) -> pd.DataFrame | None:
        """Where the holes of every rig pin are."""
        self._given(self.system.model.rig_pins, "rig pin", '[rig_pin."NAME"] with holes')
        return rigging.rig_pins(self.system)

    @answer
    def sequence(self) -> pd.DataFrame | None:
        """The rigging sequence in the order of the drive."""
        return rigging_sequence(self.system, self.stops)

    @answer
    def wires(self) -> pd.DataFrame | None:
        """Every wire over the whole travel."""
        self._given(self.system.model.wires, "wire", '[wire."NAME"] with clamps')
        return rigging.wire_table(self.system)

    @answer
    def chafing(self) -> pd.DataFrame | None:
        """What each wire can reach, and its gap there: with the wire's name in each row."""
        import pandas as pd

        self._given(self.system.model.wires, "wire", '[wire."NAME"] with clamps')
        each = [rigging.chafe(self.system, name).assign(wire=name)
                for name in self.system.model.wires]
        table = pd.concat(each, ignore_index=True)
        table.attrs["steps"] = max(some.attrs["steps"] for some in each)
        return table[["wire", *(name for name in table if name != "wire")]]

    @answer
    def grips(self) -> pd.DataFrame | None:
        """Bore of every grip against its shaft."""
        self._given([body for body in self.system.model.bodies.values() if body.grip], "grip",
                    '[body."NAME".grip] with along, bore and hand')
        return rigging.grip_table(self.system)

    @answer
    def hands(self) -> pd.DataFrame | None:
        """Room of every hand, proven."""
        self._given([body for body in self.system.model.bodies.values()
                     if body.grip and body.grip.hand is not None], "hand",
                    '[body."NAME".grip] with hand')
        return rigging.hand_clearance(self.system, self._tolerances)

    @answer
    def spots(self) -> list[Spot] | None:
        """Neutral and every stop, where tolerances and play are told."""
        return rigging.spots(self.system)

    @answer
    def drilled(self) -> pd.DataFrame | None:
        """Sensitivities of a build as its parts come out."""
        return rigging.sensitivities(self.system, self._needs("spots"))

    @answer
    def rigged(self) -> pd.DataFrame | None:
        """Sensitivities once its rods were set."""
        return rigging.sensitivities(self.system, self._needs("spots"), rigged=True)

    @answer
    def builds(self) -> Builds | None:
        """Builds drawn by chance with the stick held at each spot; they show, and never count."""
        held = {name: np.array([spot.inputs.get(name, 0.0) for spot in self._needs("spots")])
                for name in self.system.inputs}
        return rigging.monte_carlo(self.system, self.chance, **held)

    @answer
    def few_builds(self) -> Builds | None:
        """Some builds as their parts come out, at neutral and at both ends of every input."""
        model = self.system.model
        self._given(model.surfaces and (model.tolerance.hardpoint or model.tolerance.rod),
                    "surface with tolerances", "[tolerance] hardpoint and rod")
        return rigging.trial_builds(self.system)

    @answer
    def play(self) -> pd.DataFrame | None:
        """Free play of every joint at every spot."""
        return rigging.free_play(self.system, {spot.name: spot.inputs
                                               for spot in self._needs("spots")})
