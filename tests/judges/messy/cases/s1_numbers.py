"""S: numbers and days as other programs and people write them."""

import datetime

import writers
from kit import bad_cell, sheet_case
from one_cell import bad_one, column, everywhere
from sheet import Sheet
from visits import visits, without

THOUSANDS = 'decimalChar = "."\ngroupChar = ","'
COMMA = 'decimalChar = ","\ngroupChar = "."'


def cases():
    return [*numbers(), *dates()]


def numbers():
    return [
        everywhere(
            "numbers-as-text", "every number of a workbook is a text cell", lambda value: str(value), name="sheet.xlsx"
        ),
        everywhere(
            "no-break-spaces",
            "every number of a text has a no-break space before and behind",
            lambda value: f"\u00a0{value}\u00a0",
        ),
        column(
            "thousands-comma",
            "20,000 plants, and groupChar says so",
            "stand",
            lambda value: f"{value:,}",
            schema=THOUSANDS,
        ),
        column(
            "thousands-space",
            "20 000 plants with a no-break space",
            "stand",
            lambda value: f"{value:,}".replace(",", "\u00a0"),
            schema='decimalChar = "."\ngroupChar = " "',
        ),
        column(
            "thousands-thin",
            "20 000 plants with a narrow no-break space",
            "stand",
            lambda value: f"{value:,}".replace(",", "\u202f"),
            schema='decimalChar = "."\ngroupChar = " "',
        ),
        column(
            "thousands-apostrophe",
            "20'000 plants",
            "stand",
            lambda value: f"{value:,}".replace(",", "'"),
            schema='decimalChar = "."\ngroupChar = "\'"',
        ),
        commas(),
        bad_group(),
        column("full-width-digits", "counts in full-width digits", "S1H1B2", lambda value: chr(0xFF10 + value)),
        bad_one("arabic-digit", "a count in another script's digit", "S1H1B2", "\u0663", "counts"),
        column(
            "minus-sign",
            "longitudes with the minus sign U+2212",
            "lon",
            lambda value: str(value).replace("-", "\u2212"),
        ),
        column(
            "en-dash-minus",
            "longitudes with an en dash for minus",
            "lon",
            lambda value: str(value).replace("-", "\u2013"),
        ),
        bad_one("nan", "NaN as a count", "S1H1B2", "NaN", "counts"),
        bad_one("infinity", "inf as a cost", "cost", "inf", "treatment_cost"),
        bad_one("hex", "0x10 as a count", "S1H1B2", "0x10", "counts"),
        bad_one("letter-l", "the letter l for 1", "S1H1B2", "l", "counts"),
        bad_one("letter-o", "the letter O for 0", "S1H1B2", "O", "counts"),
        bad_one("tally", "a tally ||| for a count", "S1H1B2", "|||", "counts"),
        bad_one("word", "two for a count", "S1H1B2", "two", "counts"),
        bad_one("hash-marks", "##### pasted for a date", "date", "#####", "observed_on"),
        bad_one("na-error", "#N/A as a count", "S1H1B2", "#N/A", "counts"),
        bad_one("zero-price", "a price of 0", "price", 0, "market_value"),
        bad_one("price-per-hundred", "a price of 16 where $0.16 is usual", "price", 16, "market_value"),
        bad_one("zero-area", "an area of 0", "area", 0, "area_ha"),
        bad_one("area-of-county", "an area of 250000 acres", "area", 250000, "area_ha"),
        bad_one(
            "plants-in-thousands", "20 plants an acre in a column of thousands of them", "stand", 20, "plant_population"
        ),
        column(
            "scientific-plants",
            "20000 plants as 2e+04, as R writes it",
            "stand",
            lambda value: f"{value:.4g}e+00" if value % 1000 else f"{value // 1000}e+03",
        ),
        column("float-noise", "0.1 + 0.2 as a spreadsheet writes it", "lon", lambda value: f"{value:.13f}"),
        column(
            "counts-with-point",
            "counts as 3.0, as a statistics program writes them",
            "S1H1B2",
            lambda value: f"{value}.0",
        ),
    ]


def commas():
    truth = visits()
    sheet = Sheet(truth)
    for name in ("lon", "lat", "cost", "price", "area"):
        sheet.all(name, lambda value: str(value).replace(".", ","))
    sheet.all("stand", lambda value: f"{value:,}".replace(",", "."))
    return sheet_case(
        "S-decimal-commas",
        "decimal commas and points for thousands, semicolons",
        sheet,
        truth,
        schema=COMMA,
        write=lambda path, grid: writers.by_csv(path, grid, ";"),
    )


def bad_group():
    """20.000 where the mapping says that the point is a decimal one."""
    truth = visits()
    sheet = Sheet(truth).set(2, "stand", "21.500")
    return sheet_case(
        "S-thousands-unexplained",
        "21.500 plants where the point is the decimal character",
        sheet,
        without(truth, 2),
        [bad_cell(sheet, 2, "stand", "plant_population", truth[2])],
    )


def dates():
    return [
        excel_1904(),
        serial_numbers(),
        serial_explained(),
        clock_in_date_cell(),
        xls_dates(),
        ods_dates(),
        by_libreoffice("xls"),
        by_libreoffice("ods"),
        by_libreoffice("xlsx"),
    ]


def dated():
    truth = visits()
    return truth, Sheet(truth).all("date", datetime.date.fromisoformat)


def excel_1904():
    truth, sheet = dated()
    write = lambda path, grid: writers.by_openpyxl(path, grid, epoch_1904=True)
    return sheet_case(
        "S-epoch-1904", "a workbook that counts days from 1904", sheet, truth, name="sheet.xlsx", write=write
    )


def serial(day):
    return (datetime.date.fromisoformat(day) - datetime.date(1899, 12, 30)).days


def serial_numbers():
    truth = visits()
    sheet = Sheet(truth).all("date", serial)
    bad = [bad_cell(sheet, row, "date", "observed_on", visit) for row, visit in enumerate(truth)]
    return sheet_case("S-serial-unexplained", "days as 46223, and the mapping says nothing of it", sheet, [], bad)


def serial_explained():
    truth = visits()
    return sheet_case(
        "S-serial-explained",
        "days as 46223, and dateSystem = 1900",
        Sheet(truth).all("date", serial),
        truth,
        schema='decimalChar = "."\ndateSystem = 1900',
    )


def clock_in_date_cell():
    truth = visits()
    sheet = Sheet(truth).all("date", lambda day: datetime.datetime.fromisoformat(f"{day}T09:30:00"))
    return sheet_case("S-date-cell-with-clock", "date cells with a time of day", sheet, truth, name="sheet.xlsx")


def xls_dates():
    truth, sheet = dated()
    return sheet_case("S-xls-dates", "date cells of an old workbook", sheet, truth, name="sheet.xls")


def ods_dates():
    truth, sheet = dated()
    return sheet_case("S-ods-dates", "date cells of an open document", sheet, truth, name="sheet.ods")


def by_libreoffice(form):
    truth, sheet = dated()

    def write(path, grid):
        source = path.with_name("source.xlsx")
        writers.by_openpyxl(source, grid)
        writers.by_libreoffice(source, path)
        source.unlink()

    return sheet_case(
        f"S-libreoffice-{form}", f"saved as {form} by LibreOffice", sheet, truth, name=f"sheet.{form}", write=write
    )
