"""What the survey took for granted in this hunt, and where each figure is from."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from treeward.survey import timing
from treeward.survey.records import Settings
from treeward.units import Units

if TYPE_CHECKING:
    from collections.abc import Mapping

    from treeward.survey.records import Cargo

    from .model import HuntResult

HUNT_TOML = "hunt.toml"
OWN_FINDS = "own found hunts (learned_from in hunt.toml)"
_WENNER = "Wenner 1963, J. Apic. Res. 2:25-32"
_GUESS = "guess"
# Field of survey.Settings -> its name on the page, and where its default is from.
SOURCES: Mapping[str, tuple[str, str]] = {
    "flight_speed_out_mps": ("flight speed, from the hive to the station", _WENNER),
    "flight_speed_home_mps": ("flight speed home, with a load", _WENNER),
    "flight_speed_factor": (
        "share of these speeds that bees of a hunt fly at, median",
        "means of several publications run from 0.85 to 1.1 of Wenner's",
    ),
    "flight_speed_factor_sd": (
        "spread of its logarithm",
        "means of several publications run from 0.85 to 1.1 of Wenner's",
    ),
    "flight_speed_out_sd": ("spread of the log speed from the hive", _GUESS),
    "flight_speed_home_sd": ("spread of the log speed home", _GUESS),
    "in_hive_factor": (
        "share of these times that a hunt's bees stay, median",
        "guess within what the published rules imply",
    ),
    "in_hive_factor_sd": (
        "spread of its logarithm",
        "guess within what the published rules imply",
    ),
    "compass_sd_deg": ("offset of a compass and its reader, spread", _GUESS),
    "station_sd_deg": ("deviation of a station's line, spread", _GUESS),
    "station_tail_share": ("share of stations whose line deviates a lot", _GUESS),
    "station_tail_sd_deg": ("deviation of those, spread", _GUESS),
    "bee_line_sd_deg": ("deviation of a bee's line, spread", _GUESS),
    "circling_m": ("width of departing circles and of a GPS position", _GUESS),
    "wind_compensation": ("share of the wind that bees make up for", _GUESS),
    "wind_compensation_sd": ("spread of that share, hunt to hunt", _GUESS),
    "bearing_sd_deg": (
        "spread of single bearings, median",
        "common practice: 5 to 10 degrees by hand",
    ),
    "distance_median_m": (
        "distance of colonies, median",
        "BEEBOOK 4.2.4.2 (Human et al. 2013): usually less than a kilometre",
    ),
    "distance_sigma": (
        "spread of its logarithm",
        "Visscher and Seeley 1982, Ecology 63:1790",
    ),
    "distance_cut_m": (
        "distance at which the search stops",
        "Visscher and Seeley 1982, Ecology 63:1790: 95 % of foraging",
    ),
    "walk_limit_m": ("longest walk to the next station", "choice"),
}
_IN_HIVE_SOURCES: Mapping[Cargo, str] = {
    "water": "guess between 73 and 198 s, which the published rules imply",
    "syrup": "common practice: unloading takes 2 to 3 minutes",
    "nectar": "116 s of unloading (Seeley 1994) and the way to the dance floor",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingRow:
    """A figure that the answer rests on, as the page shows it."""

    name: str
    value: str
    source: str


def settings_rows(result: HuntResult) -> list[SettingRow]:
    """Return every figure in force, with its unit and its source."""
    units = Units(result.hunt_file.hunt.units)
    rows = []
    for field, (name, _) in SOURCES.items():
        value = _in_force(result.settings, field)
        if value is None:
            continue
        rows.append(
            SettingRow(
                name=_of_one_way(result.settings, field) or name,
                value=_text(field, value, units),
                source=source_of(result, field),
            )
        )
    for cargo, (seconds, source) in _in_hive(result).items():
        name = f"time in the hive with {cargo}, median"
        rows.append(SettingRow(name=name, value=f"{seconds:.0f} s", source=source))
    said = speeds_given(result.settings)
    if (own := result.settings.learned) is not None:
        rows += [
            SettingRow(
                name=f"{name}, as own hunts had it",
                value=f"{math.exp(middle):.3g}, sd of its logarithm {spread:.2g}",
                source=OWN_FINDS,
            )
            for name, middle, spread, given in (
                ("share of these speeds", own.ln_f, own.ln_f_sd, any(said)),
                (
                    "share of these times in the hive",
                    own.ln_g,
                    own.ln_g_sd,
                    bool(result.settings.in_hive_s),
                ),
            )
            if not given  # what the person says stands before it
        ]
    return rows


def settings_dict(result: HuntResult) -> dict[str, Any]:
    """Return the same for result.json: name -> value and source."""
    found = {
        field: {"value": _rounded(value), "source": source_of(result, field)}
        for field in SOURCES
        if (value := _in_force(result.settings, field)) is not None
    }
    found["in_hive_s"] = {
        cargo: {"value": _rounded(seconds), "source": source}
        for cargo, (seconds, source) in _in_hive(result).items()
    }
    if (own := result.settings.learned) is not None:
        found["own_factors"] = {
            name: _rounded(value) for name, value in asdict(own).items()
        } | {"source": OWN_FINDS}
    return found


def speeds_given(settings: Settings) -> tuple[bool, bool]:
    """Tell of the flight out and the flight home whether the person gave its speed."""
    return (
        settings.flight_speed_out_sd is not None,
        settings.flight_speed_home_sd is not None,
    )


def _in_force(settings: Settings, field: str) -> float | None:
    """Return a figure; None where it is not given, or the survey does not go by it."""
    shared = field in {"flight_speed_factor", "flight_speed_factor_sd"}
    if shared and all(speeds_given(settings)):  # each way has its own (timing)
        return None
    value: float | None = getattr(settings, field, None)
    return value


def _of_one_way(settings: Settings, field: str) -> str:
    """Return the name of the share of speed where one way alone goes by it."""
    out, home = speeds_given(settings)
    if field != "flight_speed_factor" or out == home:
        return ""
    way = "home" if out else "from the hive"
    return f"share of the speed {way} that bees of a hunt fly at, median"


def source_of(result: HuntResult, field: str) -> str:
    """Say where a setting in force is from: hunt.toml where it is no default."""
    given = field == "walk_limit_m" and result.hunt_file.walk.limit_m is not None
    changed = getattr(result.settings, field) != getattr(Settings(), field)
    by_hand = result.hunt_file.model.compass_sd_deg is not None
    if field == "compass_sd_deg" and changed and result.own_prior and not by_hand:
        return OWN_FINDS
    return HUNT_TOML if given or changed else SOURCES[field][1]


def _in_hive(result: HuntResult) -> dict[str, tuple[float, str]]:
    """Return the in-hive time by cargo of the stations, and its source."""
    settings = result.settings
    cargos = dict.fromkeys(place.cargo for place in result.stations)
    return {
        cargo: (
            # What the factor multiplies; with an override the median itself.
            timing.in_hive_median_s(cargo, settings),
            HUNT_TOML if cargo in settings.in_hive_s else _IN_HIVE_SOURCES[cargo],
        )
        for cargo in cargos
    }


def _text(field: str, value: float, units: Units) -> str:
    if field.endswith("_mps"):
        metric = f"{value:.2f} m/s, " if units.system == "metric" else ""
        return f"{metric}{units.speed(value)}"
    if field.endswith("_deg"):
        return f"{value:.3g}°"
    if field.endswith("_m"):
        return units.distance(value)
    return f"{value:.3g}"


def _rounded(value: float) -> float:
    return round(float(value), 4)
