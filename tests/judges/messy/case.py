"""A case: files as an office sends them, the commands that it runs, and what a careful person reads out of them."""

from dataclasses import dataclass, field
from typing import Callable

# The words by which a message may name a member: its name in the record, and the usual words for it.
MEMBER_WORDS = {
    "field_id": ["field_id", "field"],
    "observed_on": ["observed_on", "date", "day", "season", "visit long before"],
    "observer_id": ["observer", "scout"],
    "submitted_at": ["submitted_at", "submitted", "hand-in", "handed in"],
    "lon": ["lon", "point", "place", "easting"],
    "lat": ["lat", "point", "place", "northing"],
    "area_ha": ["area"],
    "crop_type": ["crop_type", "crop"],
    "crop_stage": ["crop_stage", "stage"],
    "treatment_cost": ["treatment_cost", "cost"],
    "market_value": ["market_value", "price", "value"],
    "plant_population": ["plant_population", "plants", "stand"],
    "counts": ["count", "heads", "bract", "eggs", "unit-total"],
    "visit_id": ["visit_id", "visit"],
    "file": [],
}


@dataclass
class Bad:
    """What must not be accepted as it is written: the member, the places that a message may name it by, and the visit.

    `words` are further names of the member; of a file that is no table, what a message must say that it is.
    `unless` is a visit that may be accepted instead: a second right reading.
    """

    member: str
    where: list
    visit: tuple | None = None
    words: list = field(default_factory=list)
    unless: dict | None = None


@dataclass
class Case:
    """`make(folder)` writes the files; `steps` are arguments of bractline, or functions that take the run."""

    id: str
    story: str
    make: Callable
    steps: list
    truth: list = field(default_factory=list)
    bad: list = field(default_factory=list)
    # Further checks of the store, each giving what is wrong in words.
    checks: list = field(default_factory=list)
    # Words, one of which a message must have if not all of the truth is stored: the way on.
    way: list = field(default_factory=list)
    held_at_most: int | None = None
    tolerance: float = 1e-6
    # Checks like `checks`, for what is said and not for what is stored.
    clear: list = field(default_factory=list)

    @property
    def kind(self):
        return self.id.split("-", 1)[0]
