"""What own found hunts taught, as the prior of a hunt that asks for it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from treeward.report.model import OwnPriorUse

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from treeward import survey
    from treeward.hunt_file import HuntFile, SeasonFile
    from treeward.hunt_tables import ModelTable
    from treeward.report.model import StationPlace
    from treeward.survey.own_prior import Known, OwnPrior


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """The prior that a season of found hunts gives for one hunt."""

    prior: OwnPrior
    known: tuple[Known, ...]
    here_deg: tuple[float, float]
    cargos: tuple[survey.Cargo, ...]
    file: str

    def applied(
        self, settings: survey.Settings, model: ModelTable, observers: Sequence[str]
    ) -> survey.Settings:
        """Return settings with the own prior in them; what [model] says stands first.

        Of speed and in-hive time the survey itself sees to that. The compass is
        narrowed only where every observer's is known, since one spread is for all.
        """
        from treeward.survey.own_prior import learned_settings

        chosen = learned_settings(settings, self.prior, self.cargos)
        if model.compass_sd_deg is None and observers:
            offsets = [self.compass(one) for one in observers]
            if all(hunts for *_, hunts in offsets):
                sd_deg = max(sd for _, sd, _ in offsets)
                chosen = replace(chosen, compass_sd_deg=_core(sd_deg, settings))
        return chosen

    def turned_deg(
        self, model: ModelTable, observers: Sequence[str]
    ) -> Mapping[str, float]:
        """Return how much too far clockwise each observer reads [degrees]."""
        if model.compass_sd_deg is not None:
            return {}
        return {one: self.compass(one)[0] for one in observers}

    def compass(self, observer: str) -> tuple[float, float, int]:
        """Return an observer's offset, its standard deviation, and from how many."""
        from treeward.survey.own_prior import own_compass

        return own_compass(self.known, observer, here_deg=self.here_deg)

    def used(self, model: ModelTable, observers: Sequence[str]) -> OwnPriorUse:
        """Return what the report is to say of it."""
        return OwnPriorUse(
            file=self.file,
            hunts=self.prior.hunts,
            turned_deg=tuple(self.turned_deg(model, observers).items()),
        )


def _core(sd_deg: float, settings: survey.Settings) -> float:
    """Return the spread without tail that goes with a standard deviation with it."""
    from treeward.survey.own_prior import plain_compass_sd_deg

    plain_deg = settings.compass_sd_deg
    return float(sd_deg / plain_compass_sd_deg(settings) * plain_deg)


def learned_for(hunt_file: HuntFile, places: Sequence[StationPlace]) -> Learned | None:
    """Return what hunt.toml's season of found hunts foretells for this hunt.

    What a hunt of this name taught does not count.

    Parameters
    ----------
    hunt_file
        hunt.toml.
    places
        The stations; the first tells the region.

    Returns
    -------
    Learned or None
        None for the plain prior: nothing is asked for, or nothing was learned.
    """
    if hunt_file.season is None or not places:
        return None
    from treeward.survey.own_prior import own_prior

    season = hunt_file.season.without(hunt_file.hunt.name)
    if not season.lessons:
        return None
    known = known_lessons(season)
    here = places[0].latitude_deg, places[0].longitude_deg
    return Learned(
        prior=own_prior(known, here_deg=here),
        known=known,
        here_deg=here,
        cargos=tuple(dict.fromkeys(place.cargo for place in places)),
        file=hunt_file.learned_from,
    )


def known_lessons(season: SeasonFile) -> tuple[Known, ...]:
    """Return the lessons of a season as the survey takes them."""
    from treeward.survey.own_prior import Known, Lesson

    return tuple(
        Known(
            lesson=Lesson(
                cargos=one.cargos,
                trips=one.trips,
                bearings=one.bearings,
                precision=np.array(one.precision),
                weighted=np.array(one.weighted),
                offsets=tuple(
                    (index, offset.precision, offset.weighted)
                    for index, offset in enumerate(one.offsets)
                    if offset.precision > 0
                ),
            ),
            latitude_deg=one.latitude_deg,
            longitude_deg=one.longitude_deg,
            observers=tuple(offset.observer for offset in one.offsets),
        )
        for one in season.lessons
    )
