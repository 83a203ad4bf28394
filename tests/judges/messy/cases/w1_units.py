"""W1: amounts with another currency, cents, another area or weight than the column's unit, with bareNumber = false."""

from kit import bad_cell, sheet_case
from sheet import Sheet
from visits import changed, visits, without

ECONOMICS = {
    "cost": ("treatment_cost", 'unit = "$/acre"\nbareNumber = false'),
    "price": ("market_value", 'unit = "$/lb"\nbareNumber = false'),
    "stand": ("plant_population", 'unit = "1/acre"\nbareNumber = false'),
    "area": ("area_ha", 'unit = "acre"\nbareNumber = false'),
}
DOLLARS = {
    "/economics/treatment_cost/currency": '"USD"',
    "/economics/market_value/currency": '"USD"',
}


def cases():
    return [*foreign(), *cents(), *per_what(), *as_meant(), *odd()]


def one_cell(id, column, written, meant=None, exact=False, story=None):
    """The third row has one cell of another kind. `meant` is what a person reads; None: it may not be accepted."""
    truth = visits()
    sheet = Sheet(truth).set(2, column, written)
    member, how = ECONOMICS[column]
    money = {"cost": ECONOMICS["cost"][1], "price": ECONOMICS["price"][1]}
    if exact:
        money = {name: lines.replace("$", "USD") for name, lines in money.items()}
    # The sheets say $ in every cell of the column, which is why the mapping says bareNumber = false.
    if column in ("cost", "price"):
        sheet.all(column, lambda value: value if isinstance(value, str) else f"${value:.3f}".rstrip("0"))
    bad = []
    if meant is None:
        bad = [bad_cell(sheet, 2, column, member, truth[2])]
        truth = without(truth, 2)
    else:
        truth[2] = changed(truth[2], **{member: meant})
    constant = None if exact else DOLLARS
    story = story or f"{sheet.headers[column]} says {written!r} in one row, and bareNumber = false"
    return sheet_case(f"W1-{id}", story, sheet, truth, bad, how={column: how} | money, constant=constant)


def foreign():
    return [
        one_cell("euro-per-acre", "cost", "8.00 EUR/ac"),
        one_cell("euro-sign", "cost", "€8.00"),
        one_cell("euro-exact-unit", "cost", "8.00 EUR/ac", exact=True),
        one_cell("canadian-before", "price", "CAD 0.25"),
        one_cell("canadian-dollar", "cost", "C$ 8"),
        one_cell("canadian-behind", "cost", "8.00 CDN"),
        one_cell("pound-sterling", "cost", "£8.00"),
        one_cell("pesos", "cost", "MXN 140"),
        one_cell("pesos-dollar", "cost", "MX$140"),
        one_cell("australian", "cost", "A$9.50", exact=True),
    ]


def cents():
    return [
        one_cell("cent-sign", "price", "17 ¢", (0.17, "lb", "USD")),
        one_cell("three-cents", "price", "3 ¢", (0.03, "lb", "USD")),
        one_cell("cents-word", "price", "17.5 cents", (0.175, "lb", "USD")),
        one_cell("cents-exact-unit", "price", "17.5¢/lb", (0.175, "lb", "USD"), exact=True),
        one_cell("c-per-pound", "price", "17.5c/lb", (0.175, "lb", "USD")),
    ]


def per_what():
    return [
        one_cell("per-hectare-words", "cost", "8.00 per hectare"),
        one_cell("per-ha-sign", "cost", "$8.00/ha"),
        one_cell("per-kilogram", "price", "$0.35/kg"),
        one_cell("per-kilo-word", "price", "0.35 a kilo"),
        one_cell("per-hundredweight", "price", "$17.50/cwt", (0.175, "lb", "USD")),
        one_cell("per-hundredweight-words", "price", "17.50 per hundred", (0.175, "lb", "USD")),
        one_cell("per-bushel", "price", "$4.50/bu"),
        one_cell("per-tonne", "price", "$385 per tonne"),
        one_cell("per-field", "cost", "$800 whole field"),
        one_cell("plants-per-hectare", "stand", "53000 per hectare"),
        one_cell("plants-per-row", "stand", "12 per 10 ft of row"),
        one_cell("hectares-in-acres", "area", "64.75 ha"),
        one_cell("sections", "area", "1 section"),
    ]


def as_meant():
    """What the text next to the number only repeats: it must be read, not held."""
    return [
        one_cell("dollar-per-acre", "cost", "$8.25/ac", (8.25, "acre", "USD")),
        one_cell("dollar-per-acre-words", "cost", "$ 8.25 per acre", (8.25, "acre", "USD")),
        one_cell("us-dollar", "cost", "US$ 8.25", (8.25, "acre", "USD")),
        one_cell("usd-behind", "cost", "8.25 USD", (8.25, "acre", "USD")),
        one_cell("acres-word", "area", "160 acres", 160 * 0.40468564224),
        one_cell("plants-word", "stand", "21500 plants/acre", (21500, "acre")),
    ]


def odd():
    return [
        one_cell("two-amounts", "cost", "$8.00 + $2 aerial"),
        one_cell("twice", "cost", "2 x $4.13"),
        one_cell("about", "cost", "about 8"),
        one_cell("thousands-k", "stand", "21.5k", (21500, "acre")),
        one_cell("credit", "cost", "($8.25)"),
    ]
