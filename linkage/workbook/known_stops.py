"""Stops that a workbook knows of, and which of them a change has moved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..clearances import scene_of
from ..errors import LinkageError
from ..motion import body_of
from ..stops import Meeting, meeting
from .page_tables import stop_row, waiting_row

PROBED = 13  # positions at which the way of a stop's faces is compared


class KnownStops:
    """What a workbook does about its stops: finds again those that may have moved."""

    def _moved_stops(self, last, shape) -> list[str]:
        """Stops to be found again; the others keep their row, yet which governs is open."""
        new = self.model.stops.keys() - self._stops.keys()
        self._stops = {name: {**self._stops[name], "governs": None} if name not in new
                       else waiting_row(self._system, name) for name in self.model.stops}
        changed = self._changed_stops(last) if shape else set()
        for name in changed:
            self._meetings.pop(name, None)
        return [name for name in self.model.stops if name in changed or self._stop_moved(name)]

    def _made(self, name):
        """A stop ready to be measured; what was found of its faces serves until they change."""
        known = name in self._meetings
        if not known:
            self._meetings[name] = meeting(self._system, name)
        return replace(self._meetings[name], system=self._system, stop=self.model.stops[name],
                       alone=known)

    def _stop(self, name) -> dict:
        """The row of a stop, found anew."""
        try:
            return stop_row(self._system, name, self._made(name))
        except LinkageError:
            return stop_row(self._system, name)

    def _stop_moved(self, name) -> bool:
        """Whether a stop has to be found again, its faces and their way being as before."""
        row, spacer = self._stops[name], self.model.stops[name].spacer
        if row["angle"] is None or row["thickness"] != (spacer.thickness if spacer else 0.0):
            return True
        stop = self.model.stops[name]
        return abs(row["angle"]) > abs(Meeting(self._system, name, stop, None, None, None).limit)

    def _changed_stops(self, last) -> set:
        """Stops whose faces, or whose way along their input, are not the very same as before."""
        if last.model.bodies.keys() != self.model.bodies.keys():  # a part was added, or undone
            return set(self.model.stops)
        scenes, changed, ways = (scene_of(last), scene_of(self._system)), set(), {}
        for name, stop in self.model.stops.items():
            if stop.input not in ways:
                x = np.linspace(*self._box[stop.input], PROBED)
                ways[stop.input] = [s.sweep(**{stop.input: x}) for s in (last, self._system)]
            changed |= {name for solid in stop.between
                        if self._face_changed(solid, scenes, ways[stop.input])}
        return changed

    def _face_changed(self, solid, scenes, ways) -> bool:
        """Whether a solid, or its way in two motions, is not the very same in two scenes."""
        if any(solid not in scene.model.solids for scene in scenes):
            return True
        one, two = (scene.solid(solid).pieces for scene in scenes)
        return one is not two or not all(
            np.array_equal(*(motion.point(point) for motion in ways), equal_nan=True)
            for point in self._carrier_points(solid))

    def _carrier_points(self, solid):
        model, part = self.model, body_of(solid)
        if part in model.rods:
            return model.rods[part].ends
        return [p for p in model.points if body_of(p) == part]
