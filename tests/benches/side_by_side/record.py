"""The visit record for msgspec, whose decoder in C checks types, ranges, lengths, forms and unknown members.

Polars refuses a whole file for one line that is no JSON, so its script asks line by line first. Repeated
members msgspec does not see, and a whole number written 3.0, which the schema takes, it refuses.
"""

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from common import DAY, INSTANT, STAGE

CONTROL = r"\x00-\x1f\x7f-\x9f"
Text = Annotated[
    str, Meta(min_length=1, max_length=200, pattern=rf"^[^ {CONTROL}]([^{CONTROL}]*[^ {CONTROL}])?$")
]
Remarks = Annotated[str, Meta(max_length=4000, pattern=r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$")]
Whole = Annotated[int, Meta(ge=1, le=1_000_000)]
Bracts = Annotated[list[Annotated[int, Meta(ge=0, le=1_000_000)]], Meta(min_length=6, max_length=6)]
Lon = Annotated[float, Meta(ge=-180, le=180)]
Lat = Annotated[float, Meta(ge=-90, le=90)]
Amount = Annotated[float, Meta(gt=0, le=1e9)]
Ring = Annotated[list[tuple[Lon, Lat]], Meta(min_length=4, max_length=10_000)]


class Strict(Struct, forbid_unknown_fields=True):
    """No member but those named."""


class Outline(Strict):
    type: Literal["Polygon"]
    coordinates: Annotated[list[Ring], Meta(min_length=1, max_length=10_000)]


class Field(Strict):
    field_id: Text
    lon: Lon
    lat: Lat
    area_ha: Amount
    crop_type: Literal["oilseed", "confection", "bird-food", "dehull"]
    farm_id: Text | UnsetType = UNSET
    county_id: Text | UnsetType = UNSET
    outline: Outline | UnsetType = UNSET


class TreatmentCost(Strict):
    amount: Amount
    per: Literal["acre", "ha"]
    currency: Literal["USD"]


class MarketValue(Strict):
    amount: Amount
    per: Literal["lb", "kg"]
    currency: Literal["USD"]


class PlantPopulation(Strict):
    count: Amount
    per: Literal["acre", "ha"]


class Economics(Strict):
    treatment_cost: TreatmentCost
    market_value: MarketValue
    plant_population: PlantPopulation


class Site(Strict):
    site: Whole
    heads: Annotated[list[Bracts], Meta(min_length=1, max_length=10_000)]
    side: Text | UnsetType = UNSET
    lon: Lon | UnsetType = UNSET
    lat: Lat | UnsetType = UNSET


class Visit(Strict):
    schema_version: Literal["1.0"]
    visit_id: Text
    revision: Whole
    observed_on: Annotated[str, Meta(pattern=DAY)]
    submitted_at: Annotated[str, Meta(pattern=INSTANT)]
    observer_id: Text
    field: Field
    protocol: Literal["bsm-eggs"]
    crop_stage: Annotated[str, Meta(pattern=STAGE)]
    economics: Economics
    sites: Annotated[list[Site], Meta(min_length=1, max_length=10_000)]
    remarks: Remarks | UnsetType = UNSET
    retracted: bool | UnsetType = UNSET
