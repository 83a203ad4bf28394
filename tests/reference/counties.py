"""The county of many points, found by another road: shapely and plain json, no code of the program.

    counties.py BOUNDARIES STATES POINTS SEED GEOJSON

reads the built-in TopoJSON, keeps the states (two-digit codes, separated by commas), and prints one
line a point: kind, longitude, latitude, county (or "-"). Kinds: `random` (POINTS of them, spread over
the boxes of the states), `vertex` (every vertex of every border), `segment` (a quarter, a half and three
quarters of the way along every border segment). The county is the lowest id whose shape covers the point. The counties are also
written to GEOJSON, in the winding of the source, for the program to read back.

Needs numpy and shapely 2.
"""

import json
import random
import sys

import numpy
import shapely


def read_counties(path, states):
    """(id, name, polygons) of each county; a polygon is its rings, a ring its positions in degrees."""
    with open(path, encoding="utf-8") as file:
        topology = json.load(file)
    (scale_x, scale_y), (move_x, move_y) = (
        topology["transform"]["scale"],
        topology["transform"]["translate"],
    )

    def positions(arc):
        east = north = 0
        for step_east, step_north in topology["arcs"][arc]:
            east, north = east + step_east, north + step_north
            yield (east * scale_x + move_x, north * scale_y + move_y)

    def ring(arcs):
        walked = []
        for arc in arcs:
            part = list(positions(arc if arc >= 0 else -1 - arc))
            if arc < 0:
                part = part[::-1]
            walked = walked[:-1] + part
        return walked

    counties = []
    for county in topology["objects"]["counties"]["geometries"]:
        if county["id"][:2] not in states:
            continue
        polygons = county["arcs"] if county["type"] == "MultiPolygon" else [county["arcs"]]
        drawn = [[ring(arcs) for arcs in polygon] for polygon in polygons]
        whole = [[one for one in rings if len(one) > 3] for rings in drawn if len(rings[0]) > 3]
        counties.append((county["id"], county["properties"]["name"], whole))
    return sorted(counties)


def shape_of(polygons):
    """A county as shapely has it."""
    return shapely.MultiPolygon([shapely.Polygon(rings[0], rings[1:]) for rings in polygons])


def random_points(counties, states, count, seed):
    """Points spread evenly over the box of each state, so some lie outside of all counties."""
    draw = random.Random(seed)
    boxes = [
        shapely.union_all([shape_of(c[2]).envelope for c in counties if c[0][:2] == state]).bounds
        for state in states
    ]
    for index in range(count):
        west, south, east, north = boxes[index % len(boxes)]
        yield (draw.uniform(west, east), draw.uniform(south, north))


def border_points(counties):
    """Every vertex, and three points along every segment, each once."""
    vertices, along = set(), set()
    for _, _, polygons in counties:
        for ring in (ring for rings in polygons for ring in rings):
            vertices.update(ring)
            for (x1, y1), (x2, y2) in zip(ring, ring[1:]):
                for share in (0.25, 0.5, 0.75):
                    along.add((x1 + share * (x2 - x1), y1 + share * (y2 - y1)))
    return sorted(vertices), sorted(along)


def locate(counties, points):
    """The position of the lowest county that covers each point, -1 for none."""
    tree = shapely.STRtree([shape_of(polygons) for _, _, polygons in counties])
    found = numpy.full(len(points), len(counties))
    point, county = tree.query(shapely.points(points), predicate="covered_by")
    numpy.minimum.at(found, point, county)
    return numpy.where(found == len(counties), -1, found)


def write_geojson(counties, path):
    """The counties as a FeatureCollection, as the topology winds them."""
    features = [
        {
            "type": "Feature",
            "properties": {"code": int(county_id), "label": name},
            "geometry": {"type": "MultiPolygon", "coordinates": polygons},
        }
        for county_id, name, polygons in counties
    ]
    with open(path, "w", encoding="utf-8") as file:
        json.dump({"type": "FeatureCollection", "features": features}, file)


def main(boundaries, states, count, seed, geojson):
    states = states.split(",")
    counties = read_counties(boundaries, states)
    write_geojson(counties, geojson)
    vertices, along = border_points(counties)
    kinds = {
        "random": list(random_points(counties, states, int(count), int(seed))),
        "vertex": vertices,
        "segment": along,
    }
    for kind, points in kinds.items():
        for (lon, lat), county in zip(points, locate(counties, points)):
            county_id = counties[county][0] if county >= 0 else "-"
            print(kind, format(lon, ".17g"), format(lat, ".17g"), county_id)


main(*sys.argv[1:])
