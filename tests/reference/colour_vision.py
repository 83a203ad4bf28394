"""How far apart the classes of the maps stay for eyes that see colors otherwise, and in gray print.

usage: colour_vision.py FOLDER LEGEND.json
  FOLDER holds county_week.style.json and county_week.qml; LEGEND.json is what read_legend.mjs prints.

Prints JSON: of each map the least distances, and what is too close. Distances are CAM02-UCS (Luo, Cui and Li 2006,
Color Research and Application 31: 320-330); the deficiencies are simulated after Machado, Oliveira and Fernandes
2009 (IEEE Transactions on Visualization and Computer Graphics 15: 1291-1298) at full severity; both as the
library colorspacious has them.
"""

import itertools
import json
import pathlib
import re
import sys
import xml.etree.ElementTree as tree

import numpy
from colorspacious import cspace_convert, deltaE

# Two steps of a scale are told apart by most people from about 10 on, side by side (standard practice; no published source);
# the map's steps of BuPu keep it for every eye, and more where the classes come to the threshold.
FLOOR = 10.0
# Gray paper has lightness alone. About 2 is just noticeable (from memory); three times that is asked for.
FLOOR_GRAY = 6.0
# Marks on their ground must be seen as marks.
FLOOR_MARKS = 20.0


def as_seen(color, vision):
    linear = cspace_convert(numpy.array(color[:3], dtype=float), "sRGB255", "sRGB1-linear")
    if vision == "gray":
        # Relative luminance, as WCAG 2.2 and a printer's driver weigh it (ITU-R BT.709).
        linear = numpy.full(3, linear @ [0.2126, 0.7152, 0.0722])
        return cspace_convert(linear, "sRGB1-linear", "sRGB1")
    plain = cspace_convert(linear, "sRGB1-linear", "sRGB1")
    if vision == "usual":
        return plain
    space = {"name": "sRGB1+CVD", "cvd_type": vision, "severity": 100}
    return numpy.clip(cspace_convert(plain, space, "sRGB1"), 0, 1)


VISIONS = ["usual", "protanomaly", "deuteranomaly", "tritanomaly", "gray"]


def far(one, other, vision):
    return float(deltaE(as_seen(one, vision), as_seen(other, vision), input_space="sRGB1"))


def lightness(color, vision):
    return float(cspace_convert(as_seen(color, vision), "sRGB1", "CAM02-UCS")[0])


def judge(classes):
    """Classes in the order of the legend; the scale comes first, the first of it the lightest."""
    scale = [entry for entry in classes if not entry["off_scale"]]
    apart = [entry for entry in classes if entry["off_scale"]]
    assert len(scale) == 7 and len(apart) == 4, [entry["words"] for entry in classes]
    least, close = {}, []
    for vision in VISIONS:
        floor = FLOOR_GRAY if vision == "gray" else FLOOR
        steps = [far(one["ground"], other["ground"], vision) for one, other in itertools.combinations(scale, 2)]
        least[vision] = round(min(steps), 1)
        for one, other in itertools.combinations(scale, 2):
            distance = far(one["ground"], other["ground"], vision)
            if distance < floor and one["outline"] == other["outline"]:
                close.append(f"{vision}: {one['words']} and {other['words']}: {distance:.1f}")
        light = [lightness(entry["ground"], vision) for entry in scale]
        if light != sorted(light, reverse=True):
            close.append(f"{vision}: the scale does not darken step by step: {[round(step) for step in light]}")
        for entry in apart:
            if entry["shape"] and far(entry["ground"], entry["marks"], vision) < FLOOR_MARKS:
                close.append(f"{vision}: the marks of {entry['words']} are faint")
        for one, other in itertools.chain(itertools.product(scale, apart), itertools.combinations(apart, 2)):
            distance = far(one["ground"], other["ground"], vision)
            if distance < floor and one["shape"] == other["shape"]:
                close.append(f"{vision}: {one['words']} and {other['words']}: {distance:.1f} and no mark")
    return {"least": least, "close": close, "grounds": [entry["ground"][:3] for entry in classes]}


OFF_SCALE = re.compile("3 or 4 fields|another crop stage|no figures")
# Every county of these classes has a field at threshold, and so the outline.
OUTLINED = re.compile("at or above (threshold|the risk level)|1 or more at (threshold|the risk level)")


def of_page(legend):
    return [dict(entry, off_scale=bool(OFF_SCALE.search(entry["words"]))) for entry in legend]


def hexadecimal(color):
    digits = color.lstrip("#")
    digits = digits if len(digits) == 6 else "".join(digit * 2 for digit in digits)
    return [int(digits[place:place + 2], 16) for place in (0, 2, 4)]


def of_maplibre(style):
    """The dashes along its border are the marks of a class; the outline is of counties with a field at threshold."""
    layers = style["layers"]
    marked = {layer["id"].removesuffix("-dashes"): layer for layer in layers if layer["id"].endswith("-dashes")}
    outlined = next(layer for layer in layers if layer["id"] == "at-threshold")
    assert [">", ["get", "at_threshold_min"], 0] in outlined["filter"], outlined["filter"]
    classes = []
    for layer in layers:
        if layer["type"] != "fill":
            continue
        marks = marked.get(layer["id"])
        classes.append({
            "words": layer["metadata"]["words"],
            "ground": hexadecimal(layer["paint"]["fill-color"]),
            "marks": marks and hexadecimal(marks["paint"]["line-color"]),
            "shape": marks and str(marks["paint"]["line-dasharray"]),
            "outline": bool(OUTLINED.search(layer["metadata"]["words"])),
            "off_scale": bool(OFF_SCALE.search(layer["metadata"]["words"])),
        })
    return classes


def of_qgis(root):
    """A brush over the ground is the marks; the last rule of a protocol draws the outline. One protocol is looked at."""
    symbols = {symbol.get("name"): symbol for symbol in root.iter("symbol")}
    classes = []
    rules = list(root.find("renderer-v2/rules/rule"))
    outline = rules.pop()
    assert outline.get("filter") == '"at_threshold_min" > 0', outline.get("filter")
    for rule in rules:
        layers = []
        for layer in symbols[rule.get("symbol")].iter("layer"):
            options = {option.get("name"): option.get("value") for option in layer.iter("Option") if option.get("name")}
            layers.append(options)
        color = lambda options: [int(part) for part in options["color"].split(",")][:3]
        brushes = [options for options in layers if options["style"] not in ("solid", "no")]
        classes.append({
            "words": rule.get("label"),
            "ground": color(layers[0]),
            "marks": color(brushes[0]) if brushes else None,
            "shape": brushes[0]["style"] if brushes else None,
            "outline": bool(OUTLINED.search(rule.get("label"))),
            "off_scale": bool(OFF_SCALE.search(rule.get("label"))),
        })
    return classes


folder, legend = pathlib.Path(sys.argv[1]), json.loads(pathlib.Path(sys.argv[2]).read_text())
told = {f"page, {view}": judge(of_page(entries)) for view, entries in legend.items()}
told["MapLibre"] = judge(of_maplibre(json.loads((folder / "county_week.style.json").read_text())))
told["QGIS"] = judge(of_qgis(tree.parse(folder / "county_week.qml").getroot()))
print(json.dumps(told))
