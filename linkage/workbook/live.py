"""The live workbook: the page answered by a kernel."""

from __future__ import annotations

import asyncio
import json
import logging
import numbers
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import anywidget
import traitlets

from ..clearances import gaps, scene_of
from ..errors import LinkageError
from ..gearing import said_input
from ..motion import BEYOND, System
from ..results import Answers
from ..units import MM_PER
from .cures import cut_away
from .draft import (
    Draft,
    changes,
    mirrored_too,
    part_rows,
    same_shape,
    with_dimension,
    with_half_turns,
    with_limits,
    with_spacers,
)
from .following import Follower, OnDisk
from .known_stops import KnownStops
from .messages import (
    Request,
    check_limits,
    check_position,
    check_spacers,
    number_of,
    place_of,
    place_to_save,
    read_request,
)
from .new_part import with_part
from .page_tables import (
    direction_rows,
    exact_at,
    known_at_once,
    limits_of,
    most_thickness,
    required_rows,
    waiting_row,
)
from .payload import as_json, make_payload
from .program import script, style
from .prover import Prover
from .sized import dimension_rows, with_sized
from .typed import typed_length

if TYPE_CHECKING:
    from ..model.whole import Model

REST = 0.3  # seconds without input after which the proof begins


class Workbook(OnDisk, KnownStops, anywidget.AnyWidget):
    """The workbook of one model, as `open` makes it.

    Attributes
    ----------
    position, limits, spacers : dict
        Stick position, wanted travels (degrees, mm for a slide) and spacer thicknesses (in the
        file's length unit); set one and everything follows, in the page too.
    message : str
        The last thing refused or done, one sentence.
    folder : path
        The page saves below it only: where the kernel was started, unless set to another.
    """

    _esm = script()
    _css = style()
    live = traitlets.Bool(True).tag(sync=True)
    # sent as text: it holds no bytes to be looked for among its thousands of lists
    head = traitlets.Dict().tag(sync=True, to_json=lambda head, _: as_json(head),
                                from_json=lambda text, _: json.loads(text))
    shapes = traitlets.Bytes().tag(sync=True)
    grid = traitlets.Bytes().tag(sync=True)
    state = traitlets.Dict().tag(sync=True)
    exact = traitlets.Dict(allow_none=True, default_value=None).tag(sync=True)
    message = traitlets.Unicode("")
    note = traitlets.Dict().tag(sync=True)  # the message, and which request of which control
    moved_to = traitlets.Dict().tag(sync=True)  # only what was set from Python: no echo
    position = traitlets.Dict()
    limits = traitlets.Dict()
    spacers = traitlets.Dict()

    def __init__(self, system: System, path: Path | str | None = None, *, prove: bool = True,
                 **options: Any):
        self._lock, self._serial, self._heard = threading.RLock(), 0, 0
        self._path, self.folder = Path(path) if path is not None else None, Path.cwd()
        self._on_disk = system.model
        self._draft, self._system, self._first = Draft(system.model, system.model), system, system
        self._box, self._stops, self._timer = system.travel_box(BEYOND), {}, None
        self._meetings, self._shaped = {}, system
        results = Answers(system)
        self._known = known_at_once(results) if prove else {
            "directions": direction_rows(results), "required": required_rows(results)}
        self._made_at = {}
        self._ask_over, self._setting, self._failed = False, False, ""
        self._told, self._patched = "", False
        try:
            self._loop = asyncio.get_running_loop()
        except RuntimeError:
            self._loop = None
        self._prover = Prover(self._arrived) if prove else None
        super().__init__(**options)
        if self._prover:
            self._prover.start()
        self.position = dict.fromkeys(self._box, 0.0)
        self._draw()
        late = self._prover is not None
        self._stops = {name: waiting_row(system, name) if late else self._stop(name)
                       for name in system.model.stops}
        self._begin(late, fresh=not late)
        self.observe(self._moved, "position")
        self.observe(self._limited, "limits")
        self.observe(self._spaced, "spacers")
        self.on_msg(lambda _, content, buffers: self.answer(content))
        self._follower = Follower(self._path, self._changed_on_disk) if self._path else None

    @property
    def model(self) -> Model:
        """The model as it stands now."""
        return self._draft.model

    @property
    def system(self) -> System:
        """The system as it stands now."""
        return self._system

    def answer(self, content: object) -> None:
        """Answer one message of the page; whatever is wrong with it becomes the message.

        Parameters
        ----------
        content : object
            As it has arrived; see `linkage.workbook.messages`.
        """
        with self._lock:
            number, before = number_of(content), self._serial
            self._heard = max(self._heard, number)
            refused = False
            try:
                request = read_request(content)
                if request.kind == "ping":
                    self.send({"heard": number})
                    return
                text = self._act(request) or ""
            except LinkageError as error:
                text, refused = error.sentence, True
            except Exception as fault:  # one page's message must never end in a kernel's traceback
                logging.getLogger(__name__).debug("a page's message", exc_info=True)
                text, refused = f"a fault of the program ({fault!r}); nothing was changed", True
            self._say(text, number=number, where=place_of(content), refused=refused)
            if self._serial == before:  # the page waits for an answer before it asks again
                self._tell()

    def _act(self, request: Request):
        """Do what a request asks; gives what there is to say about it."""
        return getattr(self, f"_do_{request.kind}")(**request.fields)

    def _say(self, text, number=0, where="", refused=False):
        self.message = text
        self.note = {"n": number, "where": where, "text": text, "refused": refused}

    def _do_limits(self, limits):
        check_limits(limits, self._box, self._position_in_words)
        self._take(with_limits(self._system, limits))

    def _do_spacers(self, spacers):
        most = {n: most_thickness(s.spacer) for n, s in self.model.stops.items() if s.spacer}
        check_spacers(spacers, most, self.model.length)
        self._take(with_spacers(self.model, spacers))

    def _do_dimension(self, address, what, text, twin):
        mm = typed_length(text, self.model.length)
        changed = with_dimension(self.model, address, what, mm)
        other = mirrored_too(self._system, address, what, mm) if twin else None
        self._take(with_dimension(changed, *other) if other else changed)

    def _do_cut(self, solid):
        self._take(cut_away(self._system, solid).model)
        return f"{solid}: relieved as drawn; its outline goes into the file that is saved"

    def _do_size(self, name, value):
        self._take(with_sized(self._first.model, self.model, name, value))

    def _do_turn(self, rod, halves):
        self._take(with_half_turns(self.model, rod, int(halves)))

    def _do_add(self, kind, fields):
        self._take(with_part(self.model, kind, fields))
        return f"{fields.get('name', kind)} added"

    def _do_undo(self):
        self.undo()

    def _do_save(self, path, over):
        return self._write(place_to_save(path, Path(self.folder)), over)

    def _begin_anew(self, system) -> None:
        """Take a file as it is now; nothing of the page's own is left."""
        self._on_disk, self._first, self._told = system.model, system, ""
        self._box, self._meetings = system.travel_box(BEYOND), {}
        self._stops = {name: waiting_row(system, name) for name in system.model.stops}
        self._known = {"required": []}
        self._system = self._shaped = system
        self._draft = Draft(system.model, system.model)
        if self._prover:
            self._prover.cancel()
        self.position = dict.fromkeys(self._box, 0.0)
        self._draw()
        if self._prover is None:
            self._stops = {name: self._stop(name) for name in system.model.stops}
        self._begin(self._prover is not None, fresh=True)

    def _do_exact(self, position, pairs):
        check_position(position, limits_of(self._system), self._position_in_words)
        self._set("position", {name: float(value) for name, value in position.items()})
        # limits and spacers move no solid: what was laid out for the shapes serves on
        known = [name for name in pairs if name in scene_of(self._shaped).pairs]
        if any(self._held.get(i["name"]) != position.get(i["name"], 0.0)
               for i in self.head["inputs"] if i["held"]):
            self._draw()
        self.exact = {"serial": self._serial,
                      **exact_at(self._shaped, self.position, known, gaps)}

    def _position_in_words(self, name, value):
        return said_input(self._system, name, value)

    def _set(self, name, value):
        """Set a trait without taking it for a person's wish."""
        self._setting = True
        try:
            setattr(self, name, value)
        finally:
            self._setting = False

    def change(self, address: str, what: str, text: str, twin: bool = True) -> None:
        """Change one coordinate, arm or rod length, as typed in the part table.

        Parameters
        ----------
        address : str
            ``"part/point"``, or a rod.
        what : {"FS", "BL", "WL", "arm", "length"}
        text : str
            A length; a bare number is in the file's unit.
        twin : bool
            Change the twin on the other side alike, where the two are mirror images.
        """
        with self._lock:
            self._do_dimension(address, what, text, twin)

    def undo(self) -> None:
        """Take the last change back."""
        with self._lock:
            draft = self._draft.undone()
            self._settle(System(draft.model), draft)

    def save(self, path: Path | str, *, over: bool = False) -> bool:
        """Write the model as it stands to a file, whole or not at all.

        Parameters
        ----------
        path : path
        over : bool
            Write over a file that is there already.

        Returns
        -------
        bool
            False, with a message that asks, where a file is there and `over` is not said.
        """
        if not str(path).strip():
            raise LinkageError("name the file to save to, such as mine.toml")
        with self._lock:
            self._say(self._write(Path(str(path).strip()).expanduser(), over))
            self._tell()
            return not self._ask_over

    def close(self) -> None:
        """End the page and what works for it."""
        if self._timer:
            self._timer.cancel()
        if self._follower:
            self._follower.close()
        if self._prover:
            self._prover.close()
        super().close()

    def _take(self, model) -> None:
        draft = self._draft.changed(model)
        if draft is not self._draft:
            self._settle(System(model), draft)
            if self._patched:
                self._write(self._path, True)

    def _settle(self, system, draft) -> None:
        """Take a new state: drawn, stops found where they may have moved, told, proof begun."""
        shape = not same_shape(draft.model, self.model)
        last, self._system, self._draft = self._system, system, draft
        if self._prover:
            self._prover.cancel()
        if shape:
            self._shaped = system
            self._take_inputs()
            self._draw()
        moved = self._moved_stops(last, shape)
        # many at once are left to the process that proves, so that the page need not wait
        late = len(moved) > 1 and shape and bool(self._prover)
        for name in moved:
            self._stops[name] = waiting_row(system, name) if late else self._stop(name)
        self._begin(late)

    def _take_inputs(self) -> None:
        """Follow inputs that a part has brought, or taken along."""
        box = self._system.travel_box(BEYOND)
        if box.keys() != self._box.keys():
            self._box = {name: self._box.get(name, ends) for name, ends in box.items()}
            self._set("position", {name: self.position.get(name, 0.0) for name in box})

    def _draw(self) -> None:
        self._held, self._parts = dict(self.position), part_rows(self._draft)
        payload = make_payload(self._system, self.position, self._box)
        with self.hold_sync():
            self.head, self.shapes, self.grid = payload.head, payload.shapes, payload.grid

    def _begin(self, late=False, fresh=False) -> None:
        """Tell the page how things are now, and begin the proof when input has rested."""
        self._serial += 1
        self._known = self._known_before(fresh)
        phases = ["directions", *(["stops"] if late else []), "forces", "targets", "proof",
                  "required", "governs", "verdict", "cures", "map", "table", "loads"]
        self._busy, self._failed = phases if self._prover else [], ""
        self._made_at["begun"] = time.monotonic()
        self._set("limits", limits_of(self._system))
        per = MM_PER[self.model.length]
        self._set("spacers", {n: s.spacer.thickness / per for n, s in self.model.stops.items()
                              if s.spacer})
        self._tell()
        if self._timer:
            self._timer.cancel()
        if self._prover:
            self._timer = threading.Timer(REST, self._prove, [self._serial, phases])
            self._timer.daemon = True
            self._timer.start()

    def _known_before(self, fresh) -> dict:
        """What was worked out for the state before stays on show, marked so.

        What is found within the travels is read from the drawing till it is worked out.
        """
        kept, known = ("map", "proof", "verdict", "forces"), self._known
        before = {k: known[k] and {**known[k], "old": True} for k in kept if k in known}
        ways = {k: known[k] for k in ("directions", "targets") if k in known}
        required = [row if fresh else {**row, "found": None} for row in self._known["required"]]
        return {**before, **ways, "required": required}

    def _prove(self, serial, phases) -> None:
        with self._lock:
            if serial == self._serial:
                self._prover.prove(serial, self.model, phases)

    def _tell(self) -> None:
        model, source = self.model, self._path
        now = time.monotonic()
        self.state = {
            "serial": self._serial, "heard": self._heard, "busy": list(self._busy),
            "failed": self._failed,
            "ages": {what: now - began for what, began in self._made_at.items()},
            "limits": limits_of(self._system),
            "wanted": limits_of(self._system) | limits_of(self._first),
            "directions": self._known.get("directions"),
            "required": self._known["required"],
            "stops": [self._stops[name] for name in model.stops],
            "proof": self._known.get("proof"), "map": self._known.get("map"),
            "verdict": self._known.get("verdict"), "cures": self._known.get("cures"), "stock": [],
            "sizes": dimension_rows(self._first.model, model),
            "targets": self._known.get("targets") or [],
            "loads": self._known.get("loads") or {}, "forces": self._known.get("forces"),
            "source": source.name if source else "", "file": self._told,
            "patched": self._patched,
            "parts": self._parts, "undo": len(self._draft.past),
            "changes": changes(self._draft, self._parts, self._first, self._system),
            "ask_over": self._ask_over,
            "save_as": f"{source.stem} changed.toml" if source else "changed.toml"}

    def _arrived(self, serial, what, value) -> None:
        """An answer of the proving process, from its thread."""
        if self._loop is not None and self._loop.is_running():
            self._loop.call_soon_threadsafe(self._know, serial, what, value)
        else:
            self._know(serial, what, value)

    def _know(self, serial, what, value) -> None:
        with self._lock:
            if serial == self._serial:
                self._busy = [phase for phase in self._busy if phase != what]
                self._take_answer(what, value)
                self._tell()

    def _take_answer(self, what, value) -> None:
        if what == "stops":
            self._stops = {row["name"]: row for row in value}
        elif what == "governs":
            for name, (governs, reason) in value.items():
                self._stops[name] |= {"governs": governs, "reason": reason}
        elif what == "failed":
            self._busy, self._failed = [], value
        elif what != "done":
            what = "proof" if what == "table" else what
            self._known[what], self._made_at[what] = value, time.monotonic()

    def _moved(self, change) -> None:
        if self._from_python(change, {"do": "exact", "position": change["new"]}):
            self.moved_to = change["new"]

    def _limited(self, change) -> None:
        self._from_python(change, {"do": "limits", "limits": change["new"]})

    def _spaced(self, change) -> None:
        per, old = MM_PER[self.model.length], change["old"]
        self._from_python(change, {"do": "spacers", "spacers": {
            n: t * per if isinstance(t, numbers.Real) else t
            for n, t in change["new"].items() if t != old.get(n)}})

    def _from_python(self, change, content) -> bool:
        """Take what was set from Python; what can't be is refused there, and set back."""
        with self._lock:  # a page is answered in a thread of its own while a cell runs
            if self._setting:
                return False
            try:
                self._act(read_request(content))
            except LinkageError:
                self._set(change["name"], change["old"])
                raise
            self._say("")
        return True

