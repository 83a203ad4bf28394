"""G: the mapping is the draft of `check --suggest`, in which an office has answered what it asks."""

from pathlib import Path

import drafts
import writers
from case import Bad, Case
from kit import load
from sheet import Sheet
from visits import SUBMITTED, changed, visits

CONSTANTS = {
    "/protocol": "bsm-eggs",
    "/submitted_at": SUBMITTED,
    # Headers say $; the draft asks whose.
    "/economics/treatment_cost/currency": "USD",
    "/economics/market_value/currency": "USD",
}
# What an office answers for a column with this header.
ANSWERS = {
    "Field": {"to": "/field/field_id"},
    "Date": {"to": "/observed_on", "format": "default"},
    "Scout": {"to": "/observer_id"},
    "Lon": {"to": "/field/lon"},
    "Lat": {"to": "/field/lat"},
    "Area (ac)": {"to": "/field/area_ha", "unit": "acre"},
    "Crop": {"to": "/field/crop_type"},
    "Stage": {"to": "/crop_stage"},
    "Cost ($/ac)": {"to": "/economics/treatment_cost/amount", "unit": "USD/acre"},
    "Price ($/lb)": {"to": "/economics/market_value/amount", "unit": "USD/lb"},
    "Plants/ac": {"to": "/economics/plant_population/count", "unit": "1/acre"},
    "Site": {"to": "/sites/{site}/site"},
    "Head": {"to": "{head}"},
    "Bract": {"to": "{bract}"},
    "Eggs": {"to": "/sites/{site}/heads/{head}/{bract}"},
}
WIDE = "^S(?<site>[0-9]+)H(?<head>[0-9]+)B(?<bract>[0-9]+)$"
FRENCH = {
    "field": "Champ",
    "date": "Date de visite",
    "scout": "Observateur",
    "lon": "Longitude",
    "lat": "Latitude",
    "area": "Superficie (ha)",
    "crop": "Culture",
    "stage": "Stade",
    "cost": "Coût ($/ha)",
    "price": "Prix ($/kg)",
    "stand": "Plantes/ha",
}
SPANISH = {
    "field": "Lote",
    "date": "Fecha",
    "scout": "Observador",
    "lon": "Longitud",
    "lat": "Latitud",
    "area": "Superficie (ha)",
    "crop": "Cultivo",
    "stage": "Estadio",
    "cost": "Costo (USD/ha)",
    "price": "Precio (USD/kg)",
    "stand": "Plantas/ha",
}
METRIC = {"area": "ha", "cost": "USD/ha", "price": "USD/kg", "stand": "1/ha"}


def cases():
    return [
        drafted("wide", "one row a visit", Sheet(visits())),
        drafted("head", "one row a head", Sheet(visits(), "head"), pattern="^B(?<bract>[0-9]+)$"),
        drafted("bract", "one row a bract", Sheet(visits(2), "bract"), visits(2)),
        drafted("workbook", "one row a visit, as a workbook", Sheet(visits()), name="sheet.xlsx"),
        drafted("title-above", "two title rows above the header", titled()),
        us_dates(),
        european_dates(),
        dollars_in_cells(),
        metric("french", "French headers", FRENCH),
        metric("spanish", "Spanish headers", SPANISH),
        unanswered(),
    ]


def drafted(id, story, sheet, truth=None, *, name="sheet.csv", pattern=WIDE, columns=None, answer=True):
    def make(folder):
        (writers.by_csv if name.endswith("csv") else writers.by_openpyxl)(folder / name, sheet.grid())

    def draft(run):
        done = run.bractline("check", "--suggest", name)
        text = done.stdout
        if answer:
            text = drafts.answered(text, CONSTANTS, ANSWERS | (columns or {}), pattern)
        Path(run.path, "sheet.toml").write_text(text, "utf-8")

    return Case(
        f"G-{id}", f"draft answered: {story}", make, [draft, load(name, at=False)], visits() if truth is None else truth
    )


def titled():
    sheet = Sheet(visits())
    sheet.above = [["Egg counts of the north office"], []]
    return sheet


def us_dates():
    sheet = Sheet(visits()).all("date", lambda day: f"{int(day[5:7])}/{int(day[8:])}/{day[:4]}")
    return drafted(
        "us-dates", "days as 7/20/2026", sheet, columns={"Date": {"to": "/observed_on", "format": "%m/%d/%Y"}}
    )


def european_dates():
    sheet = Sheet(visits()).all("date", lambda day: f"{day[8:]}.{day[5:7]}.{day[:4]}")
    return drafted(
        "european-dates", "days as 20.07.2026", sheet, columns={"Date": {"to": "/observed_on", "format": "%d.%m.%Y"}}
    )


def dollars_in_cells():
    """The draft sees the $ of cells."""
    sheet = Sheet(visits()).all("cost", lambda cost: f"${cost:.2f}")
    return drafted("dollars-in-cells", "costs as $8.00", sheet)


def metric(id, story, names):
    """Hectares and kilograms under headers in another language."""
    truth = []
    for visit in visits():
        cost, price, stand = visit["treatment_cost"][0], visit["market_value"][0], visit["plant_population"][0]
        truth.append(
            changed(
                visit,
                acres=visit["acres"] / 2,
                area_ha=visit["acres"] / 2,
                treatment_cost=(cost * 2, "ha", "USD"),
                market_value=(price * 2, "kg", "USD"),
                plant_population=(stand * 2, "ha"),
            )
        )
    sheet = Sheet(truth)
    answers = {}
    for column, header in names.items():
        usual = next(lines for key, lines in ANSWERS.items() if key == sheet.headers[column])
        answers[header] = usual | ({"unit": METRIC[column]} if column in METRIC else {})
        sheet.rename(column, header)
    return drafted(id, story, sheet, truth, columns=answers)


def unanswered():
    """The draft as it came, with nothing answered, must not be applied."""
    made = drafted("unanswered", "nothing answered", Sheet(visits()), [], answer=False)
    made.bad = [Bad("file", ["sheet.toml"], None, ["?"])]
    return made
